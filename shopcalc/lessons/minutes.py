"""Exercises on why a machine takes longer than length over feed."""

from __future__ import annotations

import math

from shopcalc.lessons.drawing_lots import Draft, Given, Lot, one_right, teaches
from shopcalc.lessons.judging import Mistake, Number, tell
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import MotionTime, machine_time
from shopcalc.moves import Kind, from_lists


def run(lengths: list[float], feed: float, acceleration: float, *, stop: bool = True) -> MotionTime:
    """Time straight moves one after the other.

    Parameters
    ----------
    lengths : list of float
        [mm].
    feed : float
        [mm/min].
    acceleration : float
        Of each axis [mm/s2].
    stop : bool
        Whether it turns and stops at each corner; else all lie in one line.

    Returns
    -------
    MotionTime
        By the engine that times programs.

    Example
    -------
    >>> round(run([100.0], 6000, 500).total_s, 6)
    1.2
    """
    at, points = [0.0, 0.0, 0.0], [(0.0, 0.0, 0.0)]
    for i, length in enumerate(lengths):
        at[i % 2 if stop else 0] += length
        points.append((at[0], at[1], at[2]))
    axis = Axis(rapid=math.inf, feed=math.inf, acceleration=acceleration)
    machine = Machine(axes=(axis, axis, axis), controller=Controller(corner="stop" if stop else "none"))
    return machine_time(from_lists(points, [Kind.LINE] * len(lengths), feed=feed), machine)


def _machine(lot: Lot) -> tuple[Given, Given]:
    f = lot.draw("feed", "feed", "3000, 4500, 6000, 9000", "120, 180, 240, 360", ("mm/min", "in/min"))
    a = lot.draw("acceleration", "acceleration", "300, 500, 800, 1000", "12, 20, 30, 40", ("mm/s^2", "in/s^2"))
    return f, a


@teaches("minutes", "one-straight-move")
def _one(lot: Lot) -> Draft:
    f, a = _machine(lot)
    length = lot.length("length", "10, 20, 30, 50, 80, 120, 200", "1/2, 3/4, 1, 2, 3, 5, 8")
    right = run([length.value], f.value, a.value).total_s
    v = f.value / 60
    reaches = length.value >= v * v / a.value
    wrong = [
        Mistake("length over feed", length.value / v, "The machine must speed up and slow down."),
        Mistake(
            "slowing down forgotten", length.value / v + v / (2 * a.value), "It slows down, too, before it stands."
        ),
    ]
    if not reaches:
        wrong.append(Mistake("feed taken as reached", length.value / v + v / a.value,
                             "The move is too short to reach the feed: it speeds up for half and slows down for"
                             " half."))  # fmt: skip
    way = tell(v * v / a.value, "length", lot.system, 3)
    worked = (f"It reaches the feed. Length over feed is {length.value / v:.3f} s. Feed over acceleration,"
              f" {v / a.value:.3f} s, comes on top." if reaches else
              "It does not reach the feed. The time is twice the root of length over acceleration.")  # fmt: skip
    return Draft(
        f"One straight move of {length} is programmed at {f}. The axis takes {a}. It starts from rest and ends at"
        f" rest. How"
        f" long does it take?",
        ("Does the move reach its feed at all? It needs feed squared over acceleration.",
         f"Here it needs {way} to speed up and slow down.",
         "If it reaches it: length / feed + feed / acceleration. If not: 2 x root of (length / acceleration)."),
        f"To reach the feed takes {way} in all. {worked}", Number(right, "time", lot.system, tuple(wrong)),
        "closed form of even acceleration; our engine gives the same",
    )  # fmt: skip


