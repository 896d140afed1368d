"""Bad descriptions are refused with one line that names the place, the value, the range and the cure."""

from __future__ import annotations

import copy
import datetime
import math

import pytest

from fretcheck.errors import NeckError
from fretcheck.neck.description import Sides
from fretcheck.neck.measurement import MEASUREMENT_KINDS
from fretcheck.neck.neck_file import neck_from_mapping, read_neck
from fretcheck.neck.starts import STARTS
from fretcheck.neck.writing import neck_to_mapping

STEEL = {"gauge_mm": 0.254, "construction": "plain", "material": "steel"}
GOOD = {
    "name": "Walnut tenor, neck 7",
    "scale_length_mm": 648.0,
    "frets": 20,
    "strings": [{"note": note, **STEEL} for note in ("E4", "B3", "G3", "D3", "A2", "E2")],
}
RULED = {"what": "nut_to_fret", "fret": 12, "mm": 324.1, "u_mm": 0.1}


def changed(*path, to, base=GOOD):
    data = copy.deepcopy(base)
    place = data
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = to
    return data


def test_good_description():
    neck = neck_from_mapping(GOOD)
    assert (neck.frets, len(neck.strings), neck.reference_hz, neck.tolerance_cents) == (20, 6, 440.0, 3.0)
    assert neck.string(1).note == "E4"
    assert neck.string(1).scale_length_mm == 648.0


def test_inches():
    data = changed("strings", 0, to={"note": "E4", "gauge_in": 0.010, "construction": "plain", "material": "steel"})
    del data["scale_length_mm"]
    neck = neck_from_mapping({**data, "scale_length_in": 25.5})
    assert neck.scale_length_mm == pytest.approx(647.7, abs=1e-9)
    assert neck.string(1).gauge_mm == pytest.approx(0.254, abs=1e-12)


def test_heights_saddle_and_dates():
    told = {
        "action_12_mm": {"treble": 1.6, "bass": 2},
        "relief_mm": 0.2,
        "first_fret_clearance_mm": 0.45,
        "saddle_moves": "slant",
    }
    days = ({**RULED, "date": datetime.date(2026, 11, 28)}, {**RULED, "date": "2026-11-28"}, RULED)
    neck = neck_from_mapping({**GOOD, **told, "measured": list(days)})
    assert (neck.action_12_mm, neck.first_fret_clearance_mm) == (Sides(treble=1.6, bass=2.0), Sides(treble=0.45, bass=0.45))
    assert (neck.relief_mm, neck.saddle_moves) == (0.2, "slant")
    assert [one.date for one in neck.measured] == [datetime.date(2026, 11, 28)] * 2 + [None]
    assert neck_from_mapping(neck_to_mapping(neck)) == neck


def test_a_zero_fret_leaves_no_clearance_to_describe():
    with pytest.raises(NeckError, match="a zero fret or capo carries the strings"):
        neck_from_mapping({**GOOD, "zero_fret": True, "first_fret_clearance_mm": 0.4})


