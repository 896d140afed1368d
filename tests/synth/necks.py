"""Necks for the tests of the synthesis."""

from __future__ import annotations

from fretcheck.neck.description import Neck, String


def steel_neck(*, frets: int = 20) -> Neck:
    """Six steel strings, three of them plain, common gauges."""
    plain = [("E4", 0.254), ("B3", 0.330), ("G3", 0.432)]
    wound = [("D3", 0.660, 0.30), ("A2", 0.914, 0.38), ("E2", 1.168, 0.42)]
    shared = {"material": "steel", "scale_length_mm": 648.0}
    strings = [String(note=note, gauge_mm=gauge, construction="plain", **shared) for note, gauge in plain]
    strings += [
        String(
            note=note,
            gauge_mm=gauge,
            core_mm=core,
            core_material="steel",
            construction="wound",
            **{**shared, "material": "nickel"},
        )
        for note, gauge, core in wound
    ]
    return Neck(name="Test bench neck", scale_length_mm=648.0, frets=frets, strings=tuple(strings))


def one_string_neck(*, note: str = "E4", scale_length_mm: float = 650.0, frets: int = 12, **string: object) -> Neck:
    """One string; its matter is given by the test."""
    described = {"gauge_mm": 0.7, "construction": "plain", "material": "nylon", **string}
    strings = (String(note=note, scale_length_mm=scale_length_mm, **described),)
    return Neck(name="One string", scale_length_mm=scale_length_mm, frets=frets, strings=strings)
