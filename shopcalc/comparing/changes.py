"""What changed between two versions of a program, told in moves, minutes and depth."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.comparing.aligning import Ints, Match, draw_out, elsewhere, features, match_between
from shopcalc.machines import Machine
from shopcalc.motion import MotionTime, machine_time
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.sources import table_for_people
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    import pandas as pd

#: Positions nearer than this are one place: what rounding to 0.0001 in and to 0.001 mm may differ by [mm].
TOLERANCE = 0.003
_SAME_FEED = 0.001  # share by which a feed may differ by rounding
_LEAST_SHIFTED = 3  # moves in a row with one shift, from which a shifted path is believed
_LEAST_EVEN = 50  # moves in a row beside uneven ones, from which one height is no chance
_MOST_SENTENCES = 30
_AXES = "xyz"


@dataclass(frozen=True)
class Change:
    """A run of moves that differs in one way.

    Parameters
    ----------
    differences : tuple of str
        Of "feed", "spindle speed", "cutter", "exact stop", "shifted", "heights", "order"; or "removed" or "added".
    begin_before, begin_after : int or None
        First move in each version; None where there is none.
    moves : int
        How many.
    seconds_before, seconds_after : float
        Machine time of these moves in each version [s].
    cut_length : float
        Of lines and arcs among them, in the version after, or before where removed [mm].
    shift : (3,) float
        After minus before, where it is the same all along [mm].
    heights : (2,) float
        Lowest and highest change of z, where it differs along the run [mm].
    feed : (4,) float
        Lowest and highest feed before, lowest and highest after; nan without cuts [mm/min].
    rpm, cutter : (2,)
        Before and after [rev/min].
    lines_before, lines_after : (int, int) or None
        First and last line of the program text.
    """

    differences: tuple[str, ...]
    begin_before: int | None
    begin_after: int | None
    moves: int
    seconds_before: float
    seconds_after: float
    cut_length: float
    shift: tuple[float, float, float]
    heights: tuple[float, float]
    feed: tuple[float, float, float, float]
    rpm: tuple[float, float]
    cutter: tuple[int, int]
    lines_before: tuple[int, int] | None
    lines_after: tuple[int, int] | None


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two versions of a program side by side; of each pair the first is before, the second after.

    Parameters
    ----------
    changes : tuple of Change
        In the order of the version after, what was removed where it stood.
    moves : (int, int)
        Number of moves.
    kept : int
        Moves that are wholly the same.
    seconds : (float, float)
        Machine time [s].
    by_kind : mapping
        Words to seconds: cutting, rapids, dwells and spindle starts, cutter changes [s].
    by_cutter : mapping
        Cutter number to seconds [s].
    labels : mapping
        Names of cutter numbers.
    extents : (array, array)
        Lowest and highest x, y, z (3, 2) [mm].
    deepest : (float, float)
        Lowest z of a cut; nan without one [mm].
    feeds, rpms : (tuple, tuple)
        Different values used for cutting [mm/min], [rev/min].
    cutters_gone, cutters_new : tuple of int
        Cutters that cut in only one version.
    """

    changes: tuple[Change, ...]
    moves: tuple[int, int]
    kept: int
    seconds: tuple[float, float]
    by_kind: dict[str, tuple[float, float]]
    by_cutter: dict[int, tuple[float, float]]
    labels: dict[int, str]
    extents: tuple[Floats, Floats]
    deepest: tuple[float, float]
    feeds: tuple[tuple[float, ...], tuple[float, ...]]
    rpms: tuple[tuple[float, ...], tuple[float, ...]]
    cutters_gone: tuple[int, ...]
    cutters_new: tuple[int, ...]

    @property
    def same(self) -> bool:
        """Whether nothing changed but perhaps the text."""
        return not self.changes

    @property
    def removed(self) -> int:
        """Moves of the version before that the version after does not have."""
        return sum(c.moves for c in self.changes if c.differences == ("removed",))

    @property
    def added(self) -> int:
        """Moves that only the version after has."""
        return sum(c.moves for c in self.changes if c.differences == ("added",))

    def sentences(self, system: System = "metric") -> list[str]:
        """What changed, in words: the sum first, then each kind of change, most minutes first.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        before, after = self.seconds
        if self.same:
            return [f"nothing changed: {self.moves[1]} moves, {write_time(after)} in both versions"]
        out = [f"machine time {write_time(after)}, was {write_time(before)}{_less(before, after)}"]
        out += self._sums(system)
        told = _grouped(self.changes)
        out += [_tell(group, system) for group in told[:_MOST_SENTENCES]]
        if len(told) > _MOST_SENTENCES:
            out.append(f"and {len(told) - _MOST_SENTENCES} further kinds of change, each of fewer seconds")
        return out

    def _sums(self, system: System) -> list[str]:
        out = [f"{self.kept} of {self.moves[0]} moves are kept as they are; there are {self.moves[1]} now"]
        for words, (a, b) in self.by_kind.items():
            if abs(a - b) >= 0.05 or math.isnan(a) != math.isnan(b):
                out.append(f"{words}: {write_time(b)}, was {write_time(a)}{_less(a, b)}")
        for numbers, words in ((self.cutters_gone, "no longer cuts"), (self.cutters_new, "is new")):
            out += [f"{self._cutter(n)} {words}" for n in numbers if n]
        if 0 in self.cutters_gone:
            out.append("every cut names its cutter now")
        if 0 in self.cutters_new:
            out.append("some cuts name no cutter now")
        a, b = self.deepest
        if not abs(a - b) <= 2 * TOLERANCE and not (math.isnan(a) and math.isnan(b)):
            out.append(f"deepest cut z {_length(b, system)}, was {_length(a, system)}")
        for k, axis in enumerate(_AXES):
            (a0, a1), (b0, b1) = self.extents[0][k], self.extents[1][k]
            if max(abs(a0 - b0), abs(a1 - b1)) > 2 * TOLERANCE:
                now, was = (f"{_length(lo, system)} to {_length(hi, system)}" for lo, hi in ((b0, b1), (a0, a1)))
                out.append(f"{axis} runs from {now}, was {was}")
        for words, quantity, (old, new) in (("feeds", "feed", self.feeds), ("speeds", "spindle_speed", self.rpms)):
            gone, fresh = ([v for v in _unlike(a, b) if v > 0] for a, b in ((old, new), (new, old)))  # 0: not given
            if gone or fresh:
                out.append(f"{words} new: {_listed(fresh, quantity, system)}; gone: {_listed(gone, quantity, system)}")
        return out

    def _cutter(self, number: int) -> str:
        label = self.labels.get(number)
        return f"cutter {number}" + (f" ({label})" if label else "")

    def frame(self) -> pd.DataFrame:
        """The changes as a table for people, one run of moves a row; units in ``attrs["units"]``."""
        rows = [
            {
                "change": ", ".join(c.differences), "moves": c.moves, "before_s": c.seconds_before,
                "after_s": c.seconds_after, "more_s": c.seconds_after - c.seconds_before, "cut_mm": c.cut_length,
                "shift_x_mm": c.shift[0], "shift_y_mm": c.shift[1], "shift_z_mm": c.shift[2],
                "feed_before_mm_min": c.feed[1], "feed_after_mm_min": c.feed[3], "rpm_before": c.rpm[0],
                "rpm_after": c.rpm[1], "cutter_before": c.cutter[0], "cutter_after": c.cutter[1],
                "lines_before": _span(c.lines_before), "lines_after": _span(c.lines_after),
            }
            for c in self.changes
        ]  # fmt: skip
        units = {
            "moves": "-", "before_s": "s", "after_s": "s", "more_s": "s", "cut_mm": "mm", "shift_x_mm": "mm",
            "shift_y_mm": "mm", "shift_z_mm": "mm", "feed_before_mm_min": "mm/min", "feed_after_mm_min": "mm/min",
            "rpm_before": "rev/min", "rpm_after": "rev/min",
        }  # fmt: skip
        return table_for_people(rows, units)


def compare(before: Moves, after: Moves, machine: Machine, *, tolerance: float = TOLERANCE) -> Comparison:
    """Hold two versions of a program against each other.

    Parameters
    ----------
    before, after : Moves
        The two versions; a cut without a feed makes its time unknown, not the comparison.
    machine : Machine
        That runs both.
    tolerance : float
        Positions nearer than this are one place [mm].

    Returns
    -------
    Comparison

    Notes
    -----
    Moves are looked for at the same place first, then at the same place seen from above, then elsewhere in the order,
    then on the same path shifted; see ``comparing.aligning``. Text does not count: two programs in inch and mm with
    the same moves are the same.

    Example
    -------
    >>> from shopcalc.moves import from_lists
    >>> path = [(0, 0, 0), (300, 0, 0), (300, 200, 0)]
    >>> old, new = (from_lists(path, [Kind.LINE] * 2, feed=[f, 3000]) for f in (3000, 3600))
    >>> [(c.differences, c.moves) for c in compare(old, new, Machine()).changes]
    [(('feed',), 1)]
    """
    partner, how = _matched(before, after, tolerance)
    times = machine_time(before, machine), machine_time(after, machine)
    changes, kept = _changes(before, after, times, partner, how, tolerance)
    cut = [m.cutting for m in (before, after)]
    used = [set(np.unique(m.cutter[c]).tolist()) for m, c in zip((before, after), cut, strict=True)]
    return Comparison(
        changes=tuple(changes),
        moves=(len(before), len(after)),
        kept=kept,
        seconds=(times[0].total_s, times[1].total_s),
        by_kind={
            words: (float(getattr(times[0], name)), float(getattr(times[1], name)))
            for words, name in (
                ("cutting", "cutting_time_s"), ("rapids", "rapid_time_s"),
                ("dwells and spindle starts", "dwell_time_s"), ("cutter changes", "change_time_s"),
            )
        },
        by_cutter=_by_cutter(*times),
        labels={**before.labels, **after.labels},
        extents=(before.extents(), after.extents()),
        deepest=(_deepest(before), _deepest(after)),
        feeds=(_values(before.feed[cut[0]]), _values(after.feed[cut[1]])),
        rpms=(_values(before.rpm[cut[0]]), _values(after.rpm[cut[1]])),
        cutters_gone=tuple(sorted(used[0] - used[1])),
        cutters_new=tuple(sorted(used[1] - used[0])),
    )  # fmt: skip


def _by_cutter(before: MotionTime, after: MotionTime) -> dict[int, tuple[float, float]]:
    a, b = before.by_cutter(), after.by_cutter()
    return {n: (a.get(n, 0.0), b.get(n, 0.0)) for n in sorted({*a, *b})}


def _deepest(moves: Moves) -> float:
    cutting = np.flatnonzero(moves.cutting)
    if not len(cutting):
        return math.nan
    lowest = float(np.minimum(moves.points[cutting, 2], moves.points[cutting + 1, 2]).min())
    if (moves.arc_plane > 0).any():  # the bulge of an upright arc: cuts alone, rapids are never arcs
        parts = [moves.part(int(i), int(i) + 1).extents()[2, 0] for i in moves.arc_index[moves.arc_plane > 0][:10_000]]
        lowest = min(lowest, *map(float, parts))
    return lowest


def _values(values: Floats) -> tuple[float, ...]:
    return tuple(np.unique(values[np.isfinite(values)].round(3)).tolist())


def _unlike(values: Iterable[float], others: tuple[float, ...]) -> list[float]:
    """Values of the first that none of the second is near."""
    other = np.asarray(others)
    return [v for v in values if not len(other) or np.abs(other - v).min() > max(_SAME_FEED * abs(v), 0.05)]


def _listed(values: list[float], quantity: str, system: System) -> str:
    if not values:
        return "none"
    shown = [write(v, quantity, system) for v in values]
    return ", ".join(shown) if len(shown) <= 6 else f"{len(shown)} from {shown[0]} to {shown[-1]}"


def _matched(before: Moves, after: Moves, tolerance: float) -> tuple[Ints, NDArray[np.int8]]:
    """Of each move of the version before its move of the version after (-1: none) and how it was found."""
    n, m = len(before), len(after)
    partner, how = np.full(n, -1, dtype=np.int64), np.zeros(n, dtype=np.int8)
    if before.extra.keys() != after.extra.keys():
        return partner, how
    taken = np.zeros(m, dtype=bool)
    for match in (Match.PLACE, Match.PLAN, Match.ORDER, Match.PATH, Match.PLAN_PATH):
        free_a, free_b = np.flatnonzero(partner < 0), np.flatnonzero(~taken)
        if not len(free_a) or not len(free_b):
            break
        a, b = features(before, match), features(after, match)
        if match == Match.ORDER:
            cutting_a, cutting_b = free_a[before.cutting[free_a]], free_b[after.cutting[free_b]]
            pairs = elsewhere(a, b, cutting_a, cutting_b, tolerance)
            partner[pairs[:, 0]], how[pairs[:, 0]] = pairs[:, 1], match
            taken[pairs[:, 1]] = True
            left = partner < 0
            draw_out(a, b, pairs, partner, taken, tolerance)
            how[left & (partner >= 0)] = match
            continue
        in_order = (partner >= 0) & (how != Match.ORDER)
        found = match_between(a, b, partner, in_order, (free_a, free_b), tolerance)
        if match in (Match.PATH, Match.PLAN_PATH):
            found = _believed(found, before, after, 2 if match == Match.PLAN_PATH else 3, tolerance)
        partner[found[:, 0]], how[found[:, 0]] = found[:, 1], match
        taken[found[:, 1]] = True
    return partner, how


def _believed(pairs: Ints, before: Moves, after: Moves, axes: int, tolerance: float) -> Ints:
    """Pairs in runs of one shift that are long enough, and cut: a single move of equal length proves nothing."""
    if not len(pairs):
        return pairs
    i, j = pairs.T
    shift = (after.points[j] - before.points[i])[:, :axes]
    go_on = (np.diff(i) == 1) & (np.diff(j) == 1) & (np.abs(np.diff(shift, axis=0)).max(axis=1) <= 3 * tolerance)
    heads = np.flatnonzero(np.concatenate([[True], ~go_on]))
    size = np.diff(np.append(heads, len(pairs)))
    cuts = np.add.reduceat(before.cutting[i].astype(np.int64), heads)
    return np.asarray(pairs[np.repeat((size >= _LEAST_SHIFTED) & (cuts > 0), size)])


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Matched moves, and in what each pair differs."""

    i: Ints
    j: Ints
    order: NDArray[np.bool_]
    shift: Floats  # (k, 3)
    uneven: NDArray[np.bool_]
    rise: Floats  # (k, 2) change of z at start and end
    ratio: Floats
    rpm: Floats  # (k, 2)
    cutter: NDArray[np.int64]  # (k, 2)
    exact: NDArray[np.bool_]

    @property
    def changed(self) -> NDArray[np.bool_]:
        return np.asarray(
            self.order | (self.shift != 0).any(axis=1) | self.uneven | (self.ratio != 1) | self.exact
            | (self.rpm[:, 0] != self.rpm[:, 1]) | (self.cutter[:, 0] != self.cutter[:, 1])
        )  # fmt: skip


