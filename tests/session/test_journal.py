"""The journal: what was accepted survives a torn line, a full disk and a second window."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from fretcheck.errors import StorageError, UsageError
from fretcheck.pitch.remarks import Remark
from fretcheck.session.journal.journal import Journal
from fretcheck.session.journal.sounds import flac_bytes, on_grid, read_flac
from fretcheck.session.journal.story import JOURNAL_NAME, find_session, find_unfinished, pluck_from, read_story
from fretcheck.session.placed_reading import Reading, SoundSetAside
from fretcheck.session.plan import make_plan
from tests.session.bench import make_neck, note_at, pluck_of

NECK = make_neck()
PLAN = make_plan(NECK, name="spot", strings=[3])


def a_taken(step=0, **how):
    ask = PLAN.asks[step]
    return Reading(step=step, ask=ask, start_s=3.0 * step, note=note_at(NECK, ask.string, ask.fret, **how))


def a_session(root, count=3):
    journal = Journal.create(root, NECK, PLAN)
    journal.begin_part(device="a microphone", sample_rate=48000.0)
    taken = [journal.keep(a_taken(step), pluck_of(200.0 + step)) for step in range(count)]
    return journal, taken


def test_what_was_kept_is_read_back_the_same(tmp_path):
    journal, taken = a_session(tmp_path)
    journal.keep(a_taken(3, flags=[Remark.BEATING], inharmonicity=False), pluck_of())
    journal.set_aside(SoundSetAside(string=3, start_s=1.0, end_s=1.5, reason="A knock."))
    journal.skip(4)
    journal.close()
    story, _ = read_story(journal.folder)
    assert story.neck == NECK
    assert story.plan == PLAN
    assert list(story.taken[:3]) == taken
    assert story.taken[3].note.remarks == (Remark.BEATING,)
    assert story.taken[3].note.inharmonicity is None
    assert story.skipped == {4}
    assert story.set_aside[0].reason == "A knock."
    assert not story.complete


def test_a_reading_is_on_the_disk_as_it_was_told(tmp_path):
    with Journal.create(tmp_path, NECK, PLAN) as journal:
        taken = a_taken()
        journal.keep(taken, pluck_of())
        (read,) = read_story(journal.folder)[0].accepted
        assert read.note == taken.note


def test_the_sound_is_beside_it_bit_for_bit(tmp_path):
    rng = np.random.default_rng(5)
    pluck = replace(pluck_of(), samples=on_grid(rng.uniform(-1.1, 1.1, 9600)))
    journal = Journal.create(tmp_path, NECK, PLAN)
    kept = journal.keep(a_taken(), pluck)
    samples, rate = read_flac(journal.folder / kept.sound_file)
    assert rate == 48000.0
    np.testing.assert_array_equal(samples, pluck.samples)
    again = pluck_from(samples, rate, read_story(journal.folder)[0].plucks[1])
    assert (again.settled_from, again.noise_rms, again.end) == (pluck.settled_from, pluck.noise_rms, pluck.end)


@given(npst.arrays(np.float64, st.integers(1, 300), elements=st.floats(-1.0, 1.0)))
def test_rounding_to_the_grid_moves_a_sample_by_no_more_than_half_a_step(samples):
    rounded = on_grid(samples)
    assert np.all(np.abs(rounded - samples) <= 2.0**-23)  # half a step, and a whole one at positive full scale
    np.testing.assert_array_equal(on_grid(rounded), rounded)


def test_flac_of_the_edges_of_full_scale(tmp_path):
    samples = on_grid(np.array([1.0, -1.0, 0.0, 2.0**-23]))
    (tmp_path / "edges.flac").write_bytes(flac_bytes(samples, 44100.0))
    np.testing.assert_array_equal(read_flac(tmp_path / "edges.flac")[0], samples)


def test_the_line_is_on_the_disk_when_keep_returns(tmp_path, monkeypatch):
    journal = Journal.create(tmp_path, NECK, PLAN)
    order = []
    sync = os.fsync

    def noted(handle):
        order.append((len((journal.folder / JOURNAL_NAME).read_bytes()), len(list((journal.folder / "sounds").iterdir()))))
        sync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    before = (journal.folder / JOURNAL_NAME).stat().st_size
    journal.keep(a_taken(), pluck_of())
    size = (journal.folder / JOURNAL_NAME).stat().st_size
    # the sound's file, then its folder, each synced while the line is not yet written; the line last
    assert order == [(before, 1), (before, 1), (size, 1)]


@pytest.mark.parametrize("cut", [1, 2, 40, 200])
def test_a_torn_last_line_is_cut_off_and_the_session_goes_on(tmp_path, cut):
    journal, taken = a_session(tmp_path)
    journal.close()
    path = journal.folder / JOURNAL_NAME
    path.write_bytes(path.read_bytes()[:-cut])
    with Journal.open(journal.folder) as again:
        assert list(again.story.taken) == taken[:2]
        again.begin_part(device="a microphone", sample_rate=44100.0)
        kept = again.keep(a_taken(2), pluck_of())
    story, size = read_story(journal.folder)
    assert size == path.stat().st_size
    assert story.taken == (*taken[:2], kept)


def test_any_cut_leaves_a_prefix_of_what_was_accepted(tmp_path):
    journal, taken = a_session(tmp_path)
    journal.close()
    path = journal.folder / JOURNAL_NAME
    content = path.read_bytes()
    header = content.index(b"\n") + 1
    ends = [i + 1 for i, byte in enumerate(content) if byte == 10]
    for cut in range(header, len(content) + 1, 37):
        path.write_bytes(content[:cut])
        story, _ = read_story(journal.folder)
        whole = sum(end <= cut for end in ends) - 2  # header and part are not plucks
        assert list(story.taken) == taken[: max(0, whole)]


def test_a_tail_of_zeros_as_a_power_loss_leaves_it_is_cut_off(tmp_path):
    journal, taken = a_session(tmp_path)
    journal.close()
    path = journal.folder / JOURNAL_NAME
    path.write_bytes(path.read_bytes() + bytes(512))
    with Journal.open(journal.folder) as again:
        assert list(again.story.taken) == taken


def test_damage_before_the_last_line_is_not_passed_over(tmp_path):
    journal, _ = a_session(tmp_path)
    journal.close()
    path = journal.folder / JOURNAL_NAME
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = lines[2][:50] + b"\n"
    path.write_bytes(b"".join(lines))
    with pytest.raises(StorageError, match="line 3 is damaged"):
        Journal.open(journal.folder)


def test_a_full_disk_loses_nothing_that_was_accepted(tmp_path, monkeypatch):
    journal, taken = a_session(tmp_path)
    write = os.write

    def half(handle, content):
        if handle == journal._handle:
            write(handle, content[: len(content) // 2])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(handle, content)

    monkeypatch.setattr(os, "write", half)
    with pytest.raises(StorageError, match=r"No space left on device.*safe") as caught:
        journal.keep(a_taken(3), pluck_of())
    assert caught.value.exit_code == 4
    monkeypatch.undo()
    assert read_story(journal.folder)[0].taken == tuple(taken)
    assert journal.keep(a_taken(3), pluck_of()).number == 4  # room again: it goes on


@pytest.mark.skipif(sys.platform != "linux", reason="needs a file size limit")
def test_a_disk_that_is_really_full(tmp_path):
    """A file size limit of the operating system stands in for the full disk: the write fails where it really would."""
    program = f"""
