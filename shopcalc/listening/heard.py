"""What was heard in a recording, in words and for the shop log."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from shopcalc.shoplog import Observation, TimeEntry, job_key
from shopcalc.units import System, write_time

ADVICE = (
    "If it chatters: stop the feed, stop the spindle, and only when it stands look at cutter, clamps and wood. "
    "A recording proves nothing safe: your ears at the machine, its maker's instructions and marked speeds come first."
)


@dataclass(frozen=True)
class Stretch:
    """A time of the recording.

    Parameters
    ----------
    begins, ends : float
        From the recording's start [s].
    """

    begins: float
    ends: float

    @property
    def seconds(self) -> float:
        """How long [s]."""
        return self.ends - self.begins


@dataclass(frozen=True)
class Tone:
    """A tone heard only while cutting that is no multiple of the spindle's turning: possible chatter.

    Parameters
    ----------
    frequency : float
        Of it [Hz].
    within : float
        Its uncertainty, either way [Hz].
    against_tooth : float
        Its level less that of the tooth tone [dB].
    when : Stretch
        From its first to its last sound.
    seconds : float
        How long it sounded in that time [s].
    """

    frequency: float
    within: float
    against_tooth: float
    when: Stretch
    seconds: float


@dataclass(frozen=True)
class Heard:
    """What a recording tells; None where it does not tell.

    Parameters
    ----------
    file : str
        Of the recording.
    seconds : float
        Of the whole recording [s].
    flutes : int
        As said [-].
    programmed : float
        Speed as said [rev/min].
    speed_air, speed_cutting : float or None
        Spindle speed, median of the time out of and in the wood [rev/min].
    speed_within : float
        Uncertainty of a speed, from the frequency resolution, either way [rev/min].
    start, stop : float or None
        When the spindle had reached, and left, nine tenths of its speed; None where that is not in the recording [s].
    start_within : float
        Uncertainty of start and stop, either way [s].
    cutting, air : float or None
        Time in the wood, and out of it with the spindle turning [s].
    cutting_within : float
        Uncertainty of both times, either way [s].
    cuts : tuple of Stretch
        When it cut.
    tones : tuple of Tone
        Possible chatter, the loudest first.
    notes : tuple of str
        What to know about it, for people.
    """

    file: str
    seconds: float
    flutes: int
    programmed: float
    speed_air: float | None
    speed_cutting: float | None
    speed_within: float
    start: float | None
    stop: float | None
    start_within: float
    cutting: float | None
    air: float | None
    cutting_within: float
    cuts: tuple[Stretch, ...]
    tones: tuple[Tone, ...]
    notes: tuple[str, ...]

    @property
    def drop(self) -> float | None:
        """Share of the speed in air that is lost under load [-]."""
        if self.speed_air is None or self.speed_cutting is None:
            return None
        return 1.0 - self.speed_cutting / self.speed_air

    def as_text(self, system: System = "metric") -> str:
        """What was heard, in sentences.

        Parameters
        ----------
        system : {"metric", "inch"}
            For people; speeds, times and frequencies are alike in both.

        Returns
        -------
        str
            Lines.
        """
        lines = [
            f"{self.file}: {write_time(self.seconds)} heard, {self.flutes} flutes, {self.programmed:,.0f} rpm said"
        ]
        for name, speed in (("out of the wood", self.speed_air), ("in the wood", self.speed_cutting)):
            if speed is not None:
                lines.append(f"spindle {name}: {speed:,.0f} rpm, within {self.speed_within:,.0f} rpm")
        if self.drop is not None and self.speed_air is not None:
            error = 2**0.5 * self.speed_within / self.speed_air
            lines.append(f"drop under load: {self.drop:.1%}, within {error:.1%}")
        for name, moment in (("at speed from", self.start), ("slower from", self.stop)):
            if moment is not None:
                lines.append(f"{name} {moment:.1f} s, within {self.start_within:.1f} s")
        if self.cutting is not None and self.air is not None:
            lines.append(
                f"cutting {self.cutting:.1f} s in {len(self.cuts)} cuts, in air {self.air:.1f} s, "
                f"each within {self.cutting_within:.1f} s"
            )
        for t in self.tones:
            lines.append(
                f"possible chatter: {t.frequency:,.0f} Hz (within {t.within:.0f} Hz), {t.against_tooth:+.0f} dB "
                f"against the tooth tone, {t.seconds:.1f} s between {t.when.begins:.1f} s and {t.when.ends:.1f} s"
            )
        return "\n".join([*lines, *([ADVICE] if self.tones else []), *(f"look: {n}" for n in self.notes)])

    def as_json(self) -> dict[str, Any]:
        """The same as plain data.

        Returns
        -------
        dict
            Fields by name, and ``drop`` [-].
        """
        out = {k: list(v) if isinstance(v, tuple) else v for k, v in asdict(self).items()}
        return out | {"drop": self.drop}


def to_entries(
    heard: Heard,
    job: str,
    program: str,
    *,
    part: str = "",
    load: int | None = None,
    cutter: str = "",
    machine: str = "",
) -> tuple[TimeEntry | Observation, ...]:
    """What to add to the shop log for it.

    Parameters
    ----------
    heard : Heard
        From ``hear``.
    job : str
        Name of the job, or its file.
    program : str
        Id of the program.
    part : str
        Id of the part.
    load : int or None
        Number of the load [-].
    cutter, machine : str
        Ids.

    Returns
    -------
    tuple of TimeEntry or Observation
        The time from start to stop of the spindle, where both were heard, and a sound where there may be chatter.
    """
    key = job_key(job)
    out: list[TimeEntry | Observation] = []
    if heard.start is not None and heard.stop is not None:
        seconds = heard.stop - heard.start
        out.append(TimeEntry(key, program, part, load, "machining", cutter, machine, seconds=seconds))
    sounds = (Observation("sound", key, program, part, cutter, machine),) if heard.tones else ()
    return (*out, *sounds)
