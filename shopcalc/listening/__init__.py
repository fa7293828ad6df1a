"""What a phone's recording of a run tells: speed under load, cutting and air seconds, tones that may be chatter."""

from shopcalc.listening.heard import Heard, Stretch, Tone, to_entries
from shopcalc.listening.hearing import hear
from shopcalc.listening.recording import Recording, open_recording

__all__ = ["Heard", "Recording", "Stretch", "Tone", "hear", "open_recording", "to_entries"]
