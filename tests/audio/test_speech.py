"""The voice: a process of its own that reads words and writes a sound."""

from __future__ import annotations

import importlib.util
import sys

import numpy as np
import pytest

from fretcheck.audio import speech
from fretcheck.audio.cues import LOUDEST
from fretcheck.audio.speech import SpokenPrompts
from fretcheck.errors import UsageError


@pytest.fixture
def voice(monkeypatch):
    if importlib.util.find_spec("pyttsx3") is None:
        pytest.skip("pyttsx3 is not installed")
    try:
        made = SpokenPrompts()
    except UsageError as error:
        pytest.skip(str(error))
    yield made
    made.close()


def test_words_become_a_sound_of_moderate_level_at_the_output_s_rate(voice):
    for rate in (44_100.0, 48_000.0):
        short, long = (voice._samples(text, rate) for text in ("Fret 5.", "String 3, fret 5. Plus two, then once more."))
        assert 0.3 < len(short) / rate < 2.0  # two words are not spoken in less than a third of a second, nor take two
        assert len(long) > 2 * len(short)
        assert np.max(np.abs(long)) == pytest.approx(LOUDEST, rel=0.01)  # between two samples


def test_is_sounding_from_the_word_given_until_it_is_over(voice, monkeypatch):
    """No loudspeaker here: the words fail, are given up with a reason, and the session would go on silent."""
    monkeypatch.setattr(speech.SpokenPrompts, "_sound", lambda self, text: self._samples(text, 8000.0) is None or None)
    assert not voice.is_sounding
    voice.say("String 3, fret 5.")
    assert voice.is_sounding
    voice.close()
    assert voice.failure is None


@pytest.mark.parametrize(
    ("missing", "cure"),
    [("pyttsx3", r"pip install 'fretcheck\[speech\]'"), ("an engine", "no voice")],
    ids=["no package", "no engine"],
)
def test_without_a_voice_there_is_one_line_with_the_cure(missing, cure, monkeypatch, tmp_path):
    body = "raise ImportError('none')" if missing == "pyttsx3" else "def init():\n    raise OSError('libespeak: cannot open')"
    (tmp_path / "pyttsx3.py").write_text(body)
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}{':' if sys.platform != 'win32' else ';'}{':'.join(sys.path)}")
    with pytest.raises(UsageError, match=cure) as told:
        SpokenPrompts()
    assert "\n" not in str(told.value)
