"""Plucked strings as recorded, of two Debian packages that are installed for the tests; nothing of them is kept here.

`freepats` (GPL-2+ with exception) and `fluid-soundfont-gm` (MIT). Every plucked instrument there is listed, whatever it sounds
like, with these left out: palm mutes and harmonics (no ringing string), synthesised ones, and orchestras plucking together.
Of the samples, those that ring for 0.3 s at least.

Conventions
-----------
`sound` begins at the onset. `filed_hz` is what the collection says it sounds at: tuned by ear, good to some cents, and of basses
no truth at all. Where the sample's name tells string and fret, they are given; plucks of one `string` of one `instrument` are
of the same string.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from tests.real.patches import read_patch
from tests.real.soundfont import FontNote, read_font

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
PATCHES = Path("/usr/share/midi/freepats/Tone_000")
SHORTEST_S = 0.3
_STEEL_HZ = 44_100.0
"""The steel guitar's recordings as they were made: its own headers give other rates, to hide its mistunings."""

_FRETTED, _UPRIGHT, _OTHER = "fretted", "upright bass", "other"
_FONT_INSTRUMENTS = {
    # name in the file: (label, family, where the sample's name tells string and fret)
    "Nylon Guitar": ("nylon guitar F", _FRETTED, None),
    "Steel String Guitar": ("steel guitar F", _FRETTED, None),
    "Jazz Guitar": ("archtop guitar F", _FRETTED, None),
    "Clean Guitar": ("clean guitar F", _FRETTED, r"Clean F(?P<string>\d)(?P<fret>\d+)$"),
    "Overdrive Guitar": ("overdriven guitar F", _FRETTED, None),
    "Distortion Guitar": ("distorted guitar F", _FRETTED, r"Distortion (?P<string>E2|[A-G])(?P<fret>\d+)$"),
    "Banjo": ("banjo F", _FRETTED, None),
    "Fingered Bass": ("fingered bass F", _FRETTED, r".* (?P<string>[EADG])(?P<fret>[\dO])$"),
    "Picked Bass": ("picked bass F", _FRETTED, r".* (?P<string>[EADG])(?P<fret>[\dO])$"),
    "Slap Bass": ("slapped bass F", _FRETTED, r".* (?P<string>[EADG])(?P<fret>[\dO])$"),
    "Pop Bass": ("popped bass F", _FRETTED, r".* (?P<string>[EADG])(?P<fret>[\dO])$"),
    "Fretless Bass": ("fretless bass F", _FRETTED, None),
    "Acoustic Bass": ("upright bass F", _UPRIGHT, None),
    "Orchestral Harp": ("harp F", _OTHER, None),
    "Sitar": ("sitar F", _OTHER, None),
    "Koto": ("koto F", _OTHER, None),
    "Dulcimer": ("dulcimer F", _OTHER, None),
}
_PATCH_INSTRUMENTS = {
    "024_Nylon_Guitar": ("nylon guitar P", _FRETTED),
    "025_Steel_Guitar": ("steel guitar P", _FRETTED),
    "026_Jazz_Guitar": ("archtop guitar P", _FRETTED),
    "027_Clean_Electric_Guitar": ("clean guitar P", _FRETTED),
    "030_Distortion_Guitar": ("distorted guitar P", _FRETTED),
    "032_Acoustic_Bass": ("upright bass P", _UPRIGHT),
    "033_Finger_Bass": ("fingered bass P", _FRETTED),
    "034_Pick_Bass": ("picked bass P", _FRETTED),
    "035_Fretless_Bass": ("fretless bass P", _FRETTED),
    "036_Slap_Bass_1": ("slapped bass P", _FRETTED),
    "046_Harp": ("harp P", _OTHER),
    "104_Sitar": ("sitar P", _OTHER),
    "015_Dulcimer": ("dulcimer P", _OTHER),
}
_STEEL_FRETS = {"g_d5": ("d", 5), "c_g5": ("g", 5), "e_b5": ("b", 5), "a_e5": ("e", 5), "c_e8": ("e", 8), "e_e12": ("e", 12)}
_STEEL_FRETS["a_e17"] = ("e", 17)
_SYNTHETIC = ("Sine Wave", "Extension")


@dataclass(frozen=True, eq=False)
class RealPluck:
    """One recorded pluck."""

    instrument: str
    """F: of fluid-soundfont-gm, P: of freepats."""
    family: str
    """fretted, upright bass or other."""
    name: str
    sample_rate: float
    filed_hz: float
    sound: np.ndarray
    """Shape ``(frames,)``, full scale 1, from the onset on."""
    string: str | None = None
    fret: int | None = None

    @property
    def judged(self) -> bool:
        """A fretted instrument, or an upright bass; the others are only printed."""
        return self.family != _OTHER

    @property
    def distorted(self) -> bool:
        """Through an overdriven amplifier, which puts every partial in its place and adds what the string has not."""
        return "distorted" in self.instrument or "overdriven" in self.instrument

    @property
    def duration_s(self) -> float:
        """From the onset to the end."""
        return len(self.sound) / self.sample_rate

    def __str__(self) -> str:
        return f"{self.instrument}, {self.name}"


def missing() -> str | None:
    """What to do when the recordings are not there; None when they are."""
    absent = [package for package, path in (("fluid-soundfont-gm", FONT), ("freepats", PATCHES)) if not path.exists()]
    return f"recorded plucks are not installed (Debian: {' '.join(absent)})" if absent else None


@cache
def real_plucks() -> tuple[RealPluck, ...]:
    """All of them. Raises FileNotFoundError with the cure where a package is missing."""
    if absent := missing():
        raise FileNotFoundError(absent)
    return tuple(pluck for pluck in [*_of_font(), *_of_patches()] if pluck.duration_s >= SHORTEST_S)


def instrument(label: str) -> tuple[RealPluck, ...]:
    """The plucks of one instrument."""
    return tuple(pluck for pluck in real_plucks() if pluck.instrument == label)


def from_onset(sound: np.ndarray) -> np.ndarray:
    """From where it first reaches a fiftieth of its largest value."""
    size = np.abs(sound)
    return sound[int(np.argmax(size > 0.02 * np.max(size))) :]


def _of_font() -> Iterator[RealPluck]:
    for note in read_font(FONT):
        if note.instrument in _FONT_INSTRUMENTS and not note.name.startswith(_SYNTHETIC):
            label, family, pattern = _FONT_INSTRUMENTS[note.instrument]
            string, fret = _string_and_fret(note, pattern)
            yield RealPluck(
                label, family, note.name, note.sample_rate, note.filed_hz, from_onset(note.sound), string=string, fret=fret
            )


def _string_and_fret(note: FontNote, pattern: str | None) -> tuple[str | None, int | None]:
    found = re.match(pattern, note.name) if pattern else None
    return (found["string"], int(found["fret"].replace("O", "0"))) if found else (None, None)


def _of_patches() -> Iterator[RealPluck]:
    for file, (label, family) in _PATCH_INSTRUMENTS.items():
        for number, note in enumerate(read_patch(PATCHES / f"{file}.pat"), start=1):
            string, fret = _STEEL_FRETS.get(note.name, (None, None)) if "Steel" in file else (None, None)
            rate = _STEEL_HZ if "Steel" in file else note.sample_rate
            filed = note.root_hz * rate / note.sample_rate
            yield RealPluck(label, family, f"{number} {note.name}", rate, filed, from_onset(note.sound), string=string, fret=fret)
