"""What the segmenter hands on: the sound of one pluck, or a note of what it set aside."""

from dataclasses import dataclass
from typing import Literal

from fretcheck.arrays import Reals

EndReason = Literal["next_pluck", "stopped", "decayed", "end_of_stream", "lost_samples"]


@dataclass(frozen=True)
class Onset:
    """A pluck has begun; given as soon as it is heard, before the pluck is complete."""

    start_frame: int


@dataclass(frozen=True)
class Pluck:
    """One pluck, from its onset to its end, attack included."""

    samples: Reals  # Shape ``(frames,)``; index 0 is the onset
    sample_rate: float
    start_frame: int
    settled_from: int  # Index into `samples` at which the attack is over
    noise_rms: float | None  # RMS of the stream just before the onset, full scale 1; None where no quiet stretch was heard
    clipped_fraction: float
    end: EndReason

    @property
    def start_s(self) -> float:
        """Onset in seconds from the start of the stream."""
        return self.start_frame / self.sample_rate

    @property
    def end_s(self) -> float:
        """The last of its sound, in seconds from the start of the stream."""
        return (self.start_frame + len(self.samples)) / self.sample_rate


@dataclass(frozen=True)
class SetAside:
    """A stretch of sound that is no usable pluck, with the reason in a sentence for the user."""

    start_s: float
    end_s: float
    reason: str
