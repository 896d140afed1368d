"""Writes the demo recordings: ``python -m tests.synth.demo OUT_FOLDER``.

One neck of an invented workshop with three known faults, a recording of each string, and the truth beside them. The seed is
fixed: the same machine and libraries write the same bytes again.

Conventions
-----------
`truth.json` names what was built wrong in `faults`, the chance scatter of everything else in `built`, and for every note what
it truly was; times in seconds from the start of that string's recording, deviations as in `recording.PlayedNote`.
"""

from __future__ import annotations

import json
import sys
import tomllib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from fretcheck.neck.description import Neck
from fretcheck.neck.neck_file import neck_from_mapping
from tests.synth.random_neck import Scatter, random_built_neck
from tests.synth.recording import PlayedNote, Recording, Take, open_up_and_down, plan_take, record
from tests.synth.strung_neck import BuiltNeck

SEED = 1414
FRET, FRET_MM = 7, 0.40
NUT_HEIGHT_MM = 0.45
SADDLE_STRING, SADDLE_MM = 3, 2.2

U_CLEARANCE_MM = 0.05
"""Of feeler gauges whose leaves come in steps of as much."""

_CAREFUL = Scatter(
    frets_mm=0.02,
    fret_tilts_mm=0.015,
    nut_mm=0.03,
    nut_height_mm=0.02,
    saddle_mm=0.05,
    action_mm=0.05,
    relief_mm=0.05,
    hand_cents=(0.3, 0.6),
    tuning_cents=1.0,
    drift_cents_per_minute=0.3,
)
_TAKES = {  # lower notes settle later and are given longer
    1: Take(seconds_per_note=1.45),
    2: Take(seconds_per_note=1.45, disturbances={16: "speech"}),
    3: Take(seconds_per_note=1.55, squeaks=0.06),
    4: Take(seconds_per_note=1.55, squeaks=0.06),
    5: Take(seconds_per_note=1.8, squeaks=0.06, disturbances={22: "door"}),
    6: Take(seconds_per_note=1.8, squeaks=0.06),
}
_ORDER_OF_5 = 5
"""This string is played in no particular order."""


def demo_text() -> str:
    """The neck.toml of the demo."""
    return files("tests.synth").joinpath("demo_neck.toml").read_text(encoding="utf-8")


def demo_neck() -> Neck:
    """The demo neck as designed."""
    return neck_from_mapping(tomllib.loads(demo_text()))


def demo_built() -> BuiltNeck:
    """The demo neck as built: the faults as stated, everything else a little out by chance."""
    chance = random_built_neck(demo_neck(), np.random.default_rng(SEED), scatter=_CAREFUL)
    return replace(
        chance,
        frets_mm={**chance.frets_mm, FRET: FRET_MM},
        nut_height_mm=NUT_HEIGHT_MM,
        saddle_mm={**chance.saddle_mm, SADDLE_STRING: SADDLE_MM},
    )


def demo_clearance_mm() -> float:
    """What feeler gauges found over fret 1, mean of the strings: the truth to the nearest leaf."""
    built = demo_built()
    gaps = []
    for string in range(1, len(built.neck.strings) + 1):
        (nut_x, nut_y), (saddle_x, saddle_y) = built.nut_xy_mm(string), built.saddle_xy_mm(string)
        along = (float(built.fret_x_mm(string)[0]) - nut_x) / (saddle_x - nut_x)
        gaps.append(nut_y + along * (saddle_y - nut_y) - float(built.crowns_y_mm(string)[0]))
    return round(U_CLEARANCE_MM * round(float(np.mean(gaps)) / U_CLEARANCE_MM), 2)


def demo_take(string: int) -> Take:
    """How a string of the demo is played."""
    return _TAKES[string]


def demo_notes(built: BuiltNeck, string: int) -> tuple[PlayedNote, ...]:
    """What is played on a string: every fret twice, the open string three times."""
    rng = np.random.default_rng([SEED, string, 0])
    frets = open_up_and_down(range(1, built.neck.frets + 1))
    if string == _ORDER_OF_5:
        middle = len(frets) // 2
        first, second = list(rng.permutation(frets[1:middle])), list(rng.permutation(frets[middle + 1 : -1]))
        frets = [0, *(int(fret) for fret in first), 0, *(int(fret) for fret in second), 0]
    return plan_take(built, string, frets, rng, take=demo_take(string))


def demo_recording(notes: tuple[PlayedNote, ...]) -> Recording:
    """The sound of notes of one string."""
    string = notes[0].string
    return record(notes, np.random.default_rng([SEED, string, 1]), take=demo_take(string))


def demo_truth() -> dict[str, Any]:
    """The content of truth.json."""
    built = demo_built()
    neck = built.neck
    strings = range(1, len(neck.strings) + 1)
    notes = [note for string in strings for note in demo_notes(built, string)]
    return {
        "schema": "fretcheck/demo-truth/1",
        "seed": SEED,
        "neck": {"name": neck.name, "serial": neck.serial},
        "sample_rate_hz": demo_take(1).sample_rate,
        "faults": [
            {"cause": "fret_position", "fret": FRET, "string": None, "value_mm": FRET_MM},
            {"cause": "nut_height", "fret": None, "string": None, "value_mm": NUT_HEIGHT_MM},
            {"cause": "saddle_position", "fret": None, "string": SADDLE_STRING, "value_mm": SADDLE_MM},
        ],
        "built": _parts(built),
        "notes": [
            {
                "string": note.string,
                "fret": note.fret,
                "start_s": round(note.start_s, 6),
                "f1_hz": round(note.f1_hz, 6),
                "inharmonicity": float(f"{note.inharmonicity:.6g}"),
                "deviation_cents": round(note.deviation_cents, 5),
            }
            for note in notes
        ],
    }


def write_recording(recording: Recording, path: Path) -> None:
    """Write mono 16-bit FLAC."""
    import soundfile

    soundfile.write(path, recording.samples, round(recording.sample_rate), format="FLAC", subtype="PCM_16")


def write_demo(folder: Path) -> None:
    """Write neck.toml, truth.json and a recording of each string."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "neck.toml").write_text(demo_text(), encoding="utf-8")
    (folder / "truth.json").write_text(json.dumps(demo_truth(), indent=1) + "\n", encoding="utf-8")
    built = demo_built()
    for string in range(1, len(built.neck.strings) + 1):
        write_recording(demo_recording(demo_notes(built, string)), folder / f"string-{string}.flac")


def _parts(built: BuiltNeck) -> dict[str, Any]:
    """Where every part truly is, faults and scatter together, from its designed place."""
    return {
        "frets_mm": [round(built.frets_mm[fret], 4) for fret in range(1, built.neck.frets + 1)],
        "fret_tilts_mm": [round(built.fret_tilts_mm[fret], 4) for fret in range(1, built.neck.frets + 1)],
        "nut_mm": round(built.nut_mm, 4),
        "nut_height_mm": round(built.nut_height_mm, 4),
        "nut_heights_mm": [round(mm, 4) for mm in built.nut_heights_mm.values()],
        "saddle_mm": [round(mm, 4) for mm in built.saddle_mm.values()],
        "action_12_mm": round(built.action_12_mm, 4),
        "relief_mm": round(built.relief_mm, 4),
    }


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.synth.demo OUT_FOLDER")
    write_demo(Path(sys.argv[1]))
