"""The tables of lots and gauge studies in the register's database.

The whole record lies as JSON in `record_json`; the other columns are what is searched, and the links to inspections, which
the database itself keeps whole.
"""

from datetime import datetime

from sqlalchemy import Column, ForeignKey, Integer, String, Table
from sqlalchemy.orm import Mapped, mapped_column

from fretcheck.register.base import Base
from fretcheck.register.tables import SERIAL_LENGTH


class RecordRow(Base):
    """What is kept under a name."""

    __abstract__ = True

    key: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    opened_utc: Mapped[datetime]
    record_json: Mapped[str]


class LotRow(RecordRow):
    """One lot."""

    __tablename__ = "lots"

    template: Mapped[str | None] = mapped_column(index=True)
    state: Mapped[str] = mapped_column(String(12))


class GaugeStudyRow(RecordRow):
    """One gauge study; `unseen_repeatability_cents` once it is computed."""

    __tablename__ = "gauge_studies"

    computed_utc: Mapped[datetime | None]
    unseen_repeatability_cents: Mapped[float | None]


LOT_INSPECTIONS = Table(  # the inspection that counts for each neck of a lot
    "lot_inspections",
    Base.metadata,
    Column("lot_key", ForeignKey("lots.key", ondelete="CASCADE"), primary_key=True),
    Column("serial", String(SERIAL_LENGTH), primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)
GAUGE_INSPECTIONS = Table(  # in the order of the study's plan
    "gauge_inspections",
    Base.metadata,
    Column("study_key", ForeignKey("gauge_studies.key", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)
