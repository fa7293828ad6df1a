"""Speed, cutting time and chatter from the sound of a run.

Common practice, no source: each flute strikes the wood once a turn, so a cut sounds at flutes x speed / 60 and its
multiples; uneven flutes and runout add multiples of the turning itself; chatter sounds at a frequency of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.listening.heard import Heard, Stretch, Tone
from shopcalc.listening.recording import Recording, open_recording

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WINDOW = 0.25  # [s], of one spectrum: its lines are 4 Hz apart
HOP = 0.125  # [s]
_TOP = 4000.0  # [Hz], tones above are not looked at
_LOW = 80.0  # [Hz], rumble and the mains' own tone below
_SEARCH = 0.10  # either side of the programmed speed
_TOOTH = 6.0  # [dB] over the noise beside it, for a tone to be the tooth's
_CHATTER = 9.0  # [dB] over the noise beside it, for a tone of a second to be told
_APART = 4.0  # of two levels, in spreads: an even spread of levels, halved, gives 3.5
_CLIPPED = 1e-3  # share of samples at full scale


@dataclass(frozen=True)
class Spectra:
    """Sound by time and frequency.

    Parameters
    ----------
    power : ndarray
        (times, frequencies) [dB].
    over : ndarray
        The same, over the noise beside it [dB].
    step : float
        Between frequencies [Hz].
    """

    power: NDArray[np.float32]
    over: NDArray[np.float32]
    step: float


def hear(path: str | Path, flutes: int, programmed: float) -> Heard:
    """Listen to a recording of a run.

    Parameters
    ----------
    path : str or Path
        A WAV file.
    flutes : int
        Of the cutter [-].
    programmed : float
        Spindle speed as programmed; the true one is looked for within a tenth of it [rev/min].

    Returns
    -------
    Heard
        With uncertainties.

    Raises
    ------
    InputError
        When the file cannot be used, or the tooth tone would lie outside what can be heard.
    """
    raise_all(_unusable(flutes, programmed))
    sound = open_recording(path)
    top = min(_TOP, 0.45 * sound.rate)
    tone = flutes * programmed / 60.0
    if not _LOW < tone * (1 - _SEARCH) < tone * (1 + _SEARCH) < top:
        what = f"{flutes} flutes at {programmed:,.0f} rpm sound at {tone:,.0f} Hz, outside {_LOW:.0f} to {top:,.0f} Hz"
        raise InputError(Fault(what, "check flutes and speed; a recording at 48 kHz hears the most", file=str(path)))
    spectra = listen(sound)
    lines, notes = _tooth_line(spectra, flutes, programmed)
    speed, loud = _track(spectra, lines, programmed)
    turning = _tidied(loud > _TOOTH, 4)
    if turning.sum() * HOP < 1.0:
        notes = ["no tooth tone near this speed: check flutes and speed, hold the phone nearer (outside the guard)"]
        told = (*sound.notes, *notes)
        return Heard(
            sound.path.name, sound.seconds, flutes, programmed,
            None, None, 0.0, None, None, 0.0, None, None, 0.0, (), (), told,
        )  # fmt: skip
    turning = _joined(turning)
    cutting, alike = _cutting(spectra, loud, turning)
    return _told(sound, spectra, flutes, programmed, lines, speed, loud, turning, cutting, [*notes, *alike])


def _unusable(flutes: int, programmed: float) -> list[Fault]:
    faults = []
    if isinstance(flutes, bool) or not isinstance(flutes, int) or not 1 <= flutes <= 12:
        faults.append(Fault(f"{flutes!r} is no number of flutes", "give 1 to 12", field="flutes"))
    if not 100.0 <= programmed <= 1e5:
        faults.append(Fault(f"{programmed!r} rpm is no spindle speed", "give 100 to 100000 rpm", field="rpm"))
    return faults


# --- spectra ---------------------------------------------------------------------------------------------------------


def listen(sound: Recording) -> Spectra:
    """Spectra of a recording, read a piece at a time.

    Parameters
    ----------
    sound : Recording
        From ``open_recording``.

    Returns
    -------
    Spectra
        One for each ``HOP``; its middle is half a ``WINDOW`` later than it begins.

    Raises
    ------
    InputError
        When it is silent, clipped or holds what is no number.
    """
    from scipy.fft import rfft

    hop = round(sound.rate * HOP)
    size = 2 * hop
    shape = np.hanning(size + 1)[:-1, None]
    keep = int(min(_TOP, 0.48 * sound.rate) * size / sound.rate)
    rows, before, full, count, peak = list[NDArray[np.float32]](), np.zeros((0, sound.channels)), 0, 0, 0.0
    for piece in sound.pieces(hop * 64):
        if not np.isfinite(piece).all():
            raise InputError(Fault("the sound holds what is no number", "record it again", file=str(sound.path)))
        full += int((np.abs(piece) >= 0.999 - 2.0 ** (1 - min(sound.bits, 24))).sum())
        count, peak = count + piece.size, max(peak, float(np.abs(piece).max()))
        both = np.concatenate([before, piece])
        begins = np.arange(0, len(both) - size + 1, hop)
        if begins.size:
            frames = both[begins[:, None] + np.arange(size)] * shape
            rows.append(np.mean(np.abs(rfft(frames, axis=1)[:, :keep]) ** 2, axis=2).astype(np.float32))
            before = both[begins[-1] + hop :]
        else:
            before = both
    if peak < 1e-4:
        raise InputError(Fault("the recording is silent", "check the microphone, record again", file=str(sound.path)))
    if full > _CLIPPED * count:
        what = f"{full / count:.1%} of the sound is clipped: it was too loud for the microphone"
        raise InputError(Fault(what, "record from farther away, or with less gain", file=str(sound.path)))
    raw = np.concatenate(rows)
    power = 10.0 * np.log10(raw + np.float32(1e-10))
    return Spectra(power, _over_noise(power), sound.rate / size)


def _over_noise(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Level over that of the noise beside it: medians of 40 lines, joined by straight lines."""
    wide = 40
    blocks = max(2, power.shape[1] // wide)
    edges = np.linspace(0, power.shape[1], blocks + 1).astype(int)
    middles = (edges[1:] + edges[:-1]) / 2
    medians = np.stack([np.median(power[:, a:b], axis=1) for a, b in pairwise(edges)], axis=1)
    at = np.clip(np.arange(power.shape[1]), middles[0], middles[-1])
    low = np.clip(np.searchsorted(middles, at, side="right") - 1, 0, blocks - 2)
    share = ((at - middles[low]) / (middles[low + 1] - middles[low])).astype(np.float32)
    out: NDArray[np.float32] = power - (medians[:, low] * (1 - share) + medians[:, low + 1] * share)
    return out


# --- speed -----------------------------------------------------------------------------------------------------------


def _tooth_line(spectra: Spectra, flutes: int, programmed: float) -> tuple[int, list[str]]:
    """Which multiple of the turning is the loudest of the run, and what that says of the flutes."""
    turn, top = programmed / 60.0, spectra.over.shape[1] * spectra.step
    loud = {}
    for n in sorted({1, 2, 3, 4, 5, flutes}):
        low, high = (round(n * turn * (1 + s * min(_SEARCH, 0.4 / n)) / spectra.step) for s in (-1, 1))
        if low * spectra.step > _LOW and high * spectra.step < top:
            best = np.max(spectra.over[:, low : high + 1], axis=1)
            loud[n] = float(np.percentile(best, 75))
    best_n = max(loud, key=lambda n: loud[n])
    if flutes in loud and (loud[flutes] >= loud[best_n] - 3.0 or loud[best_n] < 2 * _TOOTH):
        return flutes, []
    if flutes % best_n == 0:
        why = "runout or uneven flutes, or the cutter has fewer flutes than said"
    else:
        why = "the cutter has not the flutes said, or the speed is another"
    heard = f"the loudest tone is {best_n} times the turning at this speed, not {flutes} times: {why}; count the flutes"
    return best_n, [f"{heard} with the spindle stopped and locked out"]


def _track(spectra: Spectra, lines: int, programmed: float) -> tuple[Floats, Floats]:
    """Speed [rev/min] and level of the tooth tone over its noise [dB], at each time."""
    middle, step = lines * programmed / 60.0, spectra.step
    search = min(_SEARCH, 0.4 / lines)
    first, last = int(np.ceil(middle * (1 - search) / step)), int(middle * (1 + search) / step)
    grid = np.arange(first, last + 1)
    score, weight = np.zeros((len(spectra.over), grid.size)), 0.0
    smooth = _smoothed(spectra.over, 3)
    for h, w in ((1, 1.0), (2, 0.5), (3, 0.25)):
        if h * last + 1 < smooth.shape[1]:
            reach = range(-(h // 2), h // 2 + 1)
            score += w * np.max([smooth[:, h * grid + r] for r in reach], axis=0)
            weight += w
    at = np.argmax(score, axis=1)
    rows = np.arange(len(at))
    k = np.clip(grid[at], 1, smooth.shape[1] - 2)
    a, b, c = (smooth[rows, k + d].astype(float) for d in (-1, 0, 1))
    bend = a - 2 * b + c
    shift = np.clip(np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, 1.0), 0.0), -0.5, 0.5)
    return (k + shift) * step * 60.0 / lines, score[rows, at] / weight


def levels(spectra: Spectra) -> Floats:
    """How loud it was: mean level of all frequencies above the rumble, each counted alike.

    Parameters
    ----------
    spectra : Spectra
        From ``listen``.

    Returns
    -------
    ndarray
        At each time [dB].
    """
    out: Floats = spectra.power[:, int(_LOW / spectra.step) :].mean(axis=1).astype(float)
    return out


def _smoothed(values: NDArray[np.float32], size: int) -> NDArray[np.float32]:
    from scipy.ndimage import uniform_filter1d

    out: NDArray[np.float32] = uniform_filter1d(values, size, axis=0, mode="nearest")
    return out


def _runs(flags: Flags) -> NDArray[np.intp]:
    """(first, after the last) of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2)


def _tidied(flags: Flags, least: int) -> Flags:
    """Without runs shorter than this many times, true or false."""
    out = flags.copy()
    for value in (False, True):
        for a, b in _runs(out == value):
            if b - a < least and (value or (a > 0 and b < len(out))):
                out[a:b] = not value
    return out


def _joined(flags: Flags) -> Flags:
    """From the first to the last: the spindle does not stop in a program but for a change of cutter."""
    out, runs = np.zeros_like(flags), _runs(flags)
    begin, end = runs[0]
    spans = []
    for a, b in runs[1:]:
        if (a - end) * HOP > 10.0:
            spans.append((begin, end))
            begin = a
        end = b
    for a, b in (*spans, (begin, end)):
        out[a:b] = True
    return out


# --- in and out of the wood ------------------------------------------------------------------------------------------


def _cutting(spectra: Spectra, loud: Floats, turning: Flags) -> tuple[Flags | None, list[str]]:
    """When it cuts: by the level of all frequencies, or of the tooth tone, whichever has two levels farther apart."""
    found = max(((*_two_levels(v[turning]), v) for v in (levels(spectra), loud)), key=lambda x: x[0])
    apart, quiet, noisy, level = found
    if apart < _APART or noisy - quiet < 2.0:
        return None, ["cutting and air sound alike here: no two levels, so no cutting seconds"]
    up, down = quiet + 0.6 * (noisy - quiet), quiet + 0.4 * (noisy - quiet)
    state, out = False, np.zeros(len(level), bool)
    for i in np.flatnonzero(turning):
        state = level[i] > (down if state else up)
        out[i] = state
    return _tidied(out, 2) & turning, []


def _two_levels(values: Floats) -> tuple[float, float, float]:
    """How far apart two levels are [spreads], and both: the split that leaves least spread within them (Otsu 1979)."""
    v = np.sort(values)
    n, k = len(v), np.arange(1, len(v))
    if n < 4:
        return 0.0, 0.0, 0.0
    sums = np.cumsum(v)[:-1]
    low, high = sums / k, (v.sum() - sums) / (n - k)
    at = int(np.argmax(k * (n - k) * (high - low) ** 2))
    a, b = v[: at + 1], v[at + 1 :]
    spread = float(np.sqrt((a.var() * len(a) + b.var() * len(b)) / n)) + 1e-9
    if min(len(a), len(b)) < 4:
        return 0.0, 0.0, 0.0
    return float(b.mean() - a.mean()) / spread, float(np.median(a)), float(np.median(b))


# --- tones off the teeth ---------------------------------------------------------------------------------------------


def _tones(spectra: Spectra, lines: int, speed: Floats, cutting: Flags, turning: Flags) -> tuple[Tone, ...]:
    """Tones of a second and more that sound only in the wood, and are no multiple of the turning."""
    from scipy.ndimage import binary_erosion, maximum_filter1d

    step, inside = spectra.step, binary_erosion(cutting, iterations=3)  # while it enters and leaves, the speed changes
    over = _smoothed(np.where(inside[:, None], 10.0 ** (spectra.over / 10.0), 0.0).astype(np.float32), 8)
    peak = over == maximum_filter1d(over, 7, axis=1)  # not the skirt of a tone beside it
    peak = maximum_filter1d(peak.astype(np.uint8), 3, axis=1).astype(bool)
    freq = np.arange(over.shape[1], dtype=np.float32) * np.float32(step)
    turn = (speed / 60.0).astype(np.float32)[:, None]
    nearest = np.round(freq / turn)
    off = np.abs(freq - nearest * turn) > 2.5 * step + 0.006 * freq
    strong = (10.0 * np.log10(np.maximum(over, 1e-9)) > _CHATTER) & off & peak & inside[:, None] & (freq > _LOW)
    always = _sounding(spectra, turning & ~cutting, off) | _sounding(spectra, ~turning, np.ones_like(off))
    if (~turning).sum() <= 8:  # nothing to compare with: multiples of the mains' tone are left out
        mains = [np.abs(freq - f * np.round(freq / f)) < step for f in (50.0, 60.0)]
        always |= (mains[0] | mains[1]) & (freq < 500.0)
    strong &= ~np.convolve(always, np.ones(5), "same").astype(bool)
    lasting = strong.sum(axis=0) * HOP
    tones = list[Tone]()
    while lasting.max() >= 1.0:
        k = int(np.argmax(np.where(lasting >= 1.0, (over * strong).sum(axis=0), 0.0)))
        tones.append(_tone(spectra, lines, speed, strong, k))
        lasting[max(0, k - 6) : k + 7] = 0.0
    return tuple(sorted(tones, key=lambda t: -t.against_tooth))[:5]


def _sounding(spectra: Spectra, when: Flags, where: Flags) -> Flags:
    """Frequencies that sound at these times, but for what is no place to look."""
    if when.sum() <= 8:
        return np.zeros(spectra.over.shape[1], bool)
    mean = np.where(where[when], 10.0 ** (spectra.over[when] / 10.0), 0.0).mean(axis=0)
    out: Flags = mean > 10.0 ** ((_CHATTER - 4) / 10.0)
    return out


def _tone(spectra: Spectra, lines: int, speed: Floats, strong: Flags, k: int) -> Tone:
    step = spectra.step
    at = np.flatnonzero(strong[:, k])  # by a second's mean: that reaches half a second too far
    itself = spectra.over[at, max(0, k - 1) : k + 2].max(axis=1) > _CHATTER
    at = at[itself] if itself.any() else at
    beside = spectra.power[at, max(0, k - 2) : k + 3].mean(axis=0)
    here = max(0, k - 2) + int(np.argmax(beside))
    tooth = np.clip(np.round(lines * speed[at] / 60.0 / step).astype(int), 0, spectra.power.shape[1] - 1)
    level = float(np.median(spectra.power[at, here] - spectra.power[at, tooth]))
    when = Stretch(float(at[0] * HOP + WINDOW / 2), float(at[-1] * HOP + WINDOW / 2))
    return Tone(here * step, step, level, when, float(at.size * HOP))


# --- put together ----------------------------------------------------------------------------------------------------


def _told(
    sound: Recording,
    spectra: Spectra,
    flutes: int,
    programmed: float,
    lines: int,
    speed: Floats,
    loud: Floats,
    turning: Flags,
    cutting: Flags | None,
    notes: list[str],
) -> Heard:
    clear = turning & (loud > _TOOTH)
    steady = np.interp(np.arange(len(speed)), np.flatnonzero(clear), speed[clear])
    inside = np.zeros_like(turning) if cutting is None else cutting
    air = turning & ~inside
    in_air, in_wood = (float(np.median(speed[clear & m])) if (clear & m).sum() > 3 else None for m in (air, inside))
    edge = 2 * int(WINDOW / HOP)
    ends = np.flatnonzero(turning)[[0, -1]] * HOP + WINDOW / 2
    starts, stops = ends[0] > edge * HOP, ends[1] < sound.seconds - edge * HOP
    if not (starts and stops):
        notes = [*notes, "the recording does not hold the whole run: no time for the log"]
    where = turning if cutting is None else inside
    cuts = tuple(Stretch(float(a * HOP + HOP / 2), float(b * HOP + HOP / 2)) for a, b in _runs(inside))
    return Heard(
        sound.path.name, sound.seconds, flutes, programmed, in_air, in_wood, 0.5 * spectra.step * 60.0 / lines,
        float(ends[0]) if starts else None, float(ends[1]) if stops else None, 2 * WINDOW,
        None if cutting is None else float(inside.sum() * HOP), None if cutting is None else float(air.sum() * HOP),
        2 * WINDOW + len(cuts) * WINDOW, cuts,
        _tones(spectra, lines, steady, where, turning),
        (*sound.notes, *notes),
    )  # fmt: skip
