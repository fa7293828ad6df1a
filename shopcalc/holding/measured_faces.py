"""A board measured at points: heights of both its faces in one frame, however they were taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopcalc.cutting.engagement import refuse
from shopcalc.errors import InputError
from shopcalc.moves import Floats
from shopcalc.reading import Column, TableReader

_COLUMNS: tuple[Column, ...] = (
    Column("x", "length", required=True),
    Column("y", "length", required=True),
    Column("above", "length"),
    Column("below", "length", minimum=0.0),
    Column("thickness", "length", above=0.0),
    Column("turned", "length"),
)
_WAYS = (("above", "below"), ("above", "thickness"), ("below", "thickness"), ("above", "turned"))


@dataclass(frozen=True, eq=False)
class Faces:
    """Both faces of one board at the same points, as it lies on a flat table on its face B.

    Parameters
    ----------
    x, y : (n,) float
        Of the points, along and across the board [mm].
    upper : (n,) float
        Height of face A above the table [mm].
    lower : (n,) float
        Height of face B above the table, 0 where it touches [mm].
    notes : tuple of str
        What was taken for granted.
    """

    x: Floats
    y: Floats
    upper: Floats
    lower: Floats
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        flat = np.stack([self.x, self.y], axis=1)
        if len(flat) < 3 or np.linalg.matrix_rank(flat - flat.mean(axis=0), tol=1e-6) < 2:
            refuse(f"{len(flat)} points do not span a face", "measure at least three that are not in one line")
        if len(np.unique(flat, axis=0)) < len(flat):
            refuse("a point is given twice", "keep one reading of each place")
        thin = np.flatnonzero(self.upper <= self.lower)
        if len(thin):
            k = int(thin[0])
            refuse(
                f"face A lies at {self.upper[k]:g} mm and face B at {self.lower[k]:g} mm at x {self.x[k]:g}, "
                f"y {self.y[k]:g}: no wood is left between",
                "check both readings there",
            )

    @property
    def thickness(self) -> Floats:
        """(n,) float: of the board at the points [mm]."""
        return self.upper - self.lower


def faces(
    x: Sequence[float] | Floats,
    y: Sequence[float] | Floats,
    *,
    above: Sequence[float] | Floats | None = None,
    below: Sequence[float] | Floats | None = None,
    thickness: Sequence[float] | Floats | None = None,
    turned: Sequence[float] | Floats | None = None,
) -> Faces:
    """Put readings of a board into one frame.

    Parameters
    ----------
    x, y : (n,) float
        Places on the board; the same place of the wood has the same x and y, whichever face is up [mm].
    above : (n,) float, optional
        Face A above the table, the board lying on face B [mm].
    below : (n,) float, optional
        Gap between table and face B in the same lie, by feelers [mm].
    thickness : (n,) float, optional
        By callipers; with ``turned`` nan where it was not taken [mm].
    turned : (n,) float, optional
        Face B above the table, the board lying on face A [mm].

    Returns
    -------
    Faces
        From ``above`` and ``below``, or one of them and ``thickness``; or from ``above`` and ``turned`` and the
        thickness at three places or more, which alone can tell how the two lies belong together: above + turned -
        thickness is a plane over the board, fitted by least squares (geometry). From ``thickness`` alone face B is
        taken to lie flat.

    Raises
    ------
    InputError
        When readings are missing, or there is no wood left between them.

    Example
    -------
    >>> float(faces([0, 100, 0], [0, 0, 50], above=[21, 20, 20], thickness=[20, 20, 20]).lower[0])
    1.0
    """
    at = [np.asarray(v, dtype=float) for v in (x, y)]
    given = {
        k: np.asarray(v, dtype=float)
        for k, v in (("above", above), ("below", below), ("thickness", thickness), ("turned", turned))
        if v is not None
    }
    for name, values in given.items():
        if values.shape != at[0].shape or at[0].shape != at[1].shape:
            refuse(f"'{name}' has {values.size} readings for {at[0].size} points", "give one for each point")
        if name != "thickness" and not np.isfinite(values).all():
            refuse(f"'{name}' misses a reading", "give one for each point, or leave all of them out")
    if "turned" in given and "below" not in given:
        return _two_lies(at[0], at[1], given)
    t, missing = given.get("thickness"), "give one for each point"
    if t is not None and not np.isfinite(t).all():
        refuse("'thickness' misses a reading", missing)
    if "above" in given and "below" in given:
        return Faces(at[0], at[1], given["above"], given["below"])
    if t is not None and "above" in given:
        return Faces(at[0], at[1], given["above"], given["above"] - t)
    if t is not None and "below" in given:
        return Faces(at[0], at[1], given["below"] + t, given["below"])
    if t is not None:
        note = "only thicknesses were measured: face B is taken to lie flat on the table"
        return Faces(at[0], at[1], t, np.zeros_like(t), (note,))
    ways = "; or ".join(" and ".join(w) for w in _WAYS)
    refuse("these readings do not tell both faces", f"measure {ways} with three thicknesses")
    raise AssertionError


def _two_lies(x: Floats, y: Floats, given: dict[str, Floats]) -> Faces:
    if "above" not in given:
        refuse("'turned' stands without 'above'", "measure face A too, the board lying on face B")
    t = given.get("thickness", np.full(len(x), np.nan))
    known = np.isfinite(t)
    terms = np.stack([np.ones(len(x)), x - x.mean(), y - y.mean()], axis=1)
    if known.sum() < 3 or np.linalg.matrix_rank(terms[known][:, 1:] - terms[known][:, 1:].mean(axis=0), 1e-6) < 2:
        refuse(
            f"{int(known.sum())} thicknesses do not tell how the two lies belong together",
            "take the thickness at three or more places that are not in one line",
        )
    both = given["above"] + given["turned"]
    fit, *_ = np.linalg.lstsq(terms[known], both[known] - t[known], rcond=None)
    plane = terms @ fit
    off = float(np.abs(both[known] - t[known] - plane[known]).max())
    notes = (f"the two lies agree with the thicknesses within {off:.2f} mm",) if known.sum() > 3 else ()
    return Faces(x, y, given["above"], plane - given["turned"], notes)


def read_faces(path: Path | str) -> Faces:
    """Read the readings of one board from a CSV table.

    Parameters
    ----------
    path : Path or str
        Columns x, y and above, below, thickness, turned as in ``faces``; every value carries its unit, or a second row
        whose first cell is "unit" names that of each column (inch and metric alike).

    Returns
    -------
    Faces

    Raises
    ------
    InputError
        With every fault: file, row, column, value and remedy.
    """
    table = TableReader(path, _COLUMNS, "x y")
    columns = {c.name: [row[c.name] for row in table.rows] for c in _COLUMNS}
    for name in ("above", "below", "turned"):
        blank = [row.number for row in table.rows if row[name] is None and table.sound(row, name)]
        if 0 < len(blank) < len(table.rows):
            table.fault(blank[0], name, "the cell is blank, others of the column are not", "measure there too")
    table.finish()
    given = {
        name: np.array([np.nan if v is None else v for v in columns[name]], dtype=float)
        for name in ("above", "below", "thickness", "turned")
        if any(v is not None for v in columns[name])
    }
    x, y = (np.array(columns[k], dtype=float) for k in ("x", "y"))
    try:
        return faces(
            x, y, above=given.get("above"), below=given.get("below"), thickness=given.get("thickness"),
            turned=given.get("turned"),
        )  # fmt: skip
    except InputError as e:
        for fault in e.faults:
            table.fault(None, None, fault.message, fault.remedy)
        table.finish()
        raise
