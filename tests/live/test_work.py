"""Work on one place on the real capture path: a saddle that is moved between plucks, and the corrections of an inspection.

The truth is that of the synthesis: where the saddle was built, and what its notes then read.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
import soundfile

from fretcheck.register.store import open_register
from tests.live.strings import played, three_string_neck
from tests.live.test_capture import RATE, Bench
from tests.synth.strung_neck import BuiltNeck

pytestmark = pytest.mark.live

NECK = three_string_neck()
STRING, FRETS = 3, (12, 9, 12)
FAR, NEAR = 6.0, 5.2
"""Where the saddle of string 3 was built, mm behind the scale length, before and after a move."""
FURTHER_MM = 3.5
CLOSE_CENTS = 0.6
"""A note beside the truth: its hand's scatter here is 0.3 cents, its open note's less."""
CLOSE_MM = 0.25
"""Of a move heard on three plucks: 0.3 cents each, 2.7 cents a mm at fret 12, what differs between frets besides."""
_LINE = re.compile(r"string 3, fret (\d+) +([+-]\d+\.\d) cents +changed +([+-]\d+\.\d) +(\d+\.\d\d) mm to (bridge|nut)")


@pytest.fixture
def bench(sound_server, terminals, tmp_path):
    return Bench(sound_server, terminals, tmp_path)


def built(saddle_mm, tuned_cents=0.0):
    return BuiltNeck(neck=NECK, saddle_mm={STRING: saddle_mm}, tuning_cents={STRING: tuned_cents})


def in_tune_mm(string):
    """How far behind the scale length a saddle puts its string's octave in tune with the open note, by secant."""
    off = [BuiltNeck(neck=NECK, saddle_mm={string: mm}).deviation_cents(string, 12) for mm in (0.0, 5.0)]
    return 5.0 * off[0] / (off[0] - off[1])


def trail(screen):
    """The plucks on the screen, the newest first: fret, deviation, change, mm to go toward the bridge."""
    found = [one.groups() for one in _LINE.finditer(screen)]
    return [
        (int(fret), float(off), float(change), float(mm) * (1 if way == "bridge" else -1)) for fret, off, change, mm, way in found
    ]


def plucked(bench, neck, seed, known):
    """Play the string open and at the frets; the trail once all of them stand on the screen."""
    bench.play(played(NECK, [(STRING, 0), *((STRING, fret) for fret in FRETS)], built=neck, sample_rate=RATE, seed=seed,
                      hand_cents=0.3))  # fmt: skip
    bench.terminal.wait(
        lambda: len(trail(bench.terminal.screen())) >= known + len(FRETS), lambda: f"the plucks in:\n{bench.terminal.screen()}"
    )
    return trail(bench.terminal.screen())


def test_a_saddle_moved_between_plucks(bench, monkeypatch):
    terminal = bench.terminal
    terminal.resize(140, 44)
    monkeypatch.setenv("FRETCHECK_DATA", str(bench.data))
    terminal.run("work", str(bench.neck), "--part", "saddle", "--string", "3", "--device", "bench", "--no-cues")
    terminal.wait_for("PLUCK")
    before = plucked(bench, built(FAR), 1, 0)
    after = plucked(bench, built(NEAR, tuned_cents=6.0), 2, len(FRETS))
    for (fret, off, change, _), neck in [*((one, built(NEAR)) for one in after[:3]), *((one, built(FAR)) for one in before)]:
        assert off == pytest.approx(neck.deviation_cents(STRING, fret), abs=CLOSE_CENTS)
        if neck.saddle_mm[STRING] == NEAR:
            moved = neck.deviation_cents(STRING, fret) - built(FAR).deviation_cents(STRING, fret)
            assert change == pytest.approx(moved, abs=2 * CLOSE_CENTS)
    assert after[0][3] - before[0][3] == pytest.approx(FAR - NEAR, abs=CLOSE_MM)
    assert re.search(r"last plucks", terminal.screen())
    terminal.press("q")
    assert terminal.exit_code() == 0
    assert "Kept as fragment" in terminal.printed()
    with open_register(str(bench.data), create=False) as store:
        document = store.load(re.search(r"Kept as fragment (\S+)\.", terminal.printed())[1])
    assert document.verdict.decision is None
    heard = [one for one in document.readings if one.used and one.fret > 0]
    assert [one.fret for one in heard] == list(FRETS)  # how the work ended: nothing of the saddle's place before
    story = bench.story()
    assert story.complete
    assert len(story.accepted) == 8  # and yet every pluck is in the journal


def test_it_leads_through_the_corrections_and_the_fragment_is_compared_with_its_inspection(bench, tmp_path):
    """The inspection is from recordings: all saddles where their octaves are in tune but string 3's, 3.5 mm behind."""
    in_tune = {string: in_tune_mm(string) for string in (1, 2, 3)}
    asked = {**in_tune, STRING: in_tune[STRING] + FURTHER_MM}
    environment = {**bench.server.environment, "FRETCHECK_DATA": str(bench.data)}

    def run(*arguments):
        command = [sys.executable, "-m", "fretcheck", *arguments]
        return subprocess.run(command, env=environment, capture_output=True, text=True, timeout=120, check=False)

    folder = tmp_path / "recorded"
    folder.mkdir()
    for string in (1, 2, 3):
        places = [(string, fret) for fret in (*range(13), 5, 9, 0)]  # two notes twice: the hand is then known, not assumed
        neck = BuiltNeck(neck=NECK, saddle_mm=asked)
        sound = played(NECK, places, built=neck, sample_rate=24000.0, seed=string, hand_cents=0.3)
        soundfile.write(folder / f"string-{string}.wav", sound.samples, 24000, subtype="PCM_24")
    inspected = json.loads(run("inspect", str(bench.neck), "--from", str(folder), "--tolerance", "6", "--json").stdout)
    moves = [(move["part"], move["string"]) for step in inspected["corrections"] for move in step["moves"]]
    assert ("saddle", 3) in moves
    step = str(moves.index(("saddle", 3)) + 1)
    terminal = bench.terminal
    terminal.resize(140, 44)
    terminal.run("work", str(bench.neck), "--after", inspected["id"], "--step", step, "--device", "bench", "--no-cues")
    terminal.wait_for("saddle of string 3")
    plucked(bench, built(in_tune[STRING]), 4, 0)
    terminal.press("q")
    terminal.exit_code()
    fragment = re.search(r"Kept as fragment (\S+)\.", terminal.printed())[1]
    compared = json.loads(run("compare", inspected["id"], fragment, "--json").stdout)
    assert {(one["string"], one["fret"]) for one in compared["notes"]} == {(3, 9), (3, 12)}
    assert all(one["changed"] for one in compared["notes"])
    octave = next(one["change_cents"] for one in compared["notes"] if one["fret"] == 12)
    assert octave == pytest.approx(FURTHER_MM * 2.7, abs=1.5)  # 1731 cents over 648 mm; a hand's 0.3, and both posteriors' shares
    with open_register(str(bench.data), create=False) as store:
        assert store.load(fragment).conditions.follows == inspected["id"]
