"""Exercises: each can be solved, has one right answer, knows its mistakes by name, and rests on published figures."""

import csv
import datetime
import math
import os
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc import lessons
from shopcalc.documents.page import as_page
from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.lessons import Attempt, Score, safe_work
from shopcalc.lessons.drawing_lots import KINDS, Lot
from shopcalc.lessons.judging import Choice, Mistake, Number, tell
from shopcalc.lessons.programs import _program, found
from shopcalc.lessons.set_up_sheet import sheet
from shopcalc.units import read

ROWS = ["WE39"]
SHARED = Path(__file__).parents[1] / "shared"
SEEDS = range(int(os.environ.get("LESSON_SEEDS", "25")))
SYSTEMS = ("inch", "metric")


def rows(name):
    with (SHARED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return {r["id"]: r for r in csv.DictReader(file)}


@pytest.mark.parametrize("kind", lessons.kinds())
@pytest.mark.parametrize("system", SYSTEMS)
def test_its_own_solution_passes_and_every_known_mistake_is_named(kind, system):
    for seed in SEEDS:
        e = lessons.make(kind, seed, system)
        assert e == lessons.make(kind, seed, system)
        assert e.check(e.answer).right, (seed, e.answer)
        assert e.answer in e.solution
        assert 1 <= len(e.hints) <= 4
        assert e.source
        for m in e.mistakes:
            text = tell(m.answer, e.judge.quantity, system, 9) if e.form == "number" else str(m.answer)
            verdict = e.check(text)
            assert not verdict.right, (seed, m)
            assert m.name in verdict.mistakes, (seed, m, verdict)
            assert m.think in verdict.message


@pytest.mark.parametrize("kind", lessons.kinds())
def test_a_choice_has_one_right_letter_and_an_order_one_right_order(kind):
    for seed in SEEDS:
        e = lessons.make(kind, seed)
        if e.form == "choice":
            verdicts = [e.check("abcdefgh"[i]).right for i in range(len(e.judge.options))]
            assert verdicts.count(True) == 1
            assert len(set(e.judge.options)) == len(e.judge.options) >= 3
            assert e.check(e.judge.options[e.judge.right]).right
        elif e.form == "order":
            assert sorted(e.judge.right) == list("abcdefgh"[: len(e.judge.items)])
            assert not e.check(e.judge.right[::-1]).right
        elif e.form == "line":
            assert [n for n in range(1, 12) if e.check(str(n)).right] == [e.judge.right]


#: What a router shop meets [house units]; by the name of what is given.
RANGES = {
    "rpm": (6000, 24000), "feed": (500, 12500), "feed_per_tooth": (0.05, 0.3), "flutes": (1, 4),
    "diameter": (3, 52), "acceleration": (250, 1100), "stepover": (0.1, 1), "thickness": (15, 30),
    "moisture_from": (4, 14), "moisture_to": (4, 16), "level": (80, 105), "depth": (0.2, 60), "short": (20, 45),
    "long": (45, 80), "width": (0.3, 850), "length": (3, 1100), "slope": (0, 1.2),
}  # fmt: skip


@pytest.mark.parametrize("kind", lessons.kinds())
def test_what_is_given_is_what_a_shop_meets(kind):
    for seed in SEEDS:
        for system in SYSTEMS:
            for name, value in lessons.make(kind, seed, system).given.items():
                assert math.isfinite(value)
                low, high = RANGES.get(name, (-10, 1e6))
                assert low <= value <= high, (name, value)


@pytest.mark.parametrize("kind", [k for k in lessons.kinds() if lessons.make(k, 0).form == "number"])
def test_the_same_answer_in_inch_and_in_metric_is_right(kind):
    other = {"length": "in", "feed": "in/min", "feed_per_tooth": "in/tooth", "speed": "ft/s"}
    for seed in SEEDS:
        e = lessons.make(kind, seed, "metric")
        if e.judge.quantity in other:
            unit = other[e.judge.quantity]
            value = e.judge.value / (1000 * read(f"0.001 {unit}", e.judge.quantity))
            assert e.check(f"{value:.6f} {unit}").right
            slipped = e.judge.value / read(f"1 {e.answer.split(' ', 1)[1]}", e.judge.quantity)
            if slipped * 25.4 < 9 and e.judge.quantity == "length":
                verdict = e.check(f"{slipped:.5f} in")
                assert "unit" in verdict.mistakes or verdict.mistakes
        if e.judge.quantity == "time":
            assert e.check(f"{e.judge.value / 60:.8f} min").right


def test_a_wrong_unit_is_told_apart_from_a_wrong_number():
    judge = Number(0.381, "length", "metric", (Mistake("radius for diameter", 0.19, "Halve once."),))
    assert judge.check("0.015 in").right
    assert judge.check("0.38 mm").right
    assert judge.check("0.381 in").mistakes == ("unit",)
    assert "right in mm" in judge.check("0.381").message
    assert "measures something else" in judge.check("0.381 s").message
    assert "not known" in judge.check("0.381 furlongz").message
    assert judge.check("0.19 mm").mistakes == ("radius for diameter",)
    assert judge.check("7 mm").mistakes == ()
    assert "too large" in judge.check("7 mm").message


def test_two_mistakes_with_one_number_are_both_named_and_one_near_the_answer_is_not_clear():
    judge = Number(1.0, "length", "metric", (Mistake("one", 2.0, "First."), Mistake("two", 2.01, "Second.")))
    assert judge.check("2 mm").mistakes == ("one", "two")
    assert judge.clear
    assert not Number(1.0, "length", "metric", (Mistake("near", 1.05, ""),)).clear


HOSTILE = ["", "   ", "?", "a b", "0", "-1 mm", "nan mm", "inf in", "1e400 mm", "9" * 5000, "1/0 in",
           "__import__('os')", "<script>alert(1)</script>", "\x00", "½ in", "zz", "line", "line 99", "aaaa", "1,5 mm",
           "ab" * 300]  # fmt: skip


@pytest.mark.parametrize("kind", lessons.kinds())
def test_nonsense_is_answered_clearly(kind):
    e = lessons.make(kind, 1)
    for text in [*HOSTILE, None, 3, 2.5, [], True]:
        verdict = e.check(text)
        assert not verdict.right
        assert 5 < len(verdict.message) < 600
        assert verdict.message[0].isupper() or verdict.message[0] in "'0123456789b"


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60), st.sampled_from(lessons.kinds()))
def test_no_text_breaks_the_check(text, kind):
    lessons.make(kind, 5).check(text)


