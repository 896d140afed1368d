"""The screen at the bench: fits any terminal, is to be read from across the room, and does not rely on colour."""

from __future__ import annotations

import io
import itertools
import os
import re
import struct
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.text import Text

from fretcheck.cli.live.live_display import MOST_DRAWS_A_SECOND, WHOLE_EVERY_S, ScreenDisplay
from fretcheck.cli.live.live_terminal import commands_in
from fretcheck.report.bench.bench_lines import BenchLines
from fretcheck.report.bench.bench_screen import BenchScreen
from fretcheck.report.bench.bench_view import BenchView, duration_words
from fretcheck.report.bench.big_digits import big_text, big_width
from fretcheck.report.tables.neck_cells import ASCII, UNICODE, Cell
from fretcheck.session import events
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask, make_plan
from tests.session.bench import make_neck, note_at, pluck_of

NECK = make_neck(name="Walnut tenor, neck 7")
PLAN = make_plan(NECK, name="full")
ASK = Ask(string=3, fret=12)


def a_view(**changes):
    view = BenchView(neck=NECK, plan=PLAN, source="a microphone", notes_left=100, seconds_left=305.0)
    view.apply(events.Asked(ask=Ask(string=3, fret=12)))
    for name, value in changes.items():
        setattr(view, name, value)
    return view


def accepted(ask, cents, number):
    taken = Reading(step=0, ask=ask, start_s=1.0, note=note_at(NECK, ask.string, ask.fret), number=number)
    return events.Accepted(taken=taken, deviation_cents=cents, pluck=pluck_of())


def shown(view, columns, rows, *, encoding="utf-8"):
    lines = BenchScreen(view).lines(columns, rows, UNICODE if encoding == "utf-8" else ASCII)
    return "\n".join(line.plain[:columns] for line in lines)


def figure_rows(text):
    """Rows that hold part of a large figure of string or fret."""
    return sum(bool(re.search("[█▀▄]{2}", line[:40])) for line in text.splitlines())


def test_figures_are_fifteen_rows_high_in_a_hundred_by_thirty():
    # about 7 cm in a usual terminal, readable at 1.5 m (measured once, by eye)
    assert figure_rows(shown(a_view(), 100, 30)) >= 15


def test_figures_are_ten_rows_high_in_eighty_by_twenty_four():
    assert figure_rows(shown(a_view(), 80, 24)) >= 10


@given(columns=st.integers(10, 220), rows=st.integers(2, 70))
def test_any_terminal_is_filled_exactly(columns, rows):
    lines = shown(a_view(deviation_cents=-12.3, u_cents=0.05), columns, rows).split("\n")
    assert len(lines) == rows
    assert all(len(line) <= columns for line in lines)


def test_figures_do_not_jump_between_one_and_two_digits():
    rows = {figure_rows(shown(a_view(ask=Ask(string=3, fret=fret)), 100, 30)) for fret in (1, 9, 10, 20)}
    assert len(rows) == 1


def test_many_strings_do_not_make_the_figures_small():
    notes = ("E4", "E4", "B3", "B3", "G4", "G3", "D4", "D3", "A3", "A2", "E3", "E2")
    neck = make_neck(strings=12, notes=notes)
    for string in (1, 6, 12):
        view = BenchView(neck=neck, plan=make_plan(neck), ask=Ask(string=string, fret=12))
        text = shown(view, 80, 24)
        assert figure_rows(text) >= 9
        assert any(line.startswith(f"{string:>2} {notes[string - 1]}") for line in text.splitlines())


def test_what_matters_is_on_the_screen():
    view = a_view(level_db=-20.0)
    view.apply(events.Begun())
    view.apply(events.Running(deviation_cents=-3.24, u_cents=0.08, settled=0.5))
    text = shown(view, 100, 30)
    for words in (
        "LISTENING",
        "note G4",
        "± 0.08",
        "settled",
        "level",
        "100 left",
        "about 5:05 min",
        "q stop and keep",
        "-20",
        "+20",
    ):
        assert words in text