import resource, signal
from pathlib import Path
from fretcheck.errors import StorageError
from tests.session.test_journal import a_session, a_taken, pluck_of
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
journal, taken = a_session(Path({str(tmp_path)!r}))
size = (journal.folder / "journal.jsonl").stat().st_size
resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100, size + 100))
try:
    journal.keep(a_taken(3), pluck_of(seconds=0.001))
except StorageError as error:
    print(error)
"""
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert "can't be written (" in result.stdout
    assert len(result.stdout.splitlines()) == 1
    (folder,) = tmp_path.iterdir()
    assert len(read_story(folder)[0].taken) == 3


def test_withdrawn_plucks_no_longer_count_but_stay(tmp_path):
    journal, taken = a_session(tmp_path)
    journal.withdraw((2,))
    story, _ = read_story(journal.folder)
    assert [t.number for t in story.taken] == [1, 3]
    assert (journal.folder / taken[1].sound_file).exists()
    assert journal.keep(a_taken(1), pluck_of()).number == 4


def test_a_second_window_is_refused(tmp_path):
    journal, _ = a_session(tmp_path)
    with pytest.raises(StorageError, match="open in another program or window"):
        Journal.open(journal.folder)
    journal.close()
    Journal.open(journal.folder).close()


def test_a_resumed_part_follows_after_what_was_heard(tmp_path):
    begun = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    with Journal.create(tmp_path, NECK, PLAN, now=begun) as journal:
        assert journal.begin_part(device="a", sample_rate=48000.0, now=begun) == 0.0
        journal.keep(replace(a_taken(), start_s=30.0), pluck_of())
        assert journal.begin_part(device="a", sample_rate=48000.0, now=begun + timedelta(minutes=10)) == 600.0
        # a clock that was set back must not put what follows before what was heard
        assert journal.begin_part(device="a", sample_rate=48000.0, now=begun - timedelta(hours=1)) == 600.0


def test_the_newest_unfinished_session_of_a_neck_is_found(tmp_path):
    journal, _ = a_session(tmp_path)
    journal.close()
    assert find_unfinished(tmp_path, NECK) == journal.folder
    with Journal.open(journal.folder) as again:
        again.finish(complete=True)
    with pytest.raises(UsageError, match="no interrupted session of 'Bench neck'"):
        find_unfinished(tmp_path, NECK)


def test_of_several_unfinished_sessions_one_is_taken_by_name(tmp_path):
    first, second = (a_session(tmp_path)[0] for _ in range(2))
    first.close()
    second.close()
    with pytest.raises(UsageError, match=f"2 interrupted sessions of 'Bench neck': .*{first.folder.name}.*say which"):
        find_unfinished(tmp_path, NECK)
    assert find_unfinished(tmp_path, NECK, session_id=first.folder.name) == first.folder
    with pytest.raises(UsageError, match="no interrupted session 'x'"):
        find_unfinished(tmp_path, NECK, session_id="x")


def test_a_neck_that_changed_is_not_resumed(tmp_path):
    a_session(tmp_path)[0].close()
    with pytest.raises(UsageError, match="other frets or strings"):
        find_unfinished(tmp_path, make_neck(frets=21))


@pytest.mark.parametrize("name", ["none", "../elsewhere", ""])
def test_an_unknown_session_is_refused(tmp_path, name):
    with pytest.raises(UsageError, match="no session"):
        find_session(tmp_path, name)


def test_a_folder_that_cannot_be_written_is_one_clear_line(tmp_path):
    (tmp_path / "sessions").write_text("a file where the folder should be")
    with pytest.raises(StorageError, match="a session can't be kept here"):
        Journal.create(tmp_path / "sessions", NECK, PLAN)


def test_every_line_is_json(tmp_path):
    journal, _ = a_session(tmp_path)
    kinds = [json.loads(line)["kind"] for line in (journal.folder / JOURNAL_NAME).read_text("utf-8").splitlines()]
    assert kinds == ["session", "part", "accepted", "accepted", "accepted"]
