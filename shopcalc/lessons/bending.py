"""Exercises on depth, width and stick-out, and what they do to a tenon."""

from __future__ import annotations

from shopcalc.cutters import Cutter
from shopcalc.cutting.chipload import cutting_power, removal_rate
from shopcalc.cutting.deflection import Give, cantilever
from shopcalc.cutting.engagement import pass_count
from shopcalc.cutting.force import Load, coefficients
from shopcalc.cutting.grain import Direction, grain_vector
from shopcalc.cutting.push_off import push_off
from shopcalc.lessons.drawing_lots import Draft, Lot, one_right, teaches, wood_of
from shopcalc.lessons.judging import Mistake, Number, tell

_BEAM = "beam theory: F L^3 / (3 E I)"


@teaches("bending", "longer-stick-out")
def _stick_out(lot: Lot) -> Draft:
    short = lot.length("short", "25, 30, 35, 40", "1, 1 1/4, 1 3/8, 1 1/2")
    long = lot.length("long", "50, 55, 60, 70", "2, 2 1/4, 2 1/2, 2 3/4")
    gives = lot.length("gives", "0.01, 0.02, 0.03, 0.04", "0.0005, 0.001, 0.0015, 0.002")
    k = long.value / short.value
    bar = (10.0, 600e3, 12.0)
    ratio = float(cantilever(bar[0], long.value, *bar[1:]) / cantilever(bar[0], short.value, *bar[1:]))
    wrong = (
        Mistake("in proportion to the length", gives.value * k, "Twice as long gives far more than twice."),
        Mistake("squared for cubed", gives.value * k**2, "The length counts three times: take its cube."),
        Mistake("to the fourth power", gives.value * k**4, "The fourth power belongs to the diameter."),
    )
    return Draft(
        f"A cutter sticks out {short}. Its tip gives way by {gives} under a side force. The same cutter now sticks out"
        f" {long}. By how much does it give way under the same force?",
        ("How many times longer is"
         " it?", "What it gives goes with the cube of the length.", "Cube that, times the first."),
        f"It is {k:.3f} times as long. Its cube is {ratio:.3f}. Times {gives} is what it gives now: so much more"
        f" error on"
        f" the cheek of a tenon.",
        Number(gives.value * ratio, "length", lot.system, wrong), _BEAM,
    )  # fmt: skip


@teaches("bending", "thicker-shank")
def _diameter(lot: Lot) -> Draft:
    thin = lot.length("thin", "6, 8", "1/4, 5/16")
    thick = lot.length("thick", "10, 12", "3/8, 1/2")
    gives = lot.length(
        "gives", "0.04, 0.05, 0.06, 0.08, 0.1, 0.12", "0.002, 0.0025, 0.003, 0.0035, 0.004, 0.005, 0.006"
    )
    k = thin.value / thick.value
    ratio = float(cantilever(10, 40, 6e5, thick.value) / cantilever(10, 40, 6e5, thin.value))
    wrong = (
        Mistake("in proportion to the diameter", gives.value * k, "The diameter counts four times, not once."),
        Mistake("squared for the fourth power", gives.value * k**2, "The square belongs to areas; bending needs more."),
        Mistake("cubed for the fourth power", gives.value * k**3, "The cube belongs to the length."),
        Mistake("turned round", gives.value / ratio, "The thicker one gives less."),
    )
    return Draft(
        f"A cutter of {thin} gives way by {gives} at its tip. One of {thick} sticks out as far, with the same"
        f" force. By how"
        f" much does it give way?",
        ("Which one is"
         " stiffer?", "What it gives goes with the fourth power of the diameter.", "Thin over thick, four times."),
        f"Thin over thick is {k:.3f}. To the fourth power it is {ratio:.4f}. Times {gives}.",
        Number(gives.value * ratio, "length", lot.system, wrong), _BEAM,
    )  # fmt: skip


@teaches("bending", "equal-levels")
def _levels(lot: Lot) -> Draft:
    total = lot.length("total", "25, 32, 38, 44, 50", "1, 1 1/4, 1 1/2, 1 3/4, 2")
    most = lot.length("most", "6, 8, 9, 12, 14", "1/4, 5/16, 3/8, 7/16, 1/2")
    n = pass_count(total.value, most.value)
    fewer = max(1, int(total.value / most.value + 1e-9))
    wrong = (
        Mistake("rounded down", total.value / fewer, "Then each level is deeper than it may be: round up."),
        Mistake("greatest level taken for all", most.value, "Then the last level is thin: share the depth evenly."),
        Mistake("one level too many", total.value / (n + 1), "Fewer levels are enough."),
    )
    return Draft(
        f"A tenon's cheek is {total} long in the spindle's way. One level may be {most} at most. All levels are to"
        f" be alike,"
        f" and as few as can be. How deep is each?",
        ("How many times does the most go into the whole?", "Round that up.", "Share the whole by it."),
        f"{total} over {most} is {total.value / most.value:.2f}. Rounded up it is {n}. {total} over {n} is each level.",
        Number(total.value / n, "length", lot.system,
               tuple(m for m in wrong if abs(float(m.answer) * n / total.value - 1) > 0.06)),
        "definition; the most per level: common practice, no source",
    )  # fmt: skip