def test_sharp_flat_within_and_pending_differ_without_colour():
    view = a_view()
    for number, (fret, cents) in enumerate([(1, 4.6), (2, -7.4), (3, 1.0)]):
        view.apply(accepted(Ask(string=3, fret=fret), cents, number))
    view.judged = {(3, 1): Cell(4.6, "fail"), (3, 2): Cell(-7.4, "fail"), (3, 3): Cell(1.0, "pass")}
    (row,) = [line for line in shown(view, 100, 30).splitlines() if line.startswith(" 3 G3")]
    assert row.split()[2:7] == ["–", "▲5", "▼7", "·", "–"]


def test_a_console_without_the_signs_gets_ascii():
    text = shown(a_view(deviation_cents=5.0), 100, 30, encoding="ascii")
    assert text.isascii()
    assert "####" in text


def test_the_note_asked_for_is_marked_on_the_neck():
    (row,) = [line for line in shown(a_view(), 100, 30).splitlines() if line.startswith(" 3 G3")]
    assert "[–]" in row


def test_the_scale_runs_from_flat_at_the_left_to_sharp_at_the_right():
    def bar(cents):
        lines = shown(a_view(deviation_cents=cents), 100, 30).splitlines()
        (at,) = [i for i, line in enumerate(lines) if line.strip().startswith("-20")]
        return lines[at - 1]

    assert bar(-8.0).strip()
    assert bar(-8.0).rstrip().endswith("█")
    assert len(bar(-8.0).rstrip()) <= 51
    assert bar(8.0).index("█") >= 49
    assert bar(99.0).rstrip().endswith(">")
    assert bar(-99.0).strip().startswith("<")


@pytest.mark.parametrize(
    ("event", "heading", "words"),
    [
        (
            events.Again(ask=Ask(string=3, fret=12), reason="Two strings are sounding; damp the others."),
            "ONCE MORE",
            "damp the others",
        ),
        (
            events.WrongNote(ask=Ask(string=3, fret=12), heard=((3, 11),), text="Heard string 3, fret 11 (F#4)."),
            "ONCE MORE",
            "fret 11",
        ),
        (events.TooFaint(ask=Ask(string=3, fret=12), text="Heard a note of -52 dB. Pluck harder."), "TOO FAINT", "Pluck harder"),
        (events.SourceTrouble(text="The sound input has ended.", listening=False), "NO SOUND", "has ended"),
        (events.Paused(), "PAUSED", "Press p"),
        (events.Finished(complete=True), "FINISHED", "All notes are taken"),
        (accepted(Ask(string=3, fret=12), 2.25, 1), "TAKEN", "+2.2 cents"),
    ],
)
def test_what_happened_is_said_in_words(event, heading, words):
    view = a_view()
    view.apply(event)
    text = shown(view, 100, 30)
    assert heading in text
    assert words in text


def test_a_long_sentence_goes_on_in_the_next_line():
    view = a_view()
    view.apply(events.WrongNote(ask=Ask(string=3, fret=12), heard=(), text="word " * 25 + "the end"))
    assert "the end" in shown(view, 100, 30)


def test_no_word_is_torn_at_the_end_of_the_line():
    view = a_view()
    words = [f"w{number}" + "x" * (number % 9) for number in range(20)]
    view.apply(events.Again(ask=Ask(string=3, fret=12), reason=" ".join(words)))
    text = shown(view, 80, 24).split()
    assert [word for word in text if word in words] == words


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 30), (140, 50)])
def test_the_last_value_is_not_taken_for_that_of_the_note_asked_for(columns, rows):
    view = a_view()
    view.apply(accepted(Ask(string=3, fret=11), 2.25, 1))
    view.apply(events.Asked(ask=Ask(string=3, fret=12)))
    assert "taken: string 3, fret 11 (F#4)" in shown(view, columns, rows)
    view.apply(events.Begun())
    view.apply(events.Running(deviation_cents=1.0, u_cents=0.2, settled=0.3))
    assert "taken:" not in shown(view, columns, rows)


