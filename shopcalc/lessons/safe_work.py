"""Exercises on safe work, and what to do when something sounds, smells or moves wrong."""

from __future__ import annotations

import numpy as np

from shopcalc.cutting.chipload import feed_per_tooth, mean_chip
from shopcalc.cutting.deflection import cantilever
from shopcalc.cutting.engagement import Numbers, Result
from shopcalc.lessons.drawing_lots import Draft, Lot, in_order, one_right, teaches
from shopcalc.lessons.judging import Mistake, Number, tell
from shopcalc.sources import Caution, bibliography, cautions, practice

_RECOMMENDED = 85.0  # dBA; check SL10
_STEP = 3.0
_LEGAL, _LEGAL_STEP = 90.0, 5.0  # dBA, dB; check SL08


def permitted_minutes(level: Numbers) -> Result:
    """Time a day in noise that the US health institute recommends at the most, without ear muffs or plugs.

    Parameters
    ----------
    level : float or (n,) float
        Of sound, A-weighted [dBA].

    Returns
    -------
    float or (n,) float
        [min]: 480 at 85 dBA, half of it for every 3 dB more. At 85 dBA and below, too, ears are worth protecting.

    References
    ----------
    National Institute for Occupational Safety and Health, publication 98-126, Table 1-1.

    Example
    -------
    >>> float(permitted_minutes(94))
    60.0
    """
    return 480.0 / 2.0 ** ((np.asarray(level, float)[()] - _RECOMMENDED) / _STEP)


def legal_minutes(level: Numbers) -> Result:
    """Time a day in noise that US law allows, without ear muffs or plugs; it protects less.

    Parameters
    ----------
    level : float or (n,) float
        Of sound, A-weighted [dBA].

    Returns
    -------
    float or (n,) float
        [min]: 480 at 90 dBA, half of it for every 5 dB more.

    References
    ----------
    29 CFR 1910.95, second-hand: row SL08 of the table of cautions.

    Example
    -------
    >>> float(legal_minutes(95))
    240.0
    """
    return 480.0 / 2.0 ** ((np.asarray(level, float)[()] - _LEGAL) / _LEGAL_STEP)


def _says(id: str) -> Caution:
    return next(c for c in cautions() if c.id == id)


def _cited(c: Caution) -> str:
    known = bibliography().get(c.source)
    return f"{', '.join(p for p in (str(known or c.source), c.place) if p)} ({c.kind})"


@teaches("safety", "noise-time", safety=True)
def _noise(lot: Lot) -> Draft:
    level = lot.count("level", (88, 91, 94, 97, 100))
    what = lot.one_of(("A router", "A planer", "The dust collector", "The saw beside you", "The whole shop"))
    right = 60 * float(permitted_minutes(level))
    wrong = (
        Mistake(
            "halved every 5 dB from 90",
            60 * 480 / 2 ** ((level - 90) / 5),
            "That is the law's rule, which protects less.",
        ),
        Mistake(
            "halved every 10 dB", 60 * 480 / 2 ** ((level - 85) / 10), "10 dB sounds twice as loud; harm comes sooner."
        ),
        Mistake(
            "in proportion", 60 * 480 * 85 / level, "Decibels do not go in proportion: each 3 dB doubles the power."
        ),
    )
    return Draft(
        f"{what} is measured at {level} dBA where you stand. 8 hours at 85 dBA is the recommended most, and half"
        f" the time for"
        f" every 3 dB more. How long is that, with bare ears?",
        ("How many steps of 3 dB above 85?", "Halve 8 hours that many times.", "Answer in minutes or hours."),
        f"{(level - 85) // 3} steps above 85. 480 minutes halved so often is {permitted_minutes(level):g} minutes."
        f" Wear hearing"
        f" protection from the first minute.",
        Number(right, "time", lot.system, wrong), _cited(_says("SL10")),
    )  # fmt: skip


