"""Spoken prompts, for a player whose eyes are on the instrument: the system's own voice through pyttsx3, played as cues are.

A voice's engine may want a main thread of its own, or hang: it runs in a process of its own, which reads a line of text and
writes a sound file. The sound is then played by this program, which so knows to the moment how long it sounds.
"""

import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.cues import LOUDEST, Cue, SpeakerCues
from fretcheck.errors import UsageError

WORDS_A_MINUTE = 190  # A little quicker than the engines' own 200 of short prompts sounds, and still clear at the bench. Judged.
SECONDS_A_LETTER = 0.1  # No voice takes longer: after that, and what cues are given, it hangs
_READY, _SAID, _FAILED = "ready", "said", "failed"


class SpokenPrompts(SpeakerCues):
    """Speaks through an output device instead of playing tones, in a thread of its own.

    Raises UsageError without a voice: one line with the cure.
    """

    def __init__(self) -> None:
        self._folder = TemporaryDirectory(prefix="fretcheck-speech-")
        self._voice = subprocess.Popen(
            [sys.executable, "-m", "fretcheck.audio.speech", self._folder.name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
        )
        state, _, why = self._answer().partition(" ")
        if state != _READY:
            self._end_voice()
            raise UsageError(f"--speak: {why or 'the voice did not start'}; or leave --speak out, tones tell as much")
        super().__init__()

    def play(self, cue: Cue) -> None:
        """No tones: words say more."""

    def say(self, text: str) -> None:
        """Let `text` sound after what is already waiting."""
        self._let_sound(text, SECONDS_A_LETTER * len(text) + 1.0)

    def close(self) -> None:
        """Let what waits finish, but not for ever."""
        super().close()
        self._end_voice()

    def _end_voice(self) -> None:
        self._voice.kill()
        with suppress(OSError), self._voice:  # closes its pipes and waits
            pass
        self._folder.cleanup()

    def _answer(self) -> str:
        assert self._voice.stdout is not None
        return self._voice.stdout.readline().strip()

    def _samples(self, item: Cue | str, sample_rate: float) -> Reals:
        assert self._voice.stdin is not None
        self._voice.stdin.write(" ".join(str(item).split()) + "\n")
        self._voice.stdin.flush()
        state, _, rest = self._answer().partition(" ")
        if state != _SAID:
            raise OSError(rest or "the voice ended")
        return _played_at(Path(rest), sample_rate)


def _played_at(path: Path, sample_rate: float) -> Reals:
    """The sound in a file at another rate, its loudest moment at `LOUDEST`."""
    import soundfile

    sound, rate = soundfile.read(path, dtype="float64", always_2d=True)
    path.unlink()
    mono = sound.mean(axis=1)
    times = np.arange(round(len(mono) * sample_rate / rate)) / sample_rate
    return np.asarray(np.interp(times, np.arange(len(mono)) / rate, mono) * (LOUDEST / max(float(np.max(np.abs(mono))), 1e-9)))


def _speak(folder: Path) -> None:
    """The process of the voice: a line of text in, the name of a sound file out."""
    answers, sys.stdout = sys.stdout, sys.stderr  # engines print
    try:
        import pyttsx3

        engine = pyttsx3.init()
        engine.setProperty("rate", WORDS_A_MINUTE)
        _to_file(engine, "ready", folder / "0.wav")
    except ImportError:
        print(f"{_FAILED} speech needs pyttsx3: pip install 'fretcheck[speech]'", file=answers, flush=True)
        return
    except Exception as error:  # noqa: BLE001 - whatever an engine throws, the user gets one line
        cure = " (Debian: apt install espeak-ng)" if sys.platform.startswith("linux") else ""
        print(f"{_FAILED} this system has no voice{cure}: {' '.join(str(error).split())[:80]}", file=answers, flush=True)
        return
    print(_READY, file=answers, flush=True)
    for number, line in enumerate(sys.stdin, start=1):
        path = folder / f"{number}.wav"
        try:
            _to_file(engine, line.strip(), path)
            print(f"{_SAID} {path}", file=answers, flush=True)
        except Exception as error:  # noqa: BLE001 - as above
            print(f"{_FAILED} {' '.join(str(error).split())}", file=answers, flush=True)


def _to_file(engine: object, text: str, path: Path) -> None:
    for _ in range(2):  # on a busy machine an engine now and then returns without having spoken (1 of 4 runs of the tests)
        engine.save_to_file(text, str(path))  # type: ignore[attr-defined]
        engine.runAndWait()  # type: ignore[attr-defined]
        if path.is_file() and path.stat().st_size >= 1000:
            return
    raise OSError("the voice gave no sound")


if __name__ == "__main__":
    _speak(Path(sys.argv[1]))