def test_the_deviation_grows_with_the_screen_and_keeps_its_size_as_it_moves():
    def rows_of(value, columns, rows):
        lines = shown(a_view(deviation_cents=value, deviation_of=ASK, settled=0.0), columns, rows).splitlines()
        return sum(bool(re.search("[█▀▄]", line[columns - 40 :])) for line in lines[2 : rows // 2])

    assert rows_of(-8.8, 140, 50) > rows_of(-8.8, 80, 24) >= 4
    assert {rows_of(value, 140, 50) for value in (-18.8, 8.0, 0.8, -2.8)} == {rows_of(-8.8, 140, 50)}


def test_drift_stays_on_the_screen_until_another_string_is_played():
    view = a_view()
    view.apply(accepted(Ask(string=3, fret=0, check=True), -4.0, 1))
    view.apply(events.Drifted(string=3, cents=-4.0, text="String 3 has moved by -4.0 cents."))
    view.apply(events.StringFinished(string=3))
    view.apply(events.Asked(ask=Ask(string=2, fret=0)))
    assert "has moved" in shown(view, 100, 30)
    view.apply(accepted(Ask(string=2, fret=0), 0.0, 2))
    assert "has moved" not in shown(view, 100, 30)


def test_a_pluck_gone_back_to_leaves_the_neck():
    view = a_view()
    view.apply(accepted(Ask(string=3, fret=1), 4.0, 5))
    assert view.cells[3, 1].cents == 4.0
    view.apply(events.SteppedBack(step=1, ask=Ask(string=3, fret=1), withdrawn=(5,)))
    assert view.cells[3, 1].cents is None


def test_a_judged_note_shows_what_the_result_will():
    view = a_view()
    view.apply(accepted(Ask(string=3, fret=1), 4.0, 5))
    view.judged = {(3, 1): Cell(2.6, "undecided"), (3, 2): Cell(1.0, "pass")}
    assert view.cells[3, 1] == Cell(2.6, "undecided")
    assert view.cells[3, 2].cents is None  # not plucked in this plan yet


def test_both_strings_of_a_pair_and_the_press_test_say_what_to_do():
    neck = make_neck(courses={3: 1, 4: 1})
    view = BenchView(neck=neck, plan=make_plan(neck), ask=Ask(string=3, fret=5, press="firm"))
    text = shown(view, 100, 30)
    assert "PRESS FIRMLY" in text
    assert "damp string 4" in text


@pytest.mark.parametrize("rows", [3, 5, 10, 15, 24])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_every_figure_has_its_height_and_width_and_its_own_shape(rows, ascii_only):
    figures = {}
    for character in "0123456789+-.":
        lines = big_text(character, rows, ascii_only=ascii_only)
        assert len(lines) == rows
        assert {len(line) for line in lines} == {big_width(character, rows)}
        assert any(line.strip() for line in lines)
        figures[character] = tuple(lines)
    if rows >= 5:
        assert len(set(figures.values())) == len(figures)


def test_a_figure_needs_three_rows():
    with pytest.raises(ValueError, match="rows = 2 is too few"):
        big_text("1", 2)


def test_durations():
    assert duration_words(305.4) == "5:05 min"


def test_keys_of_several_characters_are_no_commands():
    assert commands_in("b\x1b[A s\x1bOPq\x1b[15~B") == ["back", "again", "skip", "stop", "back"]


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_no_more_than_ten_frames_in_any_second_and_what_happened_is_shown_at_once():
    clock = Clock()
    display = ScreenDisplay(BenchScreen(a_view()), io.StringIO(), clock=clock)
    drawn_at = []
    with display:
        for tick in range(1000):  # ten seconds, a block every 10 ms
            clock.now = tick / 100
            if tick % 40 == 7:
                display.apply(events.Begun())
            before = display.draws
            display.draw()
            if display.draws > before:
                drawn_at.append(clock.now)
            if tick % 40 == 7:
                assert drawn_at[-1] == clock.now
    for first in drawn_at:
        assert sum(first <= at < first + 0.999 for at in drawn_at) <= MOST_DRAWS_A_SECOND


def test_running_values_are_wanted_when_they_would_be_shown_and_leave_room_for_what_happens():
    clock = Clock()
    display = ScreenDisplay(BenchScreen(a_view()), io.StringIO(), clock=clock)
    shown_at, late = [], []
    with display:
        for tick in range(1000):  # ten seconds, a running value with every block it is wanted for
            clock.now = tick / 100
            if display.wants_running:
                display.apply(events.Running(deviation_cents=1.0, u_cents=0.1, settled=0.5))
                display.draw()
                shown_at.append(clock.now)
            if tick % 100 == 57:  # and something happens once a second
                before = display.draws
                display.apply(events.Begun())
                display.draw()
                late.append(display.draws == before)
    assert max(b - a for a, b in itertools.pairwise(shown_at)) <= 0.25
    assert display.draws <= MOST_DRAWS_A_SECOND * 10
    assert not any(late)
    assert not BenchLines(a_view(), io.StringIO()).wants_running


def test_the_terminal_decides_on_the_size_not_the_environment(monkeypatch):
    pty, termios, fcntl = (pytest.importorskip(name) for name in ("pty", "termios", "fcntl"))
    monkeypatch.setenv("COLUMNS", "70")
    monkeypatch.setenv("LINES", "18")
    monkeypatch.setenv("TERM", "xterm-256color")
    outer, inner = pty.openpty()
    sizes = []

    class Sized:
        def lines(self, width, height, _glyphs):
            sizes.append((width, height))
            return [Text()] * height

    clock = Clock()
    with os.fdopen(outer, "rb", buffering=0), os.fdopen(inner, "w", encoding="utf-8") as terminal:
        fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        with ScreenDisplay(BenchScreen(a_view()), terminal, clock=clock) as display:
            display._picture = Sized()
            for rows, columns in ((30, 100), (24, 80), (50, 140)):
                fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
                clock.now += 1.0
                display.draw()
                assert sizes[-1] == (columns, rows)


def test_only_lines_that_changed_are_written_and_all_of_them_now_and_then(monkeypatch):
    pty, termios, fcntl = (pytest.importorskip(name) for name in ("pty", "termios", "fcntl"))
    monkeypatch.setenv("TERM", "xterm-256color")
    outer, inner = pty.openpty()
    os.set_blocking(outer, False)
    view, clock = a_view(), Clock()

    def written():
        parts = []
        with suppress(BlockingIOError):
            while True:
                parts.append(os.read(outer, 1 << 16))
        return b"".join(parts)

    def rows_written(display):
        clock.now += 0.25
        display.draw()
        return [int(row) for row in re.findall(rb"\x1b\[(\d+);1H", written())]

    with os.fdopen(inner, "w", encoding="utf-8") as terminal:
        fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        with ScreenDisplay(BenchScreen(view), terminal, clock=clock) as display:
            everything = rows_written(display)
            assert everything == list(range(1, 25))
            view.level_db = -20.0
            assert 1 <= len(rows_written(display)) <= 2
            display.apply(events.Running(deviation_cents=12.0, u_cents=0.1, settled=0.5))
            assert 2 <= len(rows_written(display)) < 12
            fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 25, 80, 0, 0))
            assert rows_written(display) == list(range(1, 26))
            clock.now += WHOLE_EVERY_S
            assert rows_written(display) == list(range(1, 26))
        left = written()
        assert b"\x1b[?1049l" in left  # the terminal's own page is back
        assert b"\x1b[?25h" in left  # and its cursor
    os.close(outer)


