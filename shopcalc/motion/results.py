"""What the engine says: seconds of every move, and sums of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats, Kind, Moves

#: Where seconds go, in the order people are shown them.
CAUSES = (
    "cutting at the asked feed",
    "slower where an axis or an arc limits",
    "corners",
    "starts and stops",
    "bends of fine chords",
    "moves known ahead",
    "slower neighbouring moves",
    "gradual acceleration",
    "waiting for blocks",
    "rapids",
    "dwells and spindle starts",
    "cutter changes",
)
#: What set the time of a move, by its number in ``MotionTime.held_back``.
HELD_BACK = (
    "asked feed",
    "speed of an axis",
    "arc",
    "corner at its start",
    "corner at its end",
    "full stop",
    "bend of fine chords",
    "moves known ahead",
    "acceleration, short between corners",
    "jerk",
    "block rate",
    "unknown feed",
    "standing",
)
_MOST_BANDS = 100_000


class DepthBand(NamedTuple):
    """Cutting whose lower ends lie between two heights.

    Parameters
    ----------
    low, high : float
        Heights z, the lower one included [mm].
    seconds, length, lost : float
        Time [s], length [mm] and the seconds more than length / asked feed [s].
    """

    low: float
    high: float
    seconds: float
    length: float
    lost: float


class Place(NamedTuple):
    """A move that lost time.

    Parameters
    ----------
    move, line : int
        Its index, and the line of the program it comes from.
    lost : float
        Seconds more than at the asked feed [s].
    held_back : str
        What set its time: one of ``HELD_BACK``.
    end : (3,) float
        Where it ends [mm].
    """

    move: int
    line: int
    lost: float
    held_back: str
    end: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Totals:
    """Sums over a whole run of moves, however long.

    Parameters
    ----------
    moves : int
        How many moves.
    kind_seconds, kind_length : (6,) float
        By ``Kind``: time [s] and length in x, y and z [mm].
    cause_seconds : (12,) float
        In the order of ``CAUSES`` [s].
    length_over_feed_s : float
        What length / feed alone would say for the cutting moves, feed as run [s].
    cutter_seconds : mapping
        Cutter number to time [s].
    bands : sequence of DepthBand
        From the highest to the lowest; empty unless asked for.
    places : sequence of Place
        Those that lost most, most first.
    extents : (3, 2) float
        Lowest and highest x, y and z [mm].
    """

    moves: int
    kind_seconds: Floats
    kind_length: Floats
    cause_seconds: Floats
    length_over_feed_s: float
    cutter_seconds: dict[int, float]
    bands: list[DepthBand]
    places: list[Place]
    extents: Floats

    @property
    def total_s(self) -> float:
        """Time of the whole [s]; nan when the feed of any cutting move is unknown."""
        return float(self.kind_seconds.sum())

    @property
    def cutting_time_s(self) -> float:
        """Lines and arcs at feed [s]; nan when unknown."""
        return float(self.kind_seconds[[Kind.LINE, Kind.ARC]].sum())

    @property
    def rapid_time_s(self) -> float:
        """Rapids [s]."""
        return float(self.kind_seconds[Kind.RAPID])

    @property
    def dwell_time_s(self) -> float:
        """Dwells and waiting for the spindle [s]."""
        return float(self.kind_seconds[[Kind.DWELL, Kind.STOP]].sum())

    @property
    def change_time_s(self) -> float:
        """Cutter changes [s]."""
        return float(self.kind_seconds[Kind.CHANGE])

    @property
    def cutting_length(self) -> float:
        """Length of all lines and arcs at feed [mm]."""
        return float(self.kind_length[[Kind.LINE, Kind.ARC]].sum())

    @property
    def rapid_length(self) -> float:
        """Length of all rapids [mm]."""
        return float(self.kind_length[Kind.RAPID])

    def by_kind(self) -> dict[Kind, float]:
        """Seconds of each kind of move that takes any [s]."""
        return {k: float(s) for k, s in zip(Kind, self.kind_seconds, strict=True) if s != 0}

    def by_cutter(self) -> dict[int, float]:
        """Seconds in the moves made with each cutter number [s]; changes count for the cutter put in."""
        return dict(sorted(self.cutter_seconds.items()))

    def by_depth(self) -> list[DepthBand]:
        """Time, length and lost time by the height of each cutting move's lower end, from the highest band down."""
        return list(self.bands)

    def causes(self) -> dict[str, float]:
        """Where the seconds went, in words [s]; the values add up to ``total_s``."""
        return {c: float(s) for c, s in zip(CAUSES, self.cause_seconds, strict=True) if s != 0 or math.isnan(s)}

    def slowest_places(self) -> list[Place]:
        """Moves that lost most against the asked speed, as many as were asked for."""
        return list(self.places)


