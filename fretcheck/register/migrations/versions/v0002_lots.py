"""Schema 0002: lots, gauge studies and the inspections that count for them."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "lots",
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("template", sa.Text(), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("opened_utc", sa.DateTime(), nullable=False),
        sa.Column("record_json", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_lots"),
        sa.UniqueConstraint("name", name="uq_lots_name"),
    )
    op.create_index("ix_lots_template", "lots", ["template"], unique=False)
    op.create_table(
        "lot_inspections",
        sa.Column("lot_key", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=200), nullable=False),
        sa.Column("inspection_id", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["lot_key"], ["lots.key"], name="fk_lot_inspections_lot_key_lots", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspections.id"], name="fk_lot_inspections_inspection_id_inspections"),
        sa.PrimaryKeyConstraint("lot_key", "serial", name="pk_lot_inspections"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_lot_inspections_inspection_id", "lot_inspections", ["inspection_id"], unique=False)
    op.create_table(
        "gauge_studies",
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("opened_utc", sa.DateTime(), nullable=False),
        sa.Column("computed_utc", sa.DateTime(), nullable=True),
        sa.Column("unseen_repeatability_cents", sa.Double(), nullable=True),
        sa.Column("record_json", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_gauge_studies"),
        sa.UniqueConstraint("name", name="uq_gauge_studies_name"),
    )
    op.create_table(
        "gauge_inspections",
        sa.Column("study_key", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("inspection_id", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(
            ["study_key"], ["gauge_studies.key"], name="fk_gauge_inspections_study_key_gauge_studies", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspections.id"], name="fk_gauge_inspections_inspection_id_inspections"),
        sa.PrimaryKeyConstraint("study_key", "position", name="pk_gauge_inspections"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_gauge_inspections_inspection_id", "gauge_inspections", ["inspection_id"], unique=False)
