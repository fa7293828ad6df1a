"""Times of programs in words and tables, for people."""

from __future__ import annotations

import itertools
import math
import os
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal

from shopcalc.errors import Fault
from shopcalc.machines import Machine
from shopcalc.motion.results import Place
from shopcalc.program_times.results import MILLIMETRE, MOST_PLACES, SIXTEENTH, ProgramTime, Refused, depth_rows
from shopcalc.units import System, write, write_time

By = Literal["cutter", "depth", "cause", "kind"]
#: What a lost second is put down to, in a sentence; the other causes are no losses.
_LOSSES = {
    "slower where an axis or an arc limits": "limits of axes and arcs",
    "corners": "corners",
    "starts and stops": "starts and stops",
    "bends of fine chords": "bends of fine chords",
    "moves known ahead": "the look-ahead",
    "slower neighbouring moves": "slower neighbouring moves",
    "gradual acceleration": "gradual acceleration",
    "waiting for blocks": "the block rate",
}
_LEAST_SHOWN = 0.05  # s; less is written as 0 s
_LEAST_LOST = 0.005  # s; less is written as 0.00 s
_MANY_ALIKE = 4  # places that lose the same, from which one stands for all
_WORTH_SAYING = 0.005  # of the whole time
_MANY = 10  # programs from which on the slowest are named
_SLOWEST = 5
_WIDEST_NAME, _WIDEST_LINE = 60, 100  # characters
_ENDINGS_NAMED = 8
_LONGEST_TABLE = 14  # depth bands
_OF_NO_TEXT = {chr(0xDC00 + byte): f"\\x{byte:x}" for byte in range(0x80, 0x100)}  # bytes in names of files


def times_text(
    machine: Machine, answers: Sequence[ProgramTime | Refused], system: System, *, slowest: int = 0,
    by: By | None = None, others: Mapping[str, int] | None = None,
) -> str:  # fmt: skip
    """All there is to say about a run, for people.

    Parameters
    ----------
    machine : Machine
        What runs the programs.
    answers : sequence of ProgramTime or Refused
        In the order to be shown.
    system : {"metric", "inch"}
        Units of lengths.
    slowest : int
        How many of the places that lost most to name.
    by : {"cutter", "depth", "cause", "kind"}, optional
        Also a table of the time of all programs by this.
    others : mapping, optional
        Endings of files that were not looked at, and how many there are.
    """
    names = _short_names([a.file for a in answers])
    timed = [(name, a) for name, a in zip(names, answers, strict=True) if isinstance(a, ProgramTime)]
    out = [f"on {machine.called}", *_programs(names, answers, system), _together(answers)]
    if not any(math.isfinite(v) for a in machine.axes for v in (a.rapid, a.acceleration)):
        out.append("  * this machine gives no rapid speed and no acceleration: rapids and corners take no time on it")
    if others:
        out.append(_not_looked_at(others))
    if timed:
        out += ["", *_summary(timed)]
    if by is not None and timed:
        out += ["", *_by(by, [a for _, a in timed], system)]
    if slowest and timed:
        out += ["", *_places(timed, slowest)]
    said = [line for name, a in zip(names, answers, strict=True) for line in _remarks(name, a)]
    if said:
        out += ["", *said]
    return "\n".join(out) + "\n"


# --- tables ----------------------------------------------------------------------------------------------------------


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> Iterator[str]:
    """Lines of a table; the first columns stand to the left, numbers to the right."""
    widths = [max(map(_width, column)) for column in zip(head, *rows, strict=True)]

    def line(row: Sequence[str]) -> str:
        pads = [" " * (w - _width(c)) for c, w in zip(row, widths, strict=True)]
        cells = [c + p if k < left else p + c for k, (c, p) in enumerate(zip(row, pads, strict=True))]
        return "  ".join(cells).rstrip()

    yield line(head)
    yield "─" * (sum(widths) + 2 * (len(widths) - 1))
    yield from map(line, rows)


def _programs(names: Sequence[str], answers: Sequence[ProgramTime | Refused], system: System) -> Iterator[str]:
    rows: list[tuple[str, ...]] = []
    for name, a in zip(names, answers, strict=True):
        if isinstance(a, Refused):
            rows.append((name, "", "", "", "", "", "refused", ""))
            continue
        other = a.dwell_time_s + a.change_time_s
        seconds = (a.cutting_time_s, a.rapid_time_s, other, a.time_s, a.length_over_feed_s)
        rows.append((name, str(a.blocks), _long(a.cutting_length, system), *map(write_time, seconds)))
    yield from _table(("program", "blocks", "cut", "cutting", "rapids", "other", "time", "length / feed"), rows)


def _long(length: float, system: System) -> str:
    unit, size = ("m", 1000.0) if system == "metric" else ("ft", 304.8)
    return f"{length / size:.2f} {unit}"


