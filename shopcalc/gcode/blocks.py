"""The words of one line sorted into what they set, do and carry; words that contradict each other are refused."""

from __future__ import annotations

from dataclasses import dataclass, field

from shopcalc.gcode.cycles import CYCLES
from shopcalc.gcode.reports import Reports, Word

# NISTIR 6556 (Kramer, Proctor, Messina, 2000), table 4; G80 only ends a cycle, so it may stand beside a motion
_GROUPS: dict[str, tuple[float, ...]] = {
    "motion": (0, 1, 2, 3, *CYCLES),
    "end of cycle": (80,),
    "plane": (17, 18, 19),
    "distance": (90, 91),
    "arc distance": (90.1, 91.1),
    "feed mode": (93, 94, 95),
    "units": (20, 21, 70, 71),
    "cutter radius": (40, 41, 41.1, 42, 42.1),
    "length offset": (43, 43.1, 44, 49),
    "return level": (98, 99),
    "coordinate system": (54, 54.1, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3),
    "path control": (61, 61.1, 64),
    "not modal": (4, 9, 10, 28, 28.1, 30, 30.1, 52, 53, 65, 92, 92.1, 92.2, 92.3),
}
_GROUP_OF = {code: group for group, codes in _GROUPS.items() for code in codes}
_M_GROUPS: dict[str, tuple[int, ...]] = {
    "M stop": (0, 1, 2, 30, 60),
    "M subprogram": (97, 98, 99),
    "M change": (6,),
    "M spindle": (3, 4, 5),
    "M coolant off": (9,),
    "M mist": (7,),
    "M flood": (8,),
    "M overrides": (48, 49),
}
_M_GROUP_OF: dict[float, str] = {code: group for group, codes in _M_GROUPS.items() for code in codes}
_HARMLESS = {  # words of single controls: common practice, no source
    5.1: "smoothing of short moves",
    8: "length offset off", 15: "polar off", 50: "scaling off", 67: "macro off", 69: "rotation off",
    97: "spindle in revolutions per minute", 187: "smoothing of corners",
}  # fmt: skip
_MACRO_CALL = 65
_MOST_CUTTERS = 1e9


@dataclass
class Block:
    """One line's words.

    Parameters
    ----------
    modal : mapping
        G and M words by their group.
    unknown : list of Word
        M words that are not understood.
    given : mapping
        All other words by letter; whoever uses one takes it out, and what is left over is reported.
    comment : str
        What stands in the line's comments.
    mixed : mapping
        Where G90 and G91 stand in one block: the one in front of each word, None in front of the first.
    was_absolute : bool
        Whether positions were absolute before the block.
    """

    modal: dict[str, Word] = field(default_factory=dict)
    unknown: list[Word] = field(default_factory=list)
    given: dict[str, Word] = field(default_factory=dict)
    comment: str = ""
    mixed: dict[str, float | None] = field(default_factory=dict)
    was_absolute: bool = True

    def absolute(self, letter: str, otherwise: bool) -> bool:
        """Whether a word's number is a position, not a way."""
        if letter not in self.mixed:
            return otherwise
        said = self.mixed[letter]
        return self.was_absolute if said is None else said == 90

    def code(self, group: str) -> float | None:
        """Number of the word of a group, None when there is none."""
        word = self.modal.get(group)
        return None if word is None else round(word.value, 4)

    def take(self, letters: str) -> Word | None:
        """Take the first of some letters out of the block."""
        for letter in letters:
            if letter in self.given:
                return self.given.pop(letter)
        return None

    def drop(self, letters: str) -> None:
        """Take some letters out, because they are done with."""
        for letter in letters:
            self.given.pop(letter, None)

    def has(self, letters: str) -> bool:
        """Whether any of some letters is still there."""
        return any(letter in self.given for letter in letters)

    def first(self, letters: str) -> Word | None:
        """The first of some letters that is still there."""
        return next((self.given[letter] for letter in letters if letter in self.given), None)


