"""The demo: its programs are what the script makes, its jobs agree with them, and everything says it is invented."""

import importlib.util
import re
from pathlib import Path

import pytest

from shopcalc.gcode import read_program
from shopcalc.jobs import estimate, open_job
from shopcalc.motion import machine_time
from shopcalc.shop import Shop

DATA = Path(__file__).parents[1] / "data"
JOBS = sorted((DATA / "jobs").glob("*.toml"))


@pytest.fixture(scope="module")
def shop():
    return Shop.open(DATA)


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make_demo_programs", DATA / "make_demo_programs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def made(script):
    return dict(script.programs())


def test_the_files_are_what_the_script_makes(made):
    on_disk = {p: p.read_text(encoding="utf-8") for p in (DATA / "programs").iterdir()}
    assert set(on_disk) == set(made)
    for path, text in made.items():
        assert on_disk[path] == text, path.name


def test_every_program_says_it_is_invented_and_what_to_heed(made):
    for path, text in made.items():
        head = [line for line in text.splitlines() if line.startswith("(")][:7]
        assert any("invented demo data" in line for line in head), path.name
        assert any("check the greatest speed marked" in line for line in head), path.name
        assert any("back-up block" in line and "cannot lift" in line for line in head) == ("station: end" in head[2])
        assert all(line.isascii() for line in text.splitlines()), path.name


def test_every_program_is_read_without_a_warning_and_stays_on_the_machine(made, shop):
    machine = shop.machine("router")
    for path in made:
        program = read_program(path, machine)
        assert not program.warnings, path.name
        assert machine_time(program.moves, machine).total_s > 10, path.name
        for (low, high), axis in zip(program.moves.extents(), machine.axes, strict=True):
            assert high - low <= axis.travel, path.name


def test_programs_read_as_people_write_them(made):
    """Feeds in tens of mm/min, speeds in hundreds of rev/min."""
    for path, text in made.items():
        assert all(int(f) % 10 == 0 for f in re.findall(r"F(\S+)", _without_comments(text))), path.name
        assert all(int(s) % 100 == 0 for s in re.findall(r"S(\S+)", _without_comments(text))), path.name


def _without_comments(text):
    return re.sub(r"\(.*?\)", "", text)


def test_the_chest_has_at_least_twelve_programs_over_all_stations(shop):
    job = open_job(DATA / "jobs" / "reed-bed-chest.toml", shop)
    assert sum(p.file is not None for p in job.programs) >= 12
    assert {p.station for p in job.programs} == {"flat", "edge", "end"}
    assert job.load_count > len(job.programs)


@pytest.mark.parametrize("file", JOBS, ids=lambda p: p.stem)
def test_planned_and_programmed_agree(file, shop, script):
    """The same engine times both: written and read back they agree to a thousandth; where the operator's feed is
    another, the cutting time follows it."""
    for t in estimate(open_job(file, shop), shop).programs:
        if t.programmed is None:
            continue
        share = script.PROVED.get(t.program.id, 1.0)
        if share == 1.0:
            assert t.programmed == pytest.approx(t.planned, rel=1e-3), t.program.id
        else:
            assert (t.programmed > t.planned) == (share < 1), t.program.id
            assert t.planned * min(share, 1 / share) < t.programmed < t.planned * max(share, 1 / share), t.program.id


@pytest.mark.parametrize("file", JOBS, ids=lambda p: p.stem)
def test_jobs_say_they_are_invented_and_raise_no_doubt_about_fit(file, shop):
    assert "Invented" in file.read_text(encoding="utf-8")
    assert not open_job(file, shop).warnings


def test_all_times_come_from_somewhere(shop):
    """No program of the demo is timed by a clock, because nothing was ever run."""
    for file in JOBS:
        job = open_job(file, shop)
        assert all(p.logged is None for p in job.programs)
        assert all(p.logged is None for p in job.phases.values())