def _together(answers: Sequence[ProgramTime | Refused]) -> str:
    known = math.fsum(a.time_s for a in answers if isinstance(a, ProgramTime) and not math.isnan(a.time_s))
    unknown = sum(isinstance(a, ProgramTime) and math.isnan(a.time_s) for a in answers)
    refused = sum(isinstance(a, Refused) for a in answers)
    more = [f"{unknown} of unknown time"] * (unknown > 0) + [f"{refused} refused"] * (refused > 0)
    timed = len(answers) - unknown - refused
    return f"together {write_time(known) if timed else 'unknown'}" + "".join(f", and {m}" for m in more)


def _by(by: By, answers: Sequence[ProgramTime], system: System) -> Iterator[str]:
    if by == "depth":
        yield from _by_depth(answers, system)
        return
    sums: dict[str, float] = {}
    for a in answers:
        for name, seconds in _parts(by, a):
            sums[name] = sums.get(name, 0.0) + seconds
    whole = math.fsum(sums.values())
    rows = [
        (name, write_time(s), _share(s, whole))
        for name, s in sorted(sums.items(), key=lambda item: -_least(item[1]))
        if _shows(s)
    ]
    yield from _table((by, "time", "share"), rows)


def _parts(by: By, a: ProgramTime) -> Iterable[tuple[str, float]]:
    if by == "cause":
        return a.causes.items()
    if by == "kind":
        return a.by_kind.items()
    return ((_cutter(number, a.labels.get(number, "")), s) for number, s in a.by_cutter.items())


def _cutter(number: int, label: str) -> str:
    if number == 0:
        return "none named"
    return f"{number} ({_printable(label.strip())[:30]})" if label.strip() else str(number)


def _by_depth(answers: Sequence[ProgramTime], system: System) -> Iterator[str]:
    """Bands as thin as a short table allows, from the highest down."""
    bands = tuple(itertools.chain.from_iterable(a.by_depth for a in answers))
    unit, steps = (MILLIMETRE, (1, 2, 5, 10, 20, 50, 100)) if system == "metric" else (SIXTEENTH, (1, 2, 4, 8, 16, 32))
    for step in steps:
        found = depth_rows(bands, step * unit)
        if len(found) <= _LONGEST_TABLE:
            break
    whole = math.fsum(s for s, _, _ in found.values())
    rows = []
    for low, high in sorted(found, key=lambda k: -(k[0] if k[0] is not None else -math.inf)):
        s, length, _ = found[low, high]
        place = f"{_height(low, system)} to {_height(high, system)}"
        if low is None or high is None:
            place = f"below {_height(high, system)}" if low is None else f"above {_height(low, system)}"
        rows.append((place, write_time(s), _share(s, whole), _long(length, system)))
    yield from _table(("depth (z)", "cutting", "share", "cut"), rows)


def _height(value: float | None, system: System) -> str:
    if value is None:
        return ""
    return f"-{write(-value, 'length', system)}" if value < 0 else write(value, "length", system)


def _share(part: float, whole: float) -> str:
    return "" if math.isnan(part) or not whole > 0 else f"{100 * part / whole:.1f} %"


def _shows(seconds: float) -> bool:
    """Whether a time is more than nothing when it is written."""
    return not seconds < _LEAST_SHOWN


def _least(value: float) -> float:
    return math.inf if math.isnan(value) else value


def _places(timed: Sequence[tuple[str, ProgramTime]], count: int) -> Iterator[str]:
    found = [(name, place) for name, a in timed for place in a.slowest]
    found.sort(key=lambda item: -round(item[1].lost, 6))
    full = {name for name, a in timed if len(a.slowest) >= MOST_PLACES}  # where further places are not known
    kinds: dict[tuple[str, str, str], list[Place]] = {}
    for name, p in found:
        if p.lost >= _LEAST_LOST:
            kinds.setdefault((name, f"{p.lost:.2f} s", p.held_back), []).append(p)
    if not kinds:
        yield "no place is slower than the asked feed"
        return
    rows: list[tuple[str, str, str, str]] = []
    alike: list[str] = []
    for (name, lost, held), places in kinds.items():
        if len(rows) >= count:
            break
        shown = places[: count - len(rows)] if len(places) < _MANY_ALIKE else places[:1]
        rows += [(name, str(p.line), lost, held) for p in shown]
        if len(places) >= _MANY_ALIKE:
            together = write_time(math.fsum(p.lost for p in places))
            least = "at least " * (name in full)
            alike.append(
                f"{name}, line {places[0].line}: {least}{len(places)} places of this kind, together {together}"
            )
    yield from _table(("slowest places", "line", "lost", "held back by"), rows)
    yield from alike
    if full and count > MOST_PLACES:
        yield f"(the {MOST_PLACES} slowest of each program are known)"


def _not_looked_at(others: Mapping[str, int]) -> str:
    count = sum(others.values())
    endings = [_printable(e) or "without an ending" for e in sorted(others, key=lambda e: (-others[e], e))]
    more = f" and {len(endings) - _ENDINGS_NAMED} more endings" if len(endings) > _ENDINGS_NAMED + 1 else ""
    named = endings[:_ENDINGS_NAMED] if more else endings
    return f"{count} other file{'s' * (count != 1)} not looked at: {', '.join(named)}{more}"


