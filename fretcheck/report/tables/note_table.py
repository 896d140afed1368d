"""The plucks of one recording with their pitches, for the screen or a program.

Conventions: pitch is partial 1 of the settled string. The uncertainty shown on screen is ±2 standard uncertainties (95 %); JSON
holds one. The note named is the nearest of equal temperament. What could not be read is "–" on screen and null in JSON, and a
remark says why.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from fretcheck.audio.segment.pluck import SetAside
from fretcheck.neck.temperament import cents_between, midi_frequency_hz, midi_to_note
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.remarks import Remark
from fretcheck.report.tables.plain_table import plain_table

SCHEMA = "fretcheck/note/1"
NOTHING = "–"


@dataclass(frozen=True)
class NotePluck:
    """One pluck of a recording."""

    start_s: float
    reading: NoteReading


def note_document(plucks: Sequence[NotePluck]) -> dict[str, Any]:
    """What `note --json` prints."""
    return {"schema": SCHEMA, "plucks": [_pluck_document(pluck) for pluck in plucks]}


def _pluck_document(pluck: NotePluck) -> dict[str, Any]:
    remarks = pluck.reading.remarks
    measured = {"start_s": round(pluck.start_s, 6), **asdict(pluck.reading)}
    del measured["remarks"]
    told = {"flags": [remark.value for remark in remarks], "why": [remark.sentence for remark in remarks]}
    return {**measured, "used": pluck.reading.usable, **told}


def note_table(plucks: Sequence[NotePluck], set_aside: Sequence[SetAside], *, reference_hz: float = 440.0) -> RenderableType:
    """A table of the plucks, what their remarks mean, and what was set aside."""
    headings = (
        "at\ns",
        "nearest\nnote",
        "pitch\nHz",
        "off by\ncents",
        "±\n95 %",
        "began\nsharper",
        "stiffness\nB",
        "dB over\nnoise",
    )
    table = plain_table(*(f">{one}" for one in headings), no_wrap=True, padding=(0, 0, 0, 2), header_style="bold")
    table.add_column("\nremark", overflow="fold")
    for pluck in plucks:
        table.add_row(*_cells(pluck, reference_hz), style=None if pluck.reading.usable else "dim")
    seen = [remark for remark in Remark if any(remark in pluck.reading.remarks for pluck in plucks)]
    parts: list[RenderableType] = [table, *([Text()] if seen else [])]
    parts += [Text(f"{_words(remark)}: {remark.sentence}{' Not used.' if remark.refuses else ''}") for remark in seen]
    if set_aside:
        parts += [Text(), Text("Heard, and not taken for a pluck:")]
        parts += [Text(f"  {one.start_s:.1f} to {one.end_s:.1f} s: {one.reason}") for one in set_aside]
    return Group(*parts)


def _cells(pluck: NotePluck, reference_hz: float) -> list[str]:
    reading = pluck.reading
    remark = ", ".join(_words(remark) for remark in reading.remarks)
    if reading.f1_hz is None or reading.u_cents is None:
        return [f"{pluck.start_s:.1f}", *[NOTHING] * 7, remark]
    midi = round(69.0 + cents_between(reading.f1_hz, reference_hz) / 100.0)
    off = cents_between(reading.f1_hz, midi_frequency_hz(midi, reference_hz=reference_hz))
    digits = _digits(2.0 * reading.u_cents)
    return [
        f"{pluck.start_s:.1f}",
        midi_to_note(midi),
        f"{reading.f1_hz:.4f}",
        f"{round(off, digits) + 0.0:+.{digits}f}",
        f"{2.0 * reading.u_cents:.{digits}f}",
        NOTHING if reading.glide_cents is None else f"{reading.glide_cents:.1f}",
        NOTHING if reading.inharmonicity is None else f"{reading.inharmonicity:.1e}",
        NOTHING if reading.snr_db is None else f"{reading.snr_db:.0f}",
        remark,
    ]


def _digits(spread_cents: float) -> int:
    """Decimals that leave two figures of the uncertainty; at least one, at most three."""
    return next((digits for digits in (1, 2) if spread_cents * 10**digits >= 10.0), 3)


def _words(remark: Remark) -> str:
    return remark.value.replace("_", " ")
