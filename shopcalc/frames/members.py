"""What a frame is made of, in elevation: members, joints, openings, the arch; x from the left, y from the feet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopcalc.frames.records import Corners, Frame, Style
from shopcalc.moves import Floats
from shopcalc.paths.joinery import Tenon

Role = Literal["stile", "rail", "muntin", "panel"]


@dataclass(frozen=True)
class Arch:
    """A segmental arch over a span.

    Parameters
    ----------
    x, y : float
        Its centre [mm].
    radius : float
        [mm].

    Example
    -------
    >>> a = Arch.over(0, 80, 0, 20)
    >>> a.x, a.y, a.radius, a.height(0.0)
    (40.0, -30.0, 50.0, 0.0)
    """

    x: float
    y: float
    radius: float

    @staticmethod
    def over(left: float, right: float, spring: float, rise: float) -> Arch:
        """The arch between two springs of one height.

        Parameters
        ----------
        left, right, spring : float
            Where it springs [mm].
        rise : float
            Of its crown above the springs [mm].
        """
        half = (right - left) / 2
        radius = (half * half + rise * rise) / (2 * rise)
        return Arch((left + right) / 2, spring + rise - radius, radius)

    def grown(self, by: float) -> Arch:
        """The concentric arch further out [mm].

        Parameters
        ----------
        by : float
            Measured square to it [mm].
        """
        return Arch(self.x, self.y, self.radius + by)

    def height(self, x: float) -> float:
        """Its y at x [mm].

        Parameters
        ----------
        x : float
            Within its diameter [mm].
        """
        return self.y + math.sqrt(self.radius**2 - (x - self.x) ** 2)

    def slope(self, x: float) -> float:
        """Its slope against the level at x, never negative [rad].

        Parameters
        ----------
        x : float
            Within its diameter [mm].
        """
        return math.asin(min(1.0, abs(x - self.x) / self.radius))

    def points(self, left: float, right: float, chords: int = 128) -> Floats:
        """Fine chords from left to right, ends included.

        Parameters
        ----------
        left, right : float
            [mm].
        chords : int
            How many [-].

        Returns
        -------
        (n, 2) float
            [mm].
        """
        a, b = (math.acos((v - self.x) / self.radius) for v in (left, right))
        angle = np.linspace(a, b, chords + 1)
        out: Floats = np.stack([self.x + self.radius * np.cos(angle), self.y + self.radius * np.sin(angle)], axis=1)
        out[0, 0], out[-1, 0] = left, right
        return out


@dataclass(frozen=True, eq=False)
class Member:
    """One piece of wood as it stands in the frame.

    Parameters
    ----------
    name, part : str
        What people call it, and the id of its part.
    role : {"stile", "rail", "muntin", "panel"}
        What it does.
    outline : (n, 2) float
        Closed ring without repeating its first point: the face between shoulders; of a panel all of it, with what
        stands in the grooves [mm].
    tongues : tuple of (n, 2) float
        Rings of the tenons beyond the shoulders, stubs included, before grooves are cut [mm].
    length, width, thickness : float
        Of its part, finished; along the grain, across, and through [mm].
    grooves : int
        Edges with a groove [-].
    """

    name: str
    part: str
    role: Role
    outline: Floats
    tongues: tuple[Floats, ...]
    length: float
    width: float
    thickness: float
    grooves: int = 0


@dataclass(frozen=True)
class Joint:
    """Where a rail's end meets a stile; both ends of a rail are alike.

    Parameters
    ----------
    rail : str
        Name of its member.
    style : {"plain", "haunched", "stepped", "paired"}
        As cut: a haunch or step needs the stile's end, or a groove that runs past.
    corners : {"rounded", "squared", "relieved"}
        How a square tenon and a round mortise meet.
    tenon : Tenon
        x from the rail's reference edge: the outer one of the top and bottom rails, the lower one of others.
    mortises : tuple of (float, float)
        From where to where along the stile, from its foot [mm].
    mortise_width, mortise_depth : float
        [mm].
    """

    rail: str
    style: Style
    corners: Corners
    tenon: Tenon
    mortises: tuple[tuple[float, float], ...]
    mortise_width: float
    mortise_depth: float


@dataclass(frozen=True)
class Opening:
    """A field between members and the panel that fills it.

    Parameters
    ----------
    x, y : (2,) float
        From where to where; under an arch up to its springs [mm].
    arch : Arch or None
        That closes it.
    panel : str
        Name of the member that fills it.
    row, column : int
        From the foot upwards and from the left, from 0 [-].
    """

    x: tuple[float, float]
    y: tuple[float, float]
    arch: Arch | None
    panel: str
    row: int
    column: int

    @property
    def width(self) -> float:
        """[mm]"""
        return self.x[1] - self.x[0]

    @property
    def height(self) -> float:
        """Up to the crown [mm]."""
        top = self.y[1] if self.arch is None else self.arch.y + self.arch.radius
        return top - self.y[0]


@dataclass(frozen=True)
class Sizes:
    """Every size and cutter of a frame, said or usual.

    Parameters
    ----------
    stile, muntin : float
        Widths [mm].
    rails, rail_feet : tuple of float
        Widths, and lower edges above the stiles' feet, from the foot upwards [mm].
    styles, corners : tuple of str
        Of the rails' joints, as cut.
    muntins : tuple of int
        In each row [-].
    groove, groove_depth, mortise, mortise_depth : float
        Widths and depths [mm].
    haunch, gap, clearance, edge_clearance, end_gap : float
        [mm].
    panel_thickness, tongue, border, rim : float
        Of the panel [mm].
    clearance_along, clearance_across : float
        Room for the panel in both grooves together [mm].
    cutters : tuple of str
        For groove, mortise, tenon, raise and outline; empty where none of the rack will do.
    """

    stile: float
    muntin: float
    rails: tuple[float, ...]
    rail_feet: tuple[float, ...]
    styles: tuple[Style, ...]
    corners: tuple[Corners, ...]
    muntins: tuple[int, ...]
    groove: float
    groove_depth: float
    mortise: float
    mortise_depth: float
    haunch: float
    gap: float
    clearance: float
    edge_clearance: float
    end_gap: float
    panel_thickness: float
    tongue: float
    border: float
    rim: float
    clearance_along: float
    clearance_across: float
    cutters: tuple[str, ...]

    def gaps(self) -> list[float]:
        """Gap between paired mortises of each rail; 0 where they are not paired [mm]."""
        usual = ((w - 2 * self.groove_depth) / 3 for w in self.rails)
        return [(self.gap or g) if s == "paired" else 0.0 for s, g in zip(self.styles, usual, strict=True)]

    def raise_depth(self, frame: Frame) -> float:
        """How far the panel's border is cut down on each face; 0 where the panel is as thin as its tongue [mm].

        Parameters
        ----------
        frame : Frame
            As the table says it.
        """
        over = self.panel_thickness - self.tongue
        return over / frame.raised_faces if over > 1e-6 else 0.0


@dataclass(frozen=True, eq=False)
class Layout:
    """A frame laid out: where every member stands and how it is joined.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    sizes : Sizes
        Said or usual.
    members : tuple of Member
        Stiles, rails from the foot upwards, muntins, panels.
    joints : tuple of Joint
        One for each rail, from the foot upwards.
    openings : tuple of Opening
        Row by row from the foot upwards.
    arch : Arch or None
        The top rail's lower edge.
    stile_groove : (2,) float
        From where to where along the stile, round ends included [mm].
    """

    frame: Frame
    sizes: Sizes
    members: tuple[Member, ...]
    joints: tuple[Joint, ...]
    openings: tuple[Opening, ...]
    arch: Arch | None
    stile_groove: tuple[float, float]

    def member(self, name: str) -> Member:
        """The member of that name."""
        return next(m for m in self.members if m.name == name)