# --- sentences -------------------------------------------------------------------------------------------------------


def _summary(timed: Sequence[tuple[str, ProgramTime]]) -> Iterator[str]:
    blocks, noted = sum(a.blocks for _, a in timed), sum(a.noted for _, a in timed)
    warned = sum(bool(a.warnings) for _, a in timed)
    share = max(0.0, 1.0 - noted / max(blocks, 1))
    shown = "100 %" if noted == 0 else f"{math.floor(1000 * share) / 10:.1f} %"  # never 100 % with a warning
    programs = f"{warned} program{'s' * (warned != 1)} with warnings" if warned else "no warnings"
    yield f"understood: {shown} of {_grouped(blocks)} block{'s' * (blocks != 1)}, {programs}"
    yield from _where(timed)
    if len(timed) > _MANY:
        longest = sorted(timed, key=lambda item: -_known(item[1]))[:_SLOWEST]
        yield "longest: " + ", ".join(f"{name} {write_time(a.time_s)}" for name, a in longest)
    for name, a in timed:
        if a.feedless_line is not None:
            yield f"{name}: its time is unknown, because line {a.feedless_line} cuts without a feed; write F there"


def _where(timed: Sequence[tuple[str, ProgramTime]]) -> Iterator[str]:
    """One sentence on where the time of all programs went."""
    sums: dict[str, float] = {}
    for _, a in timed:
        if not math.isnan(a.time_s):
            for cause, seconds in a.causes.items():
                sums[cause] = sums.get(cause, 0.0) + seconds
    whole = math.fsum(sums.values())
    if not _shows(whole):
        return
    saying = (item for item in sums.items() if item[1] >= _WORTH_SAYING * whole and _shows(item[1]))
    worth = sorted(saying, key=lambda item: -item[1])
    losses = [(_LOSSES[cause], s) for cause, s in worth if cause in _LOSSES]
    rest = [f"{cause} {write_time(s)}" for cause, s in worth if cause not in _LOSSES]
    lost = ", ".join(f"{cause}{' cost' * (k == 0)} {write_time(s)}" for k, (cause, s) in enumerate(losses))
    yield f"of {write_time(whole)}: " + "; ".join(filter(None, [", ".join(rest), lost or "nothing else cost much"]))


def _known(a: ProgramTime) -> float:
    return 0.0 if math.isnan(a.time_s) else a.time_s


def _grouped(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def _remarks(name: str, a: ProgramTime | Refused) -> Iterator[str]:
    """Warnings and refusals of a program, each with its line and a marker under the place."""
    if isinstance(a, ProgramTime):
        for n in a.warnings:
            word = f", {_printable(n.word)}" if n.word else ""
            yield f"  * {name}, line {n.line}, column {n.column}{word}: {_printable(n.message)}"
            yield from marked(n.text, n.column)
        return
    for fault in a.faults:
        if fault.text is not None and fault.column is not None:
            message = str(Fault(fault.message, fault.remedy))
            yield f"  * {name}, line {fault.line}, column {fault.column}: refused: {_printable(message)}"
            yield from marked(fault.text, fault.column)


def marked(text: str, column: int, widest: int = _WIDEST_LINE) -> list[str]:
    r"""A line of a program, cut around a column, and a marker under it; nothing for an empty line.

    Parameters
    ----------
    text : str
        The line.
    column : int
        Counted from 1.
    widest : int
        Characters of it that are shown.

    Example
    -------
    >>> print(*marked("G1 X10 Q5", 8), sep="\n")
            G1 X10 Q5
                   ^
    """
    if not text.strip():
        return []
    at = min(max(column, 1), len(text) + 1) - 1
    shown = _printable(text.expandtabs(1))
    begin = max(0, min(at - widest // 2, len(shown) - widest))
    end = begin + widest
    head, tail = "…" * (begin > 0), "…" * (end < len(shown))
    pad = " " * _width(head + shown[begin:at])
    return [f"        {head}{shown[begin:end].rstrip()}{tail}", f"        {pad}^"]


def _printable(text: str) -> str:
    """One line that a terminal shows as it is: a character each, but for bytes that are no text."""
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else f"\\x{ord(c) - 0xDC00:x}" if "\udc80" <= c <= "\udcff" else "·" for c in text
    )


def _width(text: str) -> int:
    """Columns of a terminal that a text takes: wide characters two, marks on others none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 1 + (unicodedata.east_asian_width(c) in "WF") for c in text)


def _short_names(files: Sequence[str]) -> list[str]:
    """Names without the folder that all have in common."""
    try:
        common = os.path.commonpath([os.path.dirname(f) for f in files]) if files else ""
    except ValueError:  # some begin at the root and some here
        common = ""
    names = [_printable(os.path.relpath(f, common) if common else f) for f in files]
    return [n if len(n) <= _WIDEST_NAME else f"…{n[1 - _WIDEST_NAME :]}" for n in names]
