"""What is to be lettered or lined, from words or from a drawing, and carving it with a V: sunk or raised."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely
from shapely import LineString, affinity
from shapely.geometry.base import BaseGeometry

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.errors import Fault, InputError
from shopcalc.paths.clearing import offset
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.carving_lines import incise_letters, raise_letters, v_grooves
from shopcalc.relief.letters import letter_outlines
from shopcalc.relief.outlines import Outline, read_outlines
from shopcalc.relief.vee import EMPTY, Carved, Vee, small
from shopcalc.units import System, write

CHAMFER = 0.5  # mm on raised letters where none is said: it takes the sharp edge (common practice, no source)
_REACHED = 0.02  # mm; wood that stands nearer than this to where it should end counts as cut
_FINEST = 0.005  # mm; corners with a smaller radius are sharp


@dataclass(frozen=True, eq=False)
class Inscription:
    """Areas and open lines to be cut.

    Parameters
    ----------
    outlines : tuple of Outline
        In the order they are cut [mm].
    name : str
        What people call it.
    notes : tuple of str
        What someone should know of the drawing.
    """

    outlines: tuple[Outline, ...]
    name: str
    notes: tuple[str, ...] = ()

    @property
    def areas(self) -> list[Outline]:
        """Closed outlines."""
        return [o for o in self.outlines if o.closed]

    @property
    def lines(self) -> list[Outline]:
        """Open lines."""
        return [o for o in self.outlines if not o.closed]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Lowest x and y, highest x and y of the outlines [mm]."""
        x0, y0, x1, y1 = shapely.total_bounds([o.shape for o in self.outlines]).tolist()
        return x0, y0, x1, y1

    @property
    def size(self) -> tuple[float, float]:
        """Length and width of the box around it [mm]."""
        x0, y0, x1, y1 = self.bounds
        return x1 - x0, y1 - y0

    def centred(self, x: float, y: float) -> Inscription:
        """The same with the middle of its box at a place.

        Parameters
        ----------
        x, y : float
            [mm].
        """
        x0, y0, x1, y1 = self.bounds
        by = (x - (x0 + x1) / 2, y - (y0 + y1) / 2)
        moved = (Outline(affinity.translate(o.shape, *by), o.name, o.filled) for o in self.outlines)
        return Inscription(tuple(moved), self.name, self.notes)


def inscription(
    *,
    text: str | None = None,
    height: float | None = None,
    font: Path | str | None = None,
    drawing: Path | str | None = None,
    length: float | None = None,
    line: float | None = None,
) -> Inscription:
    """Words, a drawing, or one straight line as outlines.

    Parameters
    ----------
    text : str, optional
        Lines of it stand under each other, their middles in one line.
    height : float, optional
        Of a capital; goes with a text [mm].
    font : Path or str, optional
        A font file; the package's own when it is left out.
    drawing : Path or str, optional
        An SVG or DXF file: closed shapes are areas, open ones lines.
    length : float, optional
        Of the drawing along x; its own when it is left out [mm].
    line : float, optional
        Length of a straight line along x [mm].

    Returns
    -------
    Inscription

    Raises
    ------
    InputError
        When not exactly one of text, drawing and line is given, or it cannot be read.

    Example
    -------
    >>> inscription(text="HI", height=20.0).size[1]
    20.0
    """
    if sum(x is not None for x in (text, drawing, line)) != 1:
        refuse("one of a text, a drawing or a line is wanted", "give one of them")
    if text is not None:
        if height is None:
            refuse("a text needs the height of its capitals", "give it")
        assert height is not None
        outlines = letter_outlines(text, height, font, align="centre")
        return Inscription(tuple(outlines), f"'{' / '.join(text.split(chr(10)))}'")
    if drawing is not None:
        found = read_outlines(drawing, length=length)
        return Inscription(found.outlines, Path(drawing).name, found.notes)
    assert line is not None
    return Inscription((Outline(LineString([(0, 0), (line, 0)]), "line", False),), "line")