# --- the demo's furniture can be built: its sums by hand, in inches, from the numbers of the job ----------------------

INCH = 25.4
#: Moisture content of indoor work through the year [%]; common practice, no source.
SWING = 4.0


def operations(part, kind):
    return [o for o in part.operations if o.kind == kind]


def only(part, kind):
    (found,) = operations(part, kind)
    return found


@pytest.fixture(scope="module")
def chest(shop):
    return open_job(DATA / "jobs" / "reed-bed-chest.toml", shop, files_exist=False)


@pytest.fixture(scope="module")
def gates(shop):
    return open_job(DATA / "jobs" / "garden-gates.toml", shop, files_exist=False)


def inch(value):
    return pytest.approx(value * INCH, abs=1e-6)


def test_the_chest_is_as_large_as_its_note_says(chest):
    """42 x 20 x 22 in: frames from stiles, rails between shoulders; end frames butted between front and back."""
    assert "42 x 20 x 22 in" in chest.note
    stile, rail, curved, end = (chest.part(k) for k in ("stile", "long-rail", "curved-rail", "end-rail"))
    tenon = only(rail, "tenon")
    assert 2 * stile.width + rail.length - 2 * tenon.length == inch(42)
    assert curved.length == rail.length
    assert only(curved, "tenon").length == tenon.length
    between = 2 * stile.width + end.length - 2 * tenon.length
    assert between + 2 * stile.thickness == inch(20)
    assert stile.length + chest.part("lid").thickness == inch(22)
    tenons = sum(n for n, _ in chest.done("tenon"))
    assert chest.joints == tenons + 4  # the corners


@pytest.fixture(scope="module")
def opening(chest):
    """Height, width in front and back, width in the ends [mm]."""
    stile, rail, muntin = (chest.part(k) for k in ("stile", "long-rail", "muntin"))
    shoulder = only(rail, "tenon").length
    high = stile.length - rail.width - chest.part("curved-rail").width
    front = (rail.length - 2 * shoulder - 2 * muntin.width) / 3
    return high, front, chest.part("end-rail").length - 2 * shoulder


def test_muntins_reach_from_rail_to_rail_and_stand_in_their_grooves(chest, opening):
    muntin, stub = chest.part("muntin"), only(chest.part("muntin"), "tenon")
    groove = only(chest.part("long-rail"), "groove")
    assert muntin.length - 2 * stub.length == pytest.approx(opening[0])
    assert stub.length < groove.depth
    assert groove.width - stub.thickness == inch(0.005)


def test_panels_fill_their_openings_and_may_move(chest, opening, shop):
    """Panel = opening + two grooves - clearance; across the grain the clearance takes what the wood moves."""
    groove = only(chest.part("long-rail"), "groove")
    for key, wide in (("heron-panel", opening[1]), ("panel", opening[1]), ("end-panel", opening[2])):
        panel, raised = chest.part(key), only(chest.part(key), "raise")
        assert panel.length == pytest.approx(opening[0] + 2 * groove.depth - INCH / 8)
        assert panel.width == pytest.approx(wide + 2 * groove.depth - INCH / 4)
        moves = panel.width * SWING * shop.material(panel.material).change_tangential
        assert moves < INCH / 4 < 2 * groove.depth - moves
        assert panel.thickness - raised.depth == inch(0.240)
        assert raised.rim >= groove.depth
    carved, border = only(chest.part("heron-panel"), "carve"), only(chest.part("heron-panel"), "raise").width
    assert carved.length <= chest.part("heron-panel").length - 2 * border
    assert carved.width <= chest.part("heron-panel").width - 2 * border


def fits(tenon, mortise, edges=1 / 16):
    assert mortise.width - tenon.thickness == inch(0.005)
    assert mortise.length - tenon.width == inch(edges)
    assert mortise.depth - tenon.length == inch(1 / 16)