@dataclass(frozen=True, eq=False)
class MotionTime:
    """Seconds of every move, how fast it ran and what held it back.

    Parameters
    ----------
    moves : Moves
        What was timed.
    seconds : (n,) float
        Time of each move; nan where no feed is known [s].
    entry, exit, peak : (n,) float
        Speed at start, end and at its greatest; 0 for standing moves [mm/s].
    asked : (n,) float
        Speed the program asks for: feed as run, or the rapid speed; nan when unknown, inf when unlimited [mm/s].
    acceleration : (n,) float
        Along each move's path; inf where nothing limits it [mm/s2].
    lost_to_limits : (n,) float
        Seconds more than length / asked speed, because an axis or an arc does not allow that speed [s].
    lost_to_ramps : (n,) float
        Seconds lost to speeding up and slowing down at corners, starts and stops [s].
    lost_to_jerk : (n,) float
        Seconds the ramps take longer because acceleration itself builds up gradually [s].
    lost_to_blocks : (n,) float
        Seconds waited for the next block [s].
    allowed : (n,) float
        Greatest speed that feed, axes and arc allow [mm/s].
    length : (n,) float
        What the feed counts along: x, y and z [mm]; where they stand u, v and w [mm], else a, b and c [deg].
    held_back : (n,) uint8
        What set each move's time: index into ``HELD_BACK``.
    bounds : (n + 1,) uint8
        What bounds the speed at each junction: 0 a slower neighbour, 1 a corner, 2 a bend, 3 what is known ahead,
        4 a full stop.
    """

    moves: Moves
    seconds: Floats
    entry: Floats
    exit: Floats
    peak: Floats
    asked: Floats
    acceleration: Floats
    lost_to_limits: Floats
    lost_to_ramps: Floats
    lost_to_jerk: Floats
    lost_to_blocks: Floats
    allowed: Floats
    length: Floats
    held_back: NDArray[np.uint8]
    bounds: NDArray[np.uint8]

    @property
    def total_s(self) -> float:
        """Time of the whole [s]; nan when the feed of any cutting move is unknown."""
        return float(self.seconds.sum())

    def _sum(self, *kinds: Kind) -> float:
        return float(np.bincount(self.moves.kind, weights=self.seconds, minlength=len(Kind))[list(kinds)].sum())

    @property
    def cutting_time_s(self) -> float:
        """Lines and arcs at feed [s]; nan when unknown."""
        return self._sum(Kind.LINE, Kind.ARC)

    @property
    def rapid_time_s(self) -> float:
        """Rapids [s]."""
        return self._sum(Kind.RAPID)

    @property
    def dwell_time_s(self) -> float:
        """Dwells and waiting for the spindle [s]."""
        return self._sum(Kind.DWELL, Kind.STOP)

    @property
    def change_time_s(self) -> float:
        """Cutter changes [s]."""
        return self._sum(Kind.CHANGE)

    @property
    def length_over_feed_s(self) -> float:
        """What length / feed alone would say for the cutting moves, feed as run [s]; nan when unknown."""
        return self.totals.length_over_feed_s

    @cached_property
    def totals(self) -> Totals:
        """All sums at once, without depth bands, with the five slowest places."""
        sums = Sums(places=5)
        sums.add(self)
        return sums.totals()

    def causes(self) -> dict[str, float]:
        """Where the seconds went, in words [s]; the values add up to ``total_s``."""
        return self.totals.causes()

    def by_kind(self) -> dict[Kind, float]:
        """Seconds of each kind of move that takes any [s]."""
        return self.totals.by_kind()

    def by_cutter(self) -> dict[int, float]:
        """Seconds in the moves made with each cutter number [s]; changes count for the cutter put in."""
        return self.totals.by_cutter()

    def by_depth(self, bands: float | Sequence[float]) -> list[DepthBand]:
        """Time, length and lost time by the height of each cutting move's lower end, from the highest band down.

        Parameters
        ----------
        bands : float or sequence of float
            Height of every band, counted from z = 0, or the ascending heights between bands [mm].

        Raises
        ------
        ValueError
            When a height is no positive number, the edges do not ascend, or there would be over 100 000 bands.
        """
        sums = Sums(bands=bands)
        sums.add(self)
        return sums.totals().by_depth()

    def profile(self, points: int = 4000) -> tuple[Floats, Floats, Floats]:
        """Speed along the path, for drawing.

        Parameters
        ----------
        points : int
            About how many points at most; longer runs keep the lowest and the highest speed of each stretch, so that
            thinning hides no stop and no peak.

        Returns
        -------
        distance, speed, asked : (m,) float
            Distance from the start [mm], speed there and the speed asked for there [mm/s]; rapids ask for nan.
        """
        go = np.flatnonzero(self.moves.kind <= Kind.ARC)
        length, v0, v1, vp = self.length[go], self.entry[go], self.exit[go], self.peak[go]
        begin = np.cumsum(length) - length
        slows = np.isfinite(self.acceleration[go]) & (self.acceleration[go] > 0)
        double = np.where(slows, 2 * self.acceleration[go], np.inf)
        up, down = (vp**2 - v0**2) / double, (vp**2 - v1**2) / double
        shares = np.array([0.0, 0.1, 0.3, 0.6, 1.0])  # speed grows with the root of the distance: a few points each
        rise = np.sqrt(v0[:, None] ** 2 + (vp**2 - v0**2)[:, None] * shares)
        fall = np.sqrt(v1[:, None] ** 2 + (vp**2 - v1**2)[:, None] * shares[::-1])
        near = begin[:, None] + up[:, None] * shares
        far = (begin + length)[:, None] - down[:, None] * shares[::-1]
        distance = np.concatenate([near, far], axis=1).ravel()
        speed = np.concatenate([rise, fall], axis=1).ravel()
        asked = np.repeat(np.where(np.isfinite(self.asked[go]), self.asked[go], np.nan), 2 * len(shares))
        if len(distance) > points:
            keep = _low_and_high(distance, speed, points // 2)
            distance, speed, asked = distance[keep], speed[keep], asked[keep]
        return distance, speed, asked

    def slowest_places(self, count: int = 5) -> list[tuple[int, float]]:
        """Moves that lost most against the asked speed: their index and the seconds lost [s].

        Parameters
        ----------
        count : int
            How many at most.
        """
        sums = Sums(places=count)
        sums.add(self)
        return [(p.move, p.lost) for p in sums.totals().places]


def _low_and_high(distance: Floats, speed: Floats, stretches: int) -> NDArray[np.int64]:
    """Indices of the lowest and highest speed in each of so many equal stretches, and of both ends."""
    stretch = np.minimum((distance / max(distance[-1], 1e-9) * stretches).astype(np.int64), stretches - 1)
    order = np.lexsort((speed, stretch))
    first = np.flatnonzero(np.diff(stretch[order], prepend=-1))
    last = np.append(first[1:] - 1, len(order) - 1)
    return np.unique(np.concatenate([[0], order[first], order[last], [len(distance) - 1]]))


@dataclass(eq=False)
class Sums:
    """Adds up timed moves one stretch after the other.

    Parameters
    ----------
    bands : float or sequence of float, optional
        Depth bands: height of each, or the ascending heights between them [mm].
    places : int
        How many slowest places to keep.

    Raises
    ------
    ValueError
        When a height is no positive number or the edges do not ascend.
    """

    bands: float | Sequence[float] | None = None
    places: int = 0
    moves: int = field(default=0, init=False)

    def __post_init__(self) -> None:
        self._kinds = np.zeros((2, len(Kind)))
        self._causes = np.zeros(len(CAUSES) + 1)
        self._extents = np.array([[math.inf, -math.inf]] * 3)
        self._start: Floats | None = None
        self._cutters: dict[int, float] = {}
        self._places = np.zeros((max(0, self.places), 2))
        self._known: dict[int, Place] = {}
        self._edges, self._step = np.zeros(0), 0.0
        self._bands: dict[int, Floats] = {}
        if isinstance(self.bands, (int, float)):
            self._step = float(self.bands)
            if not (self._step > 0 and math.isfinite(self._step)):
                raise ValueError(f"depth bands {self.bands!r} mm high: give a height above 0")
        elif self.bands is not None:
            self._edges = np.asarray(list(self.bands), dtype=float)
            if not (np.isfinite(self._edges).all() and (np.diff(self._edges) > 0).all() and len(self._edges)):
                raise ValueError("the heights between depth bands do not ascend: sort them, each once")

    def add(self, time: MotionTime) -> None:
        """Take in the next stretch.

        Parameters
        ----------
        time : MotionTime
            Of moves that begin where the last ones ended.
        """
        from shopcalc.motion import kernels

        moves = time.moves
        if self._start is None:
            self._start = moves.points[0].copy()
        if not len(moves):
            return
        travel = time.length if not moves.extra else moves.lengths
        lowest, bands = self._depths(moves)
        before = self._places.copy()
        speed = np.append(time.entry, time.exit[-1])
        kernels.add_up(
            moves.kind, np.ascontiguousarray(moves.points), travel, time.length, time.seconds, time.asked, time.allowed,
            time.acceleration, speed, time.peak, time.bounds, time.lost_to_limits, time.lost_to_ramps,
            time.lost_to_jerk, time.lost_to_blocks, self._step, self._edges, lowest, float(self.moves), self._kinds,
            self._causes, self._extents, bands, self._places,
        )  # fmt: skip
        if len(moves.arc_index):  # arcs bulge beyond their ends
            bulge = moves.extents()
            self._extents[:, 0] = np.minimum(self._extents[:, 0], bulge[:, 0])
            self._extents[:, 1] = np.maximum(self._extents[:, 1], bulge[:, 1])
        for number in np.flatnonzero(bands.any(axis=1)).tolist():
            held = self._bands.setdefault(lowest + number, np.zeros(3))
            held += bands[number]
        self._count_cutters(moves.cutter, time.seconds)
        if not np.array_equal(before, self._places):
            self._name_places(time)
        self.moves += len(moves)

    def _depths(self, moves: Moves) -> tuple[int, Floats]:
        """Number of the lowest band of a stretch and empty sums for each from there up."""
        if self._step > 0:
            low, high = (math.floor((f(moves.points[:, 2]) + 1e-6) / self._step) for f in (np.min, np.max))
            if high - low >= _MOST_BANDS:
                raise ValueError(f"over {_MOST_BANDS} depth bands of {self._step:g} mm: make them higher")
            return low, np.zeros((high - low + 1, 3))
        return 0, np.zeros((len(self._edges) + 1 if len(self._edges) else 0, 3))

    def _count_cutters(self, cutter: NDArray[np.int32], seconds: Floats) -> None:
        if (cutter == cutter[0]).all():
            number = int(cutter[0])
            self._cutters[number] = self._cutters.get(number, 0.0) + float(seconds.sum())
            return
        numbers, at = np.unique(cutter, return_inverse=True)
        for number, spent in zip(numbers.tolist(), np.bincount(at, weights=seconds).tolist(), strict=True):
            self._cutters[number] = self._cutters.get(number, 0.0) + spent

    def _name_places(self, time: MotionTime) -> None:
        """Keep what is worth knowing of the moves that are among the slowest now."""
        kept = {}
        for lost, number in self._places:
            if lost > 0:
                at = int(number) - self.moves
                if at >= 0:
                    x, y, z = time.moves.points[at + 1].tolist()
                    held = HELD_BACK[_cost(time, at)]
                    kept[int(number)] = Place(int(number), int(time.moves.line[at]), float(lost), held, (x, y, z))
                else:
                    kept[int(number)] = self._known[int(number)]
        self._known = kept

    def totals(self) -> Totals:
        """Everything so far."""
        extents = self._extents.copy()
        if not np.isfinite(extents).all():  # nothing moved
            start = np.zeros(3) if self._start is None else self._start
            extents = np.repeat(start[:, None], 2, axis=1)
        bands = [DepthBand(*self._heights(n), *map(float, s)) for n, s in sorted(self._bands.items(), reverse=True)]
        return Totals(
            self.moves, self._kinds[0].copy(), self._kinds[1].copy(), self._causes[:-1].copy(), float(self._causes[-1]),
            dict(self._cutters), bands, list(self._known.values()), extents,
        )  # fmt: skip

    def _heights(self, number: int) -> tuple[float, float]:
        if self._step > 0:
            return number * self._step, (number + 1) * self._step
        edges = [-math.inf, *self._edges.tolist(), math.inf]
        return edges[number], edges[number + 1]


def _cost(time: MotionTime, at: int) -> int:
    """What a move lost most to, as an index into ``HELD_BACK``, also where that hardly counts in the move's time."""
    held = int(time.held_back[at])
    if HELD_BACK[held] != "asked feed":
        return held
    parts = (time.lost_to_limits, time.lost_to_ramps, time.lost_to_jerk, time.lost_to_blocks)
    most = int(np.argmax([part[at] for part in parts]))
    if most == 1:
        first = time.entry[at] < time.exit[at]
        junction = time.bounds[at if first else at + 1]
        words = (
            "acceleration, short between corners",  # a slower neighbour
            "corner at its start" if first else "corner at its end", "bend of fine chords", "moves known ahead",
            "full stop",
        )[junction]  # fmt: skip
    else:
        is_arc = time.moves.kind[at] == Kind.ARC
        words = ("arc" if is_arc else "speed of an axis", "", "jerk", "block rate")[most]
    return HELD_BACK.index(words)
