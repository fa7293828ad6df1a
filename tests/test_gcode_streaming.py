"""Programs of any length as a stream of pieces: what it yields, what it costs, and how its text is found again."""

import io
import itertools
import re
import tracemalloc

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import collecting, read_program, read_text, stream_program
from shopcalc.gcode import program as program_module
from shopcalc.gcode.collecting import Collector, joined
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.gcode.source import Source
from shopcalc.moves import Kind, join

HEAD = "G21 G90 F900\nG1 X0 Y0 Z1\n"


def many_lines(count):
    t = np.arange(count)
    return "".join(f"X{x} Y{y}\n" for x, y in zip((t % 997).tolist(), (t % 89).tolist(), strict=True))


@pytest.fixture
def long_program(tmp_path):
    """200 000 moves in 2 MB."""
    path = tmp_path / "long.nc"
    path.write_text(HEAD + many_lines(200_000))
    return path


def equal(a, b):
    for name in ("points", "kind", "feed", "value", "rpm", "cutter", "exact_stop", "line", "arc_index", "arc_centre",
                 "arc_sweep", "arc_plane"):  # fmt: skip
        assert np.array_equal(getattr(a, name), getattr(b, name), equal_nan=True), name
    assert a.labels == b.labels
    assert a.extra.keys() == b.extra.keys()


# --- pieces -----------------------------------------------------------------------------------------------------------


def test_pieces_follow_on_each_other_and_make_up_the_whole(long_program):
    stream = stream_program(long_program)
    pieces = list(stream)
    whole = read_program(long_program)
    assert [len(p) for p in pieces] == [65536, 65536, 65536, 200_000 - 3 * 65536]
    for before, after in itertools.pairwise(pieces):
        assert before.points[-1].tolist() == after.points[0].tolist()
    equal(join(pieces), whole.moves)
    assert (stream.blocks, stream.warnings, stream.name) == (whole.blocks, whole.warnings, whole.name)


def test_a_program_without_moves_is_one_empty_piece(tmp_path):
    path = tmp_path / "x.nc"
    path.write_text("G21\n")
    (piece,) = stream_program(path, start=(1, 2, 3))
    assert len(piece) == 0
    assert piece.points.tolist() == [[1, 2, 3]]


def test_labels_grow_with_the_stream(tmp_path, monkeypatch):
    monkeypatch.setattr(collecting, "PIECE", 2)
    path = tmp_path / "x.nc"
    path.write_text("T1 M6 (square end)\nG21 G0 X1\nX2\nT2 M6 (ball)\nX3\n")
    stream = stream_program(path)
    assert [p.labels for p in stream] == [{1: "square end"}, {1: "square end", 2: "ball"}, {1: "square end", 2: "ball"}]
    assert stream.labels == {1: "square end", 2: "ball"}
    assert read_program(path).moves.labels == stream.labels


def test_one_line_may_fill_many_pieces(tmp_path, monkeypatch):
    text = "G21 F60\nG81 X1 R2 Z-5 G91 L30\nG80 G90 G1 X0\n"
    whole = read_text(text, "x.nc").moves
    monkeypatch.setattr(collecting, "PIECE", 7)
    path = tmp_path / "x.nc"
    path.write_text(text)
    pieces = list(stream_program(path))
    assert max(len(p) for p in pieces) == 7
    equal(join(pieces), whole)


def test_a_fault_comes_from_the_iteration_after_what_was_right(long_program):
    with long_program.open("a") as file:
        file.write("X\n")
    stream = iter(stream_program(long_program))
    assert [len(next(stream)) for _ in range(3)] == [65536] * 3
    with pytest.raises(InputError, match="line 200003, column 1"):
        next(stream)
    with pytest.raises(InputError, match="no such file"):
        list(stream_program(long_program.with_name("gone.nc")))


def test_the_file_is_closed_whatever_happens(long_program):
    stream = iter(stream_program(long_program))
    next(stream)
    stream.close()  # an open file would end the tests with a warning
    long_program.unlink()


def test_a_file_that_becomes_shorter_while_it_is_read_is_refused(long_program, monkeypatch):
    monkeypatch.setattr(program_module, "_PIECE", 1_000_000)
    stream = iter(stream_program(long_program))
    next(stream)
    long_program.write_text(HEAD)
    with pytest.raises(InputError, match="became shorter"):
        list(stream)