def carve_inscription(
    what: Inscription,
    cutting: Cutting,
    *,
    clearing: Cutting | None = None,
    stop_depth: float | None = None,
    raised: bool = False,
    chamfer: float = CHAMFER,
    margin: float | None = None,
    line_width: float | None = None,
    stopped: bool = True,
    ramp_out: float = 0.0,
    system: System = "metric",
) -> Carved:
    """Carve areas as letters and open lines as grooves.

    Parameters
    ----------
    what : Inscription
        Where it shall stand on the surface.
    cutting : Cutting
        A V.
    clearing : Cutting, optional
        Clears the ground: between sunk letters' flanks below ``stop_depth``, or around raised ones, which need it.
    stop_depth : float, optional
        Nothing is cut deeper; of the ground around raised letters, which need it [mm].
    raised : bool
        Whether the letters stand.
    chamfer : float
        Width on the edges of raised letters, seen from above; 0 leaves them sharp [mm].
    margin : float, optional
        Ground around the box of raised letters; one and a half diameters of the clearing cutter when left out [mm].
    line_width : float, optional
        Of the grooves along open lines, at the surface [mm].
    stopped : bool
        Whether grooves end with their lines; else they run out beside the part.
    ramp_out : float
        Length over which their stopped ends rise [mm].
    system : {"metric", "inch"}
        What the reader of the notes thinks in.

    Returns
    -------
    Carved
        The clearing cutter's moves come first.

    Raises
    ------
    InputError
        With what is missing, or what cannot be cut and why.

    Example
    -------
    >>> v = Cutter("V60", "", "V", 12.7, 6.35, 2, 11, 57, 32, included_angle=math.radians(60))
    >>> carved = carve_inscription(inscription(line=50.0), Cutting(v, 2000, 800, 18000, 6), line_width=3.0)
    >>> round(carved.greatest_depth, 3)
    2.598
    """
    Vee(cutting.cutter)  # refuses what is none
    if what.lines and line_width is None:
        refuse(
            f"{what.name} has {len(what.lines)} open line(s), and no width is given for them",
            "give the width of their grooves (width in a job, --line-width), or close them in the drawing program",
        )
    if raised:
        if what.lines:
            refuse(f"{what.name} has {len(what.lines)} open line(s), which cannot stand", "close them, or sink them")
        if clearing is None or stop_depth is None:
            refuse("raised letters need a cutter that clears their ground, and how deep it lies",
                   "give a ground cutter and a stop depth")  # fmt: skip
        assert clearing is not None
        assert stop_depth is not None
        return raise_letters(
            what.areas, clearing, depth=stop_depth, margin=ground_margin(clearing, margin), chamfer=chamfer,
            chamfering=cutting, system=system,
        )  # fmt: skip
    done: list[Carved] = []
    if what.areas:
        done.append(incise_letters(what.areas, cutting, depth=stop_depth, clearing=clearing, system=system))
    if what.lines:
        most = math.inf if stop_depth is None else stop_depth
        deep = Vee(cutting.cutter).depth((line_width or 0.0) / 2)
        if deep > most + 1e-9:
            step = 0.01 if system == "metric" else 0.0254
            room = math.floor(2 * Vee(cutting.cutter).radius(most) / step) * step
            refuse(
                f"lines {write(line_width or 0.0, 'length', system)} wide are {write(deep, 'length', system)} deep "
                f"with {cutting.cutter.id}, below the stop depth",
                f"make them {write(room, 'length', system)} wide at most, or take a wider V",
            )
        done.append(v_grooves(what.lines, cutting, width=line_width, stopped=stopped, ramp_out=ramp_out, system=system))
    return done[0] if len(done) == 1 else _both(*done)


def ground_margin(clearing: Cutting, margin: float | None = None) -> float:
    """How far the ground around raised letters reaches beyond their box.

    Parameters
    ----------
    clearing : Cutting
        Of the ground.
    margin : float, optional
        As asked; one and a half diameters of the clearing cutter when left out [mm].

    Returns
    -------
    float
        [mm]
    """
    return 1.5 * clearing.cutter.true_diameter if margin is None else margin


