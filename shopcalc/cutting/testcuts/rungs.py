"""The ladder: settings from gentle to hard, one after the other in scrap, until the first that is bad."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal, get_args

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.cutting.fit import write_fit
from shopcalc.cutting.force import Band, Coefficients
from shopcalc.cutting.grain import Direction, grain_vector
from shopcalc.cutting.limits import Hold, Loads, Pass, ask, check
from shopcalc.cutting.testcuts import sheets
from shopcalc.cutting.testcuts.ground import (
    MARGIN,
    SAME,
    WEB,
    Ground,
    Scrap,
    TestStation,
    checked,
    face_of,
    require_room,
    require_speed,
    stroke,
)
from shopcalc.cutting.tuning import FIXED, Setting
from shopcalc.errors import did_you_mean
from shopcalc.gcode import write_program
from shopcalc.learned import LearnedRow
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.moves import Floats, Kind, Moves, Stop, from_lists, join
from shopcalc.paths import Cutting, Tracer, program
from shopcalc.units import System, write

Result = Literal["ok", "burnt", "torn", "chattered", "noise"]
RESULTS: tuple[str, ...] = get_args(Result)
_WENT = {"burnt": "burnt", "torn": "tore", "chattered": "chattered", "noise": "sounded wrong"}


@dataclass(frozen=True)
class Rung:
    """One setting of a ladder.

    Parameters
    ----------
    number : int
        From 1, the gentlest [-].
    rpm, feed : float
        [rev/min], [mm/min].
    feed_per_tooth, depth : float
        [mm/tooth], [mm].
    hard_share : float
        Used share of the tightest hard bound; never above 1 [-].
    lane : (2,) float
        Where its cut begins and ends in v [mm].
    """

    number: int
    rpm: float
    feed: float
    feed_per_tooth: float
    depth: float
    hard_share: float
    lane: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class LadderResult:
    """How far up a ladder was good.

    Parameters
    ----------
    last_good, first_bad : Rung or None
        None where no rung was good, or none was bad.
    why : str
        What was bad; empty where nothing was.
    words : str
        What was learned, in words.
    """

    last_good: Rung | None
    first_bad: Rung | None
    why: str
    words: str

    def rows(
        self, date: str, cutter: Cutter, *, machine: str = "", station: str = "", material: str = "", note: str = ""
    ) -> tuple[LearnedRow, ...]:
        """What the shop learned, to be added to its table; empty when no rung was good.

        Parameters
        ----------
        date : str
            As 2026-03-02.
        cutter : Cutter
            At its present regrind.
        machine, station, material, note : str
            Where and in what.
        """
        good = self.last_good
        if good is None:
            return ()
        values = {"greatest_feed_per_tooth": good.feed_per_tooth, "greatest_depth": good.depth}
        told = "; ".join(t for t in (self.words, note) if t)
        return tuple(
            LearnedRow(date, "ladder", cutter.id, cutter.regrinds, machine, station, material, n, v, note=told)
            for n, v in values.items()
        )


@dataclass(frozen=True, eq=False)
class Ladder:
    """Settings from gentle to hard, each in its own lane, with a stop after each; made by ``ladder``.

    Parameters
    ----------
    cutting : Cutting
        Heights, and how lanes are opened before a side cut.
    ground : Ground
        Face that is cut.
    scrap : Scrap
        [mm].
    width : float
        Of each cut; the diameter for full-width slots [mm].
    rungs : tuple of Rung
        From the gentlest.
    left_out : int
        Rungs asked for but dropped, because they would pass a hard bound [-].
    moves : Moves
        The whole program, in machine axes.
    """

    cutting: Cutting
    ground: Ground
    scrap: Scrap
    width: float
    rungs: tuple[Rung, ...]
    left_out: int
    moves: Moves

    @property
    def slots(self) -> bool:
        """Whether the cuts are full-width slots."""
        return self.width >= self.cutting.cutter.true_diameter - SAME

    def table(self, system: System = "metric") -> tuple[tuple[str, ...], ...]:
        """Every number of every rung, as people read it; the first row is the heading.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        head = ("rung", "spindle speed", "feed", "feed per tooth", "depth", "of the hard bound")
        rows = (
            (
                str(r.number),
                write(r.rpm, "spindle_speed", system),
                write(r.feed, "feed", system),
                write(r.feed_per_tooth, "feed_per_tooth", system),
                write_fit(r.depth, system),
                f"{100 * r.hard_share:.0f} %",
            )
            for r in self.rungs
        )
        return (head, *rows)

    def program(self, title: str = "ladder of settings", dwell_unit: Literal["s", "ms"] = "s") -> str:
        """The program's text (ISO 6983): spindle off and program stop after every rung; read back and checked.

        Parameters
        ----------
        title : str
            First comment.
        dwell_unit : {"s", "ms"}
            As in ``gcode.write_program``.

        Raises
        ------
        InputError
            When it would leave the scrap or miss a stop; it must not be run then.
        """
        notes = [
            *sheets.notes(self.cutting, self.ground),
            "M0 after each rung: look, write it down, go on only if it was good; the first bad one ends the test",
        ]
        text = write_program(self.moves, title=title, notes=notes, dwell_unit=dwell_unit)
        deepest = max(r.depth for r in self.rungs)
        return checked(text, self.ground, self.cutting, deepest, len(self.rungs))

    def read(self, results: Sequence[str], system: System = "metric") -> LadderResult:
        """Turn what was seen at each rung into a bound.

        Parameters
        ----------
        results : sequence of str
            One of ``RESULTS`` for each rung that was cut, from the first on; nothing follows a bad one.
        system : {"metric", "inch"}
            For the words.

        Raises
        ------
        InputError
            When a word is not known, there are more than rungs, or rungs were cut after a bad one.
        """
        if not 1 <= len(results) <= len(self.rungs):
            refuse(f"{len(results)} results for {len(self.rungs)} rungs", "give one for each rung that was cut")
        for number, word in enumerate(results, start=1):
            if word not in RESULTS:
                refuse(f"rung {number}: '{word}' is not known", did_you_mean(str(word), RESULTS))
        bad = next((i for i, word in enumerate(results) if word != "ok"), None)
        if bad is not None and bad + 1 < len(results):
            message = f"rung {bad + 1} was {results[bad]}, but results follow it"
            refuse(message, "the first bad rung ends the test: give the results up to it")
        good = len(results) if bad is None else bad
        last = self.rungs[good - 1] if good else None
        first = None if bad is None else self.rungs[bad]
        why = "" if bad is None else results[bad]
        return LadderResult(last, first, why, self._words(last, first, why, system))

    def _words(self, last: Rung | None, first: Rung | None, why: str, system: System) -> str:
        feeds = len({round(r.feed_per_tooth, 6) for r in self.rungs}) > 1
        depths = len({round(r.depth, 6) for r in self.rungs}) > 1
        unit = "mm" if system == "metric" else "in"

        def tooth(r: Rung) -> str:
            return f"{write(r.feed_per_tooth, 'feed_per_tooth', system).split(' ')[0]} {unit}"

        def told(r: Rung) -> str:
            if feeds and depths:
                return f"{tooth(r)} with {write_fit(r.depth, system)} of depth"
            return tooth(r) if feeds else write_fit(r.depth, system)

        name = "feed per tooth" if feeds else "depth"
        if first is None:
            assert last is not None  # at least one result was given
            reason = "a hard bound lies above" if last is self.rungs[-1] and self.left_out else "nothing harder was cut"
            return f"{name} up to {told(last)} held; {reason}"
        burnt = "; burning speaks for too thin a chip or a dull edge, not for too much feed" if why == "burnt" else ""
        if last is None:
            return f"already the gentlest rung, {name} {told(first)}, {_WENT[why]}: begin more gently{burnt}"
        return f"{name} up to {told(last)} held; {told(first)} {_WENT[why]}{burnt}"

    def sheet_html(self, system: System = "metric") -> str:
        """One printable page: set-up, sketch, rungs with boxes, cautions.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        c = self.cutting
        deepest = max(r.depth for r in self.rungs)
        kind = "full-width slots" if self.slots else f"side cuts {write_fit(self.width, system)} wide"
        told = [*sheets.facts(c, self.ground, self.scrap, deepest, system, one_speed=False), ("each rung", kind)]
        if not self.slots:
            told.append(
                ("before it", f"a slot at {write(c.feed, 'feed', system)}, {write(c.rpm, 'spindle_speed', system)}")
            )
        if self.left_out:
            told.append(("left out", f"{self.left_out} harder, beyond a hard bound"))
        picture = sheets.sketch(
            self.ground,
            [r.lane for r in self.rungs],
            [r.depth for r in self.rungs],
            [(r.lane[1] - c.radius, self.slots or not c.climbs) for r in self.rungs],
            {str(r.number): r.lane for r in self.rungs},
            {},
        )
        head, *rows = self.table(system)
        units = (cell.split(" ", 1)[1] if " " in cell else "" for cell in rows[0])
        names = (*(f"{n}, {u}" if u else n for n, u in zip(head, units, strict=True)), *RESULTS, "width of the cut")
        tick = "<td class=tick>&#9744;</td>" * len(RESULTS) + "<td class=box></td>"
        cells = "".join(
            "<tr>" + "".join(f"<td>{html.escape(t.split(' ')[0])}</td>" for t in row) + tick + "</tr>" for row in rows
        )
        form = (
            "<h2>Rungs</h2><p>After every rung the spindle stops and the program waits. Look at walls, floor and both "
            "ends, tick one box. Go on only after <b>ok</b>. <b>The first bad rung ends the test</b>: stop the program "
            "there.</p><table class=form><tr>"
            + "".join(f"<th>{html.escape(n)}</th>" for n in names)
            + f"</tr>{cells}</table>"
        )
        fastest = replace(c, rpm=max([r.rpm for r in self.rungs] + ([] if self.slots else [c.rpm])))
        return sheets.page("Ladder of settings", fastest, self.ground, told, picture, form, stops=True, system=system)


def ladder(
    cutter: Cutter,
    cutting: Cutting,
    gentle: Setting | tuple[float, float, float],
    hardest: Setting | tuple[float, float, float],
    *,
    steps: int,
    station: TestStation,
    scrap: Sequence[float],
    hard_bound_share: Callable[[float, float, float], float],
    width: float | None = None,
) -> Ladder:
    """Lay out a ladder of settings in a piece of scrap.

    Parameters
    ----------
    cutter : Cutter
        A flat one.
    cutting : Cutting
        Heights and direction; its speed, feed and level open the lanes where the rungs are side cuts.
    gentle, hardest : Setting or (rpm, feed, depth)
        First rung, and what is never exceeded [rev/min], [mm/min], [mm].
    steps : int
        Rungs asked for, at least 2 [-].
    station : {"flat", "end"}
        A board laid flat, cut with the grain, or the end of a standing rail.
    scrap : (3,) float
        Length, width and thickness [mm].
    hard_bound_share : callable
        Of rpm, feed and depth: used share of the tightest hard bound for this cut. The ladder ends below the first
        rung above 1, or whose share is not known.
    width : float, optional
        Of each cut; full-width slots where none is given [mm].

    Returns
    -------
    Ladder
        Speed, feed per tooth and depth each rise by a constant factor; feed is rounded down to whole mm/min, depth to
        0.01 mm.

    Raises
    ------
    InputError
        When the scrap is too small, fewer than two rungs stay below the hard bounds, hardest is gentler than gentle,
        or the cutter's greatest speed is unknown or passed.

    Example
    -------
    >>> sq = Cutter("SQ12", "", "square end", 12, 12, 2, 40, 90, 50, maker_rpm=20000)
    >>> opening = Cutting(sq, 2000, 800, 16000, depth_per_pass=3)
    >>> l = ladder(sq, opening, (16000, 2000, 6), (16000, 16000, 6), steps=4, station="flat", scrap=(200, 130, 25),
    ...            hard_bound_share=lambda rpm, feed, depth: feed / 9000)
    >>> [r.feed_per_tooth for r in l.rungs], l.left_out
    ([0.0625, 0.125, 0.25], 1)
    >>> l.read(["ok", "ok", "torn"]).words
    'feed per tooth up to 0.125 mm held; 0.25 mm tore'
    """
    if isinstance(steps, bool) or not isinstance(steps, int) or steps < 2:
        refuse(f"{steps} rungs are no ladder", "ask for 2 or more")
    c = replace(cutting, cutter=cutter, direction="climb" if cutting.direction == "both" else cutting.direction)
    c.require_flat("a ladder")
    d = cutter.true_diameter
    wide = d if width is None else width
    require_positive(width=wide)
    require_at_most("width", wide, "the cutter's diameter", d, "give no width for full-width slots")
    low, high = _as_tuple(gentle), _as_tuple(hardest)
    rungs, left_out = _rungs(cutter, low, high, steps, hard_bound_share)
    deepest = max(r.depth for r in rungs)
    ground = face_of(station, scrap, deepest)
    c.levels(deepest)
    for r in rungs:
        require_speed(cutter, r.rpm)
    slots = wide >= d - SAME
    lane = d if slots else d + wide
    if not slots:
        require_speed(cutter, c.rpm)
    fits = math.floor((ground.across - 2 * MARGIN + WEB) / (lane + WEB) + SAME)
    needed = 2 * MARGIN - WEB + len(rungs) * (lane + WEB)
    require_room(ground, needed, f"ask for at most {fits} rungs" if fits >= 2 else "use a smaller cutter")
    spare = (ground.across - needed) / 2
    placed = tuple(
        replace(r, lane=(v, v + lane)) for i, r in enumerate(rungs) for v in [spare + MARGIN + i * (lane + WEB)]
    )
    moves = _ladder_moves(c, ground, placed, slots)
    return Ladder(c, ground, Scrap(*scrap), wide, placed, left_out, moves)


def hard_share(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    station: TestStation,
    width: float | None = None,
    direction: Direction = "climb",
    hold: Hold | None = None,
    force: Mapping[Band, Coefficients] | None = None,
) -> Callable[[float, float, float], float]:
    """The share of its tightest hard bound that a setting uses, for ``ladder``.

    Parameters
    ----------
    cutter : Cutter
        A flat one.
    material : Material
        Of the scrap.
    machine : Machine
        Spindle, axes and clamps.
    station : {"flat", "end"}
        How the scrap is held.
    width : float, optional
        Of each cut; full-width slots where none is given [mm].
    direction : {"climb", "conventional"}
        Of the cut.
    hold : Hold, optional
        Clamps; what the machine's station says where none is given.
    force : mapping, optional
        Band to coefficients the shop measured; the shipped ones where none is given.

    Returns
    -------
    callable
        Of rpm, feed and depth [rev/min], [mm/min], [mm]. Hard bounds are judged at the high force; those that are not
        known cannot be judged, except the cutter's greatest speed, without which it is nan.
    """
    wide = cutter.true_diameter if width is None else width
    asked: dict[str, Any] = {
        "station": station,
        "grain": grain_vector(station),
        "width": wide,
        "in_solid": width is None,
        "hold": hold,
        "force": force,
    }

    @lru_cache(maxsize=64)
    def loads(depth: float) -> Loads:
        cut = ask(cutter, material, machine, depth=depth, **asked)
        return Loads(cut, Pass(1, 1, depth, wide, direction))

    def share(rpm: float, feed: float, depth: float) -> float:
        hard = [x for x in check(loads(depth), rpm, feed) if x.hard]
        if any(x.bound is None and x.name == "over-speeds the cutter" for x in hard):
            return math.nan
        # a size that fits says nothing about how hard the setting is
        return max(x.used for x in hard if x.used is not None and (x.name not in FIXED or x.used > 1))

    return share


def _as_tuple(setting: Setting | tuple[float, float, float]) -> tuple[float, float, float]:
    if isinstance(setting, Setting):
        return setting.rpm, setting.feed_mm_min, setting.depth_per_pass_mm
    rpm, feed, depth = setting
    require_positive(rpm=rpm, feed=feed, depth=depth)
    return rpm, feed, depth


def _rungs(
    cutter: Cutter,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    steps: int,
    share: Callable[[float, float, float], float],
) -> tuple[list[Rung], int]:
    """The rungs that stay below every hard bound, and how many were left out."""
    tooth = [feed / (rpm * cutter.flutes) for rpm, feed, _ in (low, high)]
    for name, a, b in (("feed per tooth", tooth[0], tooth[1]), ("depth", low[2], high[2])):
        if b < a * (1 - 1e-9):
            refuse(f"the hardest {name}, {b:g} mm, is less than the gentle one, {a:g} mm", "exchange the two settings")
    if tooth[1] <= tooth[0] * (1 + 1e-9) and high[2] <= low[2] * (1 + 1e-9):
        refuse("gentle and hardest are the same setting", "raise the feed or the depth of the hardest")
    out: list[Rung] = []
    for i in range(steps):
        up = i / (steps - 1)
        rpm = float(math.floor(low[0] * (high[0] / low[0]) ** up + 1e-6))
        feed = float(math.floor(tooth[0] * (tooth[1] / tooth[0]) ** up * rpm * cutter.flutes + 1e-6))
        depth = math.floor(low[2] * (high[2] / low[2]) ** up * 100 + 1e-6) / 100
        require_positive(feed_of_a_rung=feed, depth_of_a_rung=depth)
        used = float(share(rpm, feed, depth))
        if not (math.isfinite(used) and used <= 1 + 1e-9):
            if i == 0:
                told = (
                    f"uses {100 * used:.0f} % of a hard bound" if math.isfinite(used) else "has an unknown hard bound"
                )
                refuse(f"already the gentlest rung {told}", "begin more gently, or find out what is unknown")
            break
        rung = Rung(i + 1, rpm, feed, feed / (rpm * cutter.flutes), depth, used)
        if out and rung.depth <= out[-1].depth and rung.feed_per_tooth <= out[-1].feed_per_tooth:
            refuse(f"rungs {i} and {i + 1} are the same after rounding", "ask for fewer rungs, or a wider range")
        out.append(rung)
    if len(out) < 2:
        refuse("only the gentlest rung stays below the hard bounds", "ask for more rungs, or a less hard last one")
    return out, steps - len(out)


def _stand(at: Floats, safe_height: float, starts: bool) -> Moves:
    """Spindle off, program stop, on again; a little low, so that z goes up alone whatever was done by hand there."""
    x, y, z = (float(v) for v in at)
    low = (x, y, safe_height - min(1.0, safe_height / 2))
    values = [float(Stop.SPINDLE_STOP), float(Stop.PROGRAM_STOP), *([float(Stop.SPINDLE_START)] if starts else [])]
    points = [(x, y, z), *[low] * (len(values) + 1), (x, y, z)]
    kinds = [Kind.RAPID, *[Kind.STOP] * len(values), Kind.RAPID]
    return from_lists(points, kinds, value=[0.0, *values, 0.0])


def _ladder_moves(c: Cutting, ground: Ground, rungs: Iterable[Rung], slots: bool) -> Moves:
    """Every rung in its lane; spindle off and a program stop behind each."""
    r = c.radius
    operations: list[tuple[Cutting, Moves]] = []
    for rung in rungs:
        own = replace(c, rpm=rung.rpm, feed=rung.feed, depth_per_pass=rung.depth)
        v = rung.lane[0] + r
        if not slots:
            opening = Tracer(c, (-r - c.lead, v))
            for level in c.levels(rung.depth):
                stroke(opening, ground, v, level, forward=True)
            operations.append((c, ground.placed(opening.moves())))
            v = rung.lane[1] - r
        forward = slots or not c.climbs  # the wood stands at +v: on the left going towards +u
        begin = -r - c.lead if forward else ground.along + r + c.lead
        tracer = Tracer(own, (begin, v))
        stroke(tracer, ground, v, rung.depth, forward)
        operations.append((own, ground.placed(tracer.moves())))
    each = 1 if slots else 2
    for i in range(each - 1, len(operations), each):
        own, moves = operations[i]
        following = operations[i + 1][0] if i + 1 < len(operations) else None
        starts = following is not None and following.rpm == own.rpm  # else the program starts it anew anyway
        operations[i] = (own, join([moves, _stand(moves.points[-1], c.safe_height, starts)]))
    return program(operations)
