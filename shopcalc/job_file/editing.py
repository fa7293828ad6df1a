"""Change one value or table of a TOML text; every other sign, its comments, blank lines and order too, stays."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from shopcalc.errors import Fault, InputError
from shopcalc.job_file.spans import Place, Scan, Span, places_under, scan

_STEP = re.compile(r"(?:^|\.)([A-Za-z0-9_-]+)|\[(\d+)\]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def read_place(text: str) -> Place:
    """The way to a value as faults write it.

    Parameters
    ----------
    text : str
        "parts[2].operations[1].depth"; lists count from 0.

    Raises
    ------
    InputError
        When it is no such way.

    Example
    -------
    >>> read_place("frames[0].width")
    ('frames', 0, 'width')
    """
    out: list[str | int] = []
    at = 0
    while found := _STEP.match(text, at):
        out.append(found[1] if found[1] is not None else int(found[2]))
        at = found.end()
    if at < len(text) or not out:
        raise InputError(Fault(f"'{text}' is not a place in a file", 'write e.g. "parts[2].operations[1].depth"'))
    return tuple(out)


def write_place(place: Place) -> str:
    """A place as faults write it.

    Parameters
    ----------
    place : Place
        Names and numbers.
    """
    return "".join(f"[{s}]" if isinstance(s, int) else f".{s}" for s in place).removeprefix(".")


def write_value(value: Any) -> str:
    """A value as TOML writes it, on one line.

    Parameters
    ----------
    value : str, bool, int, float, sequence or mapping
        What.

    Raises
    ------
    InputError
        When it is nothing of these.

    Example
    -------
    >>> write_value([{"width": "5 in"}, 2, True])
    '[{ width = "5 in" }, 2, true]'
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        safe = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in safe) + '"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {write_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(write_value(v) for v in value) + "]"
    if isinstance(value, (int, float, datetime.date, datetime.time)):
        return str(value)
    remedy = "give a text with its unit, a count, true or false, a list or a table"
    raise InputError(Fault(f"{value!r} cannot stand in a job file", remedy))


def set_value(text: str, place: Place, value: Any) -> str:
    """Give a key a value; where it had none it is added behind the table's last one.

    Parameters
    ----------
    text : str
        Of the file.
    place : Place
        Of the value; the table it belongs to must be there, a plain ``[table]`` is added.
    value : object
        As ``write_value`` takes it.

    Returns
    -------
    str
        The text with this change and no other.

    Raises
    ------
    InputError
        When there is no such table.
    """
    found = scan(text)
    span = found.values.get(place)
    if span is not None:
        return _checked(text[: span.begin] + write_value(value) + text[span.end :], place, value)
    table, key = place[:-1], place[-1]
    if isinstance(key, int) or (places_under(list(found.headers), place) and place not in found.headers):
        raise _nowhere(place)
    if places_under(list(found.headers), place):
        message = f"'{write_place(place)}' is a table of its own"
        raise InputError(Fault(message, "set the values in it", field=write_place(place)))
    line = f"{_key(key)} = {write_value(value)}"
    if table in found.values:
        return _checked(_into_brackets(text, found, table, line), place, value)
    if table in found.headers or not table:
        at = _end_of_keys(text, found, table)
        return _checked(_insert(text, at, line), place, value)
    dotted = [s for p, s in found.values.items() if p[: len(table)] == table and not s.inline]
    if dotted and not places_under(list(found.headers), table):  # written as job.name = "..."
        above = max((h for h in found.headers if table[: len(h)] == h), key=len, default=())
        line = ".".join(_key(str(s)) for s in table[len(above) :]) + f".{line}"
        return _checked(_insert(text, max(s.last for s in dotted), line), place, value)
    if len(table) == 1 and isinstance(table[0], str) and not places_under(list(found.headers), table):
        return _checked(_insert(text, len(text), f"\n[{_key(table[0])}]\n{line}"), place, value)
    raise _nowhere(place)


def add_table(text: str, place: Place, values: Mapping[str, Any]) -> str:
    """Add an entry to a list of tables, behind its last one.

    Parameters
    ----------
    text : str
        Of the file.
    place : Place
        Of the list: ("parts",), or ("parts", 2, "operations").
    values : mapping
        Key to value; a list of mappings under a key becomes tables of its own.

    Returns
    -------
    str
        The text with the new table.

    Raises
    ------
    InputError
        When the list stands in brackets, or in a table that is not there.
    """
    found = scan(text)
    owner = place[:-1]
    if place in found.values:
        message = f"'{write_place(place)}' stands in brackets"
        raise InputError(Fault(message, "set it as a whole", field=write_place(place)))
    if owner and owner not in found.headers:
        raise _nowhere(place)
    inside = places_under(list(found.headers), place) or (places_under(list(found.headers), owner) if owner else [])
    at = _end_of_table(text, found, inside[-1]) if inside else len(text)
    apart = "" if owner else "\n"
    return _insert(text, at, apart + "\n".join(_table_lines(_header(place), values)))