def _pairs(before: Moves, after: Moves, partner: Ints, how: NDArray[np.int8], tolerance: float) -> _Pairs:
    i = np.flatnonzero(partner >= 0)
    j, found = partner[i], how[i]
    first = after.points[j] - before.points[i]
    last = after.points[j + 1] - before.points[i + 1]
    placed = (found == Match.PLACE) | (found == Match.ORDER)
    for s in (first, last):
        s[placed] = 0.0
        s[np.abs(s) <= 2 * tolerance] = 0.0
    even = np.abs(first - last).max(axis=1, initial=0.0) <= 2 * tolerance
    none = [np.abs(s).max(axis=1, initial=0.0) == 0 for s in (first, last)]
    uneven = ~even & ~none[0] & ~none[1]
    # a move that leads from an unshifted place to a shifted one belongs to the shift; beside uneven ones it is uneven
    beside = np.concatenate([[False], uneven[:-1]]) | np.concatenate([uneven[1:], [False]])
    uneven |= ~even & beside
    shift = np.where((none[1] & ~even)[:, None], first, last)
    uneven |= _drifting(i, j, shift, uneven, (found == Match.PLAN) | (found == Match.PLAN_PATH), tolerance)
    shift[uneven] = 0.0
    old, new = before.feed[i], after.feed[j]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(before.kind[i] == Kind.RAPID, 1.0, new / old)
    alike = (np.abs(ratio - 1) <= _SAME_FEED) | (np.abs(new - old) <= 0.05) | (np.isnan(old) & np.isnan(new))
    ratio = np.where(alike, 1.0, np.where(np.isnan(ratio), -1.0, ratio))
    rpm = np.stack([before.rpm[i], after.rpm[j]], axis=1)
    rpm[np.abs(rpm[:, 0] - rpm[:, 1]) <= 0.5, 1] = rpm[np.abs(rpm[:, 0] - rpm[:, 1]) <= 0.5, 0]
    cutter = np.stack([before.cutter[i], after.cutter[j]], axis=1).astype(np.int64)
    rise = np.stack([first[:, 2], last[:, 2]], axis=1)
    exact = before.exact_stop[i] != after.exact_stop[j]
    return _Pairs(i, j, found == Match.ORDER, shift, uneven, rise, ratio, rpm, cutter, exact)


