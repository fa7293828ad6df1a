"""Changes to a program tried one by one: each is made, timed again with the motion engine, and told in shop words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError
from shopcalc.gains.fitting import fit
from shopcalc.gains.heights import SAME, highest_cut, lower_clearance, rapid_in_air, shown_top
from shopcalc.gains.levels import Deeper, drop_levels, repeated_levels
from shopcalc.gains.ordering import DIAMETER, reorder
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves
from shopcalc.sources import table_for_people
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    import pandas as pd

#: Shares by which the feed is raised.
RAISES = (1.10, 1.25, 1.50)
#: Distances within which short lines are joined [mm].
TOLERANCES = (0.005, 0.01, 0.02)
LEAST = 0.05  # s; a change that saves less helps nobody
_FASTEST = 4.0  # times the feed: nobody runs a cutter faster than that by choice
_NOTHING_MORE = 0.01  # share of the whole gain that may be missing where "nothing more is gained"
_MOST_CUTTERS = 6
_WORTH_PLUNGING = 0.1  # share of the time from which on the feed straight down is tried, too
_COUNTED = {2: "second", 3: "third"}

_CUTTER_FIRST = (
    "the cutter's limits come first: chip, power, deflection and holding at the higher feed (`shopcalc tune` shows "
    "them), never above the speed marked on the cutter; then a test cut on scrap"
)
_HELD_BACK = (
    "axes and arcs hold it back", "corners, starts and stops hold it back", "gradual acceleration holds it back",
    "the blocks the control can take hold it back",
)  # fmt: skip
_SAME_CUT = "the cut itself stays as it is"


@dataclass(frozen=True, eq=False)
class Saving:
    """One change to a program, made and timed.

    Parameters
    ----------
    name : str
        In shop words.
    change : str
        What to change in the program, with figures.
    seconds_before, seconds_after : float
        Machine time of the whole program [s].
    check : str
        What it risks, and what to look at first.
    same_cut : bool
        Whether the cutter takes the same wood, at the same feed and depth, as before.
    moves : Moves
        The changed program, to be timed or written by anybody.
    """

    name: str
    change: str
    seconds_before: float
    seconds_after: float
    check: str
    same_cut: bool
    moves: Moves

    @property
    def seconds_saved(self) -> float:
        """What it saves in each run of the program [s]."""
        return self.seconds_before - self.seconds_after

    def sentence(self) -> str:
        """What to change, what it saves, and what to check, as one text."""
        saved = f"{write_time(self.seconds_saved)} of {write_time(self.seconds_before)}"
        return f"{self.name}: {self.change}; saves {saved}. Check first: {self.check}."


@dataclass(frozen=True)
class Tried:
    """One change that helps nothing, so that nobody tries it by hand.

    Parameters
    ----------
    name : str
        In shop words.
    reason : str
        Why it helps nothing, or could not be tried.
    """

    name: str
    reason: str


@dataclass(frozen=True, eq=False)
class Findings:
    """All that was tried on a program.

    Parameters
    ----------
    seconds : float
        Machine time as it is [s].
    savings : tuple of Saving
        Those that help, most seconds first.
    tried : tuple of Tried
        Those that do not.
    together : Saving or None
        All changes that leave the cut as it is, one after the other; None where none helps.
    """

    seconds: float
    savings: tuple[Saving, ...]
    tried: tuple[Tried, ...]
    together: Saving | None

    def sentences(self) -> list[str]:
        """One text for each change that helps, then the changes together, then what cannot help."""
        out = [saving.sentence() for saving in self.savings]
        if self.together is not None:
            out.append(self.together.sentence())
        return out + [f"no help: {t.name}: {t.reason}" for t in self.tried]

    def frame(self) -> pd.DataFrame:
        """The savings as a table for people, most seconds first."""
        given = [*self.savings, *([self.together] if self.together else [])]
        rows = [
            {
                "name": s.name, "saved_s": s.seconds_saved, "before_s": s.seconds_before, "after_s": s.seconds_after,
                "same_cut": s.same_cut, "change": s.change, "check": s.check,
            }
            for s in given
        ]  # fmt: skip
        columns = {"saved_s": "s", "before_s": "s", "after_s": "s"}
        return table_for_people(rows or [], columns, "name" if rows else "")


def examine(
    moves: Moves,
    machine: Machine,
    *,
    stock_top: float | None = None,
    clearance: float = 5.0,
    diameter: float | Mapping[int, float] = DIAMETER,
    tolerances: Sequence[float] = TOLERANCES,
    system: System = "metric",
    progress: Callable[[str], object] | None = None,
) -> Findings:
    """Try every change on a program: what helps, what does not, and what the harmless ones save together.

    Parameters
    ----------
    moves : Moves
        The program; every cut needs a feed.
    machine : Machine
        That runs it.
    stock_top : float, optional
        Height of the wood's top in the program's coordinates [mm]. Without it no way down at feed is shortened, and
        the height over the work is lowered only where the program itself shows how high the wood may be.
    clearance : float
        How far above the top the cutter may go over the work [mm].
    diameter : float or mapping
        Of the cutter, or of each cutter number; cuts nearer than this keep their order [mm].
    tolerances : sequence of float
        Distances within which short lines are joined [mm].
    system : {"metric", "inch"}
        For the words.
    progress : callable, optional
        Told what is tried next, in words.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        When a cut has no feed, so that nothing can be timed, or a value is out of its range, or no cut reaches below
        the given top of the wood, or nothing of the program lies above it.

    Notes
    -----
    No figure is estimated: each change is made on the moves, and the whole program timed again. Savings do not add up:
    a program that is faster in one way has less to gain in another; ``together`` says what the harmless ones give.

    Example
    -------
    >>> from shopcalc.machines import Axis
    >>> from shopcalc.moves import Kind, from_lists
    >>> m = from_lists([(0, 0, 0), (1000, 0, 0)], [Kind.LINE], feed=3000)
    >>> axis = Axis(rapid=9000, feed=4500, acceleration=1000)
    >>> found = examine(m, Machine(axes=(axis, axis, axis)))
    >>> [(s.name, round(s.seconds_saved, 1)) for s in found.savings][0]
    ('feed as high as this program can use', 6.6)
    """
    _check(clearance, diameter, tolerances)
    _check_top(moves, stock_top)
    tell = progress if progress is not None else str
    tell("the program as it is")
    now = machine_time(moves, machine)
    if math.isnan(now.total_s):
        line = int(moves.line[np.flatnonzero(np.isnan(now.seconds))[0]])
        remedy = "give the first cut an F word, or time a program that has one"
        raise InputError(Fault("a cut has no feed, so the program has no time", remedy, line=line or None))
    trial = _Trial(moves, machine, now.total_s, system)
    tell("higher feeds")
    trial.feeds()
    if moves.extra:
        letters = ", ".join(sorted(k.upper() for k in moves.extra))
        trial.tried.append(Tried("every change of the path", f"the program moves axis {letters} besides x, y and z"))
    else:
        tell("deeper levels")
        trial.levels()
        tell("short lines joined")
        trial.short_lines(tolerances)
        tell("another order of cuts")
        trial.order(diameter)
        tell("lower heights")
        trial.heights(stock_top, clearance)
    best = sorted(trial.found, key=lambda s: -s.seconds_saved)
    tell("all that leaves the cut as it is")
    together = None if moves.extra else trial.together(stock_top, clearance, diameter)
    return Findings(now.total_s, tuple(best), tuple(trial.tried), together)


def _check(clearance: float, diameter: float | Mapping[int, float], tolerances: Sequence[float]) -> None:
    sizes = diameter.values() if isinstance(diameter, Mapping) else [diameter]
    if not (math.isfinite(clearance) and clearance > 0):
        raise InputError(Fault(f"the clearance is {clearance:g} mm", "give how far above the wood rapids may run"))
    if not all(math.isfinite(d) and d >= 0 for d in sizes):
        raise InputError(Fault("a cutter's diameter is below zero", "give it in mm, or leave it out"))
    if not all(math.isfinite(t) and 0 < t <= 1 for t in tolerances):
        raise InputError(Fault("a tolerance is not between 0 and 1 mm", "give e.g. 0.01 mm"))


def _check_top(moves: Moves, top: float | None) -> None:
    """Refuse a top of the wood that the program cannot have meant: usually its sign is wrong."""
    if top is None:
        return
    if not math.isfinite(top):
        raise InputError(Fault(f"the top of the wood is {top:g} mm", "give its height", field="stock_top"))
    cutting = np.flatnonzero(moves.cutting)
    if not len(cutting):
        return
    remedy = "check the sign, and from where the program counts z"
    low = np.minimum(moves.points[cutting, 2], moves.points[cutting + 1, 2])
    upright = moves.arc_plane > 0
    bulges = moves.arc_centre[upright, 2] - moves.arc_radius[upright]
    deepest = float(np.concatenate([low, bulges]).min())
    highest = float(moves.extents()[2, 1])
    if deepest > top + SAME:
        message = f"no cut reaches below {top:g} mm, the deepest goes to z {round(deepest, 3):g} mm"
        raise InputError(Fault(message, remedy, field="stock_top"))
    if highest < top - SAME:
        message = f"nothing of the program lies above {top:g} mm, its highest place is z {round(highest, 3):g} mm"
        raise InputError(Fault(message, remedy, field="stock_top"))


class _Trial:
    """One program, what was tried on it, and what came of it."""

    def __init__(self, moves: Moves, machine: Machine, seconds: float, system: System) -> None:
        self.moves, self.machine, self.seconds, self.system = moves, machine, seconds, system
        self.found: list[Saving] = []
        self.tried: list[Tried] = []
        #: Tolerance and whether with arcs: the way of joining short lines that saves most.
        self.best_fit: tuple[float, bool] | None = None

    def _time(self, moves: Moves) -> float:
        return machine_time(moves, self.machine).total_s

    def _length(self, value: float) -> str:
        if self.system == "inch":
            return f"{value / 25.4:.4f} in" if abs(value) < 1 else write(value, "length", "inch", fraction=False)
        return f"{value:.3f} mm" if abs(value) < 1 and value else write(value, "length", "metric")

    def _keep(self, name: str, change: str, check: str, same_cut: bool, moves: Moves, seconds: float) -> None:
        saved = self.seconds - seconds
        if saved >= LEAST:
            self.found.append(Saving(name, change, self.seconds, seconds, check, same_cut, moves))
        else:
            slower = f"it would take {write_time(-saved)} longer" if saved <= -LEAST else "it saves nothing"
            self.tried.append(Tried(name, f"{change}: {slower}"))

    def feeds(self) -> None:
        """The feed raised, of the whole program and with each cutter alone; plunges apart."""
        down = _plunging(self.moves)
        cut = self.moves.cutting & ~down
        seconds = machine_time(self.moves, self.machine).seconds
        numbers = np.unique(self.moves.cutter[cut])
        if len(numbers):
            self._feed(cut, "")
        if len(numbers) > 1:
            spent = [float(seconds[cut & (self.moves.cutter == c)].sum()) for c in numbers]
            for c in numbers[np.argsort(spent)[::-1]][:_MOST_CUTTERS]:
                label = self.moves.labels.get(int(c))
                self._feed(cut & (self.moves.cutter == c), f" with cutter {c}" + (f" ({label})" if label else ""))
        plunges = self.moves.cutting & down
        if float(seconds[plunges].sum()) >= _WORTH_PLUNGING * self.seconds:
            self._feed(plunges, " straight down")

    def _feed(self, chosen: NDArray[np.bool_], whose: str) -> None:
        def raised(share: float) -> Moves:
            return replace(self.moves, feed=np.where(chosen, self.moves.feed * share, self.moves.feed))

        rest = "cuts to the side" if whose == " straight down" else "plunges"
        low, high = float(self.moves.feed[chosen].min()), float(self.moves.feed[chosen].max())
        least = self._time(raised(_FASTEST))
        whole = self.seconds - least
        if whole < LEAST:
            self.tried.append(Tried(f"a higher feed{whose}", f"{self._bound(self.moves, chosen)} at the feed it has"))
            return
        limit, moves, seconds = self._no_more(raised, least, whole)
        for share in RAISES:
            name = f"feed {100 * (share - 1):.0f} % higher{whose}"
            if share > limit + 0.005:
                self.tried.append(Tried(name, f"beyond {100 * (limit - 1):.0f} % nothing more is gained"))
                continue
            moves_now = raised(share)
            self._keep(
                name, self._feeds(low, high, share, rest), _CUTTER_FIRST, False, moves_now, self._time(moves_now)
            )
        if limit >= _FASTEST * 0.99:
            change = f"{self._feeds(low, high, _FASTEST, rest)}; even there a higher feed would still help"
            name = f"feed {_FASTEST:g} times as high{whose}"
        else:
            name = f"feed as high as this program can use{whose}"
            bound = self._bound(raised(_FASTEST), chosen, moves)
            change = f"{self._feeds(low, high, limit, rest)} ({limit:.2f} times as high); beyond it {bound}"
        self._keep(name, change, _CUTTER_FIRST, False, moves, seconds)

    def _feeds(self, low: float, high: float, share: float, rest: str) -> str:
        def between(a: float, b: float) -> str:
            first, last = write(a, "feed", self.system), write(b, "feed", self.system)
            return last if first == last else f"{first.split()[0]} to {last}"

        return f"feed words of {between(low, high)} become {between(low * share, high * share)}, {rest} stay"

    def _no_more(self, raised: Callable[[float], Moves], least: float, whole: float) -> tuple[float, Moves, float]:
        """The lowest share that gives all but a trace of the whole gain, with its program and time."""
        low, high = 1.0, _FASTEST
        best: tuple[float, Moves, float] = (high, raised(high), least)
        while math.log(high / low) > 0.02:
            middle = math.sqrt(low * high)
            moves = raised(middle)
            seconds = self._time(moves)
            if seconds - least <= _NOTHING_MORE * whole:
                high, best = middle, (middle, moves, seconds)
            else:
                low = middle
        return best

    def _bound(self, moves: Moves, chosen: NDArray[np.bool_], than: Moves | None = None) -> str:
        """What holds those cuts back most, in words; with ``than`` what holds them back more than there."""

        def lost(program: Moves) -> Floats:
            time = machine_time(program, self.machine)
            parts = (time.lost_to_limits, time.lost_to_ramps, time.lost_to_jerk, time.lost_to_blocks)
            return np.array([np.nansum(part[chosen]) for part in parts])

        seconds = lost(moves) if than is None else lost(moves) - lost(than)
        return _HELD_BACK[int(np.argmax(seconds))]

    def levels(self) -> None:
        """Only every second or third level of paths that repeat."""
        chains = repeated_levels(self.moves)
        before: Deeper | None = None
        for keep, word in _COUNTED.items():
            name = f"deeper passes: only every {word} level"
            made = drop_levels(self.moves, keep, chains)
            if made is None:
                self.tried.append(Tried(name, "no path repeats at successive depths, or not so that it can be thinned"))
                continue
            if before and (made.dropped, made.depth) == (before.dropped, before.depth):
                continue  # with so few levels it is the same program
            before = made
            deep, was = self._length(made.depth), self._length(made.depth_before)
            change = (
                f"{made.dropped} of {made.levels} levels left out at {_counted(made.places, 'place')}; the "
                f"deepest step becomes {deep} instead of {was}, the last level stays"
            )
            check = (
                f"a cut {deep} deep: flute length, chip room, power, deflection and holding (`shopcalc tune`); ramps "
                "get steeper, plunges deeper; the wood's top is taken to lie one step above the first level"
            )
            self._keep(name, change, check, False, made.moves, self._time(made.moves))

    def short_lines(self, tolerances: Iterable[float]) -> None:
        """Lines in a row joined, and chords turned back into arcs."""
        least = self.seconds
        for arcs in (False, True):
            what = "short lines as lines and arcs" if arcs else "lines in a row joined"
            before, helped = len(self.moves), len(self.found)
            failed = len(self.tried)
            for tolerance in sorted(tolerances):
                made = fit(self.moves, tolerance, arcs=arcs)
                if len(made.moves) >= before or (arcs and not made.arcs):
                    continue  # a wider tolerance that joins nothing more only costs accuracy
                before = len(made.moves)
                within, off = self._length(tolerance), self._length(max(made.deviation, 0.001))
                pieces = _counted(made.lines, "line") if made.lines or not arcs else ""
                if arcs:
                    pieces += f"{' and ' * bool(pieces)}{_counted(made.arcs, 'arc')}"
                stand = "stands" if made.lines + made.arcs == 1 else "stand"
                change = (
                    f"{made.dropped} of {len(self.moves)} moves fewer: {pieces} {stand} for the rest; every dropped "
                    f"point lies within {off} of the new path"
                )
                check = f"the path moves by up to {within}; a dry run where fits are close"
                if arcs:
                    check += "; whether the control takes arcs in the upright planes (G18, G19) and helices"
                seconds = self._time(made.moves)
                if seconds < least:
                    least, self.best_fit = seconds, (tolerance, arcs)
                self._keep(f"{what}, within {within}", change, check, True, made.moves, seconds)
            if before == len(self.moves):
                nothing = "no chords lie on an arc" if arcs else "no lines lie in a row"
                self.tried.append(Tried(what, nothing))
            elif len(self.found) == helped:
                del self.tried[failed:-1]  # the widest tolerance speaks for all

    def order(self, diameter: float | Mapping[int, float]) -> None:
        """A shorter order of cuts."""
        name = "shorter order of cuts"
        made = reorder(self.moves, self.machine, diameter=diameter)
        if made is None:
            self.tried.append(Tried(name, "no shorter order was found that keeps cuts that overlap in their order"))
            return
        after = machine_time(made.moves, self.machine)
        rapids = machine_time(self.moves, self.machine).rapid_time_s - after.rapid_time_s
        follow = "follows" if made.moved == 1 else "follow"
        change = (
            f"{made.moved} of {made.pieces} pieces {follow} another one than before; rapids take "
            f"{write_time(max(0.0, rapids))} less"
        )
        self._keep(name, change, _order_check(diameter, self._length), True, made.moves, after.total_s)

    def heights(self, stock_top: float | None, clearance: float) -> None:
        """Lower ways over the work, and rapids down to the wood."""
        name = "lower clearance height"
        lowered = lower_clearance(self.moves, stock_top=stock_top, clearance=clearance)
        if lowered is None:
            unknown = stock_top is None and shown_top(self.moves) is None
            reason = (
                "where the wood's top is the program does not show: give it as stock_top"
                if unknown
                else "it is as low as it may be already"
            )
            self.tried.append(Tried(name, reason))
        else:
            height, top = self._length(lowered.height), self._length(lowered.top)
            change = (
                f"ways over the work at z {height} instead of mostly {self._length(lowered.before)}, "
                f"{self._length(clearance)} above {top}"
            )
            check = _height_check(stock_top is not None, top, height)
            self._keep(name, change, check, True, lowered.moves, self._time(lowered.moves))
        name = "rapids down to the wood"
        if stock_top is None:
            self.tried.append(
                Tried(name, "not tried: the height of the wood's top was not given: give it as stock_top")
            )
            return
        aired = rapid_in_air(self.moves, stock_top=stock_top)
        if aired is None:
            self.tried.append(Tried(name, "no way down at feed begins higher than that above the wood"))
            return
        moves, ways = aired
        wood = max(stock_top, highest_cut(self.moves))
        straight = f"{_counted(ways, 'way')} straight up or down {'is a rapid' if ways == 1 else 'are rapids'}"
        change = f"{straight} above z {self._length(wood + 2.0)}, feeds from there on"
        check = f"no wood, clamp or stop stands higher than z {self._length(wood)} below them; {_SAME_CUT}"
        self._keep(name, change, check, True, moves, self._time(moves))

    def together(
        self, stock_top: float | None, clearance: float, diameter: float | Mapping[int, float]
    ) -> Saving | None:
        """All changes that leave the cut as it is, one after the other, each kept where it helps."""
        moves, seconds = self.moves, self.seconds
        done: list[str] = []
        checks: list[str] = []
        for change in self._harmless(stock_top, clearance, diameter):
            made = change(moves)
            if made is None:
                continue
            name, check, changed = made
            taken = self._time(changed)
            if taken < seconds - 1e-9:
                moves, seconds = changed, taken
                done.append(name)
                checks.append(check)
        if self.seconds - seconds < LEAST:
            return None
        checked = "; ".join(dict.fromkeys(checks))
        return Saving("all that leaves the cut as it is", ", ".join(done), self.seconds, seconds, checked, True, moves)

    def _harmless(
        self, stock_top: float | None, clearance: float, diameter: float | Mapping[int, float]
    ) -> list[Callable[[Moves], tuple[str, str, Moves] | None]]:
        """Each harmless change: name, what to check and the changed program; None where it changes nothing."""

        def air(now: Moves) -> tuple[str, str, Moves] | None:
            made = None if stock_top is None else rapid_in_air(now, stock_top=stock_top)
            top = "" if stock_top is None else self._length(max(stock_top, highest_cut(self.moves)))
            return ("rapids down to the wood", f"nothing stands above z {top}", made[0]) if made else None

        def height(now: Moves) -> tuple[str, str, Moves] | None:
            made = lower_clearance(now, stock_top=stock_top, clearance=clearance)
            if made is None:
                return None
            words = _height_check(stock_top is not None, self._length(made.top), self._length(made.height))
            return f"clearance height z {self._length(made.height)}", words, made.moves

        def order(now: Moves) -> tuple[str, str, Moves] | None:
            made = reorder(now, self.machine, diameter=diameter)
            return ("shorter order of cuts", _order_check(diameter, self._length), made.moves) if made else None

        def lines(now: Moves) -> tuple[str, str, Moves] | None:
            if self.best_fit is None:
                return None
            tolerance, arcs = self.best_fit  # once only: a second fit would add its deviation to the first
            made, within = fit(now, tolerance, arcs=arcs), self._length(tolerance)
            what = "short lines as lines and arcs" if arcs else "lines in a row joined"
            return (
                (f"{what} within {within}", f"the path moves by up to {within}", made.moves) if made.dropped else None
            )

        return [air, height, order, lines]


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'s' * (number != 1)}"


def _height_check(given: bool, top: str, height: str) -> str:
    known = f"the wood's top is at z {top} or below"
    if not given:
        known += ", which the program shows only by where its feeds begin"
    return f"{known}, everywhere on the table; no clamp, stop or warped board reaches z {height}; {_SAME_CUT}"


def _order_check(diameter: float | Mapping[int, float], length: Callable[[float], str]) -> str:
    near = "their cutter" if isinstance(diameter, Mapping) else length(diameter)
    return (
        f"rapids run other ways: no clamp stands in them; cuts nearer than {near} keep their order and the last cut "
        f"stays last, as the one that frees a part must, but see that no earlier cut frees one; {_SAME_CUT}"
    )


def _plunging(moves: Moves) -> NDArray[np.bool_]:
    """Lines that go down more than sideways: their feed belongs to the end of the cutter."""
    way = np.diff(moves.points, axis=0)
    down = np.asarray(-way[:, 2] > np.hypot(way[:, 0], way[:, 1]))
    down[moves.arc_index] = False
    return down
