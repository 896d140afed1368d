"""What is kept comes back as it was."""

from __future__ import annotations

from fretcheck.register.store import open_register
from tests.register.documents import make_document


def test_a_kept_document_comes_back_whole(tmp_path):
    with open_register(tmp_path / "register.sqlite") as register:
        kept = register.keep(make_document(1))
        assert kept.model_copy(update={"id": None}) == make_document(1)
        assert register.load(kept.id) == kept
