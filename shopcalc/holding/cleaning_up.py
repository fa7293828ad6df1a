"""Will it clean up: the two parallel planes inside a rough board that take least, by linear programming."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.holding.measured_faces import Faces
from shopcalc.moves import Floats
from shopcalc.seasons import Band
from shopcalc.units import System, write

_EXACT = 1e-7  # mm; the solver's own tolerance
_MOST = 6  # points that are told
_BALANCE = 1e-3  # weight of even depths on both faces against the greatest depths


@dataclass(frozen=True, eq=False)
class CleanUp:
    """Two parallel planes in a board, and what they take and miss.

    Parameters
    ----------
    faces : Faces
        The board.
    plane : (3,) float
        Of the finished face A: height at x = y = 0 [mm], slope along x and along y [-].
    thickness : float
        Between both planes, measured upright: a slope of 1 in 70 makes it 0.01 % more than square to them [mm].
    greatest : float
        The most that still cleans up everywhere [mm].
    skin : float
        Wood to be taken at least, from each face, everywhere [mm].
    """

    faces: Faces
    plane: tuple[float, float, float]
    thickness: float
    greatest: float
    skin: float

    @property
    def _top(self) -> Floats:
        return self.plane[0] + self.plane[1] * self.faces.x + self.plane[2] * self.faces.y

    @property
    def depth_a(self) -> Floats:
        """(n,) float: taken from face A at each point; negative where it is missed by so much [mm]."""
        return self.faces.upper - self._top

    @property
    def depth_b(self) -> Floats:
        """(n,) float: the same for face B [mm]."""
        return self._top - self.thickness - self.faces.lower

    @property
    def short(self) -> Floats:
        """(n,) float: wood wanting at each point, on the face where most is; below zero there is plenty [mm]."""
        out: Floats = self.skin - np.minimum(self.depth_a, self.depth_b)
        return out

    @property
    def missed(self) -> tuple[int, ...]:
        """Points at which one face or the other keeps its rough skin, worst first."""
        worst = np.argsort(-self.short, kind="stable")
        return tuple(int(k) for k in worst if self.short[k] > 10 * _EXACT)

    @property
    def cleans_up(self) -> bool:
        """Whether nothing is missed at the points measured."""
        return not self.missed

    @property
    def shims(self) -> Floats:
        """(n,) float: height to fill under face B at each point so that face A is planed level [mm]."""
        gap = self.faces.lower - self.plane[1] * self.faces.x - self.plane[2] * self.faces.y
        out: Floats = gap - gap.min()
        return out

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """In sentences.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        out = []
        wanted, most = (_told(v, system) for v in (self.thickness, self.greatest))
        if self.cleans_up:
            a, b = (_told(float(d.max()), system) for d in (self.depth_a, self.depth_b))
            out.append(f"cleans up at {wanted}, at most {most}: up to {a} comes off face A, up to {b} off face B")
        else:
            count = len(self.missed)
            points = f"{count} point{'s are' if count > 1 else ' is'} missed, worst first"
            out.append(f"does not clean up at {wanted}: {most} is the most; {points}")
            for k in self.missed[:_MOST]:
                face = "A" if self.depth_a[k] < self.depth_b[k] else "B"
                by = _told(self.short[k], system)
                x, y = (_told(float(v[k]), system) for v in (self.faces.x, self.faces.y))
                out.append(f"face {face} at x {x}, y {y} by {by}")
        if float(self.shims.max()) > 0.05:
            out.append(f"shim face B by up to {_told(float(self.shims.max()), system)} for the first face")
        return (*out, "between the points nothing is known; measure where it looks worst", *self.faces.notes)


def _told(value: float, system: System) -> str:
    """To 0.01 mm or 0.001 in: heights are read off a dial, not a rule."""
    step = 0.01 if system == "metric" else 0.0254
    return write(round(value / step) * step, "length", system, fraction=False)