def _drifting(
    i: Ints, j: Ints, shift: Floats, uneven: NDArray[np.bool_], plan: NDArray[np.bool_], tolerance: float
) -> NDArray[np.bool_]:
    """Moves whose shift is even only by chance: in runs along which it drifts, or short ones beside uneven moves."""
    if not len(i):
        return uneven
    near = (np.diff(i) == 1) & (np.diff(j) == 1)
    go_on = near & (uneven[1:] == uneven[:-1]) & (np.abs(np.diff(shift, axis=0)).max(axis=1) <= 3 * tolerance)
    heads = np.flatnonzero(np.concatenate([[True], ~go_on]))
    size = np.diff(np.append(heads, len(i)))
    spread = (np.maximum.reduceat(shift, heads) - np.minimum.reduceat(shift, heads)).max(axis=1)
    touching = np.concatenate([[False], near & uneven[:-1]]) | np.concatenate([near & uneven[1:], [False]])
    short = (size < _LEAST_EVEN) & (np.add.reduceat(touching.astype(np.int64), heads) > 0)
    return np.asarray(np.repeat(short | (spread > 4 * tolerance), size) & plan)


def _changes(
    before: Moves, after: Moves, times: tuple[MotionTime, MotionTime], partner: Ints, how: NDArray[np.int8],
    tolerance: float,
) -> tuple[list[Change], int]:  # fmt: skip
    """Runs of moves that differ, in order, and how many moves do not."""
    p = _pairs(before, after, partner, how, tolerance)
    changed = p.changed
    out: list[Change] = []
    lengths = after.lengths * after.cutting
    if changed.any():
        go_on = (np.diff(p.i) == 1) & (np.diff(p.j) == 1) & changed[1:] & changed[:-1]
        go_on &= (np.abs(np.diff(p.shift, axis=0)).max(axis=1) <= 3 * tolerance) & (p.uneven[1:] == p.uneven[:-1])
        go_on &= (np.abs(np.diff(p.ratio)) <= 0.005) & (p.order[1:] == p.order[:-1]) & (p.exact[1:] == p.exact[:-1])
        for sides in (p.rpm, p.cutter):  # where both versions change alike, no run ends
            differing = np.where(sides[:, :1] != sides[:, 1:], sides, -1)
            go_on &= (np.diff(differing, axis=0) == 0).all(axis=1)
        heads = np.flatnonzero(np.concatenate([[True], ~go_on]))
        tails = np.append(heads[1:], len(p.i))
        for h, t in zip(heads.tolist(), tails.tolist(), strict=True):
            if changed[h]:
                out.append(_paired(p, h, t, before, after, times, lengths))
    gone = _runs(np.flatnonzero(partner < 0))
    new = _runs(np.setdiff1d(np.arange(len(after)), p.j, assume_unique=True))
    old_lengths = before.lengths * before.cutting
    out += [_alone("removed", b, e, before, times[0], old_lengths) for b, e in gone]
    out += [_alone("added", b, e, after, times[1], lengths) for b, e in new]
    # what was removed stands before the first move after it that was kept
    follow = np.append(partner, len(after))
    usable = np.where(follow >= 0, follow, np.iinfo(np.int64).max)
    behind = np.minimum.accumulate(usable[::-1])[::-1]

    def place(c: Change) -> tuple[float, int]:
        if c.begin_after is not None:
            return float(c.begin_after), 1
        assert c.begin_before is not None
        return float(behind[c.begin_before]), 0

    return sorted(out, key=place), int((~changed).sum())