def test_lines_say_what_happens():
    stream = io.StringIO()
    lines = BenchLines(a_view(), stream)
    lines.apply(events.Asked(ask=Ask(string=3, fret=12)))
    lines.apply(events.Begun())
    lines.apply(accepted(Ask(string=3, fret=12), 2.25, 1))
    lines.apply(events.Finished(complete=True))
    assert stream.getvalue().splitlines() == [
        "pluck     string 3, fret 12 (G4)",
        "taken     string 3, fret 12 (G4)  +2.25 cents",
        "finished  all notes are taken",
    ]


def test_a_string_that_is_tuned_up_shows_how_far_it_is_off_in_the_largest_figures():
    view = a_view(ask=Ask(string=3, fret=0))
    view.apply(events.OutOfTune(ask=view.ask, cents=-12.3, text="String 3 (G3) is 12 cents flat: tighten it."))
    text = shown(view, 100, 30)
    assert "STRING 3 OPEN   G3   CENTS FLAT" in text
    assert "TUNE UP  String 3 (G3) is 12 cents flat: tighten it." in text
    size = next(rows for rows in range(24, 3, -1) if big_text("-12", rows)[0] in text)
    assert size >= 12  # rows; those of string and fret are 15 high here
    view.apply(accepted(view.ask, 0.4, 1))
    assert "CENTS FLAT" not in shown(view, 100, 30)


