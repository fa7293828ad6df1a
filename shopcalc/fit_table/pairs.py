"""What goes into what: tenons with their mortises, panels with their grooves, found by their sizes in a job."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Groove, Mortise, Operation, Part, Raise, Tenon

# how far a size may be from the one it goes into to be taken for its partner [mm]: mortise less tenon, from and to
_CHEEKS, _EDGES, _END = (-0.5, 2.0), (-2.0, 8.0), (-2.0, 8.0)
_TONGUE = (-0.2, 1.2)
_ALIKE = 0.5  # mm; openings this near to each other are one
_MOST_MUNTINS = 6
_EPS = 1e-6


@dataclass(frozen=True)
class Joint:
    """A tenon and what it goes into.

    Parameters
    ----------
    tenon : Tenon
        As described.
    rails : tuple of str
        Ids of the parts that carry it.
    mortise : Mortise or None
        Its partner; None where it stands in a groove, or where none was found.
    groove : Groove or None
        Its partner where it is a stub.
    stiles : tuple of str
        Ids of the parts with that mortise or groove.
    """

    tenon: Tenon
    rails: tuple[str, ...]
    mortise: Mortise | None = None
    groove: Groove | None = None
    stiles: tuple[str, ...] = ()

    @property
    def tongue_width(self) -> float:
        """Width of one tongue; of a pair each has its own mortise [mm]."""
        gap = self.tenon.gap
        return (self.tenon.width - gap) / 2 if gap else self.tenon.width


@dataclass(frozen=True)
class Tongue:
    """A panel, or boards side by side, in a groove.

    Parameters
    ----------
    part : Part
        The panel, or one of the boards.
    thickness : float
        Of what stands in the groove [mm].
    groove : Groove
        Its partner.
    frame : tuple of str
        Ids of the parts with that groove.
    raised : Raise or None
        How its border is cut down.
    number : int
        Boards side by side [-].
    between : float or None
        From groove bottom to groove bottom across the grain; None where the parts leave it open [mm].
    """

    part: Part
    thickness: float
    groove: Groove
    frame: tuple[str, ...]
    raised: Raise | None = None
    number: int = 1
    between: float | None = None

    @property
    def across(self) -> float:
        """Size of one across its grain [mm]."""
        return across_grain(self.part)

    @property
    def clearance(self) -> float | None:
        """Room less all boards, in total [mm]; None where the room is not known."""
        return None if self.between is None else self.between - self.number * self.across


def across_grain(part: Part) -> float:
    """Size of a part across its grain.

    Parameters
    ----------
    part : Part
        Of the job.

    Returns
    -------
    float
        [mm].
    """
    return part.width if part.grain == "length" else part.length


def _done(job: Job) -> dict[int, tuple[Operation, list[str], str]]:
    """Every operation with the parts it is done to and the station; a part may run another one's program."""
    stations = {p.id: p.station for p in job.programs}
    out: dict[int, tuple[Operation, list[str], str]] = {}
    for load in job.loads:
        for _, operation in job.operations(load.program, load.part):
            parts = out.setdefault(id(operation), (operation, [], stations[load.program]))[1]
            if load.part not in parts:
                parts.append(load.part)
    return out


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] - _EPS <= value <= bounds[1] + _EPS


def joints(job: Job) -> tuple[Joint, ...]:
    """Every different tenon of a job with the mortise or groove whose sizes suit it best.

    Parameters
    ----------
    job : Job
        Read and checked.

    Returns
    -------
    tuple of Joint
        In the order of the loads.
    """
    done = list(_done(job).values())
    mortises = [(o, parts) for o, parts, _ in done if isinstance(o, Mortise)]
    grooves = [(o, parts) for o, parts, _ in done if isinstance(o, Groove)]
    out = []
    for tenon, rails, _ in done:
        if not isinstance(tenon, Tenon):
            continue
        bare = Joint(tenon, tuple(rails))
        suiting = [(m, parts, off) for m, parts in mortises if (off := _misfit(bare, m)) is not None]
        if suiting:
            best = min(suiting, key=lambda s: s[2])[0]
            alike = [parts for m, parts, _ in suiting if _size(m) == _size(best)]
            out.append(Joint(tenon, tuple(rails), best, None, _flat(alike)))
            continue
        stubs = [
            (g, parts) for g, parts in grooves
            if _within(g.width - tenon.thickness, _CHEEKS) and tenon.length <= g.depth + _EPS
        ]  # fmt: skip
        if stubs:
            first = min(stubs, key=lambda s: s[0].width - tenon.thickness)[0]
            alike = [parts for g, parts in stubs if (g.width, g.depth) == (first.width, first.depth)]
            alike = [[p for p in parts if p not in rails] for parts in alike]
            bare = Joint(tenon, tuple(rails), None, first, _flat(alike))
        out.append(bare)
    return tuple(out)


