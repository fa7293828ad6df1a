"""Habits of real programs that a naive reader gets wrong: each is read rightly, reported, or refused with its place."""

import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_program, read_text, write_program
from shopcalc.gcode.quick import QuickReader
from shopcalc.machines import Controller, Machine
from shopcalc.moves import Kind, Stop, from_lists

MS = Machine(controller=Controller(dwell_unit="ms", units="mm"))


def ends(text, **k):
    return read_text(text, **k).moves.points[1:].round(6).tolist()


def notes(text, **k):
    return [(n.line, n.column, n.word) for n in read_text(text, **k).warnings]


def refused(text):
    with pytest.raises(InputError) as e:
        read_text(text, "p.nc")
    fault = e.value.faults[0]
    assert fault.file == "p.nc"
    assert fault.remedy
    return fault.line, fault.column


# --- comments ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("comment", ["(3 mm deep)", ";3", "//3 4 5", "  (12.5)", "%3", "(1(2)3)", "N3 (3)", "(-7.5"])
def test_digits_in_a_comment_never_reach_the_words_before_it(comment):
    """Plain lines on both sides are read at once; what stands between them must not leak into either."""
    head = "G21 F60 G1 X0\n" if comment[0] != "%" else "%\nG21 F60 G1 X0\n"
    before, after = "X1\nX2\nX3\nX4\nX5\nX6\n", "X7\nX8\nX9\nX10\nX11\n"
    got = [x for x, _, _ in ends(f"{head}{before}{comment}\n{after}")]
    assert got[:6] == [1, 2, 3, 4, 5, 6]
    assert comment[0] == "%" or got[6:] == [7, 8, 9, 10, 11]


def test_words_behind_a_comment_count_and_words_within_it_do_not():
    assert ends("G21 G0 (X9) X1 (M6 T3) Y2 ; Z3") == [[1, 2, 0]]


def test_a_comment_never_closed_is_reported_and_takes_its_line_along():
    text = "G21 F60\nG1 X5 (oops Y7\nY8"
    assert ends(text) == [[5, 0, 0], [5, 8, 0]]
    assert notes(text) == [(2, 7, "(")]


def test_a_comment_within_a_comment_is_reported_and_refused_where_it_is_unclear_what_is_left():
    assert ends("G21 F60\nG1 X5 (a (b) c) Y7") == [[5, 7, 0]]
    assert notes("G21 F60\nG1 X5 (a (b) c) Y7") == [(2, 7, "(")]
    assert refused("G21 F60\nG1 X5 (a (b) Y7") == (2, 7)


def test_a_semicolon_in_parentheses_and_parentheses_behind_a_semicolon():
    assert ends("G21 G0 X5 (a ; b) Y7 ; c ( d\nX6") == [[5, 7, 0], [6, 7, 0]]


# --- grammar ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "G21\ng0x1y2", "G21\nG0 Y2 X1", "G21\n\t X1 Y2 G00", "G21\nN10N20G0X+1.Y2.", "G21\nN10.5 G0 X01.000 Y+2",
        "\ufeffG21\r\nG0 X1\tY2\r", "G21\rG0 X1 Y2\r\r", "%\nO0001 (FRONT)\nG21 G0 X1 Y2\n%\n", ":0001\nG21 G0 X1 Y2",
        "G21 G0 X 1 Y 2", "G17 G21 G0 G80 G40 G49\nX1Y2", "G21\nN5 /G0 X1 Y2", "G21\n/1 G0 X1 Y2\x1a",
    ],
)  # fmt: skip
def test_one_move_written_in_many_ways(text):
    assert ends(text) == [[1, 2, 0]]


def test_blanks_may_stand_in_a_number_and_are_reported():
    """NISTIR 6556, section 3.3: a line and the same line with blanks in its words mean the same."""
    assert ends("G21\ng0x +0. 12 34y 7") == ends("G21\ng0 x+0.1234 y7") == [[0.1234, 7, 0]]
    assert notes("G21\ng0x +0. 12 34y 7") == [(2, 3, "x +0. 12 34")]