def ground_around(what: Inscription, clearing: Cutting, margin: float | None = None) -> BaseGeometry:
    """Ground that is cleared around raised letters.

    Parameters
    ----------
    what : Inscription
        The letters.
    clearing : Cutting
        Of the ground.
    margin : float, optional
        See ``carve_inscription`` [mm].
    """
    stands = shapely.union_all([o.shape for o in what.areas])
    return shapely.box(*stands.bounds).buffer(ground_margin(clearing, margin), join_style="mitre").difference(stands)


def share_left(area: BaseGeometry, radius: float) -> float:
    """Share of an area that a round cutter does not reach [-].

    Parameters
    ----------
    area : shapely geometry
        What is to be cut [mm].
    radius : float
        Of the cutter at the surface [mm].

    Example
    -------
    >>> round(share_left(shapely.box(0, 0, 4, 4), 1.0), 3)  # (4 - pi) / 16
    0.054
    """
    return float(1 - _opened(area, radius).intersection(area).area / area.area)


def _both(letters: Carved, lines: Carved) -> Carved:
    """Letters and then lines as one."""
    return Carved(
        (*letters.operations, *lines.operations), max(letters.greatest_depth, lines.greatest_depth),
        letters.chains + lines.chains, letters.capped, letters.capped_by, shapely.union_all([letters.left, lines.left]),
        max(letters.corner_radius, lines.corner_radius), tuple(dict.fromkeys((*letters.notes, *lines.notes))),
    )  # fmt: skip


def smallest_inside_corner(area: BaseGeometry, *, within: float = _REACHED) -> float:
    """Radius of the largest round cutter that reaches everywhere in an area.

    Parameters
    ----------
    area : shapely geometry
        Letters that are sunk, or the ground around raised ones [mm].
    within : float
        Wood that stays no further than this from what the round cutter reaches counts as reached [mm].

    Returns
    -------
    float
        Half the narrowest place or the radius of the tightest corner, whichever is less; 0 where a corner is sharper
        than a radius of 0.005 mm can tell [mm].

    Notes
    -----
    Geometry: the area opened by a disc, found by halving. A sharp corner of angle c is reached within the tolerance t
    by radii up to t / (1 / sin(c / 2) - 1).

    Example
    -------
    >>> round(smallest_inside_corner(shapely.box(0, 0, 40, 10).buffer(3, quad_segs=64)), 1)
    3.0
    """
    x0, y0, x1, y1 = area.bounds
    low, high = 0.0, min(x1 - x0, y1 - y0) / 2
    while high - low > max(_FINEST / 2, 0.01 * low):
        middle = (low + high) / 2
        if area.difference(_opened(area, middle).buffer(within)).area < 1e-9:
            low = middle
        else:
            high = middle
    return low if low >= _FINEST else 0.0


def widest_tip(areas: Sequence[Outline], share: float = 0.05) -> float:
    """Widest flat of a V's tip that leaves no more than a share of the letters uncut.

    Parameters
    ----------
    areas : sequence of Outline
        Closed ones.
    share : float
        Of their area [-].

    Returns
    -------
    float
        [mm]. Geometry: areas opened by a disc, found by halving.

    Example
    -------
    >>> round(widest_tip([Outline(shapely.box(0, 0, 40, 2))]), 1)
    2.0
    """
    whole = shapely.union_all([o.shape for o in areas])
    x0, y0, x1, y1 = whole.bounds
    low, high = 0.0, min(x1 - x0, y1 - y0)
    while high - low > max(_FINEST / 2, 0.005 * low):
        middle = (low + high) / 2
        lost = whole.area - _opened(whole, middle / 2).area
        low, high = (middle, high) if lost <= share * whole.area else (low, middle)
    return low


def _opened(area: BaseGeometry, radius: float) -> BaseGeometry:
    inside = offset(area, -radius) if radius > 0 else area
    return EMPTY if inside.is_empty else inside.buffer(radius, quad_segs=32) if radius > 0 else area


