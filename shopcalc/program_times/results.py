"""What is known of a program once it is timed, or why it is refused."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from shopcalc.errors import Fault
from shopcalc.gcode.reports import Note
from shopcalc.motion.results import DepthBand, Place

#: Slowest places kept of each program.
MOST_PLACES = 100


@dataclass(frozen=True)
class ProgramTime:
    """A program's machine time and what it is made of.

    Parameters
    ----------
    file : str
        As it was named.
    blocks, moves : int
        Lines with at least one word up to the end of the program, and moves they make.
    noted : int
        Executed lines with at least one warning.
    cutting_length, rapid_length : float
        Along the path [mm].
    cutting_time_s, rapid_time_s, dwell_time_s, change_time_s : float
        nan where a feed is unknown [s].
    length_over_feed_s : float
        What length / feed alone would say for the cutting moves, feed as run [s].
    extents : (3, 2) float
        Lowest and highest x, y and z [mm].
    cutters : tuple of int
        Numbers of the cutters that cut.
    causes, by_kind : mapping
        Seconds by what they went to, in words, and by kind of move [s].
    by_cutter : mapping
        Cutter number to seconds [s]; changes count for the cutter put in.
    labels : mapping
        Names of cutter numbers, where the program says them.
    by_depth : tuple of DepthBand
        Cutting by the height of its lower end, highest band first, in steps both of 1 mm and of 1/16 in.
    slowest : tuple of Place
        Where most was lost against the asked speed, neighbouring moves as one place; at most ``MOST_PLACES``.
    feedless_line : int or None
        Line of the first cut without a feed.
    warnings : tuple of Note
        At most one of a kind, with how often it occurred.
    """

    file: str
    blocks: int
    moves: int
    noted: int
    cutting_length: float
    rapid_length: float
    cutting_time_s: float
    rapid_time_s: float
    dwell_time_s: float
    change_time_s: float
    length_over_feed_s: float
    extents: tuple[tuple[float, float], ...]
    cutters: tuple[int, ...]
    causes: Mapping[str, float]
    by_kind: Mapping[str, float]
    by_cutter: Mapping[int, float]
    labels: Mapping[int, str]
    by_depth: tuple[DepthBand, ...]
    slowest: tuple[Place, ...]
    feedless_line: int | None
    warnings: tuple[Note, ...]

    @property
    def time_s(self) -> float:
        """Time of the whole [s]; nan when the feed of any cutting move is unknown."""
        return self.cutting_time_s + self.rapid_time_s + self.dwell_time_s + self.change_time_s

    @property
    def understood_share(self) -> float:
        """Share of the blocks that were executed without a warning [ratio]."""
        return max(0.0, 1.0 - self.noted / max(self.blocks, 1))

    def as_json(self) -> dict[str, Any]:
        """As ``shopcalc time --json`` gives it; null where a number is unknown."""
        return {
            "file": self.file,
            "blocks": self.blocks,
            "moves": self.moves,
            "cutting_length_mm": _number(self.cutting_length),
            "rapid_length_mm": _number(self.rapid_length),
            "cutting_time_s": _number(self.cutting_time_s),
            "rapid_time_s": _number(self.rapid_time_s),
            "dwell_time_s": _number(self.dwell_time_s),
            "change_time_s": _number(self.change_time_s),
            "time_s": _number(self.time_s),
            "length_over_feed_s": _number(self.length_over_feed_s),
            "extents_mm": {a: [_number(v) for v in row] for a, row in zip("xyz", self.extents, strict=True)},
            "cutters": list(self.cutters),
            "warnings": [
                {"line": n.line, "column": n.column, "word": n.word, "message": n.message} for n in self.warnings
            ],
            "understood_share": _number(self.understood_share),
            "feedless_line": self.feedless_line,
            "by_cause_s": {cause: _number(s) for cause, s in self.causes.items()},
            "by_kind_s": {kind: _number(s) for kind, s in self.by_kind.items()},
            "by_cutter_s": {str(cutter): _number(s) for cutter, s in self.by_cutter.items()},
            "by_depth": [
                {"low_mm": low, "high_mm": high, "time_s": _number(s), "length_mm": _number(length)}
                for (low, high), (s, length, _) in depth_rows(self.by_depth, 1.0).items()
            ],
            "slowest_places": [
                {"line": p.line, "lost_s": _number(p.lost), "held_back_by": p.held_back} for p in self.slowest[:5]
            ],
        }

    def document(self) -> list[Any]:
        """All fields but the file's name, as plain lists that ``from_document`` takes."""
        own = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "file"}
        for name in ("causes", "by_kind", "by_cutter", "labels"):
            own[name] = list(own[name].items())
        own["warnings"] = [[n.line, n.column, n.word, n.message, n.text] for n in self.warnings]
        return list(own.values())

    @classmethod
    def from_document(cls, file: str, document: list[Any]) -> ProgramTime:
        """The same program under a name.

        Parameters
        ----------
        file : str
            Its name.
        document : list
            What ``document`` gave.
        """
        names = [f.name for f in fields(cls) if f.name != "file"]
        own = dict(zip(names, document, strict=True))
        for name in ("causes", "by_kind", "by_cutter", "labels"):
            own[name] = dict(own[name])
        own["extents"] = tuple((low, high) for low, high in own["extents"])
        own["cutters"] = tuple(own["cutters"])
        own["by_depth"] = tuple(DepthBand(*band) for band in own["by_depth"])
        own["slowest"] = tuple(Place(m, line, s, held, tuple(end)) for m, line, s, held, end in own["slowest"])
        own["warnings"] = tuple(Note(*note) for note in own["warnings"])
        return cls(file, **own)


