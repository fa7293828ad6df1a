"""Values that a program computes: numbers, parameters, expressions in brackets and functions.

Everything is computed where it stands, with the parameters as they are when the line is read.

References
----------
NISTIR 6556 (Kramer, Proctor, Messina, 2000), sections 3.2.1 and 3.3.2: parameters, operations and their order,
functions in degrees. Comparisons (EQ NE GT GE LT LE), names in ``#< >`` and the missing value ``#0`` are not in it:
common practice, no source.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from typing import Any, NamedTuple

from shopcalc.gcode.parameters import Parameters
from shopcalc.gcode.reports import BadTextError

_NUMBER = re.compile(r"[+-]?[ \t]*(?:\d+\.?\d*|\.\d+)")
_OPERATOR = re.compile(r"\*\*|[*/+-]|(?:MOD|AND|XOR|OR|EQ|NE|GE|GT|LE|LT)(?![A-Z])", re.IGNORECASE)
_NAME = re.compile(r"[A-Za-z]{2,}")
_PARAMETER_NAME = re.compile(r"<([^<>\[\]#]+)>")
_LARGEST = 1e12  # as for plain numbers
_DEEPEST = 50  # brackets within brackets

_SAME = 1e-4  # NISTIR 6556: numbers so near each other count as equal where whole ones are asked for
_COMPARISONS: dict[str, Callable[[float, float], bool]] = {
    "EQ": operator.eq, "NE": operator.ne, "GT": operator.gt, "GE": operator.ge, "LT": operator.lt, "LE": operator.le,
}  # fmt: skip
_ARITHMETIC: dict[str, Callable[[float, float], Any]] = {
    "+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv, "**": operator.pow,
    "MOD": lambda a, b: a % abs(b),
}  # fmt: skip
_LOGIC: dict[str, Callable[[float, float], bool]] = {
    "AND": lambda a, b: a != 0 and b != 0,
    "OR": lambda a, b: a != 0 or b != 0,
    "XOR": lambda a, b: (a != 0) != (b != 0),
}


def _fix(value: float) -> float:
    return float(math.floor(value))


def _fup(value: float) -> float:
    return float(math.ceil(value))


def _round(value: float) -> float:
    return math.copysign(math.floor(abs(value) + 0.5), value)


_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs, "ACOS": lambda v: math.degrees(math.acos(v)), "ASIN": lambda v: math.degrees(math.asin(v)),
    "COS": lambda v: math.cos(math.radians(v)), "EXP": math.exp, "FIX": _fix, "FUP": _fup, "LN": math.log,
    "ROUND": _round, "SIN": lambda v: math.sin(math.radians(v)), "SQRT": math.sqrt,
    "TAN": lambda v: math.tan(math.radians(v)),
}  # fmt: skip


def _is_missing(value: float | None) -> bool:
    """Whether a value is that of #0, which only a parameter without a value equals."""
    return value is not None and math.isnan(value)


class Value(NamedTuple):
    """A value and where its text ends.

    Parameters
    ----------
    number : float or None
        None where a parameter has no value.
    end : int
        Index of the first character behind it.
    """

    number: float | None
    end: int


def read_value(line: str, at: int, parameters: Parameters, *, chained: bool = False) -> Value:
    """Read the value that begins at a place of a line.

    Parameters
    ----------
    line : str
        Without comments.
    at : int
        Index where the value begins; blanks before it are skipped.
    parameters : Parameters
        What ``#`` stands for.
    chained : bool
        Whether operations may follow without brackets around them, as behind ``=``.

    Raises
    ------
    BadTextError
        Where it is no value, or cannot be computed: a root of a negative number, a division by zero ...

    Example
    -------
    >>> read_value("[1+2*3-4/5]", 0, Parameters()).number
    6.2
    """
    found = _Reader(line, parameters).value(at, chained)
    return Value(None, found.end) if _is_missing(found.number) else found