def test_unknown_kinds_seeds_and_lessons_are_refused_with_the_nearest_name():
    with pytest.raises(InputError, match="feed-per-tooth"):
        lessons.make("feed-per-toth", 1)
    for seed in (-1, 1.5, True, "3"):
        with pytest.raises(InputError, match="whole number"):
            lessons.make("cusp", seed)
    with pytest.raises(InputError, match="chip-and-heat"):
        lessons.kinds("chip-and-heet")
    with pytest.raises(InputError, match="inch or metric"):
        lessons.make("cusp", 1, "imperial")


def test_each_lesson_has_kinds():
    assert sum(len(lessons.kinds(key)) for key in lessons.LESSONS) == len(lessons.kinds()) == len(KINDS)
    for key in lessons.LESSONS:
        assert 2 <= len(lessons.kinds(key)) <= 8, key


# --- against published figures ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", [r for i, r in rows("worked_examples").items() if i.startswith("WE39")], ids=lambda r: r["id"]
)
def test_permitted_times_in_noise_are_the_published_ones(row):
    """NIOSH, publication 98-126: 85 dBA for 8 hours, half the time for every 3 dB more."""
    level = float(re.search(r"; (\d+) dBA", row["inputs"])[1])
    assert safe_work.permitted_minutes(level) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_noise_exercises_give_the_published_times():
    printed = {float(re.search(r"; (\d+) dBA", r["inputs"])[1]): float(r["expected"])
               for i, r in rows("worked_examples").items() if i.startswith("WE39")}  # fmt: skip
    for seed in SEEDS:
        e = lessons.make("noise-time", seed)
        assert e.check(f"{printed[e.given['level']]} min").right


