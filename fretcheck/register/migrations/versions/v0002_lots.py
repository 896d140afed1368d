"""Schema 0002: lots, gauge studies and the inspections that count for them."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "lots",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("template", sa.Text, index=True),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("opened_utc", sa.DateTime, nullable=False),
        sa.Column("record_json", sa.Text, nullable=False),
    )
    op.create_table(
        "gauge_studies",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("opened_utc", sa.DateTime, nullable=False),
        sa.Column("computed_utc", sa.DateTime),
        sa.Column("unseen_repeatability_cents", sa.Double),
        sa.Column("record_json", sa.Text, nullable=False),
    )
    op.create_table(
        "lot_inspections",
        sa.Column("lot_key", sa.Integer, sa.ForeignKey("lots.key", ondelete="CASCADE"), primary_key=True),
        sa.Column("serial", sa.String(200), primary_key=True),
        sa.Column("inspection_id", sa.String(20), sa.ForeignKey("inspections.id"), nullable=False, index=True),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "gauge_inspections",
        sa.Column("study_key", sa.Integer, sa.ForeignKey("gauge_studies.key", ondelete="CASCADE"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        sa.Column("inspection_id", sa.String(20), sa.ForeignKey("inspections.id"), nullable=False, index=True),
        sqlite_with_rowid=False,
    )