class _Reader:
    """Reads values of one line."""

    def __init__(self, line: str, parameters: Parameters) -> None:
        self.line, self.parameters, self.depth = line, parameters, 0

    def value(self, at: int, chained: bool) -> Value:
        if chained:
            return self._operations(at, closing=False)
        return self._operand(at)

    def _skip(self, at: int) -> int:
        while at < len(self.line) and self.line[at] in " \t\r":
            at += 1
        return at

    def _operand(self, at: int) -> Value:
        line, at = self.line, self._skip(at)
        if (match := _NUMBER.match(line, at)) is not None:
            number = float(match[0].replace(" ", "").replace("\t", ""))
            return Value(self._sane(number, at), match.end())
        sign = 1.0
        if line[at : at + 1] in ("-", "+"):
            sign = -1.0 if line[at] == "-" else 1.0
            at = self._skip(at + 1)
        if line[at : at + 1] == "[":
            found = self._bracket(at)
        elif line[at : at + 1] == "#":
            found = self._parameter(at)
        elif (match := _NAME.match(line, at)) is not None:
            found = self._function(at, match[0].upper(), match.end())
        else:
            shown = line[at : at + 8].strip() or "the end of the line"
            raise BadTextError(at + 1, f"a value is missing before '{shown}'", "write a number, #, or an expression")
        return found if sign > 0 or found.number is None else Value(-found.number, found.end)

    def _bracket(self, at: int) -> Value:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise BadTextError(at + 1, f"more than {_DEEPEST} brackets within each other", "write it in several steps")
        found = self._operations(at + 1, closing=True)
        self.depth -= 1
        return found

    def _parameter(self, at: int) -> Value:
        key, end = self.key(at)
        return Value(self.parameters.get(key, at + 1), end)

    def key(self, at: int) -> tuple[int | str, int]:
        """Number or name of the parameter whose ``#`` stands at a place, and where its text ends."""
        after = self._skip(at + 1)
        if (named := _PARAMETER_NAME.match(self.line, after)) is not None:
            return "".join(named[1].lower().split()), named.end()
        if self.line[after : after + 1] == "#":
            inner, end = self.key(after)
            index: Value = Value(self.parameters.get(inner, after + 1), end)
        else:
            index = self._operand(after)
        number = index.number
        if number is None or abs(number - round(number)) > _SAME or not 0 <= round(number) <= self.parameters.LARGEST:
            shown = self.line[at : index.end].strip()
            remedy = f"use a whole number from 1 to {self.parameters.LARGEST}"
            raise BadTextError(at + 1, f"'{shown}' is no parameter", remedy)
        return round(number), index.end

    def _function(self, at: int, name: str, end: int) -> Value:
        if name == "EXISTS":
            opened = self._skip(end)
            inner = self._skip(opened + 1)
            if self.line[opened : opened + 1] != "[" or self.line[inner : inner + 1] != "#":
                raise BadTextError(at + 1, "EXISTS asks for a parameter", "write EXISTS[#<name>]")
            key, after = self.key(inner)
            after = self._skip(after)
            if self.line[after : after + 1] != "]":
                raise BadTextError(after + 1, "a bracket is not closed", "close it with ']'")
            return Value(float(self.parameters.has(key)), after + 1)
        if name not in _FUNCTIONS and name != "ATAN":
            known = ", ".join(sorted([*_FUNCTIONS, "ATAN", "EXISTS"]))
            raise BadTextError(at + 1, f"'{name}' is no function that is known", f"use one of: {known}")
        opened = self._skip(end)
        if self.line[opened : opened + 1] != "[":
            raise BadTextError(opened + 1, f"{name} needs brackets", f"write {name}[...]")
        first = self._bracket(opened)
        argument = self._number(first.number)
        if name == "ATAN":
            slash = self._skip(first.end)
            second_at = self._skip(slash + 1)
            if self.line[slash : slash + 1] != "/" or self.line[second_at : second_at + 1] != "[":
                raise BadTextError(at + 1, "ATAN needs two values", "write ATAN[y]/[x]")
            second = self._bracket(second_at)
            angle = math.degrees(math.atan2(argument, self._number(second.number)))
            return Value(angle, second.end)
        try:
            result = _FUNCTIONS[name](argument)
        except (ValueError, OverflowError):
            raise BadTextError(at + 1, f"{name}[{argument:g}] cannot be computed", "check the value in it") from None
        return Value(self._sane(result, at), first.end)

    @staticmethod
    def _number(value: float | None) -> float:
        """A missing value counts as 0 in operations and functions."""
        return 0.0 if value is None or _is_missing(value) else value

    def _sane(self, value: float, at: int) -> float:
        if not abs(value) < _LARGEST:
            raise BadTextError(at + 1, f"{value:g} is too large a number", "check the numbers")
        return value

    def _operations(self, at: int, *, closing: bool) -> Value:
        """Operands with operators between them, up to the closing bracket or to what belongs to none of them."""
        first = self._operand(at)
        operands: list[float | None] = [first.number]
        operators: list[tuple[str, int]] = []
        at = first.end
        while True:
            at = self._skip(at)
            if closing and self.line[at : at + 1] == "]":
                at += 1
                break
            match = _OPERATOR.match(self.line, at)
            if match is None:
                if closing:
                    shown = self.line[at : at + 8].strip()
                    message = (
                        f"'{shown}' stands where an operator or ']' should" if shown else "a bracket is not closed"
                    )
                    raise BadTextError(at + 1, message, "check the brackets")
                break
            operators.append((match[0].upper(), at))
            following = self._operand(match.end())
            operands.append(following.number)
            at = following.end
        return Value(self._reduced(operands, operators), at)

    def _reduced(self, operands: list[float | None], operators: list[tuple[str, int]]) -> float | None:
        """Powers first, then products, sums, comparisons; AND, OR and XOR last, or with the sums when none compares."""
        compares = any(word in _COMPARISONS for word, _ in operators)
        sums, last = (("+", "-"), ("AND", "OR", "XOR")) if compares else (("+", "-", "AND", "OR", "XOR"), ())
        for level in (("**",), ("*", "/", "MOD"), sums, tuple(_COMPARISONS), last):
            i = 0
            while i < len(operators):
                word, at = operators[i]
                if word not in level:
                    i += 1
                    continue
                operands[i : i + 2] = [self._applied(word, operands[i], operands[i + 1], at)]
                del operators[i]
        return operands[0]

    def _applied(self, word: str, left: float | None, right: float | None, at: int) -> float:
        if word in ("EQ", "NE") and (_is_missing(left) or _is_missing(right)):
            neither = (left is None or _is_missing(left)) and (right is None or _is_missing(right))
            return float(neither == (word == "EQ"))
        a, b = self._number(left), self._number(right)
        if word in _COMPARISONS:
            return float(_COMPARISONS[word](a, b))
        if word in _LOGIC:
            return float(_LOGIC[word](a, b))
        try:
            result = _ARITHMETIC[word](a, b)
        except ZeroDivisionError:
            raise BadTextError(at + 1, "a division by zero", "check the numbers") from None
        except OverflowError:
            raise BadTextError(at + 1, "the result is too large a number", "check the numbers") from None
        if isinstance(result, complex):
            raise BadTextError(at + 1, f"{a:g}**{b:g} cannot be computed", "check the numbers")
        return self._sane(result, at)


def is_function(line: str, at: int) -> bool:
    """Whether the name of a function stands at a place, behind blanks and a sign.

    Parameters
    ----------
    line : str
        Without comments.
    at : int
        Index where to look.
    """
    match = _NAME.match(line, len(line) - len(line[at:].lstrip(" \t+-")))
    return match is not None and match[0].upper() in (*_FUNCTIONS, "ATAN", "EXISTS")


def parameter_key(line: str, at: int, parameters: Parameters) -> tuple[int | str, int]:
    """Number or name of the parameter whose ``#`` stands at a place, and the index behind its text.

    Parameters
    ----------
    line : str
        Without comments.
    at : int
        Index of the ``#``.
    parameters : Parameters
        For numbers that are computed.

    Raises
    ------
    BadTextError
        When no parameter is named there.
    """
    return _Reader(line, parameters).key(at)
