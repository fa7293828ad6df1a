"""Exercises on zero, clamping, the three stations and turning a part; on fit, and on seasons."""

from __future__ import annotations

from shopcalc.cutting.fit import centring, correction
from shopcalc.lessons.drawing_lots import Draft, Given, Lot, in_order, one_right, teaches, wood_of
from shopcalc.lessons.judging import Mistake, Number, tell
from shopcalc.seasons import movement_of, relative_change
from shopcalc.units import read

_WOODS = ("white-oak", "red-oak", "hard-maple", "cherry", "black-walnut", "yellow-poplar")


@teaches("stations", "which-station")
def _station(lot: Lot) -> Draft:
    stations = {
        "flat": "flat on the table", "edge": "stood on its long edge", "end": "stood on end",
    }  # fmt: skip
    task, right = lot.one_of((
        ("raise the edges of a panel", "flat"), ("cut a groove into the narrow edge of a long stile", "edge"),
        ("cut mortises into the narrow edge of a stile", "edge"), ("cut a tenon at the end of a rail, spindle with the"
         " fibres", "end"), ("carve a relief into a panel's face", "flat"), ("bore into the end of a rail", "end"),
    ))  # fmt: skip
    why = {"flat": "There the spindle meets the face.", "edge": "There the spindle meets the narrow edge.",
           "end": "There the spindle meets the end grain."}  # fmt: skip
    options = [(stations[right], ""), *((stations[k], why[k]) for k in stations if k != right)]
    return Draft(
        f"The spindle is always upright. How is the part held to {task}?",
        ("Which side of the part must look up?", "Face, long edge, or end?", "That side goes to the spindle."),
        f"{why[right]} So the part is {stations[right]}.",
        one_right(lot, options), "geometry",
    )  # fmt: skip


@teaches("stations", "turned-over")
def _turned(lot: Lot) -> Draft:
    w = lot.length("width", "60, 70, 80, 90, 100", "2 1/2, 2 3/4, 3, 3 1/2, 4")
    c = lot.length("place", "15, 18, 20, 24", "5/8, 3/4, 7/8, 1")
    right = w.value - c.value
    wrong = (
        Mistake("as if not turned", c.value, "The edge that lay at the fence now looks away from it."),
        Mistake("from the middle", w.value / 2 - c.value, "Measure from the fence, not from the middle."),
    )
    return Draft(
        f"A rail is {w} wide. A groove's middle lies {c} from its marked edge. The marked edge was at the fence."
        f" Now the rail is"
        f" turned over about its length, so the other edge is at the fence. How far from the fence is the groove's"
        f" middle?",
        ("Where is the marked edge now?", "One width away from the fence.", "Width less the old distance."),
        f"The marked edge is {w} from the fence. Less {c}. Joints off the middle come out mirrored when the mark is"
        f" forgotten.",
        Number(right, "length", lot.system, wrong, 0.01), "geometry",
    )  # fmt: skip


@teaches("stations", "zero-on-the-table")
def _zero(lot: Lot) -> Draft:
    said = lot.length("nominal", "18, 19, 20, 22", "3/4, 13/16, 7/8, 1")
    off = (
        lot.one_of((-0.6, -0.5, -0.4, 0.4, 0.5, 0.7))
        if lot.system == "metric"
        else 0.01 * 25.4 * lot.one_of((-3, -2, 2, 3))
    )
    thick = tell(said.value + off, "length", lot.system)
    t = Given(thick, read(thick, "length"))
    d = lot.length("depth", "6, 8, 10", "1/4, 5/16, 3/8")
    right = t.value - d.value
    wrong = (
        Mistake("depth taken for the height", d.value, "Zero is at the table: count up from there."),
        Mistake(
            "drawn thickness for the measured one", said.value - d.value, "The wood on the table counts: measure it."
        ),
        Mistake("added", t.value + d.value, "That is above the wood."),
    )
    return Draft(
        f"Zero is set on the table. The drawing says the part is {said} thick; you measure {t}. A groove is to be"
        f" {d} deep below"
        f" the top. At which height above zero does the tip run?",
        ("Where is the top of the part, from the table?", "Which thickness counts?", "Thickness less depth."),
        f"The top is {t} above the table. Less {d}.", Number(right, "length", lot.system, wrong, 0.01),
        "geometry",
    )  # fmt: skip


@teaches("stations", "order-of-clamping", safety=True)
def _clamping(lot: Lot) -> Draft:
    what = lot.one_of(("A rail is loaded in the end station.", "A stile is loaded in the edge station.",
                       "A panel is clamped on the table."))  # fmt: skip
    steps = (
        ("see that the spindle stands and cannot start", "Hands go near the cutter: first nothing may move."),
        ("brush chips off the stops", "A chip under the part tilts it and moves its zero."),
        ("lay the part with its mark to the stop", "Before clamping, the part must lie where the zero is."),
        ("clamp, then pull at the part by hand", "A grip is tried before the cutter does."),
        ("check that no clamp stands in the way of the path", "Clamps are only checked where they really are."),
    )
    return Draft(
        f"{what} Put the steps in order.",
        ("What must be sure before your hands go"
         " in?", "Clean, then lay, then grip.", "The way of the cutter comes last."),
        "First safe, then clean, then the mark to the stop, then grip and pull, then the way of the cutter.",
        in_order(lot, steps), "common practice, no source; lock out before reaching in: 29 CFR 1910.147",
    )  # fmt: skip


