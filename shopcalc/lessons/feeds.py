"""Exercises on chip and heat, and on speed and feed together."""

from __future__ import annotations

from shopcalc.cutting.chipload import feed, feed_per_tooth, greatest_chip, mean_chip, rpm_for_feed
from shopcalc.cutting.engagement import cutting_speed
from shopcalc.lessons.drawing_lots import Draft, Given, Lot, in_order, one_right, teaches
from shopcalc.lessons.judging import Mistake, Number, tell
from shopcalc.sources import practice

_TEETH = (2, 3, 4)
_FLUTES = "flutes forgotten, per revolution for per tooth"
_ALL_TEETH = "Each turn is shared by all flutes: divide by how many there are."


def _feed(
    lot: Lot, metric: str = "2000, 2400, 3000, 3600, 4500, 5400", inch: str = "80, 100, 120, 150, 180, 200"
) -> Given:
    return lot.draw("feed", "feed", metric, inch, ("mm/min", "in/min"))


@teaches("chip-and-heat", "feed-per-tooth")
def _feed_per_tooth(lot: Lot) -> Draft:
    f, n, z = _feed(lot), lot.rpm(), lot.count("flutes", _TEETH)
    right = float(feed_per_tooth(f.value, n.value, z))
    wrong = (
        Mistake(_FLUTES, right * z, _ALL_TEETH),
        Mistake("multiplied by the flutes", right * z * z, "More flutes share the same way, so each gets less."),
    )
    return Draft(
        f"A cutter has {z} flutes. It turns at {n} and moves at {f}. How far does it move from one flute to the next?",
        ("How far does it move in one turn?", "Feed over speed is the way of one turn.", "Now share it by the flutes."),
        f"Way of one turn: {f} over {n} is {tell(f.value / n.value, 'length', lot.system)}. {z} flutes share it.",
        Number(right, "feed_per_tooth", lot.system, wrong), "definition",
    )  # fmt: skip


