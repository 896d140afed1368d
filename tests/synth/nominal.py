"""The matter of a string as its description implies it, and nominal pitches."""

from __future__ import annotations

from functools import lru_cache

from fretcheck.neck.description import Neck
from fretcheck.neck.physics import string_constants
from fretcheck.neck.temperament import midi_frequency_hz, note_to_midi
from tests.synth.string_matter import StringMatter


def note_frequency_hz(note: str, *, reference_hz: float = 440.0) -> float:
    """Frequency of a note in scientific pitch."""
    return midi_frequency_hz(note_to_midi(note), reference_hz=reference_hz)


def open_note_hz(neck: Neck, string: int) -> float:
    """Nominal frequency of an open string."""
    return neck.open_hz(string)


def matter_of(neck: Neck, string: int) -> StringMatter:
    """Matter of a string by its description; of a polymer, whose stiffness no description tells, the middle of the prior."""
    return _matter(neck, string)


@lru_cache(maxsize=256)
def _matter(neck: Neck, string: int) -> StringMatter:
    constants = string_constants(neck, string)
    return StringMatter.from_constants(
        kappa=constants.kappa_prior.median,
        beta=constants.beta0_prior.median,
        tension_n=constants.tension_n,
        length_mm=constants.open_length_mm,
        frequency_hz=neck.open_hz(string),
    )
