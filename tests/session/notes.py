"""Readings made by hand for the session's tests: an exact pitch, no sound."""

from __future__ import annotations

from fretcheck.neck.description import Neck, String
from fretcheck.neck.temperament import cents_to_ratio
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.remarks import Remark
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask


def three_strings(*, frets: int = 12, first_frets: tuple[int, ...] = (0, 0, 0)) -> Neck:
    """An invented three-string neck."""
    strings = tuple(
        String(note=note, gauge_mm=0.3, construction="plain", material="steel", scale_length_mm=600.0, first_fret=first)
        for note, first in zip(("E4", "B3", "G3"), first_frets, strict=True)
    )
    return Neck(name="test neck", scale_length_mm=600.0, frets=frets, strings=strings)


def note_at(hz: float | None, *, u_cents: float = 0.01, flags: tuple[Remark, ...] = ()) -> NoteReading:
    """A reading of an exact frequency."""
    return NoteReading(
        f1_hz=hz,
        u_cents=None if hz is None else u_cents,
        inharmonicity=1e-5,
        u_inharmonicity=1e-7,
        snr_db=60.0,
        partials=10,
        glide_cents=0.0,
        remarks=flags,
    )


def placed(
    neck: Neck, string: int, fret: int, cents: float, start_s: float, *, u_cents: float = 0.01, flags: tuple[Remark, ...] = ()
) -> Reading:
    """A note `cents` away from equal temperament above the nominal open note."""
    hz = neck.target_hz(string, fret) * cents_to_ratio(cents)
    return Reading(ask=Ask(string=string, fret=fret), start_s=start_s, note=note_at(hz, u_cents=u_cents, flags=flags))
