"""Schema 0001: necks, inspections with their documents, readings, findings, hand measurements and sound files."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from fretcheck.register.base import columns

revision = "0001"
down_revision = None


def upgrade() -> None:
    """From an empty database."""
    op.create_table(
        "necks",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("serial", sa.String(200), nullable=False, unique=True),
        sa.Column("serial_folded", sa.Text, nullable=False, index=True),
        *columns(sa.Text, "name", "description_json", nullable=False),
    )
    op.create_table(
        "sounds",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.UniqueConstraint("path", "sha256"),
    )
    op.create_table(
        "inspections",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("id", sa.String(20), nullable=False, unique=True),
        sa.Column("day", sa.String(6), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("content_sha256", sa.String(64), nullable=False, unique=True),
        sa.Column("neck_key", sa.Integer, sa.ForeignKey("necks.key"), index=True),
        *columns(sa.Text, "neck_name", "plan", "text_folded", nullable=False),
        *columns(sa.Text, "taken_at", "software_version", "source", "operator"),
        *columns(sa.DateTime, "taken_utc", "kept_utc", nullable=False),
        *columns(sa.Double, "sample_rate_hz", "reference_hz", "temperature_c", "humidity_pct", "worst_cents"),
        *columns(sa.Integer, "worst_string", "worst_fret"),
        sa.Column("decision", sa.String(12), nullable=False, index=True),
        sa.Column("limit_cents", sa.Double, nullable=False),
        sa.Column("findings", sa.Integer, nullable=False),
        sa.UniqueConstraint("day", "number"),
    )
    op.create_index(None, "inspections", ["taken_utc", "key"])
    op.create_table("documents", _inspection(), sa.Column("json", sa.Text, nullable=False))
    _parts_table(
        "findings",
        *columns(sa.Text, "cause", "text", nullable=False),
        *columns(sa.Integer, "fret", "string"),
        *columns(sa.Double, "value_mm", "u_mm", "value_cents", "u_cents"),
        sa.Column("probability", sa.Double, nullable=False),
    )
    _parts_table(
        "measurements",
        sa.Column("what", sa.Text, nullable=False),
        *columns(sa.Integer, "fret", "string"),
        *columns(sa.Double, "mm", "u_mm"),
    )
    _parts_table(
        "readings",
        *columns(sa.Integer, "string", "fret", "partials", nullable=False),
        *columns(sa.Double, "target_hz", "length_expected_mm", "start_s", nullable=False),
        *columns(sa.Double, "f1_hz", "deviation_cents", "u_cents", "length_equivalent_error_mm", "glide_cents"),
        *columns(sa.Double, "inharmonicity", "u_inharmonicity", "snr_db"),
        sa.Column("used", sa.Boolean, nullable=False),
        sa.Column("why_not_used", sa.Text),
        sa.Column("flags", sa.Text, nullable=False),
        sa.Column("press", sa.String(12)),
        sa.Column("sound_key", sa.Integer, sa.ForeignKey("sounds.key")),
    )


def _inspection() -> sa.Column[int]:
    return sa.Column("inspection_key", sa.Integer, sa.ForeignKey("inspections.key", ondelete="CASCADE"), primary_key=True)


def _parts_table(name: str, *columns: sa.Column[Any]) -> None:
    position = sa.Column("position", sa.Integer, primary_key=True)
    op.create_table(name, _inspection(), position, *columns, sqlite_with_rowid=False)
