"""Exercises on grain, on climb and conventional, and on which way wood splits."""

from __future__ import annotations

import math

import numpy as np

from shopcalc.cutting.breakout import plan_edges, splits_along
from shopcalc.cutting.grain import arc, end_modes, flute_modes, grain_vector, lie_at_wall, mean_flute_modes
from shopcalc.lessons.drawing_lots import Draft, Lot, one_right, teaches
from shopcalc.lessons.judging import Mistake, Number
from shopcalc.paths import polyline

_WAYS = ("planing along the fibres", "peeling across the fibres", "cutting across the fibre ends")
_WHY = (
    "Planing needs an edge that moves along the fibres.",
    "Peeling needs an edge that lies along the fibres and moves across them.",
    "Fibre ends are met where the cut surface lies square to the fibres.",
)


@teaches("grain", "which-way-of-cutting")
def _which(lot: Lot) -> Draft:
    end = "A rail stands on end, so its fibres run with the spindle."
    cases = (
        (f"{end} How do straight flutes cut its tenon's cheek?", flute_modes(grain_vector("end"), 0.0)),
        (f"{end} How do the teeth at the tip cut its shoulder?", end_modes(grain_vector("end"), 0.8)),
        ("A board lies flat. The cutter feeds along the fibres. How does a flute cut where it leaves the wall?",
         flute_modes(grain_vector("flat"), 0.0)),
        ("A board lies flat. The cutter feeds square to the fibres. How does a flute cut where it leaves the wall?",
         flute_modes(grain_vector("flat", math.pi / 2), 0.0)),
        ("A stile stands on its edge. The cutter feeds along it. How do straight flutes cut where they leave the wall?",
         flute_modes(grain_vector("edge"), 0.0)),
    )  # fmt: skip
    text, shares = lot.one_of(cases)
    most = int(np.argmax(shares))
    lot.given["share"] = float(shares[most])
    options = [(_WAYS[most], ""), *((_WAYS[i], _WHY[i]) for i in range(3) if i != most)]
    hard = "easy" if most == 1 else "the hardest way, with the greatest force" if most == 2 else "clean with the grain"
    return Draft(
        text,
        ("Which way do the fibres run?", "Which way does the edge lie, and which way does it move?", _WHY[most]),
        f"{_WHY[most]} So it is {_WAYS[most]}: {hard}.",
        one_right(lot, options), "geometry; the three ways are McKenzie's 90-0, 0-90 and 90-90",
    )  # fmt: skip


@teaches("grain", "helix-on-end")
def _helix(lot: Lot) -> Draft:
    b = lot.draw("helix", "angle", "12, 15, 18, 20, 22, 25, 28, 30, 32, 35, 38, 40, 42", unit=("deg", "deg"))
    right = float(mean_flute_modes(grain_vector("end"), 6.0, 12.0, "climb", b.value)[0])
    wrong = (
        Mistake("sine not squared", math.sin(b.value), "The share goes with the square of the sine."),
        Mistake("the share that still peels", 1 - right, "This is the other part: what is asked has left peeling."),
        Mistake("angle over a right angle", b.value / (math.pi / 2), "Shares do not go straight with the angle."),
    )
    return Draft(
        f"A rail stands on end. A straight flute would only peel. This one has a helix of {b}. Which share goes over to"
        f" planing, as the square of its sine? Give it in percent.",
        ("A helix of zero leaves none.", "Take the sine of the helix.", "Square it."),
        f"The sine of {b} is {math.sin(b.value):.4f}. Its square is the share.",
        Number(right, "ratio", lot.system, wrong), "geometry",
    )  # fmt: skip


@teaches("grain", "where-it-splits")
def _splits(lot: Lot) -> Draft:
    station = lot.one_of(("flat", "end"))
    across = lot.one_of((True, False))
    face = (1.0, 0.0) if across else (0.0, 1.0)
    splits = splits_along(0.0, face, "end" if station == "end" else "flat")
    lot.given["splits"] = float(splits)
    where = "A rail stands on end and the cutter leaves through an upright face." if station == "end" else (
        "A board lies flat and the cutter leaves through "
        + ("the end of the board." if across else "its long edge, which runs with the fibres.")
    )  # fmt: skip
    down = "along the fibres down the rail, past the shoulder" if station == "end" else "in long strips along that edge"
    yes = f"splits run {down}: back it with a block, or climb lightly first"
    no = "no long split: the fibres end there and only short ones break off"
    never = "nothing breaks out: a sharp cutter needs no support"
    options = [(yes, "The fibres do not run along that face."), (no, "The fibres run along that face: they peel off."),
               (never, "Sharp or not, unbacked fibres can break where the flute leaves.")]  # fmt: skip
    right = options[0] if splits else options[1]
    return Draft(
        f"{where} Nothing backs it up. What happens?",
        ("Which way do the fibres run beside that face?", "Fibres along a face can peel away from it.",
         "Fibres that end at a face break short."),
        f"The fibres {'run along' if splits else 'end at'} that face. So: {right[0]}.",
        one_right(lot, [right, *(o for o in options if o is not right)]),
        "geometry; block and climb lap: common practice, no source",
    )  # fmt: skip