def _runs(index: Ints) -> list[tuple[int, int]]:
    """Begin and end of stretches of consecutive numbers."""
    if not len(index):
        return []
    cut = np.flatnonzero(np.diff(index) != 1) + 1
    heads, tails = np.concatenate([[0], cut]), np.concatenate([cut, [len(index)]]) - 1
    return [(int(index[h]), int(index[t]) + 1) for h, t in zip(heads, tails, strict=True)]


def _lines(moves: Moves, begin: int, end: int) -> tuple[int, int] | None:
    lines = moves.line[begin:end]
    known = lines[lines > 0]
    return (int(known.min()), int(known.max())) if len(known) else None


def _feed_range(moves: Moves, begin: int, end: int) -> tuple[float, float]:
    feed = moves.feed[begin:end]
    known = feed[np.isfinite(feed)]
    return (float(known.min()), float(known.max())) if len(known) else (math.nan, math.nan)


def _paired(
    p: _Pairs, h: int, t: int, before: Moves, after: Moves, times: tuple[MotionTime, MotionTime], lengths: Floats
) -> Change:
    i, j, n = int(p.i[h]), int(p.j[h]), t - h
    differences = [
        word
        for word, differs in (
            ("order", p.order[h]), ("shifted", (p.shift[h] != 0).any()), ("heights", p.uneven[h]),
            ("feed", p.ratio[h] != 1), ("spindle speed", p.rpm[h, 0] != p.rpm[h, 1]),
            ("cutter", p.cutter[h, 0] != p.cutter[h, 1]), ("exact stop", p.exact[h]),
        )
        if differs
    ]  # fmt: skip
    x, y, z = np.median(p.shift[h:t], axis=0).tolist()
    rise = p.rise[h:t]
    return Change(
        differences=tuple(differences), begin_before=i, begin_after=j, moves=n,
        seconds_before=float(times[0].seconds[i : i + n].sum()),
        seconds_after=float(times[1].seconds[j : j + n].sum()),
        cut_length=float(lengths[j : j + n].sum()), shift=(x, y, z), heights=(float(rise.min()), float(rise.max())),
        feed=(*_feed_range(before, i, i + n), *_feed_range(after, j, j + n)),
        rpm=(float(p.rpm[h, 0]), float(p.rpm[h, 1])), cutter=(int(p.cutter[h, 0]), int(p.cutter[h, 1])),
        lines_before=_lines(before, i, i + n), lines_after=_lines(after, j, j + n),
    )  # fmt: skip


