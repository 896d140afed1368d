"""Run by Alembic: applies the scripts in ``versions`` to the connection handed over by `fretcheck.register.schema`."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], version_table="fretcheck_schema")
context.run_migrations()
