"""What a note has beside the parts of the neck: the finger's uneven depth, the body's pull, its crown, and what no model tells.

None of it is anybody's fault, and none is a parameter: together they are a normal field over the notes whose covariance stands
beside the hand's scatter. The finger's depth changes smoothly from fret to fret, in part alike on all strings, most unevenly at
the low frets. A resonance of the body pulls every note of a pitch, on whichever string it is played, and the open
string it is counted from.

Conventions: Cents; fields run over cells, shape (cells, cells). All spreads are common practice without a source: a finger's
depth ±0.02 mm over the frets, ±0.06 mm more at fret 1; a body's pulls usually 0.5 to 1 cent, 2 to 3 near a strong resonance, a
semitone wide.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import AsDesigned
from fretcheck.neck.heights import GUITAR_SCALE_MM
from fretcheck.units import CENTS_PER_NEPER

LOW_FRETS = 2.5  # A finger's excess at fret 1 has fallen to 1/e so many frets up: gone after three to four
FINGER_FRETS = 4.0  # a finger's depth keeps to itself over so many frets
FINGER_OWN_MM, FINGER_LOW_MM = 0.02, 0.06
# Share, in variance, of what is uneven up the neck that all strings have alike: one hand over one fret (common practice, no
# source). Foreign `hard` necks whose hands have 0.2 or 0.8 of it alike got findings in 13 and 22 of 100, without it 20 and 27 (60
# each), `mild` ones as many. Were the excess at the low frets alike too, a high nut would hide behind it: that is a parameter.
ALIKE_ACROSS = 0.5
FINGER_LOW_CENTS = 0.3  # pushed aside, and the finger's flesh: not in proportion to the string's stretch
LIGHT_SHARE = 0.25  # of the usual depth: pressed as lightly as still gives a clear note
# Where pitches are pulled by more than the first (cents rms) and the finger is more uneven than the second (of what is usual),
# the instrument is beyond what the model was made for, which takes some of it for faults of its parts. So are 336 of 356 `hard`
# necks, 21 of 1,472 `mild` ones and none of `own`.
PULLED_CENTS, UNEVEN = 0.4, 1.2
PULL_SEMITONES = 1.0  # width of a resonance f/Q, Q about 17; a guitar body has 10 to 50 (common practice, no source)
ON_EVERY_STRING = 0.8  # share of a pull's variance that all strings have alike


@dataclass(frozen=True, kw_only=True)
class Roughness:
    """How strong the field is on one neck."""

    finger: float = 1.0  # Factor on the finger's unevenness
    pull_cents: float = 0.4
    own_mm: float = 0.04  # Of each note by itself, as a place on its crown

    @property
    def beyond_the_model(self) -> bool:
        """Whether the notes stray by more than the model was made for."""
        return self.pull_cents > PULLED_CENTS and self.finger > UNEVEN


@dataclass(frozen=True, kw_only=True)
class NoteField:
    """The parts of the field on one neck, each of unit strength."""

    finger: Reals
    pull: Reals
    own_of_mm: Reals  # Variance that 1 mm of a note by itself makes, shape (cells,)

    def covariance(self, rough: Roughness) -> Reals:
        """Over all cells."""
        field = rough.finger**2 * self.finger + rough.pull_cents**2 * self.pull
        field[np.diag_indices_from(field)] += self.own(rough)
        return field

    def own(self, rough: Roughness) -> Reals:
        """Variance of what each cell has by itself: its crown, and what no part of the model explains."""
        return np.asarray(rough.own_mm**2 * self.own_of_mm)


def note_field(design: AsDesigned, *, depth_slope: Reals) -> NoteField:
    """The field of a neck; `depth_slope` is each note's rise in cents for a mm of the finger's depth."""
    same_string = design.string[:, None] == design.string
    low, played = low_frets(design), usual_depth(design)
    places = 12.0 * np.log2(design.scale_mm / design.speaking_mm)  # up the neck: of a short string too
    apart = (places[:, None] - places) / FINGER_FRETS
    smooth = np.exp(-0.5 * apart**2)
    cents = depth_slope * played
    finger = FINGER_OWN_MM**2 * np.outer(cents, cents) * smooth * np.where(same_string, 1.0, ALIKE_ACROSS)
    # What the strings have alike of the low frets' part is the parameter `finger_low`
    own = np.sqrt((FINGER_OWN_MM + FINGER_LOW_MM * low) ** 2 - FINGER_OWN_MM**2) * cents
    finger += np.where(same_string, np.outer(own, own) * smooth, 0.0)
    finger += np.where(same_string, FINGER_LOW_CENTS**2 * np.outer(low * played, low * played), 0.0)
    return NoteField(finger=finger, pull=_pull(design), own_of_mm=np.square(CENTS_PER_NEPER / design.speaking_mm))


def usual_depth(design: AsDesigned) -> Reals:
    """Share of a guitar's usual depth of the finger with which each cell was stopped, shape (cells,).

    Less in the light press of the press test; and one force presses a string in as deep as the gap between the frets is wide over
    its tension: in proportion to its length on instruments shorter than a guitar, of like tension; longer strings are tighter.
    """
    press = np.array([LIGHT_SHARE if cell.press == "light" else 1.0 for cell in design.cells])
    return np.asarray(press * np.minimum(design.open_scale_mm[design.string] / GUITAR_SCALE_MM, 1.0))


def low_frets(design: AsDesigned) -> Reals:
    """1 a semitone above the open string, falling upward; shape (cells,)."""
    return np.exp(-(semitones(design) - 1.0) / LOW_FRETS)


def semitones(design: AsDesigned) -> Reals:
    """How far each cell lies above its open string; shape (cells,)."""
    return np.asarray(12.0 * np.log2(design.open_scale_mm[design.string] / design.speaking_mm))


def _pull(design: AsDesigned) -> Reals:
    """Covariance of unit pulls: that of the note less that of the string's open note.

    A string is pulled in proportion to its impedance, tension over wave speed, and to the reactance of the body (C. E. Gough,
    Acustica 49, 124, 1981, from memory), which about a resonance is like itself over its width: a Lorentzian.
    """
    neck = design.neck
    opened = 12.0 * np.log2([neck.open_hz(number) for number in range(1, len(neck.strings) + 1)])
    pitch = np.concatenate([opened[design.string] + semitones(design), opened])
    string = np.concatenate([design.string, np.arange(len(opened))])
    near = 1.0 / (1.0 + ((pitch[:, None] - pitch) / PULL_SEMITONES) ** 2)
    impedance = np.array([one.tension_n / one.open_length_mm for one in design.constants]) / 2.0 ** (opened / 12.0)
    heavy = (impedance / np.sqrt(np.mean(impedance**2)))[string]
    unit = near * np.outer(heavy, heavy) * np.where(string[:, None] == string, 1.0, ON_EVERY_STRING)
    note, base = np.arange(len(design.cells)), len(design.cells) + design.string
    return np.asarray(unit[np.ix_(note, note)] - unit[np.ix_(note, base)] - unit[np.ix_(base, note)] + unit[np.ix_(base, base)])
