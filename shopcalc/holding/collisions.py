"""Clamps in the way: every move of a load against every keep-out, with the remedy of each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.errors import did_you_mean
from shopcalc.holding.keep_outs import KeepOut, as_array
from shopcalc.holding.tool_body import INVENTED_HOLDER, Holder, ToolBody, tool_body
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.sources import practice
from shopcalc.units import System, write

ERROR = 0.01  # mm; how far an arc may leave the chords it is checked by: so much is added to the body
_MOST_HITS = 4096  # room for the first go; more are counted, and found in a second
_FURTHEST = 400.0  # mm; a clamp is not shifted further
_STEP = 0.05  # mm; least step of the search for a free place
_SIDES = {"+x": (1.0, 0.0), "-x": (-1.0, 0.0), "+y": (0.0, 1.0), "-y": (0.0, -1.0)}


@dataclass(frozen=True, eq=False)
class Collision:
    """One part of one cutter that runs into one keep-out.

    Parameters
    ----------
    keep_out : str
        Its name.
    part : str
        Of the body: flutes, shank, nut, ...
    body : ToolBody
        Whose part it is.
    moves : (m,) int
        All moves that do so, ascending.
    worst : int
        The one that does so deepest.
    line : int
        Of the program, of the first move; 0 where it has none.
    rapid : bool
        Whether any of them is a rapid.
    at : (3,) float
        Tip of the cutter where it is deepest [mm].
    sideways : float
        Greatest overlap from the side: by so much one of them must give way sideways at that place [mm].
    rise : float
        By so much higher the part would pass over [mm].
    margin : float
        Part of both that is only the margin asked for [mm].
    """

    keep_out: str
    part: str
    body: ToolBody
    moves: NDArray[np.int64]
    worst: int
    line: int
    rapid: bool
    at: tuple[float, float, float]
    sideways: float
    rise: float
    margin: float

    @property
    def depth(self) -> float:
        """Of the overlap: the shorter way out, sideways or up [mm]; less than 0 where only the margin is missed."""
        return min(self.sideways, self.rise) - self.margin


@dataclass(frozen=True, eq=False)
class Clear:
    """What a check of moves against keep-outs found.

    Parameters
    ----------
    moves : Moves
        What was checked.
    keep_outs : tuple of KeepOut
        Against what.
    bodies : mapping
        By cutter number.
    collisions : tuple of Collision
        Deepest first.
    margin : float
        Kept all round [mm].
    unchecked : tuple of str
        What could not be checked, and why.
    """

    moves: Moves
    keep_outs: tuple[KeepOut, ...]
    bodies: Mapping[int, ToolBody]
    collisions: tuple[Collision, ...]
    margin: float
    unchecked: tuple[str, ...] = ()
    _shifts: dict[str, tuple[float, str] | None] = field(default_factory=dict)

    @property
    def clear(self) -> bool:
        """Whether every move keeps the margin and all of them could be checked."""
        return not self.collisions and not self.unchecked

    def shift(self, name: str) -> tuple[float, str] | None:
        """Shortest way along x or y to a place where all bodies of a keep-out are clear of every move.

        Parameters
        ----------
        name : str
            Of the keep-out.

        Returns
        -------
        (float, str) or None
            How far [mm] and which way, "+x", "-x", "+y" or "-y"; None where there is none within 400 mm. Whether it
            still holds the wood there is for you to see.

        Notes
        -----
        At each place the keep-out must move at least as far as it overlaps; so much is added until nothing overlaps,
        which passes over no free place wider than 0.05 mm (geometry: a signed distance changes no faster than its
        point moves).
        """
        if name not in {k.name for k in self.keep_outs}:
            refuse(f"no keep-out is named '{name}'", did_you_mean(name, {k.name for k in self.keep_outs}))
        if name not in self._shifts:
            own = [k.grown(self.margin) for k in self.keep_outs if k.name == name]
            ways = dict.fromkeys(_SIDES, 0.0)
            way: tuple[float, str] | None = None
            while way is None and (side := min(ways, key=ways.__getitem__)) and (by := ways[side]) < _FURTHEST:
                dx, dy = by * _SIDES[side][0], by * _SIDES[side][1]
                worst = _swept(self.moves, self.bodies, [k.moved(dx, dy) for k in own], 0)[1]
                way = (by, side) if worst > -1e-6 else None
                ways[side] = by + max(-worst, _STEP)
            self._shifts[name] = way
        return self._shifts[name]

    def remedy(self, c: Collision, system: System = "metric") -> str:
        """What mends a collision.

        Parameters
        ----------
        c : Collision
            One of ``collisions``.
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        out = []
        way = self.shift(c.keep_out)
        if way is not None:
            out.append(f"shift {c.keep_out} by {write(_up(way[0], system), 'length', system)} along {way[1]}")
        if c.rapid and bool((self.moves.kind[c.moves] == Kind.RAPID).all()):
            out.append(f"raise the clearance height by {write(_up(c.rise, system), 'length', system)}")
        elif c.part not in ("flutes", "shank") and c.body.cutter is not None:
            out.append(_stick_out(c.body.cutter, _up(c.rise, system), system))
        else:
            out.append(f"use a keep-out {write(_up(c.rise, system), 'length', system)} lower")
        return ", or ".join(out)

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """One sentence for each collision, deepest first, and what was not checked.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        out = []
        for c in self.collisions:
            where = f"line {c.line}" if c.line else f"move {int(c.moves[0]) + 1}"
            more = f" and {len(c.moves) - 1} more moves" if len(c.moves) > 1 else ""
            how = f"by {write(c.depth, 'length', system)}" if c.depth > 0 else "nearer than the margin"
            meets = "meet" if c.part == "flutes" else "meets"
            kind = "rapid" if self.moves.kind[c.moves[0]] == Kind.RAPID else "feed"
            out.append(
                f"{where} ({kind}){more}: {c.part} of {c.body.id} {meets} {c.keep_out} {how}: {self.remedy(c, system)}"
            )
        return (*out, *self.unchecked)


def _up(length: float, system: System) -> float:
    """Rounded up to a tenth of a millimetre or a thirty-second of an inch, so that what is written suffices."""
    step = 0.1 if system == "metric" else 25.4 / 32
    return math.ceil(length / step - 1e-6) * step


def _stick_out(cutter: Cutter, rise: float, system: System) -> str:
    most = cutter.overall_length - practice()["grip_share"].value * cutter.shank
    spare = most - cutter.stick_out
    if rise <= spare:
        by = write(rise, "length", system)
        return f"let {cutter.id} stick out {by} more (it bends more: tune again)"
    return f"take a longer cutter than {cutter.id}, by {write(rise - max(spare, 0.0), 'length', system)}"


def bodies_of(
    moves: Moves, cutters: Mapping[str, Cutter], holder: Holder | None = INVENTED_HOLDER
) -> dict[int, ToolBody]:
    """Bodies of the cutters that moves call, found by label or by place in the rack.

    Parameters
    ----------
    moves : Moves
        Of a program or load.
    cutters : mapping
        The rack, by id.
    holder : Holder or None
        Above every stick-out.

    Returns
    -------
    dict
        Cutter number to body; numbers of unknown cutters are left out. What moves before any cutter is called is
        checked with the one of them that stands out furthest, for nobody says what is in the spindle then.
    """
    rack = {c.number: c for c in cutters.values() if c.number}
    by_case = {key.casefold(): c for key, c in cutters.items()}
    out = {}
    for number in np.unique(moves.cutter).tolist():
        found = by_case.get(moves.labels.get(number, "").strip().casefold()) or rack.get(number)
        if found is not None:
            out[number] = tool_body(found, holder)
    if 0 not in out and out and (moves.cutter == 0).any() and not moves.cutting[moves.cutter == 0].any():
        out[0] = max(out.values(), key=lambda b: b.sections[-1].high)
    return out


def check_clear(
    moves: Moves,
    bodies: ToolBody | Mapping[int, ToolBody],
    keep_outs: Sequence[KeepOut],
    *,
    margin: float = 0.0,
) -> Clear:
    """Check every move against every keep-out.

    Parameters
    ----------
    moves : Moves
        Of one load, in the frame of the keep-outs.
    bodies : ToolBody or mapping
        The one body, or by cutter number as from ``bodies_of``.
    keep_outs : sequence of KeepOut
        In the program's coordinates.
    margin : float
        To be kept all round [mm]; what touches without overlap is clear.

    Returns
    -------
    Clear
        Every overlap deeper than 0.001 mm is found, on lines as on arcs in any plane; none is told where there is
        room, save on arcs, which are checked as chords with ``ERROR`` and the difference of their two radii added, and
        on balls (``tool_body.ROUND``).

    Raises
    ------
    InputError
        When the margin is below zero, or rotary axes turn the part meanwhile.

    Example
    -------
    >>> from shopcalc.holding.keep_outs import cylinder
    >>> from shopcalc.moves import from_lists
    >>> path = from_lists([(0, 0, 5), (100, 0, 5)], [Kind.LINE], feed=3000)
    >>> sq = Cutter("SQ12", "", "square end", 12, 12, 2, 30, 80, 40)
    >>> found = check_clear(path, tool_body(sq), [cylinder("bolt", 50, 8, 10, bottom=0, top=8)])
    >>> found.says()[0]
    'move 1 (feed): flutes of SQ12 meet bolt by 3 mm: shift bolt by 3 mm along +y, or use a keep-out 3 mm lower'
    """
    known = _known(moves, bodies, margin)
    travels = moves.kind <= Kind.ARC
    strange = sorted({int(n) for n in np.unique(moves.cutter[travels])} - set(known))
    unchecked = tuple(
        f"moves of cutter {moves.labels.get(n, n)} were not checked: its body is not known" for n in strange
    )
    grown = [k.grown(margin) for k in keep_outs]
    hits, _ = _swept(moves, known, grown, _MOST_HITS)
    order = [b for b in known.values() for _ in b.sections]
    sections = [s for b in known.values() for s in b.sections]
    groups: dict[tuple[str, str, str], list[int]] = {}
    for row, (_, section, keep) in enumerate(hits[:, :3].astype(np.int64).tolist()):
        key = (keep_outs[keep].name, order[section].id, sections[section].part)
        groups.setdefault(key, []).append(row)
    found = [
        _collision(moves, name, part, order[int(hits[rows[0], 1])], hits[rows], sections, grown, margin)
        for (name, _, part), rows in groups.items()
    ]
    found.sort(key=lambda c: -c.depth)
    return Clear(moves, tuple(keep_outs), known, tuple(found), margin, unchecked)


def met(
    moves: Moves, bodies: ToolBody | Mapping[int, ToolBody], keep_outs: Sequence[KeepOut], *, margin: float = 0.0
) -> NDArray[np.bool_]:
    """Which of many keep-outs any move meets, and nothing more; quicker than ``check_clear``.

    Parameters
    ----------
    moves : Moves
        Of one load, in the frame of the keep-outs.
    bodies : ToolBody or mapping
        As in ``check_clear``; moves of unknown cutters are passed over.
    keep_outs : sequence of KeepOut
        In the program's coordinates.
    margin : float
        To be kept all round [mm].

    Returns
    -------
    (n,) bool

    Raises
    ------
    InputError
        As ``check_clear``.
    """
    grown = [k.grown(margin) for k in keep_outs]
    hits, _ = _swept(moves, _known(moves, bodies, margin), grown, _MOST_HITS, all_hits=False)
    out = np.zeros(len(keep_outs), dtype=bool)
    out[hits[:, 2].astype(np.int64)] = True
    return out


def _known(moves: Moves, bodies: ToolBody | Mapping[int, ToolBody], margin: float) -> dict[int, ToolBody]:
    """Bodies by cutter number, after what cannot be checked was refused."""
    if margin < 0:
        refuse(f"margin {margin:g} mm is below zero", "give the room to be kept, 0 for none")
    if moves.extra:
        refuse(f"further axes move: {', '.join(moves.extra)}", "check programs of three axes only")
    return {int(n): bodies for n in np.unique(moves.cutter)} if isinstance(bodies, ToolBody) else dict(bodies)


def _collision(
    moves: Moves, name: str, part: str, body: ToolBody, hits: Floats, sections: Sequence[tuple[str, float, float, float,
    float]], keeps: Sequence[KeepOut], margin: float,
) -> Collision:  # fmt: skip
    index = np.unique(hits[:, 0].astype(np.int64))
    lows = np.array([sections[int(j)][1] for j in hits[:, 1]])
    tops = np.array([keeps[int(k)].top for k in hits[:, 2]])
    rises, sideways = tops - (hits[:, 5] + lows), -hits[:, 3]
    worst = int(np.argmax(np.minimum(rises, sideways)))
    move = int(hits[worst, 0])
    x, y, z = _place(moves, move, float(hits[worst, 4]))
    return Collision(
        name, part, body, index, move, int(moves.line[index[0]]), bool((moves.kind[index] == Kind.RAPID).any()),
        (x, y, z), float(sideways.max()), float(rises.max()), margin,
    )  # fmt: skip


def _place(moves: Moves, move: int, share: float) -> tuple[float, float, float]:
    """Where the tip is after a share of a move; on an arc along its sweep."""
    from shopcalc.moves import PLANE_AXES

    at = moves.points[move] + share * (moves.points[move + 1] - moves.points[move])
    if moves.kind[move] == Kind.ARC:
        arc = int(np.searchsorted(moves.arc_index, move))
        p, q, _ = PLANE_AXES[int(moves.arc_plane[arc])]
        centre, start = moves.arc_centre[arc], moves.points[move]
        radius, begin = math.hypot(start[p] - centre[p], start[q] - centre[q]), 0.0
        begin = math.atan2(start[q] - centre[q], start[p] - centre[p]) + share * float(moves.arc_sweep[arc])
        at[p], at[q] = centre[p] + radius * math.cos(begin), centre[q] + radius * math.sin(begin)
    return float(at[0]), float(at[1]), float(at[2])


def _swept(
    moves: Moves,
    bodies: Mapping[int, ToolBody],
    keep_outs: Sequence[KeepOut],
    room: int,
    all_hits: bool = True,
) -> tuple[Floats, float]:
    """Rows of (move, section, keep-out, room, share of the way, lowest z), and the worst room of all."""
    from shopcalc.holding.sweeping import sweep

    if not len(moves) or not bodies or not keep_outs:
        return np.zeros((0, 6)), math.inf
    number = np.full(int(max(moves.cutter.max(), max(bodies))) + 1, -1, dtype=np.int64)
    first = [0]
    for k, (key, body) in enumerate(bodies.items()):
        number[key] = k
        first.append(first[-1] + len(body.sections))
    body_of = number[moves.cutter]
    arc_at = np.full(len(moves), -1, dtype=np.int64)
    arc_at[moves.arc_index] = np.arange(len(moves.arc_index))
    sections = np.concatenate([b.array for b in bodies.values()])
    given = (
        np.ascontiguousarray(moves.points), moves.kind, body_of, arc_at, moves.arc_centre.reshape(-1, 3),
        moves.arc_sweep, moves.arc_plane, ERROR, sections, np.array(first), as_array(keep_outs), all_hits,
    )  # fmt: skip
    hits = np.zeros((room, 6))
    count, worst = sweep(*given, hits)
    if room and count > room:
        hits = np.zeros((count, 6))
        sweep(*given, hits)
    return hits[: min(count, len(hits))], float(worst)
