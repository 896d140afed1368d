"""Documents ``fretcheck/inspection/1``, as version 0.1 wrote them, are read, shown as judged then, and kept once."""

from __future__ import annotations

import json

import pytest
from pydantic import ValidationError
from sqlalchemy import text

from fretcheck.diagnosis.result import Move
from fretcheck.inspection.document import InspectionDocument

FIRST = {
    "schema": "fretcheck/inspection/1",
    "taken_at": "2026-03-14T09:30:00+01:00",
    "software_version": "0.1.0",
    "neck": {"name": "Walnut tenor", "serial": "WT-007", "description": {"frets": 5}},
    "readings": [],
    "frets": [
        {
            "string": 1, "fret": 5, "deviation_cents": 7.3, "u_cents": 0.5, "expected_cents": 0.6, "unexplained_cents": 0.7,
            "plucks": 2, "caused_cents": 6.0, "probability_conforming": 0.25, "decision": "undecided",
        },
        {"string": 1, "fret": 6, "deviation_cents": None, "u_cents": None, "expected_cents": None, "unexplained_cents": None,
         "plucks": 0},
    ],
    "findings": [
        {"cause": "saddle_position", "fret": None, "string": 1, "value_mm": -1.0, "u_mm": 0.2, "probability": 0.97, "text": "x"},
    ],
    "corrections": [
        {"part": "saddle", "string": 1, "move_mm": 1.0, "u_mm": 0.2, "text": "Move the saddle.", "worst_after_cents": 2.1},
    ],
    "predicted_after": {"worst_cents": 2.1},
    "verdict": {
        "decision": "undecided", "limit_cents": 3.0, "reason": "near",
        "worst": {"string": 1, "fret": 5, "deviation_cents": 7.3, "probability_conforming": 0.25},
    },
    "warnings": [],
}  # fmt: skip


def test_it_comes_in_todays_shape() -> None:
    document = InspectionDocument.model_validate_json(json.dumps(FIRST))
    heard, unheard = document.frets
    assert (heard.deviation_cents, heard.plucked_cents, heard.probability_out) == (7.3, 7.3, 0.75)
    assert unheard.probability_out is None
    assert document.corrections[0].moves == (Move(part="saddle", string=1, move_mm=1.0, u_mm=0.2),)
    assert document.corrections[0].predicted.worst_cents == document.predicted_after.worst_cents == 2.1
    assert document.verdict.probability_within is None
    assert document.coverage is None
    assert InspectionDocument.model_validate_json(document.to_json()) == document


def test_what_a_version_kept_is_not_kept_twice(register) -> None:
    document = InspectionDocument.model_validate(FIRST)
    kept = register.keep(document)
    with register.transaction(write=True) as session:  # as the earlier version left it
        session.execute(text("UPDATE documents SET json = :json"), {"json": json.dumps({**FIRST, "id": kept.id})})
        session.execute(text("UPDATE inspections SET content_sha256 = 'of the first shape'"))
    assert register.load(kept.id) == kept
    assert register.keep(document) == kept
    assert register.count() == 1


def test_a_later_schema_is_refused() -> None:
    with pytest.raises(ValidationError):
        InspectionDocument.model_validate({**FIRST, "schema": "fretcheck/inspection/3"})
