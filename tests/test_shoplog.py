"""The shop's log: only added to, never half written, the same as a plain list replayed; every trouble in words."""

import contextlib
import json
import os
import resource
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.shoplog import (
    CutterEvent,
    LessonAnswer,
    LessonSignOff,
    Moment,
    Observation,
    Operator,
    QuoteOutcome,
    ShopLog,
    TimeEntry,
    job_key,
    now,
    read_moment,
    views,
    write_moment,
)
from shopcalc.shoplog.clock import elapsed
from shopcalc.shoplog.exchange import as_csv, plan_import, take
from shopcalc.shoplog.migrations import APPLICATION, STEPS, migrate, reached
from shopcalc.shoplog.saving import backup, check, restore
from shopcalc.shoplog.timers import start, stop

WORKERS = Path(__file__).with_name("shoplog_workers.py")
AT = 1_764_500_000_000_000  # some moment [µs]
RECORDS = [
    TimeEntry(
        "Garden gates", "rail-ends", "top-rail", 3, "machining", "SQ12", "router", AT, -300, 204.25, 1, 12.0, True
    ),
    CutterEvent("SQ12", "cut", 8e5, 5700.0),
    CutterEvent("SQ12", "reground", diameter=12.5),
    CutterEvent("SQ12", "retired", reason="chipped"),
    Observation("size", "gates", "rail-ends", size_off=-0.2),
    QuoteOutcome("gates", "won", "quick", '{"price": {"asked": 120.5}}', Decimal("118.00"), "USD"),
    Operator("Ann"),
    LessonSignOff("end-grain", "Ann", 0.9, "2026-03-02", "Bob", "router"),
    LessonAnswer("Ann", "fit", "each-cheek", 7, False, 2, "not halved"),
]


@pytest.fixture
def log(tmp_path):
    with ShopLog.of(tmp_path) as opened:
        yield opened


def refused(words, call, *arguments, **more):
    """The call is refused, in one line for each fault, with these words; and says what to do."""
    with pytest.raises(InputError) as e:
        call(*arguments, **more)
    text = str(e.value)
    for word in words:
        assert word in text, text
    assert all(f.remedy for f in e.value.faults)
    return text


