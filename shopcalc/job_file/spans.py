"""Where every table and value of a TOML text stands, so that one of them is changed and no other sign of the text."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field

#: A way to a value: names of tables and keys, and numbers in lists, from 0.
Place = tuple[str | int, ...]

_STRING = r'"{3}(?:\\.|[^\\])*?"{3,5}|\'{3}.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\''
_VALUE = re.compile(rf"(?:{_STRING})|[^\s,\]}}#]+(?: \d\d:[^\s,\]}}#]+)?", re.DOTALL)
_KEY = re.compile(r'[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'')
_IDLE = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")


@dataclass(frozen=True)
class Span:
    """A stretch of the text.

    Parameters
    ----------
    begin, end : int
        Of the value, or of a table's header [signs].
    first, last : int
        Of the whole lines it stands on, line end included; in a list or an inline table of the entry with its key.
    inline : bool
        Whether it stands within the brackets of a list or an inline table.
    """

    begin: int
    end: int
    first: int
    last: int
    inline: bool = False


@dataclass
class Scan:
    """All places of a text.

    Parameters
    ----------
    values : dict
        Place to the span of its value, within lists and inline tables too.
    headers : dict
        Place of a table to the span of its header, in the order of the text.
    """

    values: dict[Place, Span] = field(default_factory=dict)
    headers: dict[Place, Span] = field(default_factory=dict)


def scan(text: str) -> Scan:
    r"""Find every header and value.

    Parameters
    ----------
    text : str
        Right TOML: what is not is for ``tomllib`` to refuse.

    Returns
    -------
    Scan
        Spans in the text.

    Example
    -------
    >>> found = scan('[job]\nname = "Door"  # ours\n')
    >>> span = found.values["job", "name"]
    >>> span.begin, span.end
    (13, 19)
    """
    return _Scanner(text).scan()


class _Scanner:
    """Walks through a text once."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.found = Scan()
        self.counts: dict[Place, int] = {}

    def scan(self) -> Scan:
        table: Place = ()
        while True:
            self._skip()
            if self.at >= len(self.text):
                return self.found
            table = self._header() if self.text[self.at] == "[" else self._line(table)

    def _skip(self, idle: re.Pattern[str] = _IDLE) -> None:
        found = idle.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def _take(self, sign: str) -> bool:
        if self.text.startswith(sign, self.at):
            self.at += len(sign)
            return True
        return False

    def _keys(self) -> list[str]:
        """A dotted key."""
        out = []
        while True:
            self._skip(_BLANK)
            found = _KEY.match(self.text, self.at)
            if found is None:
                raise ValueError(f"no key stands at {self.at}")
            out.append(_bare(found[0]))
            self.at = found.end()
            self._skip(_BLANK)
            if not self._take("."):
                return out

    def _lines(self, begin: int) -> tuple[int, int]:
        """From the start of the line at ``begin`` to the end of the one reached."""
        end = self.text.find("\n", self.at)
        return self.text.rfind("\n", 0, begin) + 1, len(self.text) if end < 0 else end + 1

    def _header(self) -> Place:
        begin = self.at
        many = self._take("[[")
        if not many:
            self._take("[")
        keys = self._keys()
        self._take("]]" if many else "]")
        place = self._through(keys, many)
        self.found.headers[place] = Span(begin, self.at, *self._lines(begin))
        return place

    def _through(self, keys: list[str], many: bool) -> Place:
        """The place a header names: on the way through lists of tables it means their last entry."""
        place: Place = ()
        for i, key in enumerate(keys):
            place = (*place, key)
            last = i == len(keys) - 1
            if last and many:
                self.counts[place] = self.counts.get(place, 0) + 1
            if place in self.counts:
                place = (*place, self.counts[place] - 1)
        return place

    def _line(self, table: Place) -> Place:
        begin = self.at
        place = (*table, *self._keys())
        self._take("=")
        self._skip(_BLANK)
        start = self.at
        self._value(place)
        self.found.values[place] = Span(start, self.at, *self._lines(begin))
        return table

    def _value(self, place: Place) -> None:
        if self._take("["):
            self._entries(place, "]")
        elif self._take("{"):
            self._entries(place, "}")
        else:
            found = _VALUE.match(self.text, self.at)
            if found is None:
                raise ValueError(f"no value stands at {self.at}")
            self.at = found.end()

    def _entries(self, place: Place, close: str) -> None:
        number = 0
        while True:
            self._skip()
            if self._take(close):
                return
            first = self.at
            own = (*place, number)
            if close == "}":
                own = (*place, *self._keys())
                self._take("=")
                self._skip(_BLANK)
            start = self.at
            self._value(own)
            self.found.values[own] = Span(start, self.at, first, self.at, inline=True)
            number += 1
            self._skip()
            self._take(",")


def _bare(key: str) -> str:
    """A key without its quotation marks."""
    return next(iter(tomllib.loads(f"{key} = 0"))) if key[0] in "\"'" else key


def places_under(places: Iterator[Place] | list[Place], place: Place) -> list[Place]:
    """Those that are a place or lie in it.

    Parameters
    ----------
    places : iterable of Place
        In any order, which is kept.
    place : Place
        Which.
    """
    return [p for p in places if p[: len(place)] == place]