def published(row, quantity="length"):
    r = rows("worked_examples")[row]
    return read(f"{r['expected']} {r['unit']}", quantity)


@pytest.mark.parametrize(
    ("kind", "drawn", "row", "quantity"),
    [
        ("feed-for-chip", {"flutes": 2, "feed_per_tooth": "0.1 mm/tooth", "rpm": "18000 rpm"}, "WE31", "feed"),
        (
            "chip-thinning",
            {"diameter": "12 mm", "feed_per_tooth": "0.2 mm/tooth", "width": "1.2 mm"},
            "WE19b",
            "length",
        ),
        ("cusp", {"diameter": "6 mm", "stepover": "0.5 mm"}, "WE22", "length"),
        ("stepover-for-cusp", {"diameter": "6 mm", "cusp": "0.005 mm"}, "WE23", "length"),
        ("cusp-on-a-slope", {"diameter": "6 mm", "stepover": "0.5 mm", "slope": "45 deg"}, "WE25", "length"),
        ("ball-at-depth", {"diameter": "6 mm", "depth": "0.5 mm"}, "WE21", "length"),
        (
            "one-straight-move",
            {"feed": "6000 mm/min", "acceleration": "500 mm/s^2", "length": "100 mm"},
            "WE40a",
            "time",
        ),
        (
            "one-straight-move",
            {"feed": "6000 mm/min", "acceleration": "500 mm/s^2", "length": "10 mm"},
            "WE40b",
            "time",
        ),
        ("v-width", {"angle": "60 deg", "flat": "0 mm", "depth": "3 mm"}, "WE26a", "length"),
        ("v-width", {"angle": "90 deg", "flat": "0 mm", "depth": "3 mm"}, "WE26b", "length"),
        ("v-width", {"angle": "120 deg", "flat": "0 mm", "depth": "3 mm"}, "WE26c", "length"),
        ("rim-speed", {"diameter": "12 mm", "rpm": "18000 rpm"}, "WE30", "speed"),
    ],
)
def test_worked_examples_drawn_as_exercises_have_the_printed_answer(kind, drawn, row, quantity, monkeypatch):
    """The same code that draws an exercise is handed a published example's figures."""
    real, counted = Lot.draw, Lot.count

    def draw(self, name, quantity, *more, **named):
        if name not in drawn:
            return real(self, name, quantity, *more, **named)
        return real(self, name, quantity, drawn[name])

    monkeypatch.setattr(Lot, "draw", draw)
    monkeypatch.setattr(Lot, "count", lambda self, name, numbers: drawn.get(name) or counted(self, name, numbers))
    draft = KINDS[kind].draw(Lot(kind, 1, "metric"))
    printed = rows("worked_examples")[row]
    assert draft.judge.value == pytest.approx(published(row, quantity), rel=1e-4), printed
    assert draft.judge.check(f"{printed['expected']} {printed['unit']}").right


@pytest.mark.parametrize(
    ("kind", "ids"), [("dust", ("SL06a", "SL06b", "SL06c")), ("dust-limit", ("SL01", "SL02", "SL03", "SL04", "SL05"))]
)
def test_dust_answers_are_those_of_the_published_table(kind, ids):
    said = {float(re.search(r"[\d.]+", rows("safety_limits")[i]["expected"])[0]) for i in ids}
    for seed in SEEDS:
        e = lessons.make(kind, seed)
        (drawn,) = e.given.values()
        assert drawn in said
        assert f"{drawn:g}" in e.judge.options[e.judge.right]


def test_the_size_without_a_mark_is_the_standards():
    bound = float(rows("safety_limits")["SL18"]["expected"])
    for seed in SEEDS:
        e = lessons.make("no-mark", seed)
        assert ("no mark is needed" in e.judge.options[e.judge.right]) == (e.given["diameter"] < bound)


def test_no_marked_speed_is_ever_passed():
    for seed in SEEDS:
        e = lessons.make("marked-speed", seed)
        assert e.judge.value <= e.given["rpm"]