def run_workers(*arguments):
    done = subprocess.run(
        [sys.executable, "-W", "error", WORKERS, *map(str, arguments)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    return json.loads(done.stdout)


# --- entries ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("record", RECORDS, ids=lambda r: type(r).__name__)
def test_what_is_added_is_read_back(log, record):
    made = log.add(record, operator="Ann", note="a note")
    entry = log.entry(made.entry)
    assert (entry.uid, entry.operator, entry.note) == (made.uid, "Ann", "a note")
    wanted = replace(record, job=job_key(record.job)) if getattr(record, "job", "") else record
    if isinstance(record, TimeEntry):
        wanted = replace(wanted, person="Ann")
    assert entry.record == wanted
    assert abs(entry.recorded - now().utc) < 60e6


def test_nothing_can_be_changed_or_taken_out(log):
    for record in RECORDS:
        log.add(record, operator="Ann")
    with contextlib.closing(sqlite3.connect(log.path)) as raw:
        tables = [t for (t,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'") if "sqlite" not in t]
        for table in set(tables) - {"migrations", "imports"}:
            for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET rowid = rowid"):
                with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                    raw.execute(statement)


def test_undo_brings_back_what_was_replaced(log):
    first = log.add(TimeEntry("gates", seconds=60.0), operator="Ann").entry
    second = log.add(TimeEntry("gates", seconds=70.0), operator="Ann", replaces=first).entry
    assert [e.id for e in log.entries()] == [second]
    refused(["was replaced since by entry 2"], log.add, TimeEntry("gates", seconds=1.0), operator="Ann", replaces=first)
    assert log.undo(operator="Ann")[0].id == second
    assert [e.id for e in log.entries()] == [first]
    log.undo(operator="Ann")
    assert not list(log.entries())
    assert len(list(log.entries(all_=True))) == 4  # two entries, two undos
    refused(["Ann has no entry to undo"], log.undo, operator="Ann")
    refused(["undone by Ann"], log.undo, operator="Bob", entry=first)
    refused(["itself an undo"], log.undo, operator="Ann", entry=3)
    refused(["no entry 99"], log.undo, operator="Ann", entry=99)


def test_nobody_undoes_what_another_built_on(log):
    first = log.add(TimeEntry("gates", seconds=60.0), operator="Ann").entry
    log.add(TimeEntry("gates", seconds=70.0), operator="Bob", replaces=first)
    refused(["replaced since by entry 2 of Bob"], log.undo, operator="Ann")
    refused(["is of kind 'time'"], log.add, Operator("Cid"), operator="Cid", replaces=2)


OPS = st.lists(
    st.tuples(
        st.sampled_from(["add", "correct", "undo", "undo one"]), st.sampled_from(["Ann", "Bob"]),
        st.integers(0, 30), st.integers(1, 999),
    ),
    max_size=25,
)  # fmt: skip


@settings(max_examples=30)
@given(OPS)
def test_any_sequence_is_the_same_as_a_list_replayed(ops):
    """The list: a stack of versions for each first entry; only the topmost is corrected or undone."""
    with tempfile.TemporaryDirectory() as folder:
        with ShopLog.of(folder) as log:
            log._database.execute("PRAGMA synchronous = OFF")  # nobody pulls the plug here
            stacks, of_number, makers, made = [], {}, {}, 0
            for action, who, which, value in ops:
                made += 1  # number of the entry, if it is made
                if action == "undo":
                    mine = [n for n in sorted(of_number) if makers[n] == who]
                    target = mine[-1] if mine else None
                else:
                    target = which + 1
                stack = of_number.get(target)
                fits = action == "add" or (stack is not None and stack[-1][0] == target)
                record = TimeEntry("gates", seconds=float(value))
                call = {
                    "add": lambda r=record, w=who: log.add(r, operator=w),
                    "correct": lambda r=record, w=who, t=target: log.add(r, operator=w, replaces=t),
                    "undo": lambda w=who: log.undo(operator=w),
                    "undo one": lambda w=who, t=target: log.undo(operator=w, entry=t),
                }[action]
                if not fits:
                    with pytest.raises(InputError):
                        call()
                    made -= 1
                    continue
                call()
                if action in ("undo", "undo one"):
                    stack.pop()
                    del of_number[target]
                    continue
                if action == "add":
                    stack = []
                    stacks.append(stack)
                stack.append((made, float(value)))
                of_number[made] = stack
                makers[made] = who
            wanted = sorted(s[-1] for s in stacks if s)
            assert [(e.id, e.record.seconds) for e in log.entries()] == wanted
            frame = views.times(log)
            assert list(zip(frame["entry"], frame["seconds"], strict=True)) == wanted
            assert len(list(log.entries(all_=True))) == made
        with ShopLog.of(folder, writable=False) as again:
            assert [(e.id, e.record.seconds) for e in again.entries()] == wanted


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (TimeEntry("gates", seconds=-60.0), ["'minutes'", "less than no time"]),
        (TimeEntry("gates", seconds=float("nan")), ["not a number"]),
        (TimeEntry("gates", seconds=4e6), ["days are too long"]),
        (TimeEntry("gates", seconds=60.0, standing=61.0), ["the machine stood for 61 s of 60 s"]),
        (TimeEntry("gates", seconds=60.0, phase="asembly"), ["did you mean 'assembly'?"]),
        (TimeEntry("gates", seconds=60.0, loads=0), ["'loads'"]),
        (TimeEntry("gates", seconds=60.0, loads=2, load=1), ["give one of them"]),
        (TimeEntry("gates"), ["neither a start nor a duration"]),
        (TimeEntry(seconds=60.0), ["says nothing of what was done"]),
        (CutterEvent("SQ12", "ground"), ["did you mean 'reground'?"]),
        (CutterEvent("SQ12", "cut"), ["neither distance nor minutes"]),
        (CutterEvent("SQ12", "measured", diameter=0.0), ["below the least"]),
        (CutterEvent("SQ12", "retired"), ["reason"]),
        (Observation("smell"), ["'smell' is not known"]),
        (QuoteOutcome("gates", "maybe"), ["'maybe' is not known"]),
        (QuoteOutcome("gates", "won", quote="[1]"), ["not a quote"]),
        (QuoteOutcome("gates", "won", paid=Decimal(-1)), ["not a price"]),
        (LessonSignOff("end-grain", "Ann", 90.0), ["not a share"]),
        (Operator(""), ["'name'"]),
    ],
    ids=str,
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_written(log, record, words):
    refused(words, log.add, record, operator="Ann")
    assert not list(log.entries(all_=True))


def test_all_faults_come_together_and_an_entry_needs_its_maker(log):
    text = refused(["'minutes'", "'phase'"], log.add, TimeEntry("gates", phase="x", seconds=-1.0), operator="Ann")
    assert len(text.splitlines()) == 2
    refused(["nobody is named"], log.add, TimeEntry("gates", seconds=1.0), operator=" \n")


def test_texts_of_anybody_are_kept_harmless(log):
    log.add(TimeEntry("gates", seconds=1.0), operator="Ann\x00\u202e", note="a\nb\x1b[31m")
    (entry,) = log.entries()
    assert (entry.operator, entry.note) == ("Ann", "a b[31m")


# --- clocks ----------------------------------------------------------------------------------------------------------


class Clock:
    """Two clocks that a test sets."""

    def __init__(self):
        self.utc, self.running, self.boot, self.offset = AT, 1000.0, "this start", -300

    def __call__(self):
        return Moment(self.utc, self.offset, self.running, self.boot)

    def passes(self, seconds):
        self.utc, self.running = self.utc + round(1e6 * seconds), self.running + seconds


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def timed(tmp_path, clock):
    with ShopLog.of(tmp_path, clock=clock) as log:
        yield log


def test_a_timer_survives_its_process(tmp_path, clock):
    with ShopLog.of(tmp_path, clock=clock) as log:
        start(log, TimeEntry("gates", "rail-ends", load=2), operator="Ann")
    clock.passes(204.0)
    with ShopLog.of(tmp_path, clock=clock) as log:
        (running,) = log.running("Ann")
        assert running.says.endswith("running")
        stopped, made = stop(log, operator="Ann", standing=4.0, note="knot")
        assert stopped.record.seconds == pytest.approx(204.0)
        assert (stopped.record.began, stopped.record.standing, stopped.record.load) == (AT, 4.0, 2)
        assert (stopped.note, made.notes, log.running()) == ("knot", (), [])
        log.undo(operator="Ann")
        assert len(log.running()) == 1


@pytest.mark.parametrize(("jump", "way"), [(-3600, "back"), (7200, "forward")])
def test_a_clock_that_was_set_does_not_change_a_time(timed, clock, jump, way):
    start(timed, TimeEntry("gates"), operator="Ann")
    clock.passes(300.0)
    clock.utc += jump * 1_000_000
    stopped, made = stop(timed, operator="Ann")
    assert stopped.record.seconds == pytest.approx(300.0)
    assert any(f"set {way}" in n for n in made.notes)


def test_stop_before_start_is_refused_and_the_timer_goes_on(timed, clock):
    start(timed, TimeEntry("gates"), operator="Ann")
    clock.utc, clock.boot, clock.running = clock.utc - 600_000_000, "another start", 5.0
    refused(["before it began", "--minutes"], stop, timed, operator="Ann")
    assert len(timed.running()) == 1
    stopped, made = stop(timed, operator="Ann", seconds=120.0)
    assert stopped.record.seconds == 120.0
    assert any("the last entry is of" in n for n in made.notes)  # the clock stands ten minutes before it


def test_a_restart_of_the_computer_leaves_the_wall_clock(timed, clock):
    start(timed, TimeEntry("gates"), operator="Ann")
    clock.passes(900.0)
    clock.boot, clock.running = "another start", 3.0
    assert stop(timed, operator="Ann")[0].record.seconds == pytest.approx(900.0)


def test_a_forgotten_timer_is_pointed_out_or_refused(timed, clock):
    start(timed, TimeEntry("gates"), operator="Ann")
    clock.passes(40 * 86400.0)
    refused(["40 days", "forgotten", "--minutes"], stop, timed, operator="Ann")
    assert stop(timed, operator="Ann", seconds=60.0)[0].record.seconds == 60.0
    start(timed, TimeEntry("gates"), operator="Ann")
    clock.passes(20 * 3600.0)
    assert any("forgotten" in n for n in stop(timed, operator="Ann")[1].notes)


@pytest.fixture
def new_york(monkeypatch):
    """Clocks as in New York since 2007 (Energy Policy Act of 2005, section 110): second Sunday of March, first of
    November, at two in the morning."""
    monkeypatch.setenv("TZ", "EST5EDT,M3.2.0,M11.1.0")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("new_york")
def test_daylight_saving(log):
    winter, summer = read_moment("2026-03-08 01:30"), read_moment("2026-03-08 03:30")
    assert (winter.offset, summer.offset) == (-300, -240)
    assert elapsed(winter, summer) == (3600.0, "")  # an hour passed, not two
    refused(["does not exist", "put forward"], read_moment, "2026-03-08 02:30")
    text = refused(["came twice"], read_moment, "2026-11-01 01:30")
    first, second = (read_moment(t) for t in text.split('"')[1::2])
    assert second.utc - first.utc == 3_600_000_000
    log.add(TimeEntry("gates", began=second.utc, utc_offset=second.offset, seconds=60.0), operator="Ann")
    assert "2026-11-01 01:30:00-05:00" in as_csv(log)


@given(st.integers(632_000_000, 7_000_000_000), st.integers(0, 999_999), st.integers(-720, 840))
def test_a_moment_is_read_as_it_was_written(seconds, micro, offset):
    utc = seconds * 1_000_000 + micro
    read = read_moment(write_moment(utc, offset))
    assert (read.utc, read.offset) == (utc, offset)


@pytest.mark.parametrize("text", ["", "noon", "2026-11-30", "14:05", "2026-13-01 10:00", "0001-01-01 00:00"])
def test_what_is_no_moment_is_refused(text):
    refused(["'"], read_moment, text)


# --- timers of several people ----------------------------------------------------------------------------------------


def test_a_second_timer_asks_ends_or_runs_beside(timed, clock):
    start(timed, TimeEntry("gates", "rail-ends"), operator="Ann")
    start(timed, TimeEntry("gates", "panels"), operator="Bob")  # another person's is no matter
    clock.passes(60.0)
    refused(["Ann has a timer already: gates, rail-ends", "--end-running", "--beside"],
            start, timed, TimeEntry("gates", "stiles"), operator="Ann")  # fmt: skip
    _, ended = start(timed, TimeEntry("gates", "stiles"), operator="Ann", running="end")
    assert [e.record.seconds for e in ended] == [pytest.approx(60.0)]
    made, _ = start(timed, TimeEntry("gates", phase="assembly"), operator="Ann", running="beside")
    assert "marked as overlapping" in made.notes[0]
    refused(["Ann has 2 timers", "--entry"], stop, timed, operator="Ann")
    clock.passes(60.0)
    stop(timed, operator="Ann", entry=made.entry)
    stop(timed, operator="Ann")
    stopped, _ = stop(timed, operator="Ann", entry=timed.running("Bob")[0].id)
    assert (stopped.whose, stopped.operator) == ("Bob", "Ann")  # Bob's time, though Ann pressed the button
    refused(["Ann has no timer running"], stop, timed, operator="Ann")
    frame = views.times(timed).set_index("entry")
    assert frame.groupby("person")["overlaps"].sum().to_dict() == {"Ann": 2, "Bob": 0}


SPANS = st.lists(st.tuples(st.sampled_from("AB"), st.integers(0, 50), st.integers(0, 20)), max_size=15)


@settings(max_examples=30)
@given(SPANS)
def test_overlaps_are_those_of_every_pair(spans):
    frame = pd.DataFrame(
        {
            "person": [w for w, _, _ in spans], "began": [AT + b * 1_000_000 for _, b, _ in spans],
            "seconds": [float(s) for _, _, s in spans],
        }
    )  # fmt: skip
    wanted = [
        any(k != j and w == v and s and r and max(b, c) < min(b + s, c + r) for j, (v, c, r) in enumerate(spans))
        for k, (w, b, s) in enumerate(spans)
    ]
    assert list(views._overlapping(frame)) == wanted


# --- views -----------------------------------------------------------------------------------------------------------


def test_views_are_sums_of_the_plain_list(log):
    plain = []
    for k in range(120):
        record = TimeEntry(
            f"job-{k % 3}", f"p-{k % 4}" if k % 5 else "", f"x-{k % 2}", phase="" if k % 5 else "assembly",
            cutter=f"C{k % 2}", seconds=10.0 + k, standing=float(k % 3), loads=1 + k % 2,
        )  # fmt: skip
        plain.append((log.add(record, operator=f"O{k % 2}").entry, record, f"O{k % 2}"))
    for number, record, _ in plain[:10]:
        log.add(replace(record, seconds=5.0 + record.standing), operator="Cid", replaces=number)
    log.undo(operator="Cid")
    counts = [(replace(r, seconds=5.0 + r.standing) if k < 9 else r, "Cid" if k < 9 else w)
              for k, (_, r, w) in enumerate(plain)]  # fmt: skip
    phase = views.by_phase(log).set_index(["job", "phase"])["hours"]
    for job in ("job-0", "job-1", "job-2"):
        for name in ("assembly", "machining"):
            wanted = sum(r.seconds for r, _ in counts if r.job == job and (r.phase or "machining") == name) / 3600
            assert phase.get((job, name), 0.0) == pytest.approx(wanted)
    person = views.by_operator(log).groupby("person")["hours"].sum()
    assert {w: pytest.approx(sum(r.seconds for r, v in counts if v == w) / 3600) for w in person.index} == dict(person)
    program = views.by_program(log, "job-1").set_index(["program", "part"])
    for (name, part), row in program.iterrows():
        each = [
            (r.seconds - r.standing) / r.loads
            for r, _ in counts if (r.job, r.program, r.part) == ("job-1", name, part) and not r.phase
            for _ in range(r.loads)
        ]  # fmt: skip
        assert (row["loads"], row["median"], row["least"]) == (len(each), statistics.median(each), min(each))
        assert row["mean"] == pytest.approx(statistics.fmean(each))
    assert program.index.size == len({(r.program, r.part) for r, _ in counts if r.job == "job-1" and r.program})
    assert views.by_program(log).attrs["units"]["median"] == "s"


def test_times_of_one_number_are_one_load(log):
    for seconds in (100.0, 50.0):
        log.add(TimeEntry("gates", "p", "x", load=1, seconds=seconds), operator="Ann")
    log.add(TimeEntry("gates", "p", "x", load=2, seconds=130.0), operator="Ann")
    (row,) = views.by_program(log).to_dict("records")
    assert (row["loads"], row["median"], row["most"]) == (2, 140.0, 150.0)


def test_a_cutter_has_a_life_for_each_edge(log):
    for record in (
        CutterEvent("SQ12", "cut", 8e5, 600.0), CutterEvent("SQ12", "cut", 2e5),
        TimeEntry("g", cutter="SQ12", seconds=60.0),
        CutterEvent("SQ12", "reground", diameter=12.5), TimeEntry("g", cutter="SQ12", seconds=120.0),
        CutterEvent("SQ12", "retired", reason="chipped"),
    ):  # fmt: skip
        log.add(record, operator="Ann")
    first, second = views.cutter_life(log).to_dict("records")
    assert (first["edge"], first["distance"], first["minutes"]) == (0, 1e6, 10.0)
    assert (second["edge"], second["minutes"], second["diameter"], second["retired"]) == (1, 2.0, 12.5, "chipped")


def test_quotes_show_what_was_asked_and_the_rest(log):
    for outcome, asked in (("open", 100.0), ("lost", 90.5)):
        log.add(QuoteOutcome("gates", outcome, "too dear", json.dumps({"price": {"asked": asked}})), operator="Ann")
    log.add(QuoteOutcome("chest", "won", paid=Decimal("70.25"), currency="USD"), operator="Ann")
    frame = views.quotes(log)
    assert list(frame["asked"].fillna(-1)) == [100.0, 90.5, -1]
    assert list(views.quotes(log, latest=True)["outcome"]) == ["lost", "won"]
    assert frame["paid"].iloc[2] == 70.25
    assert views.observations(log).empty
    assert views.open_timers(log).empty


# --- tables in and out -----------------------------------------------------------------------------------------------

TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc", "Cn", "Co", "Cf", "Zl", "Zp", "Zs")), max_size=8)
TIMES = st.builds(
    TimeEntry, job=st.sampled_from(["gates", "chest"]), program=TEXT, part=TEXT, load=st.none() | st.integers(1, 99),
    phase=st.sampled_from(["", "setup", "assembly"]), began=st.none() | st.integers(AT, AT + 10**13),
    utc_offset=st.just(-300), seconds=st.floats(1e-3, 1e6), done=st.booleans(),
)  # fmt: skip


@settings(max_examples=8)
@given(st.lists(st.tuples(TIMES, TEXT), min_size=1, max_size=8))
def test_written_and_read_again_is_the_same(entries):
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as two:
        with ShopLog.of(one) as log:
            for record, note in entries:
                log.add(record, operator="=Ann", note=note)
            text = as_csv(log)
            names = {e.uid for e in log.entries()}
        path = Path(two) / "times.csv"
        path.write_text(text, encoding="utf-8", newline="")
        with ShopLog.of(two) as log:
            assert take(log, plan_import(log, path, operator="Bob")) == len(entries)
            assert {e.uid for e in log.entries()} == names
            again = as_csv(log)
            assert plan_import(log, path, operator="Bob").count("known") == len(entries)
    for before, after in zip(text.splitlines(), again.splitlines(), strict=True):
        if before != after:  # a time is read with 14 digits
            (a, b) = ([c for c in line.split(",") if c.endswith(" s")] for line in (before, after))
            assert [float(c[:-2]) for c in a] == pytest.approx([float(c[:-2]) for c in b], rel=1e-13)


def test_no_cell_is_a_formula(log, tmp_path):
    log.add(TimeEntry("gates", "=1+1", "@x", seconds=60.0), operator="-Ann", note="+cmd")
    rows = [line.split(",") for line in as_csv(log).splitlines()]
    assert not [c for row in rows for c in row if c[:1] in ("=", "+", "-", "@")]


CSV_TEXT = """time,job,program,phase,began,operator
3.4 min,gates,rail-ends,,2026-11-30 14:05Z,Ann
-3 min,gates,rail-ends,,,Ann
3.4,gates,rail-ends,,,Ann
3 min,gates,,asembly,,Ann
3 min,gates,rail-ends,,yesterday,Ann
3 min,gates,rail-ends
3.4 min,gates,rail-ends,,2026-11-30 14:05Z,Ann
2 min,,,,,Ann
5 min,gates,panels,,,
"""


def test_every_row_is_judged_and_bad_ones_keep_all_out(log, tmp_path):
    path = tmp_path / "times.csv"
    path.write_text(CSV_TEXT, encoding="utf-8")
    plan = plan_import(log, path, operator="Bob")
    assert [r.verdict for r in plan.rows] == ["taken", *["refused"] * 5, "taken", "refused", "taken"]
    assert [r.number for r in plan.rows] == list(range(2, 11))
    for fault, field in zip(plan.faults, ["time", "time", "phase", "began", None, "job"], strict=True):
        assert (fault.file, fault.field) == (str(path), field)
        assert fault.remedy
    assert not list(log.entries())
    refused(["row 3", "row 9", "'time'"], take, log, plan)
    assert not list(log.entries())
    assert take(log, plan, good_rows=True) == 3
    assert [e.whose for e in log.entries()] == ["Ann", "Ann", "Bob"]
    assert plan_import(log, path, operator="Bob").count("known") == 3
    assert take(log, plan, good_rows=True) == 0  # the same plan once more takes nothing


def test_a_row_that_was_undone_is_not_taken_again(log, tmp_path):
    path = tmp_path / "times.csv"
    path.write_text("time,job\n3 min,gates\n", encoding="utf-8")
    take(log, plan_import(log, path, operator="Ann"))
    log.undo(operator="Ann")
    (row,) = plan_import(log, path, operator="Ann").rows
    assert row.verdict == "known"
    assert "undone since" in row.says


def test_what_was_entered_by_hand_is_known_in_a_table(log, tmp_path):
    log.add(TimeEntry("gates", "rail-ends", began=AT, utc_offset=0, seconds=180.0), operator="Ann")
    path = tmp_path / "times.csv"
    path.write_text(f"time,job,program,operator,began\n3 min,gates,rail-ends,Ann,{write_moment(AT, -300)}\n")
    assert plan_import(log, path, operator="Bob").count("known") == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [("", ["empty"]), ("job\ngates\n", ["'time' is missing"]), ("time;job\n3 min;gates\n", ["semicolons"]),
     ("time,jb\n3 min,gates\n", ["did you mean 'job'?"])],
)  # fmt: skip
def test_a_file_that_is_no_table_is_refused(log, tmp_path, text, words):
    path = tmp_path / "times.csv"
    path.write_text(text, encoding="utf-8")
    refused([str(path), *words], plan_import, log, path, operator="Ann")


# --- backups and the file itself -------------------------------------------------------------------------------------


def test_a_backup_is_put_back_and_what_stood_there_is_kept(tmp_path):
    with ShopLog.of(tmp_path) as log:
        log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
        assert backup(log, tmp_path / "copy.sqlite") == 1
        refused(["such a file already"], backup, log, tmp_path / "copy.sqlite")
        refused(["no such folder"], backup, log, tmp_path / "none" / "copy.sqlite")
        log.add(TimeEntry("gates", seconds=2.0), operator="Ann")
        said = restore(tmp_path, tmp_path / "copy.sqlite")  # while it is open here, too
        assert [e.record.seconds for e in log.entries()] == [1.0]
    assert said[0] == "1 entries are back"
    (aside,) = tmp_path.glob("log-before-restoring-*.sqlite")
    with ShopLog(aside, writable=False) as old:
        assert [e.record.seconds for e in old.entries()] == [1.0, 2.0]
    (tmp_path / "log.sqlite").unlink()
    restore(tmp_path, tmp_path / "copy.sqlite")
    with ShopLog.of(tmp_path) as log:
        assert check(log).entries == 1
    for content, words in ((b"no", ["damaged"]), (b"", ["no log in it"])):
        (tmp_path / "bad").write_bytes(content)
        refused(words, restore, tmp_path, tmp_path / "bad")
    refused(["no such file"], restore, tmp_path, tmp_path / "none")


@pytest.mark.parametrize("damage", ["cut", "noise", "other"])
def test_a_damaged_file_is_told_kept_and_replaced(tmp_path, damage):
    path = tmp_path / "log.sqlite"
    with ShopLog.of(tmp_path) as log:
        log.transaction(
            lambda: [log.insert(TimeEntry("gates", note * 9, seconds=1.0), operator="Ann") for note in "abcdefgh" * 40],
            "entries", "many", "",
        )  # fmt: skip
        backup(log, tmp_path / "copy.sqlite")
    whole = path.read_bytes()
    bad = {"cut": whole[: len(whole) // 2], "noise": b"\x55" * len(whole),
           "other": whole[:4096] + b"\xff" * 8192 + whole[12288:]}[damage]  # fmt: skip
    path.write_bytes(bad)

    def look():
        with ShopLog.of(tmp_path) as log:
            found = check(log)
            assert not found.troubles, found.troubles

    with pytest.raises((InputError, AssertionError)) as e:
        look()
    if e.type is InputError:
        assert "log restore BACKUP" in str(e.value)
    said = restore(tmp_path, tmp_path / "copy.sqlite")
    look()
    assert any("is kept as" in s for s in said)
    assert any(p.read_bytes() == bad for p in tmp_path.glob("log-damaged-*.sqlite"))


def test_a_file_of_a_newer_version_or_of_another_program_is_left_alone(tmp_path):
    path = tmp_path / "log.sqlite"
    with contextlib.closing(sqlite3.connect(path)) as raw:
        raw.execute("CREATE TABLE other (x)")
        raw.commit()
        before = path.read_bytes()
        refused([str(path), "not a shop's log"], ShopLog.of, tmp_path)
        raw.execute(f"PRAGMA application_id = {APPLICATION}")
        raw.execute("CREATE TABLE migrations (number INTEGER, name TEXT, applied INTEGER)")
        raw.execute("INSERT INTO migrations VALUES (99, 'later', 0)")
        raw.commit()
        after = path.read_bytes()
    assert before != after
    for writable in (True, False):
        refused(["newer shopcalc", "99", "update shopcalc"], ShopLog.of, tmp_path, writable=writable)
    assert path.read_bytes() == after
    assert [p.name for p in tmp_path.iterdir()] == ["log.sqlite"]


def test_every_step_of_the_tables_is_recorded_and_none_is_gone_twice(tmp_path):
    for _ in range(2):
        with ShopLog.of(tmp_path) as log:
            found = log.rows("SELECT number, name FROM migrations ORDER BY number")
    assert found == [(k, name) for k, (name, _) in enumerate(STEPS, 1)]


def test_an_older_files_tables_are_brought_up_to_date(tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        for module in ("migrations", "file"):
            patch.setattr(f"shopcalc.shoplog.{module}.STEPS", STEPS[:2])
        patch.setattr("shopcalc.shoplog.migrations.migrate.__defaults__", (STEPS[:2],))
        with ShopLog.of(tmp_path) as log:
            assert log.rows("SELECT max(number) FROM migrations") == [(2,)]
            log.rows("INSERT INTO entries VALUES (1, 'u', 'time', 0, 0, 'Ann', NULL, NULL, 'by hand', '')")
    refused(["older version"], ShopLog.of, tmp_path, writable=False)
    with ShopLog.of(tmp_path) as log:
        log.add(Operator("Ann"), operator="Ann")
        assert [row[0] for row in log.rows("SELECT id FROM entries")] == [1, 2]


def test_sign_offs_of_an_older_file_go_up_without_loss(tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        for module in ("migrations", "file"):
            patch.setattr(f"shopcalc.shoplog.{module}.STEPS", STEPS[:6])
        patch.setattr("shopcalc.shoplog.migrations.migrate.__defaults__", (STEPS[:6],))
        with ShopLog.of(tmp_path) as log:
            log.rows("INSERT INTO entries VALUES (1, 'u', 'sign-off', 0, 0, 'Bob', NULL, NULL, 'by hand', '')")
            log.rows("INSERT INTO sign_offs VALUES (1, 'fit', 'Ann', 0.9, '2026-03-02', 'Bob')")
    with ShopLog.of(tmp_path) as log:
        (old,) = log.entries()
        assert old.record == LessonSignOff("fit", "Ann", 0.9, "2026-03-02", "Bob", "")
        log.add(LessonSignOff("fit", "Ann", 1.0, "2026-03-03", "Bob", "router"), operator="Bob")
        assert [e.record.machine for e in log.entries()] == ["", "router"]


def test_an_answer_stands_and_no_undo_takes_it_back(log):
    first = log.add(Operator("Ann"), operator="Ann").entry
    given = log.add(LessonAnswer("Ann", "fit", "each-cheek", 7, False), operator="Ann").entry
    refused(["stands"], log.undo, operator="Ann", entry=given)
    undone, _ = log.undo(operator="Ann")
    assert undone.id == first
    assert [e.id for e in log.entries()] == [given]


def filled(log, words):
    """Entries confirmed before the first is refused with these words."""
    said = ""
    made = 0
    while made < 3000:
        try:
            log.add(TimeEntry("gates", seconds=1.0), operator="Ann", note="x" * 400)
            made += 1
        except InputError as e:
            said = str(e)
            break
    assert words in said
    assert "make room" in said
    return made


def test_a_full_disk_loses_nothing(log):
    """As many pages as it has and no more: SQLite then says what it says when the disk is full."""
    log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
    log._database.execute("PRAGMA max_page_count = 1")  # becomes the present size
    made = 1 + filled(log, r"the disk is full: nothing of this was written")
    assert len(list(log.entries())) == made
    assert not check(log).troubles
    log._database.execute("PRAGMA max_page_count = 1000000")
    log.add(TimeEntry("gates", seconds=1.0), operator="Ann")


def test_a_file_that_may_not_grow_loses_nothing(tmp_path):
    """The system refuses the write itself (POSIX RLIMIT_FSIZE)."""
    with ShopLog.of(tmp_path) as log:
        log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
        log._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, before[1]))
            made = 1 + filled(log, r"the disk could not be read or written: nothing of this was written")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        assert len(list(log.entries())) == made
    with ShopLog.of(tmp_path) as log:
        assert check(log).entries == made
        assert not check(log).troubles


def test_what_may_not_be_written_is_refused_with_a_way_out():
    folder = Path(tempfile.mkdtemp())
    try:
        with ShopLog.of(folder) as log:
            log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
        folder.chmod(0o555)
        (folder / "log.sqlite").chmod(0o444)
        if os.geteuid() == 0:
            os.seteuid(65534)  # permissions do not bind the superuser
        refused(["cannot be written", "shopcalc new my-shop"], ShopLog.of, folder)
        with ShopLog.of(folder, writable=False) as log:  # but it can be read
            assert len(list(log.entries())) == 1
            refused(["reading only"], log.add, TimeEntry("gates", seconds=1.0), operator="Ann")
    finally:
        if os.getuid() == 0:
            os.seteuid(0)
        folder.chmod(0o755)
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()


def test_reading_where_nothing_is_logged_says_so(tmp_path):
    refused(["nothing is logged yet"], ShopLog.of, tmp_path, writable=False)
    refused(["no such folder"], ShopLog.of, tmp_path / "none")


# --- many processes, killed ones -------------------------------------------------------------------------------------


def counted(folder, found, entries):
    assert not found["complaints"]
    with ShopLog.of(folder) as log:
        names = [u for (u,) in log.rows("SELECT uid FROM entries")]
        assert sorted(names) == sorted(found["confirmed"])
        assert len(set(names)) == entries
        assert not check(log).troubles
        assert not log.told


def test_processes_that_write_at_once_lose_and_double_nothing(tmp_path):
    counted(tmp_path, run_workers("at-once", tmp_path, 4, 60), 240)


@pytest.mark.parametrize("moment", range(1, 5))
def test_a_log_another_process_is_making_is_never_taken_for_some_other_file(tmp_path, moment):
    """The other process makes all the tables between two questions of ours, wherever that falls."""
    path = tmp_path / "log.sqlite"

    class Interleaved(sqlite3.Connection):
        asked = 0

        def execute(self, *arguments):
            self.asked += 1
            if self.asked == moment:
                with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
                    migrate(other)
            return super().execute(*arguments)

    with contextlib.closing(sqlite3.connect(path, isolation_level=None, factory=Interleaved)) as database:
        assert reached(database) in (0, len(STEPS))
        assert reached(database) in (0, len(STEPS))


def test_the_next_start_says_what_it_found(tmp_path):
    """A notebook's kernel that is killed while a timer runs and nothing is being written."""
    code = (
        "import os, signal, sys\nfrom shopcalc.shoplog import ShopLog, TimeEntry\n"
        "from shopcalc.shoplog.timers import start\nlog = ShopLog.of(sys.argv[1])\n"
        "start(log, TimeEntry('gates'), operator='Ann')\nos.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.run([sys.executable, "-c", code, tmp_path], capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL
    with ShopLog.of(tmp_path, writable=False) as log:  # reading needs no start
        assert len(log.running()) == 1
    with ShopLog.of(tmp_path) as log:
        assert log.told == [
            "an earlier run ended without closing the log: all its entries are kept, the last is entry 1",
            "1 timer went on meanwhile and still runs",
        ]
    with ShopLog.of(tmp_path) as log:
        assert not log.told


def test_killed_at_any_moment_it_loses_nothing_confirmed(tmp_path):
    found = run_workers("kill", tmp_path, 15, 7)
    assert found["seen"]["kills"] == 15
    assert any("cut off" in text for text in found["told"])


@pytest.mark.benchmark
def test_four_processes_and_20_000_entries(tmp_path):
    found = run_workers("at-once", tmp_path, 4, 5000)
    counted(tmp_path, found, 20_000)
    print(f"\n20 000 entries by four processes in {found['seconds']:.1f} s: {2e4 / found['seconds']:.0f} a second")


@pytest.mark.benchmark
def test_300_kills(tmp_path):
    found = run_workers("kill", tmp_path, 300, 2026)
    print(f"\n{json.dumps(found, indent=1)}")
    assert found["seen"]["kills"] == 300


@pytest.mark.benchmark
def test_each_view_of_200_000_entries_comes_within_a_second(tmp_path):
    with ShopLog.of(tmp_path) as log:

        def fill():
            for k in range(200_000):
                if k % 40 == 0:
                    log.insert(CutterEvent(f"C{k % 20}", "cut", 1e4, 60.0), operator="Ann")
                elif k % 40 == 1:
                    quote = json.dumps(
                        {"price": {"asked": float(k), "floor": 1.0}, "hours_total": 3.0, "lines": ["x" * 500]}
                    )
                    log.insert(QuoteOutcome(f"job-{k % 300}", "won", quote=quote), operator="Ann")
                elif k % 400 == 2:
                    log.insert(TimeEntry(f"job-{k % 300}", "p", began=AT + k, utc_offset=0), operator=f"O{k % 5}")
                else:
                    record = TimeEntry(
                        f"job-{k % 300}", f"p-{k % 30}", f"x-{k % 4}", cutter=f"C{k % 20}", began=AT + 60_000_000 * k,
                        utc_offset=-300, seconds=10.0 + k % 600,
                    )  # fmt: skip
                    log.insert(record, operator=f"O{k % 5}", replaces=k if k % 100 == 99 else None)

        log.transaction(fill, "entries", "many", "")
        print()
        for view in (views.times, views.by_program, views.by_phase, views.by_operator, views.open_timers,
                     views.cutter_life, views.observations, views.quotes):  # fmt: skip
            took, worked = [], []
            for _ in range(3):
                begin, begun = time.perf_counter(), time.process_time()
                rows = len(view(log))
                took.append(time.perf_counter() - begin)
                worked.append(time.process_time() - begun)
            print(f"{view.__name__}: {min(took):.2f} s, of them {min(worked):.2f} s at work, {rows} rows")
            assert min(worked) < 1.0  # others may use the machine meanwhile
        begin = time.perf_counter()
        start(log, TimeEntry("gates"), operator="Zoe")
        stop(log, operator="Zoe")
        print(f"start and stop: {time.perf_counter() - begin:.3f} s")
