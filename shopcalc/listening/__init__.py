"""What a phone's recording of a run tells: speed under load, cutting and air seconds, tones that may be chatter."""

from shopcalc.listening.heard import Heard, Stretch, Tone, to_entries
from shopcalc.listening.hearing import HOP, WINDOW, Spectra, hear, levels, listen
from shopcalc.listening.recording import Recording, open_recording

__all__ = [
    "HOP",
    "WINDOW",
    "Heard",
    "Recording",
    "Spectra",
    "Stretch",
    "Tone",
    "hear",
    "levels",
    "listen",
    "open_recording",
    "to_entries",
]