def _alone(word: str, begin: int, end: int, moves: Moves, time: MotionTime, lengths: Floats) -> Change:
    """A run that only one version has."""
    gone = word == "removed"
    seconds = float(time.seconds[begin:end].sum())
    feed, lines = _feed_range(moves, begin, end), _lines(moves, begin, end)
    nothing = (math.nan, math.nan)
    rpm, cutter = float(moves.rpm[begin]), int(moves.cutter[begin])
    return Change(
        differences=(word,), begin_before=begin if gone else None, begin_after=None if gone else begin,
        moves=end - begin, seconds_before=seconds if gone else 0.0, seconds_after=0.0 if gone else seconds,
        cut_length=float(lengths[begin:end].sum()), shift=(0.0, 0.0, 0.0), heights=(0.0, 0.0),
        feed=(*feed, *nothing) if gone else (*nothing, *feed), rpm=(rpm, rpm), cutter=(cutter, cutter),
        lines_before=lines if gone else None, lines_after=None if gone else lines,
    )  # fmt: skip


def _grouped(changes: Iterable[Change]) -> list[list[Change]]:
    """Changes of one kind together, those of most seconds first."""
    groups: dict[tuple[object, ...], list[Change]] = {}
    for c in changes:
        ratio = round(c.feed[3] / c.feed[1], 2) if "feed" in c.differences and c.feed[1] > 0 else 1.0
        shift = tuple(round(v, 2) for v in c.shift) if "shifted" in c.differences else ()
        rpm = c.rpm if "spindle speed" in c.differences else ()
        cutter = c.cutter if "cutter" in c.differences else ()
        groups.setdefault((c.differences, shift, ratio, rpm, cutter), []).append(c)

    def weight(group: list[Change]) -> float:
        return -abs(math.fsum(c.seconds_after - c.seconds_before for c in group if c.seconds_after == c.seconds_after))

    return sorted(groups.values(), key=weight)