def clean_up(board: Faces, wanted: float | None = None, *, skin: float = 0.0) -> CleanUp:
    """The parallel planes that take least of a board.

    Parameters
    ----------
    board : Faces
        As measured.
    wanted : float, optional
        Thickness [mm]; None for the greatest that cleans up.
    skin : float
        Wood to be taken at least from each face: saw marks, checks, glue [mm].

    Returns
    -------
    CleanUp
        Of all planes that give this thickness and clean up everywhere, those with the least greatest depth on face A
        and face B together, so that fewest passes are taken, and among them the ones that take alike from both faces.
        Where it does not clean up: those with the least sum of what is missed.

    Raises
    ------
    InputError
        When a thickness is not above zero, or no plane fits inside.

    Notes
    -----
    Linear programs in the plane's height and slopes, solved by HiGHS through ``scipy.optimize.linprog``; exact at the
    points measured.

    Example
    -------
    >>> from shopcalc.holding.measured_faces import faces
    >>> x, y = [0, 1000, 0, 1000], [0, 0, 300, 300]
    >>> round(clean_up(faces(x, y, above=[25, 25, 25, 29], below=[0, 0, 0, 4])).greatest, 6)  # 4 mm of twist
    23.0
    """
    if skin < 0:
        refuse(f"skin {skin:g} mm is below zero", "give the wood to be taken everywhere")
    terms, back = _terms(board)
    found = _thickest(board, terms, skin)
    greatest = float(found[3])
    if wanted is None:
        if greatest <= 0:
            refuse(f"no even thickness is left in the board ({greatest:.2f} mm)", "cut it shorter or narrower first")
        wanted = greatest
    require_positive(wanted=wanted)
    if wanted > greatest + _EXACT:
        plane = _least_missed(board, terms, wanted, skin)
    else:
        plane = _least_deep(board, terms, min(wanted, greatest), skin)
    p, q, r = (float(v) for v in back @ plane)
    return CleanUp(board, (p, q, r), wanted, greatest, skin)


def _terms(board: Faces) -> tuple[Floats, Floats]:
    """(n, 3) terms of a plane in coordinates around 1, and the matrix that gives height and slopes back."""
    middle = np.array([board.x.mean(), board.y.mean()])
    size = max(float(np.ptp(board.x)), float(np.ptp(board.y)), 1e-9)
    terms = np.stack([np.ones(len(board.x)), (board.x - middle[0]) / size, (board.y - middle[1]) / size], axis=1)
    back = np.array([[1.0, -middle[0] / size, -middle[1] / size], [0, 1 / size, 0], [0, 0, 1 / size]])
    return terms, back


def _solve(cost: Floats, rows: Floats, most: Floats, free: int) -> Floats:
    """Least cost under rows @ v <= most; the first ``free`` variables are unbounded, the others not negative."""
    from scipy.optimize import linprog

    bounds = [(None, None)] * free + [(0, None)] * (len(cost) - free)
    done = linprog(cost, A_ub=rows, b_ub=most, bounds=bounds, method="highs")
    if done.status != 0:
        raise RuntimeError(f"the linear program of the planes was not solved: {done.message}")
    return np.asarray(done.x, dtype=float)


def _thickest(board: Faces, terms: Floats, skin: float) -> Floats:
    one = np.ones((len(terms), 1))
    rows = np.block([[terms, 0 * one], [-terms, one]])
    most = np.concatenate([board.upper - skin, -board.lower - skin])
    return _solve(np.array([0.0, 0.0, 0.0, -1.0]), rows, most, 4)


def _least_deep(board: Faces, terms: Floats, wanted: float, skin: float) -> Floats:
    """Variables: plane, greatest depth on A and on B, unevenness of the mean depths."""
    n, mean = len(terms), terms.mean(axis=0)
    none, one = np.zeros((n, 1)), np.ones((n, 1))
    uneven = float(board.upper.mean() + board.lower.mean() + wanted)  # mean depth of A less that of B, plus two planes
    rows = np.block([
        [terms, none, none, none],
        [-terms, none, none, none],
        [-terms, -one, none, none],
        [terms, none, -one, none],
        [np.array([[*(-2 * mean), 0, 0, -1], [*(2 * mean), 0, 0, -1]])],
    ])  # fmt: skip
    most = np.concatenate([
        board.upper - skin + _EXACT, -board.lower - skin - wanted + _EXACT, -board.upper, board.lower + wanted,
        [-uneven, uneven],
    ])  # fmt: skip
    return _solve(np.array([0.0, 0.0, 0.0, 1.0, 1.0, _BALANCE]), rows, most, 3)[:3]


def _least_missed(board: Faces, terms: Floats, wanted: float, skin: float) -> Floats:
    n = len(terms)
    none, own = np.zeros((n, n)), np.eye(n)
    rows = np.block([[terms, -own, none], [-terms, none, -own]])
    most = np.concatenate([board.upper - skin, -board.lower - skin - wanted])
    return _solve(np.concatenate([np.zeros(3), np.ones(2 * n)]), rows, most, 3)[:3]