@teaches("safety", "marked-speed", safety=True)
def _marked(lot: Lot) -> Draft:
    marked = lot.rpm("14000, 16000, 18000, 20000")
    spindle = lot.draw("spindle", "spindle_speed", "24000, 25000", unit=("rpm", "rpm"))
    wanted = lot.draw("wanted", "spindle_speed", "10000, 12000, 17000, 19000, 22000", unit=("rpm", "rpm"))
    right = min(marked.value, wanted.value)
    wrong = (
        Mistake("what the table asks", wanted.value, "A table never overrules the mark on the cutter."),
        Mistake("what the spindle can", spindle.value, "The spindle does not know what the cutter bears."),
        Mistake("the mark though less is wanted", marked.value, "The mark is the most, not the aim."),
    )
    return Draft(
        f"A cutter is marked: at most {marked}. The spindle can do {spindle}. The table of feeds asks for {wanted}."
        f" Which speed do"
        f" you set?",
        ("Which of the three must never be passed?", "The mark on the cutter.", "The least of mark and wish."),
        f"Never above {marked}. So the least of {marked} and {wanted}; the chip is then kept by the feed.",
        Number(right, "spindle_speed", lot.system,
               tuple(m for m in wrong if m.answer != right), 1e-9), _cited(_says("SL21")),
    )  # fmt: skip


@teaches("safety", "no-mark", safety=True)
def _no_mark(lot: Lot) -> Draft:
    d = lot.length("diameter", "3, 6, 8, 12, 20, 25, 40", "1/8, 1/4, 3/8, 1/2, 3/4, 1, 1 1/2")
    small = d.value < 16.0
    ask = "no mark is needed at this size: set no more than the maker's data sheet says"
    leave = "leave it out of the spindle until its maker has told the greatest speed"
    right, other = (ask, leave) if small else (leave, ask)
    bound = "16 mm" if lot.system == "metric" else "16 mm, which is 0.63 in"
    return Draft(
        f"A cutter of {d} bears no speed mark. Its maker's sheet lies in the drawer. EN 847-1 does not cover"
        f" cutters below"
        f" {bound}. What do you do?",
        ("Is it below that size?", "Above it, a mark is missing that should be there.", "Below it, the sheet counts."),
        f"{d} is {'below' if small else 'above'} it. So {right}.",
        one_right(lot, [(right, ""), (other, "Hold its diameter against the size in the standard."),
                        ("run it at the spindle's top speed: carbide bears it", "No cutter bears every speed.")]),
        _cited(_says("SL18")),
    )  # fmt: skip


@teaches("safety", "dust", safety=True)
def _dust(lot: Lot) -> Draft:
    wood, id = lot.one_of((("white oak", "SL06a"), ("beech", "SL06a"), ("black walnut", "SL06b"), ("birch", "SL06b"),
                           ("hard maple", "SL06c"), ("cherry", "SL06c")))  # fmt: skip
    c = _says(id)
    words = {"SL06a": "A1: it is known to cause cancer in people",
             "SL06b": "A2: it is suspected to cause cancer in people",
             "SL06c": "A4: there is too little to say, and it still harms the lungs"}  # fmt: skip
    lot.given["class"] = float(c.value[1])
    return Draft(
        f"How is the dust of {wood} classed, in the list of the threshold limit values of 2007?",
        ("There are three classes in the list of cautions.", "A1 is the worst: oak and beech are there.",
         f"The answer begins with {c.value}."),
        f"{wood.capitalize()} is in class {words[id]}. Extract the dust at the cutter, whatever the class.",
        one_right(lot, [(words[id], ""), *((words[k], "Look it up in the table of cautions: woods differ.")
                                           for k in words if k != id)]), _cited(c),
    )  # fmt: skip


@teaches("safety", "dust-limit", safety=True)
def _dust_limit(lot: Lot) -> Draft:
    id = lot.one_of(("SL01", "SL02", "SL03", "SL04", "SL05"))
    c = _says(id)
    what = c.item.split(" (")[0]
    lot.given["limit"] = float(c.value.split()[0])
    values = sorted({_says(f"SL0{n}").value for n in (1, 2, 3, 4, 5)}, key=lambda v: float(v.split()[0]))
    return Draft(
        f"More than one limit holds for dust in the air. One is the {what}. What is it? Find it in the table of"
        f" cautions.",
        ("Laws allow more than health institutes"
         " advise.", "Total dust counts more than the part that is breathed deep.",
         f"It stands in the table of cautions as {c.id}."),
        f"It is {c.value}. Laws are the least: keep to the strictest that you can reach.",
        one_right(lot, [(c.value, ""), *((v, "This is one of the other limits.") for v in values if v != c.value)]),
        _cited(c),
    )  # fmt: skip