@teaches("minutes", "lines-with-corners")
def _lines(lot: Lot) -> Draft:
    f, a = _machine(lot)
    n = lot.count("lines", (10, 20, 30, 40))
    length = lot.length("length", "10, 20, 30, 40", "1/2, 3/4, 1, 1 1/2")
    right = run([length.value] * n, f.value, a.value).total_s
    v = f.value / 60
    wrong = (
        Mistake("length over feed", n * length.value / v, "It stands at every corner and must speed up again."),
        Mistake("one start and one stop", run([length.value] * n, f.value, a.value, stop=False).total_s,
                "It stops at each corner, not only at the end."),
        Mistake("one line only", right / n, "There are more lines than one."),
    )  # fmt: skip
    short = length.value < v * v / a.value
    one = tell(right / n, "time", lot.system)
    return Draft(
        f"A program has {n} lines of {length}, each at a right angle to the last. The control stops at each corner."
        f" The feed is"
        f" {f}, the axes take {a}. How long does it take?",
        ("How long does one line take from rest to rest?", "Does it reach the feed?", "Times the lines."),
        f"One line takes {one}{': it never reaches the feed' if short else ''}. Times {n}. Length over feed alone"
        f" would be"
        f" {n * length.value / v:.2f} s.", Number(right, "time", lot.system, wrong), "closed form; our engine",
    )  # fmt: skip


@teaches("minutes", "feed-reached")
def _reached(lot: Lot) -> Draft:
    a = lot.draw("acceleration", "acceleration", "300, 500, 800", "12, 20, 30", ("mm/s^2", "in/s^2"))
    f = lot.draw("feed", "feed", "9000, 12000", "360, 480", ("mm/min", "in/min"))
    length = lot.length("length", "5, 8, 10, 15, 20", "1/4, 5/16, 3/8, 1/2, 3/4")
    right = 60 * float(run([length.value], f.value, a.value).peak.max())
    wrong = (
        Mistake("programmed feed taken", f.value, "The move is too short to get there."),
        Mistake("slowing down forgotten", 60 * math.sqrt(2 * a.value * length.value),
                "It has only half the way to speed up: the other half it slows down."),
        Mistake("minutes for seconds", right / 60, "The root gives the way in a second; a feed counts a minute."),
    )  # fmt: skip
    return Draft(
        f"A move of {length} is programmed at {f}. The axis takes {a}, from rest to rest. Which feed does it reach?",
        ("Half the way it speeds up, half the way it slows down.", "Speed squared = acceleration x length.",
         "Take the root, then times 60."),
        f"The root of {a} times {length} is the top speed in a second; times 60 it is the feed reached. More feed"
        f" in the"
        f" program gains nothing here, and the chip is thinner than you think.",
        Number(right, "feed", lot.system, wrong), "closed form; our engine",
    )  # fmt: skip


@teaches("minutes", "doubled-feed")
def _doubled(lot: Lot) -> Draft:
    f, a = _machine(lot)
    length = lot.length("length", "5, 10, 20, 400, 600, 1000", "1/4, 3/8, 3/4, 16, 24, 40")
    old, new = (run([length.value] * 4, k * f.value, a.value).total_s for k in (1, 2))
    saved = 1 - new / old
    lot.given["saved"] = saved
    steps = ("nearly nothing: below 5 %", "some: 5 to 35 %", "nearly half: above 35 %")
    i = 0 if saved < 0.05 else 1 if saved < 0.35 else 2
    lot.given["margin"] = min(abs(saved - 0.05), abs(saved - 0.35))
    v = f.value / 60
    way = tell(v * v / a.value, "length", lot.system, 3)
    think = f"Speeding up to {f} and slowing down takes {way}. Hold a line's length against that."
    return Draft(
        f"A program runs lines of {length} with a stop at each corner, at {f}. The axes take {a}. Somebody doubles"
        f" the feed. How"
        f" much time does that save?",
        ("Does a line reach the old"
         " feed?", f"It needs {way} for that.", "Where it does not, more feed changes nothing."),
        f"A line takes {old / 4:.3f} s before and {new / 4:.3f} s after. That saves {saved:.0%}.",
        one_right(lot, [(steps[i], ""), *((steps[k], think) for k in range(3) if k != i)]),
        "closed form; our engine", lot.given["margin"] > 0.02,
    )  # fmt: skip
