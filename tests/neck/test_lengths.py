"""Lengths in either unit: whatever is written comes out the same, and what fits the other unit better is questioned."""

from __future__ import annotations

import tomllib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import NeckError
from fretcheck.neck.lengths import LENGTHS, in_mm
from fretcheck.neck.measurement import MEASUREMENT_KINDS, TOOL_U_MM
from fretcheck.neck.neck_file import neck_from_mapping, read_neck

TEXT = """
name = "Cherry"
scale_length_in = "25 1/2"
frets = 20
tuning = "E4 B3 G3 D3 A2 E2"
gauges_in = [0.012, 0.016, "w0.024", "w0.032", "w0.042", "w0.053"]
wound_material = "phosphor_bronze"
"""


def typed(*lines, measured=""):
    """The description as a person typed it, with more lines before the tables."""
    text = TEXT + "\n".join(lines) + (f"\n[[measured]]\n{measured}\n" if measured else "")
    return neck_from_mapping(tomllib.loads(text), typed=True)


@pytest.mark.parametrize(
    ("written", "mm"),
    [("25 1/2", 647.7), ("25-1/2", 647.7), ("25.5", 647.7), ('25 1/2"', 647.7), (25.5, 647.7), (25, 635.0), ("51/2", 647.7)],
)
def test_inches_as_written(written, mm):
    assert in_mm(written, key="scale_length_in", question=True) == pytest.approx(mm, abs=1e-9)  # 25.4 mm an inch, exactly


@given(st.sampled_from(sorted(set(LENGTHS) - {"gauges", "fret_positions"})), st.floats(0.0, 1.0))
def test_round_trip_of_units(stem, part):
    length = LENGTHS[stem]
    mm = max(length.usual_mm[0], 0.0) + part * (length.usual_mm[1] - max(length.usual_mm[0], 0.0))
    assert in_mm(mm, key=f"{stem}_mm", question=True) == mm
    # what is usual in mm may be questioned as inches only where it is the same number that would be usual in both
    assert in_mm(mm / 25.4, key=f"{stem}_in", question=False) == pytest.approx(mm, rel=1e-12)


@given(st.integers(8, 50), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_are_exact(whole, numerator, denominator):
    part = Fraction(numerator % denominator, denominator)
    written = f"{whole} {part.numerator}/{part.denominator}" if part else f"{whole}"
    assert in_mm(written, key="scale_length_in", question=True) == pytest.approx(
        float((whole + part) * Fraction(254, 10)), rel=1e-14
    )


def test_the_whole_description_in_inches_is_the_one_in_mm():
    inches = typed('action_12_in = { treble = "5/64", bass = "3/32" }', "relief_in = 0.008", "saddle_setback_in = 0.1")
    mm = typed(
        f"action_12_mm = {{ treble = {25.4 * 5 / 64}, bass = {25.4 * 3 / 32} }}",
        f"relief_mm = {25.4 * 0.008}",
        "saddle_setback_mm = 2.54",
    )
    assert inches == mm
    assert inches.scale_length_mm == pytest.approx(647.7)
    assert inches.string(6).gauge_mm == pytest.approx(0.053 * 25.4)


def test_measurements_in_inches_and_by_tool():
    neck = typed(measured='what = "nut_to_fret"\nfret = 12\nin = "12 3/4"')
    assert neck.measured[0].mm == pytest.approx(323.85)
    assert neck.measured[0].u_mm == TOOL_U_MM["rule"]
    by_calliper = typed(measured='what = "nut_to_fret"\nfret = 12\nmm = 323.8\ntool = "calliper"')
    assert by_calliper.measured[0].u_mm == TOOL_U_MM["calliper"]
    own = typed(measured='what = "nut_to_fret"\nfret = 12\nmm = 323.8\nu_in = 0.004')
    assert own.measured[0].u_mm == pytest.approx(0.1016)


@pytest.mark.parametrize("kind", MEASUREMENT_KINDS.values(), ids=MEASUREMENT_KINDS)
def test_a_tool_is_never_better_than_what_it_measures(kind):
    assert all(kind.u_mm(tool) >= kind.least_u_mm for tool in (None, *TOOL_U_MM))
    assert kind.u_mm() == kind.u_mm(kind.tool)


QUESTIONED = [
    (["first_fret_clearance_mm = 0.018"], "", "looks like inches, use first_fret_clearance_in"),
    (["relief_mm = 0.008"], "", "looks like inches: write relief_in = 0.008, or 0 for none"),
    (["relief_in = 0.06"], "", "looks like mm: write relief_mm = 0.06"),
    (["action_12_in = 2.0"], "", "looks like mm, use action_12_mm"),
    (["action_12_mm = { treble = 0.07, bass = 0.09 }"], "", "looks like inches, use action_12_in"),
    (["saddle_setback_mm = 0.09"], "", "looks like inches: write saddle_setback_in = 0.09"),
    (["saddle_setback_in = 0.9"], "", "looks like mm: write saddle_setback_mm = 0.9"),
    (["nut_compensation_mm = 0.02"], "", "looks like inches: write nut_compensation_in = 0.02"),
    (["tolerance_mm = 0.012"], "", "looks like inches: write tolerance_in = 0.012"),
    ([], 'what = "first_fret_clearance"\nmm = 0.018', "first_fret_clearance: mm = 0.018 is unusually little .*write in = 0.018"),
    ([], 'what = "relief"\nmm = 0.01', "looks like inches: write in = 0.01"),
    ([], 'what = "capo"\nmm = 0.3', "looks like inches: write in = 0.3"),
    ([], 'what = "action_12"\nin = 2.0', "looks like mm, use mm"),
    ([], 'what = "nut_to_fret"\nfret = 12\nmm = 12.75', "looks like inches"),
    ([], 'what = "fret_to_fret"\nfret = 12\nmm = 60.0', "from the design, 19.3 mm: is the fret right"),
]


@pytest.mark.parametrize(("lines", "measured", "told"), QUESTIONED)
def test_a_length_that_fits_the_other_unit_is_questioned(lines, measured, told):
    with pytest.raises(NeckError, match=told):
        typed(*lines, measured=measured)


def test_zero_is_never_questioned():
    neck = typed("relief_mm = 0.0", "saddle_setback_mm = 0", measured='what = "first_fret_clearance"\nmm = 0')
    assert (neck.relief_mm, neck.string(1).saddle_setback_mm, neck.measured[0].mm) == (0.0, 0.0, 0.0)


def test_what_the_program_itself_keeps_is_not_questioned(tmp_path):
    # half a hundredth of an inch is 0.127 mm, and would be taken for inches had a person typed it so
    from fretcheck.neck.writing import neck_to_mapping

    neck = typed("saddle_setback_in = 0.005")
    assert neck_from_mapping(neck_to_mapping(neck)) == neck
    with pytest.raises(NeckError, match="looks like inches"):
        neck_from_mapping(neck_to_mapping(neck), typed=True)


def test_a_file_is_typed_by_a_person(tmp_path):
    path = tmp_path / "neck.toml"
    path.write_text(TEXT + "relief_mm = 0.008\n", encoding="utf-8")
    with pytest.raises(NeckError, match=r"neck.toml: relief_mm = 0.008 is unusually little"):
        read_neck(path)