def sort_words(words: list[Word], comment: str, reports: Reports) -> Block:
    """Sort the words of a line.

    Parameters
    ----------
    words : list of Word
        In the order of the line.
    comment : str
        What stands in its comments.
    reports : Reports
        Where notes go.

    Raises
    ------
    InputError
        When two words contradict each other, or one is not understood that may move the machine.
    """
    block = Block(comment=comment)
    if any(w.letter == "G" and round(w.value, 4) == _MACRO_CALL for w in words):
        return _sort_macro_call(words, block, reports)
    _sort_mixed(words, block, reports)
    for w in words:
        if w.letter == "G":
            _sort_g(w, block, reports)
        elif w.letter == "M":
            _sort_m(w, block, reports)
        elif w.letter in "NO":
            continue
        elif w.letter == "E":
            reports.refuse(w, f"'{w.text}': E words and numbers with an exponent are not understood",
                           "write the number out, or take the word out")  # fmt: skip
        elif w.letter in block.given and block.given[w.letter].value == w.value:
            reports.note(w, f"'{w.letter}' stands twice in one block, with the same number")
        elif w.letter in block.given:
            reports.refuse(w, f"'{w.letter}' stands twice in one block", "keep one of them")
        else:
            block.given[w.letter] = w
    coolant = block.modal.get("M coolant off")
    other = block.modal.get("M mist") or block.modal.get("M flood")
    if coolant is not None and other is not None:
        _contradict(max(coolant, other, key=lambda w: w.column), min(coolant, other, key=lambda w: w.column), reports)
    cutter = block.given.get("T")
    if cutter is not None and not (0 <= cutter.value < _MOST_CUTTERS and cutter.value == int(cutter.value)):
        reports.refuse(cutter, f"'{cutter.text}' is not a cutter number", "write a whole number")
    return block


def _sort_macro_call(words: list[Word], block: Block, reports: Reports) -> Block:
    """Every word beside G65 but its own P and L gives the macro a value, whatever it means elsewhere."""
    for w in words:
        if w.letter == "G":
            _sort_g(w, block, reports)
        elif w.letter != "N":
            block.given[w.letter] = w
    return block


def _sort_mixed(words: list[Word], block: Block, reports: Reports) -> None:
    """Note for each word whether G90 or G91 stands in front of it, where a block holds both."""
    modes = [w for w in words if w.letter == "G" and w.value in (90, 91)]
    if len({w.value for w in modes}) < 2:
        return
    reports.note(modes[1], "G90 and G91 in one block: each word counts as the one in front of it says")
    said: float | None = None
    for w in words:
        if w in modes:
            said = w.value
        elif w.letter not in "GM":
            block.mixed[w.letter] = said


def _contradict(word: Word, before: Word, reports: Reports) -> None:
    reports.refuse(
        word,
        f"'{word.text}' and '{before.text}' of the same group stand in one block",
        "put them into blocks of their own",
    )


def _place(w: Word, group: str, block: Block, reports: Reports) -> None:
    before = block.modal.get(group)
    if before is not None and not (group == "distance" and block.mixed):
        if round(before.value, 4) != round(w.value, 4):
            _contradict(w, before, reports)
        reports.note(w, f"'{w.text}' stands twice in one block")
    block.modal[group] = w


def _sort_g(w: Word, block: Block, reports: Reports) -> None:
    code = round(w.value, 4)
    if code in _GROUP_OF:
        _place(w, _GROUP_OF[code], block, reports)
    elif code in _HARMLESS:
        reports.note(w, f"'{w.text}' ({_HARMLESS[code]}) changes nothing here")
    else:
        reports.refuse(w, f"'{w.text}' is not understood, and it may move the machine",
                       "write the moves out with G0 to G3, or take the word out if it does nothing")  # fmt: skip


def _sort_m(w: Word, block: Block, reports: Reports) -> None:
    code = round(w.value, 4)
    if code in _M_GROUP_OF:
        _place(w, _M_GROUP_OF[code], block, reports)
    else:
        block.unknown.append(w)