@teaches("safety", "lock-out", safety=True)
def _lock_out(lot: Lot) -> Draft:
    job = lot.one_of(("A chip is jammed beside the spindle.", "The collet is to be cleaned inside the guard.",
                      "The dust hood has come loose within reach of the"
                      " cutter.", "A belt of the machine is slack."))  # fmt: skip
    steps = (
        ("stop feed and spindle, and wait until the cutter stands", "A cutter runs on: nothing else before it stands."),
        ("switch off at the disconnect and lock it; keep the key", "Only a lock keeps others from switching on."),
        ("try to start it: it must stay dead", "A switch may be the wrong one: trying shows it."),
        ("do the work", "Hands go in only when it is locked and tried."),
        ("all hands out, guards on, then your own lock off", "The lock goes last, by the one who put it on."),
    )
    return Draft(
        f"{job} Put the steps in order.",
        ("What still turns?", "Lock before you reach in.", "Try it, work, then unlock."),
        "Stop and wait; switch off and lock; try; work; clear, guard, unlock. Fixing and cleaning there is never"
        " normal work.",
        in_order(lot, steps),
        f"{_cited(_says('SL17'))}; {_cited(_says('SL13'))}; the order of steps: common practice, no source",
    )  # fmt: skip


@teaches("safety", "look-at-the-cutter", safety=True)
def _look(lot: Lot) -> Draft:
    seen = lot.one_of(("a fine crack at the root of a flute", "a nick in one edge",
                       "a shank scored by a slipping collet",
                       "a brazed edge that shows a dark line at the joint"))  # fmt: skip
    when = lot.one_of(("before it goes into the collet", "while it is being cleaned", "after it fell on the floor"))
    return Draft(
        f"You look a cutter over {when} and see {seen}. What now?",
        ("What happens to a loose piece at the rim?", "Speed makes a small flaw grow.", "Who may judge it?"),
        "A flawed cutter can throw pieces. Take it out of use, mark it, and have its maker or a grinder judge it.",
        one_right(lot, [("take it out of use and mark it so", ""),
                        ("run it slower today", "A slower flaw is still a flaw: pieces can fly."),
                        ("run it, but stand further back", "The next person does not know of it.")]),
        "common practice, no source; no vibration may be felt at idle: 29 CFR 1910.213 (a)(1)",
    )  # fmt: skip


@teaches("safety", "fire", safety=True)
def _fire(lot: Lot) -> Draft:
    where = lot.one_of(("in the hose of the dust hood", "in the dust bin", "from the bag of the collector"))
    steps = (
        ("stop feed and spindle", "The cutter makes the heat: it stops first."),
        ("shut off the extraction", "Its draught carries embers on and feeds them."),
        ("warn the others and call for help", "Help needs time: call before you try anything."),
        ("fight it only if it is small, with the exit behind you", "Your way out comes before the machine."),
        ("watch the dust for hours after: it smoulders", "Dust glows inside long after the flame."),
    )
    return Draft(
        f"You smell smoke {where}. Put the steps in order.",
        ("What makes the heat?", "What carries it on?", "People before machines."),
        "Stop, shut off the draught, warn and call, fight only what is small, then watch. Learn your shop's own plan.",
        in_order(lot, steps),
        f"order of steps: common practice, no source; for plant and dust see {_cited(_says('SL22'))}",
    )  # fmt: skip


# --- what if ---------------------------------------------------------------------------------------------------------

_EVENTS = ("a squeal begins", "it smells of burning", "smoke rises at the cutter", "the part has moved",
           "a bang is heard",
           "the spindle's sound drops", "chips stop coming out", "a clamp rattles")  # fmt: skip


@teaches("what-if", "first-answer", safety=True)
def _first(lot: Lot) -> Draft:
    event = lot.one_of(_EVENTS)
    kind = lot.one_of(("a tenon", "a groove", "a relief", "a mortise", "a raised edge"))
    steps = (
        ("stop the feed", "The cutter must not go further into what is wrong."),
        ("stop the spindle", "Nobody looks closely at a turning cutter."),
        ("wait until it stands, and look", "You look before you change anything."),
        ("think of speed, feed, grip and edge", "Causes come after looking."),
        ("try again on scrap", "A change is tried where nothing is lost."),
    )
    return Draft(
        f"The machine cuts {kind}, and {event}. Put in order what you do.",
        ("What still moves into the wood?", "Feed, then spindle, then look.", "Only then think of the cause."),
        "For any sound, smell or movement that was not expected: stop the feed, stop the spindle, look. Only then"
        " the cause.",
        in_order(lot, steps), "common practice, no source",
    )  # fmt: skip


