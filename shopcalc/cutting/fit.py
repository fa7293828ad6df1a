"""Joint fit: clearances between mortise and tenon, what stays in the corners, and a test cut's reading put in words.

*Clearance* is mortise less tenon in total, positive is loose; it is given apart for cheeks, edges and end. *Skim* is
wood kept per side for a later cut. The two are never mixed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, get_args

from shapely import box

from shopcalc import paths
from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Moves, join
from shopcalc.paths.clearing import clear
from shopcalc.units import System

_INCH = 25.4
_FITS = 0.02  # mm; a mortise this near to the cutter's diameter is cut in one line
_ALIKE = 2.0  # a reading beyond this many times the wanted size, or below its inverse, is a slip


def write_fit(value: float, system: System = "metric") -> str:
    """Write a length as a caliper shows it: decimals of an inch to 0.0005 in, or 0.01 mm.

    Parameters
    ----------
    value : float
        [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Example
    -------
    >>> write_fit(16.002, "inch"), write_fit(0.1905, "inch"), write_fit(16.002)
    ('0.630 in', '0.0075 in', '16.00 mm')
    """
    if system == "inch":
        text = f"{round(value / _INCH / 0.0005) * 0.0005 + 0.0:.4f}"
        return f"{text.removesuffix('0')} in"
    return f"{round(value, 2) + 0.0:.2f} mm"


# --- clearances ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Clearances:
    """Mortise less tenon, in total; positive is loose.

    Parameters
    ----------
    cheeks : float
        Across the thickness, both faces together [mm].
    edges : float
        Across the width, both edges together [mm].
    end : float
        How much deeper the mortise is than the tenon is long [mm].

    Example
    -------
    >>> Clearances(cheeks=0.15, edges=0.8, end=2.0).cheeks
    0.15
    """

    cheeks: float
    edges: float
    end: float

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not math.isfinite(value):
                refuse(f"the clearance at the {name} is {value}", "give a length; negative is tight")


class TenonSize(NamedTuple):
    """Thickness, width and length of a tenon [mm]."""

    thickness: float
    width: float
    length: float


class MortiseSize(NamedTuple):
    """Thickness (across the cheeks), width (between its ends) and depth of a mortise [mm]."""

    thickness: float
    width: float
    depth: float


def tenon_size(thickness: float, width: float, depth: float, clearances: Clearances) -> TenonSize:
    """Tenon that goes into a mortise.

    Parameters
    ----------
    thickness, width, depth : float
        Of the mortise: across the cheeks, between its ends, and down [mm].
    clearances : Clearances
        In total.

    Returns
    -------
    TenonSize
        [mm]. Definition.

    Raises
    ------
    InputError
        When nothing is left of the tenon.

    Example
    -------
    >>> tenon_size(10, 60, 40, Clearances(cheeks=0.25, edges=1, end=2))
    TenonSize(thickness=9.75, width=59, length=38)
    """
    require_positive(mortise_thickness=thickness, mortise_width=width, mortise_depth=depth)
    size = TenonSize(thickness - clearances.cheeks, width - clearances.edges, depth - clearances.end)
    for name, value in size._asdict().items():
        if value <= 0:
            refuse(f"the clearance leaves a tenon {name} of {value:g} mm", "lessen the clearance; it is in total")
    return size


def mortise_size(thickness: float, width: float, length: float, clearances: Clearances) -> MortiseSize:
    """Mortise for a tenon: the inverse of ``tenon_size``.

    Parameters
    ----------
    thickness, width, length : float
        Of the tenon [mm].
    clearances : Clearances
        In total.

    Returns
    -------
    MortiseSize
        [mm]. Definition.

    Raises
    ------
    InputError
        When nothing is left of the mortise.

    Example
    -------
    >>> mortise_size(9.75, 59, 38, Clearances(cheeks=0.25, edges=1, end=2))
    MortiseSize(thickness=10.0, width=60, depth=40)
    """
    require_positive(tenon_thickness=thickness, tenon_width=width, tenon_length=length)
    size = MortiseSize(thickness + clearances.cheeks, width + clearances.edges, length + clearances.end)
    for name, value in size._asdict().items():
        if value <= 0:
            refuse(f"the clearance leaves a mortise {name} of {value:g} mm", "check the clearance and its sign")
    return size


# --- what the trade says of a joint ----------------------------------------------------------------------------------

_THIRD = "Ross, Elementary Course in Woodwork, public domain"
_DEEPER = "a woodworking magazine, second-hand"
_BLIND = "an old text on joinery, second-hand"
_GLUE = "common practice, no source"
#: How much deeper a blind mortise is than its tenon is long, from and to [mm].
DEEPER_BY = (_INCH / 16, _INCH / 8)
#: Clearance per face that glue wants, from and to [mm].
GLUE_LINE = (0.05, 0.15)
_BLIND_SHARE = 7 / 8
_SLACK = 1e-6  # mm; rounding of a third of an inch


@dataclass(frozen=True)
class FitNote:
    """One check of a joint against what the trade says.

    Parameters
    ----------
    words : str
        A plain sentence.
    source : str
        Who says so.
    fine : bool
        Whether the joint keeps to it.
    """

    words: str
    source: str
    fine: bool

    def __str__(self) -> str:
        """The sentence with its source."""
        return f"{self.words.removesuffix('.')} ({self.source})."


def fit_notes(
    tenon: TenonSize,
    clearances: Clearances,
    piece_thickness: float,
    *,
    stile_width: float | None = None,
    system: System = "metric",
) -> tuple[FitNote, ...]:
    """Check a mortise and tenon against published proportions and common practice.

    Parameters
    ----------
    tenon : TenonSize
        As wanted [mm].
    clearances : Clearances
        In total.
    piece_thickness : float
        Of the piece the mortise is cut in, or of the thicker one where they differ [mm].
    stile_width : float, optional
        Of the stile, for a blind mortise; a mortise through it is not judged by depth [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    tuple of FitNote
        One for each check, kept or not.

    Raises
    ------
    InputError
        When a size is not above zero, or the tenon is thicker than the piece.

    Example
    -------
    >>> notes = fit_notes(TenonSize(10, 50, 38), Clearances(0.2, 1.0, 2.0), 30)
    >>> [n.fine for n in notes]
    [True, True, True, True]
    >>> fit_notes(TenonSize(12, 50, 38), Clearances(-0.1, 1.0, 2.0), 30)[1].words
    'The cheeks are 0.10 mm tighter than the mortise: driven home, this splits the stile.'
    """
    require_positive(tenon_thickness=tenon.thickness, tenon_width=tenon.width, tenon_length=tenon.length)
    require_positive(piece_thickness=piece_thickness)
    hint = "make it thinner, or check both sizes"
    require_at_most("the tenon's thickness", tenon.thickness, "the piece's thickness", piece_thickness, hint)

    def show(value: float) -> str:
        return write_fit(value, system)

    third = piece_thickness / 3
    thick, of = show(tenon.thickness), f"a third of the {show(piece_thickness)} piece ({show(third)})"
    if tenon.thickness > third + _SLACK:
        words = f"The tenon is {thick} thick, more than {of}: the walls of the mortise get thin."
        notes = [FitNote(words, _THIRD, False)]
    else:
        notes = [FitNote(f"The tenon is {thick} thick, no more than {of}.", _THIRD, True)]
    notes += [_glue_note(clearances.cheeks, show), _edge_note(clearances.edges, show)]
    notes += _end_notes(tenon, clearances, stile_width, show)
    return tuple(notes)


def _glue_note(cheeks: float, show: Callable[[float], str]) -> FitNote:
    """Clearance at the cheeks, where the glue is."""
    face, (least, most) = cheeks / 2, GLUE_LINE
    line = f"{show(least)} to {show(most)} per face"
    if cheeks < 0:
        words = f"The cheeks are {show(-cheeks)} tighter than the mortise: driven home, this splits the stile."
    elif face < least - _SLACK:
        words = f"The cheeks have {show(face)} of clearance per face, less than {line}: the glue is wiped off."
    elif face > most + _SLACK:
        words = f"The cheeks have {show(face)} of clearance per face, more than {line}: too loose for glue."
    else:
        return FitNote(f"The cheeks have {show(face)} of clearance per face, within {line}.", _GLUE, True)
    return FitNote(words, _GLUE, False)


def _edge_note(edges: float, show: Callable[[float], str]) -> FitNote:
    """Clearance at the edges, where end grain meets and glue holds little."""
    if edges < 0:
        words = f"The edges are {show(-edges)} tighter than the mortise: they wedge the stile apart at its ends."
        return FitNote(words, _GLUE, False)
    return FitNote(f"The edges have {show(edges)} of clearance in total and do not wedge the stile.", _GLUE, True)


def _end_notes(
    tenon: TenonSize, clearances: Clearances, stile_width: float | None, show: Callable[[float], str]
) -> Iterator[FitNote]:
    """Room below the tenon, and depth of a blind mortise."""
    least, most = DEEPER_BY
    room = f"{show(least)} to {show(most)}"
    if clearances.end < least - _SLACK:
        deeper = f"{show(clearances.end)} deeper than" if clearances.end >= 0 else f"{show(-clearances.end)} short of"
        words = f"The mortise is {deeper} the tenon, less than {room}: glue and dust hold the shoulder open."
    elif clearances.end > most + _SLACK:
        words = f"The mortise is {show(clearances.end)} deeper than the tenon, more than {room}: it weakens the stile."
    else:
        words = f"The mortise is {show(clearances.end)} deeper than the tenon, within {room}."
    yield FitNote(words, _DEEPER, least - _SLACK <= clearances.end <= most + _SLACK)
    if stile_width is None:
        return
    require_positive(stile_width=stile_width)
    depth, greatest = tenon.length + clearances.end, _BLIND_SHARE * stile_width
    of = f"7/8 of the {show(stile_width)} stile ({show(greatest)})"
    if depth > greatest + _SLACK:
        words = f"The mortise is {show(depth)} deep, more than {of}: its floor may break out."
        yield FitNote(words, _BLIND, False)
    else:
        yield FitNote(f"The mortise is {show(depth)} deep, no more than {of}.", _BLIND, True)


# --- corners ---------------------------------------------------------------------------------------------------------

CornerKind = Literal["rounded tenon", "squared mortise", "relieved mortise corners"]
CORNER_KINDS: tuple[str, ...] = get_args(CornerKind)
ReliefStyle = Literal["past the end", "diagonal"]


class CornerLeft(NamedTuple):
    """Wood between a square corner and the round one a cutter leaves.

    Lengths of wall it covers, and its reach from the corner along the diagonal [mm]; its area [mm2].
    """

    along_wall: float
    reach: float
    area: float


def corner_left(diameter: float) -> CornerLeft:
    """What a cutter leaves in one inner corner.

    Parameters
    ----------
    diameter : float
        Of the round corner: that of the cutter, or the width of a mortise with round ends [mm].

    Returns
    -------
    CornerLeft
        Geometry: with radius r, r along each wall, (sqrt 2 - 1) r along the diagonal, (1 - pi/4) r^2 of area.

    Example
    -------
    >>> [round(v, 3) for v in corner_left(10)]
    [5.0, 2.071, 5.365]
    """
    require_positive(diameter=diameter)
    r = diameter / 2
    return CornerLeft(r, (math.sqrt(2) - 1) * r, (1 - math.pi / 4) * r * r)


@dataclass(frozen=True)
class Relief:
    """How a cutter goes past an inner corner until nothing stands in it.

    Parameters
    ----------
    diameter : float
        Of the cutter [mm].
    centre : (2,) float
        Where its centre ends, inwards from the end wall and from the cheek wall [mm].
    overcut : float
        How far its centre goes beyond where it would turn in the corner [mm].
    past_end, past_cheek : float
        How far it eats beyond the end wall and beyond the cheek wall [mm].
    along_end, along_cheek : float
        Length of each wall it eats away, from the corner [mm].
    """

    diameter: float
    centre: tuple[float, float]
    overcut: float
    past_end: float
    past_cheek: float
    along_end: float
    along_cheek: float

    def words(self, system: System = "metric") -> str:
        """How far it eats, as a sentence."""
        cheek = f" and {write_fit(self.past_cheek, system)} into the cheek wall" if self.past_cheek else ""
        hide = "the shoulder at the edges must cover it"
        eaten = f"{write_fit(self.past_end, system)} past the end of the mortise"
        return f"the cutter goes {write_fit(self.overcut, system)} past the corner and eats {eaten}{cheek}: {hide}"


def corner_relief(diameter: float, style: ReliefStyle = "past the end") -> Relief:
    """Least overcut that leaves no wood in a square inner corner.

    Parameters
    ----------
    diameter : float
        Of the cutter [mm].
    style : {"past the end", "diagonal"}
        Past the end wall only, so that the cheeks that are glued stay whole; or across the corner, which eats less far
        but into the cheek too.

    Returns
    -------
    Relief
        Geometry: the cutter's circle just passes through the corner.

    Raises
    ------
    InputError
        When the diameter is not above zero or the style is not known.

    Example
    -------
    >>> round(corner_relief(10, "diagonal").past_end, 3), corner_relief(10).past_end
    (1.464, 5.0)
    """
    require_positive(diameter=diameter)
    r = diameter / 2
    if style == "diagonal":
        inwards, root = r / math.sqrt(2), math.sqrt(2)
        return Relief(diameter, (inwards, inwards), (root - 1) * r, r - inwards, r - inwards, root * r, root * r)
    if style != "past the end":
        refuse(f"relief '{style}' is not known", did_you_mean(str(style), get_args(ReliefStyle)))
    return Relief(diameter, (0.0, r), r, r, 0.0, diameter, 0.0)


def relieved_mortise(
    cutting: paths.Cutting,
    centre: tuple[float, float],
    *,
    length: float,
    width: float,
    depth: float,
    style: ReliefStyle = "past the end",
    angle: float = 0.0,
) -> Moves:
    """Cut a mortise that takes a square-cornered tenon, its corners relieved.

    Parameters
    ----------
    cutting : paths.Cutting
        A flat cutter.
    centre : (2,) float
        [mm].
    length, width, depth : float
        Between the end walls, across the cheeks, and down [mm].
    style : {"past the end", "diagonal"}
        As in ``corner_relief``.
    angle : float
        Of the length against x [rad].

    Returns
    -------
    Moves
        The mortise first, then each corner level by level, entered where the mortise is open.

    Raises
    ------
    InputError
        As ``paths.mortise``.
    """
    cutting.require_flat("a mortise")
    require_positive(length_of_the_mortise=length, width_of_the_mortise=width)
    d, r = cutting.cutter.true_diameter, cutting.radius
    levels = cutting.levels(depth, "depth of the mortise")
    relief = corner_relief(d, style)
    if width <= d + _FITS:
        longer = 2 * relief.overcut if style == "past the end" else 0.0
        pocket = paths.mortise(cutting, (0.0, 0.0), length=length + longer, width=width, depth=depth)
    else:
        area = box(-length / 2, -width / 2, length / 2, width / 2)
        pocket = clear(cutting, area, depth=depth, what="mortise")
    parts = [pocket]
    if style == "diagonal" or width > d + _FITS:
        start = (float(pocket.points[-1, 0]), float(pocket.points[-1, 1]))
        tracer = paths.Tracer(cutting, start)
        for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            turn = (sx * (length / 2 - r), sy * max(width / 2 - r, 0.0))
            into = (sx * (length / 2 - relief.centre[0]), sy * (width / 2 - relief.centre[1]))
            tracer.over(turn)
            for level in levels:
                tracer.sink_in_air(-level)
                tracer.to(into)
                tracer.to(turn)
        parts.append(tracer.moves())
    return paths.turned(join(parts), angle).shifted((centre[0], centre[1], 0.0))


@dataclass(frozen=True)
class CornerMinutes:
    """What one way of making round meet square costs, for one joint.

    Parameters
    ----------
    kind : str
        One of ``CORNER_KINDS``.
    machine : float
        Of the machine, more than for the joint as the cutter leaves it; may be below zero [min].
    hand : float
        By hand [min].
    words : str
        What is done.
    """

    kind: str
    machine: float
    hand: float
    words: str


def corner_minutes(
    kind: CornerKind,
    *,
    cutting: paths.Cutting | None = None,
    machine: Machine | None = None,
    mortise: MortiseSize | None = None,
    style: ReliefStyle = "past the end",
    tenon: paths.Tenon | None = None,
    rail: tuple[float, float] | None = None,
    hand_minutes: float | None = None,
    system: System = "metric",
) -> CornerMinutes:
    """Minutes that one way of treating the corners of a joint takes.

    Parameters
    ----------
    kind : {"rounded tenon", "squared mortise", "relieved mortise corners"}
        Tenon rounded to the mortise's ends, mortise squared by hand, or its corners relieved by the cutter.
    cutting : paths.Cutting, optional
        What cuts; needed unless the mortise is squared by hand.
    machine : Machine, optional
        On what; needed unless the mortise is squared by hand.
    mortise : MortiseSize, optional
        Needed where its corners are relieved [mm].
    style : {"past the end", "diagonal"}
        As in ``corner_relief``.
    tenon : paths.Tenon, optional
        Needed where it is rounded.
    rail : (2,) float, optional
        Width and thickness of the rail the tenon stands on [mm].
    hand_minutes : float, optional
        The shop's own figure for squaring one mortise [min].
    system : {"metric", "inch"}
        For the words.

    Returns
    -------
    CornerMinutes
        Machine minutes by the motion engine, as difference to the same joint left as the cutter leaves it; below zero
        where the longer mortise gives room for fewer ramps.

    Raises
    ------
    InputError
        When something that this kind needs is not given.
    """
    if kind not in CORNER_KINDS:
        refuse(f"corner kind '{kind}' is not known", did_you_mean(str(kind), CORNER_KINDS))
    if kind == "squared mortise":
        if hand_minutes is None:
            raise _missing("squaring a mortise by hand has no minutes", "give the shop's own figure for one mortise")
        if not (math.isfinite(hand_minutes) and hand_minutes >= 0):
            refuse(f"{hand_minutes:g} minutes for squaring a mortise", "give zero or more")
        return CornerMinutes(kind, 0.0, hand_minutes, "square the four corners of the mortise by hand")
    if cutting is None or machine is None:
        raise _missing(f"the minutes of {kind} need a cutter's setting and a machine", "give both")
    if kind == "rounded tenon":
        if tenon is None or rail is None:
            raise _missing("the minutes of a rounded tenon need the tenon and its rail", "give both")
        square, round_ = (paths.tenon(cutting, *rail, replace(tenon, rounded=r)) for r in (False, True))
        words = f"round the tenon's corners to a radius of {write_fit(tenon.thickness / 2, system)} at the machine"
        return CornerMinutes(kind, _more_minutes(cutting, machine, square, round_), 0.0, words)
    if mortise is None:
        raise _missing("the minutes of relieved corners need the mortise", "give its thickness, width and depth")
    across, long, depth = mortise
    plain = paths.mortise(cutting, (0.0, 0.0), length=long, width=across, depth=depth)
    relieved = relieved_mortise(cutting, (0.0, 0.0), length=long, width=across, depth=depth, style=style)
    words = corner_relief(cutting.cutter.true_diameter, style).words(system)
    return CornerMinutes(kind, _more_minutes(cutting, machine, plain, relieved), 0.0, words)


def _missing(message: str, remedy: str) -> InputError:
    return InputError(Fault(message, remedy))


def _more_minutes(cutting: paths.Cutting, machine: Machine, less: Moves, more: Moves) -> float:
    """Difference of two programs of one operation each [min]."""
    seconds = [machine_time(paths.program([(cutting, m)]), machine).total_s for m in (less, more)]
    return (seconds[1] - seconds[0]) / 60


# --- a test cut's reading in words -----------------------------------------------------------------------------------

SizeName = Literal[
    "tenon thickness", "tenon width", "tenon length", "mortise width", "mortise length", "mortise depth", "slot width"
]


class _Sized(NamedTuple):
    """How people speak of one size."""

    place: str
    over: str
    under: str
    inner: bool  # grows as wood is taken off
    sides: int
    cure: str


_VENEER = "this one needs veneer glued on, or is scrap"
_PATCH = "this one needs a thicker tenon or a patch, or is scrap"
_SIZES: dict[str, _Sized] = {
    "tenon thickness": _Sized("cheek", "too thick", "too thin", False, 2, _VENEER),
    "tenon width": _Sized("edge", "too wide", "too narrow", False, 2, _VENEER),
    "tenon length": _Sized("end", "too long", "too short", False, 1, "this one makes a shallow joint"),
    "mortise width": _Sized("wall", "too wide", "too narrow", True, 2, _PATCH),
    "mortise length": _Sized("end wall", "too long", "too short", True, 2, _PATCH),
    "mortise depth": _Sized("floor", "too deep", "too shallow", True, 1, "this one only holds less glue at its floor"),
    "slot width": _Sized("wall", "too wide", "too narrow", True, 2, _PATCH),
}


@dataclass(frozen=True)
class Correction:
    """What a reading of a test cut asks for.

    Parameters
    ----------
    per_side_mm : float
        More to take off each side: of this piece where ``mendable``, else of the next one; negative is less to take
        off, 0 is leave it [mm].
    mendable : bool
        Whether this very piece comes right by it: wood cannot be put back.
    words : str
        The same in words.
    """

    per_side_mm: float
    mendable: bool
    words: str


def correction(
    measured: float,
    wanted: float,
    what: SizeName = "tenon thickness",
    sides: int | None = None,
    system: System = "metric",
    *,
    tolerance: float = 0.05,
) -> Correction:
    """Turn the reading of a test cut into words that cannot be mistaken.

    Parameters
    ----------
    measured, wanted : float
        Read at the piece, and asked for [mm].
    what : str
        "tenon thickness", "tenon width", "tenon length", "mortise width", "mortise length", "mortise depth" or "slot
        width".
    sides : {1, 2}, optional
        On how many sides the machine takes it off; both of what has two, where none is given [-].
    system : {"metric", "inch"}
        What the reader thinks in.
    tolerance : float
        Difference in total that is left as it is (common practice, no source) [mm].

    Returns
    -------
    Correction
        Definition: the difference shared by the sides.

    Raises
    ------
    InputError
        When a size is not above zero, or the reading is so far off that it must be a slip.

    Example
    -------
    >>> print(correction(16.002, 15.621, system="inch").words)
    measured 0.630 in, wanted 0.615 in: too thick; take 0.0075 in more off each cheek
    >>> print(correction(9.40, 9.52, "mortise width").words)
    measured 9.40 mm, wanted 9.52 mm: too narrow; take 0.06 mm more off each wall
    """
    if what not in _SIZES:
        refuse(f"'{what}' is no size of a joint", did_you_mean(str(what), _SIZES))
    size = _SIZES[what]
    shared = size.sides if sides is None else sides
    if shared not in range(1, size.sides + 1):
        refuse(f"{what} cannot be taken off on {shared} sides", f"give at most {size.sides}")
    require_positive(measured=measured, wanted=wanted)
    if not (math.isfinite(tolerance) and tolerance >= 0):
        refuse(f"a tolerance of {tolerance:g} mm", "give zero or more")
    if not 1 / _ALIKE <= measured / wanted <= _ALIKE:
        told = f"{what}: measured {write_fit(measured, system)}, wanted {write_fit(wanted, system)}"
        refuse(f"{told}: that is no fitting error", "read the caliper again, and its unit")

    over = measured - wanted
    told = f"measured {write_fit(measured, system)}, wanted {write_fit(wanted, system)}"
    if abs(over) <= tolerance:
        return Correction(0.0, True, f"{told}: within {write_fit(tolerance, system)}; leave it")
    amount = write_fit(abs(over) / shared, system)
    side = f"each {size.place}" if shared == 2 else f"one {size.place}" if size.sides == 2 else f"the {size.place}"
    per_side = (-over if size.inner else over) / shared
    name = size.over if over > 0 else size.under
    if per_side > 0:
        return Correction(per_side, True, f"{told}: {name}; take {amount} more off {side}")
    lost = f"{name} by {write_fit(abs(over), system)}: wood cannot be put back"
    return Correction(per_side, False, f"{told}: {lost}; cut the next one with {amount} less off {side}, {size.cure}")


@dataclass(frozen=True)
class Centring:
    """Where a tenon has to go to sit in the middle, or where it is wanted.

    Parameters
    ----------
    move : float
        Towards the reference face; negative is away from it [mm].
    words : str
        The same in words.
    """

    move: float
    words: str


def centring(
    reference: float, back: float, *, wanted: float = 0.0, system: System = "metric", tolerance: float = 0.05
) -> Centring:
    """Turn the depths of the two shoulders beside a tenon's cheeks into the way it has to move.

    Parameters
    ----------
    reference, back : float
        From the reference face to the near cheek, and from the back face to the other [mm].
    wanted : float
        By how much the first is to be more than the second; 0 for a tenon in the middle [mm].
    system : {"metric", "inch"}
        What the reader thinks in.
    tolerance : float
        Way that is left as it is (common practice, no source) [mm].

    Returns
    -------
    Centring
        Half the difference: both cuts move by it, so that the thickness stays. Geometry.

    Raises
    ------
    InputError
        When a shoulder is no length.

    Example
    -------
    >>> print(centring(6.60, 6.40).words)
    shoulder 6.60 mm at the reference face, 6.40 mm at the back face: move both cuts 0.10 mm towards the reference face
    """
    for name, value in (("reference", reference), ("back", back)):
        if not (math.isfinite(value) and value >= 0):
            refuse(f"the shoulder at the {name} face is {value:g} mm", "measure from the face to the cheek")
    if not math.isfinite(wanted):
        refuse(f"a wanted difference of {wanted} mm", "give a length; 0 for a tenon in the middle")
    move = (reference - back - wanted) / 2
    told = f"shoulder {write_fit(reference, system)} at the reference face, {write_fit(back, system)} at the back face"
    if abs(move) <= tolerance:
        return Centring(0.0, f"{told}: within {write_fit(tolerance, system)}; leave it")
    way = "towards" if move > 0 else "away from"
    return Centring(move, f"{told}: move both cuts {write_fit(abs(move), system)} {way} the reference face")
