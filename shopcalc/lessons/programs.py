"""Exercises on reading a program and a set-up sheet before the first chip; our own reader is the judge."""

from __future__ import annotations

from collections.abc import Sequence

from shopcalc.gcode import read_text
from shopcalc.lessons.drawing_lots import Draft, Lot, one_right, teaches
from shopcalc.lessons.judging import Line, Mistake, Number, tell
from shopcalc.moves import Kind
from shopcalc.units import System

_BOARD = 1.0  # mm below the part that may be cut into the waste board


def found(lines: Sequence[str], thickness: float, marked: float, units: System) -> list[tuple[int, str]]:
    """Faults of a short program against its set-up sheet, by what the moves really do.

    Parameters
    ----------
    lines : sequence of str
        Of the program; zero is the top of the part.
    thickness : float
        Of the part [mm].
    marked : float
        Greatest speed marked on the cutter [rev/min].
    units : {"metric", "inch"}
        In which the sheet says the program is written.

    Returns
    -------
    list of (int, str)
        Line and what is wrong: "rapid through wood", "too deep", "no feed", "standing spindle", "too fast", "units".

    Example
    -------
    >>> found(["G21 G90", "S12000 M3", "G0 X0 Y0 Z5", "G0 Z-3", "G1 X50 F3000", "G0 Z5", "M30"], 18, 18000, "metric")
    [(4, 'rapid through wood')]
    """
    moves = read_text("\n".join(lines) + "\n", "exercise").moves
    out: dict[str, int] = {}
    word = "G21" if units == "metric" else "G20"
    wrong_units = [n for n, line in enumerate(lines, 1) if {"G20", "G21"} & set(line.split()) - {word}]
    if wrong_units:
        return [(wrong_units[0], "units")]
    for i, kind in enumerate(moves.kind):
        line = int(moves.line[i])
        low = float(min(moves.points[i][2], moves.points[i + 1][2]))
        if kind == Kind.RAPID and low < 0 and moves.points[i + 1][2] <= moves.points[i][2]:
            out.setdefault("rapid through wood", line)
        if kind in (Kind.LINE, Kind.ARC):
            if low < -thickness - _BOARD:
                out.setdefault("too deep", line)
            if not moves.feed[i] > 0:
                out.setdefault("no feed", line)
            if not moves.rpm[i] > 0:
                out.setdefault("standing spindle", line)
        if moves.rpm[i] > marked:
            out.setdefault("too fast", next(n for n, t in enumerate(lines, 1) if "S" in t))
    return sorted((line, what) for what, line in out.items())


_FAULTS = {
    "rapid through wood": "The tip goes into the wood at full rapid speed: it must be a feed move.",
    "too deep": "The tip goes through the part and deep into the table.",
    "no feed": "A feed move without any feed: the control takes an old one, or stops.",
    "too fast": "The speed is above the mark on the cutter.",
    "units": "The program says the other unit than the sheet: every size is 25.4 times wrong.",
    "standing spindle": "The cut begins with the spindle at rest.",
}
_SOUND = {
    3: "The first rapid stays above the part.", 4: "A rapid down to just above the part is meant.",
    6: "It feeds along the groove.", 7: "It feeds across.", 8: "It feeds back.", 9: "It lifts the tip out of the wood.",
}  # fmt: skip


def _program(lot: Lot, fault: str) -> tuple[list[str], float, float]:
    metric = lot.system == "metric"
    thick = lot.length("thickness", "18, 20, 22", "3/4, 7/8, 1")
    speed = int(lot.rpm("12000, 14000, 16000").value)
    k = 1.0 if metric else 1 / 25.4

    def n(mm: float) -> str:
        return f"{mm * k:.{1 if metric else 3}f}"

    deep = lot.one_of((4.0, 5.0, 6.0))
    x0, y0 = lot.one_of((20.0, 30.0, 40.0)), lot.one_of((15.0, 25.0))
    long, wide = lot.one_of((60.0, 80.0, 120.0)), lot.one_of((10.0, 12.0, 20.0))
    plunge, feed = lot.one_of((800.0, 1000.0)), lot.one_of((2500.0, 3000.0, 4000.0))
    down = "G0" if fault == "rapid through wood" else "G1"
    z = -10.0 * deep if fault == "too deep" else -deep
    lines = [
        f"{'G20' if metric == (fault == 'units') else 'G21'} G90 G17",
        "M5" if fault == "standing spindle" else f"S{2 * speed if fault == 'too fast' else speed} M3",
        f"G0 X{n(x0)} Y{n(y0)} Z{n(20)}",
        f"G0 Z{n(3)}",
        f"{down} Z{n(z)}" + ("" if fault in ("no feed", "rapid through wood") else f" F{plunge * k:.0f}"),
        f"G1 X{n(x0 + long)} F{feed * k:.0f}",
        f"G1 Y{n(y0 + wide)}",
        f"G1 X{n(x0)}",
        f"G0 Z{n(20)}",
        "M5",
        "M30",
    ]
    lot.given["marked"] = 1.25 * speed
    return lines, thick.value, 1.25 * speed


