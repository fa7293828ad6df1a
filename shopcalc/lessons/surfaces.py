"""Exercises on stepover, cusp and sanding, and on V, ball and tapered cutters."""

from __future__ import annotations

import math

from shopcalc.cutters import Cutter, Shape
from shopcalc.cutting.chipload import mark_spacing
from shopcalc.cutting.engagement import cusp, effective_diameter, groove_width, stepover_for_cusp
from shopcalc.lessons.drawing_lots import Draft, Given, Lot, teaches
from shopcalc.lessons.judging import Mistake, Number, tell

_RADIUS = "radius for diameter"


def _cutter(shape: Shape, diameter: float, tip: float = 0.0, angle: float = 0.0) -> Cutter:
    return Cutter(shape, "", shape, diameter, diameter, 2, 60.0, 90.0, 70.0, tip_diameter=tip, included_angle=angle)


def _ball(lot: Lot) -> Given:
    return lot.length("diameter", "3, 4, 6, 8, 12", "1/8, 3/16, 1/4, 3/8, 1/2")


@teaches("surface", "cusp")
def _cusp(lot: Lot) -> Draft:
    d, s = (
        _ball(lot),
        lot.length(
            "stepover", "0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6", "0.008, 0.010, 0.012, 0.015, 0.018, 0.020, 0.025"
        ),
    )
    right = float(cusp(_cutter("ball", d.value), s.value))
    r = d.value / 2
    wrong = (
        Mistake(_RADIUS, float(cusp(_cutter("ball", 2 * d.value), s.value)), "The radius is half the diameter."),
        Mistake("stepover not halved", r - math.sqrt(r * r - s.value**2), "Half the stepover lies on each side."),
    )
    return Draft(
        f"A ball cutter of {d} runs lines {s} apart on a level face. How high is the cusp that is left between two"
        f" lines?",
        ("Draw two circles beside each other.", "They meet half a stepover from each middle.",
         "Cusp = r - root of (r x r - half the step squared)."),
        f"The radius is {tell(r, 'length', lot.system)}, half the step is"
        f" {tell(s.value / 2, 'length', lot.system)}. The cusp"
        f" is r less the root of r squared less half the step squared. Sanding must take it off.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("surface", "stepover-for-cusp")
def _stepover(lot: Lot) -> Draft:
    d, h = (
        _ball(lot),
        lot.length(
            "cusp", "0.004, 0.005, 0.008, 0.01, 0.015, 0.02, 0.03", "0.0002, 0.0003, 0.0004, 0.0005, 0.0008, 0.001"
        ),
    )
    right = float(stepover_for_cusp(_cutter("ball", d.value), h.value))
    wrong = (
        Mistake(
            _RADIUS, float(stepover_for_cusp(_cutter("ball", 2 * d.value), h.value)), "The radius is half as much."
        ),
        Mistake("half the step", right / 2, "The root gives half the step: it lies on both sides of the cusp."),
        Mistake("square root forgotten", h.value * (d.value - h.value), "Take the root at the end."),
    )
    return Draft(
        f"No cusp on a level face may be higher than {h}. The ball cutter has {d}. How far apart may the lines be?",
        ("Half the step, the radius and what is left of it make a right"
         " triangle.", "Half step squared = h x (2 r - h).",
         "Take the root, then twice."),
        f"h times (diameter less h) is half the step squared. The root is {tell(right / 2, 'length', lot.system)}."
        f" Twice that"
        f" is the step.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("surface", "cusp-on-a-slope")
def _slope(lot: Lot) -> Draft:
    d, s = _ball(lot), lot.length("stepover", "0.3, 0.4, 0.5", "0.010, 0.015, 0.020")
    slope = lot.draw("slope", "angle", "30, 40, 45, 50, 60", unit=("deg", "deg"))
    ball = _cutter("ball", d.value)
    right = float(cusp(ball, s.value, slope.value))
    wrong = (
        Mistake("slope forgotten", float(cusp(ball, s.value)), "Along the slope the lines lie further apart."),
        Mistake("sine for cosine", float(cusp(ball, s.value / math.sin(slope.value))), "A level face has cosine 1."),
        Mistake(
            _RADIUS, float(cusp(_cutter("ball", 2 * d.value), s.value, slope.value)), "The radius is half as much."
        ),
    )
    far = tell(s.value / math.cos(slope.value), "length", lot.system)
    return Draft(
        f"A ball cutter of {d} climbs a slope of {slope} with each new line. Seen from above the lines are {s}"
        f" apart. How high"
        f" is the cusp, square to the slope?",
        ("How far apart are the lines along the"
         " slope?", "Step over the cosine of the slope.", "Then the cusp of that step."),
        f"Along the slope the step is {far}. The cusp of that step is the answer. Steep sides need more sanding.",
        Number(right, "length", lot.system, wrong, 0.04), "geometry",
    )  # fmt: skip


@teaches("surface", "marks-on-the-wall")
def _marks(lot: Lot) -> Draft:
    f = lot.draw("feed", "feed", "3000, 4500, 6000, 9000", "120, 180, 240, 350", ("mm/min", "in/min"))
    n, z = lot.rpm("8000, 10000, 12000, 16000, 18000"), lot.count("flutes", (2, 3))
    right = float(mark_spacing(f.value, n.value))
    wrong = (
        Mistake("divided by the flutes", right / z, "Only one flute stands out: it leaves one mark each turn."),
        Mistake("multiplied by the flutes", right * z, "Only one flute marks the wall, once in a turn."),
        Mistake("per second for per minute", right / 60, "Both count a minute: no 60 is needed."),
    )
    return Draft(
        f"A cutter of {z} flutes turns at {n} and feeds at {f}. One flute stands a hair proud and alone marks the"
        f" wall. How"
        f" far apart are the marks?",
        ("How often does that flute come by?", "Once in each turn.", "Feed over speed."),
        f"One mark in each turn: {f} over {n}.", Number(right, "length", lot.system, wrong), "definition",
    )  # fmt: skip


def _vee(lot: Lot) -> tuple[Given, Given]:
    angle = lot.draw("angle", "angle", "60, 90, 120", unit=("deg", "deg"))
    return angle, lot.length("flat", "0.2, 0.3, 0.4", "0.008, 0.012, 0.016")


@teaches("shapes", "v-width")
def _v_width(lot: Lot) -> Draft:
    angle, flat = _vee(lot)
    d = lot.length("depth", "1, 1.5, 2, 3, 4", "1/32, 1/16, 3/32, 1/8, 5/32")
    right = float(groove_width(_cutter("V", 50.0, flat.value, angle.value), d.value))
    t = math.tan(angle.value / 2)
    wrong = (
        Mistake("half angle forgotten",
                abs(flat.value + 2 * d.value * math.tan(angle.value)) if angle.value < 1.5 else 0.0,
                "Each side leans by half the angle."),
        Mistake("one side only", flat.value + d.value * t, "The groove grows on both sides."),
        Mistake("flat forgotten", 2 * d.value * t, "At the tip the groove is as wide as the flat already."),
    )  # fmt: skip
    return Draft(
        f"A V cutter of {angle} has a flat of {flat} at its tip. Its tip goes {d} deep. How wide is the groove at"
        f" the top?",
        ("How wide is it at the very"
         " bottom?", "Each side leans by half the angle.", "Flat + 2 x depth x tan(half angle)."),
        f"The tangent of half the angle is {t:.4f}. Twice {d} times that, and the flat of {flat}.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("shapes", "v-depth")
def _v_depth(lot: Lot) -> Draft:
    angle, flat = _vee(lot)
    w = lot.length("width", "2, 3, 4, 6, 8", "3/32, 1/8, 3/16, 1/4, 5/16")
    t = math.tan(angle.value / 2)
    right = (w.value - flat.value) / (2 * t)
    assert math.isclose(float(groove_width(_cutter("V", 50.0, flat.value, angle.value), right)), w.value)
    wrong = (
        Mistake("width not halved", (w.value - flat.value) / t, "Each side makes half the width."),
        Mistake("flat forgotten", w.value / (2 * t), "The flat makes some of the width without any depth."),
        Mistake("flat added", (w.value + flat.value) / (2 * t), "Take the flat off the width, do not add it."),
    )
    return Draft(
        f"Letters have strokes {w} wide. The V cutter has {angle} and a flat of {flat} at its tip. How deep must"
        f" the tip go?",
        ("Which part of the width does the flat make?", "Half of the rest belongs to each side.",
         "Over the tangent of half the angle."),
        f"Width less flat is {tell(w.value - flat.value, 'length', lot.system)}. Half of it over {t:.4f} is the"
        f" depth. A"
        f" wrong zero makes every stroke too wide or too thin.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("shapes", "ball-at-depth")
def _ball_at_depth(lot: Lot) -> Draft:
    d = lot.length("diameter", "6, 8, 10, 12", "1/4, 5/16, 3/8, 1/2")
    deep = lot.length("depth", "0.5, 0.8, 1, 1.2, 1.5, 2, 2.5", "0.020, 0.030, 0.040, 0.050, 0.060, 0.080, 0.100")
    right = float(effective_diameter(_cutter("ball", d.value), deep.value))
    wrong = (
        Mistake("radius for diameter", right / 2, "The root gives half the width: it lies on both sides."),
        Mistake("whole diameter taken", d.value, "A ball that is not half in cuts with less than its diameter."),
        Mistake("depth not taken off", 2 * math.sqrt(deep.value * d.value), "Depth times (diameter less depth)."),
    )
    return Draft(
        f"A ball cutter of {d} runs {deep} deep. Which diameter does it cut with at the face of the wood?",
        ("Draw the circle and a line across it at that depth.", "Half the line squared = depth x (diameter - depth).",
         "Take the root, then twice."),
        f"{deep} times the rest of {d}, the root, twice. The tip itself stands still: there it only presses.",
        Number(right, "length", lot.system, wrong, 0.02), "geometry",
    )  # fmt: skip


@teaches("shapes", "tapered-ball")
def _tapered(lot: Lot) -> Draft:
    tip = lot.length("tip", "1, 1.5, 2, 3", "1/32, 1/16, 3/32, 1/8")
    half = lot.draw("half_angle", "angle", "4, 5, 6, 8", unit=("deg", "deg"))
    d = lot.length("depth", "5, 8, 10, 12", "3/16, 5/16, 3/8, 1/2")
    right = float(effective_diameter(_cutter("tapered ball", 25.0, tip.value, 2 * half.value), d.value))
    low, round_wide = tip.value / 2 * (1 - math.sin(half.value)), tip.value * math.cos(half.value)
    wrong = (
        Mistake("taper forgotten", tip.value, "Above the round the cutter grows wider all the way up."),
        Mistake("one side only", (right + tip.value) / 2, "It grows on both sides."),
        Mistake("whole angle for half",
                float(effective_diameter(_cutter("tapered ball", 25.0, tip.value, 4 * half.value),
                d.value)), "The angle given is that of one side already."),
    )  # fmt: skip
    return Draft(
        f"A tapered ball has a round of {tip} across at its tip; each side leans {half}. It is {d} deep. How wide"
        f" is it at the"
        f" face of the wood? Measure along the taper from where the round ends.",
        ("The round ends at r x (1 - sin of the angle).", "There it is 2 r x cos of the angle wide.",
         "Each side then grows by height x tan of the angle."),
        f"The round ends {tell(low, 'length', lot.system)} up and is {tell(round_wide, 'length', lot.system)} wide"
        f" there. Above"
        f" it each side grows by {math.tan(half.value):.4f} of the height. Deep grooves need this room.",
        Number(right, "length", lot.system, wrong), "geometry",
    )  # fmt: skip