def test_progress_rises_to_the_end(long_program, monkeypatch):
    monkeypatch.setattr(program_module, "_PIECE", 100_000)
    told = []
    list(stream_program(long_program, progress=lambda done, whole: told.append((done, whole))))
    size = long_program.stat().st_size
    assert {whole for _, whole in told} == {size}
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == size
    assert size / 100_000 <= len(told) <= size / 100_000 + 2


# --- what it costs ----------------------------------------------------------------------------------------------------


def peak_of(task):
    tracemalloc.start()
    try:
        task()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_does_not_grow_with_the_file(tmp_path, long_program):
    """Ten times the text within the same few megabytes: a piece of text, one of moves, and the one in the making."""
    longer = tmp_path / "longer.nc"
    longer.write_text(long_program.read_text() * 10)
    read_text(HEAD)  # the compiler's own memory does not count
    small, large = (peak_of(lambda p=p: sum(len(m) for m in stream_program(p))) for p in (long_program, longer))
    assert large < small + 1e6
    assert large < 25e6


def test_a_whole_program_is_never_held_twice(long_program):
    read_text(HEAD)
    got = read_program(long_program).moves
    size = sum(a.nbytes for a in vars(got).values() if isinstance(a, np.ndarray))
    assert peak_of(lambda: read_program(long_program)) < 1.2 * size + 25e6


# --- further axes -----------------------------------------------------------------------------------------------------


def test_further_axes_are_carried_where_they_are_given(monkeypatch):
    """Zero before they are first given; then they stay where they are, also through runs of plain lines.

    A letter stands in a piece only when its axis is somewhere else than at 0.
    """
    monkeypatch.setattr(collecting, "PIECE", 4)
    out, pieces = Collector(np.zeros(3)), []
    for i in range(11):
        extra = {1: {"B": 0.0}, 5: {"A": 90.0}, 7: {"A": 0.0, "C": 10.0}}.get(i)
        if i == 9:
            out.points[out.count + 1], out.kind[out.count], out.feed[out.count], out.line[out.count] = i + 1, 1, 60, i
            out.took(1, 0, 0.0, 0, False, 0)
        else:
            out.one(Kind.LINE, np.full(3, i + 1.0), 60.0, 0.0, i, 0.0, 0, False, extra)
        pieces += out.take()
    pieces.append(out.rest())
    assert [sorted(p.extra) for p in pieces] == [[], ["A", "C"], ["C"]]
    for whole in (joined(iter(pieces)), join(pieces)):
        assert whole.points[:, 0].tolist() == list(range(12))
        assert whole.extra["A"].tolist() == [0] * 6 + [90] * 2 + [0] * 4
        assert whole.extra["C"].tolist() == [0] * 8 + [10] * 4


# --- the text ---------------------------------------------------------------------------------------------------------

TEXTS = [
    b"G21\nO7 (a)\r\nG1 X1\rO8\r\rX2\r\r\nN9", b"\xef\xbb\xbfG21\n\nX1\n\x1a\x1a\x1a", b"G21", b"G21\r", b"G21\r\n",
    b"\r\n\r\nX1 (\xe4)\n\r", b"X1" + b" " * 9000 + b"\nX2", b"X1\r" * 30, b"X1\x1aX2\n",
]  # fmt: skip


@pytest.mark.parametrize("raw", TEXTS)
@pytest.mark.parametrize("size", [1, 2, 7, 100])
def test_pieces_are_whole_lines_whatever_ends_them(raw, size):
    """The lines are those that a carriage return, a line feed or both end, wherever a piece is cut."""
    source = Source(io.BytesIO(raw), "x.nc")
    text = raw.removeprefix(b"\xef\xbb\xbf").rstrip(b"\x1a")
    expected = [line.decode("utf-8", "replace") for line in re.split(rb"\r\n|\r|\n", text)]
    expected = expected[:-1] if not expected[-1] else expected
    buffer, offset, got = bytearray(20_001), source.begin, []
    while offset < source.end:
        length, at = source.piece(buffer, offset, size), 0
        while at < length:
            line, at = source.line(buffer, at, length, 1)
            got.append(line)
        offset += length
    assert got == expected
    listed = list(source.lines(source.begin, 1))
    assert [line for _, _, line in listed] == expected
    assert [number for _, number, _ in listed] == list(range(1, len(expected) + 1))
    for offset, number, line in listed:
        assert next(source.lines(offset, number)) == (offset, number, line)


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_lines_are_found_wherever_they_stand(end, monkeypatch):
    monkeypatch.setattr("shopcalc.gcode.source._PIECE", 50)
    raw = end.join([b"%", b"G21", *[b"X%d" % i for i in range(40)], b"O12", b" o3", b"M30", b"%", b"O3 (x)"])
    source = Source(io.BytesIO(raw), "x.nc")
    label = rb"[ \t]*[Oo]0*3(?!\d)"
    first, second = raw.index(b" o3"), raw.index(b"O3")
    assert source.find(label) == (first, 44)
    assert source.find(label, (first, 44)) == (first, 44)
    assert source.find(label, (raw.index(b"M30"), 45)) == (second, 47)
    assert source.find(rb"X39[ \t]*$") == (raw.index(b"X39"), 42)
    assert source.find(rb"%") == (0, 1)
    assert source.find(rb"X4[ \t]*$") == (raw.index(b"X4" + end), 7)
    assert source.find(rb"39") is None