def test_safety_statements_name_their_source():
    for kind in lessons.kinds():
        source = lessons.make(kind, 0).source
        if KINDS[kind].safety:
            assert re.search(
                r"common practice, no source|CFR|NIOSH|National Institute|EN \d|Occupational|NISTIR", source
            ), (kind, source)


# --- by other ways ---------------------------------------------------------------------------------------------------


def test_climb_is_told_as_a_polygon_and_the_turn_of_the_flute_tell_it():
    """Walking round a polygon, the side of the wood is looked up by shapely; the rim's motion there is omega x r."""
    from shapely.geometry import Point, Polygon

    square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    seen = set()
    for seed in range(60):
        e = lessons.make("climb-or-conventional", seed)
        if "go round" not in e.text:
            continue
        corners = square if "counter-clockwise" in e.text else square[::-1]
        (x0, y0), (x1, y1) = corners[:2]
        feed = ((x1 - x0) / 10, (y1 - y0) / 10)
        right = (feed[1], -feed[0])
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        in_wood = Polygon(square).contains(Point(middle[0] + right[0], middle[1] + right[1]))
        wood_right = in_wood == ("outside" in e.text)  # a window's wood lies round it
        at = right if wood_right else (-right[0], -right[1])
        rim = (at[1], -at[0])  # clockwise: omega is -1
        climbs = rim[0] * feed[0] + rim[1] * feed[1] < 0
        assert e.judge.options[e.judge.right].startswith("climb") == climbs, e.text
        seen.add(e.text.split(".")[1])
    assert len(seen) == 4


def test_which_way_of_cutting_by_vectors_written_out():
    """Fibres, cutting motion and edge as plain vectors: along the motion is planing, along the edge is peeling."""
    x, y, z = (1, 0, 0), (0, 1, 0), (0, 0, 1)
    written = {  # fibres, motion, edge
        "straight flutes cut its tenon": (z, x, z), "teeth at the tip": (z, x, y), "feeds along the fibres": (x, x, z),
        "square to the fibres": (y, x, z), "on its edge": (x, x, z),
    }  # fmt: skip
    seen = set()
    for seed in range(60):
        e = lessons.make("which-way-of-cutting", seed)
        key = next(k for k in written if k in e.text)
        fibres, motion, edge = written[key]
        way = "planing" if fibres == motion else "peeling" if fibres == edge else "cutting across"
        assert e.judge.options[e.judge.right].startswith(way)
        seen.add(key)
    assert seen == set(written)


@pytest.mark.parametrize("seed", range(8))
def test_times_agree_with_small_steps(seed):
    """Steps of 20 microseconds, full acceleration until it must slow down: no formula of ours."""
    e = lessons.make("one-straight-move", seed, "metric")
    length, feed, a = (e.given[k] for k in ("length", "feed", "acceleration"))
    at, v, t, dt = 0.0, 0.0, 0.0, 2e-5
    while at < length and t < 60:
        slow = v * v / (2 * a) >= length - at
        v = max(v - a * dt, 1e-3) if slow else min(v + a * dt, feed / 60)
        at, t = at + v * dt, t + dt
    assert t == pytest.approx(e.judge.value, rel=0.01)


def test_levels_are_as_few_as_can_be():
    for seed in SEEDS:
        e = lessons.make("equal-levels", seed, "metric")
        total, most = e.given["total"], e.given["most"]
        fewest = next(n for n in range(1, 99) if total / n <= most * (1 + 1e-9))
        assert e.judge.value == pytest.approx(total / fewest)


def test_an_answer_is_what_a_shop_can_set():
    for kind, low, high in (
        ("feed-for-chip", 1000, 12000),
        ("speed-for-feed", 6000, 24000),
        ("marked-speed", 6000, 24000),
    ):
        for seed in SEEDS:
            assert low <= lessons.make(kind, seed).judge.value <= high


def test_no_speed_above_the_mark_is_right():
    for seed in SEEDS:
        e = lessons.make("marked-speed", seed)
        assert not e.check(f"{e.given['rpm'] + 1:.0f} rpm").right