def test_mortises_of_the_chest_are_where_its_rails_are(chest):
    """The lower edge of each opening is level all round; rails are centred on their tenons."""
    front, stile = chest.part("front-stile"), chest.part("stile")
    rail, curved = chest.part("long-rail"), chest.part("curved-rail")
    low, top = operations(front, "mortise")
    both = only(stile, "mortise")
    sill = curved.width  # it stands on the floor
    assert low.from_end == pytest.approx((curved.width / 2,))
    assert top.from_end == pytest.approx((front.length - rail.width / 2,))
    assert both.from_end == pytest.approx((sill - rail.width / 2, stile.length - rail.width / 2))
    fits(only(curved, "tenon"), low)
    fits(only(rail, "tenon"), top)
    fits(only(rail, "tenon"), both)
    for part, mortises in ((front, [low, top]), (stile, [both])):
        slots = sorted((p - o.length / 2, p + o.length / 2) for o in mortises for p in o.from_end)
        groove = only(part, "groove")
        start, end = (part.length - groove.length) / 2, (part.length + groove.length) / 2
        assert slots[0][0] < start < slots[0][1] < sill
        assert slots[-1][0] < end < slots[-1][1]


def test_every_part_round_an_opening_has_a_groove_and_the_curve_stays_between_the_shoulders(chest):
    for key in ("front-stile", "stile", "curved-rail", "long-rail", "end-rail", "muntin"):
        groove = next(o for o in operations(chest.part(key), "groove") if o.program != "curved-rail")
        assert (groove.width, groove.depth) == (inch(1 / 4), inch(3 / 8))
    curved = chest.part("curved-rail")
    assert only(curved, "cut out").span == pytest.approx(curved.length - 2 * only(curved, "tenon").length)
    assert only(curved, "tenon").program != only(chest.part("long-rail"), "tenon").program


def test_bottom_and_lid_of_the_chest_fit(chest):
    cleat, bottom, lid = (chest.part(k) for k in ("cleat", "bottom", "lid"))
    step, thick = only(cleat, "rebate"), chest.part("stile").thickness
    inside = 42 * INCH - 2 * thick, 20 * INCH - 2 * thick
    assert inside[0] - bottom.length == inch(1 / 8)
    assert inside[1] - 2 * (cleat.thickness - step.depth) - bottom.width == inch(1 / 8)
    assert step.width == bottom.thickness
    assert cleat.length < inside[0] > chest.part("hinge-rail").length
    assert (lid.length, lid.width) == (inch(43), inch(20.5))


def test_a_gate_is_as_large_as_its_note_says_and_its_boards_fit(gates, shop):
    """36 x 42 in; the middle rail halves what is between bottom and top rail."""
    assert "36 x 42 in" in gates.note
    stile, top, rail, board = (gates.part(k) for k in ("stile", "top-rail", "rail", "board"))
    shoulder, groove = only(rail, "tenon").length, only(rail, "groove")
    assert stile.length == inch(42)
    assert top.length == rail.length
    between = rail.length - 2 * shoulder
    assert 2 * stile.width + between == inch(36)
    pair, high = operations(stile, "mortise")
    low, middle = pair.from_end
    assert high.from_end == pytest.approx((stile.length - top.width / 2,))
    fields = middle - low - rail.width, high.from_end[0] - top.width / 2 - middle - rail.width / 2
    assert fields[0] == pytest.approx(fields[1])
    assert board.length == pytest.approx(fields[0] + 2 * groove.depth - INCH / 8)
    room = between + 2 * groove.depth - board.quantity / 2 * board.width
    assert board.quantity / 2 * board.width * SWING * shop.material(board.material).change_tangential < room
    assert room < 2 * groove.depth
    assert 0 < groove.width - board.thickness < INCH / 32
    fits(only(rail, "tenon"), pair, 0.005)
    fits(only(top, "tenon"), high, 0.005)
    arch = only(top, "cut out")
    assert arch.span == pytest.approx(between)
    assert top.width - arch.rise - only(top, "groove").depth > 2 * INCH