def require_room(
    what: Inscription,
    carved: Carved,
    length: float,
    width: float,
    thickness: float,
    system: System,
    height: float | None,
) -> None:
    """Refuse what is larger than the part, and say which dimension to change.

    Parameters
    ----------
    what : Inscription
        What was carved.
    carved : Carved
        How.
    length, width, thickness : float
        Of the part as it lies [mm].
    system : {"metric", "inch"}
        What the reader thinks in.
    height : float or None
        Of a capital, where it is a text [mm].

    Raises
    ------
    InputError
        With every misfit.
    """

    def shown(value: float) -> str:
        return write(value, "length", system)

    faults: list[Fault] = []
    wide, high = what.size
    part = f"{shown(length)} x {shown(width)}"
    if wide > length + 1e-6 or high > width + 1e-6:
        share = min(length / wide if wide else math.inf, width / high if high else math.inf)
        smaller = (
            f"a height of {shown(_down(share * height, system))} fits" if height is not None
            else f"a length of {shown(_down(share * wide, system))} fits"
        )  # fmt: skip
        faults.append(Fault(f"{what.name} is {shown(wide)} x {shown(high)} and does not fit on {part}", smaller))
    if carved.greatest_depth > thickness - 1e-6:
        faults.append(
            Fault(
                f"{what.name} is {shown(carved.greatest_depth)} deep in a part of {shown(thickness)}",
                f"set stop_depth below {shown(thickness)}, write it smaller, or take a V with a wider angle",
            )
        )
    if faults:
        raise InputError(faults)


def fitting_height(text: str, length: float, font: Path | str | None = None, system: System = "metric") -> float:
    """The greatest height of capitals with which a text fits on a length.

    Parameters
    ----------
    text : str
        Which.
    length : float
        Of the board along x [mm].
    font : Path or str, optional
        A font file; the package's own when it is left out.
    system : {"metric", "inch"}
        Rounded down to a sixteenth of an inch, or to whole millimetres, where that leaves something.

    Returns
    -------
    float
        [mm]. Geometry: outlines grow with their height.

    Example
    -------
    >>> high = fitting_height("REEDS", 200.0)
    >>> inscription(text="REEDS", height=high).size[0] <= 200 < inscription(text="REEDS", height=high + 1).size[0]
    True
    """
    if length <= 0:
        refuse("no room is left for the text", "give a greater length or a smaller margin")
    return _down(length / inscription(text=text, height=100.0, font=font).size[0] * 100.0, system)


def _down(value: float, system: System) -> float:
    """Rounded down to a sixteenth of an inch, or to whole millimetres, where that leaves something."""
    step = 1.0 if system == "metric" else 25.4 / 16
    return math.floor(value / step + 1e-9) * step or value


def misfits(what: Inscription, carved: Carved, cutter: Cutter, system: System, height: float | None) -> list[str]:
    """What cutters are too wide for, with the dimension to change.

    Parameters
    ----------
    what : Inscription
        What was carved.
    carved : Carved
        How.
    cutter : Cutter
        The V.
    system : {"metric", "inch"}
        What the reader thinks in.
    height : float or None
        Of a capital, where it is a text [mm].

    Returns
    -------
    list of str
        Empty where everything is reached.
    """
    words = ("fits nowhere", "gap(s) are narrower", "too small for", "stops the V", "of the chamfers stay")
    out = [note for note in carved.notes if any(w in note for w in words)]
    flat = 2 * Vee(cutter).flat
    whole = math.fsum(o.area for o in what.areas)
    if what.areas and carved.corner_radius == flat / 2 and carved.left_area > 0.05 * whole:
        enough = widest_tip(what.areas)
        remedy = f"a tip of {small(enough, system)} reaches 95 % of them"
        if height is not None and enough > 0:
            remedy += f", or letters {write(height * flat / enough, 'length', system)} high"
        out.append(
            f"the tip of {cutter.id} ({small(flat, system)}) is too wide: {100 * carved.left_area / whole:.0f} % of "
            f"the letters stay uncut; {remedy}"
        )
    return out