def test_going_back_by_the_open_string_is_offered_only_while_it_would():
    view = a_view()
    assert "one back" not in shown(view, 100, 30)
    view.apply(accepted(ASK, 0.4, 1))
    assert "open string twice: one back" in shown(view, 100, 30)
    view.apply(events.Again(ask=ASK, reason="Once more."))
    assert "one back" not in shown(view, 100, 30)


def test_why_a_pluck_was_not_taken_is_said_in_large_type():
    view = a_view()
    view.apply(events.WrongNote(ask=ASK, heard=((3, 11),), text="Heard string 3, fret 11 (F#4). Wanted: string 3, fret 12 (G4)."))
    for columns, rows in ((80, 24), (100, 30), (200, 50)):
        text = shown(view, columns, rows)
        # figures of five rows are about 2.5 cm high in a usual terminal
        assert any(all(row in text for row in big_text("FRET 11", size)) for size in range(5, 11)), (columns, rows)
    view.apply(events.Again(ask=ASK, reason="Two strings are sounding; damp the others.", short="TWO STRINGS"))
    assert any(all(row in shown(view, 100, 30) for row in big_text("TWO STRINGS", size)) for size in range(5, 11))
    view.apply(accepted(ASK, 0.1, 1))
    assert "1 E4" in shown(view, 80, 24)  # the neck is back


@pytest.mark.parametrize("columns", [60, 80, 100, 200])
def test_a_warning_is_never_cut_off(columns):
    view = a_view(warning="String 3 has moved by +4.2 cents since its first open pluck. Let it settle; check the tuner.")
    view.apply(events.Again(ask=ASK, reason="The note was stopped before it could be read; let it ring for at least a second."))
    words = " ".join(shown(view, columns, 30).split())
    assert view.warning in words
    assert "let it ring for at least a second." in words


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 30), (200, 50)])
def test_the_level_is_there_for_pairs_of_strings_too(columns, rows):
    neck = make_neck(courses={3: 1, 4: 1})
    view = BenchView(neck=neck, plan=make_plan(neck), level_db=-30.0, deviation_cents=2.3, u_cents=0.4)
    view.apply(events.Asked(ask=ASK))
    text = shown(view, columns, rows)
    assert "pair: damp string 4" in text
    assert "level   █" in text


def test_the_deviation_fills_a_wide_screen():
    view = a_view(deviation_cents=2.3, u_cents=0.4)
    lines = shown(view, 200, 50).splitlines()
    assert max(len(line.rstrip()) for line in lines[2:23]) > 160  # of 200 columns; they were used to 100