@teaches("programs", "find-the-fault", safety=True)
def _find(lot: Lot) -> Draft:
    fault = lot.one_of(("rapid through wood", "too deep", "no feed", "too fast", "units", "standing spindle"))
    lines, thick, marked = _program(lot, fault)
    faults = found(lines, thick, marked, lot.system)
    line = 2 if fault == "standing spindle" else faults[0][0]
    assert [what for _, what in faults] == [fault], "the program has another fault than the one put in"
    unit = "millimetres" if lot.system == "metric" else "inches"
    wrong = tuple(Mistake("a sound line", str(k), t) for k, t in _SOUND.items() if k != line)
    return Draft(
        f"The sheet says: part {tell(thick, 'length', lot.system)} thick, lying on the waste board; zero on its"
        f" top; program in"
        f" {unit}; cutter marked for at most {marked:.0f} rpm. Do not run it: one line has a fault that can hurt."
        f" Which line?",
        ("Write the height of the tip beside each line.", "Is the tip in the wood? Then: which speed, which feed?",
         "Hold the units, the depths and the speed against the sheet."),
        f"{_FAULTS[fault]}", Line(line, tuple(lines), wrong),
        "RS274/NGC as in NISTIR 6556, read by our own reader; never above the mark: EN 1870, second-hand",
    )  # fmt: skip


@teaches("programs", "how-deep")
def _how_deep(lot: Lot) -> Draft:
    metric = lot.system == "metric"
    steps = lot.one_of((2, 3, 4))
    step = lot.one_of((1.5, 2.0, 2.5, 3.0) if metric else (0.06, 0.08, 0.1, 0.12))
    clear = lot.one_of((2.0, 5.0) if metric else (0.08, 0.2))
    unit = "mm" if metric else "in"
    lines = ["G21 G90" if metric else "G20 G90", "S12000 M3", f"G0 X0 Y0 Z{clear:g}", "G91"]
    for i in range(steps):
        drop = clear + step if i == 0 else step
        lines += [f"G1 Z-{drop:g} F{800 if metric else 30}", f"G1 X{'' if i % 2 == 0 else '-'}{100 if metric else 4}"]
    lines += ["G90", f"G0 Z{clear:g}", "M30"]
    moves = read_text("\n".join(lines) + "\n", "exercise").moves
    right = -float(moves.extents()[2][0])
    per = 1.0 if metric else 25.4
    lot.given["depth"] = right
    wrong = (
        Mistake("last step taken for the depth", step * per, "The steps add up: G91 counts from where the tip is."),
        Mistake("height above not taken off", right + clear * per, "The first step begins above the part."),
        Mistake("one level forgotten", right - step * per, "Count the steps down once more."),
    )
    return Draft(
        "Zero is the top of the part. How deep below the top does this program go? Give the depth as a length.\n"
        + "\n".join(f"    {line}" for line in lines) + "\n",
        ("What does G91 change?", "Start above the part and add each step.", f"The start is {clear:g} {unit} up."),
        f"From {clear:g} {unit} above, the steps go down one after the other. The last stands {steps} levels of"
        f" {step:g} {unit}"
        f" below the top.",
        Number(right, "length", lot.system, wrong), "RS274/NGC (NISTIR 6556)",
    )  # fmt: skip


@teaches("programs", "before-the-first-run", safety=True)
def _before(lot: Lot) -> Draft:
    thick = lot.length("thickness", "18, 20, 25", "3/4, 7/8, 1")
    deep = lot.length("depth", "19, 21, 24, 26, 30", "13/16, 15/16, 1 1/32, 1 1/8, 1 1/4")
    into = deep.value - thick.value
    lot.given["into"] = into
    through = into > 0
    said = ("it cuts through: ask what lies below, waste board, pins or clamps",
            "it stays in the part: ask what is left below the floor")  # fmt: skip
    right, other = said if through else said[::-1]
    far = tell(abs(into), "length", lot.system)
    if abs(into) < 0.05:
        right, other = "it ends just at the under side: measure the part, then decide", said[0]
    return Draft(
        f"The sheet says the part is {thick} thick, zero on its top. You read that the program's lowest Z is {deep}"
        f" below zero."
        f" What does it do, and what do you ask next?",
        ("Hold the depth against the thickness.", "Which is more, and by how much?", "What lies under the part there?"),
        f"The depth is {far} {'more' if through else 'less'} than the thickness.",
        one_right(lot, [(right, ""), (other, "Hold the depth against the thickness once more."),
                        ("it does not matter: the program has been"
                         " proved", "A proved program meets a new part each day.")]),
        "common practice, no source",
    )  # fmt: skip
