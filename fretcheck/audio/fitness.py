"""Is what comes through an input fit to measure by? Signal, noise floor, hum and clipping, while someone plucks.

Conventions: levels in dB are RMS against full scale (a full-scale sine is −3 dB). The signal is a pluck's level from 0.05 to
0.35 s after its onset. Hum is what stands at the mains frequency and its first harmonics in the quiet before a pluck. Unknown
is None. The limits are common practice, no source; they match what the estimator needs to stay within a few tenths of a cent.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import log10
from typing import Literal

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.pluck import Pluck
from fretcheck.audio.segment.segmenter import Event, Segmenter
from fretcheck.audio.segment.tape import Tape

Grade = Literal["fit", "poor", "unfit"]

MAINS_HZ = (50.0, 60.0)
HUM_HARMONICS = 6
QUIET_S = 0.5  # Stretch of quiet in which hum is looked for: 2 Hz of resolution
GOOD_SNR_DB, LEAST_SNR_DB = 40.0, 25.0
QUIETEST_SIGNAL_DB = -50.0  # A weaker signal loses to the converter's own noise; the input should be turned up
HUM_BELOW_SIGNAL_DB, LEAST_HUM_BELOW_DB = 40.0, 25.0
SOME_CLIPPING, MUCH_CLIPPING = 1e-5, 1e-2
DC_LIMIT = 0.02


@dataclass(frozen=True)
class Remark:
    """One of the things checked."""

    what: Literal["signal", "noise", "hum", "clipping", "dc"]
    grade: Grade
    sentence: str


@dataclass(frozen=True)
class Fitness:
    """What was heard, and what it means."""

    seconds: float
    plucks: int
    signal_dbfs: float | None
    noise_dbfs: float | None
    snr_db: float | None
    hum_dbfs: float | None
    mains_hz: float | None
    clipped_fraction: float | None
    dc: float | None
    all_zero: bool

    @cached_property
    def remarks(self) -> tuple[Remark, ...]:
        return tuple(_remarks(self))

    @property
    def grade(self) -> Grade | None:
        """The worst of the remarks; None when no pluck was heard and nothing is wrong otherwise."""
        grades = {remark.grade for remark in self.remarks}
        if "unfit" in grades:
            return "unfit"
        if self.plucks == 0:
            return None
        return "poor" if "poor" in grades else "fit"


class FitnessCheck:
    """Fed with blocks; `finish` gives the result."""

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self.segmenter = Segmenter(sample_rate, longest_s=1.0)
        self._quiet = Tape()
        self._frames = 0
        self._sum = 0.0
        self._all_zero = True
        self._plucks: list[Pluck] = []
        self._hum: tuple[float, float] | None = None

    def push(self, block: Block) -> None:
        self._all_zero = self._all_zero and not block.samples.any()
        self._frames += len(block.samples)
        self._sum += float(block.samples.sum())
        was_quiet = self.segmenter.ringing_from is None
        self._take(self.segmenter.push(block))
        if was_quiet and self.segmenter.ringing_from is None:
            self._quiet.append(block.samples)
            self._quiet.forget_before(self._quiet.end - round(QUIET_S * self._rate))
            if self._quiet.end - self._quiet.start >= round(QUIET_S * self._rate):
                quiet = self._quiet.copy(self._quiet.start, self._quiet.end)
                found = max((hum_power(quiet, self._rate, mains), mains) for mains in MAINS_HZ)
                # the least of any quiet stretch: what merely happened to sound at 100 Hz is no hum
                self._hum = found if self._hum is None else min(found, self._hum)
        else:
            self._quiet = Tape()

    def finish(self) -> Fitness:
        """The stream has ended: what can be said of it."""
        self._take(self.segmenter.finish())
        levels = [_signal_power(pluck) for pluck in self._plucks]
        signal = _db(max(levels)) if levels else None
        floor = self.segmenter.noise_floor_rms
        noise = None if floor is None else _db(floor**2)
        return Fitness(
            seconds=self._frames / self._rate,
            plucks=len(self._plucks),
            signal_dbfs=signal,
            noise_dbfs=noise,
            snr_db=None if signal is None or noise is None else signal - noise,
            hum_dbfs=None if self._hum is None else _db(self._hum[0]),
            mains_hz=None if self._hum is None else self._hum[1],
            clipped_fraction=max((pluck.clipped_fraction for pluck in self._plucks), default=None),
            dc=self._sum / self._frames if self._frames else None,
            all_zero=self._all_zero,
        )

    def _take(self, events: list[Event]) -> None:
        self._plucks += [event for event in events if isinstance(event, Pluck)]


def hum_power(quiet: Reals, sample_rate: float, mains_hz: float) -> float:
    """Power at `mains_hz` and its harmonics in `quiet`, shape ``(frames,)``, above what lies between them."""
    window = np.hanning(len(quiet))
    power = np.abs(np.fft.rfft((quiet - quiet.mean()) * window)) ** 2 * 2.0 / (len(quiet) * float(np.sum(window**2)))
    step = sample_rate / len(quiet)
    total = 0.0
    for harmonic in range(1, HUM_HARMONICS + 1):
        centre = round(harmonic * mains_hz / step)
        if centre + 8 >= len(power):
            break
        line = power[centre - 2 : centre + 3]
        beside = np.concatenate((power[centre - 8 : centre - 3], power[centre + 4 : centre + 9]))
        usual = float(np.median(beside)) / 0.7  # median of a noise bin is 0.7 of its mean
        total += max(0.0, float(line.sum()) - len(line) * usual)
    return total


def _signal_power(pluck: Pluck) -> float:
    begin, end = (round(seconds * pluck.sample_rate) for seconds in (0.05, 0.35))
    return float(np.var(pluck.samples[begin:end]))


def _db(power: float) -> float:
    return 10.0 * log10(max(power, 1e-14))


def _remarks(heard: Fitness) -> Iterator[Remark]:
    if heard.all_zero:
        yield Remark("signal", "unfit", "Nothing but zeros comes: the input is muted, or nothing is connected to it.")
        return
    signal, clipped = heard.signal_dbfs, heard.clipped_fraction
    if signal is not None and signal < QUIETEST_SIGNAL_DB:
        yield Remark("signal", "poor", "The signal is weak; turn the input up or move the microphone closer.")
    if heard.snr_db is not None and heard.snr_db < LEAST_SNR_DB:
        yield Remark("noise", "unfit", "The strings hardly stand out of the noise; move closer or quieten the room.")
    elif heard.snr_db is not None and heard.snr_db < GOOD_SNR_DB:
        yield Remark("noise", "poor", "The room is noisy against the strings; readings will be less certain.")
    if signal is not None and heard.hum_dbfs is not None and (below := signal - heard.hum_dbfs) < HUM_BELOW_SIGNAL_DB:
        sentence = f"Mains hum at {heard.mains_hz:.0f} Hz; move the cable or instrument from its source, or turn it."
        yield Remark("hum", "unfit" if below < LEAST_HUM_BELOW_DB else "poor", sentence)
    if clipped is not None and clipped > SOME_CLIPPING:
        grade: Grade = "unfit" if clipped > MUCH_CLIPPING else "poor"
        yield Remark("clipping", grade, "The input clips on loud plucks; turn it down.")
    if heard.dc is not None and abs(heard.dc) > DC_LIMIT:
        yield Remark("dc", "poor", "The input has a constant offset; check the cable and the interface.")
