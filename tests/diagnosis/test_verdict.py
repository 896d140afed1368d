"""The verdict from joint draws of independent notes, whose probabilities are products of the normal distribution's."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from fretcheck.diagnosis.conclude.notes import DrawnNotes, note_decision
from fretcheck.diagnosis.conclude.verdict import judge
from fretcheck.diagnosis.result import Note, Verdict
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from tests.diagnosis.necks import steel_neck

NECK = steel_neck(frets=20, strings=3)


def drawn(values: list[tuple[int, int, float]], *, u: float = 0.5, plucks: int = 2, band: float | None = None) -> DrawnNotes:
    """Notes (string, fret, cents) that err independently by `u`."""
    draws = np.array([cents for _, _, cents in values]) + u * np.random.default_rng(1).standard_normal((2000, len(values)))
    settings = DiagnosisSettings(guard_band_cents=band)
    notes = []
    for string, fret, cents in values:
        out = float(norm.sf(3.0, cents, u) + norm.cdf(-3.0, cents, u))
        notes.append(
            Note(
                string=string, fret=fret, deviation_cents=cents, expected_cents=0.0, caused_cents=0.0, unexplained_cents=cents,
                u_cents=u, plucked_cents=cents, probability_out=out, plucks=plucks,
                decision=note_decision(cents, out, limit_cents=3.0, settings=settings),
            )
        )  # fmt: skip
    return DrawnNotes(notes=tuple(notes), draws=draws)


def verdict_of(values: list[tuple[int, int, float]], *, u: float = 0.5, band: float | None = None, **options: Any) -> Verdict:
    """Verdict on all of these notes; `asked` and `must_hear` may be given."""
    places = {(string, fret) for string, fret, _ in values}
    asked = options.pop("asked", places)
    return judge(
        drawn(values, u=u, band=band), asked, options.pop("must_hear", asked), neck=NECK, limit_cents=3.0,
        settings=DiagnosisSettings(guard_band_cents=band), **options,
    )  # fmt: skip


def everywhere(cents: float, *, frets: int = 12) -> list[tuple[int, int, float]]:
    return [(string, fret, cents) for string in (1, 2, 3) for fret in range(1, frets + 1)]


@pytest.mark.parametrize(
    ("value", "out", "band", "decision"),
    [
        (1.0, 0.0, None, "pass"),
        (2.5, 0.16, None, "undecided"),
        (4.5, 0.99, None, "fail"),
        (2.5, 0.16, 0.4, "pass"),
        (2.7, 0.27, 0.4, "undecided"),
        (-3.5, 0.84, 0.4, "fail"),
    ],
)
def test_decision_of_one_note(value: float, out: float, band: float | None, decision: str) -> None:
    settings = DiagnosisSettings(guard_band_cents=band)
    assert note_decision(value, out, limit_cents=3.0, settings=settings) == decision


def test_neck_fails_by_its_worst_note() -> None:
    verdict = verdict_of([*everywhere(0.2), (2, 13, 8.0)])
    assert verdict.decision == "fail"
    assert verdict.worst is not None
    assert (verdict.worst.string, verdict.worst.fret) == (2, 13)
    assert "1 note is surely outside ±3 cents" in verdict.reason


def test_neck_passes_only_when_all_notes_together_do() -> None:
    assert verdict_of(everywhere(1.0)).decision == "pass"
    # 36 notes at 2.1 ± 0.5: each lies within with Φ(1.8) = 96.4 %, all of them with 0.9641^36 = 27 % (draws: ±1 %)
    verdict = verdict_of(everywhere(2.1))
    assert verdict.decision == "undecided"
    assert verdict.probability_within == pytest.approx(0.964**36, abs=0.03)


def test_many_notes_none_surely_out_can_fail_together() -> None:
    # each of 60 is out with 1 − Φ(1.2) = 11.5 %; that none is has 0.885^60 = 0.07 %
    verdict = verdict_of(everywhere(2.4, frets=20))
    assert verdict.decision == "fail"
    assert "only below 0.1 % probable" in verdict.reason


def test_guard_band_decides_by_values() -> None:
    assert verdict_of(everywhere(2.5), band=0.4).decision == "pass"
    assert verdict_of([*everywhere(0.0), (1, 13, 2.8)], band=0.4).decision == "undecided"
    assert verdict_of([*everywhere(0.0), (1, 13, 3.5)], band=0.4).decision == "fail"


def test_a_note_that_was_not_heard_leaves_at_best_undecided() -> None:
    asked = {(string, fret) for string, fret, _ in everywhere(0.0)} | {(1, 13), (3, 14), (3, 15)}
    verdict = verdict_of(everywhere(0.0), asked=asked)
    assert verdict.decision == "undecided"
    assert verdict.reason.startswith("String 1 fret 13; string 3 frets 14, 15 were not heard.")
    assert verdict_of(everywhere(0.0), asked=asked, must_hear=asked - {(1, 13), (3, 14), (3, 15)}).decision == "pass"


@pytest.mark.parametrize(
    ("values", "words"),
    [([(1, 1, 9.0)], "Only 1 of 3 strings read"), ([(1, 1, 0.0), (2, 1, 0.0), (3, 1, 0.0)], "Only 3 of 39 notes")],
)
def test_a_fragment_is_not_judged(values: list[tuple[int, int, float]], words: str) -> None:
    asked = {(string, fret) for string, fret, _ in everywhere(0.0, frets=13)}
    verdict = verdict_of(values, asked=asked)
    assert verdict.decision is None
    assert verdict.probability_within is None
    assert verdict.reason.startswith(words)


@pytest.mark.parametrize(
    ("option", "match"),
    [({"risk": 0.7}, "risk = 0.7"), ({"fret_position_mm": 0.0}, "fret_position_mm"), ({"guard_band_cents": -1.0}, "0 or more")],
)
def test_settings_out_of_range_are_refused(option: dict[str, float], match: str) -> None:
    with pytest.raises(UsageError, match=match):
        DiagnosisSettings(**option)


def test_guard_band_of_zero_is_simple_acceptance() -> None:
    settings = DiagnosisSettings(guard_band_cents=0.0)
    assert note_decision(2.99, 0.4, limit_cents=3.0, settings=settings) == "pass"