@teaches("bending", "power-of-a-cut")
def _power(lot: Lot) -> Draft:
    w = lot.length("width", "4, 6, 8, 10", "3/16, 1/4, 5/16, 3/8")
    d = lot.length("depth", "4, 6, 8", "3/16, 1/4, 5/16")
    f = lot.draw("feed", "feed", "2000, 3000, 4000", "80, 120, 160", ("mm/min", "in/min"))
    one = float(cutting_power(20.0, removal_rate(w.value, d.value, f.value)))
    what, k = lot.one_of((("the depth doubled", 2.0), ("the depth halved", 0.5), ("width and depth both doubled", 4.0),
                          ("the depth doubled and the feed halved", 1.0)))  # fmt: skip
    shares = [s for s in (4.0, 2.0, 1.0, 0.5) if s != k]
    told = {4.0: "four times", 2.0: "twice", 1.0: "the same", 0.5: "half"}
    lot.given["power"] = one
    think = "Power goes with the wood taken in a second: width times depth times feed."
    return Draft(
        f"A side cut is {w} wide and {d} deep at {f}. Now it is run with {what}. If each bit of wood takes the same"
        f" work, what"
        f" power does the spindle give, against before?",
        ("How much wood is taken in a second?", "Width times depth times feed.", "What did each change do to it?"),
        f"Wood taken is width times depth times feed. With {what} it is {told[k]}.",
        one_right(lot, [(told[k], ""), *((told[s], think) for s in shares)]), "definition",
    )  # fmt: skip


@teaches("climb", "pushed-which-way")
def _pushed(lot: Lot) -> Draft:
    wood = lot.one_of(("hard-maple", "white-oak", "yellow-poplar", "cherry", "black-walnut"))
    d = lot.length("diameter", "8, 10, 12", "5/16, 3/8, 1/2")
    width = lot.length("width", "1, 2, 3, 5", "1/32, 1/16, 1/8, 3/16")
    level = lot.length("per_level", "6, 8, 10, 12", "1/4, 5/16, 3/8, 1/2")
    way: Direction = lot.one_of(("climb", "conventional"))
    cutter = Cutter("S", "", "square end", d.value, d.value, 2, 30.0, 80.0, 40.0, helix=0.5)
    material = wood_of(wood)
    offs = [
        float(push_off(Load(cutter, c, grain_vector("flat"), width.value, level.value, way), Give(5000, 1500), 0.15,
                       level.value / 2)[0])
        for c in coefficients(material).values()
    ]  # fmt: skip
    stands_off = offs[0] > 0
    lot.given["push_off"] = offs[1]
    off, into = "it stands off the wall and leaves wood on it", "it is drawn into the wall and takes too much"
    right, other = (off, into) if stands_off else (into, off)
    return Draft(
        f"A {d} cutter runs along the grain of {material.title}, {width} wide and {level} deep. The cut is"
        f" {'a climb cut' if way == 'climb' else 'conventional'}. The cutter gives way. What becomes of the wall?",
        ("Is the chip thick or thin where the flute meets the wall?", "Which way does the wood push the flute?",
         "A climb cut and a conventional one push to different sides."),
        f"Our model of force and give says {tell(abs(offs[1]), 'length', lot.system, 2)} or so. So {right}. A test"
        f" cut in your own"
        f" shop tells more.",
        one_right(lot, [(right, ""), (other, "A climb cut and a conventional one differ in this: turn it round."),
                        ("nothing: only a dull cutter gives way", "Every cutter gives way a little, sharp or dull.")]),
        "our model of force and give; its forces are from memory in part",
        abs(offs[1]) > 0.002 and len({o > 0 for o in offs}) == 1,
    )  # fmt: skip


@teaches("bending", "which-first")
def _which_first(lot: Lot) -> Draft:
    out = lot.length("stick_out", "60, 70, 80", "2 1/4, 2 3/4, 3 1/4")
    less = lot.length("less", "45, 50", "1 3/4, 2")
    shorter = float(cantilever(10, less.value, 6e5, 12) / cantilever(10, out.value, 6e5, 12))
    thin = lot.one_of((0.9, 0.85, 0.8))
    t = tell(out.value - less.value, "length", lot.system)
    lot.given["shorter"] = shorter
    return Draft(
        f"A tenon's cheeks taper: the cutter gives way. It sticks out {out}; {less} would be enough. Or you could"
        f" feed at"
        f" {thin:.0%}, where the force falls to no less than {thin:.0%}. Which helps most?",
        ("By which power does the length"
         " count?", "Cube the share of the length.", "Hold it against the share of force."),
        f"Pushed in by {t} it gives {shorter:.0%} of what it gave. The slower feed leaves at least {thin:.0%}.",
        one_right(lot, [("push the cutter further into the collet", ""),
                        ("feed slower", "The force falls little; the length counts with its cube."),
                        ("run the cut again at the same"
                         " setting", "A rubbing lap heats the edge and takes little.")]), _BEAM,
    )  # fmt: skip