def test_a_lone_carriage_return_ends_a_line():
    """Else two moves would become one slanting one."""
    assert ends("G21 G0\nX1\rY2\r\nX3\n") == [[1, 0, 0], [1, 2, 0], [3, 2, 0]]


def test_corners_to_be_rounded_are_reported_and_timed_sharp():
    text = "G21 F60\nG1 X10,R15\nY10 C8\nX5 R3"
    assert ends(text) == [[10, 0, 0], [10, 10, 0], [5, 10, 0]]
    assert notes(text) == [(2, 7, ",R15"), (3, 5, "C8"), (4, 4, "R3")]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("G21\nM3 M5", (2, 4)),
        ("G21\nM0 M1", (2, 4)),
        ("G21\nM9 M8", (2, 4)),
        ("G21\nG4 G92 X1", (2, 4)),
        ("G20 G21 X1", (1, 5)),
        ("G21 F60\nG2 X5 R5 I2", (2, 10)),
        ("G21 F60 G90.1\nG2 X5 I2", (2, 7)),
        ("G21 G92", (1, 5)),
    ],
)
def test_words_that_contradict_each_other_are_refused(text, place):
    assert refused(text) == place


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("G21\nG1 X[#101", (2, 10)),
        ("WHILE [#1 GT 5] DO1", (1, 1)),
        ("N10 IF [#1 EQ 0] GOTO 20", (1, 5)),
        ("G21\nGOTO 10", (2, 1)),
        ("O<pocket> sub", (1, 1)),
        ("G21\no100 while [0]", (2, 1)),
        ("G21\nM97 P2", (2, 5)),
        ("G21\nG65 (HELLO) X5", (2, 1)),
        ("G21\nG5 X5 Y5 I1 J1", (2, 1)),
        ("G21\nG68 R45", (2, 1)),
        ("G21\nG16", (2, 1)),
        ("G21\nG87 X1 Z-5 R1", (2, 1)),
        ('{"program": "G0 X5"}', (1, 1)),
        ("Name: ______\nDate: ______", (1, 1)),
        ("G21\nG0 X\u22125", (2, 4)),
        ("G21\nG0\u00a0X5", (2, 3)),
        ("G21\nG0 X1.5E-5", (2, 8)),
        ("G21\nG0 X5 ) Y1", (2, 7)),
    ],
)
def test_what_is_not_understood_is_refused_where_it_stands(text, place):
    assert refused(text) == place


def test_other_axes_are_reported_and_the_three_known_ones_timed():
    assert ends("G21 F60\nG1 X5 A5 B6 U8 V9 W1") == [[5, 0, 0]]
    assert [w for _, _, w in notes("G21 F60\nG1 X5 A5 B6 U8 V9 W1")] == ["A5", "B6", "U8", "V9", "W1"]


@pytest.mark.parametrize("stray", ["P5", "Q1", "L2", "I3", "K3", "J0"])
def test_a_word_that_nothing_uses_is_reported(stray):
    assert notes(f"G21 F60\nG1 X5 {stray}") == [(2, 7, stray)]


# --- units, feed, dwell -----------------------------------------------------------------------------------------------


def test_a_feed_stays_the_same_speed_when_the_unit_changes_and_counts_in_the_unit_it_stands_with():
    p = read_text("G21 G1 X10 F600\nG20 X1\nX2 F10\nG21 F500 X9")
    assert p.moves.feed.tolist() == [600, 600, 254, 500]
    assert [(n.line, n.word) for n in p.warnings] == [(2, "G20")]


def test_other_words_for_the_units():
    assert ends("G70 G0 X1\nG71 X30") == [[25.4, 0, 0], [30, 0, 0]]
    assert notes("G70 G0 X1\nG71 X30") == [(1, 1, "G70"), (2, 1, "G71")]


def test_feed_modes_mixed():
    """Inverse time holds for its own block; after it no feed is known until one is named."""
    p = read_text("G21 G93\nG1 X30 F2\nG0 X0\nG94\nG1 X60\nF100 X90\nG93 X91 F0\n")
    assert p.moves.feed[[0, 3]].tolist() == [60, 100]
    assert [n.line for n in p.warnings] == [5, 7]