def _tell(group: list[Change], system: System) -> str:
    """One kind of change in words."""
    first = group[0]
    moves = sum(c.moves for c in group)
    cut = math.fsum(c.cut_length for c in group)
    before, after = math.fsum(c.seconds_before for c in group), math.fsum(c.seconds_after for c in group)
    where = f" at {len(group)} places" if len(group) > 1 else ""
    count = f"{moves} move{'s' if moves > 1 else ''}{where}"
    if first.differences in (("removed",), ("added",)):
        words = f"{count} {first.differences[0]}, {_length(cut, system)} of cut among them"
    else:
        words = f"{count}: " + ", ".join(_difference(d, group, system) for d in first.differences)
    words += _less(before, after).replace(": ", "; ", 1)
    was, now = _all_lines(c.lines_before for c in group), _all_lines(c.lines_after for c in group)
    if was:
        words += f"; {was}"
    if now and now != was:
        words += f"; now {now}"
    return words


def _all_lines(spans: Iterable[tuple[int, int] | None]) -> str:
    known = [s for s in spans if s]
    if not known:
        return ""
    first, last = min(s[0] for s in known), max(s[1] for s in known)
    return f"line{'s' * (first != last)} {_span((first, last))}"


def _difference(difference: str, group: list[Change], system: System) -> str:
    first = group[0]
    if difference == "feed":
        ends = [[c.feed[k] for c in group] for k in range(4)]
        old, new = (_between(min(ends[k]), max(ends[k + 1]), system) for k in (0, 2))
        share = first.feed[3] / first.feed[1] - 1 if first.feed[1] > 0 else math.nan
        size = "" if math.isnan(share) else f" ({100 * abs(share):.0f} % {'higher' if share > 0 else 'lower'})"
        return f"the feed {old} becomes {new}{size}"
    if difference == "spindle speed":
        old, new = (write(v, "spindle_speed", system) if v > 0 else "that was not given" for v in first.rpm)
        return f"the speed {old} becomes {new}"
    if difference == "cutter":
        old, new = (f"cutter {n}" if n else "no named cutter" for n in first.cutter)
        return f"{old} becomes {new}"
    if difference == "heights":
        low, high = min(c.heights[0] for c in group), max(c.heights[1] for c in group)
        return f"the same path seen from above, z changed by {_length(low, system)} to {_length(high, system)}"
    if difference == "shifted":
        x, y, z = first.shift
        if x == 0 and y == 0:
            return f"the same path {_length(abs(z), system)} {'deeper' if z < 0 else 'higher'}"
        by = ", ".join(f"{a} {_length(v, system)}" for a, v in zip(_AXES, first.shift, strict=True) if v)
        return f"the same path shifted by {by}"
    if difference == "order":
        return "the same cut, elsewhere in the order"
    return "another exact stop"


def _between(low: float, high: float, system: System) -> str:
    a, b = write(low, "feed", system), write(high, "feed", system)
    return a if a == b else f"{a.split()[0]} to {b}"


def _length(value: float, system: System) -> str:
    if math.isnan(value):
        return "unknown"
    if system == "inch":
        return write(value, "length", "inch", fraction=False)
    return write(value, "length", "metric")


def _span(lines: tuple[int, int] | None) -> str:
    if lines is None:
        return ""
    return str(lines[0]) if lines[0] == lines[1] else f"{lines[0]} to {lines[1]}"


def _less(before: float, after: float) -> str:
    """The difference in words, after a colon; empty where times are alike or unknown."""
    change = after - before
    if math.isnan(change) or abs(change) < 0.05:
        return ""
    return f": {write_time(abs(change))} {'more' if change > 0 else 'less'}"