def _misfit(joint: Joint, mortise: Mortise) -> tuple[bool, float] | None:
    """Whether it is too short for the tenon, and the sum of the three differences [mm]; None where one is too large."""
    off = (
        (mortise.width - joint.tenon.thickness, _CHEEKS),
        (mortise.length - joint.tongue_width, _EDGES),
        (mortise.depth - joint.tenon.length, _END),
    )
    if not all(_within(d, b) for d, b in off):
        return None
    return off[1][0] < -_EPS, sum(abs(d) for d, _ in off)


def _size(mortise: Mortise) -> tuple[float, float, float]:
    return mortise.length, mortise.width, mortise.depth


def _flat(lists: list[list[str]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(p for parts in lists for p in parts))


def tongues(job: Job) -> tuple[Tongue, ...]:
    """Every panel of a job with the groove its edge is as thick as, and the room it has where the parts tell.

    Parameters
    ----------
    job : Job
        Read and checked.

    Returns
    -------
    tuple of Tongue
        In the order of the parts.
    """
    done = list(_done(job).values())
    grooves = [(o, parts) for o, parts, station in done if isinstance(o, Groove) and station == "edge"]
    framing = {p for o, parts, _ in done if isinstance(o, (Tenon, Mortise, Groove)) for p in parts}
    rooms = list(_openings(job))
    out = []
    for part in job.parts:
        if part.id in framing:
            continue
        raised = next((o for o in part.operations if isinstance(o, Raise)), None)
        thick = part.thickness - (raised.depth * _faces(job, part, raised) if raised else 0.0)
        suiting = [(g, parts) for g, parts in grooves if _within(g.width - thick, _TONGUE)]
        if not suiting:
            continue
        groove = min((g for g, _ in suiting), key=lambda g: (g.width - thick, g.depth))
        frame = _flat([parts for g, parts in suiting if g.width == groove.width])
        most = 1 if raised else part.quantity
        number, between = _room(across_grain(part), groove.depth, most, rooms)
        out.append(Tongue(part, thick, groove, frame, raised, number, between))
    return tuple(out)


def _faces(job: Job, part: Part, raised: Raise) -> int:
    """How many faces of a panel are raised: as often as each is loaded for it, at most both [-]."""
    loads = [
        n for n in job.loads if n.part == part.id and any(o is raised for _, o in job.operations(n.program, n.part))
    ]
    return 2 if sum(n.count for n in loads) >= 2 * part.quantity else 1


def _openings(job: Job) -> Iterator[float]:
    """Widths of openings that the rails leave, whole or shared by muntins [mm]."""
    found = joints(job)
    muntins = {round(job.part(p).width, 6) for j in found if j.groove is not None for p in j.rails}
    for joint in found:
        for rail in joint.rails:
            shoulders = job.part(rail).length - 2 * joint.tenon.length
            yield shoulders
            for width in muntins if joint.groove is None else ():  # what stands in a groove is not shared again
                yield from ((shoulders - k * width) / (k + 1) for k in range(1, _MOST_MUNTINS + 1))


def _room(across: float, depth: float, most: int, openings: list[float]) -> tuple[int, float | None]:
    """How many boards stand side by side, and from groove bottom to groove bottom, if only one answer fits."""
    found: list[tuple[int, float]] = []
    for opening in openings:
        between = opening + 2 * depth
        for number in range(1, most + 1):
            clearance = between - number * across
            if -_ALIKE <= clearance < 2 * depth and not any(
                n == number and abs(b - between) < _ALIKE for n, b in found
            ):
                found.append((number, between))
    return found[0] if len(found) == 1 else (1, None)
