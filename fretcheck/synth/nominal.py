"""The matter of a string as its description implies it, and its nominal pitch."""

from __future__ import annotations

import re

from fretcheck.neck.description import Neck
from fretcheck.synth.string_matter import StringMatter


def open_note_hz(neck: Neck, string: int) -> float:
    """Nominal frequency of an open string."""
    letter, accidental, octave = re.fullmatch(r"([A-G])([#b]?)(\d)", neck.string(string).note).groups()  # type: ignore[union-attr]
    semitone = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[letter] + {"#": 1, "b": -1, "": 0}[accidental]
    return neck.reference_hz * 2.0 ** ((12 * (int(octave) + 1) + semitone - 69) / 12.0)


def matter_of(neck: Neck, string: int) -> StringMatter:
    """Matter of a string by its description."""
    described = neck.string(string)
    plain = StringMatter.from_plain(gauge_mm=described.gauge_mm, modulus_gpa=200.0, density_kg_m3=7850.0)
    if described.construction == "plain":
        return plain
    core = StringMatter.from_plain(gauge_mm=described.core_mm or 0.4 * described.gauge_mm, modulus_gpa=200.0, density_kg_m3=7850.0)
    return StringMatter(
        axial_stiffness_n=core.axial_stiffness_n,
        bending_stiffness_n_mm2=core.bending_stiffness_n_mm2,
        mass_per_length_g_m=described.mass_per_length_g_m or 0.92 * plain.mass_per_length_g_m,
    )
