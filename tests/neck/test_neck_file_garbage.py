"""Whatever stands in a description, reading it gives a neck or one clear line, never another error."""

from __future__ import annotations

import copy

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fretcheck.errors import NeckError
from fretcheck.neck.description import Neck
from fretcheck.neck.neck_file import neck_from_mapping, read_neck
from fretcheck.neck.starts import STARTS
from fretcheck.neck.toml_tables import MeasuredTable, NeckTable, StringTable
from fretcheck.neck.writing import neck_to_mapping

GOOD = {
    **neck_to_mapping(STARTS["guitar-12-steel"].neck),
    "measured": [{"what": "nut_to_fret", "fret": 12, "mm": 324.0, "u_mm": 0.1}],
}
KEYS = sorted({*NeckTable.model_fields, *StringTable.model_fields, *MeasuredTable.model_fields, "", "guage"})
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates()
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
)
PLACES = st.sampled_from([(), ("strings", 0), ("strings", 11), ("measured", 0)])


def one_clear_line(data):
    line = ""
    try:
        assert isinstance(neck_from_mapping(data), Neck)
    except NeckError as error:
        line = str(error) or "\n"
    assert "\n" not in line
    assert len(line) < 600


@given(PLACES, st.sampled_from(KEYS), VALUES)
@example((), "frets", 10**400)
@example((), "scale_length_mm", 10**400)
@example(("strings", 0), "note", "E\n4")
def test_any_value_at_any_key(place, key, value):
    data = copy.deepcopy(GOOD)
    table = data
    for step in place:
        table = table[step]
    table[key] = value
    one_clear_line(data)


@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=6))
@example({"action_12_mm": "\n"})
def test_any_table(data):
    one_clear_line(data)


@given(content=st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("neck") / "neck.toml"
    path.write_bytes(content)
    with pytest.raises(NeckError, match=r"neck\.toml: "):  # 200 bytes of noise never make a whole neck
        read_neck(path)
