"""What is written is read back as the same neck."""

from __future__ import annotations

import json
import tomllib
from typing import get_args

import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.neck.description import Measurement, Neck, SaddleMoves, Sides, String, distance_mm
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.neck.temperament import midi_to_note
from fretcheck.neck.writing import neck_to_mapping

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=30)


@st.composite
def strings(draw, *, note, scale_length_mm, frets):
    wound = draw(st.booleans())
    gauge_mm = draw(st.floats(0.2, 3.0))
    return String(
        note=note,
        gauge_mm=gauge_mm,
        construction="wound" if wound else "plain",
        material=draw(st.sampled_from(sorted(MATERIALS))),
        scale_length_mm=scale_length_mm,
        core_mm=draw(st.none() | st.floats(0.1, 0.99 * gauge_mm)) if wound else None,
        core_material=draw(st.none() | st.sampled_from(("steel", "nylon"))) if wound else None,
        mass_per_length_g_m=draw(st.none() | st.floats(0.1, 100.0)),
        tension_n=draw(st.none() | st.floats(10.0, 300.0)),
        saddle_setback_mm=draw(st.floats(-5.0, 10.0)),
        first_fret=draw(st.integers(0, frets - 1)),
    )


def sides(low_mm, high_mm):
    return st.builds(Sides, treble=st.floats(low_mm, high_mm), bass=st.floats(low_mm, high_mm))


@st.composite
def necks(draw):
    frets = draw(st.integers(1, 36))
    count = draw(st.integers(3, 14))
    scale = draw(st.floats(250.0, 1400.0))
    fanned = draw(st.booleans())
    scales = [draw(st.floats(scale - 20.0, scale + 20.0)) if fanned else scale for _ in range(count)]
    fret = draw(st.integers(1, frets))
    measured = Measurement(
        what="nut_to_fret",
        mm=distance_mm(100.0 * fret, scale_length_mm=scale),
        u_mm=0.1,
        fret=fret,
        date=draw(st.none() | st.dates()),
    )
    zero_fret = draw(st.booleans())
    return Neck(
        name=draw(TEXT),
        serial=draw(st.none() | TEXT),
        reference_hz=draw(st.floats(380.0, 480.0)),
        scale_length_mm=scale,
        frets=frets,
        zero_fret=zero_fret,
        saddle_moves=draw(st.none() | st.sampled_from(get_args(SaddleMoves))),
        action_12_mm=draw(st.none() | sides(0.2, 10.0)),
        relief_mm=draw(st.none() | st.floats(-1.0, 2.0)),
        first_fret_clearance_mm=None if zero_fret else draw(st.none() | sides(0.05, 3.0)),
        tolerance_cents=draw(st.floats(0.1, 50.0)),
        tolerance_mm=draw(st.none() | st.floats(0.01, 5.0)),
        square_fret=draw(st.none() | st.integers(0, frets)) if any(x != scale for x in scales) else None,
        strings=tuple(draw(strings(note=midi_to_note(76 - 3 * n), scale_length_mm=scales[n], frets=frets)) for n in range(count)),
        measured=draw(st.sampled_from(((), (measured,)))),
    )


@given(necks())
def test_text_and_data_give_back_the_same_neck(neck):
    assert neck_from_mapping(tomllib.loads(tomlkit.dumps(neck_to_mapping(neck)))) == neck
    assert neck_from_mapping(json.loads(json.dumps(neck_to_mapping(neck)))) == neck
