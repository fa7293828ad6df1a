"""The sketch on a set-up sheet: the part as it lies on the machine, its zero, stops and clamps, and where it is cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shopcalc.documents.drawing import Drawing, Stroke, Words, arrow, box
from shopcalc.jobs.records import Part
from shopcalc.machines import PART_AXES, Machine, StationName
from shopcalc.moves import Moves
from shopcalc.units import System, write

_WIDE, _HIGH = 128.0, 30.0  # mm on paper: the longest and the highest a view is drawn
_THIN = 9.0  # mm on paper: a part is never drawn thinner
_LEFT, _TOP = 27.0, 8.0
_WHOLE = 150.0  # mm of the part: higher ones are drawn torn off
_CLAMP = 7.0  # mm on paper: length of a clamp's sign
_GREY = 0.87


@dataclass(frozen=True)
class _View:
    """Machine coordinates to paper: one axis to the right, one up."""

    x: float
    y: float
    wide: float
    high: float
    right: tuple[float, float]
    up: tuple[float, float]

    def at(self, a: float, b: float) -> tuple[float, float]:
        def share(v: float, ends: tuple[float, float]) -> float:
            return (v - ends[0]) / (ends[1] - ends[0])

        return self.x + self.wide * share(a, self.right), self.y + self.high * (1 - share(b, self.up))


def lie(part: Part, station: StationName, machine: Machine) -> tuple[float, float, float]:
    """Size of a part along machine x, y and z as it lies in a station [mm].

    Parameters
    ----------
    part : Part
        Finished sizes.
    station : {"flat", "edge", "end"}
        How it is held.
    machine : Machine
        Whose station says how a part lies there.
    """
    known = machine.stations.get(station)
    axes = known.part_axes if known else PART_AXES[station]
    x, y, z = (float(getattr(part, name)) for name in axes)
    return x, y, z


def cut_extents(moves: Moves) -> tuple[tuple[float, float], ...] | None:
    """Lowest and highest x, y and z that the cutter's tip reaches at feed; None where there is no path [mm].

    Parameters
    ----------
    moves : Moves
        Of one load.
    """
    cutting = np.flatnonzero(moves.cutting)
    if not len(cutting):
        return None
    ends = np.concatenate([moves.points[cutting], moves.points[cutting + 1]])
    ends = ends[ends[:, 2] <= 1e-6] if (ends[:, 2] <= 1e-6).any() else ends
    low, high = ends.min(axis=0), ends.max(axis=0)
    return tuple((float(a), float(b)) for a, b in zip(low, high, strict=True))


def sketch(
    part: Part, station: StationName, machine: Machine, moves: Moves, radius: float, system: System, *,
    placed: bool = False,
) -> Drawing:  # fmt: skip
    """Plan and side view, thin directions drawn thicker than they are.

    Parameters
    ----------
    part : Part
        That is clamped.
    station : {"flat", "edge", "end"}
        How.
    machine : Machine
        For its station.
    moves : Moves
        Planned; zero at the corner of stop and fence, Z at the top.
    radius : float
        Of the widest cutter [mm].
    system : {"inch", "metric"}
        Of the sizes that are written.
    placed : bool
        Whether the job places fixtures; a drawing of their own shows them, and no signs of clamps stand here.
    """
    size = lie(part, station, machine)
    reach = cut_extents(moves)
    beyond = 1.25 * radius + 1.0
    low_x, low_y = (min(0.0, *(r[0] - radius for r in (reach or ((0, 0),) * 3)[k : k + 1])) for k in (0, 1))
    high_x, high_y = (max(size[k], *(r[1] + radius for r in (reach or ((0, 0),) * 3)[k : k + 1])) for k in (0, 1))
    span_x, span_y = (low_x - beyond, high_x + beyond), (low_y - beyond, high_y + beyond)
    shapes: list[Stroke | Words] = []
    wide = min(_WIDE, max(45.0, _WIDE * (span_x[1] - span_x[0]) / 700.0))
    high = min(_HIGH, max(2.2 * _THIN, wide * (span_y[1] - span_y[0]) / (span_x[1] - span_x[0])))
    plan = _View(_LEFT, _TOP, wide, high, span_x, span_y)
    shapes += _plan(plan, size, reach, radius, () if placed else (0.5,) if station == "end" else (0.25, 0.75), station)
    top = _TOP + high + 17.0
    deepest = -reach[2][0] if reach else 0.0
    known = machine.stations.get(station)
    clamp = known.stands_above if known else 0.0
    tall = size[2] if size[2] <= _WHOLE else min(size[2], max(3.0 * deepest, 1.5 * clamp, _WHOLE / 2))
    side = _View(_LEFT, top, wide, 20.0, span_x, (-tall, 0.0))
    shapes += _side(side, size, tall, reach, radius, clamp, system)
    sizes = " × ".join(write(v, "length", system) for v in size)
    below = f"X × Y × Z {sizes}; thin sides are drawn thicker. Dashed: where the cutter's edge reaches. " + (
        "Fixtures: see their own drawing." if placed else "Grey arrows: clamps, to be set where the path leaves room."
    )
    label = f"{part.title or part.id} clamped in station {station}: from above and from the front"
    return Drawing(label, _LEFT + wide + 34.0, top + 29.0, tuple(shapes), below)


def _plan(
    v: _View,
    size: tuple[float, float, float],
    reach: tuple[tuple[float, float], ...] | None,
    radius: float,
    clamps: tuple[float, ...],
    station: StationName,
) -> list[Stroke | Words]:
    (x0, y1), (x1, y0) = v.at(0, 0), v.at(size[0], size[1])
    out: list[Stroke | Words] = [box(x0, y0, x1 - x0, y1 - y0, fill=_GREY)]
    if reach:
        (a0, b1) = v.at(reach[0][0] - radius, reach[1][0] - radius)
        (a1, b0) = v.at(reach[0][1] + radius, reach[1][1] + radius)
        out.append(box(a0, b0, a1 - a0, b1 - b0, width=0.5, dashed=True))
    out += [Stroke(((x0 - 1.2, y1 + 4), (x0 - 1.2, y0 - 2)), 1.2)]  # the stop
    if station != "flat":
        out += [Stroke(((x0 - 3, y1 + 1.2), (x1 + 3, y1 + 1.2)), 1.2)]  # the fence, or the clamp's fixed face
    else:
        out += [Stroke(((x0 - 3, y1 + 1.2), (x0 + 14, y1 + 1.2)), 1.2)]
    for share in clamps:
        x = x0 + share * (x1 - x0)
        out += _clamp(x, y0)
    out.append(Words((v.x + v.wide + 4, v.y + v.high / 2 + 1.4), "from above"))
    return [*out, *_zero(v, x0, y1)]


def _clamp(x: float, y: float) -> list[Stroke | Words]:
    """Pressing down the paper onto y."""
    wings = ((x - 2.2, y - 3.6), (x + 2.2, y - 3.6), (x, y - 0.4))
    return [Stroke(wings, 0.3, closed=True, fill=0.6), Stroke(((x, y - 3.6), (x, y - _CLAMP)), 1.2)]


def _zero(v: _View, x: float, y: float) -> list[Stroke | Words]:
    """The zero, and beside the view which way X and Y run."""
    ring = tuple((x + 1.8 * float(np.cos(a)), y + 1.8 * float(np.sin(a))) for a in np.linspace(0, 2 * np.pi, 25)[:-1])
    left, foot = v.x - 5.0, v.y + v.high + 5.0
    return [
        Stroke(ring, 0.5, closed=True, fill=1.0),
        Stroke(((x - 1.8, y), (x + 1.8, y)), 0.3),
        Stroke(((x, y - 1.8), (x, y + 1.8)), 0.3),
        *arrow((x + 2, foot), (x + 15, foot)),
        *arrow((left, y - 1), (left, y - 12)),
        Words((x + 16.5, foot + 1.4), "X", bold=True),
        Words((left - 1.5, y - 8.0), "Y", "end", bold=True),
        Words((left - 0.5, y + 5.0), "zero", "end", bold=True),
    ]


def _side(
    v: _View,
    size: tuple[float, float, float],
    tall: float,
    reach: tuple[tuple[float, float], ...] | None,
    radius: float,
    clamp: float,
    system: System,
) -> list[Stroke | Words]:
    (x0, y1), (x1, y0) = v.at(0, -tall), v.at(size[0], 0)
    torn = tall < size[2] - 1e-6
    out: list[Stroke | Words] = [box(x0, y0, x1 - x0, y1 - y0, width=0.0 if torn else 0.4, fill=_GREY)]
    if torn:  # it goes on below
        waves = tuple((x0 + (x1 - x0) * k / 12, y1 + (0.9 if k % 2 else -0.9)) for k in range(13))
        out.append(Stroke(((x0, y1), (x0, y0), (x1, y0), (x1, y1)), 0.4))
        out.append(Stroke(waves, 0.4))
    else:
        out.append(Stroke(((v.x - 3, y1 + 0.7), (v.x + v.wide + 3, y1 + 0.7)), 1.2))  # the table
    out.append(Words((v.x + v.wide + 4, y0 + 1.4), "Z zero: the top"))
    out.append(Words((v.x + v.wide + 4, y1 + (5.0 if torn else 1.4)), "goes on below" if torn else "table"))
    if reach and reach[2][0] < 0:
        (a0, yd), (a1, _) = v.at(reach[0][0] - radius, max(reach[2][0], -tall)), v.at(reach[0][1] + radius, 0)
        out.append(box(a0, y0, a1 - a0, yd - y0, width=0.5, dashed=True))
        out.append(Words((v.x + v.wide / 2, y1 + 7.4), f"deepest {write(-reach[2][0], 'length', system)}", "middle"))
    out.append(Stroke(((x0 - 1.2, y0), (x0 - 1.2, y1)), 1.2))
    if 0 < clamp < tall:  # the jaws begin so far below the top
        (_, yc) = v.at(0, -clamp)
        for x in (x0 - 9.0, x1 + 1.0):
            out.append(box(x, yc, 8.0, y1 - yc, fill=0.6))
        whole = 3.175 if system == "inch" else 5.0
        near = write(whole * round(clamp / whole), "length", system)
        out.append(Words((x1 + 11.0, yc + 3.0), f"clamp, about {near} down"))
    return out
