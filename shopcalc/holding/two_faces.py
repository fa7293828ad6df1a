"""Both faces of a panel: the cup that comes after the first, and which order of cuts leaves it flattest.

A board is glued up and lies flat while its moisture still differs through its thickness. As it evens out every layer
shrinks or swells by its own change of moisture; what is left of the board then takes the slope of that change over its
own thickness. Planing one face alone shifts the middle of what is left, and so unbalances a core that is wetter than
its shell. Stresses from the kiln itself (casehardening) are not in these figures: test a slice of each board.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.seasons import Band, Movement, cup_depth, ring_difference
from shopcalc.seasons.boards import RING_RADIUS
from shopcalc.seasons.movement import ring_angles

#: Share of the evening out that happens while a panel is turned over at once (common practice, no source).
AT_ONCE = Band(0.0, 0.1, 0.4)
#: The same while it rests on stickers, some days, both faces to the air (common practice, no source).
RESTED = Band(0.6, 0.85, 1.0)


@dataclass(frozen=True)
class Wet:
    """How moisture differs through the thickness of a rough panel.

    Parameters
    ----------
    mean : float
        [% moisture].
    faces : float
        Face A less face B, evenly in between [% moisture].
    core : float
        Middle less both faces, as a parabola [% moisture].
    to : float or None
        Moisture it comes to in the end; None for the mean [% moisture].
    """

    mean: float
    faces: float = 0.0
    core: float = 0.0
    to: float | None = None

    def slope(self, thickness: float, middle: float) -> float:
        """Of the moisture over any slab about a height, by least squares [% moisture/mm].

        Parameters
        ----------
        thickness : float
            Of the rough panel [mm].
        middle : float
            Of the slab, over the rough panel's middle, towards face A [mm].
        """
        return self.faces / thickness - 8 * self.core * middle / thickness**2


class Step(NamedTuple):
    """One cut: the face, the depth [mm], and how much of the evening out is done before it [-]."""

    face: Literal["A", "B"]
    depth: float
    evened: Band


@dataclass(frozen=True)
class Schedule:
    """An order of cuts and what it leaves.

    Parameters
    ----------
    name : str
        In words.
    steps : tuple of Step
        In their order.
    thickness : float
        At the middle, as planned [mm].
    at_tongue : Band
        Thickness along the edges, where the tongue is cut, if they are the thin place [mm].
    uneven : Band
        Difference of thickness between edges and middle that is cut into it [mm].
    error : Band
        Hollow or crown of the finished panel once it has evened out [mm].
    fits : bool
        Whether each last cut is deeper than the cup it must take away.
    minutes : float
        At the machine, turning included [min].
    """

    name: str
    steps: tuple[Step, ...]
    thickness: float
    at_tongue: Band
    uneven: Band
    error: Band
    fits: bool
    minutes: float


def cup_after(
    width: float, thickness: float, taken: float, movement: Movement, wet: Wet,
    rings: str | float = "unknown", evened: float = 1.0,
) -> Band:  # fmt: skip
    """Cup after one face of a panel was planed and its moisture has evened out.

    Parameters
    ----------
    width, thickness : float
        Of the rough panel, or of its widest strip where strips are glued with their rings in turn [mm].
    taken : float
        From face A [mm].
    movement : Movement
        Of its wood.
    wet : Wet
        Its moisture through the thickness.
    rings : str or float
        As in ``seasons.across``: flat-sawn moves most.
    evened : float
        Share of the evening out that is done [-].

    Returns
    -------
    Band
        [mm]: over the ring angles, flat-sawn boards with the cup of their rings as well, which adds up or takes away
        as the bark side lies.

    Raises
    ------
    InputError
        When nothing is left, or a moisture is beyond what is known.

    Notes
    -----
    width^2 C dM / (8 thickness) for a difference dM between the faces (geometry of a shallow arc); a core wetter by dM
    counts as the slope of its parabola at the middle of what is left, 4 dM taken / thickness^2.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> [round(c, 3) for c in cup_after(300, 25, 0.0, oak, Wet(8.0, faces=1.0), "quarter-sawn")]
    [0.81, 0.81, 0.81]
    """
    require_positive(width=width, thickness=thickness)
    if not 0 <= taken < thickness:
        refuse(f"{taken:g} mm taken from {thickness:g} mm", "take less than its thickness")
    if not 0 <= evened <= 1:
        refuse(f"{evened:g} is no share of the evening out", "give 0 (at once) to 1 (at rest)")
    bends = [abs(c) for c in _curvatures(thickness, taken, 0.0, movement, wet, rings, evened)]
    likely = bends[0]
    cups = [width**2 * c / 8 for c in (min(bends), likely, max(bends))]
    return Band(*cups)


def _curvatures(
    thickness: float, from_a: float, from_b: float, movement: Movement, wet: Wet, rings: str | float, evened: float
) -> tuple[float, ...]:
    """Curvatures of what is left [1/mm], signed, the likely one first; positive is hollow on face A."""
    slope = wet.slope(thickness, (from_b - from_a) / 2)
    first, last = ring_angles(rings)
    left = thickness - from_a - from_b
    out = []
    to = wet.mean if wet.to is None else wet.to
    for angle in ((first + last) / 2, first, last):
        per = float(movement.strain(wet.mean - 0.5, wet.mean + 0.5, angle))  # for one percent
        even = evened * per * slope
        out.append(even)
        if angle == first < 0.8 and to != wet.mean:  # rings that run along the width
            bend = ring_difference(left, sum(RING_RADIUS) / 2, movement, wet.mean, to) / left
            near = ring_difference(left, min(RING_RADIUS), movement, wet.mean, to) / left
            out += [even + evened * s * b for b in (bend, near) for s in (1.0, -1.0)]
    return tuple(out)


def schedules(
    width: float, thickness: float, wanted: float, movement: Movement, wet: Wet, *,
    rings: str | float = "unknown", finish: float = 1.0, turns: int = 4, seconds: Callable[[float], float],
    turning: float = 240.0,
) -> tuple[Schedule, ...]:  # fmt: skip
    """Compare orders of surfacing both faces.

    Parameters
    ----------
    width, thickness, wanted : float
        Of the panel, rough thickness after each face is clean, finished thickness [mm].
    movement : Movement
        Of its wood.
    wet : Wet
        Its moisture through the thickness.
    rings : str or float
        As in ``seasons.across``.
    finish : float
        Kept on each face for the last cut after a rest [mm].
    turns : int
        Cuts of the alternating schedule, two or more.
    seconds : callable
        Machine time to take a depth [mm] from one face [s], as ``lambda d: surfacing(...).seconds``.
    turning : float
        To turn and clamp the panel anew [s] (common practice, no source).

    Returns
    -------
    tuple of Schedule
        One face, then the other; rough both, rest, finish both; the faces in turns. Least error first.

    Raises
    ------
    InputError
        When nothing is to be taken, or the finishing cuts are more than that.
    """
    require_positive(width=width, thickness=thickness, wanted=wanted, finish=finish)
    whole = thickness - wanted
    if whole <= 0:
        refuse(f"nothing is to be taken from {thickness:g} mm for {wanted:g} mm", "start from thicker wood")
    if turns < 2:
        refuse(f"{turns} cuts do not take turns", "give two or more")
    half, at_once = whole / 2, Band(0.0, 0.0, 0.0)
    plans: list[tuple[str, list[Step]]] = [
        ("one face, then the other", [Step("A", half, at_once), Step("B", half, AT_ONCE)])
    ]
    if half > finish:
        rough = half - finish
        plans.append(
            ("rough both, rest, finish both",
             [Step("A", rough, at_once), Step("B", rough, AT_ONCE), Step("A", finish, RESTED),
              Step("B", finish, AT_ONCE)])
        )  # fmt: skip
    every = [Step("A" if k % 2 == 0 else "B", 0.0, at_once if k == 0 else AT_ONCE) for k in range(turns)]
    share = {f: half / sum(s.face == f for s in every) for f in "AB"}
    plans.append((f"the faces in turns, {turns} cuts", [s._replace(depth=share[s.face]) for s in every]))
    found = [_run(name, plan, width, thickness, movement, wet, rings, seconds, turning) for name, plan in plans]
    return tuple(sorted(found, key=lambda s: s.error.likely))


def _run(
    name: str, steps: Sequence[Step], width: float, thickness: float, movement: Movement, wet: Wet,
    rings: str | float, seconds: Callable[[float], float], turning: float,
) -> Schedule:  # fmt: skip
    """Follow a plan for each end of its bands; each cut makes its face flat in the bend it is held in."""
    uneven, errors, fits = [], [], True
    left = thickness - sum(s.depth for s in steps)
    flat = tuple(0.0 for _ in _curvatures(thickness, 0.0, 0.0, movement, wet, rings, 0.0))
    for band in range(3):
        taken, rest, at = {"A": 0.0, "B": 0.0}, 1.0, {"A": flat, "B": flat}
        for step in steps:
            rest *= 1 - step.evened[band]
            bend = _curvatures(thickness, taken["A"], taken["B"], movement, wet, rings, 1 - rest)
            if taken[step.face] > 0 and band == 1:
                fits = fits and width**2 * abs(bend[0] - at[step.face][0]) / 8 <= step.depth
            taken[step.face] += step.depth
            at[step.face] = bend
        end = _curvatures(thickness, taken["A"], taken["B"], movement, wet, rings, 1.0)
        pick = _pick(band)
        a, b = (pick([width**2 * abs(e - v) / 8 for e, v in zip(end, at[f], strict=True)]) for f in "AB")
        errors.append(max(a, b))
        uneven.append(pick([width**2 * abs(p - q) / 8 for p, q in zip(at["A"], at["B"], strict=True)]))
    return Schedule(
        name, tuple(steps), left, Band(*sorted(left - u for u in uneven)), Band(*sorted(uneven)), Band(*sorted(errors)),
        fits, (sum(seconds(s.depth) for s in steps) + turning * (len(steps) - 1)) / 60,
    )  # fmt: skip


def _pick(band: int) -> Callable[[list[float]], float]:
    def likely(values: list[float]) -> float:
        return values[0]

    return (min, likely, max)[band]


def quick_cup(width: float, thickness: float, coefficient: float, difference: float) -> float:
    """Cup from a difference of moisture between the faces alone.

    Parameters
    ----------
    width, thickness : float
        Of the board [mm].
    coefficient : float
        Change of size per percent of moisture along its width [1/% moisture].
    difference : float
        Between the faces [% moisture].

    Returns
    -------
    float
        [mm].

    Example
    -------
    >>> round(quick_cup(300, 25, 0.00365, 1.0), 3)
    1.643
    """
    return cup_depth(width, thickness, coefficient * difference)