def least_plane(board: Faces, face: Literal["A", "B"] = "A", *, skin: float = 0.0) -> tuple[float, float, float]:
    """The plane that flattens one face and takes least wood.

    Parameters
    ----------
    board : Faces
        As measured.
    face : {"A", "B"}
        Which.
    skin : float
        To be taken everywhere at least [mm].

    Returns
    -------
    (3,) float
        Height at x = y = 0 [mm], slopes along x and y [-]: of all planes that leave nothing of the rough face, the
        one with the least mean depth over the points.

    Raises
    ------
    InputError
        When the face is not known.
    """
    if face not in ("A", "B"):
        refuse(f"face '{face}' is not known", "use A (up, as it was measured) or B")
    terms, back = _terms(board)
    sign = 1.0 if face == "A" else -1.0
    heights = board.upper if face == "A" else board.lower
    found = _solve(-sign * terms.sum(axis=0), sign * terms, sign * heights - skin, 3)
    p, q, r = (float(v) for v in back @ found)
    return p, q, r


def rough_board(
    length: float, width: float, thickness: float, *, cup: float = 0.0, bow: float = 0.0, twist: float = 0.0
) -> Faces:
    """A board of even thickness, bent as boards bend.

    Parameters
    ----------
    length, width, thickness : float
        Rough [mm].
    cup : float
        Hollow across the width, at its middle [mm].
    bow : float
        Hollow along the length, at its middle [mm].
    twist : float
        Height of one corner when the three others lie on the table [mm].

    Returns
    -------
    Faces
        At 9 by 9 points: arcs taken as parabolas, and a twist that grows evenly (geometry).
    """
    require_positive(length=length, width=width, thickness=thickness)
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(0, 1, 9), np.linspace(0, 1, 9)))
    z = cup * 4 * v * (1 - v) + bow * 4 * u * (1 - u) + twist * u * v
    z = z - z.min()
    return Faces(u * length, v * width, z + thickness, z)


def planned_thickness(
    length: float, width: float, thickness: float, *, cup: Band, bow: Band, twist: Band, skin: float
) -> Band:
    """Thickness to expect from rough stock before any is bought.

    Parameters
    ----------
    length, width, thickness : float
        Rough, as it will be faced: of the glued-up panel, or of the board [mm].
    cup : Band
        From ``seasons.cup`` over the width of the widest strip, or as your stock comes [mm].
    bow, twist : Band
        As your stock comes; see ``rough_board`` [mm].
    skin : float
        To be taken from each face at least [mm].

    Returns
    -------
    Band
        Least where all bends are greatest and add up, most where all are least [mm]; below zero nothing is left.

    Example
    -------
    >>> none = Band(0.0, 0.0, 0.0)
    >>> band = planned_thickness(800, 500, 30, cup=Band(0.0, 1.0, 2.0), bow=none, twist=Band(0, 2, 4), skin=0.5)
    >>> [round(t, 3) for t in band]  # the twist is least in the middle, where the cup is deepest
    [25.875, 27.438, 29.0]
    """
    out = []
    for c, b, w in zip(cup, bow, twist, strict=True):
        board = rough_board(length, width, thickness, cup=c, bow=b, twist=w)
        out.append(float(_thickest(board, _terms(board)[0], skin)[3]))
    return Band(*sorted(out))


def grid(length: float, width: float, along: int, across: int, inset: float = 20.0) -> Sequence[tuple[float, float]]:
    """Points to measure a board at.

    Parameters
    ----------
    length, width : float
        Of the board [mm].
    along, across : int
        Points in each direction, at least 2.
    inset : float
        Of the outer ones from the edges [mm].

    Returns
    -------
    sequence of (x, y)
        [mm].
    """
    if min(along, across) < 2 or not 0 <= 2 * inset < min(length, width):
        remedy = "take two or more each way" if min(along, across) < 2 else "put the outer points nearer to the edges"
        refuse(f"{along} by {across} points, {inset:g} mm from the edges, make no grid", remedy)
    xs, ys = np.linspace(inset, length - inset, along), np.linspace(inset, width - inset, across)
    return [(float(x), float(y)) for y, x in itertools.product(ys, xs)]
