"""Break-out: where round a part the flutes cut against the grain, where they leave through a face and split it off.

The spindle turns clockwise seen from above. Where a flute touches the wall that stays, its motion then depends on one
thing only: on which side the wood lies. With the wood that stays on the left of one's way, the flutes move along with
it: counter-clockwise round a part, clockwise round an opening. That is called the flutes' way here. The feed has no say
in it: climbing goes against the flutes' way and conventional cutting along it, but reversing the feed changes neither
the lie of the grain at a wall nor the corner through which the flutes come out. What does: to turn the part over and
cut it from its other face, or to turn the spindle the other way with a cutter of that hand.

The rule of break-out, from geometry: a flute moving along ``motion`` leaves the wood through a face with outward normal
``face`` where ``face . motion > 0``; what lies there has nothing behind it. It splits along the fibres, and the split
stays in the face where they run nearly along it: ``|grain . face|`` small. Where they stand on the face they are only
cut off. So a cut across the grain breaks the far edge off, a cut along it that leaves through end grain does not, and
on end, where the fibres run with the spindle, every way out is a bad one.

How feed comes into it: climbing, that face is passed at the beginning of the stroke and only a chip that thins is
pushed out of it; conventionally, at the end, through the last web of wood, which is torn off with the fibres behind it.
And the order: a face that has not been cut yet has its waste behind it, which takes the split and is cut off later.
Hence across the grain first and along it last (common practice, no source; here it follows from the rule).
"""

from shopcalc.cutting.breakout.lies import (
    BUNDLE,
    CORNER,
    NEARLY_ALONG,
    TEARING,
    Edge,
    Exit,
    GrainMap,
    Stretch,
    grain_map,
    splits_along,
)
from shopcalc.cutting.breakout.on_end import FACES, RailExit, TenonExits, for_tenon
from shopcalc.cutting.breakout.outlines import Chip, Risk, Side, chords
from shopcalc.cutting.breakout.planning import EdgePlan, Stroke, plan_edges
from shopcalc.cutting.breakout.strokes import compare, once_around, rewrite

__all__ = [
    "BUNDLE",
    "CORNER",
    "FACES",
    "NEARLY_ALONG",
    "TEARING",
    "Chip",
    "Edge",
    "EdgePlan",
    "Exit",
    "GrainMap",
    "RailExit",
    "Risk",
    "Side",
    "Stretch",
    "Stroke",
    "TenonExits",
    "chords",
    "compare",
    "for_tenon",
    "grain_map",
    "once_around",
    "plan_edges",
    "rewrite",
    "splits_along",
]
