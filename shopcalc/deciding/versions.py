"""Two versions of a quote held against each other: what changed in hours, lines and price."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Difference:
    """One figure that changed.

    Parameters
    ----------
    what : str
        For people.
    before, after : float or None
        None where it did not stand [unit].
    unit : str
        "h", "min", the currency, or "" for counts.
    """

    what: str
    before: float | None
    after: float | None
    unit: str

    @property
    def change(self) -> float:
        """After less before; what did not stand counts as 0 [unit]."""
        return (self.after or 0.0) - (self.before or 0.0)


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Difference, ...]:
    """What changed between two quotes.

    Parameters
    ----------
    before, after : mapping
        From ``Price.as_json``, as ``quote --json`` prints it.

    Returns
    -------
    tuple of Difference
        Price first, then hours by phase, lines, machine minutes and counts; what stayed is left out.

    Raises
    ------
    ValueError
        When they are in different currencies.
    """
    if before["currency"] != after["currency"]:
        raise ValueError(f"one is in {before['currency']}, the other in {after['currency']}: give both in one")
    found = (d for d in _pairs(before, after) if d.before != d.after)
    return tuple(found)


def _pairs(a: Mapping[str, Any], b: Mapping[str, Any]) -> Iterator[Difference]:
    money = str(a["currency"])
    for key, name in (("asked", "asked price"), ("floor", "floor price"), ("p90", "nine of ten cost up to")):
        yield Difference(name, a["price"][key], b["price"][key], money)
    yield Difference("earned by each of our hours", a["earned_per_hour"], b["earned_per_hour"], money)
    yield Difference("hours of our own people", a["hours_total"], b["hours_total"], "h")
    for phase in dict.fromkeys([*a["hours"], *b["hours"]]):
        old, new = (x["hours"].get(phase, {}).get("best") for x in (a, b))
        yield Difference(f"hours: {phase}", old, new, "h")
    lines = [_summed(x["lines"]) for x in (a, b)]
    for name in dict.fromkeys([*lines[0], *lines[1]]):
        yield Difference(f"line: {name}", lines[0].get(name), lines[1].get(name), money)
    yield Difference("machine minutes", a["machine_minutes"], b["machine_minutes"], "min")
    for key in ("quantity", "programs", "loads"):
        yield Difference(key, a[key], b[key], "")


def _summed(lines: list[Mapping[str, Any]]) -> dict[str, float]:
    out: dict[str, float] = {}
    for line in lines:
        out[line["name"]] = round(out.get(line["name"], 0.0) + line["amount"], 2)
    return out