def remove(text: str, place: Place) -> str:
    """Take a value or a table out, its own comment on the line with it; comments on lines of their own stay.

    Parameters
    ----------
    text : str
        Of the file.
    place : Place
        Of the value, or of a table with all it holds.

    Returns
    -------
    str
        The text without it.

    Raises
    ------
    InputError
        When there is nothing.
    """
    found = scan(text)
    span = found.values.get(place)
    if span is not None:
        return _without_entry(text, span) if span.inline else text[: span.first] + text[span.last :]
    gone = places_under(list(found.headers), place)
    spans = [s for p, s in found.values.items() if p[: len(place)] == place and not s.inline]
    if not gone and not spans:
        raise _nowhere(place)
    whole = sorted([*spans, *(found.headers[p] for p in gone)], key=lambda s: s.first)
    for span in reversed(whole):
        text = text[: span.first] + text[span.last :]
    at = whole[0].first  # one blank line where two meet
    if gone and re.search(r"(?:^|\n)[ \t]*\r?\n$", text[:at]):
        text = text[:at] + re.sub(r"^(?:[ \t]*\r?\n)+", "", text[at:])
    return text


# --- where things stand ----------------------------------------------------------------------------------------------


def _nowhere(place: Place) -> InputError:
    return InputError(Fault("there is no such place in the file", "", field=write_place(place)))


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else write_value(key)


def _header(place: Place) -> str:
    return ".".join(_key(s) for s in place if isinstance(s, str))


def _table_lines(name: str, values: Mapping[str, Any]) -> list[str]:
    lines, below = [f"[[{name}]]"], list[str]()
    for key, value in values.items():
        tables = isinstance(value, Sequence) and not isinstance(value, str) and bool(value)
        if tables and all(isinstance(v, Mapping) for v in value) and key == "operations":
            for entry in value:
                below += _table_lines(f"{name}.{_key(key)}", entry)
        else:
            lines.append(f"{_key(key)} = {write_value(value)}")
    return lines + below


def _own_values(found: Scan, table: Place) -> list[Span]:
    """Of the keys that stand on lines of a table itself."""
    below = [p for p in found.headers if len(p) > len(table) and p[: len(table)] == table]
    return [
        s
        for p, s in found.values.items()
        if not s.inline and p[: len(table)] == table and not any(p[: len(b)] == b for b in below)
    ]  # fmt: skip


def _end_of_keys(text: str, found: Scan, table: Place) -> int:
    own = _own_values(found, table)
    if own:
        return max(s.last for s in own)
    return found.headers[table].last if table else 0


def _end_of_table(text: str, found: Scan, table: Place) -> int:
    """Behind its last key; comments directly below without a blank line belong to it."""
    at = _end_of_keys(text, found, table)
    while at < len(text) and text[at : (text.find("\n", at) + 1 or len(text))].lstrip().startswith("#"):
        at = text.find("\n", at) + 1 or len(text)
    return at


def _insert(text: str, at: int, lines: str) -> str:
    new = "\r\n" if "\r\n" in text else "\n"
    before = text[:at]
    if before and not before.endswith("\n"):
        before += new
    return before + (lines + "\n").replace("\n", new) + text[at:]


def _into_brackets(text: str, found: Scan, table: Place, line: str) -> str:
    """Behind the last entry of an inline table."""
    span = found.values[table]
    if text[span.begin] != "{":
        raise _nowhere(table)
    own = [s for p, s in found.values.items() if p[: len(table)] == table and len(p) > len(table)]
    if not own:
        return f"{text[: span.begin]}{{ {line} }}{text[span.end :]}"
    at = max(s.end for s in own)
    return f"{text[:at]}, {line}{text[at:]}"


def _without_entry(text: str, span: Span) -> str:
    """An entry of a list or inline table goes with one comma."""
    after = re.compile(r"\s*,\s*").match(text, span.end)
    if after:
        return text[: span.first] + text[after.end() :]
    before = re.search(r"\s*,\s*$", text[: span.first])
    return text[: before.start() if before else span.first] + text[span.end :]


def _checked(text: str, place: Place, value: Any) -> str:
    """The text, once a reader of TOML finds the value where it was put."""
    at: Any = tomllib.loads(text)
    for step in place:
        at = at[step]
    if at != tomllib.loads(f"v = {write_value(value)}")["v"]:
        raise AssertionError(f"{write_place(place)} was not changed as asked")
    return text
