"""Times of many programs: as of each alone, whatever is wrong with one, from the cache, and by any scheduler."""

import itertools
import json
import math
import os
import random
import signal
import sqlite3
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.gcode import read_program
from shopcalc.gcode.reports import Note
from shopcalc.machines import Axis, Controller, Machine, Spindle, Station, Times
from shopcalc.motion import CAUSES, machine_time
from shopcalc.program_times import ProgramCache, ProgramTime, Refused, many, programs_in, time_program, time_programs
from shopcalc.program_times.cache import file_digest
from shopcalc.program_times.report import marked, times_text
from shopcalc.program_times.results import EDGES, depth_rows
from shopcalc.shop import Shop

ROOT = Path(__file__).parents[1]
DEMO = sorted((ROOT / "data" / "programs").glob("*.nc"))
ROUTER = Shop.open().machine("router")
PLAIN = "G21 G90\nG1 X{} F600\nM2\n"
BAD = {
    "binary.nc": bytes(range(256)) * 40,
    "empty.nc": b"",
    "blank.nc": b" \n\n",
    "no centre.nc": b"G21 G90 F500\nG1 X1\n  G2 X10 Y10\nM2\n",
    "endless.nc": b"X1" * 20_000,
    "cut off.nc": b"G21 G90 F500\nG1 X10 Y1\nG1 X-",
}


@pytest.fixture
def folder(tmp_path):
    """Good programs between bad ones."""
    place = tmp_path / "programs"
    place.mkdir()
    for k, (name, content) in enumerate(BAD.items()):
        (place / f"good{k}.nc").write_text(PLAIN.format(10 * k + 10))
        (place / name).write_bytes(content)
    (place / "warned.nc").write_text("G21 G90 F500\nG1 X5\nX7 Q3\nX9 Q4 Q1\n\t(tab)\tX1 W2\n".replace(" Q1", ""))
    (place / "no feed.nc").write_text("G21 G90\nG0 X10\nG1 X20\nX30\nM2\n")
    return place


@pytest.fixture
def cache(tmp_path):
    with ProgramCache(tmp_path / "cache") as made:
        yield made


def said(answers):
    """All that is known, comparable although a time is unknown."""
    return [(a.file, json.dumps(a.document())) for a in answers]


def reopened(cache):
    cache.close()
    return ProgramCache(cache._path.parent)


@pytest.fixture
def timed_anew(monkeypatch):
    """Names of the files that are really timed."""
    names, honest = [], many.time_program

    def watched(path, *rest):
        names.append(Path(path).name)
        return honest(path, *rest)

    monkeypatch.setattr(many, "time_program", watched)
    return names


# --- one program -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", DEMO[::4], ids=lambda p: p.name)
def test_a_streamed_time_is_that_of_all_moves_at_once(path):
    a = time_program(path, ROUTER)
    whole = read_program(path, ROUTER)
    t = machine_time(whole.moves, ROUTER)
    assert (a.blocks, a.moves, a.warnings) == (whole.blocks, len(whole.moves), whole.warnings)
    for name in ("cutting_time_s", "rapid_time_s", "dwell_time_s", "change_time_s", "length_over_feed_s"):
        assert getattr(a, name) == pytest.approx(getattr(t, name), rel=1e-9, abs=1e-9)
    assert a.time_s == pytest.approx(t.total_s)
    assert a.cutting_length == pytest.approx(whole.moves.cutting_length)
    assert a.rapid_length == pytest.approx(whole.moves.rapid_length)
    assert [list(row) for row in a.extents] == whole.moves.extents().tolist()
    assert set(a.cutters) == {int(c) for c in whole.moves.cutter[whole.moves.cutting]} - {0}


def test_whatever_the_time_is_split_by_adds_up():
    for path in DEMO:
        a = time_program(path, ROUTER)
        for parts in (a.causes, a.by_kind, a.by_cutter):
            assert math.fsum(parts.values()) == pytest.approx(a.time_s)
        assert set(a.causes) <= set(CAUSES)
        for step in (1.0, 5.0, 25.4 / 16):
            rows = depth_rows(a.by_depth, step)
            assert math.fsum(s for s, _, _ in rows.values()) == pytest.approx(a.cutting_time_s)
            assert math.fsum(length for _, length, _ in rows.values()) == pytest.approx(a.cutting_length)


