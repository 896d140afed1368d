"""The tables of kept inspections.

The whole document lies in `DocumentRow` as JSON, so nothing is ever lost; the other tables hold what is searched, listed and
counted, or wanted by someone who asks the database directly: necks by serial, plucks, findings, measurements by hand, sounds.

Conventions: units are in the names. NULL is "unknown", as null is in the document. ``…_folded`` columns hold text prepared by
`fretcheck.register.selection.folded` for comparison without regard to case. Rows of an inspection's parts stand in the document's
order, `position` from 0.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import Boolean, Column, Double, ForeignKey, Index, Integer, String, Table, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fretcheck.register.base import Base

SERIAL_LENGTH = 200  # Longest serial, in characters


class NeckRow(Base):
    """A neck that has a serial; name and description are those of the inspection kept last."""

    __tablename__ = "necks"

    key: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[str] = mapped_column(String(SERIAL_LENGTH), unique=True)
    serial_folded: Mapped[str] = mapped_column(index=True)
    name: Mapped[str]
    description_json: Mapped[str]


class InspectionRow(Base):
    """One inspection: what it was about, how it was made, what came out."""

    __tablename__ = "inspections"
    __table_args__ = (UniqueConstraint("day", "number"), Index(None, "taken_utc", "key"))

    key: Mapped[int] = mapped_column(primary_key=True)
    id: Mapped[str] = mapped_column(String(20), unique=True)
    day: Mapped[str] = mapped_column(String(6))
    number: Mapped[int]
    content_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    neck_key: Mapped[int | None] = mapped_column(ForeignKey("necks.key"), index=True)  # NULL for a neck without serial
    neck_name: Mapped[str]
    taken_at: Mapped[str | None]  # As in the document, with the bench's own offset
    taken_utc: Mapped[datetime]  # For order and search; when it was kept, if the document does not tell when it was taken
    kept_utc: Mapped[datetime]
    software_version: Mapped[str | None]
    plan: Mapped[str]
    source: Mapped[str | None]  # Device, or folder of recordings
    sample_rate_hz: Mapped[float | None]
    reference_hz: Mapped[float | None]
    operator: Mapped[str | None]
    temperature_c: Mapped[float | None]
    humidity_pct: Mapped[float | None]
    decision: Mapped[str] = mapped_column(String(12), index=True)
    limit_cents: Mapped[float]
    worst_string: Mapped[int | None]
    worst_fret: Mapped[int | None]
    worst_cents: Mapped[float | None]
    findings: Mapped[int]
    text_folded: Mapped[str]


class DocumentRow(Base):
    """The whole document of an inspection, as JSON."""

    __tablename__ = "documents"

    inspection_key: Mapped[int] = mapped_column(ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    json: Mapped[str]


class SoundRow(Base):
    """One sound file, by its path below the register's folder."""

    __tablename__ = "sounds"
    __table_args__ = (UniqueConstraint("path", "sha256"),)

    key: Mapped[int] = mapped_column(primary_key=True)
    path: Mapped[str]
    sha256: Mapped[str] = mapped_column(String(64))  # Empty where the document gives none


def _parts(name: str, *columns: Column[Any]) -> Table:
    """A table of what belongs to an inspection, and goes with it."""
    owner: Column[int] = Column("inspection_key", ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    return Table(name, Base.metadata, owner, Column("position", Integer, primary_key=True), *columns, sqlite_with_rowid=False)


def _columns(kind: Any, *names: str, nullable: bool = True) -> list[Column[Any]]:
    return [Column(name, kind, nullable=nullable) for name in names]


READINGS = _parts(
    "readings",
    *_columns(Integer, "string", "fret", "partials", nullable=False),
    *_columns(Double, "target_hz", "length_expected_mm", "start_s", nullable=False),
    *_columns(Double, "f1_hz", "deviation_cents", "u_cents", "length_equivalent_error_mm", "glide_cents"),
    *_columns(Double, "inharmonicity", "u_inharmonicity", "snr_db"),
    Column("used", Boolean, nullable=False),
    Column("why_not_used", Text),
    Column("flags", Text, nullable=False),  # Space between two flags
    Column("press", String(12)),
    Column("sound_key", ForeignKey("sounds.key")),
)
FINDINGS = _parts(
    "findings",
    *_columns(Text, "cause", "text", nullable=False),
    *_columns(Integer, "fret", "string"),
    *_columns(Double, "value_mm", "u_mm", "value_cents", "u_cents"),
    Column("probability", Double, nullable=False),
)
MEASUREMENTS = _parts(
    "measurements",
    Column("what", Text, nullable=False),
    *_columns(Integer, "fret", "string"),
    *_columns(Double, "mm", "u_mm"),
)
