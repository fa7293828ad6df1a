"""What the seasons will do to a job: its woods, its moistures, and the words of warning."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from shopcalc.cutting.fit import write_fit
from shopcalc.errors import InputError
from shopcalc.fit_table.pairs import Joint, Tongue, joints, tongues
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Part
from shopcalc.seasons.boards import board_gaps
from shopcalc.seasons.climate import Climate, read_climate
from shopcalc.seasons.movement import Movement, movement_of
from shopcalc.seasons.panels import PanelYear, Year, panel_year
from shopcalc.seasons.tenons import TenonYear, tenon_year
from shopcalc.units import write


class Bench:
    """A job with what is known of its moisture and woods.

    Parameters
    ----------
    job : Job
        Read and checked.
    climate : Climate, optional
        Of the shop; else read from the shop's folder, or published averages.
    place : str, optional
        Where the pieces will stand; else as the climate says of this job.
    now : float, optional
        Moisture the meter shows of this job's wood; else the shop's [% moisture].
    """

    def __init__(self, job: Job, climate: Climate | None, place: str | None, now: float | None) -> None:
        self.job, self.system = job, job.system
        self.climate = read_climate(job.shop.folder) if climate is None else climate
        self.place = self.climate.place(place, job.file)
        self.year: Year = self.climate.year(self.place, now)
        self._known: dict[str, Movement | str] = {}

    def movement(self, part: Part) -> Movement | None:
        """How its wood moves; None where that is not known."""
        found = self._look(part.material)
        return None if isinstance(found, str) else found

    def why_not(self, part: Part) -> str:
        """Why nothing is known of its wood; empty where something is."""
        found = self._look(part.material)
        return found if isinstance(found, str) else ""

    def _look(self, material: str) -> Movement | str:
        if material not in self._known:
            try:
                movement = movement_of(self.job.shop.material(material))
                movement.strain(self.year.now, self.year.driest, 0.0)
                movement.strain(self.year.now, self.year.wettest, 0.0)
                self._known[material] = movement
            except InputError as e:
                self._known[material] = "; ".join(f"{f.message}: {f.remedy}" for f in e.faults)
        return self._known[material]

    def show(self, value: float) -> str:
        """A length in words."""
        return write_fit(value, self.system)


def panel_through(tongue: Tongue, bench: Bench) -> PanelYear | None:
    """A single panel through the year; with the clearance in the middle of what is wanted where none is known.

    Parameters
    ----------
    tongue : Tongue
        A panel, not boards side by side.
    bench : Bench
        Its job.

    Returns
    -------
    PanelYear or None
        None where its wood's movement is not known.
    """
    movement = bench.movement(tongue.part)
    if movement is None:
        return None
    depth, clearance = tongue.groove.depth, tongue.clearance
    if clearance is None:
        bare = panel_year(tongue.across, depth, 0.0, movement, bench.year)
        clearance = sum(bare.wanted) / 2
    return panel_year(tongue.across, depth, clearance, movement, bench.year)


def tenon_through(joint: Joint, bench: Bench) -> TenonYear | None:
    """The tongue of a joint through the year, of the rail whose wood moves most.

    Parameters
    ----------
    joint : Joint
        With its mortise.
    bench : Bench
        Its job.

    Returns
    -------
    TenonYear or None
        None where there is no mortise, or the movement of a rail's wood is not known.
    """
    found = [bench.movement(bench.job.part(rail)) for rail in joint.rails]
    if joint.mortise is None or any(m is None for m in found):
        return None
    clearance = joint.mortise.length - joint.tongue_width
    years = [tenon_year(joint.tongue_width, clearance, m, bench.year) for m in found if m is not None]
    return max(years, key=lambda y: y.swell)


def board_words(tongue: Tongue, bench: Bench) -> Iterator[str]:
    """What is wrong with boards side by side, a sentence each.

    Parameters
    ----------
    tongue : Tongue
        Several boards.
    bench : Bench
        Its job.
    """
    movement = bench.movement(tongue.part)
    if movement is None or tongue.between is None:
        return
    _, dry, wet = board_gaps(tongue.between, tongue.across, tongue.number, movement, bench.year)
    if wet < 0:
        over = write(-wet * (tongue.number + 1), "length", bench.system, fraction=False)
        yield f"at the wettest {tongue.number} boards side by side are {over} too wide and push the frame apart"
    if dry > tongue.groove.depth:
        gap = write(dry, "length", bench.system, fraction=False)
        yield f"at the driest the gap of {gap} at the outer boards is more than their groove is deep"


def season_warnings(
    job: Job, climate: Climate | None = None, place: str | None = None, now: float | None = None
) -> tuple[str, ...]:
    """What of a job the seasons will harm: panels that jam or fall out, tenons that wedge, woods nothing is known of.

    Parameters
    ----------
    job : Job
        Read and checked.
    climate : Climate, optional
        As in ``fit_rows``.
    place : str, optional
        As in ``fit_rows``.
    now : float, optional
        As in ``fit_rows`` [% moisture].

    Returns
    -------
    tuple of str
        Empty when there is nothing.

    Raises
    ------
    InputError
        As ``fit_rows``.
    """
    bench = Bench(job, climate, place, now)
    out, system = [], job.system
    for tongue in tongues(job):
        if tongue.part.material in sheets(job):
            continue
        if bench.why_not(tongue.part):
            out.append(f"part '{tongue.part.id}': {bench.why_not(tongue.part)}")
        elif tongue.number > 1:
            out += [f"part '{tongue.part.id}': {words}" for words in board_words(tongue, bench)]
        elif (year := panel_through(tongue, bench)) is not None:
            out += [f"part '{tongue.part.id}': {words}" for words in year.words(system)]
    out += _tenon_warnings(bench)
    now, driest, wettest = bench.year
    ends = f"{now:.1f} % moisture today; {bench.place.title}: {driest:.1f} to {wettest:.1f} %"
    if out and not driest <= now <= wettest:
        way = "drier" if now < driest else "wetter"
        out.insert(
            0, f"the wood is {way} today than it will ever be: let it settle nearer to that before cutting joints"
        )
    return tuple(f"{words} ({ends})" for words in dict.fromkeys(out))


def _tenon_warnings(bench: Bench) -> Iterator[str]:
    """Tenons that are better split, each; those that only want more room at the edges, all in one."""
    through = [(j.rails, y) for j in joints(bench.job) if (y := tenon_through(j, bench)) is not None]
    yield from (f"part {_names(rails)}: {y.words(bench.system)}" for rails, y in through if y.split)
    eased = [(rails, y) for rails, y in through if y.wedges and not y.split]
    if eased:
        parts = dict.fromkeys(p for rails, _ in eased for p in rails)
        most = write(max(y.swell - y.clearance for _, y in eased), "length", bench.system, fraction=False)
        yield (
            f"part {_names(parts)}: at the wettest tenons grow up to {most} wider than their mortises are long: give "
            "them more clearance at the edges, where there is no glue"
        )


def _names(parts: Iterable[str]) -> str:
    return ", ".join(f"'{p}'" for p in parts)


def sheets(job: Job) -> set[str]:
    """Materials of a job that are sheets: their movement is not that of solid wood.

    Parameters
    ----------
    job : Job
        Read and checked.
    """
    return {p.material for p in job.parts if job.shop.material(p.material).group == "sheet"}
