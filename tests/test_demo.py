"""The demo: its programs are what the script makes, its jobs agree with them, and everything says it is invented."""

import importlib.util
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
        head = text.splitlines()[:6]
        assert any("invented demo data" in line for line in head), path.name
        assert any("greatest speed marked" in line for line in head), path.name
        assert all(line.isascii() for line in text.splitlines()), path.name


def test_every_program_is_read_without_a_warning_and_stays_on_the_machine(made, shop):
    machine = shop.machine("router")
    for path in made:
        program = read_program(path, machine)
        assert not program.warnings, path.name
        assert machine_time(program.moves, machine).total_s > 10, path.name
        for (low, high), axis in zip(program.moves.extents(), machine.axes, strict=True):
            assert high - low <= axis.travel, path.name


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
