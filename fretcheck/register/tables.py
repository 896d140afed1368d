"""The tables of kept inspections.

The whole document lies in `DOCUMENTS` as JSON, so nothing is ever lost; the other tables hold what is searched, listed and
counted, or wanted by someone who asks the database directly: necks by serial, plucks, findings, measurements by hand, sounds.

Conventions: units are in the names. NULL is "unknown", as null is in the document. ``…_folded`` columns hold text prepared by
`fretcheck.register.selection.folded` for comparison without regard to case. Rows of an inspection's parts stand in the document's
order, `position` from 0.
"""

from typing import Any

from sqlalchemy import Boolean, Column, Double, ForeignKey, Index, Integer, String, Table, Text, UniqueConstraint

from fretcheck.register.base import METADATA, UtcDateTime, columns

SERIAL_LENGTH = 200  # Longest serial, in characters

# Necks that have a serial; name and description are those of the inspection kept last
NECKS = Table(
    "necks",
    METADATA,
    Column("key", Integer, primary_key=True),
    Column("serial", String(SERIAL_LENGTH), unique=True, nullable=False),
    Column("serial_folded", Text, index=True, nullable=False),
    *columns(Text, "name", "description_json", nullable=False),
)
# What each inspection was about, how it was made, what came out
INSPECTIONS = Table(
    "inspections",
    METADATA,
    Column("key", Integer, primary_key=True),
    Column("id", String(20), unique=True, nullable=False),
    Column("day", String(6), nullable=False),
    Column("number", Integer, nullable=False),
    Column("content_sha256", String(64), unique=True, nullable=False),
    Column("neck_key", ForeignKey("necks.key"), index=True),  # NULL for a neck without serial
    *columns(Text, "neck_name", "plan", "text_folded", nullable=False),
    Column("taken_at", Text),  # As in the document, with the bench's own offset
    Column("taken_utc", UtcDateTime, nullable=False),  # For order and search; when it was kept, if the document does not tell
    Column("kept_utc", UtcDateTime, nullable=False),
    *columns(Text, "software_version", "operator"),
    Column("source", Text),  # Device, or folder of recordings
    *columns(Double, "sample_rate_hz", "reference_hz", "temperature_c", "humidity_pct"),
    Column("decision", String(12), index=True, nullable=False),
    Column("limit_cents", Double, nullable=False),
    *columns(Integer, "worst_string", "worst_fret"),
    Column("worst_cents", Double),
    Column("findings", Integer, nullable=False),
    UniqueConstraint("day", "number"),
    Index(None, "taken_utc", "key"),
)
# Sound files, by their path below the register's folder
SOUNDS = Table(
    "sounds",
    METADATA,
    Column("key", Integer, primary_key=True),
    Column("path", Text, nullable=False),
    Column("sha256", String(64), nullable=False),  # Empty where the document gives none
    UniqueConstraint("path", "sha256"),
)


def _inspection() -> Column[int]:
    """The inspection that a row belongs to, and goes with."""
    return Column("inspection_key", ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)


def _parts(name: str, *own: Column[Any]) -> Table:
    return Table(name, METADATA, _inspection(), Column("position", Integer, primary_key=True), *own, sqlite_with_rowid=False)


DOCUMENTS = Table("documents", METADATA, _inspection(), Column("json", Text, nullable=False))
READINGS = _parts(
    "readings",
    *columns(Integer, "string", "fret", "partials", nullable=False),
    *columns(Double, "target_hz", "length_expected_mm", "start_s", nullable=False),
    *columns(Double, "f1_hz", "deviation_cents", "u_cents", "length_equivalent_error_mm", "glide_cents"),
    *columns(Double, "inharmonicity", "u_inharmonicity", "snr_db"),
    Column("used", Boolean, nullable=False),
    Column("why_not_used", Text),
    Column("flags", Text, nullable=False),  # Space between two flags
    Column("press", String(12)),
    Column("sound_key", ForeignKey("sounds.key")),
)
FINDINGS = _parts(
    "findings",
    *columns(Text, "cause", "text", nullable=False),
    *columns(Integer, "fret", "string"),
    *columns(Double, "value_mm", "u_mm", "value_cents", "u_cents"),
    Column("probability", Double, nullable=False),
)
MEASUREMENTS = _parts(
    "measurements",
    Column("what", Text, nullable=False),
    *columns(Integer, "fret", "string"),
    *columns(Double, "mm", "u_mm"),
)
