"""What to measure at the bench before a job is glued up: with which tool, within which sizes, and what to do beyond."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from shopcalc.cutting.fit import DEEPER_BY, GLUE_LINE
from shopcalc.fit_table.bench import Bench, board_words, panel_through, sheets, tenon_through
from shopcalc.fit_table.pairs import Joint, Tongue, across_grain, joints, tongues
from shopcalc.fit_table.record import FitRow
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Part
from shopcalc.seasons.boards import board_gaps, cup
from shopcalc.seasons.climate import Climate
from shopcalc.seasons.movement import Band, standing
from shopcalc.seasons.panels import HOLD, LEAST_CLEARANCE, PanelYear
from shopcalc.seasons.tenons import EDGE_MOST

#: Boards from this width on are asked for their cup (common practice, no source) [mm].
WIDE = 150.0
#: Strip of a panel of which nothing is said (common practice, no source) [mm].
USUAL_STRIP = 125.0
#: Warp a makers' association of doors lets pass, measured corner to corner (NWWDA, second-hand): a yardstick [mm].
WARP = 6.35
_CUT = 0.1  # mm either way; what a machine keeps (common practice, no source)
_SLIDES = (0.1, 0.6)  # mm in total; a tongue moves in its groove and does not rattle (common practice, no source)
_GROOVE_DEPTH = 0.5  # mm either way (common practice, no source)


def fit_rows(
    job: Job, climate: Climate | None = None, place: str | None = None, now: float | None = None
) -> tuple[FitRow, ...]:
    """Everything to measure at the bench for a job.

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

    Returns
    -------
    tuple of FitRow
        Moistures first, then joints, panels and wide boards.

    Raises
    ------
    InputError
        When the climate's file has faults, or there is no such place.

    Example
    -------
    >>> from shopcalc.jobs import open_job
    >>> from shopcalc.shop import demo_folder
    >>> rows = fit_rows(open_job(demo_folder() / "jobs" / "reed-bed-chest.toml"))
    >>> next(r.shown(r.nominal, "inch") for r in rows if r.what == "tenon thickness")
    '0.370 in'
    """
    bench = Bench(job, climate, place, now)
    rows = [*_moisture_rows(bench)]
    for joint in joints(job):
        rows += _joint_rows(joint, bench)
    for tongue in tongues(job):
        rows += _panel_rows(tongue, bench)
    rows += _cup_rows(bench)
    return tuple(_merged(rows))


def _merged(rows: Iterable[FitRow]) -> Iterator[FitRow]:
    """Like sizes once: their parts and notes together."""
    alike: dict[FitRow, list[FitRow]] = {}
    for row in rows:
        of_one = row.part if row.quantity == "moisture" else ""
        alike.setdefault(replace(row, part=of_one, note=""), []).append(row)
    for key, same in alike.items():
        parts = dict.fromkeys(p for r in same for p in r.part.split(", "))
        notes = dict.fromkeys(r.note for r in same if r.note)
        yield replace(key, part=", ".join(parts), note="; ".join(notes))


# --- moisture --------------------------------------------------------------------------------------------------------


def _moisture_rows(bench: Bench) -> Iterator[FitRow]:
    of_sheet = sheets(bench.job)
    year, climate = bench.year, bench.climate
    for material in dict.fromkeys(p.material for p in bench.job.parts):
        if material in of_sheet:
            continue
        part = next(p for p in bench.job.parts if p.material == material)
        movement = bench.movement(part)
        known = f"its movement: {standing(movement.kind)}" if movement else bench.why_not(part)
        yield FitRow(
            material,
            "moisture",
            "moisture meter",
            year.now,
            year.driest,
            year.wettest,
            "let it settle in the shop, or make this table anew with what the meter shows",
            f"{bench.place.title}: {year.driest:.1f} to {year.wettest:.1f} %; {known}"
            + (f"; the climate: {standing(climate.kind)}" if climate.kind else ""),
            "moisture",
        )


# --- joints ----------------------------------------------------------------------------------------------------------

_OVER_CHEEK = "too thick: half the excess off each cheek; too thin: veneer on a cheek, or scrap"


def _joint_rows(joint: Joint, bench: Bench) -> Iterator[FitRow]:
    rail, tenon = ", ".join(joint.rails), joint.tenon
    stile = ", ".join(joint.stiles)
    if joint.mortise is None:
        yield from _stub_rows(joint, rail, stile)
        return
    m = joint.mortise
    thick = m.width - 2 * GLUE_LINE[1], m.width - 2 * GLUE_LINE[0]
    yield FitRow(
        stile, "mortise width", "caliper", m.width, m.width - _CUT, m.width + _CUT,
        "too narrow: one more pass; too wide: thicker tenons",
        "measure first: the tenon is cut to what the mortise has become",
    )  # fmt: skip
    yield FitRow(
        stile, "mortise depth", "depth rod of the caliper", m.depth, tenon.length + DEEPER_BY[0],
        tenon.length + DEEPER_BY[1], "too shallow: deepen it, or the shoulder stays open; too deep: leave it",
        "blow the chips out before measuring",
    )  # fmt: skip
    yield FitRow(
        rail, "tenon thickness", "caliper", tenon.thickness, *thick, _OVER_CHEEK,
        f"{bench.show(m.width - tenon.thickness)} less than the mortise as drawn",
    )  # fmt: skip
    year = tenon_through(joint, bench)
    swell = year.swell if year else None
    widest = m.length - min(max(swell or 0.0, 0.0), EDGE_MOST)
    yield FitRow(
        rail, "tenon width", "caliper", joint.tongue_width, m.length - max(EDGE_MOST, swell or 0.0) - _CUT, widest,
        "too wide: take it off both edges; too narrow: leave it, the glue is on the cheeks",
        year.words(bench.system) if year else "how its wood moves is not known",
    )  # fmt: skip
    yield FitRow(
        rail, "tenon length", "depth rod of the caliper", tenon.length, m.depth - DEEPER_BY[1],
        m.depth - DEEPER_BY[0], "too long: off its end; too short: leave it if it stays above two thirds",
    )  # fmt: skip


def _stub_rows(joint: Joint, rail: str, stile: str) -> Iterator[FitRow]:
    """A stub in a panel groove; or a tenon whose partner the job does not hold."""
    tenon, groove = joint.tenon, joint.groove
    if groove is None:
        told = "no mortise or groove of this job is of its size: the other part is not in the job, or sizes differ"
        yield FitRow(rail, "tenon thickness", "caliper", tenon.thickness, None, None, "fit it to its mortise", told)
        return
    low, high = groove.width - 2 * GLUE_LINE[1], groove.width - 2 * GLUE_LINE[0]
    note = f"a stub in the panel groove of {stile}"
    yield FitRow(rail, "tenon thickness", "caliper", tenon.thickness, low, high, _OVER_CHEEK, note)
    yield FitRow(
        rail, "tenon length", "depth rod of the caliper", tenon.length, groove.depth - DEEPER_BY[1], groove.depth,
        "too long: off its end, or the shoulder stays open; too short: leave it", note,
    )  # fmt: skip


# --- panels ----------------------------------------------------------------------------------------------------------


def _panel_rows(tongue: Tongue, bench: Bench) -> Iterator[FitRow]:
    name, groove = tongue.part.id, tongue.groove
    frame = ", ".join(tongue.frame)
    yield FitRow(
        frame, "groove width", "caliper", groove.width, groove.width - _CUT, groove.width + _CUT,
        "too narrow: one more pass; too wide: thicker tongues", f"for {name}",
    )  # fmt: skip
    yield FitRow(
        frame, "groove depth", "depth rod of the caliper", groove.depth, groove.depth - _GROOVE_DEPTH,
        groove.depth + _GROOVE_DEPTH, "too shallow: deepen it, or take the difference twice off the panel",
        f"for {name}",
    )  # fmt: skip
    note = ""
    if tongue.raised is not None and tongue.raised.rim < groove.depth:
        note = f"its flat is {bench.show(tongue.raised.rim)} wide, less than the groove is deep: the slope jams in it"
    yield FitRow(
        name, "tongue thickness", "caliper", tongue.thickness, groove.width - _SLIDES[1], groove.width - _SLIDES[0],
        "too thick: plane the back of its border until it slides by hand; too thin: it rattles", note,
    )  # fmt: skip
    if tongue.number > 1:
        yield from _board_rows(tongue, bench)
        return
    year = panel_through(tongue, bench)
    if year is None:
        told = bench.why_not(tongue.part)
        yield FitRow(
            name, "clearance across the grain, in total", "rule", tongue.clearance, None, None, "ask first", told
        )
        return
    yield from _clearance_rows(tongue, year, bench)


def _clearance_rows(tongue: Tongue, year: PanelYear, bench: Bench) -> Iterator[FitRow]:
    """Width of a panel today, and its clearance with what becomes of it."""
    name, (low, high) = tongue.part.id, year.wanted
    through = (
        f"at the driest {bench.show(year.at_driest)}, with {bench.show(year.held_in_middle)} of tongue in either "
        f"groove; at the wettest {bench.show(year.at_wettest)}"
    )
    shows = f"finish the tongue before it goes in: {bench.show(year.shows)} of it shows on either side at the driest"
    cure = "too little: plane its edges; too much: another panel, or pin it in the middle and fill the rest"
    if tongue.between is not None:
        widths = tongue.between - high, tongue.between - low
        yield FitRow(name, "width across the grain today", "rule", tongue.across, *_ordered(*widths), cure, shows)
    words = "; ".join((through, *year.words(bench.system)))
    yield FitRow(
        name, "clearance across the grain, in total", "rule", tongue.clearance, *_ordered(low, high), cure,
        f"groove bottom to groove bottom of the dry-fitted frame, less the panel: {words}",
    )  # fmt: skip


def _ordered(low: float, high: float) -> tuple[float | None, float | None]:
    """Bounds, or neither where nothing lies between them."""
    return (low, high) if low <= high else (None, None)


def _board_rows(tongue: Tongue, bench: Bench) -> Iterator[FitRow]:
    """Boards side by side: the gap between them through the year."""
    movement, name = bench.movement(tongue.part), tongue.part.id
    if movement is None or tongue.between is None:
        told = bench.why_not(tongue.part)
        yield FitRow(name, "gap between boards", "straightedge and feeler", None, None, None, "ask first", told)
        return
    today, dry, wet = board_gaps(tongue.between, tongue.across, tongue.number, movement, bench.year)
    low, high = today - wet + LEAST_CLEARANCE / (tongue.number + 1), tongue.groove.depth - HOLD - (dry - today)
    through = (
        f"at the driest {bench.show(dry)}, at the wettest {bench.show(max(0.0, wet))}; slips wider than twice the first"
    )
    words = "; ".join((through, *board_words(tongue, bench)))
    yield FitRow(
        name, "gap between boards", "straightedge and feeler", today, *_ordered(low, high),
        "too little: plane the boards; too much: wider boards, or one more",
        words,
    )  # fmt: skip


# --- wide boards -----------------------------------------------------------------------------------------------------


def _cup_rows(bench: Bench) -> Iterator[FitRow]:
    held = {t.part.id for t in tongues(bench.job)}
    for part in bench.job.parts:
        movement = bench.movement(part)
        if across_grain(part) < WIDE or movement is None:
            continue
        strip = _strip(part)
        band: Band = cup(strip, part.thickness, movement, bench.year)
        if part.id in held:
            holds = "the frame holds its edges: what is left shows as a hollow between them"
        else:
            holds = "nothing holds it by itself: cleats or battens in slots, and a like finish on both faces"
        matters = "it matters" if band.most > WARP else "it hardly matters" if band.most < 0.5 else "it is seen"
        glued = f"strips of {bench.show(strip)} with their rings in turn" if strip < across_grain(part) else "one board"
        yield FitRow(
            part.id, "cup", "straightedge and feeler", band.likely, 0.0, WARP,
            "let it settle on stickers and plane again; a wet cloth on the hollow face is no cure",
            f"{glued}, flat-sawn: {bench.show(band.least)} to {bench.show(band.most)} to expect, {matters}; {holds}",
        )  # fmt: skip


def _strip(part: Part) -> float:
    """Width of the strips of a part; its own where it is one board [mm]."""
    whole = across_grain(part)
    if part.strips:
        return whole / part.strips
    return min(whole, USUAL_STRIP) if part.glued else whole
