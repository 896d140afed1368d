"""The tables of lots and gauge studies in the register's database.

The whole record lies as JSON in `record_json`; the other columns are what is searched, and the links to inspections, which
the database itself keeps whole.
"""

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from fretcheck.register.base import Base

NAME_LENGTH = 80


class LotRow(Base):
    """One lot."""

    __tablename__ = "lots"

    key: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(NAME_LENGTH), unique=True)
    template: Mapped[str | None] = mapped_column(index=True)
    state: Mapped[str] = mapped_column(String(12))
    opened_utc: Mapped[datetime]
    record_json: Mapped[str]


class LotInspectionRow(Base):
    """The inspection that counts for one neck of a lot."""

    __tablename__ = "lot_inspections"
    __table_args__ = {"sqlite_with_rowid": False}  # noqa: RUF012

    lot_key: Mapped[int] = mapped_column(ForeignKey("lots.key", ondelete="CASCADE"), primary_key=True)
    serial: Mapped[str] = mapped_column(String(200), primary_key=True)
    inspection_id: Mapped[str] = mapped_column(ForeignKey("inspections.id"), index=True)


class GaugeStudyRow(Base):
    """One gauge study; `unseen_repeatability_cents` once it is computed."""

    __tablename__ = "gauge_studies"

    key: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(NAME_LENGTH), unique=True)
    opened_utc: Mapped[datetime]
    computed_utc: Mapped[datetime | None]
    unseen_repeatability_cents: Mapped[float | None]
    record_json: Mapped[str]


class GaugeInspectionRow(Base):
    """One inspection of a gauge study, in the order of its plan."""

    __tablename__ = "gauge_inspections"
    __table_args__ = {"sqlite_with_rowid": False}  # noqa: RUF012

    study_key: Mapped[int] = mapped_column(ForeignKey("gauge_studies.key", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    inspection_id: Mapped[str] = mapped_column(ForeignKey("inspections.id"), index=True)