def test_feed_per_revolution():
    p = read_text("G21 G95 S1000 M3 F.1\nG1 X10")
    assert p.moves.feed[1] == 100
    assert [n.word for n in p.warnings] == ["G95"]
    assert read_text("G21 G95 F.1\nG1 X10").warnings[-1].message.endswith("the time is unknown")


@pytest.mark.parametrize(
    ("word", "machine", "seconds"),
    [("X1.5", None, 1.5), ("U2", None, 2), ("P500", MS, 0.5), ("X2.", MS, 2), ("X1500", MS, 1.5)],
)
def test_dwells_by_every_letter(word, machine, seconds):
    m = read_text(f"G21 G4 {word} G0 Y5", machine=machine).moves
    assert m.kind.tolist() == [Kind.DWELL, Kind.RAPID]
    assert m.value[0] == seconds
    assert m.points[-1].tolist() == [0, 5, 0]


def test_a_dwell_in_the_wrong_unit_shows():
    assert notes("G21\nG4 P4000") == [(2, 4, "P4000")]


@pytest.mark.parametrize("line", ["X1 Y{}", "X{} I0 J0", "Y{} P1", "G2 X{} Y{} K1 R900", "X1 Y{} ;"])
def test_no_program_costs_more_than_its_length(line, monkeypatch):
    """Lines that look plain but need care must not make the quick reader look at the rest again and again."""
    seen = []
    run = QuickReader.run

    def counting(self, text, at, end, number):
        after, line = run(self, text, at, end, number)
        seen.append(line - number + 1)  # lines taken, and the one that ended the run
        return after, line

    monkeypatch.setattr(QuickReader, "run", counting)
    count = 3000
    p = read_text("G21\nG1 X0\n" + "".join(line.replace("{}", str((i + 1) % 97)) + "\n" for i in range(count)))
    assert p.blocks == count + 2
    assert 0 < sum(seen) <= 2 * count + 10
    assert len(p.warnings) <= 3


# --- ends -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("G21 G0 X5\nM30\nO200\nG1 X9\nM99\n", (3, 1, "O200")),
        ("%\nG21 G0 X5\n%\n\n(a)\n  hello X9", (6, 3, "hello")),
        ("G21 G0 X5 M2\n" + "X9\n" * 50, (2, 1, "X9")),
    ],
)
def test_words_behind_the_end_are_not_executed_and_reported(text, place):
    assert ends(text)[-1] == [5, 0, 0]
    assert notes(text) == [place]


def test_comments_and_marks_behind_the_end_are_no_matter():
    assert notes("%\nG21 G0 X5\nM30\n%\n; bye\n(see you)\n\n") == []


def test_a_block_that_may_be_skipped_is_executed_and_counted():
    p = read_text("G21\n/M06 T3\n/1 G0 X5\nN5 /G0 X7")
    assert p.moves.kind.tolist() == [Kind.CHANGE, Kind.RAPID, Kind.RAPID]
    assert [(n.line, n.column) for n in p.warnings] == [(2, 1)]
    assert "(3 times)" in p.warnings[0].message


def test_no_motion_word_is_taken_as_a_line_and_reported():
    p = read_text("G21 F60\nn04 z5")
    assert p.moves.kind.tolist() == [Kind.LINE]
    assert [(n.line, n.word) for n in p.warnings] == [(2, "z5")]


def test_an_ended_cycle_leaves_no_motion():
    assert refused("G21 F60 G1 X5\nG80\nX9") == (3, 1)


# --- spindle, cutters, stops ------------------------------------------------------------------------------------------


def test_spindle_and_coolant():
    m = read_text("G21 S9000 M3\nS12000\nG0 X1\nM4\nM7 M8\nM9\nM5\nG0 X2\n").moves
    said = [int(v) for k, v in zip(m.kind, m.value, strict=True) if k == Kind.STOP]
    assert said == [Stop.SPINDLE_START, Stop.SPINDLE_START, Stop.OTHER, Stop.OTHER, Stop.SPINDLE_STOP]
    assert m.rpm[m.kind == Kind.RAPID].tolist() == [12000, 0]


