"""Run by Alembic: applies the scripts in ``versions`` to the connection handed over by `fretcheck.register.schema`."""

from alembic import context
from sqlalchemy import MetaData

from fretcheck.register.base import NAMES_OF_CONSTRAINTS

names = MetaData(naming_convention=NAMES_OF_CONSTRAINTS)
context.configure(connection=context.config.attributes["connection"], version_table="fretcheck_schema", target_metadata=names)
context.run_migrations()
