"""The matter of a string as its description implies it, and its nominal pitch."""

from __future__ import annotations

from functools import lru_cache

from fretcheck.neck.description import Neck, String
from fretcheck.neck.physics import string_constants
from fretcheck.neck.temperament import note_frequency_hz
from tests.synth.string_matter import StringMatter


def open_note_hz(neck: Neck, string: int) -> float:
    """Nominal frequency of an open string."""
    return note_frequency_hz(neck.string(string).note, reference_hz=neck.reference_hz)


def matter_of(neck: Neck, string: int) -> StringMatter:
    """Matter of a string by its description; of a polymer, whose stiffness no description tells, the middle of the prior."""
    return _matter(neck.string(string), neck.reference_hz)


@lru_cache(maxsize=256)
def _matter(string: String, reference_hz: float) -> StringMatter:
    constants = string_constants(string, reference_hz=reference_hz)
    return StringMatter.from_constants(
        kappa=constants.kappa_prior.median,
        beta=constants.beta0_prior.median,
        tension_n=constants.tension_n,
        length_mm=constants.open_length_mm,
        frequency_hz=note_frequency_hz(string.note, reference_hz=reference_hz),
    )
