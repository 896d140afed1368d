"""The register's fixtures, for lots are kept in both kinds of database too."""

from tests.register.conftest import place, postgres_place, postgres_server, register  # noqa: F401