BAD_VALUES = [
    (
        ("scale_length_mm",),
        25.5,
        r"scale_length_mm = 25\.5 lies outside the allowed 200 to 1500 mm: .*inches, use scale_length_in",
    ),
    (("scale_length_mm",), 64.8, "looks like centimetres, write scale_length_mm = 648"),
    (("scale_length_mm",), 0.648, "looks like metres, write scale_length_mm = 648"),
    (("scale_length_mm",), math.nan, "scale_length_mm = nan is not a finite number: allowed is 200 to 1500 mm"),
    (("scale_length_mm",), math.inf, "not a finite number"),
    (("scale_length_mm",), -648.0, "lies outside the allowed 200 to 1500 mm$"),
    (("scale_length_mm",), "648", 'scale_length_mm = "648" must be a number, without quotes'),
    (("scale_length_in",), 25.5, "not both"),
    (("frets",), 0, "frets = 0 lies outside the allowed 1 to 36"),
    (("frets",), 37, "frets = 37 lies outside the allowed 1 to 36"),
    (("frets",), 20.5, "must be a whole number"),
    (("frets",), True, "frets = true must be a whole number"),
    (("reference_hz",), 379.0, "reference_hz = 379 lies outside the allowed 380 to 480 Hz"),
    (("reference_hz",), 481.0, "380 to 480 Hz"),
    (("tolerance_cents",), 0.0, "0.1 to 50 cents"),
    (("zero_fret",), "yes", "must be true or false"),
    (("name",), "", "1 to 200"),
    (("square_fret",), 7, "is for fanned frets"),
    (("scale",), 648.0, 'unknown key "scale": did you mean "scale_length_mm"'),
    (("referenze_hz",), 440.0, 'did you mean "reference_hz"'),
    (("zebra",), 1, "known are name, serial"),
    (("note",), "E4", r"it belongs inside \[\[strings\]\]"),
    (("strings", 2, "guage_mm"), 0.254, 'string 3: unknown key "guage_mm": did you mean "gauge_mm"'),
    (("strings", 2, "frets"), 20, "string 3: .*at the top of the file"),
    (("strings", 2, "gauge_mm"), 0.010, r"string 3: gauge_mm = 0\.01 lies outside .* looks like inches, use gauge_in"),
    (("strings", 2, "gauge_mm"), 46.0, r"looks like thousandths of an inch, use gauge_in = 0\.046"),
    (("strings", 2, "gauge_mm"), 10.1, r"gauge_mm = 10\.1 lies outside the allowed 0\.15 to 10 mm"),
    (("strings", 2, "gauge_mm"), -0.3, r"0\.15 to 10 mm$"),
    (("strings", 2, "note"), "H3", 'string 3: note: "H3" is no note.*did you mean "B3"'),
    (("strings", 2, "note"), 4, "must be text in quotes"),
    (("strings", 2, "material"), "Nylonn", 'not one of .*did you mean "nylon"'),
    (("strings", 2, "construction"), "round", "'plain' or 'wound'"),
    (("strings", 2, "core_mm"), 0.2, "core_mm is for a wound string"),
    (("strings", 2, "first_fret"), 20, "leaves no fret to play: the last one is 20"),
    (("strings", 2, "first_fret"), 40, "0 to 35"),
    (("strings",), GOOD["strings"][:2], r"2 \[\[strings\]\]: 3 to 14 strings are allowed"),
    (("strings",), GOOD["strings"][:5] * 3, "15 strings: 3 to 14"),
    (("strings",), GOOD["strings"][::-1], "from E2 up to E4: turn the list round"),
    (("strings",), 6, r"a list of tables, each begun with \[\[strings\]\]"),
    (("strings", 2), {"note": "E4", "gauge_mm": 0.3}, '"construction" is missing'),
    (("strings", 2), {"note": "E4", "construction": "plain", "material": "steel"}, "gauge_in. is missing"),
    (("measured",), [{**RULED, "what": "nut_to_fert"}], 'did you mean "nut_to_fret"'),
    (("measured",), [{**RULED, "mm": 12.76}], "more than 15 mm from the design, 324.0 mm: looks like inches"),
    (("measured",), [{**RULED, "mm": 342.0}], "is the fret right"),
    (("measured",), [{**RULED, "fret": 22}], "this neck has 20 frets"),
    (("measured",), [{**RULED, "string": 7}], "this neck has 6 strings"),
    (("measured",), [{**RULED, "u_mm": 0.0}], r"u_mm = 0 lies outside the allowed 0\.001 to 10 mm"),
    (("measured",), [{**RULED, "mm": math.nan}], "not a finite number"),
    (("measured",), [{"what": "nut_to_saddle", "string": 1, "mm": 700.0, "u_mm": 0.3}], "from the design, 648.0 mm"),
    (("measured",), [{"what": "relief", "fret": 7, "mm": 0.2, "u_mm": 0.05}], "relief takes no fret"),
    (("measured",), [{"what": "action_12", "mm": 0.08, "u_mm": 0.05}], "0.2 to 10 mm: looks like inches"),
    (("measured",), [{**RULED, "date": "yesterday"}], "measurement 1: date = .* is no day: write 2026-11-28"),
    (("action_12_mm",), 0.08, r"action_12_mm = 0\.08 lies outside the allowed 0\.2 to 10 mm: looks like inches"),
    (("action_12_mm",), {"treble": 1.6}, "bass is missing"),
    (("action_12_mm",), {"treble": 1.6, "base": 2.0}, 'unknown side "base": write treble and bass'),
    (("action_12_mm",), "2.0", "action_12_mm = .2.0. must be a number, without quotes$"),
    (("relief_mm",), 3.0, r"relief_mm = 3 lies outside the allowed -1 to 2 mm"),
    (("saddle_moves",), "all", "saddle_moves = .all. is not one of"),
]


@pytest.mark.parametrize(
    ("path", "value", "line"), BAD_VALUES, ids=[f"{path[-1]}-{n}" for n, (path, _, _) in enumerate(BAD_VALUES)]
)
def test_bad_values(path, value, line):
    with pytest.raises(NeckError, match=line) as caught:
        neck_from_mapping(changed(*path, to=value))
    assert "\n" not in str(caught.value)
    assert caught.value.key is not None


@pytest.mark.parametrize("key", ["name", "frets", "strings", "scale_length_mm"])
def test_missing_keys(key):
    with pytest.raises(NeckError, match=f'"{key}".* is missing'):
        neck_from_mapping({name: value for name, value in GOOD.items() if name != key})


@pytest.mark.parametrize("kind", MEASUREMENT_KINDS.values(), ids=lambda kind: kind.what)
def test_each_kind_of_measurement(kind):
    needs = {name: 3 for name, need in (("fret", kind.fret), ("string", kind.string)) if need == "required"}
    design = {
        "nut_to_fret": 648.0 * (1 - 2 ** (-3 / 12)),
        "fret_to_fret": 648.0 * (2 ** (-2 / 12) - 2 ** (-3 / 12)),
        "nut_to_saddle": 650.0,
    }
    row = {"what": kind.what, "mm": design.get(kind.what, (kind.limits.low_mm + kind.limits.high_mm) / 2), **needs}
    assert neck_from_mapping({**GOOD, "measured": [row]}).measured[0].what == kind.what
    for name in needs:
        with pytest.raises(NeckError, match=f"measurement 1: {kind.what} needs {name}"):
            neck_from_mapping({**GOOD, "measured": [{key: value for key, value in row.items() if key != name}]})
    for beyond in (kind.limits.low_mm - 1.0, kind.limits.high_mm + 1.0):
        with pytest.raises(NeckError, match="lies outside the allowed"):
            neck_from_mapping({**GOOD, "measured": [{**row, "mm": beyond}]})