def test_what_is_no_program_is_refused_where_it_stands(tmp_path):
    long = "X" * 3_000_000
    for text, said in [
        (f"G21\nG0 X1\n{long}\n", "line 3, column 10000: a line of 3000000 characters"),
        (f"G21\nG0 X1\nX{'1' * 9999}\nX2", "line 3, column 10000: a line of 10000 characters"),
        (f"G21\r\n{HEAD * 5000}(\0", "line 10002, column 2: this is not program text"),
        ("G21\rX\0", "line 2, column 2: this is not program text"),
        ("\x1a\x1a", "the file is empty"),
        ("\ufeff", "the file is empty"),
        ("", "the file is empty"),
        (" \n\n" * 1000, "the file is empty"),
        ("(a)\n%\n", "not a single word"),
    ]:
        path = tmp_path / "x.nc"
        path.write_bytes(text.encode())
        with pytest.raises(InputError, match=re.escape(said)):
            read_program(path)


def test_text_behind_the_end_is_looked_at_only_as_far_as_its_first_word(tmp_path):
    path = tmp_path / "x.nc"
    path.write_text("G21 G0 X1\nM30\n" + "(a)\n\n" * 5000 + "  O7\n" + "X" * 3_000_000)
    (note,) = read_program(path).warnings
    assert (note.line, note.column, note.word) == (10_003, 3, "O7")


# --- jumps ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def jumping(monkeypatch):
    """A reader that goes back to the line behind ``M8`` at every ``M9``, so many times."""
    rounds = {"left": 0, "begin": None}
    line = Interpreter.line

    def with_jumps(self, text, number):
        line(self, text, number)
        if text == "M8":
            rounds["begin"] = self.after
        elif text == "M9" and rounds["left"]:
            rounds["left"] -= 1
            self.jump = rounds["begin"]

    monkeypatch.setattr(Interpreter, "line", with_jumps)
    return rounds


@pytest.mark.parametrize("piece", [10, 100, 1000, 1 << 21])
def test_a_jump_goes_on_where_it_leads(piece, jumping, monkeypatch):
    """A body gone through five times is the same as five bodies, however the text is cut into pieces."""
    body = "".join(f"G1 X{i}\nG91 Y1\nY2\n\nG90 Z{i}\n" for i in range(40)) + "M9\n"
    once = read_text(f"{HEAD}M8\n{body * 5}X99\n").moves
    monkeypatch.setattr(program_module, "_PIECE", piece)
    monkeypatch.setattr(program_module, "_AFTER_JUMP", 64)
    jumping["left"] = 4
    again = read_text(f"{HEAD}M8\n{body}X99\n").moves
    assert jumping["left"] == 0
    assert again.points.tolist() == once.points.tolist()
    assert again.line.max() == 3 + 40 * 5 + 2


def test_a_short_loop_does_not_read_the_file_again_and_again(jumping, monkeypatch, tmp_path):
    read, fill = [], Source._fill
    monkeypatch.setattr(Source, "_fill", lambda self, b, offset, size: (read.append(size), fill(self, b, offset, size)))
    path = tmp_path / "x.nc"
    front = many_lines((1 << 21) // 9)  # so that the body lies across the end of the first piece, or nearly
    path.write_text(HEAD + front + "M8\n" + "X1\nX2\n" * 5 + "M9\n" + many_lines(300_000))
    jumping["left"] = 2000
    moves = read_program(path).moves
    assert jumping["left"] == 0
    assert len(moves) > 20_000
    assert sum(read) < 3 * path.stat().st_size


def test_nothing_that_was_jumped_to_is_reported_as_text_behind_the_end(jumping, tmp_path):
    jumping["left"] = 1
    path = tmp_path / "x.nc"
    path.write_text("G21 G0 X1\nM8\nX2\nM9\nX3 M30\n")
    assert read_program(path).warnings == ()
