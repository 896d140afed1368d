"""The tables of lots and gauge studies in the register's database.

The whole record lies as JSON in `record_json`; the other columns are what is searched, and the links to inspections, which
the database itself keeps whole.
"""

from typing import Any

from sqlalchemy import Column, Double, ForeignKey, Integer, String, Table, Text

from fretcheck.register.base import METADATA, UtcDateTime
from fretcheck.register.tables import SERIAL_LENGTH


def _record(name: str, *own: Column[Any]) -> Table:
    """Records that are kept under a name."""
    return Table(
        name,
        METADATA,
        Column("key", Integer, primary_key=True),
        Column("name", String(80), unique=True, nullable=False),
        Column("opened_utc", UtcDateTime, nullable=False),
        Column("record_json", Text, nullable=False),
        *own,
    )


LOTS = _record("lots", Column("template", Text, index=True), Column("state", String(12), nullable=False))
# `unseen_repeatability_cents` once it is computed
GAUGE_STUDIES = _record("gauge_studies", Column("computed_utc", UtcDateTime), Column("unseen_repeatability_cents", Double))
LOT_INSPECTIONS = Table(  # the inspection that counts for each neck of a lot
    "lot_inspections",
    METADATA,
    Column("lot_key", ForeignKey("lots.key", ondelete="CASCADE"), primary_key=True),
    Column("serial", String(SERIAL_LENGTH), primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)
GAUGE_INSPECTIONS = Table(  # in the order of the study's plan
    "gauge_inspections",
    METADATA,
    Column("study_key", ForeignKey("gauge_studies.key", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)
