"""Drawing an exercise from its seed: realistic givens, mixed options, and the list of kinds."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TypeVar

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.lessons.exercise import Exercise
from shopcalc.lessons.judging import Choice, Judge, Line, Mistake, Number, Order
from shopcalc.materials import Material, read_materials
from shopcalc.units import System, read

_T = TypeVar("_T")
_TRIES = 200  # seeds drawn in turn until one is clear


@dataclass(frozen=True)
class Given:
    """A quantity as the exercise gives it: the text is what counts, the value is read from it [house unit]."""

    text: str
    value: float

    def __str__(self) -> str:
        """As people read it."""
        return self.text


@dataclass
class Lot:
    """What one seed draws.

    Parameters
    ----------
    kind : str
        Of exercise.
    seed : int
        From which everything follows [-].
    system : {"metric", "inch"}
        Units of what is given.
    attempt : int
        How often this seed was drawn anew before [-].
    """

    kind: str
    seed: int
    system: System
    attempt: int = 0
    given: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._random = random.Random(f"{self.kind}|{self.seed}|{self.attempt}")

    def one_of(self, things: Sequence[_T]) -> _T:
        """Draw one thing.

        Parameters
        ----------
        things : sequence
            To draw from.
        """
        return self._random.choice(things)

    def mixed(self, things: Sequence[_T]) -> list[_T]:
        """Draw them all, in another order.

        Parameters
        ----------
        things : sequence
            To mix.
        """
        return self._random.sample(list(things), len(things))

    def draw(self, name: str, quantity: str, metric: str, inch: str = "", unit: tuple[str, str] = ("", "")) -> Given:
        """Draw a quantity.

        Parameters
        ----------
        name : str
            For the list of what is given.
        quantity : str
            A key of ``units.QUANTITIES``.
        metric, inch : str
            Numbers to draw from, parted by commas; inch empty for the same in both.
        unit : (str, str)
            Of the metric and of the inch numbers.

        Returns
        -------
        Given
            Its value is read from its text.
        """
        in_inch = self.system == "inch" and bool(inch)
        numbers = [n.strip() for n in (inch if in_inch else metric).split(",")]
        text = f"{self.one_of(numbers)} {unit[1] if in_inch else unit[0]}".strip()
        value = read(text, quantity)
        self.given[name] = value
        return Given(text, value)

    def length(self, name: str, metric: str, inch: str) -> Given:
        """Draw a length.

        Parameters
        ----------
        name : str
            For the list of what is given.
        metric, inch : str
            Numbers to draw from [mm] [in].
        """
        return self.draw(name, "length", metric, inch, ("mm", "in"))

    def rpm(self, numbers: str = "10000, 12000, 14000, 16000, 18000") -> Given:
        """Draw a spindle speed.

        Parameters
        ----------
        numbers : str
            To draw from [rev/min].
        """
        return self.draw("rpm", "spindle_speed", numbers, unit=("rpm", "rpm"))

    def count(self, name: str, numbers: Sequence[int]) -> int:
        """Draw a count.

        Parameters
        ----------
        name : str
            For the list of what is given.
        numbers : sequence of int
            To draw from.
        """
        n = self.one_of(numbers)
        self.given[name] = float(n)
        return n


@dataclass(frozen=True)
class Draft:
    """An exercise before it is known to be clear.

    Parameters
    ----------
    text : str
        The question.
    hints : tuple of str
        Steps.
    solution : str
        Worked.
    judge : Judge
        Of answers.
    source : str
        Where it rests.
    realistic : bool
        False for a draw that no shop meets, which is passed over.
    """

    text: str
    hints: tuple[str, ...]
    solution: str
    judge: Judge
    source: str
    realistic: bool = True


@dataclass(frozen=True)
class Kind:
    """One kind of exercise: its lesson, how to draw it, and whether it is one of safety."""

    name: str
    lesson: str
    draw: Callable[[Lot], Draft]
    safety: bool = False


KINDS: dict[str, Kind] = {}

#: Lessons in the order they are taught, by key.
LESSONS: Mapping[str, str] = {
    "chip-and-heat": "Chip and heat",
    "speed-and-feed": "Speed and feed together",
    "grain": "Grain and the three ways of cutting",
    "climb": "Climb and conventional",
    "bending": "Depth, width and stick-out",
    "surface": "Stepover, cusp and sanding",
    "minutes": "Why the machine is slower than length over feed",
    "shapes": "V, ball and tapered cutters",
    "programs": "Reading a program before it runs",
    "stations": "Zero, clamping and the three stations",
    "fit": "Fit and seasons",
    "safety": "Dust, noise, fire, lock-out and marked speeds",
    "what-if": "What if: sounds, smells, movements",
}


def teaches(
    lesson: str, name: str, *, safety: bool = False
) -> Callable[[Callable[[Lot], Draft]], Callable[[Lot], Draft]]:
    """Enter a kind of exercise into the list.

    Parameters
    ----------
    lesson : str
        Key of ``LESSONS``.
    name : str
        Of the kind.
    safety : bool
        Whether somebody can be hurt who gets it wrong.
    """

    def enter(draw: Callable[[Lot], Draft]) -> Callable[[Lot], Draft]:
        KINDS[name] = Kind(name, lesson, draw, safety)
        return draw

    return enter


def one_right(lot: Lot, options: Sequence[tuple[str, str]]) -> Choice:
    """Options mixed and lettered; the first is right.

    Parameters
    ----------
    lot : Lot
        Mixes them.
    options : sequence of (str, str)
        Words, and for wrong ones what to think of.

    Returns
    -------
    Choice
        Each wrong option is a mistake named by its words.
    """
    mixed = lot.mixed(range(len(options)))
    wrong = [Mistake(options[i][0], "abcdefgh"[k], options[i][1]) for k, i in enumerate(mixed) if i]
    return Choice(tuple(options[i][0] for i in mixed), mixed.index(0), tuple(wrong))


def in_order(lot: Lot, steps: Sequence[tuple[str, str]]) -> Order:
    """Steps mixed and lettered; they are given in the right order, each with its reason.

    Parameters
    ----------
    lot : Lot
        Mixes them.
    steps : sequence of (str, str)
        Words, and why they stand there.

    Returns
    -------
    Order
        Its known mistake is the order turned round.
    """
    mixed = lot.mixed(range(len(steps)))
    letter = {i: "abcdefgh"[k] for k, i in enumerate(mixed)}
    right = "".join(letter[i] for i in range(len(steps)))
    back = Mistake("turned round", right[::-1], "The order is turned round: begin at the other end.")
    return Order(tuple(steps[i][0] for i in mixed), right, {letter[i]: s[1] for i, s in enumerate(steps)}, (back,))


@lru_cache(maxsize=1)
def _woods() -> Mapping[str, Material]:
    return read_materials()


def wood_of(key: str) -> Material:
    """A wood of the published table.

    Parameters
    ----------
    key : str
        Its id.
    """
    return _woods()[key]


def lettered(items: Sequence[str]) -> str:
    """Options below each other with their letters.

    Parameters
    ----------
    items : sequence of str
        Options.
    """
    return "\n".join(f"{letter}) {item}" for letter, item in zip("abcdefgh", items, strict=False))


def _in_words(judge: Judge) -> str:
    return f"{judge.answer()}, {judge.options[judge.right]}" if isinstance(judge, Choice) else judge.answer()


def _clear(draft: Draft) -> bool:
    judge = draft.judge
    if not draft.realistic:
        return False
    if isinstance(judge, Number):
        return judge.value > 0 and judge.clear
    if isinstance(judge, Choice):
        return len({o.lower() for o in judge.options}) == len(judge.options)
    return not isinstance(judge, Order) or all(m.answer != judge.right for m in judge.mistakes)


def kinds(lesson: str | None = None) -> list[str]:
    """Kinds of exercises.

    Parameters
    ----------
    lesson : str, optional
        Key of ``LESSONS``; all when absent.

    Returns
    -------
    list of str
        In the order of the lessons.

    Raises
    ------
    InputError
        When there is no such lesson.

    Example
    -------
    >>> kinds("chip-and-heat")[0]
    'feed-per-tooth'
    """
    if lesson is not None and lesson not in LESSONS:
        raise InputError(Fault(f"there is no lesson '{lesson}'", did_you_mean(str(lesson), LESSONS)))
    order = list(LESSONS)
    chosen = (k for k in KINDS.values() if lesson in (None, k.lesson))
    return [k.name for k in sorted(chosen, key=lambda k: order.index(k.lesson))]


def make(kind: str, seed: int, system: System = "inch") -> Exercise:
    """Draw an exercise.

    Parameters
    ----------
    kind : str
        One of ``kinds()``.
    seed : int
        The same seed makes the same exercise [-].
    system : {"metric", "inch"}
        Units of what is given; answers are taken in either.

    Returns
    -------
    Exercise
        With one right answer; draws in which a common mistake comes near it are passed over for the seed's next.

    Raises
    ------
    InputError
        When the kind, the seed or the system is not known.

    Example
    -------
    >>> make("feed-per-tooth", 7).text == make("feed-per-tooth", 7).text
    True
    """
    if kind not in KINDS:
        raise InputError(Fault(f"there is no kind of exercise '{kind}'", did_you_mean(str(kind), KINDS)))
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        raise InputError(Fault(f"seed {seed!r} is no whole number", "give 0 or more"))
    if system not in ("metric", "inch"):
        raise InputError(Fault(f"system '{system}' is not known", "give inch or metric"))
    k = KINDS[kind]
    for attempt in range(_TRIES):
        lot = Lot(kind, seed, system, attempt)
        draft = k.draw(lot)
        if _clear(draft):
            break
    else:
        raise AssertionError(f"{kind}: no clear draw from seed {seed}")
    text = draft.text
    if isinstance(draft.judge, Number):
        near = draft.judge.tolerance
        text += f" Within {100 * near:g} % is right." if near > 1e-6 else " Give it exactly."
    elif isinstance(draft.judge, Choice):
        text += "\n" + lettered(draft.judge.options)
    elif isinstance(draft.judge, Order):
        text += "\n" + lettered(draft.judge.items)
    elif isinstance(draft.judge, Line):
        text += "\n" + "\n".join(f"{n:2d}  {line}" for n, line in enumerate(draft.judge.lines, 1))
    return Exercise(
        kind, seed, k.lesson, system, text, draft.hints, f"{draft.solution} Answer: {_in_words(draft.judge)}.",
        draft.judge, draft.source, k.safety, dict(lot.given),
    )  # fmt: skip