def test_a_comment_beside_a_cutter_change_names_the_cutter():
    assert read_text("T3 M6 (12 mm square end)\nG21 G0 X1").moves.labels == {3: "12 mm square end"}


def test_exact_stop_for_one_block_only():
    m = read_text("G21 F60\nG9 G1 X1\nX2\nG61.1 X3\nX4\nG64 P0.01\nX5").moves
    assert m.exact_stop.tolist() == [True, False, True, True, False]


def test_an_offset_can_be_set_aside_and_brought_back():
    assert ends("G21 F60 G1 X10\nG92 X0\nX5\nG92.2\nX5\nG92.3\nX1\nG92.1\nX1") == [
        [10, 0, 0], [15, 0, 0], [5, 0, 0], [11, 0, 0], [1, 0, 0],
    ]  # fmt: skip


def test_a_work_zero_set_by_a_program_is_taken_as_where_it_lay_when_that_is_unknown():
    assert ends("G21 G0 X1\nG10 L2 P1 X50 Y50\nX2") == [[1, 0, 0], [2, 0, 0]]
    assert notes("G21 G0 X1\nG10 L2 P1 X50 Y50\nX2") == [(2, 1, "G10")]


# --- refusals of files ------------------------------------------------------------------------------------------------


def test_a_line_as_long_as_a_book_is_no_program():
    assert refused("G21\n" + "X1 " * 5000)[0] == 2


def test_zero_bytes_are_named_where_they_stand():
    assert refused("G21\nG0 X1\0\n") == (2, 6)


def test_the_start_is_a_position():
    with pytest.raises(ValueError, match="x, y and z"):
        read_text("G21 G0 X1", start=(0, 0))


# --- the writer -------------------------------------------------------------------------------------------------------


def test_what_is_written_states_the_whole_position_where_someone_may_start_again():
    m = from_lists(
        [(0, 0, 5), (0, 0, 5), (9, 0, 5), (9, 0, 5), (9, 4, 5)], [Kind.CHANGE, Kind.RAPID, Kind.STOP, Kind.LINE],
        feed=600, value=[4, 0, Stop.PROGRAM_STOP, 0], labels={4: "ball (6 mm) é"},
    )  # fmt: skip
    text = write_program(m, title="a (b)", notes=["second"])
    assert text.splitlines()[0] == "(a [b])"
    assert "(second)" in text
    assert text.splitlines()[-5:] == [
        "G21 G17 G90 G94", "T4 M6 (ball [6 mm] ?)", "G0 X9 Y0 Z5", "M0", "G1 X9 Y4 Z5 F600",
    ]  # fmt: skip
    assert text.isascii()


def test_a_cut_that_asks_for_a_speed_never_meets_a_standing_spindle():
    m = from_lists([(0, 0, 5), (0, 0, -1), (9, 0, -1)], [Kind.RAPID, Kind.LINE], feed=600, rpm=18000)
    lines = write_program(m, title="t").splitlines()
    assert lines.index("S18000") < lines.index("M3") < lines.index("G1 X9 F600")


def test_milliseconds_for_a_machine_that_counts_them():
    m = from_lists([(0, 0, 0)] * 2, [Kind.DWELL], value=[1.25])
    assert read_text(write_program(m, title="t", dwell_unit="ms"), machine=MS).moves.value.tolist() == [1.25]


def test_moves_behind_the_end_and_positions_that_are_no_numbers_cannot_be_written():
    end = from_lists([(0, 0, 0), (0, 0, 0), (1, 0, 0)], [Kind.STOP, Kind.RAPID], value=[Stop.END, 0])
    with pytest.raises(ValueError, match="behind the end"):
        write_program(end, title="t")
    with pytest.raises(ValueError, match="not a number"):
        write_program(from_lists([(0, 0, 0), (float("nan"), 0, 0)], [Kind.RAPID]), title="t")


