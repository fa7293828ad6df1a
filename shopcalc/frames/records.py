"""What a table of a frame may say: sizes, joint, panel, cutters; every text with its unit."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from shopcalc.fields import Count, CountOrNone, Flag, Length, LengthOrNone, Name, Record

Style = Literal["plain", "haunched", "stepped", "paired"]
Corners = Literal["rounded", "squared", "relieved"]


class Rail(Record):
    """A rail, where it differs from the frame's others.

    Parameters
    ----------
    width : float or None
        None takes the width of the stiles [mm].
    from_foot : float or None
        Its middle above the stiles' feet, for rails between top and bottom; None spreads them evenly [mm].
    joint : {"plain", "haunched", "stepped", "paired"} or None
        None takes the frame's.
    corners : {"rounded", "squared", "relieved"} or None
        Tenon rounded, mortise squared by hand, or its corners relieved; None takes the frame's.
    """

    width: Length | None = None
    from_foot: Length | None = None
    joint: Style | None = None
    corners: Corners | None = None


def _rail(value: Any) -> Any:
    """A bare width stands for a rail of that width."""
    return value if isinstance(value, (dict, Rail)) else {"width": value}


def _rails(value: Any) -> Any:
    """A bare count stands for so many like rails."""
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 50:
        return [{}] * value
    return value


def _row(value: Any) -> Any:
    """One count stands for every row."""
    return value if isinstance(value, (list, tuple)) else (value,)


class Frame(Record):
    """A frame of stiles, rails and muntins with panels in grooves; what it does not say is the shop's usual.

    Parameters
    ----------
    id, title : str
        Key, and what people call it.
    quantity : int
        In one finished piece of the job [-].
    material, panel_material : str
        Ids; None takes the frame's wood for the panels too.
    width, height, thickness : float
        Of the whole frame, finished [mm].
    stile, muntin : float or None
        Widths; None takes a twelfth of the height for a stile, the stile's for a muntin [mm].
    top_rail, bottom_rail : Rail
        A width alone will do.
    middle_rails : tuple of Rail
        From the foot upwards; a count alone will do.
    muntins : tuple of int
        In each row of panels from the foot upwards; one number holds for every row [-].
    foot : float
        From the stiles' feet up to the bottom rail [mm].
    arch : float
        Rise of the segmental arch that hollows the top rail; 0 for a straight one [mm].
    joint : {"plain", "haunched", "stepped", "paired"}
        Of the rails to the stiles.
    corners : {"rounded", "squared", "relieved"}
        Tenon rounded, mortise squared by hand, or its corners relieved.
    mortise, mortise_depth : float or None
        Width, and depth from the stile's edge [mm].
    haunch : float or None
        Width of the haunch, or of each step, of the rail's edge [mm].
    gap : float or None
        Between paired mortises [mm].
    clearance, edge_clearance, end_gap : float or None
        Mortise minus tenon in total: in thickness, and at the edges, where wood swells and no glue holds; how much
        shorter the tenon is than its mortise is deep [mm].
    groove, groove_depth : float or None
        Of the panels [mm].
    panel : {"raised", "flat"}
        Its border is raised to a slope, or flat.
    raised_faces : int
        1 or 2 [-].
    panel_thickness, border, rim : float or None
        Of the panel; width of its border; of the flat at its edge [mm].
    profile : {"bevel", "cove"}
        Of the border.
    panel_fit, clearance_along, clearance_across : float or None
        Groove minus tongue in thickness; room in both grooves together along the panel's grain and across it [mm].
    glued : bool or None
        Whether panels are glued up from several boards; None says yes of boards and no of sheets.
    groove_cutter, mortise_cutter, tenon_cutter, raise_cutter, outline_cutter : str or None
        Ids; None chooses from the rack.
    extra_length, extra_width, extra_thickness : float or None
        Rough over finished, of every part; None leaves it to the job's usual; a sheet has its thickness [mm].
    finished : bool
        Whether it is sanded and finished.
    note : str
        For people.
    """

    id: Name
    title: str = ""
    quantity: Count = 1
    material: Name
    panel_material: Name | None = None
    width: Length
    height: Length
    thickness: Length
    stile: Length | None = None
    muntin: Length | None = None
    top_rail: Annotated[Rail, BeforeValidator(_rail)] = Rail()
    bottom_rail: Annotated[Rail, BeforeValidator(_rail)] = Rail()
    middle_rails: Annotated[tuple[Rail, ...], BeforeValidator(_rails)] = ()
    muntins: Annotated[tuple[CountOrNone, ...], BeforeValidator(_row)] = (0,)
    foot: LengthOrNone = 0.0
    arch: LengthOrNone = 0.0
    joint: Style = "plain"
    corners: Corners = "rounded"
    mortise: Length | None = None
    mortise_depth: Length | None = None
    haunch: Length | None = None
    gap: Length | None = None
    clearance: LengthOrNone | None = None
    edge_clearance: LengthOrNone | None = None
    end_gap: LengthOrNone | None = None
    groove: Length | None = None
    groove_depth: Length | None = None
    panel: Literal["raised", "flat"] = "raised"
    raised_faces: Literal[1, 2] = 1
    panel_thickness: Length | None = None
    border: Length | None = None
    rim: Length | None = None
    profile: Literal["bevel", "cove"] = "bevel"
    panel_fit: LengthOrNone | None = None
    clearance_along: LengthOrNone | None = None
    clearance_across: LengthOrNone | None = None
    glued: Flag | None = None
    groove_cutter: Name | None = None
    mortise_cutter: Name | None = None
    tenon_cutter: Name | None = None
    raise_cutter: Name | None = None
    outline_cutter: Name | None = None
    extra_length: LengthOrNone | None = None
    extra_width: LengthOrNone | None = None
    extra_thickness: LengthOrNone | None = None
    finished: Flag = True
    note: str = ""
