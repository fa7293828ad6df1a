"""Tenons on end: where the cutter leaves the rail, and what breaks there."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shopcalc.cutting.breakout.outlines import Chip, Risk, chords, tangent_at
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Moves
from shopcalc.paths.joinery import Tenon, tenon
from shopcalc.paths.runs import Leg, Point, Run
from shopcalc.paths.tracing import Cutting

FACES: dict[str, Point] = {
    "reference edge": (-1.0, 0.0),
    "far edge": (1.0, 0.0),
    "reference face": (0.0, -1.0),
    "far face": (0.0, 1.0),
}
_SLIVER = 0.02  # mm; narrower contact with a face is rounding


@dataclass(frozen=True)
class RailExit:
    """Where a line leaves a rail on end through one of its faces.

    Parameters
    ----------
    face : str
        One of ``FACES``: reference edge (x = 0), far edge, reference face (y = 0), far face.
    low, high : float
        From where to where along that face [mm].
    z : float
        Height of the floor [mm].
    start, end : (2,) float
        Of the line [mm].
    chip : {"thin", "web", "side"}
        A chip that thins where the line begins, the last web where it ends, or a chip pushed out sideways all along.
    unsupported : float
        How far the fibres run on below the floor: the rail's length [mm].
    """

    face: str
    low: float
    high: float
    z: float
    start: Point
    end: Point
    chip: Chip
    unsupported: float

    @property
    def risk(self) -> Risk:
        """Always high: on end the fibres run along every face."""
        return "high"


@dataclass(frozen=True)
class TenonExits:
    """How a tenon's lines leave the rail, and what is to be done.

    Parameters
    ----------
    exits, scored_exits : tuple of RailExit
        Line by line, without and with the scoring cut.
    blocks : dict of str to list of (2,) float
        Where back-up blocks go: along which face, from where to where [mm].
    scoring_length : float
        What the scoring cut adds to the path at feed [mm].
    scoring_seconds : float
        And to the machine's time; nan where no machine was given [s].
    """

    exits: tuple[RailExit, ...]
    scored_exits: tuple[RailExit, ...]
    blocks: dict[str, list[tuple[float, float]]]
    scoring_length: float
    scoring_seconds: float


def for_tenon(
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    cutting: Cutting,
    *,
    scoring: float = 1.0,
    skim: float = 0.0,
    laps: bool = False,
    rail_length: float = math.inf,
    machine: Machine | None = None,
) -> TenonExits:
    """Where the lines of a tenon on end leave the rail, where back-up blocks go, and what a scoring cut costs.

    Parameters
    ----------
    rail_width, rail_thickness : float
        Of the rail's section [mm].
    shape : Tenon
        See ``paths.tenon``.
    cutting : Cutting
        A flat cutter.
    scoring : float
        Width of the scoring cut that is compared [mm].
    skim : float
        See ``paths.tenon`` [mm].
    laps : bool
        See ``paths.tenon``; laps have no scoring cut.
    rail_length : float
        How far the fibres run below the shoulder, at most [mm].
    machine : Machine or None
        Whose time the scoring cut takes.

    Returns
    -------
    TenonExits
        Read from the very moves ``paths.tenon`` makes. Only the rail's own faces count: a wall that was cut before
        has the shoulder's wood below it all round, so its fibres end there. That is why narrow edges come before
        cheeks.

    Raises
    ------
    InputError
        As ``paths.tenon``.

    Notes
    -----
    Geometry. A flute that passes the rail at a distance q left of the line, of a cutter with radius r, moves by q/r
    along the feed and by the root of 1 - (q/r)^2 to its right; it leaves through a face where that motion points out
    of it. The nearer to the line's left the wood lies, the more of it is pushed out of the far end.
    """
    plain = tenon(cutting, rail_width, rail_thickness, shape, skim=skim, laps=laps)
    rail = (rail_width, rail_thickness)
    exits = _rail_exits(plain, cutting.radius, rail, rail_length)
    scored = plain if laps or scoring == 0 else tenon(
        cutting, rail_width, rail_thickness, shape, skim=skim, scoring=scoring
    )  # fmt: skip
    seconds = math.nan
    if machine is not None:
        seconds = machine_time(scored, machine).total_s - machine_time(plain, machine).total_s
    blocks: dict[str, list[tuple[float, float]]] = {}
    for face in FACES:
        spans = sorted((e.low, e.high) for e in exits if e.face == face)
        merged: list[tuple[float, float]] = []
        for low, high in spans:
            if merged and low <= merged[-1][1] + 1e-6:
                merged[-1] = merged[-1][0], max(high, merged[-1][1])
            else:
                merged.append((low, high))
        if merged:
            blocks[face] = merged
    return TenonExits(
        exits, _rail_exits(scored, cutting.radius, rail, rail_length), blocks,
        scored.cutting_length - plain.cutting_length, seconds,
    )  # fmt: skip


def _rail_exits(moves: Moves, radius: float, rail: Point, rail_length: float) -> tuple[RailExit, ...]:
    """Exits of every line, level by level; those that repeat at the next level are kept at the deepest."""
    arcs = {int(i): k for k, i in enumerate(moves.arc_index)}
    rest: dict[float, BaseGeometry] = {}
    found: dict[tuple[object, ...], RailExit] = {}
    for i in np.flatnonzero(moves.cutting):
        a, b = moves.points[i], moves.points[i + 1]
        z = round(float(b[2]), 6)
        if z >= 0 or abs(a[2] - b[2]) > 1e-9:
            continue
        left = rest.setdefault(z, shapely.box(0, 0, *rail))
        start, end = (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
        leg = Leg(end)
        if moves.kind[i] == Kind.ARC:
            centre = moves.arc_centre[arcs[int(i)]]
            leg = Leg(end, (float(centre[0]), float(centre[1])), float(moves.arc_sweep[arcs[int(i)]]))
        points = chords(Run(start, (leg,)), 0.01)
        for p, q in itertools.pairwise(points):
            swept = shapely.LineString([p, q]).buffer(radius, quad_segs=64)
            for e in _line_exits(p, q, left.intersection(swept), radius, rail, z, rail_length):
                found[(e.face, round(e.low, 3), round(e.high, 3), e.chip)] = e
            left = left.difference(swept)
        rest[z] = left
    return tuple(found.values())


def _line_exits(
    start: Point, end: Point, removed: BaseGeometry, radius: float, rail: Point, z: float, rail_length: float
) -> list[RailExit]:
    fx, fy = tangent_at(start, Leg(end))
    out = []
    corners = [(0.0, 0.0), (rail[0], 0.0), rail, (0.0, rail[1])]
    sides = {"reference face": (0, 1), "far edge": (1, 2), "far face": (3, 2), "reference edge": (0, 3)}
    for face, (i, j) in sides.items():
        contact = removed.intersection(shapely.LineString([corners[i], corners[j]]))
        axis = 0 if face.endswith("face") else 1
        nx, ny = FACES[face]
        ahead, right = nx * fx + ny * fy, nx * fy - ny * fx
        middle = math.atan2(right, ahead) if abs(right) > 1e-9 else 0.0 if ahead > 0 else math.pi
        middle += 2 * math.pi if middle < -math.pi / 2 else 0.0
        least = radius * math.cos(min(math.pi, middle + math.pi / 2))
        most = radius * math.cos(max(0.0, middle - math.pi / 2))
        if right < -1e-9 and abs(ahead) < 1e-9:
            continue  # on the left the flutes come in
        for part in shapely.get_parts(contact):
            if part.length < _SLIVER:
                continue
            span = []
            offsets = [(p[1] - start[1]) * fx - (p[0] - start[0]) * fy for p in part.coords]
            places = [p[axis] for p in part.coords]
            (q0, q1), (s0, s1) = (offsets[0], offsets[-1]), (places[0], places[-1])
            if abs(q1 - q0) < 1e-9:
                span = [s0, s1] if least - 1e-9 <= q0 <= most + 1e-9 else []
            else:
                shares = sorted(((least - q0) / (q1 - q0), (most - q0) / (q1 - q0)))
                u, v = max(0.0, shares[0]), min(1.0, shares[1])
                span = [s0 + (s1 - s0) * u, s0 + (s1 - s0) * v] if v > u else []
            if span and abs(span[1] - span[0]) > _SLIVER:
                chip: Chip = "side" if abs(ahead) < 1e-9 else "web" if ahead > 0 else "thin"
                out.append(RailExit(face, min(span), max(span), z, start, end, chip, rail_length))
    return out