def test_g90_and_g91_in_one_block_count_for_the_words_behind_them():
    """As some controls take it: holes 45 mm apart in y from (20, 45) on, all as deep (common practice, no source)."""
    text = "G21 G0 Z10 F60\nG98 G81 X20 G91 Y45 G90 R5 Z-5 K8"
    p = read_text(text)
    low = p.moves.points[1:][p.moves.kind == Kind.LINE]
    assert low.tolist() == [[20, 45 * (k + 1), -5] for k in range(8)]
    assert [n.word for n in p.warnings] == ["G90"]
    assert ends("G21 G0 X5 Y5\nX1 G91 Y1 G90")[1] == [1, 6, 0]
    assert ends("G21 G0 X5 Y5\nG91\nX1 G90 Y1 G91\nX1")[1:] == [[6, 1, 0], [7, 1, 0]]


def test_a_letter_twice_with_the_same_number_counts_once():
    assert ends("G21\nG0x0x0y1") == [[0, 1, 0]]
    assert notes("G21\nG0x0x0y1") == [(2, 5, "x0")]
    assert refused("G21\nG0x0x1y1") == (2, 5)


def test_a_start_at_another_speed_takes_its_time_and_a_speed_alone_none():
    p = read_text("G21 S9000 M3\nG0 X1\nM3\nS12000 M3\nG0 X2\nS9000\nX3\nM3\nM5\nM3")
    starts = p.moves.line[(p.moves.kind == Kind.STOP) & (p.moves.value == Stop.SPINDLE_START)]
    assert starts.tolist() == [1, 4, 8, 10]


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("G21\nG0 X1,5", (2, 6), "comma in the number"), ("G21\nG0 X1.5.2", (2, 8), "two points"),
        ("G21\nG1 X5 F6oo", (2, 9), "letter 'o' in a number"), ("G21\nTURN OVER NOW", (2, 1), "no word of a program"),
        ("0 BEGIN", (1, 1), "without a letter"),
        ("#1=0\nWHILE [#1 LT 3] DO1\n#1=#1+1\nM30", (2, 1), "END1 is not in this file"),
        ("o1 repeat [2]\nM2", (1, 1), "end of O1"),
    ],
)  # fmt: skip
def test_slips_of_the_pen_are_named_with_what_to_write(text, place, said):
    with pytest.raises(InputError, match=said) as e:
        read_text(text)
    assert (e.value.faults[0].line, e.value.faults[0].column) == place


def test_every_letter_reaches_a_macro():
    text = "G65 P9100 A10 B20 F3000 S5 T6 M13 E8 Q1\nM30\nO9100\n#50=[#9+#19+#20+#13+#8+#17]\nG0 X#50 Y#2\nM99"
    assert ends("G21\n" + text)[0] == [3000 + 5 + 6 + 13 + 8 + 1, 20, 0]


def test_a_stop_for_a_person_is_told_and_understood():
    p = read_text("G21 G0 X1\nM0 (turn over)\nX2\nM1")
    assert [(n.line, n.word) for n in p.warnings] == [(2, "M0")]
    assert p.understood == 1.0


def test_a_local_zero_counts_within_the_work_zero():
    assert ends("G21 G0 X5\nG52 X100\nX1\nG92 X0\nX1\nG92.1\nG52 X0\nX1") == [
        [5, 0, 0], [101, 0, 0], [102, 0, 0], [1, 0, 0],
    ]  # fmt: skip


def test_settings_that_smooth_are_said_and_change_nothing():
    assert [w for _, _, w in notes("G21\nG5.1 Q1\nG187 P2\nG0 X1")] == ["G5.1", "Q1", "G187", "P2"]


def test_a_dwell_far_too_short_hints_at_its_unit():
    assert read_text("G21\nG4 P2", machine=MS).warnings[0].word == "P2"
    assert not read_text("G21\nG4 P2.", machine=MS).warnings


def test_a_file_cut_off_in_a_line_is_told(tmp_path):
    whole, cut = tmp_path / "whole.nc", tmp_path / "cut.nc"
    cut.write_text("G21 G0 X1\nY-8.3")
    whole.write_text("G21 G0 X1\nX2\n")
    assert not read_program(whole).warnings
    assert "is the file complete" in read_program(cut).warnings[0].message
    cut.write_text("G21 G0 X1\nM30")
    assert not read_program(cut).warnings
