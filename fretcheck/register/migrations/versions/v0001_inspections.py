"""Schema 0001: necks, inspections with their documents, readings, findings, hand measurements and sound files."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """From an empty database."""
    op.create_table(
        "necks",
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=200), nullable=False),
        sa.Column("serial_folded", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("description_json", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_necks"),
        sa.UniqueConstraint("serial", name="uq_necks_serial"),
    )
    op.create_index("ix_necks_serial_folded", "necks", ["serial_folded"], unique=False)
    op.create_table(
        "sounds",
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_sounds"),
        sa.UniqueConstraint("path", "sha256", name="uq_sounds_path_sha256"),
    )
    op.create_table(
        "inspections",
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=20), nullable=False),
        sa.Column("day", sa.String(length=6), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content_sha256", sa.String(length=64), nullable=False),
        sa.Column("neck_key", sa.Integer(), nullable=True),
        sa.Column("neck_name", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.Text(), nullable=True),
        sa.Column("taken_utc", sa.DateTime(), nullable=False),
        sa.Column("kept_utc", sa.DateTime(), nullable=False),
        sa.Column("software_version", sa.Text(), nullable=True),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=True),
        sa.Column("sample_rate_hz", sa.Double(), nullable=True),
        sa.Column("reference_hz", sa.Double(), nullable=True),
        sa.Column("operator", sa.Text(), nullable=True),
        sa.Column("temperature_c", sa.Double(), nullable=True),
        sa.Column("humidity_pct", sa.Double(), nullable=True),
        sa.Column("decision", sa.String(length=12), nullable=False),
        sa.Column("limit_cents", sa.Double(), nullable=False),
        sa.Column("worst_string", sa.Integer(), nullable=True),
        sa.Column("worst_fret", sa.Integer(), nullable=True),
        sa.Column("worst_cents", sa.Double(), nullable=True),
        sa.Column("findings", sa.Integer(), nullable=False),
        sa.Column("text_folded", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["neck_key"], ["necks.key"], name="fk_inspections_neck_key_necks"),
        sa.PrimaryKeyConstraint("key", name="pk_inspections"),
        sa.UniqueConstraint("content_sha256", name="uq_inspections_content_sha256"),
        sa.UniqueConstraint("day", "number", name="uq_inspections_day_number"),
        sa.UniqueConstraint("id", name="uq_inspections_id"),
    )
    op.create_index("ix_inspections_decision", "inspections", ["decision"], unique=False)
    op.create_index("ix_inspections_neck_key", "inspections", ["neck_key"], unique=False)
    op.create_index("ix_inspections_taken_utc_key", "inspections", ["taken_utc", "key"], unique=False)
    op.create_table(
        "documents",
        sa.Column("inspection_key", sa.Integer(), nullable=False),
        sa.Column("json", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["inspection_key"], ["inspections.key"], name="fk_documents_inspection_key_inspections", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("inspection_key", name="pk_documents"),
    )
    op.create_table(
        "findings",
        sa.Column("inspection_key", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("fret", sa.Integer(), nullable=True),
        sa.Column("string", sa.Integer(), nullable=True),
        sa.Column("value_mm", sa.Double(), nullable=True),
        sa.Column("u_mm", sa.Double(), nullable=True),
        sa.Column("value_cents", sa.Double(), nullable=True),
        sa.Column("u_cents", sa.Double(), nullable=True),
        sa.Column("probability", sa.Double(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["inspection_key"], ["inspections.key"], name="fk_findings_inspection_key_inspections", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("inspection_key", "position", name="pk_findings"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "measurements",
        sa.Column("inspection_key", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("fret", sa.Integer(), nullable=True),
        sa.Column("string", sa.Integer(), nullable=True),
        sa.Column("mm", sa.Double(), nullable=True),
        sa.Column("u_mm", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["inspection_key"], ["inspections.key"], name="fk_measurements_inspection_key_inspections", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("inspection_key", "position", name="pk_measurements"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "readings",
        sa.Column("inspection_key", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("string", sa.Integer(), nullable=False),
        sa.Column("fret", sa.Integer(), nullable=False),
        sa.Column("f1_hz", sa.Double(), nullable=True),
        sa.Column("target_hz", sa.Double(), nullable=False),
        sa.Column("deviation_cents", sa.Double(), nullable=True),
        sa.Column("u_cents", sa.Double(), nullable=True),
        sa.Column("length_expected_mm", sa.Double(), nullable=False),
        sa.Column("length_equivalent_error_mm", sa.Double(), nullable=True),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("used", sa.Boolean(), nullable=False),
        sa.Column("why_not_used", sa.Text(), nullable=True),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.Column("press", sa.String(length=12), nullable=True),
        sa.Column("inharmonicity", sa.Double(), nullable=True),
        sa.Column("u_inharmonicity", sa.Double(), nullable=True),
        sa.Column("snr_db", sa.Double(), nullable=True),
        sa.Column("partials", sa.Integer(), nullable=False),
        sa.Column("glide_cents", sa.Double(), nullable=True),
        sa.Column("sound_key", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["inspection_key"], ["inspections.key"], name="fk_readings_inspection_key_inspections", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["sound_key"], ["sounds.key"], name="fk_readings_sound_key_sounds"),
        sa.PrimaryKeyConstraint("inspection_key", "position", name="pk_readings"),
        sqlite_with_rowid=False,
    )