@teaches("what-if", "squeal-or-smoke")
def _squeal(lot: Lot) -> Draft:
    f = lot.draw("feed", "feed", "500, 700, 900, 2500, 3500", "20, 28, 36, 100, 140", ("mm/min", "in/min"))
    n, z = lot.rpm("14000, 16000, 18000"), lot.count("flutes", (2, 3))
    per = float(feed_per_tooth(f.value, n.value, z))
    chip, thin = float(mean_chip(per, 6.0, 12.0)), practice()["chip_thin.hardwood"].value
    lot.given["distance_from_window"] = abs(chip / thin - 1)
    rubs = chip < thin
    said = lot.one_of(("You hear a squeal", "You see smoke and dark walls"))
    feed_it = "too thin a chip: it rubs; more feed or less speed, and look at the edge"
    edge = "the edge or the grip: the chip is thick enough, so look at edge, collet and clamps"
    right, other = (feed_it, edge) if rubs else (edge, feed_it)
    t = tell(chip, "length", lot.system, 3), tell(thin, "length", lot.system, 3)
    return Draft(
        f"{said}. Feed and spindle were stopped and you looked. The setting in hardwood was {f} at {n} with {z}"
        f" flutes, half the"
        f" cutter wide: a mean chip of {t[0]}. Rubbing starts below {t[1]}. What do you check first?",
        ("Hold the mean chip against the bound.", "Below it the edge rubs.", "Above it, look for another cause."),
        f"{t[0]} is {'below' if rubs else 'above'} {t[1]}. Our models do not know chatter: the ringing of cutter"
        f" and part.",
        one_right(lot, [(right, ""), (other, "Hold the mean chip against the bound again."),
                        ("chatter: the figures prove"
                         " it", "No figure here can prove chatter: the models do not cover it.")]),
        "window: common practice, no source; the share 2/pi is geometry",
        lot.given["distance_from_window"] > 0.1,
    )  # fmt: skip


@teaches("what-if", "step-at-the-shoulder")
def _step(lot: Lot) -> Draft:
    at, other = lot.one_of((("the marked face at another stop", "the zero"), ("a chip under the part", "the zero"),
                            ("a new cutter length that was not measured", "the length")))  # fmt: skip
    step = lot.length("step", "0.2, 0.3, 0.5", "0.008, 0.012, 0.020")
    force = 40.0
    short = float(cantilever(force, 40.0, 6e5, 12.0))
    lot.given["bends"] = short
    bend = tell(short, "length", lot.system, 2)
    fault = "a new length of the cutter" if other == "the length" else "how the part lay at its zero"
    return Draft(
        f"A tenon's shoulder shows a step of {step} from one side to the other. The part was turned between the two"
        f" cuts, and you"
        f" find {at}. A force of {tell(force, 'force', lot.system, 2)} bends this short cutter by {bend} or so."
        f" What made the step?",
        ("Feed and spindle are stopped? Then"
         " look.", "Can bending make so much?", "What differed between the two cuts?"),
        f"Bending by {bend} is far too little for {step}. What differed was {at}.",
        one_right(lot, [(fault, ""), ("the cutter bent", "Hold what it bends against the step: it is far too little."),
                        ("the wood dried during the cut", "Wood does not move so fast, nor so along its fibres.")]),
        "beam theory; common practice, no source",
    )  # fmt: skip


@teaches("what-if", "part-moved", safety=True)
def _moved(lot: Lot) -> Draft:
    far = lot.length("moved", "0.5, 1, 2, 3", "1/64, 1/32, 1/16, 1/8")
    station = lot.one_of(("on the table", "on its edge", "on end"))
    return Draft(
        f"A part {station} has moved by {far}. The feed stands, the spindle stands, you have looked. What comes next?",
        ("Is the grip to be trusted?", "Is the zero still true?", "Which comes first?"),
        "A part that moved once can fly. Find out why it slipped, grip it better, then take the zero anew.",
        one_right(lot, [("find out why it slipped, grip it anew, then set its zero again", ""),
                        ("set the zero again and go on", "The grip that let go once will let go again."),
                        ("hold it by hand for the rest", "No hand comes near a turning cutter.")]),
        "common practice, no source",
    )  # fmt: skip