@teaches("chip-and-heat", "chip-thinning")
def _chip_thinning(lot: Lot) -> Draft:
    d = lot.length("diameter", "10, 12, 16, 20", "3/8, 1/2, 5/8, 3/4")
    w = lot.length("width", "0.5, 1, 1.5, 2", "1/64, 1/32, 3/64, 1/16")
    f = lot.draw("feed_per_tooth", "feed_per_tooth", "0.1, 0.15, 0.2, 0.25", "0.004, 0.006, 0.008, 0.010",
                 ("mm/tooth", "in/tooth"))  # fmt: skip
    right = float(greatest_chip(f.value, w.value, d.value))
    x = w.value / d.value
    wrong = (
        Mistake("feed per tooth taken for the chip", f.value, "A narrow cut leaves the arc before the chip is full."),
        Mistake("radius for diameter", float(greatest_chip(f.value, w.value, d.value / 2)),
                "The share is width over the whole diameter."),
        Mistake("share taken straight", f.value * x, "The chip follows a circle, not a straight line."),
    )  # fmt: skip
    return Draft(
        f"A {d} cutter takes a side cut {w} wide. Feed per tooth is {f}. How thick is the chip at its thickest place?",
        ("Is the width more or less than half the diameter?", "Take x as width over diameter.",
         "The share is 2 times the root of x times (1 - x)."),
        f"x is {x:.4f}. The share is 2 times the root of x (1 - x), which is {right / f.value:.3f}. Times {f} it is"
        f" the chip.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("chip-and-heat", "thin-or-thick")
def _thin_or_thick(lot: Lot) -> Draft:
    group = lot.one_of(("hardwood", "softwood", "sheet"))
    f, n, z = _feed(lot, "600, 1200, 3000, 5000, 9000", "24, 48, 120, 200, 350"), lot.rpm(), lot.count("flutes", _TEETH)
    d = lot.length("diameter", "6, 10, 12", "1/4, 3/8, 1/2")
    chip = float(mean_chip(feed_per_tooth(f.value, n.value, z), d.value / 2, d.value))
    thin, thick = (practice()[f"chip_{k}.{group}"].value for k in ("thin", "thick"))
    lot.given["distance_from_window"] = min(abs(chip / thin - 1), abs(chip / thick - 1))
    t = {k: tell(v, "length", lot.system, 3) for k, v in (("chip", chip), ("thin", thin), ("thick", thick))}
    rubs = ("too thin: it rubs, heats and burns", f"The mean chip is {t['chip']}; rubbing starts below {t['thin']}.")
    good = ("in the window: it carries the heat away", f"The window goes from {t['thin']} to {t['thick']}.")
    tears = ("too thick: it tears the fibres", f"Tearing starts above {t['thick']}; the mean chip is {t['chip']}.")
    right = rubs if chip < thin else tears if chip > thick else good
    options = [right, *(o for o in (rubs, good, tears) if o is not right)]
    return Draft(
        f"A {d} cutter with {z} flutes cuts {group} with half its diameter. It turns at {n} and moves at {f}. The chip"
        f" window of"
        f" {group} goes from {t['thin']} to {t['thick']}, as a mean chip. At half width the mean is 0.64 of the feed"
        f" per tooth. How is the chip?",
        ("Find the feed per tooth first.", "Take 0.64 of it.", "Hold it against the two ends of the window."),
        f"Feed per tooth is {tell(f.value / n.value / z, 'feed_per_tooth', lot.system, 3)}. The mean chip is"
        f" {t['chip']}. So it is {right[0]}.",
        one_right(lot, options), "window: common practice, no source; the share 2/pi is geometry",
        lot.given["distance_from_window"] > 0.1,
    )  # fmt: skip


@teaches("chip-and-heat", "hottest-first")
def _hottest_first(lot: Lot) -> Draft:
    settings: dict[float, str] = {}
    for _ in range(30):
        f, n, z = _feed(lot), lot.rpm("10000, 14000, 18000"), lot.one_of(_TEETH)
        per = float(feed_per_tooth(f.value, n.value, z))
        if all(abs(per / other - 1) > 0.15 for other in settings):
            settings[per] = f"{n}, {f}, {z} flutes"
        if len(settings) == 4:
            break
    rows = [(settings[p], f"It has {tell(p, 'feed_per_tooth', lot.system, 3)}.") for p in sorted(settings)]
    told = ", then ".join(tell(p, "feed_per_tooth", lot.system, 3) for p in sorted(settings))
    return Draft(
        "The thinner the chip, the less heat it takes along, and the more stays in the edge. The width of cut is"
        " the same"
        " in all. Put them in order: thinnest chip, and so the hottest edge, first.",
        ("Work out the feed per tooth of each.", "Feed over speed, over flutes.", "Least comes first."),
        f"The feeds per tooth are {told}.", in_order(lot, rows), "definition; that thin chips burn: common practice",
    )  # fmt: skip


@teaches("speed-and-feed", "feed-for-chip")
def _feed_for_chip(lot: Lot) -> Draft:
    f = lot.draw("feed_per_tooth", "feed_per_tooth", "0.08, 0.1, 0.15, 0.2, 0.25", "0.003, 0.004, 0.006, 0.008, 0.010",
                 ("mm/tooth", "in/tooth"))  # fmt: skip
    n, z = lot.rpm(), lot.count("flutes", _TEETH)
    right = float(feed(n.value, z, f.value))
    wrong = (
        Mistake(_FLUTES, right / z, "Every flute takes its own bite: multiply by how many there are."),
        Mistake("per second for per minute", right / 60, "Speed counts turns in a minute; so does the feed."),
        Mistake("divided by the flutes", right / z / z, "More flutes at the same bite need more feed, not less."),
    )
    return Draft(
        f"You want {f} from a cutter with {z} flutes at {n}. Which feed do you set?",
        ("How far must it move in one turn?", "Bite times flutes is one turn.", "Turns in a minute times that."),
        f"One turn: {z} bites of {f}. In a minute there are {n.value:.0f} turns.",
        Number(right, "feed", lot.system, wrong), "definition", 1000 <= right <= 12000,
    )  # fmt: skip


@teaches("speed-and-feed", "speed-for-feed")
def _speed_for_feed(lot: Lot) -> Draft:
    f, z = _feed(lot), lot.count("flutes", _TEETH)
    per = lot.draw("feed_per_tooth", "feed_per_tooth", "0.1, 0.12, 0.15, 0.2", "0.004, 0.005, 0.006, 0.008",
                   ("mm/tooth", "in/tooth"))  # fmt: skip
    right = float(rpm_for_feed(f.value, z, per.value))
    wrong = (
        Mistake(_FLUTES, right * z, "All flutes bite in one turn, so fewer turns are enough."),
        Mistake("multiplied by the flutes", right * z * z, "Divide by the flutes: they share the work."),
    )
    return Draft(
        f"The machine can hold no more than {f} in this small part. The cutter has {z} flutes and needs {per}. Which"
        f" spindle speed do you set?",
        ("How far does it go in one turn?", "Bite times flutes.", "Feed over the way of one turn."),
        f"One turn moves {z} bites of {per}, which is {tell(z * per.value, 'length', lot.system)}. Feed over that.",
        Number(right, "spindle_speed", lot.system, wrong), "definition", 6000 <= right <= 24000,
    )  # fmt: skip


@teaches("speed-and-feed", "rim-speed")
def _rim_speed(lot: Lot) -> Draft:
    d, n = lot.length("diameter", "6, 12, 20, 40, 50", "1/4, 1/2, 3/4, 1 1/2, 2"), lot.rpm()
    right = 1000 * float(cutting_speed(d.value, n.value))
    wrong = (
        Mistake("radius for diameter", right / 2, "The rim goes round a circle of the whole diameter."),
        Mistake("pi forgotten", right / 3.14159265, "One turn is pi diameters long."),
        Mistake("minutes for seconds", right * 60, "Speed counts turns in a minute; the answer is asked for a second."),
    )
    unit = "ft/s" if lot.system == "inch" else "m/s"
    return Draft(
        f"A {d} cutter turns at {n}. How fast does its rim move, in {unit}?",
        ("How long is the way of one turn?", "Pi times the diameter.", "Times turns in a second."),
        f"One turn: pi times {d}. Turns in a second: {n.value / 60:.1f}.",
        Number(right, "speed", lot.system, wrong), "definition",
    )  # fmt: skip


@teaches("speed-and-feed", "one-knob")
def _one_knob(lot: Lot) -> Draft:
    f, n, z = _feed(lot), lot.rpm("12000, 14000, 16000"), lot.count("flutes", _TEETH)
    knob, k = lot.one_of((("feed", 0.5), ("feed", 0.7), ("feed", 1.3), ("speed", 0.7), ("speed", 0.8), ("speed", 1.25)))
    new = float(feed_per_tooth(f.value * k, n.value, z) if knob == "feed" else feed_per_tooth(f.value, n.value * k, z))
    old = float(feed_per_tooth(f.value, n.value, z))
    same = "the bite stays as it was"
    sizes = [f"the bite is {share:.0%} of what it was" for share in (new / old, old / new)]
    return Draft(
        f"A cutter with {z} flutes runs at {n} and {f}. You turn the {knob} alone to {k:.0%}. What becomes of the bite"
        f" of each flute?",
        ("Bite is feed over speed, over"
         " flutes.", "Which of the three changes?", "More feed: more bite. More speed: less."),
        f"Before: {tell(old, 'feed_per_tooth', lot.system, 3)}. After: {tell(new, 'feed_per_tooth', lot.system, 3)}.",
        one_right(lot, [(sizes[0], ""), (sizes[1], "Up and down are mixed up: is it feed or speed that changed?"),
                        (same, "One of the two changed alone, so the bite changes.")]), "definition",
    )  # fmt: skip