@dataclass(frozen=True)
class Refused:
    """A program that cannot be timed.

    Parameters
    ----------
    file : str
        As it was named.
    faults : tuple of Fault
        Why; at least one.
    """

    file: str
    faults: tuple[Fault, ...]

    def as_json(self) -> dict[str, Any]:
        """As ``shopcalc time --json`` gives it."""
        fault = self.faults[0]
        message = str(replace(fault, file=None, line=None, column=None))
        error = {"line": fault.line, "column": fault.column, "message": message}
        return {"file": self.file, "time_s": None, "error": error}

    def document(self) -> list[Any]:
        """All faults without the file's name, as plain lists that ``from_document`` takes."""
        return [[f.message, f.remedy, f.line, f.column, f.text] for f in self.faults]

    @classmethod
    def from_document(cls, file: str, document: list[Any]) -> Refused:
        """The same refusal under a name.

        Parameters
        ----------
        file : str
            Its name.
        document : list
            What ``document`` gave.
        """
        return cls(file, tuple(Fault(m, r, file, line, column, text=text) for m, r, line, column, text in document))


#: Heights between depth bands: multiples of 1 mm and of 1/16 in, so that both can be added up. A level on such a
#: height belongs to the band above.
MILLIMETRE, SIXTEENTH = 1.0, 25.4 / 16
_REACH = 500.0
EDGES: tuple[float, ...] = tuple(
    sorted(
        {
            round(k * step, 6)
            for step in (MILLIMETRE, SIXTEENTH)
            for k in range(-int(_REACH / step), int(_REACH / step) + 1)
        }
    )
)


def depth_rows(
    bands: tuple[DepthBand, ...], step: float
) -> dict[tuple[float | None, float | None], tuple[float, float, float]]:
    """Depth bands added up to even steps, highest first.

    Parameters
    ----------
    bands : tuple of DepthBand
        As in ``ProgramTime.by_depth``.
    step : float
        A multiple of 1 mm or of 1/16 in [mm].

    Returns
    -------
    dict
        Lower and upper height [mm], None beyond the outermost, to seconds [s], length [mm] and lost seconds [s].
    """
    rows: dict[tuple[float | None, float | None], tuple[float, float, float]] = {}
    for band in bands:
        if math.isinf(band.low) or math.isinf(band.high):
            low = None if math.isinf(band.low) else round(band.low, 6)
            high = None if math.isinf(band.high) else round(band.high, 6)
        else:
            number = math.floor((band.low + 1e-6) / step)  # edges are rounded
            low, high = round(number * step, 6), round((number + 1) * step, 6)
        s, length, lost = rows.get((low, high), (0.0, 0.0, 0.0))
        rows[low, high] = (s + band.seconds, length + band.length, lost + band.lost)
    return rows


def _number(value: float) -> float | None:
    return round(float(value), 6) if math.isfinite(value) else None