@teaches("fit", "each-cheek")
def _cheek(lot: Lot) -> Draft:
    wanted = lot.length("wanted", "9.5, 12, 12.5, 15.5", "0.365, 0.490, 0.615, 0.740")
    over = lot.length("over", "0.2, 0.24, 0.3, 0.36, 0.4, 0.5", "0.006, 0.008, 0.010, 0.012, 0.014, 0.016, 0.020")
    measured = wanted.value + over.value
    c = correction(measured, wanted.value, "tenon thickness")
    wrong = (
        Mistake("not halved", over.value, "Both cheeks are cut: each takes half."),
        Mistake("doubled", 2 * over.value, "The two cheeks share the difference."),
    )
    return Draft(
        f"A test tenon measures {tell(measured, 'length', lot.system)}. Wanted is {wanted}. The machine cuts both"
        f" cheeks alike."
        f" How much more must come off each cheek?",
        ("How much is it too thick in all?", "How many cheeks are cut?", "Share it."),
        f"It is {over} too thick in all. Each cheek takes half.",
        Number(c.per_side_mm, "length", lot.system, wrong), "definition",
    )  # fmt: skip


@teaches("fit", "tenon-off-the-middle")
def _middle(lot: Lot) -> Draft:
    a = lot.length("reference", "6.2, 6.4, 6.5, 6.6, 6.8, 7", "0.250, 0.254, 0.256, 0.260, 0.262, 0.270")
    b = lot.length("back", "5.6, 5.8, 6", "0.226, 0.232, 0.238, 0.244")
    right = centring(a.value, b.value, tolerance=0.0).move
    wrong = (
        Mistake("not halved", 2 * right, "What one side wins the other loses: half is enough."),
        Mistake("halved twice", right / 2, "Half the difference, not a quarter."),
    )
    return Draft(
        f"Beside a tenon the shoulder measures {a} at the marked face and {b} at the back. It is to sit in the"
        f" middle. How far do"
        f" both cuts move towards the marked face?",
        ("How far apart are the two?", "Moving by some changes both sides.", "Half the difference."),
        f"The difference is {tell(2 * right, 'length', lot.system)}. Half of it.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("fit", "clearance")
def _clearance(lot: Lot) -> Draft:
    mortise = lot.length("mortise", "8, 9.5, 10, 12, 12.7, 16", "0.250, 0.3125, 0.375, 0.500, 0.625, 0.750")
    c = lot.length("clearance", "0.1, 0.12, 0.15, 0.2, 0.25", "0.003, 0.004, 0.005, 0.006, 0.008, 0.010")
    right = mortise.value - c.value
    wrong = (
        Mistake("clearance on each side", mortise.value - 2 * c.value, "Clearance is told in total, for both cheeks."),
        Mistake("added", mortise.value + c.value, "Positive clearance is loose: the tenon is thinner."),
    )
    return Draft(
        f"A mortise is {mortise} wide. The clearance is to be {c} in all, positive is loose. How thick is the tenon?",
        ("Is the tenon thinner or thicker than the"
         " mortise?", "In all means both sides together.", "Mortise less clearance."),
        f"{mortise} less {c}.", Number(right, "length", lot.system, wrong, 0.002), "definition",
    )  # fmt: skip


@teaches("fit", "season")
def _season(lot: Lot) -> Draft:
    key = lot.one_of(_WOODS)
    m = movement_of(wood_of(key))
    w = lot.length("width", "200, 250, 300, 400", "8, 10, 12, 16")
    dry, wet = lot.one_of((6.0, 7.0, 8.0)), lot.one_of((10.0, 11.0, 12.0, 13.0))
    flat = lot.one_of((True, False))
    change = m.change_tangential if flat else m.change_radial
    other = m.change_radial if flat else m.change_tangential
    lot.given["moisture_from"], lot.given["moisture_to"] = dry, wet
    right = w.value * float(relative_change(dry, wet, change))
    wrong = (
        Mistake("the other way of sawing", w.value * other * (wet - dry),
                "Flat-sawn goes with the rings, quarter-sawn across them."),
        Mistake("for one percent only", w.value * change, "The moisture changes by more than one percent."),
        Mistake("whole moisture taken", w.value * change * wet, "Only the change of moisture counts."),
    )  # fmt: skip
    sawn = "flat-sawn" if flat else "quarter-sawn"
    return Draft(
        f"A {sawn} panel of {m.title} is {w} wide at {dry:g} % moisture. In summer it reaches {wet:g} %. For each"
        f" percent it moves"
        f" {m.change_tangential:.5f} of its width when flat-sawn, and {m.change_radial:.5f} when quarter-sawn. How"
        f" much wider"
        f" does it get?",
        ("Which of the two figures"
         " counts?", "By how many percent does the moisture change?", "Width x figure x change."),
        f"{w} times {change:.5f} times {wet - dry:g}. The groove must leave it that much room.",
        Number(right, "length", lot.system, wrong, 0.04),
        "Wood Handbook, FPL-GTR-190 (2010), Eq. 13-2; its coefficients",
    )  # fmt: skip