@teaches("grain", "edges-in-order")
def _edges(lot: Lot) -> Draft:
    long = lot.length("length", "400, 500, 600, 800", "16, 20, 24, 32")
    wide = lot.length("width", "200, 250, 300", "8, 10, 12")
    a, b = long.value, wide.value
    plan = plan_edges(polyline([(0, 0), (a, 0), (a, b), (0, b), (0, 0)]), 0.0, waste=4)
    ends_first = set(plan.order[:2]) == {1, 3}
    names = ("both ends first, the long edges last", "both long edges first, the ends last")
    right, other = names if ends_first else names[::-1]
    return Draft(
        f"A panel {long} by {wide} lies flat, its fibres along the long side. All four edges are to be cut. In"
        f" which order?",
        ("Where do fibres break out: at ends or at edges?", "Cutting an end chips its far corner.",
         "A later cut along the grain takes that corner away."),
        "Cutting across the grain can break the far corner. The cuts along the grain then take that corner off.",
        one_right(lot, [(right, ""), (other, "The last cut across the grain would break a finished corner."),
                        ("round and round, it makes no difference", "It does: one way the broken corners stay.")]),
        "common practice, no source; worked by our own order of edges",
    )  # fmt: skip


@teaches("climb", "climb-or-conventional")
def _climb(lot: Lot) -> Draft:
    cases = (
        ("The part that stays lies on the right of the feed.", "right"),
        ("The part that stays lies on the left of the feed.", "left"),
        ("You go round the outside of a part, clockwise seen from above.", "right"),
        ("You go round the outside of a part, counter-clockwise seen from above.", "left"),
        ("You go round the inside of a window, counter-clockwise seen from above.", "left"),
        ("You go round the inside of a window, clockwise seen from above.", "right"),
    )
    text, side = lot.one_of(cases)
    if "inside" in text:  # the wall of a window lies outside the way round it
        side = "right" if "counter" in text else "left"
    width = lot.length("width", "2, 4, 6", "1/16, 1/8, 1/4")
    climbs = side == ("right" if float(arc(width.value, 12.0, "climb")[1]) > 3 else "left")  # pi is on the right
    options = [("climb: the chip starts thick and ends thin", f"The wood that stays is on the {side}."),
               ("conventional: the chip starts thin and ends"
                " thick", f"The wood that stays is on the {side}.")]  # fmt: skip
    right = options[0] if climbs else options[1]
    return Draft(
        f"Seen from above the spindle turns clockwise. {text} The cut is {width} wide. Which is it?",
        ("Stand on the cutter and look along the feed.", "On which side does the wood stay?",
         "Right is climb, left is conventional."),
        f"The wood that stays is on the {side}. There the flute moves {'against' if climbs else 'with'} the feed. So:"
        f" {right[0]}.",
        one_right(lot, [right, *(o for o in options if o is not right),
                        ("neither: only the depth decides"
                         " that", "It is decided by the side on which the wood stays.")]),
        "geometry",
    )  # fmt: skip


@teaches("climb", "with-or-against")
def _lie(lot: Lot) -> Draft:
    degrees = lot.one_of((-40, -30, -20, -10, 0, 10, 20, 30, 40, 90))
    way = lot.one_of(("climb", "conventional"))
    lie = lie_at_wall(grain_vector("flat", math.radians(degrees)), "climb" if way == "climb" else "conventional")
    lot.given["grain"] = math.radians(degrees)
    side, cuts = ("right", "climb") if way == "climb" else ("left", "cut conventionally")
    turned = f"{abs(degrees)}° to the {'left' if degrees > 0 else 'right'} of the feed" if degrees % 90 else (
        "along the feed" if degrees == 0 else "square to the feed")  # fmt: skip
    words = {"with": "with the grain: the fibres are cut off clean",
             "against": "against the grain: the fibres split ahead of the edge",
             "neither": "neither: the fibres run along the wall or square to it"}  # fmt: skip
    why = {"with": "It would be so if the fibres came out of the wall ahead of the edge.",
           "against": "It would be so if the fibres dived into the wall ahead of the edge.",
           "neither": "It would be so at zero or at a right angle."}  # fmt: skip
    return Draft(
        f"A board lies flat. The wood that stays is on the {side} of the feed, so you {cuts}. The fibres, looking"
        f" ahead, point {turned}. How does the flute meet the wall?",
        ("Draw the feed, the wall and the fibres.", "Which way does the flute move where it touches the wall?",
         "Do the fibres ahead of it go into the wall or come out?"),
        f"At the wall the flute moves {'back against' if way == 'climb' else 'along with'} the feed. Seen that way"
        f" it works"
        f" {words[lie]}.",
        one_right(lot, [(words[lie], ""), *((words[k], why[k]) for k in words if k != lie)]), "geometry",
    )  # fmt: skip
