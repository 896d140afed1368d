"""The tables of kept inspections.

The whole document lies in `DocumentRow` as JSON, so nothing is ever lost; the other tables hold what is searched, listed and
counted, or wanted by someone who asks the database directly.

Conventions: units are in the names. NULL is "unknown", as null is in the document. ``…_folded`` columns hold text prepared by
`fretcheck.register.selection.folded` for comparison without regard to case.
"""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fretcheck.register.base import Base, UtcDateTime

SERIAL_LENGTH = 200  # Longest serial, in characters


class NeckRow(Base):
    """A neck that has a serial; name and description are those of the inspection kept last."""

    __tablename__ = "necks"

    key: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[str] = mapped_column(String(SERIAL_LENGTH), unique=True)
    serial_folded: Mapped[str] = mapped_column(Text, index=True)
    name: Mapped[str] = mapped_column(Text)
    description_json: Mapped[str] = mapped_column(Text)


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
    neck_name: Mapped[str] = mapped_column(Text)
    taken_at: Mapped[str | None] = mapped_column(Text)  # As in the document, with the bench's own offset
    # For order and search; when it was kept, if the document does not tell when it was taken
    taken_utc: Mapped[datetime] = mapped_column(UtcDateTime)
    kept_utc: Mapped[datetime] = mapped_column(UtcDateTime)
    software_version: Mapped[str | None] = mapped_column(Text)
    plan: Mapped[str] = mapped_column(Text)
    source: Mapped[str | None] = mapped_column(Text)  # Device, or folder of recordings
    sample_rate_hz: Mapped[float | None]
    reference_hz: Mapped[float | None]
    operator: Mapped[str | None] = mapped_column(Text)
    temperature_c: Mapped[float | None]
    humidity_pct: Mapped[float | None]
    decision: Mapped[str] = mapped_column(String(12), index=True)
    limit_cents: Mapped[float]
    worst_string: Mapped[int | None]
    worst_fret: Mapped[int | None]
    worst_cents: Mapped[float | None]
    findings: Mapped[int]
    text_folded: Mapped[str] = mapped_column(Text)


class DocumentRow(Base):
    """The whole document of an inspection, as JSON."""

    __tablename__ = "documents"

    inspection_key: Mapped[int] = mapped_column(ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    json: Mapped[str] = mapped_column(Text)


class ReadingRow(Base):
    """One pluck."""

    __tablename__ = "readings"
    __table_args__ = {"sqlite_with_rowid": False}  # noqa: RUF012

    inspection_key: Mapped[int] = mapped_column(ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)  # Order in the document, from 0
    string: Mapped[int]
    fret: Mapped[int]
    f1_hz: Mapped[float | None]
    target_hz: Mapped[float]
    deviation_cents: Mapped[float | None]
    u_cents: Mapped[float | None]
    length_expected_mm: Mapped[float]
    length_equivalent_error_mm: Mapped[float | None]
    start_s: Mapped[float]
    used: Mapped[bool]
    why_not_used: Mapped[str | None] = mapped_column(Text)
    flags: Mapped[str] = mapped_column(Text)  # Space between two flags
    press: Mapped[str | None] = mapped_column(String(12))
    inharmonicity: Mapped[float | None]
    u_inharmonicity: Mapped[float | None]
    snr_db: Mapped[float | None]
    partials: Mapped[int]
    glide_cents: Mapped[float | None]
    sound_key: Mapped[int | None] = mapped_column(ForeignKey("sounds.key"))


class FindingRow(Base):
    """One cause worth acting on."""

    __tablename__ = "findings"
    __table_args__ = {"sqlite_with_rowid": False}  # noqa: RUF012

    inspection_key: Mapped[int] = mapped_column(ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    cause: Mapped[str] = mapped_column(Text)
    fret: Mapped[int | None]
    string: Mapped[int | None]
    value_mm: Mapped[float | None]
    u_mm: Mapped[float | None]
    value_cents: Mapped[float | None]
    u_cents: Mapped[float | None]
    probability: Mapped[float]
    text: Mapped[str] = mapped_column(Text)


class MeasurementRow(Base):
    """One measurement by hand, from the neck's description."""

    __tablename__ = "measurements"
    __table_args__ = {"sqlite_with_rowid": False}  # noqa: RUF012

    inspection_key: Mapped[int] = mapped_column(ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str] = mapped_column(Text)
    fret: Mapped[int | None]
    string: Mapped[int | None]
    mm: Mapped[float | None]
    u_mm: Mapped[float | None]


class SoundRow(Base):
    """One sound file, by its path below the register's folder."""

    __tablename__ = "sounds"
    __table_args__ = (UniqueConstraint("path", "sha256"),)

    key: Mapped[int] = mapped_column(primary_key=True)
    path: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(String(64))  # Empty where the document gives none