# --- programs --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_sound_program_is_sound_and_each_fault_alone_is_found(system):
    for seed in SEEDS:
        lines, thick, marked = _program(Lot("x", seed, system), "")
        assert found(lines, thick, marked, system) == []
        assert not read_text("\n".join(lines) + "\n").warnings
        for fault, line in (("rapid through wood", 5), ("too deep", 5), ("no feed", 5), ("too fast", 2), ("units", 1)):
            lines, thick, marked = _program(Lot("x", seed, system), fault)
            assert found(lines, thick, marked, system) == [(line, fault)]


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_sound_sheet_has_no_fault_and_what_is_read_from_a_broken_one_is_broken(system):
    """The lines' own numbers, read again as a person would, show the fault and no other."""
    for seed in SEEDS:
        assert sheet(Lot("x", seed, system)).faults() == []
        e = lessons.make("fault-in-the-sheet", seed, system)
        text = "\n".join(e.judge.lines)
        num = r"([\d.]+ (?:mm|in)(?:/min|/tooth)?)"
        got = re.search(
            rf"{num} square end, (\d) flutes, marked (\d+) rpm\n"
            rf"stick-out of the cutter {num}\nspindle speed (\d+) rpm\n"
            rf"feed {num}, bite {num}\ntenon {num} long: (\d) levels of {num}\nrail stands {num}", text,
        ).groups()  # fmt: skip
        flutes, marked, rpm, levels = (float(got[i]) for i in (1, 2, 4, 8))
        out, long, level, stands = (read(got[i], "length") for i in (3, 7, 9, 10))
        bite = read(got[5], "feed") / rpm / flutes
        wrong = [
            line
            for line, bad in (
                (3, out < long), (4, rpm > marked), (5, abs(bite / read(got[6], "feed_per_tooth") - 1) > 0.02),
                (6, abs(levels * level / long - 1) > 0.02), (7, stands < long),
            )
            if bad
        ]  # fmt: skip
        assert wrong == [e.judge.right]


# --- what if ---------------------------------------------------------------------------------------------------------


def test_the_first_answer_to_anything_unexpected_is_to_stop_the_feed_then_the_spindle_then_look():
    for seed in SEEDS:
        judge = lessons.make("first-answer", seed).judge
        steps = [judge.items["abcdefgh".index(letter)] for letter in judge.right]
        assert steps[0] == "stop the feed"
        assert steps[1] == "stop the spindle"
        assert "look" in steps[2]


def test_what_the_models_do_not_cover_is_said():
    assert all("do not know chatter" in lessons.make("squeal-or-smoke", s).solution for s in SEEDS)


# --- reading ---------------------------------------------------------------------------------------------------------


def plain(text):
    """Sentences alone: options and program lines are no running text, and a number reads as one word."""
    running = " ".join(line for line in text.split("\n") if not re.match(r"\s*([a-h]\)|\d+  |    )", line))
    return re.sub(
        r"\d(?:[\d./]*\d)?(?: \d+/\d+)?(?: ?(?:mm|in|rpm|N|s|deg|%|°)(?:/(?:min|tooth|s))?(?:\^2)?(?![a-z]))?",
        "ten",
        running,
    )


def grade(text):
    """School grade by M. Coleman and T. L. Liau, A computer readability formula designed for machine scoring,
    Journal of Applied Psychology 60 (1975): 0.0588 L - 0.296 S - 15.8 with letters and sentences per 100 words.
    """
    words = re.findall(r"[A-Za-z][A-Za-z'-]*", text)
    letters = sum(c.isalpha() for w in words for c in w)
    sentences = len(re.findall(r"[.?!:;](?=\s|$)", text))
    return 0.0588 * 100 * letters / len(words) - 0.296 * 100 * sentences / len(words) - 15.8


def test_the_grade_is_the_published_formula():
    """Three sentences of 4, 3 and 3 words with 50 letters in all."""
    assert grade("Wood moves with moisture. Feed makes chips. Cutters need care.") == pytest.approx(
        0.0588 * 500 - 0.296 * 30 - 15.8
    )


