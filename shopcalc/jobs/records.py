"""What a job file may say: parts, operations, programs, loads, phases, hardware; every text with its unit."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from shopcalc.fields import (
    Count,
    CountOrNone,
    Duration,
    Elapsed,
    Feed,
    Flag,
    Length,
    LengthOrNone,
    Money,
    Name,
    Record,
    SpindleSpeed,
    System,
    counted,
    quantity,
)

SignedLength = Annotated[float, quantity("length")]
SignedAngle = Annotated[float, quantity("angle")]


class Operation(Record):
    """What every operation says.

    Parameters
    ----------
    cutter, program : str
        Ids.
    count : int
        How many of these in one load [-].
    rpm, feed, depth_per_pass : float or None
        Instead of what practice suggests [rev/min], [mm/min], [mm].
    note : str
        For the operator.
    """

    kind: str
    cutter: Name
    program: Name
    count: Count = 1
    rpm: SpindleSpeed | None = None
    feed: Feed | None = None
    depth_per_pass: Length | None = None
    note: str = ""


class Face(Operation):
    """Plane a face; without length and width the whole part.

    Parameters
    ----------
    depth : float
        Taken off [mm].
    length, width : float or None
        Of the area [mm].
    """

    kind: Literal["face"]
    depth: Length
    length: Length | None = None
    width: Length | None = None


class _Placed(Operation):
    """One that may say where along the part each of it lies; without it they are spread evenly.

    Parameters
    ----------
    from_end : tuple of float
        Middle of each, from the reference end along the part [mm].
    """

    from_end: Annotated[tuple[Length, ...], Field(min_length=1)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _as_many_as_places(cls, data: Any) -> Any:
        places = data.get("from_end") if isinstance(data, dict) else None
        if isinstance(places, (list, tuple)) and places:
            if "count" not in data:
                return {**data, "count": len(places)}
            if isinstance(data["count"], int) and data["count"] != len(places):
                told = {
                    "message": f"from_end has {len(places)} places for a count of {data['count']}",
                    "remedy": "give one place for each, or leave the count out",
                }
                raise PydanticCustomError("fault", "{message}", told)
        return data


class Sink(_Placed):
    """A pocket.

    Parameters
    ----------
    length, width, depth : float
        [mm]
    """

    kind: Literal["sink"]
    length: Length
    width: Length
    depth: Length


class Groove(Operation):
    """A groove along the part.

    Parameters
    ----------
    width, depth : float
        [mm]
    length : float or None
        None runs through the part [mm].
    rise : float
        Height of an arch it follows; 0 for a straight one. On edge the arch hollows that edge, and the groove's depth
        is measured square to it [mm].
    start : float or None
        Where a shorter one begins, from the reference end; None puts it in the middle [mm].
    """

    kind: Literal["groove"]
    width: Length
    depth: Length
    length: Length | None = None
    rise: LengthOrNone = 0.0
    start: LengthOrNone | None = None


class Rebate(Operation):
    """A step along an edge.

    Parameters
    ----------
    width, depth : float
        [mm]
    length : float or None
        None runs through the part [mm].
    """

    kind: Literal["rebate"]
    width: Length
    depth: Length
    length: Length | None = None


class CutOut(Operation):
    """Cut a shape free.

    Parameters
    ----------
    length, width : float or None
        None takes the part's own [mm].
    depth : float or None
        None goes through the part [mm].
    rise : float
        Height of an arch that hollows one long side; 0 for a straight one [mm].
    span : float or None
        Length of that arch, in the middle of the side; None takes the whole side [mm].
    crown : float
        Height of an arch that rounds the far end, as of an arched panel; 0 for a square one [mm].
    side : {"outside", "inside"}
        Whether the shape stays or is an opening.
    bridges : int
        Left to hold it [-].
    """

    kind: Literal["cut out"]
    length: Length | None = None
    width: Length | None = None
    depth: Length | None = None
    rise: LengthOrNone = 0.0
    span: Length | None = None
    crown: LengthOrNone = 0.0
    side: Literal["outside", "inside"] = "outside"
    bridges: CountOrNone = 4


class Bore(Operation):
    """Holes in a row.

    Parameters
    ----------
    diameter, depth : float
        [mm]
    spacing : float
        Between holes [mm].
    """

    kind: Literal["bore"]
    diameter: Length
    depth: Length
    spacing: Length = 32.0


class Tenon(Operation):
    """A tenon on the end of a rail: plain, stepped with ``stub``, haunched with ``stub`` and ``haunch``.

    Parameters
    ----------
    length, width, thickness : float
        Of the tongue, from the shoulder; clearance already taken off [mm].
    stub : float
        Length over which it is wider at the shoulder; 0 for a plain one [mm].
    haunch : float
        Width of the haunch at the outer edge; 0 makes the stub as wide as the rail [mm].
    rounded : bool
        Whether its corners are rounded, for a mortise with round ends.
    from_edge : float or None
        From the reference edge to the tongue; None puts it in the middle, or with a haunch at the far edge [mm].
    gap : float
        Between paired tongues, in the middle of the width; 0 for a single one [mm].
    """

    kind: Literal["tenon"]
    length: Length
    width: Length
    thickness: Length
    stub: LengthOrNone = 0.0
    haunch: LengthOrNone = 0.0
    rounded: Flag = False
    from_edge: LengthOrNone | None = None
    gap: LengthOrNone = 0.0


class Mortise(_Placed):
    """A mortise.

    Parameters
    ----------
    length, width, depth : float
        [mm]
    corners : {"round", "squared", "relieved"}
        Left round, squared by hand, or bored out for a square tenon.
    """

    kind: Literal["mortise"]
    length: Length
    width: Length
    depth: Length
    corners: Literal["round", "squared", "relieved"] = "round"


class Raise(Operation):
    """Raise a panel: its border is cut down on all four sides.

    Parameters
    ----------
    width, depth : float
        Of the border, and below the face at the edge [mm].
    rim : float
        Width of the flat at the edge that goes into the groove [mm].
    profile : {"bevel", "cove"}
        Straight or hollow.
    step : float
        Height of the upright step between border and field; as high as the depth leaves a flat border [mm].
    crown : float
        Height of an arch that rounds the far end; 0 for a square panel [mm].
    """

    kind: Literal["raise"]
    width: Length
    depth: Length
    rim: LengthOrNone = 0.0
    step: LengthOrNone = 0.0
    crown: LengthOrNone = 0.0
    profile: Literal["bevel", "cove"] = "bevel"


class Incise(Operation):
    """Lettering and lines cut with a V as deep as they are wide, or letters that stand on a cleared ground.

    Parameters
    ----------
    text, drawing : str or None
        What is written, or an SVG or DXF file from the shop's folder: closed shapes are sunk, open lines grooved.
    line : float or None
        Length of a straight groove along the part; one as long as the part runs out at both ends [mm].
    height : float or None
        Of a capital; goes with a text [mm].
    length : float or None
        Of the drawing; None keeps its own size [mm].
    width : float or None
        Of lines, at the surface [mm].
    stop_depth : float or None
        Nothing is cut deeper; of the ground around raised letters [mm].
    ground_cutter : str or None
        Id of a cutter that clears the ground; None leaves a ground below ``stop_depth`` to the V.
    raised : bool
        Whether the letters stand.
    chamfer, margin : float or None
        Of raised letters: on their edges, and ground around them; None takes a light one, and one and a half diameters
        of the ground cutter [mm].
    ramp_out : float
        Length over which the ends of lines rise; 0 leaves half cones [mm].
    """

    kind: Literal["incise"]
    text: Name | None = None
    drawing: Name | None = None
    line: Length | None = None
    height: Length | None = None
    length: Length | None = None
    width: Length | None = None
    stop_depth: Length | None = None
    ground_cutter: Name | None = None
    raised: Flag = False
    chamfer: LengthOrNone | None = None
    margin: Length | None = None
    ramp_out: LengthOrNone = 0.0

    @model_validator(mode="after")
    def _hangs_together(self) -> Incise:
        given = [name for name in ("text", "drawing", "line") if getattr(self, name) is not None]
        lone = [
            name for name, goes_with in (
                ("height", self.text), ("length", self.drawing), ("width", self.drawing or self.line),
                ("ramp_out", self.width), ("chamfer", self.raised), ("margin", self.raised),
            ) if getattr(self, name) and not goes_with
        ]  # fmt: skip
        for wrong, message, remedy in (
            (len(given) != 1, f"{' and '.join(given) or 'nothing'} is given to incise",
             'give one of text = "...", drawing = "....svg" or line = "..."'),
            (self.text and not self.height, "the height of a capital is missing", 'add e.g. height = "1 1/4 in"'),
            (self.line and not self.width, "the width of the line is missing", 'add e.g. width = "1/8 in"'),
            (self.raised and self.line, "a line cannot stand", "leave raised out"),
            (self.raised and not (self.stop_depth and self.ground_cutter), "raised letters need a ground",
             'add e.g. stop_depth = "1/8 in" and ground_cutter = "SQ3"'),
            (lone, f"{', '.join(lone)}: says nothing here", "leave it out"),
        ):  # fmt: skip
            if wrong:
                raise PydanticCustomError("fault", "{message}", {"message": message, "remedy": remedy})
        return self


class Carve(Operation):
    """A relief: planned from its artwork, from reliefs of its kind before there is any, or by area alone.

    Parameters
    ----------
    length, width, depth : float
        [mm]
    artwork : str or None
        Image or mesh, from the shop's folder.
    invert, smooth, sunk : bool
        Of the artwork: black is high; terraces are taken out; wood stands round the relief.
    before : str or None
        Kind of relief while there is no artwork, see ``relief.kinds``.
    smallest_detail : float or None
        With ``before``: width of the narrowest grooves; None takes twice the radius of the cutter's tip [mm].
    stepover, cusp : float or None
        Sideways step of finishing, or the ridge it may leave; neither takes the usual cusp [mm].
    rough_cutter, clean_cutter : str or None
        Ids; "none" roughs never, None where the relief is too deep for the finishing cutter. A clean-up cutter goes
        where the first leaves too much.
    hours : float or None
        Machine time by the shop's own judgement [s]; it comes before everything else.
    """

    kind: Literal["carve"]
    length: Length
    width: Length
    depth: Length
    artwork: Name | None = None
    invert: Flag = False
    smooth: Flag = False
    sunk: Flag = False
    before: Name | None = None
    smallest_detail: Length | None = None
    stepover: Length | None = None
    cusp: Length | None = None
    rough_cutter: Name | None = None
    clean_cutter: Name | None = None
    hours: Duration | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Carve:
        for given, message, remedy in (
            (
                self.artwork and self.before,
                "both artwork and before are given",
                "leave 'before' out: artwork is better",
            ),
            (
                self.stepover and self.cusp,
                "both stepover and cusp are given",
                "give the one you mean",
            ),
            (
                self.smallest_detail and not self.before,
                "smallest_detail says nothing without before",
                'add e.g. before = "portrait", or leave it out',
            ),
            (
                self.clean_cutter and not self.artwork,
                "clean_cutter says nothing without artwork",
                "leave it out until there is artwork",
            ),
            (
                (self.invert or self.smooth or self.sunk) and not self.artwork,
                "invert, smooth and sunk say nothing without artwork",
                "leave them out",
            ),
        ):
            if given:
                raise PydanticCustomError("fault", "{message}", {"message": message, "remedy": remedy})
        return self


AnyOperation = Annotated[
    Face | Sink | Groove | Rebate | CutOut | Bore | Tenon | Mortise | Raise | Incise | Carve,
    Field(discriminator="kind"),
]
#: The record of every kind of operation.
OPERATION_RECORDS: dict[str, type[Operation]] = {
    "face": Face, "sink": Sink, "groove": Groove, "rebate": Rebate, "cut out": CutOut, "bore": Bore, "tenon": Tenon,
    "mortise": Mortise, "raise": Raise, "incise": Incise, "carve": Carve,
}  # fmt: skip


class Part(Record):
    """A part of one finished piece.

    Parameters
    ----------
    id, title : str
        Key, and what people call it.
    quantity : int
        In one finished piece [-].
    material : str
        Id.
    length, width, thickness : float
        Finished [mm].
    extra_length, extra_width, extra_thickness : float
        Rough over finished [mm].
    grain : {"length", "width"}
        Direction the fibres run.
    glued : bool
        Whether the blank is glued up from several boards.
    strips : int or None
        Boards side by side in the blank; None takes as many as the boards' usual widths ask for [-].
    layers : int
        Boards face to face in the blank [-].
    spares : int or None
        More to make in one finished piece; None follows the shop's rule [-].
    test_pieces : int
        Short pieces of the same section for the whole job, for test cuts and set-up [-].
    stock : str
        Id of what is bought by the piece for it; empty for boards and sheets.
    finished : bool
        Whether its surface is sanded and finished.
    operations : tuple
        What the machine does to it.
    note : str
        For people.
    """

    id: Name
    title: str = ""
    quantity: Count
    material: Name
    length: Length
    width: Length
    thickness: Length
    extra_length: LengthOrNone = 25.4
    extra_width: LengthOrNone = 6.35
    extra_thickness: LengthOrNone = 3.175
    grain: Literal["length", "width"] = "length"
    glued: Flag = False
    strips: Annotated[int, counted(1, 100)] | None = None
    layers: Annotated[int, counted(1, 20)] = 1
    spares: CountOrNone | None = None
    test_pieces: CountOrNone = 0
    stock: str = ""
    finished: Flag = True
    operations: tuple[AnyOperation, ...] = ()
    note: str = ""


class Program(Record):
    """A program of the job.

    Parameters
    ----------
    id, title : str
        Key, and what people call it.
    station : {"flat", "edge", "end"}
        How the part is held.
    file : str or None
        Program text, from the shop's folder.
    logged : float or None
        Machine time of one load by the clock [s].
    after : tuple of str
        Programs whose loads all come before those of this one.
    note : str
        For the operator.
    """

    id: Name
    title: str = ""
    station: Literal["flat", "edge", "end"] = "flat"
    file: Name | None = None
    logged: Elapsed | None = None
    after: tuple[Name, ...] = ()
    note: str = ""


class Load(Record):
    """One part in one program.

    Parameters
    ----------
    program, part : str
        Ids.
    count : int
        Loads for one finished piece of the job [-].
    """

    program: Name
    part: Name
    count: Count


class Clamp(Record):
    """A fixture of the shop where it stands for one load.

    Parameters
    ----------
    program, part : str
        Ids of the load.
    fixture : str
        Of the shop's fixtures.toml.
    x, y : float
        Its middle, from the program's zero at the part's corner [mm].
    turn : float
        Of its length against x, counter-clockwise [rad].
    presses_x, presses_y : float or None
        Where its pad presses the part, where that is not its middle [mm].
    stops : {"+x", "-x", "+y", "-y"} or None
        The way it keeps the part from moving.
    name : str
        To tell it from others.
    """

    program: Name
    part: Name
    fixture: Name
    x: SignedLength
    y: SignedLength
    turn: SignedAngle = 0.0
    presses_x: LengthOrNone | None = None
    presses_y: LengthOrNone | None = None
    stops: Literal["+x", "-x", "+y", "-y"] | None = None
    name: str = ""


class PhaseEntry(Record):
    """What is said of a phase instead of the shop's standard minutes.

    Parameters
    ----------
    hours : float or None
        For the whole job, however many pieces [s].
    hours_each : float or None
        For each finished piece; added to ``hours`` where both are said [s].
    logged : float or None
        By the clock, for the whole job [s].
    quoted : bool
        Whether the customer pays for it.
    """

    hours: Duration | None = None
    hours_each: Duration | None = None
    logged: Duration | None = None
    quoted: Flag = True

    def said(self, quantity: int) -> float | None:
        """Time said for a job of so many pieces [s]; None where nothing is said.

        Parameters
        ----------
        quantity : int
            Finished pieces [-].
        """
        if self.hours is None and self.hours_each is None:
            return None
        return (self.hours or 0.0) + quantity * (self.hours_each or 0.0)


class Hardware(Record):
    """Something bought.

    Parameters
    ----------
    name : str
        What it is.
    quantity : int
        For one finished piece [-].
    price : Decimal
        Each [currency].
    fitted : bool
        Whether the shop fits it.
    weight : float or None
        Of each [kg].
    """

    name: Name
    quantity: Count
    price: Money
    fitted: Flag = True
    weight: Annotated[float, quantity("mass", minimum=0.0)] | None = None


class Heading(Record):
    """The job itself.

    Parameters
    ----------
    name : str
        What people call it.
    machine : str
        Name in the shop, or a .toml file.
    quantity : int
        Finished pieces [-].
    system : {"inch", "metric"}
        What the shop reads.
    asked_price : Decimal or None
        For the whole job; None asks what the shop's margin says [currency].
    joints : int or None
        Joints to fit in one finished piece; None counts the tenons [-].
    order : tuple of str
        Every load once, as "program/part", in the order they are run; empty leaves the order to be found.
    note : str
        For people.
    """

    name: Name
    machine: Name
    quantity: Count = 1
    system: System = "inch"
    asked_price: Money | None = None
    joints: CountOrNone | None = None
    order: tuple[Name, ...] = ()
    note: str = ""


class StockEntry(Record):
    """How this job's wood is priced, where it differs from the shop's way.

    Parameters
    ----------
    layout : bool or None
        Whether parts are laid out on boards and sheets; else the shop's waste counts. None follows the shop.
    tally : bool or None
        Whether boards are priced by the grading rules' tally. None follows the shop.
    """

    layout: Flag | None = None
    tally: Flag | None = None


class JobFile(Record):
    """A whole job file.

    Parameters
    ----------
    job : Heading
        The table [job].
    parts, programs, loads, hardware, clamps : tuple
        The tables of these names.
    phases : mapping
        Phase to what is said of it.
    stock : StockEntry
        How wood is priced.
    """

    job: Heading
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    programs: tuple[Program, ...] = ()
    loads: tuple[Load, ...] = ()
    phases: dict[str, PhaseEntry] = Field(default_factory=dict)
    hardware: tuple[Hardware, ...] = ()
    stock: StockEntry = Field(default_factory=StockEntry)
    clamps: tuple[Clamp, ...] = ()


#: An example of every field, for messages about missing ones.
EXAMPLES: dict[str, str] = {
    "job": '[job] with name = "..." and machine = "..."', "parts": '[[parts]] with id = "..."',
    "name": 'name = "chest"', "machine": 'machine = "router"', "id": 'id = "top-rail"', "quantity": "quantity = 2",
    "material": 'material = "white-oak"', "length": 'length = "24 in"', "width": 'width = "2 1/2 in"',
    "thickness": 'thickness = "7/8 in"', "depth": 'depth = "3/8 in"', "diameter": 'diameter = "8 mm"',
    "cutter": 'cutter = "SQ6"', "program": 'program = "rail-ends"', "part": 'part = "top-rail"', "count": "count = 4",
    "price": 'price = "12.50 USD"', "text": 'text = "REEDS"', "height": 'height = "1 1/2 in"',
    "kind": 'kind = "groove"', "fixture": 'fixture = "strap"', "x": 'x = "-35 mm"', "y": 'y = "146 mm"',
}  # fmt: skip
