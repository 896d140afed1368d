"""Choosing the next notes: against what is known of a normal distribution, and against what a bench would ask."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from fretcheck.diagnosis.conclude.deciding import Deciding
from fretcheck.diagnosis.conclude.next_notes import MOST_NOTES, MOST_STRINGS, MOST_TIMES, WhatIsOpen, what_is_open
from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.starts import start
from fretcheck.session.plan import first_round

NECK = start("guitar-6-steel").neck
ASKED = [(string, fret) for string in range(1, 7) for fret in NECK.frets_of(string)]
FIRST = first_round(NECK, range(1, 7))


def heard(extra: dict[int, float], *, hand: float = 0.3, plucks: int = 1) -> list[Observation]:
    """The first round of a neck that reads as designed, frets of `extra` off by so many cents on all strings."""
    expected, chance = expected_cents(NECK), np.random.default_rng(3)
    notes = [(string, 0) for string in range(1, 7)] * 2 + sorted(FIRST) * plucks
    return [
        Observation(
            string=string,
            fret=fret,
            cents=float(expected[string - 1, fret] + extra.get(fret, 0.0) + hand * chance.standard_normal()) if fret else 0.1,
            u_cents=0.1,
            start_s=3.0 * n,
        )
        for n, (string, fret) in enumerate(notes)
    ]


def limit(cents: float) -> DiagnosisSettings:
    """Judged against so many cents."""
    return DiagnosisSettings(limit_cents=cents)


@pytest.fixture(scope="module")
def with_a_doubt() -> WhatIsOpen:
    """Fret 7 reads two cents sharp on the two strings heard there: half a millimetre, or chance."""
    return what_is_open(NECK, heard({7: 2.0}), asked=ASKED, settings=limit(12.0))


def test_the_first_round_hears_every_fret_on_two_strings_half_a_neck_apart() -> None:
    for fret in NECK.frets_of(1):
        low, high = sorted(string for string, own in FIRST if own == fret)
        assert high - low == 3
    assert len(FIRST) == 40  # with an open note before and after on six strings: 52 plucks, as the issue counts them
    assert set(Counter(string for string, _ in FIRST).values()) <= {6, 7}


def test_a_neck_of_twelve_strings_has_a_third_of_them_heard_at_every_fret() -> None:
    neck = start("mandolin").neck
    notes = first_round(neck, range(1, len(neck.strings) + 1))
    least = max(2, -(-len(neck.strings) // 3))
    assert set(Counter(fret for _, fret in notes).values()) == {least}


def test_what_is_asked_next_is_a_batch_of_few_strings(with_a_doubt: WhatIsOpen) -> None:
    notes = with_a_doubt.choose()
    assert 1 <= len(notes) <= MOST_NOTES
    assert len({string for string, _ in notes}) <= MOST_STRINGS
    assert max(Counter(notes).values()) <= MOST_TIMES
    assert list(notes) == sorted(notes)


def test_the_suspect_fret_is_asked_for(with_a_doubt: WhatIsOpen) -> None:
    assert 7 in {fret for _, fret in with_a_doubt.choose()}
    assert any(one.estimate.fret == 7 for one in with_a_doubt.suspects)


def test_what_was_passed_over_is_not_chosen(with_a_doubt: WhatIsOpen) -> None:
    chosen = with_a_doubt.choose()
    assert not set(chosen) & set(with_a_doubt.choose(passed_over=chosen))


def test_the_first_note_chosen_leaves_less_variance_than_any_other(with_a_doubt: WhatIsOpen) -> None:
    """Against a regression of what is open on a simulated reading of each note: its R² in draws, not the update formula."""
    best = with_a_doubt.choose(notes=1)[0]
    draws, matters = with_a_doubt.draws.notes, with_a_doubt.matters
    chance = np.random.default_rng(1)
    cells = with_a_doubt.posterior.design.cells

    def left(n: int) -> float:
        noise = with_a_doubt.noise[n] ** 0.5 * chance.standard_normal(len(draws))
        design = np.column_stack([np.ones(len(draws)), draws[:, n] + noise])
        fitted, *_ = np.linalg.lstsq(design, matters, rcond=None)
        return float(np.sum(np.var(matters - design @ fitted, axis=0)))

    losses = {(cell.string, cell.fret): left(n) for n, cell in enumerate(cells)}
    total = float(np.sum(np.var(matters, axis=0)))
    # Within a fifth of the largest drop: the simulated noise of 2,000 draws moves an R² of 0.1 by 0.013, both of them
    assert total - losses[best] >= 0.8 * (total - min(losses.values()))


def test_a_sound_neck_far_within_is_decided_in_one_round() -> None:
    first = Deciding(NECK, ASKED, settings=limit(15.0), look_for_mm=1.5).round(heard({}), plucks=52)
    assert first.decided
    assert not first.notes


def test_no_more_is_asked_when_the_plucks_are_used_up() -> None:
    last = Deciding(NECK, ASKED, settings=limit(3.0), most_plucks=53).round(heard({7: 1.5}), plucks=52)
    assert not last.notes
    assert "all 53 plucks are used" in last.why


def test_a_note_passed_over_is_not_asked_for() -> None:
    every = [place for place in ASKED if place[0] != 4]
    notes = Deciding(NECK, ASKED, settings=limit(3.0)).round(heard({}), plucks=52, passed_over=every).notes
    assert {string for string, _ in notes} == {4}


def test_a_note_that_was_out_at_its_only_pluck_is_plucked_again_before_a_pass() -> None:
    """One of 40 notes reads 4 cents beyond the limit: a bad pluck, or a dent. A second pluck within settles it."""
    string, fret = sorted(FIRST)[5]
    plucks = heard({})
    odd = next(n for n, one in enumerate(plucks) if (one.string, one.fret) == (string, fret))
    spoiled = [*plucks[:odd], replace(plucks[odd], cents=16.0), *plucks[odd + 1 :]]
    now = what_is_open(NECK, spoiled, asked=ASKED, settings=limit(12.0))
    assert now.out_once == ((string, fret),)
    assert (string, fret) in now.to_hear
    again = replace(plucks[odd], start_s=1000.0)
    assert what_is_open(NECK, [*spoiled, again], asked=ASKED, settings=limit(12.0)).out_once == ()
