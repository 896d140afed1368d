"""Base of every table in the register's database, shared by the rooms that keep something there.

A room adds tables of its own in three steps: (1) tables of `METADATA` in that room; (2) a migration script
``register/migrations/versions/vNNNN_what.py`` with the next number, which spells the tables out with ``op.create_table`` and
imports nothing from that room; (3) reads and writes through `Register.transaction`. The database is brought up to date when it is
next opened; a test compares the migrated database with the tables of all rooms.

Conventions: moments are kept in UTC and come back aware of it. A foreign key to an inspection refers to ``inspections.id``, the
short text that people type. Constraints are named so that a later migration can refer to them.
"""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Column, DateTime, Dialect, MetaData
from sqlalchemy.types import TypeDecorator

NAMES_OF_CONSTRAINTS = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
METADATA = MetaData(naming_convention=NAMES_OF_CONSTRAINTS)  # Of all tables


class UtcDateTime(TypeDecorator[datetime]):
    """A moment, always aware: goes in with any offset, is stored as UTC, comes out with offset zero on every kind of database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


def columns(kind: Any, *names: str, nullable: bool = True) -> list[Column[Any]]:
    """Columns of one kind."""
    return [Column(name, kind, nullable=nullable) for name in names]
