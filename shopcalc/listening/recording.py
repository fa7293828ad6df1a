"""WAV recordings read a piece at a time: mono or stereo, 8 to 32 bit whole numbers or 32 and 64 bit floats.

References
----------
Multimedia Programming Interface and Data Specifications 1.0, IBM and Microsoft, 1991: RIFF WAVE (from memory); the
tests hear files written by scipy.io.wavfile, which knows it independently.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError

LONGEST = 1800.0  # [s], what bounds the memory
SHORTEST = 3.0  # [s]
_AS_WAV = "record or save it as WAV, PCM, 16 bit, 48 kHz (most recorder apps call it lossless or WAV)"
_KINDS = {
    b"ID3": "an MP3",
    b"OggS": "an Ogg",
    b"fLaC": "a FLAC",
    b"caff": "a CAF",
    b"RF64": "an RF64",
    b"FORM": "an AIFF",
}


@dataclass(frozen=True)
class Recording:
    """A sound file whose head is understood; the sound itself is still in the file.

    Parameters
    ----------
    path : Path
        The file.
    rate : int
        Samples a second [Hz].
    channels : int
        1 or 2 [-].
    bits : int
        Of a sample [-].
    floating : bool
        Whether samples are floats rather than whole numbers.
    begins : int
        Where the sound begins in the file [byte].
    frames : int
        Samples of each channel [-].
    notes : tuple of str
        What is odd about it, for people.
    """

    path: Path
    rate: int
    channels: int
    bits: int
    floating: bool
    begins: int
    frames: int
    notes: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.frames / self.rate

    def pieces(self, size: int) -> Iterator[NDArray[np.float64]]:
        """The sound in order, of full scale 1.

        Parameters
        ----------
        size : int
            Samples of each channel in a piece; the last may be shorter [-].

        Yields
        ------
        ndarray
            (samples, channels) [-].
        """
        step = self.channels * self.bits // 8
        with self.path.open("rb") as file:
            file.seek(self.begins)
            left = self.frames
            while left > 0:
                raw = file.read(min(size, left) * step)
                raw = raw[: len(raw) // step * step]
                if not raw:
                    return
                left -= len(raw) // step
                yield self._decoded(raw).reshape(-1, self.channels)

    def _decoded(self, raw: bytes) -> NDArray[np.float64]:
        if self.floating:
            return np.frombuffer(raw, f"<f{self.bits // 8}").astype(float)
        if self.bits == 8:
            return (np.frombuffer(raw, np.uint8).astype(float) - 128.0) / 128.0
        if self.bits == 24:
            wide = np.zeros((len(raw) // 3, 4), np.uint8)
            wide[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
            return wide.view("<i4")[:, 0] / 2.0**31
        return np.frombuffer(raw, f"<i{self.bits // 8}") / 2.0 ** (self.bits - 1)


def open_recording(path: str | Path) -> Recording:
    """Read the head of a WAV file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Recording
        Ready to be heard.

    Raises
    ------
    InputError
        When it is no such file, is compressed, empty, too short or too long; says what to do.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            head, size = file.read(12), path.stat().st_size
            if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
                raise _refused(path, _kind(head), _AS_WAV)
            form, begins, length = _chunks(path, size)
    except OSError as e:
        raise _refused(path, f"cannot be read ({e.strerror})", "check its name and place") from None
    return _checked(path, size, form, begins, length)


def _kind(head: bytes) -> str:
    if not head:
        return "the file is empty"
    for mark, name in _KINDS.items():
        if head.startswith(mark):
            return f"this is {name} file, not a WAV"
    if head[4:8] == b"ftyp":
        return "this is a compressed phone recording (M4A or MP4), not a WAV"
    return "this is no WAV file"


def _chunks(path: Path, size: int) -> tuple[bytes, int, int]:
    """Format, place and length of the sound."""
    form, place = b"", 12
    with path.open("rb") as file:
        while place + 8 <= size:
            file.seek(place)
            name, length = struct.unpack("<4sI", file.read(8))
            if name == b"data":
                if not form:
                    break
                return form, place + 8, length
            if name == b"fmt ":
                form = file.read(min(length, 64))
            place += 8 + length + length % 2
    raise _refused(path, "the WAV has no sound in it, or no description of it", "record it again")


def _checked(path: Path, size: int, form: bytes, begins: int, length: int) -> Recording:
    if len(form) < 16:
        raise _refused(path, "the description of the sound is cut off", "record it again")
    codec, channels, rate, _, _, bits = struct.unpack("<HHIIHH", form[:16])
    if codec == 0xFFFE and len(form) >= 26:
        codec = struct.unpack("<H", form[24:26])[0]
    faults = []
    if codec not in (1, 3):
        faults.append(Fault(f"the sound in the WAV is compressed (kind {codec})", _AS_WAV, file=str(path)))
    elif bits not in ((32, 64) if codec == 3 else (8, 16, 24, 32)):
        faults.append(Fault(f"samples of {bits} bit cannot be read", _AS_WAV, file=str(path)))
    if channels not in (1, 2):
        faults.append(Fault(f"{channels} channels cannot be read", "record mono or stereo", file=str(path)))
    if not 8000 <= rate <= 96000:
        faults.append(Fault(f"{rate} samples a second are not in 8000 to 96000", _AS_WAV, file=str(path)))
    if faults:
        raise InputError(faults)
    there = min(length, size - begins)
    cut_off = length > there
    found = Recording(
        path, rate, channels, bits, codec == 3, begins, there // (channels * bits // 8),
        ("the recording was cut off: only what is there was heard",) if cut_off else (),
    )  # fmt: skip
    if found.seconds < SHORTEST:
        what = f"{found.seconds:.1f} s of sound are too short" if found.frames else "there is no sound in it"
        raise _refused(path, what, "record a whole run, from before the spindle starts until it stands")
    if found.seconds > LONGEST:
        raise _refused(path, f"{found.seconds / 60:.0f} min are too long", "cut it into pieces of at most 30 min")
    return found


def _refused(path: Path, what: str, remedy: str) -> InputError:
    return InputError(Fault(what, remedy, file=str(path)))