def test_short_string_is_measured_from_its_own_nut():
    # 670 mm: fret 12 lies 335 mm from the nut, fret 5 at 670·0.250846 = 168.07 mm (check 3, CALC), so 166.93 mm between them
    data = neck_to_mapping(STARTS["banjo-5"].neck)
    row = {"what": "nut_to_fret", "string": 5, "fret": 12, "mm": 166.9, "u_mm": 0.1}
    assert neck_from_mapping({**data, "measured": [row]}).measured[0].string == 5
    with pytest.raises(NeckError, match=r"from the design, 166\.9 mm"):
        neck_from_mapping({**data, "measured": [{**row, "mm": 335.0}]})
    with pytest.raises(NeckError, match="string 5 starts at fret 5, so fret = 5 is not on it"):
        neck_from_mapping({**data, "measured": [{**row, "fret": 5}]})


def courses(*pairs):
    return {**GOOD, "strings": [{"note": note, "course": course, **STEEL} for note, course in pairs]}


def test_courses():
    octaves = courses(("G3", 1), ("G4", 1), ("D3", 2), ("D3", 2))
    assert [string.course for string in neck_from_mapping(octaves).strings] == [1, 1, 2, 2]
    with pytest.raises(NeckError, match="string 2: course = 1: G3 and A3 are neither in unison nor octaves apart"):
        neck_from_mapping(courses(("G3", 1), ("A3", 1), ("D3", 2)))
    with pytest.raises(NeckError, match="its strings 1 and 3 do not lie side by side"):
        neck_from_mapping(courses(("G3", 1), ("D3", 2), ("G3", 1)))


def test_fanned_frets_need_no_common_scale():
    strings = [
        {**row, "scale_length_in": length}
        for row, length in zip(GOOD["strings"], (25, 25.3, 25.6, 25.9, 26.2, 26.5), strict=True)
    ]
    data = {key: value for key, value in GOOD.items() if key != "scale_length_mm"} | {"strings": strings, "square_fret": 7}
    neck = neck_from_mapping(data)
    assert neck.scale_length_mm == pytest.approx(25.75 * 25.4, abs=1e-9)
    with pytest.raises(NeckError, match="lies beyond the last fret, 20"):
        neck_from_mapping({**data, "square_fret": 21})


@pytest.mark.parametrize("start", STARTS.values(), ids=lambda start: start.name)
def test_every_ready_made_description_is_accepted(start):
    assert neck_from_mapping(neck_to_mapping(start.neck)) == start.neck


def test_ready_made_tunings():
    # Tunings of the trade (common practice, no source), string 1 first
    tunings = {
        "guitar-6-steel": "E4 B3 G3 D3 A2 E2",
        "ukulele": "A4 E4 C4 G4",
        "mandolin": "E5 E5 A4 A4 D4 D4 G3 G3",
        "banjo-tenor": "A4 D4 G3 C3",
        "banjo-5": "D4 B3 G3 D3 G4",
        "bass-5": "G2 D2 A1 E1 B0",
    }
    for name, notes in tunings.items():
        assert " ".join(string.note for string in STARTS[name].neck.strings) == notes
    assert STARTS["banjo-5"].neck.string(5).first_fret == 5


BROKEN_FILES = [
    (b"name = \n", "line 1: broken TOML: invalid value"),
    (b'name = "Ash"\nframes [\n', "line 2: broken TOML"),
    (b"frets = 20\nfrets = 21\n", "line 2: broken TOML: .*written twice"),
    (b"name = '\xff'\n", "is not UTF-8 text"),
    (b"#" * 1_000_001, "is larger than 1 MB"),
    (b"name = " + b"[" * 5000, "broken TOML"),
    (b"frets = 1" + b"0" * 5000, "line 1: broken TOML"),
    (b"", "is missing"),
]


@pytest.mark.parametrize(
    ("content", "line"), BROKEN_FILES, ids=["value", "syntax", "twice", "encoding", "huge", "deep", "digits", "empty"]
)
def test_broken_files(tmp_path, content, line):
    path = tmp_path / "neck.toml"
    path.write_bytes(content)
    with pytest.raises(NeckError, match=rf"neck\.toml: {line}" if content else line) as caught:
        read_neck(path)
    assert caught.value.file == path


def test_no_such_file(tmp_path):
    with pytest.raises(NeckError, match="no such file"):
        read_neck(tmp_path / "neck.toml")
    with pytest.raises(NeckError, match="is a folder"):
        read_neck(tmp_path)