def test_levels_belong_to_the_band_above_them_in_both_systems(tmp_path):
    path = tmp_path / "a.nc"
    path.write_text("G21 G90 F600\nG1 Z-6\nX60\nG20 Z-0.25\nX0 F24\nM2\n")
    bands = time_program(path, Machine()).by_depth
    millimetres = {k: round(v[1], 3) for k, v in depth_rows(bands, 1.0).items()}
    assert millimetres == {(-6.0, -5.0): 66.0, (-7.0, -6.0): 60.35}
    sixteenths = {round(k[0] / 1.5875): round(v[1], 3) for k, v in depth_rows(bands, 25.4 / 16).items()}
    assert sixteenths == {-4: 126.35}
    assert min(b - a for a, b in itertools.pairwise(EDGES)) > 1e-3


def test_a_height_beyond_all_bands_is_timed_too(tmp_path):
    path = tmp_path / "a.nc"
    path.write_text("G21 G90 F600\nG1 Z-9000\nZ9000\nM2\n")
    a = time_program(path, Machine())
    assert a.time_s == pytest.approx(27_000 / 10)
    assert "below -500 mm" in times_text(Machine(), [a], "metric", by="depth")


def test_memory_does_not_grow_with_the_program(tmp_path):
    code = (
        "import re, sys; from pathlib import Path; from shopcalc.machines import Axis, Machine\n"
        "from shopcalc.program_times import time_program\n"
        "time_program(sys.argv[1], Machine(axes=(Axis(9e3, 9e3, 500.0),) * 3))\n"
        "print(re.search(r'VmHWM:\\s*(\\d+)', Path('/proc/self/status').read_text())[1])"
    )
    if not Path("/proc/self/status").exists():
        pytest.skip("needs /proc")
    peaks = []
    for blocks in (200_000, 1_200_000):
        path = tmp_path / f"{blocks}.nc"
        path.write_text("G21 G90 F3000 G1\n" + "X1.25 Y2.5\nX3.75 Y1.5\n" * (blocks // 2))
        done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True, cwd=ROOT)
        peaks.append(int(done.stdout) / 1000)
    assert peaks[1] - peaks[0] < 12, peaks  # MB; held whole, a million moves are 100 MB


def test_the_first_cut_without_a_feed_is_named(folder):
    a = time_program(folder / "no feed.nc", ROUTER)
    assert math.isnan(a.time_s)
    assert a.feedless_line == 3
    assert "line 3 cuts without a feed" in times_text(ROUTER, [a], "metric")
    assert time_program(folder / "good0.nc", ROUTER).feedless_line is None


def test_understood_counts_lines_not_warnings(folder):
    a = time_program(folder / "warned.nc", ROUTER)
    assert a.blocks == 5
    assert a.noted == 3  # two with Q, one with W
    assert a.understood_share == pytest.approx(0.4)
    assert a.as_json()["understood_share"] == 0.4


def test_the_head_of_a_program_is_held_against_it(tmp_path):
    path = tmp_path / "a.nc"
    path.write_text("(x max 90)\n" + PLAIN.format(80))
    assert [(n.line, n.word) for n in time_program(path, ROUTER).warnings] == [(1, "x max 90")]


# --- many ------------------------------------------------------------------------------------------------------------


def test_one_bad_program_changes_nothing_for_the_others(folder):
    paths = [*sorted(folder.iterdir()), folder, folder / "gone.nc", ROOT / "pyproject.toml"]
    random.Random(7).shuffle(paths)
    answers = time_programs(paths, ROUTER)
    assert [a.file for a in answers] == [str(p) for p in paths]
    for path, a in zip(paths, answers, strict=True):
        if path.name.startswith(("good", "warned", "no feed")):
            assert said([a]) == said([time_program(path, ROUTER)])
        else:
            assert isinstance(a, Refused), path
            assert all(f.file == str(path) for f in a.faults)
            assert "fault of shopcalc" not in str(a.faults[0])
    assert sum(isinstance(a, Refused) for a in answers) == len(BAD) + 3


def test_a_fault_of_ours_stays_with_its_program_and_is_not_remembered(folder, cache, monkeypatch):
    honest = many.time_program
    monkeypatch.setattr(many, "time_program", lambda p, *rest: 1 / 0 if "good2" in p else honest(p, *rest))
    paths = [folder / f"good{k}.nc" for k in range(4)]
    answers = time_programs(paths, ROUTER, cache=cache)
    assert [isinstance(a, Refused) for a in answers] == [False, False, True, False]
    assert "fault of shopcalc itself (ZeroDivisionError" in str(answers[2].faults[0])
    monkeypatch.undo()
    assert not any(isinstance(a, Refused) for a in time_programs(paths, ROUTER, cache=cache))


def test_a_file_that_vanishes_meanwhile_is_refused(folder):
    paths = sorted(folder.glob("good*"))
    answers = time_programs(paths, ROUTER, progress=lambda p: paths[-1].unlink(missing_ok=True))
    assert isinstance(answers[-1], Refused)
    assert "no such file" in str(answers[-1].faults[0])
    assert all(isinstance(a, ProgramTime) for a in answers[:-1])


def test_nothing_to_do_is_nothing():
    assert time_programs([], ROUTER) == []


def test_workers_say_the_same(folder):
    paths = sorted(folder.iterdir())
    assert said(time_programs(paths, ROUTER, workers=2)) == said(time_programs(paths, ROUTER, workers=1))


def a_worker():
    """A process that works for this one."""
    for thread in Path("/proc/self/task").iterdir():
        for pid in (thread / "children").read_text().split():
            if b"popen_loky" in Path(f"/proc/{pid}/cmdline").read_bytes():
                return int(pid)
    return None


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc to find a worker")
def test_what_a_dead_worker_leaves_is_done_here(tmp_path):
    paths = []
    for k in range(12):
        paths.append(tmp_path / f"{k}.nc")
        paths[-1].write_text(f"G21 G90 F3000\nG1 X{k}\n" + "X1 Y2\nX2 Y1\n" * 40_000)
    killed = []

    def kill_one(p):
        if p.done == 1 and not killed:
            killed.append(a_worker())
            os.kill(killed[0], signal.SIGKILL)

    answers = time_programs(paths, ROUTER, workers=2, progress=kill_one)
    assert killed
    assert all(isinstance(a, ProgramTime) for a in answers)
    assert len({a.time_s for a in answers}) > 1
    assert [a.file for a in answers] == [str(p) for p in paths]


def test_few_small_programs_start_no_workers():
    code = (
        "import sys; from shopcalc.machines import Machine; from shopcalc.program_times import time_programs\n"
        "time_programs(sys.argv[1:], Machine()); print('joblib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code, *DEMO], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "False"


def test_whether_workers_pay():
    def of(*sizes):
        return [many._Program(str(k), size, (size,), None, [k]) for k, size in enumerate(sizes)]

    two = many._processors() >= 2
    assert not many._pays(15e-9, of(10**9))  # one alone cannot be shared out
    assert many._pays(15e-9, of(10**9, 10**9)) == two
    assert not many._pays(15e-9, of(10**9, 1000))  # the large one takes as long
    assert not many._pays(15e-9, of(*[8000] * 500))
    assert many._pays(1e-6, of(*[8000] * 500)) == two  # once they turn out to be slow to read


def test_a_cluster_of_others_takes_over_with_one_setting(folder):
    import joblib
    from distributed import Client, LocalCluster

    paths = sorted(folder.iterdir())
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        before = client.run(lambda: "numba" in sys.modules)
        with joblib.parallel_config(backend="dask"):
            answers = time_programs(paths, ROUTER)
        after = client.run(lambda: "numba" in sys.modules)
    assert set(before.values()) == {False}
    assert True in after.values()  # the reading was done there
    assert said(answers) == said(time_programs(paths, ROUTER))


def test_progress_counts_up_to_all(folder, cache):
    for _ in range(2):
        steps = []
        time_programs([folder, *sorted(folder.iterdir())], ROUTER, cache=cache, progress=steps.append)
        assert all(a.done <= b.done for a, b in itertools.pairwise(steps))
        assert steps[-1].done == steps[-1].programs == len(list(folder.iterdir())) + 1
        assert steps[-1].bytes_done == steps[-1].bytes


# --- the cache -------------------------------------------------------------------------------------------------------


def test_a_cached_run_says_the_same_and_reads_nothing(folder, cache, timed_anew):
    paths = sorted(folder.iterdir())
    fresh = time_programs(paths, ROUTER, cache=cache)
    assert len(timed_anew) == len(paths)
    timed_anew.clear()
    again = time_programs(paths, ROUTER, cache=reopened(cache))
    assert said(again) == said(fresh)
    assert not timed_anew
    for system in ("metric", "inch"):
        for by in ("cutter", "depth", "cause", "kind"):
            assert times_text(ROUTER, again, system, slowest=9, by=by) == times_text(
                ROUTER, fresh, system, slowest=9, by=by
            )
    assert [str(f) for a in again if isinstance(a, Refused) for f in a.faults] == [
        str(f) for a in fresh if isinstance(a, Refused) for f in a.faults
    ]


def test_a_renamed_program_and_a_copy_are_the_same_program(folder, cache, timed_anew):
    copy = folder / "copy.nc"
    copy.write_bytes((folder / "good1.nc").read_bytes())
    a, b = time_programs([folder / "good1.nc", copy], ROUTER, cache=cache)
    assert len(timed_anew) == 1
    assert (a.file, b.file) == (str(folder / "good1.nc"), str(copy))
    assert replace(b, file=a.file) == a
    other = folder.parent / "elsewhere.tap"
    (folder / "no centre.nc").rename(other)
    (first,) = time_programs([other], ROUTER, cache=cache)
    (second,) = time_programs([other.rename(folder / "back.nc")], ROUTER, cache=cache)
    assert len(timed_anew) == 2
    assert second.faults[0] == replace(first.faults[0], file=str(folder / "back.nc"))


def test_a_changed_program_is_timed_again_even_with_the_same_size_and_date(folder, cache, timed_anew):
    path = folder / "good0.nc"
    (before,) = time_programs([path], ROUTER, cache=cache)
    at = path.stat()
    path.write_text(path.read_text().replace("X10", "X99"))
    os.utime(path, ns=(at.st_atime_ns, at.st_mtime_ns))
    assert path.stat().st_size == at.st_size
    (after,) = time_programs([path], ROUTER, cache=cache)
    assert len(timed_anew) == 2
    assert after.time_s > before.time_s


def test_a_program_that_changes_while_it_is_timed_is_not_remembered(folder, cache, monkeypatch):
    path = folder / "good0.nc"
    honest = many.time_program

    def meanwhile(p, *rest):
        Path(p).write_text(PLAIN.format(7777))
        return honest(p, *rest)

    old = path.read_bytes()
    monkeypatch.setattr(many, "time_program", meanwhile)
    time_programs([path], ROUTER, cache=cache)
    monkeypatch.undo()
    path.write_bytes(old)
    (answer,) = time_programs([path], ROUTER, cache=cache)
    assert answer.cutting_length == 10


CHANGED = {
    "axes": (Axis(1, 2, 3), Axis(1, 2, 3), Axis(1, 2, 3)), "controller": Controller(jerk=1.0),
    "times": Times(cutter_change=1.5), "feed_share": 0.9, "more_axes": {"a": Axis()},
    "work_zeros": {55.0: (1.0, 2.0, 3.0)}, "home": (0.0, 0.0, 1.0), "second_home": (0.0, 0.0, 1.0),
    "spindle": Spindle((1.0, 2.0), (3.0, 4.0)),
}  # fmt: skip
SAME = {
    "name": "other", "title": "Other", "source": "x", "kind": "measured", "stations": {"flat": Station("flat")},
    "rack_places": 7, "calibrated": "2026-03-02", "spread": 0.02, "holder": (50.0, 60.0),
}  # fmt: skip


def test_every_field_of_a_machine_counts_but_those_for_people(cache):
    assert set(CHANGED) | set(SAME) == {f.name for f in fields(Machine)}
    plain = cache.key(b"x", Machine())
    assert all(cache.key(b"x", replace(Machine(), **{k: v})) != plain for k, v in CHANGED.items())
    assert all(cache.key(b"x", replace(Machine(), **{k: v})) == plain for k, v in SAME.items())
    assert cache.key(b"y", Machine()) != plain
    assert cache.key(b"x", Machine(work_zeros={54: (1, 2, 3), 55: (0, 0, 0)})) == cache.key(
        b"x", Machine(work_zeros={55.0: (0.0, 0.0, 0.0), 54.0: (1.0, 2.0, 3.0)})
    )


@pytest.mark.parametrize("name", [f.name for f in fields(Controller)])
def test_every_fact_of_the_dialect_counts(name, cache):
    value = getattr(Controller(), name)
    other = (not value) if isinstance(value, bool) else (1.0, 2.0, 3.0) if isinstance(value, tuple) else "other"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        other = 7.5
    changed = Machine(controller=replace(Controller(), **{name: other}))
    assert cache.key(b"x", changed) != cache.key(b"x", Machine())


def test_another_engine_asks_again(folder, cache, monkeypatch, timed_anew):
    import shopcalc.program_times.cache as module

    paths = [folder / "good0.nc"]
    time_programs(paths, ROUTER, cache=cache)
    monkeypatch.setattr(module, "engine", lambda: b"of tomorrow")
    time_programs(paths, ROUTER, cache=cache)
    assert len(timed_anew) == 2


@pytest.mark.parametrize("harm", ["noise", "cut", "empty", "other table", "other version", "text"])
def test_a_damaged_cache_costs_only_time_and_is_said_once(harm, folder, tmp_path, timed_anew):
    paths = sorted(folder.iterdir())
    with ProgramCache(tmp_path / "c") as cache:
        fresh = time_programs(paths, ROUTER, cache=cache)
    file = tmp_path / "c" / "programs.sqlite"
    content = file.read_bytes()
    if harm == "noise":
        file.write_bytes(content[:100] + random.Random(3).randbytes(len(content) - 100))
    elif harm == "cut":
        file.write_bytes(content[: len(content) // 2])
    elif harm == "empty":
        file.write_bytes(b"")
    elif harm == "text":
        file.write_bytes(b"not a database at all" * 500)
    else:
        database = sqlite3.connect(file)
        database.execute("DROP TABLE answers" if harm == "other table" else "PRAGMA user_version = 99")
        database.commit()
        database.close()
    with ProgramCache(tmp_path / "c") as cache:
        assert said(time_programs(paths, ROUTER, cache=cache)) == said(fresh)
        assert (cache.complaint is None) == (harm == "empty")
    timed_anew.clear()
    with ProgramCache(tmp_path / "c") as cache:  # and then it works again
        assert said(time_programs(paths, ROUTER, cache=cache)) == said(fresh)
        assert cache.complaint is None
    assert len(timed_anew) < len(paths) / 2


@pytest.mark.parametrize("value", [b"", b"rubbish", None, 5, "text"])
def test_a_damaged_answer_is_found_out_again(value, folder, cache):
    paths = [folder / "good0.nc", folder / "no centre.nc"]
    fresh = time_programs(paths, ROUTER, cache=cache)
    cache._database.execute("UPDATE answers SET document = ?", (value,))
    assert said(time_programs(paths, ROUTER, cache=cache)) == said(fresh)
    assert cache.complaint is None


@pytest.mark.parametrize("document", [[], ["time", []], ["refused", [1]], {}, 5, None, ["time", [0] * 20], ["other"]])
def test_an_answer_of_another_shape_is_found_out_again(document, folder, cache):
    key = cache.key(file_digest(folder / "good0.nc"), ROUTER)
    cache._write(key, document)
    cache.save()
    (answer,) = time_programs([folder / "good0.nc"], ROUTER, cache=cache)
    assert answer.cutting_length == 10


def test_a_cache_without_a_place_is_said_once_and_does_no_harm(folder, tmp_path):
    (tmp_path / "file").write_text("mine")
    for place in (tmp_path / "file", tmp_path / "file" / "below", Path("/proc/none/such")):
        with ProgramCache(place) as cache:
            assert "cannot be remembered" in cache.complaint
            assert not any(isinstance(a, Refused) for a in time_programs(folder.glob("good*"), ROUTER, cache=cache))
    assert (tmp_path / "file").read_text() == "mine"


def test_a_cache_that_another_process_holds_is_not_waited_for_long(folder, tmp_path, monkeypatch):
    import shopcalc.program_times.cache as module

    monkeypatch.setattr(module, "_PATIENCE", 0.1)
    with ProgramCache(tmp_path) as cache:
        holder = sqlite3.connect(tmp_path / "programs.sqlite")
        holder.execute("BEGIN EXCLUSIVE")
        (answer,) = time_programs([folder / "good0.nc"], ROUTER, cache=cache)
        assert answer.cutting_length == 10
        assert "locked" in cache.complaint
        holder.rollback()
        holder.close()
    with ProgramCache(tmp_path) as cache:
        assert cache.complaint is None  # the other one's file was left alone


def test_several_processes_use_it_at_once(folder, tmp_path):
    code = (
        "import sys; from pathlib import Path; from shopcalc.machines import Machine\n"
        "from shopcalc.program_times import ProgramCache, time_programs\n"
        "for k in range(20):\n"
        "    with ProgramCache(Path(sys.argv[1])) as cache:\n"
        "        m = Machine(feed_share=1 + (k * int(sys.argv[2]) % 7) / 10)\n"
        "        time_programs(sys.argv[3:], m, cache=cache)\n"
        "        assert cache.complaint is None, cache.complaint\n"
    )
    files = [str(p) for p in sorted(folder.glob("good*"))]
    running = [
        subprocess.Popen([sys.executable, "-c", code, tmp_path / "c", str(k), *files], cwd=ROOT, stderr=subprocess.PIPE)
        for k in (1, 2, 3)
    ]
    for process in running:
        _, err = process.communicate(timeout=120)
        assert process.returncode == 0, err.decode()
    database = sqlite3.connect(tmp_path / "c" / "programs.sqlite")
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert database.execute("SELECT count(*) FROM answers").fetchone() == (7 * len(files),)
    database.close()


def test_what_was_longest_unused_goes_first(tmp_path, folder):
    with ProgramCache(tmp_path, most_bytes=4000) as cache:
        for k in range(40):
            (folder / "x.nc").write_text(PLAIN.format(k + 1))
            time_programs([folder / "x.nc"], ROUTER, cache=cache)
            with cache._database:
                cache._database.execute("UPDATE answers SET used = used - 1000000")
            time_programs([folder / "good0.nc"], ROUTER, cache=cache)  # used all the time
        (size,) = cache._database.execute("SELECT sum(size) FROM answers").fetchone()
        assert size <= 4000
        assert cache.get(cache.key(file_digest(folder / "good0.nc"), ROUTER), "x") is not None
        assert cache.get(cache.key(file_digest(folder / "x.nc"), ROUTER), "x") is not None
        (folder / "x.nc").write_text(PLAIN.format(1))
        assert cache.get(cache.key(file_digest(folder / "x.nc"), ROUTER), "x") is None


def test_machines_come_back_as_they_were_read(cache):
    every = [*Shop.open().machines.values(), replace(Machine(), **CHANGED), replace(Machine(), **SAME)]
    for k, machine in enumerate(every):
        cache.put_machine(b"file", str(k), machine)
    cache = reopened(cache)
    for k, machine in enumerate(every):
        back = cache.machine(b"file", str(k))
        assert replace(back, stations=machine.stations) == machine
        assert cache.key(b"x", back) == cache.key(b"x", machine)
        assert cache.machine(b"other", str(k)) is None


# --- what the machine has --------------------------------------------------------------------------------------------


def warned(tmp_path, text, machine):
    path = tmp_path / "a.nc"
    path.write_text(text)
    a = time_program(path, machine)
    assert a.understood_share == 1.0
    return [(n.line, n.message) for n in a.warnings]


SMALL = Machine(
    axes=(Axis(travel=1250.0), Axis(travel=2500.0), Axis(travel=200.0)), spindle=Spindle((6000.0, 24000.0), (1e3, 4e3))
)


def test_travel_and_spindle_speeds_that_the_machine_does_not_have_are_warned_of(tmp_path):
    text = "G21 G90 S60000 M3\nG0 Z20\nG0 X0 Y0\nG1 Z-5 F600\nX1250\nX9000\nY-3000 S400\nX0\nS9000 Y0\nM2\n"
    assert warned(tmp_path, text, SMALL) == [
        (4, "the spindle is asked for 60000 rev/min, it has 24000"),
        (6, "X runs 9000 mm, the machine has 1250 mm (travel)"),
        (7, "Y runs 3000 mm, the machine has 2500 mm (travel)"),
        (7, "the spindle is asked for 400 rev/min, its slowest is 6000"),
    ]
    assert warned(tmp_path, text, Machine()) == []


def test_only_the_span_counts_and_neither_where_it_lies_nor_where_the_machine_stood(tmp_path):
    far = "G21 G90\nG0 Z5\nG0 X7000 Y8000\nG1 Z-5 F600 S9000\nX8250\nG0 Z150\nM2\n"
    assert warned(tmp_path, far, SMALL) == []
    bulge = "G21 G90 F600\nG0 X10 Y0\nG1 X20\nG2 X20 Y1400 I0 J700\nM2\n"
    assert warned(tmp_path, bulge, SMALL) == []
    wide = bulge.replace("1400", "2400").replace("700", "1200").replace("X10 Y0", "X-50 Y0")
    assert warned(tmp_path, wide, SMALL) == []
    assert warned(tmp_path, wide.replace("X-50 Y0", "X300 Y0"), SMALL) == [
        (4, "X runs 1480 mm, the machine has 1250 mm (travel)")
    ]


@given(st.lists(st.tuples(st.integers(-40, 40), st.booleans()), min_size=1, max_size=30))
def test_the_first_line_too_far_is_the_first_whose_program_alone_is_too_long(steps):
    import tempfile

    lines = ["G21 G90 F600", "G1 X0", *(f"G{int(cut)} X{x}" for x, cut in steps)]
    machine = Machine(axes=(Axis(travel=50.0), Axis(), Axis()))
    places, first = [0], None
    for k, (x, _) in enumerate(steps):
        places.append(x)
        if first is None and max(places) - min(places) > 50:
            first = k + 3
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.nc"
        path.write_text("\n".join([*lines, "M2\n"]))
        assert [n.line for n in time_program(path, machine).warnings] == ([] if first is None else [first])


# --- folders ---------------------------------------------------------------------------------------------------------


def test_folders_are_searched_to_the_bottom_in_order_without_hidden_ones_and_loops(tmp_path):
    for name in ("b.nc", "a/z.NGC", "a/b/c.tap", "a.nc", ".hidden/x.nc", "a/.x.nc", "a/notes.txt", "d.nc/e.gcode"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("G21")
    (tmp_path / "a" / "up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "0 link to a").symlink_to(tmp_path / "a", target_is_directory=True)
    (tmp_path / "loop.nc").symlink_to(tmp_path / "loop.nc")
    (tmp_path / "gone.nc").symlink_to(tmp_path / "nothing")
    (tmp_path / "linked.nc").symlink_to(tmp_path / "b.nc")
    files, faults = programs_in([tmp_path])
    found = [os.path.relpath(f, tmp_path) for f in files]
    assert found == ["a/b/c.tap", "a/z.NGC", "a.nc", "b.nc", "d.nc/e.gcode", "linked.nc"]
    assert not faults
    assert programs_in([tmp_path / ".hidden"])[0] == [str(tmp_path / ".hidden" / "x.nc")]


def test_files_keep_the_order_they_are_named_in(tmp_path):
    (tmp_path / "empty").mkdir()
    files, faults = programs_in(["z.nc", tmp_path / "empty", "a.nc"])
    assert files == ["z.nc", "a.nc"]
    assert "no program in this folder" in str(faults[0])


# --- in words --------------------------------------------------------------------------------------------------------


@given(st.text(max_size=300), st.integers(1, 310))
def test_the_marker_stands_under_the_column(text, column):
    lines = marked(text, column, widest=40)
    if not text.strip():
        assert lines == []
        return
    shown, marker = lines
    assert all(c.isprintable() for c in shown + marker)
    assert marker.strip() == "^"
    assert len(shown) <= 8 + 42
    if text.isascii() and column <= len(text):
        under = text[column - 1]
        assert shown.ljust(len(marker))[len(marker) - 1] == (
            under if under.isprintable() else " " if under == "\t" else "·"
        )


def test_the_marker_knows_wide_characters():
    shown, marker = marked("(木工) X5", 6)
    assert shown.strip() == "(木工) X5"
    assert len(marker) - 8 == 8  # five characters in front, two of them twice as wide


def test_a_long_line_is_cut_around_the_column():
    text = f"G1 {'X1 ' * 3000}Q5 {'Y1 ' * 3000}"
    shown, marker = marked(text, text.index("Q") + 1)
    assert shown.strip().startswith("…")
    assert shown.endswith("…")
    assert shown[marker.index("^")] == "Q"


def a_time(**changes):
    plain = ProgramTime(
        "a.nc", 100, 99, 0, 1000.0, 500.0, 60.0, 10.0, 0.0, 0.0, 50.0, ((0.0, 1.0),) * 3, (1,),
        {"cutting at the asked feed": 50.0, "corners": 9.0, "waiting for blocks": 0.9, "gradual acceleration": 0.1,
         "rapids": 10.0},
        {"line": 60.0, "rapid": 10.0}, {1: 70.0}, {1: "SQ12"}, (), (), None, (),
    )  # fmt: skip
    return replace(plain, **changes)


def test_where_the_time_went_in_one_sentence():
    text = times_text(ROUTER, [a_time(), a_time(file="b.nc")], "metric")
    assert "corners cost 18 s, the block rate 1.8 s" in text
    assert "gradual" not in text
    assert "together 2 min 20 s\n" in text


def test_never_all_understood_with_a_warning():
    warned = a_time(blocks=1_240_000, noted=1, warnings=(Note(7, 4, "Q5", "odd", "G1 Q5"),))
    text = times_text(ROUTER, [warned, a_time()], "metric")
    assert "understood: 99.9 % of 1 240 100 blocks, 1 program with warnings" in text
    assert "  * a.nc, line 7, column 4, Q5: odd\n        G1 Q5\n           ^\n" in text
    assert "understood: 100 % of 100 blocks, no warnings" in times_text(ROUTER, [a_time()], "metric")


def test_unknown_and_refused_are_counted_apart(folder):
    answers = time_programs([folder / "no feed.nc", folder / "good0.nc", folder / "no centre.nc"], ROUTER)
    text = times_text(ROUTER, answers, "metric")
    assert ", and 1 of unknown time, and 1 refused" in text
    at = text.index("no centre.nc, line 3, column 6: refused: an arc without its centre")
    assert text[at:].splitlines()[1:3] == ["          G2 X10 Y10", "             ^"]


def test_names_lose_the_folder_they_share():
    files = ["/srv/jobs/2024/a.nc", "/srv/jobs/2025/a.nc"]
    text = times_text(ROUTER, [a_time(file=f) for f in files], "metric")
    assert "2024/a.nc" in text
    assert "/srv" not in text
    assert "x/b.nc" in times_text(ROUTER, [a_time(file="/y/a.nc"), a_time(file="x/b.nc")], "metric")


def test_odd_names_stay_on_one_line_each():
    files = ["x/new\nline.nc", os.fsdecode(b"x/caf\xe9.nc"), "x/esc\x1b[31m.nc", f"x/{'long' * 60}.nc"]
    text = times_text(ROUTER, [a_time(file=f) for f in files], "metric")
    assert "new·line.nc" in text
    assert "caf\\xe9.nc" in text
    assert "\x1b" not in text
    assert max(map(len, text.splitlines()[:8])) < 160
    text.encode()


@pytest.mark.parametrize(("by", "words"), [
    ("cutter", ["1 (SQ12)", "100.0 %"]), ("cause", ["corners", "rapids", "14.3 %"]), ("kind", ["line", "85.7 %"]),
])  # fmt: skip
def test_small_tables(by, words):
    text = times_text(ROUTER, [a_time()], "metric", by=by)
    for word in words:
        assert word in text


def test_depth_in_inches_and_slowest_places():
    a = time_program(ROOT / "data" / "programs" / "panels.nc", ROUTER)
    text = times_text(ROUTER, [a], "inch", by="depth", slowest=3)
    assert "-1/8 in to -1/16 in" in text
    assert "ft" in text
    place, alike = text[text.index("slowest places") :].splitlines()[2:4]
    assert place.endswith("0.10 s  corner at its start")
    assert alike.startswith("panels.nc, line 16: at least 100 places of this kind, together 10 s")


def test_moves_of_one_corner_are_one_place_and_other_corners_are_not(tmp_path):
    path = tmp_path / "a.nc"
    rounded = [(1000 - 2 * math.cos(a), 2 + 2 * math.sin(a)) for a in (-1.5, -1.0, -0.5, 0.0)]
    lines = ["G21 G90 F12000", "G1 X998", *(f"X{x:.3f} Y{y:.3f}" for x, y in rounded), "Y900", "X500 Y400", "M2\n"]
    path.write_text("\n".join(lines))
    a = time_program(path, ROUTER)
    t = machine_time(read_program(path, ROUTER).moves, ROUTER)
    assert len(a.slowest) < len(t.slowest_places(50))
    assert math.fsum(p.lost for p in a.slowest) == pytest.approx(math.fsum(p[1] for p in t.slowest_places(50)))
    lost = [p.lost for p in a.slowest]
    assert lost == sorted(lost, reverse=True)
    square = "G21 G90 F6000\nG1 X500\nY500\nX0\nY0\nX500\nM2\n"
    path.write_text(square)
    assert len(time_program(path, ROUTER).slowest) >= 3


def test_what_cost_a_place_its_time_is_named_even_when_it_cost_little(tmp_path):
    path = tmp_path / "a.nc"
    path.write_text("G21 G90 F3000\nG1 X3000\nY2000\nM2\n")
    assert {p.held_back for p in time_program(path, ROUTER).slowest} <= {"full stop", "corner at its start"}


def test_other_files_of_a_folder_are_counted_and_named(tmp_path):
    for name in ("a.NC", "b.mpf", "c.min", "d.eia", "e.din", "f.anc", "g.iso", "h.txt", "i.TXT", "j.bak", "Makefile"):
        (tmp_path / name).write_text("G21")
    others = {}
    files, _ = programs_in([tmp_path], others)
    assert len(files) == 7
    assert others == {".txt": 2, ".bak": 1, "": 1}
    said = times_text(ROUTER, [a_time()], "metric", others=others)
    assert "4 other files not looked at: .txt, without an ending, .bak\n" in said
    assert "not looked at" not in times_text(ROUTER, [a_time()], "metric", others={})


def test_nothing_is_not_said_with_figures():
    near = a_time(causes={"cutting at the asked feed": 69.98, "corners": -1e-13, "rapids": 0.02})
    text = times_text(ROUTER, [near], "metric", by="cause")
    assert "corners" not in text
    assert "-0" not in text
    short = a_time(
        blocks=1, cutting_time_s=0.5, rapid_time_s=0, causes={"cutting at the asked feed": 0.46, "corners": 0.04}
    )
    text = times_text(ROUTER, [short], "metric")
    assert "100 % of 1 block," in text
    assert "corners" not in text
    unknown = times_text(ROUTER, [a_time(cutting_time_s=math.nan)], "metric")
    assert "together unknown, and 1 of unknown time" in unknown