@pytest.mark.parametrize("kind", lessons.kinds())
def test_texts_and_solutions_are_easily_read(kind):
    """No more than grade 8 for a question and 9 for a solution, each on its own."""
    for seed in range(12):
        e = lessons.make(kind, seed)
        assert grade(plain(e.text)) <= 8, (round(grade(plain(e.text)), 1), plain(e.text))
        assert grade(plain(e.solution)) <= 9, (round(grade(plain(e.solution)), 1), plain(e.solution))


# --- sign-off --------------------------------------------------------------------------------------------------------


def done(lesson, wrong=(), hints=0, rounds=2, first=0):
    score = Score(lesson)
    for kind in lessons.kinds(lesson):
        for seed in range(first, first + rounds):
            score = score.with_(Attempt(kind, seed, kind not in wrong, hints))
    return score


def test_a_lesson_is_passed_when_all_kinds_are_right_twice():
    score = done("fit")
    assert lessons.passed(score).passed
    assert score.kinds_tried == tuple(lessons.kinds("fit"))
    assert (score.right_at_first_try, score.hints_used, score.share) == (8, 0, 1.0)


def test_a_kind_left_out_or_a_hint_is_not_passed():
    assert not lessons.passed(done("fit", rounds=1)).passed
    assert not lessons.passed(done("fit", hints=1)).passed
    assert not lessons.passed(Score("fit")).passed


def test_one_wrong_kind_of_safety_is_enough_to_take_it_again():
    score = done("safety", wrong=("fire",))
    out = lessons.passed(score)
    assert not out.passed
    assert "fire" in out.missing[0]
    for seed in (7, 8):
        score = score.with_(Attempt("fire", seed, True))
    assert lessons.passed(score).passed


def test_an_exercise_done_again_counts_once():
    score = done("fit", wrong=("season",))
    assert score.with_(Attempt("season", 0, True)) == score


def test_a_kind_of_another_lesson_is_refused():
    with pytest.raises(InputError, match="no kind of lesson"):
        Score("fit", (Attempt("cusp", 1, True),))


def test_a_passed_lesson_can_be_signed_and_no_other_nor_by_oneself():
    date = datetime.date(2026, 3, 2)
    signed = lessons.sign_off(done("fit"), "Ann", "router", date, "Ben")
    assert (signed.lesson, signed.person, signed.score, signed.date, signed.signed_by) == (
        "fit", "Ann", 1.0, "2026-03-02", "Ben",
    )  # fmt: skip
    with pytest.raises(InputError, match="not passed"):
        lessons.sign_off(Score("fit"), "Ann", "router", date, "Ben")
    with pytest.raises(InputError, match="their own"):
        lessons.sign_off(done("fit"), "Ann", "router", date, "ann ")
    with pytest.raises(InputError, match="two names"):
        lessons.sign_off(done("fit"), "Ann", "router", date, " ")
    with pytest.raises(InputError, match="needs a machine"):
        lessons.sign_off(done("fit"), "Ann", "", date, "Ben")


def test_a_sign_off_holds_a_year_where_somebody_can_be_hurt_and_longer_elsewhere():
    hurt = {k.lesson for k in lessons.KINDS.values() if k.safety}
    assert {"safety", "what-if", "programs", "stations"} <= hurt
    for key in lessons.LESSONS:
        assert lessons.holds(key).days == (365 if key in hurt else 1095), key


def test_the_record_says_what_it_is_not():
    page = as_page(lessons.record_page("A. Learner", [done("fit"), Score("safety")], datetime.date(2026, 3, 2)))
    for words in ("no licence", "maker", "passed", "not yet", "A. Learner", "2026-03-02", "law"):
        assert words in page, words
    with pytest.raises(InputError, match="no name"):
        lessons.record_page(" ", [], datetime.date(2026, 3, 2))


def test_a_choice_says_why_not():
    judge = Choice(("yes", "no"), 0, (Mistake("no", "b", "Because."),))
    assert judge.check("B)").message == "Not b. Because."
    assert judge.check(" Yes. ").right
    assert judge.check("maybe").mistakes == ("form",)
