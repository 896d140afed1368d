"""What is spoken in a live session, event by event."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from fretcheck.report.bench.bench_speech import BenchSpeech
from fretcheck.session import events
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask
from tests.session.bench import make_neck, note_at, pluck_of

NECK = make_neck(courses={1: 1, 2: 1})


@dataclass
class Left:
    mm: float
    state: str
    u_mm: float = 0.1


def asked(string, fret, **how):
    return events.Asked(ask=Ask(string=string, fret=fret, **how))


def taken(string, fret, cents):
    one = Reading(step=0, ask=Ask(string=string, fret=fret), start_s=0.0, note=note_at(NECK, string, fret))
    return events.Accepted(taken=one, deviation_cents=cents, pluck=pluck_of())


def test_the_string_is_said_when_it_is_another_and_nothing_twice():
    say = BenchSpeech(NECK).words
    assert say([asked(3, 0)]) == "String 3, open."
    assert say([taken(3, 0, 0.2), asked(3, 5)]) == "In tune. Fret 5."
    assert say([asked(3, 5)]) == ""
    assert say([taken(3, 5, 2.4), asked(4, 0)]) == "2 sharp. String 4, open."
    assert say([taken(4, 0, -6.0), asked(1, 7, press="light")]) == "6 flat. String 1, fret 7, lightly, damp 2."


def test_why_a_pluck_is_not_taken_and_what_to_do():
    say = BenchSpeech(NECK).words
    ask = Ask(string=3, fret=5)
    say([asked(3, 5)])
    again = events.Again(ask=ask, reason="Too quiet to be measured.", short="TOO QUIET")
    assert say([again, asked(3, 5)]) == "Too quiet, once more. String 3, fret 5."
    wrong = events.WrongNote(ask=ask, heard=((3, 6),), text="")
    assert say([wrong, asked(3, 5)]) == "That was fret 6. String 3, fret 5."
    assert say([events.OutOfTune(ask=Ask(string=3, fret=0), cents=12.4, text="")]) == "12 sharp: slacken."
    assert say([events.TooFaint(ask=ask, text="")]) == "Too faint: pluck harder."
    silent = events.Again(ask=ask, reason="A cue still sounded.", short="TOO EARLY", silent=True)
    assert say([silent, asked(3, 5)]) == ""  # else the voice would answer itself for ever


@pytest.mark.parametrize(
    ("left", "words"),
    [
        (None, "2 flat."),
        (Left(-0.84, "move"), "2 flat. 0.8 millimetres toward the nut."),
        (Left(0.1, "pluck"), "2 flat. Pluck again."),
        (Left(0.02, "done"), "2 flat. Stop."),
    ],
)
def test_work_says_the_note_once_and_what_is_left(left, words):
    worked = events.Worked(place=Ask(string=3, fret=12), deviation_cents=-2.0, change_cents=1.0, remaining=left)
    assert BenchSpeech(NECK).words([taken(3, 12, -2.0), worked]).strip() == words
