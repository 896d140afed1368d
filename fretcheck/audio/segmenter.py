"""Cuts plucks out of a stream of blocks, live or recorded.

An onset is a sudden rise, over its own recent maximum, of many bands at once (see `hops`). A pluck lasts from there to the
next onset, to the hand that stops it, or until it has decayed into the room's noise. What does not behave like a string
(see `character`) is set aside with a reason; whether it *is* the string that was asked for, its pitch decides elsewhere.

Conventions
-----------
Frames count from the start of the stream. Each `Onset` is followed, before the next one, by exactly one `Pluck` or
`SetAside`; the pluck may start up to 0.1 s after its onset, where a finger or a plectrum was heard touching the string
first. The result does not depend on how the stream was cut into blocks.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from math import log10, sqrt

import numpy as np
from numpy.typing import NDArray

from fretcheck.audio.character import speaks_against_string
from fretcheck.audio.clipping import clipped_fraction
from fretcheck.audio.hops import HOP_S, RECENT, HopAnalyser
from fretcheck.audio.pluck import EndReason, Onset, Pluck, SetAside
from fretcheck.audio.room import QUIETEST, STANDS_OUT, Room
from fretcheck.audio.source import Block, Samples
from fretcheck.audio.tape import Tape
from fretcheck.errors import UsageError

Event = Onset | Pluck | SetAside
Bands = NDArray[np.float64]


def _hops(seconds: float) -> int:
    return round(seconds / HOP_S)


ONSET_DB = 1.5
"""Mean rise over all bands that makes an onset: plucks in trials give 3 to 20 dB, noise at most 0.6."""
MOST_A_BAND = 20.0
APART = _hops(0.08)
"""Two onsets closer than this are one."""
TOUCH = _hops(0.10)
SMOOTH, FAST = _hops(0.065), _hops(0.040)
"""Levels are averaged over two periods of the lowest string; the fast one over little more than one."""
LOWEST_START = 8
"""Hops before the bands hold whole windows and have a past."""
ATTACK = _hops(0.05)
LATEST_SETTLED = _hops(0.15)
NEW_SOUND = (_hops(0.20), _hops(0.30))
"""Stretch after an onset in which a new string must be heard over the old one."""
CELLS = _hops(0.6)
"""How many levels back anything here looks."""
STILL = _hops(2.0)
STILL_DB = 0.7
"""A level that changes less than this in two seconds is the room's, not a string's."""

RANG_ON = "rang on after the hand had stopped the note, or after sound was lost"
NO_BEGINNING = "no sharp beginning: a voice, a chair or the like"
OVER_RINGING = "a noise over a ringing note: a squeak, a knock or a voice"


@dataclass
class _Ring:
    """The sound that is being followed."""

    start: int
    hop: int
    before: Bands | None
    """Powers of the bands just before, where an earlier note was ringing."""
    noise_rms: float | None
    loudest: float = 0.0
    after: list[Bands] = field(default_factory=list)
    quiet_hops: int = 0
    kept: Samples | None = None
    """Its first `longest` frames, once it has lasted longer than that."""


class Segmenter:
    """Takes blocks, gives onsets, plucks and what was set aside.

    Parameters
    ----------
    sample_rate : float
        Hz, of the stream.
    onset_db : float
        Mean rise over the bands that makes an onset, dB.
    longest_s : float
        A pluck's samples are kept up to this length, however long it rings: memory stays bounded.
    """

    def __init__(self, sample_rate: float, *, onset_db: float = ONSET_DB, longest_s: float = 12.0) -> None:
        if not sample_rate > 0.0:
            raise UsageError(f"sample_rate = {sample_rate} must be positive, in Hz")
        if not longest_s >= 1.0:
            raise UsageError(f"longest_s = {longest_s} must be at least 1 s")
        self.sample_rate = sample_rate
        self._onset_db = onset_db
        self._longest = round(longest_s * sample_rate)
        self._analyser = HopAnalyser(sample_rate)
        self._room = Room()
        self._tape: Tape | None = None
        self._noise_rms: float | None = None
        self._events: list[Event] = []
        self._restart(0, at_start=True)

    def _restart(self, origin: int, *, at_start: bool) -> None:
        self._analyser.restart(origin)
        self._cells: list[float] = []
        self._smooth: deque[float] = deque(maxlen=STILL + 1)
        self._bands: deque[Bands] = deque(maxlen=STILL + 1)
        self._ring: _Ring | None = None
        self._fading_from: int | None = None if at_start else 0
        self._starting = at_start
        self._swell_from: int | None = None
        self._quiet_from = origin

    # -- what a screen wants to know ---------------------------------------------------------------------------------

    @property
    def level_rms(self) -> float:
        """RMS of the last 65 ms, DC left out."""
        return sqrt(self._smooth[-1]) if self._smooth else 0.0

    @property
    def noise_floor_rms(self) -> float | None:
        """RMS of the room while nothing sounds; None until some quiet was heard."""
        return None if self._room.power is None else sqrt(self._room.power)

    @property
    def ringing(self) -> tuple[int, Samples] | None:
        """Start frame and samples so far of the note that rings now (at most `longest_s`); None in between."""
        ring = self._ring
        if ring is None or self._tape is None:
            return None
        if ring.kept is not None:
            return ring.start, ring.kept
        return ring.start, self._tape.copy(ring.start, min(self._tape.end, ring.start + self._longest))

    def so_far(self, frames: int) -> Pluck | SetAside | None:
        """The first `frames` of the note that rings now, judged as if it ended there; None until there are as many."""
        ring = self._ring
        if ring is None or self._tape is None or self._tape.end < ring.start + frames:
            return None
        return self._judged(ring, "end_of_stream", ring.start + frames)

    # -- the stream --------------------------------------------------------------------------------------------------

    def push(self, block: Block) -> list[Event]:
        """Take the next block; return what it completed, in order."""
        if self._tape is None:
            self._tape = Tape(block.start_frame)
            self._restart(block.start_frame, at_start=True)
        elif block.lost or block.start_frame != self._tape.end:
            self._end_of_stretch("lost_samples")
            self._tape = Tape(block.start_frame)
            self._restart(block.start_frame, at_start=False)
        self._tape.append(block.samples)
        hops = self._analyser.push(block.samples)
        for offset, level in enumerate(hops.level.tolist()):
            self._take(hops.first + offset, hops.bands[offset], hops.recent[offset], level)
        self._trim()
        return self._flush()

    def finish(self) -> list[Event]:
        """The stream has ended; return what was still open."""
        self._end_of_stretch("end_of_stream")
        if self._tape is not None:
            end = self._tape.end
            self._tape = Tape(end)
            self._restart(end, at_start=False)
        return self._flush()

    def _flush(self) -> list[Event]:
        events, self._events = self._events, []
        return events

    def _end_of_stretch(self, reason: EndReason) -> None:
        if self._tape is None:
            return
        end = self._tape.end
        if self._starting and self._ring is None:
            self._judge_start(last_chance=True)
        if self._ring is not None:
            self._close(reason, end)
        elif self._swell_from is not None:
            self._close_swell(end)

    def _trim(self) -> None:
        tape, ring = self._tape, self._ring
        assert tape is not None
        recent = tape.end - round(0.5 * self.sample_rate)
        if self._starting:
            return
        if ring is not None and ring.kept is None:
            if tape.end - ring.start >= self._longest + round(0.5 * self.sample_rate):
                ring.kept = tape.copy(ring.start, ring.start + self._longest)
            else:
                recent = min(recent, ring.start)
        tape.forget_before(recent)

    # -- one hop -----------------------------------------------------------------------------------------------------

    def _take(self, hop: int, bands: Bands, recent: Bands, level: float) -> None:
        if len(self._cells) >= 2 * CELLS:
            del self._cells[:CELLS]
        self._cells.append(level)
        smooth = self._mean_level(SMOOTH)
        novelty = self._novelty(hop, bands, recent)
        ring = self._ring
        if novelty > self._onset_db and self._mean_level(2) > STANDS_OUT * self._room.known_power:
            if ring is None or hop - ring.hop > APART:
                self._begin(hop)
            elif 4 <= hop - ring.hop <= TOUCH and self._mean_level(2) > STANDS_OUT * ring.loudest:
                ring.start, ring.hop = self._start_frame(hop), hop
        self._smooth.append(smooth)
        self._bands.append(bands)
        if self._ring is not None:
            self._follow(self._ring, hop)
        elif self._fading_from is not None:
            self._fade(hop)
        else:
            self._idle(hop)

    def _novelty(self, hop: int, bands: Bands, recent: Bands) -> float:
        if hop < LOWEST_START:
            return 0.0
        allowance = self._room.allowance + 1e-7 * float(recent.sum())
        rise = 10.0 * np.log10((bands + allowance) / (recent + allowance))
        return float(np.minimum(np.maximum(rise, 0.0), MOST_A_BAND).mean())

    def _mean_level(self, hops: int, *, ago: int = 0) -> float:
        count = len(self._cells)
        stop = count - ago
        first = max(0, count - CELLS, stop - hops)
        return sum(self._cells[first:stop]) / (stop - first) if stop > first else 0.0

    # -- beginnings --------------------------------------------------------------------------------------------------

    def _begin(self, hop: int) -> None:
        start = self._start_frame(hop)
        if self._starting:
            self._judge_start(last_chance=True)
        was_ringing = self._ring is not None or self._fading_from is not None
        if self._fading_from is not None:
            self._report_rest(hop, start)
        if self._ring is not None:
            self._close("next_pluck", start)
        if self._swell_from is not None:
            self._close_swell(start)
        before = None
        if was_ringing and len(self._bands) > RECENT[1]:
            before = np.mean([self._bands[-index] for index in range(RECENT[0] + 2, RECENT[1])], axis=0)
        self._starting = False
        self._fading_from = None
        self._ring = _Ring(start, hop, before, self._noise_before(start, was_ringing))
        self._events.append(Onset(start))

    def _start_frame(self, hop: int) -> int:
        """Where the sound sets in, to about a millisecond: the steepest rise of the high-passed energy."""
        assert self._tape is not None
        cell = max(1, round(0.001 * self.sample_rate))
        end = self._analyser.frame(hop + 1)
        raw = self._tape.view(end - 46 * cell, end)
        steps = np.diff(raw)
        count = len(steps) // cell
        if count < 12:
            return self._analyser.frame(hop)
        energy = np.sum(steps[len(steps) - count * cell :].reshape(count, cell) ** 2, axis=1)
        allowance = 1e-4 * float(energy.max()) + 1e-20
        ahead = np.convolve(energy, np.ones(3) / 3.0)[2:]
        best, best_rise = 0, -np.inf
        for index in range(8, count - 2):
            rise = float((ahead[index] + allowance) / (energy[index - 8 : index].max() + allowance))
            if rise > best_rise:
                best, best_rise = index, rise
        return end - (count - best) * cell

    def _noise_before(self, start: int, was_ringing: bool) -> float | None:
        assert self._tape is not None
        if not was_ringing and self._swell_from is None:
            end = start - round(0.01 * self.sample_rate)
            quiet = self._tape.view(max(self._quiet_from, end - round(0.3 * self.sample_rate)), end)
            if len(quiet) >= 0.1 * self.sample_rate:
                self._noise_rms = float(np.std(quiet))
        return self._noise_rms

    def _judge_start(self, *, last_chance: bool) -> None:
        """A recording may begin with a pluck: a string's sound that has been fading since frame 0."""
        assert self._tape is not None
        if len(self._bands) < _hops(0.25):
            return
        bands = list(self._bands)
        first = np.max(bands[_hops(0.05) : _hops(0.12)], axis=0)  # whole windows, past the step from nothing
        last = np.max(bands[-_hops(0.08) - RECENT[0] : -RECENT[0]], axis=0)
        allowance = 1e-6 * float(first.sum()) + QUIETEST / len(first)
        fall = 10.0 * np.log10((first + allowance) / (last + allowance))
        if float(np.clip(fall, 0.0, MOST_A_BAND).mean()) < (2.0 if last_chance else 4.0):
            return
        origin = self._analyser.origin
        settled = origin + ATTACK * self._analyser.hop
        if speaks_against_string(self._tape.view(settled, self._tape.end), self.sample_rate) is None:
            self._starting = False
            self._room.forget()
            self._ring = _Ring(origin, 0, None, None, loudest=max(self._cells[-CELLS:]))
            self._swell_from = None
            self._events.append(Onset(origin))

    # -- while it lasts ----------------------------------------------------------------------------------------------

    def _follow(self, ring: _Ring, hop: int) -> None:
        age = hop - ring.hop
        ring.loudest = max(ring.loudest, self._mean_level(2))
        if NEW_SOUND[0] <= age < NEW_SOUND[1]:
            ring.after.append(self._bands[-1])
        if age < APART:
            return
        ring.quiet_hops = ring.quiet_hops + 1 if self._faded() else 0
        if ring.quiet_hops >= FAST:
            end = hop - ring.quiet_hops
            steep = self._fall_db(ago=ring.quiet_hops) - self._natural_fall_db(ring, ago=ring.quiet_hops) > 8.0
            self._close("stopped" if steep else "decayed", self._analyser.frame(end))
        elif age >= _hops(0.2) and self._hand_stopped(ring):
            self._close("stopped", self._analyser.frame(hop - self._hops_since_fall()))
            self._fading_from = hop
        elif age >= _hops(3.0) and self._standing_still(hop):
            self._close("decayed", self._analyser.frame(hop))
            self._room.set(self._smooth[-1], self._mean_bands())

    def _faded(self) -> bool:
        return self._room.power is not None and self._smooth[-1] < 2.0 * self._room.known_power

    def _fall_db(self, *, ago: int = 0) -> float:
        """How far the level fell in the last 100 ms."""
        return _db(self._mean_level(FAST, ago=ago + _hops(0.1)), self._mean_level(FAST, ago=ago))

    def _natural_fall_db(self, ring: _Ring, *, ago: int = 0) -> float:
        """How far it would have fallen in 100 ms at the rate of the 200 ms before."""
        before, now = _hops(0.3) + ago, _hops(0.1) + ago
        if min(len(self._cells), CELLS) < before + FAST:
            return 0.0
        return max(0.0, _db(self._mean_level(FAST, ago=before), self._mean_level(FAST, ago=now)) / 2.0)

    def _hand_stopped(self, ring: _Ring) -> bool:
        if self._mean_level(FAST, ago=_hops(0.1)) < 10.0 * self._room.known_power:
            return False
        return self._fall_db() - self._natural_fall_db(ring) > 12.0

    def _hops_since_fall(self) -> int:
        reference = self._mean_level(FAST, ago=_hops(0.1))
        for ago in range(_hops(0.1) + 1):
            if self._cells[-1 - ago] > 0.5 * reference:
                return ago
        return _hops(0.1)

    def _standing_still(self, hop: int) -> bool:
        if hop % 10 or len(self._smooth) <= STILL:
            return False
        quarter = _hops(0.25)
        recent = [self._smooth[-1 - ago] for ago in range(0, quarter, 5)]
        earlier = [self._smooth[STILL - ago - 1 - (STILL - quarter)] for ago in range(0, quarter, 5)]
        if abs(_db(sum(earlier), sum(recent))) > STILL_DB:
            return False
        now = self._mean_bands()
        then = np.mean([self._bands[index] for index in range(0, quarter, 5)], axis=0)
        return float(np.mean(np.abs(10.0 * np.log10((then + QUIETEST) / (now + QUIETEST))))) < 2.0 * STILL_DB

    def _mean_bands(self) -> Bands:
        return np.asarray(np.mean([self._bands[-1 - ago] for ago in range(0, min(len(self._bands), _hops(0.25)), 5)], axis=0))

    # -- in between --------------------------------------------------------------------------------------------------

    def _fade(self, hop: int) -> None:
        """A stopped note's remains, or sound after a gap: swallowed until quiet."""
        assert self._fading_from is not None
        waited = hop - self._fading_from
        unknown = self._room.power is None and waited >= _hops(0.3)
        known = self._room.power is not None and self._smooth[-1] < STANDS_OUT * self._room.known_power
        if unknown or known or self._standing_still(hop):
            if not known:
                self._room.set(self._smooth[-1], self._mean_bands())
            if not unknown:
                self._report_rest(hop, self._analyser.frame(hop))
            self._fading_from = None
            self._quiet_from = self._analyser.frame(hop)

    def _report_rest(self, hop: int, end: int) -> None:
        assert self._fading_from is not None
        if hop - self._fading_from >= _hops(0.3):
            self._set_aside(self._analyser.frame(self._fading_from), end, RANG_ON)

    def _idle(self, hop: int) -> None:
        if self._starting and hop % 10 == 0:
            self._judge_start(last_chance=False)
            if self._ring is not None:
                return
            if hop > _hops(1.5):
                self._starting = False
        smooth = self._smooth[-1]
        if hop >= SMOOTH:
            self._room.learn(smooth, self._bands[-1])
        loud = smooth > 4.0 * STANDS_OUT * self._room.known_power
        if self._swell_from is None:
            if loud:
                self._swell_from = hop
            elif smooth > STANDS_OUT * self._room.known_power:
                self._quiet_from = self._analyser.frame(hop + 1)
        elif smooth < STANDS_OUT * self._room.known_power:
            self._close_swell(self._analyser.frame(hop))
        if self._standing_still(hop) and smooth > STANDS_OUT * self._room.known_power:
            self._room.set(smooth, self._mean_bands())
            if self._swell_from is not None:
                self._close_swell(self._analyser.frame(hop))

    # -- endings -----------------------------------------------------------------------------------------------------

    def _close_swell(self, end: int) -> None:
        assert self._swell_from is not None
        start = self._analyser.frame(self._swell_from)
        if end - start >= 0.1 * self.sample_rate:
            self._set_aside(start, end, NO_BEGINNING)
        self._swell_from = None
        self._quiet_from = end

    def _close(self, reason: EndReason, end: int) -> None:
        ring = self._ring
        assert ring is not None
        self._ring = None
        self._quiet_from = end
        self._events.append(self._judged(ring, reason, end))

    def _judged(self, ring: _Ring, reason: EndReason, end: int) -> Pluck | SetAside:
        assert self._tape is not None
        last = min(end, ring.start + self._longest)
        samples = self._tape.copy(ring.start, last) if ring.kept is None else ring.kept[: last - ring.start]
        settled = min(self._settled(samples), len(samples))
        against = OVER_RINGING if self._adds_nothing(ring) else speaks_against_string(samples[settled:], self.sample_rate)
        if against is not None:
            return SetAside(ring.start / self.sample_rate, end / self.sample_rate, against)
        return Pluck(
            samples=samples,
            sample_rate=self.sample_rate,
            start_frame=ring.start,
            settled_from=settled,
            noise_rms=ring.noise_rms,
            clipped_fraction=clipped_fraction(samples),
            end=reason,
        )

    def _settled(self, samples: Samples) -> int:
        """Index at which the attack is over: 50 ms, or 30 ms after the loudest moment of a slower one."""
        hop = self._analyser.hop
        count = min(len(samples) // hop, LATEST_SETTLED)
        if count == 0:
            return 0
        energy = np.mean(samples[: count * hop].reshape(count, hop) ** 2, axis=1)
        loudest = int(np.argmax(np.convolve(energy, np.ones(SMOOTH) / SMOOTH)[:count])) - SMOOTH // 2
        return min(max(ATTACK, loudest + _hops(0.03)), LATEST_SETTLED) * hop

    def _adds_nothing(self, ring: _Ring) -> bool:
        """True when, after the onset has passed, the old note rings on as if nothing had been plucked."""
        if ring.before is None or len(ring.after) < 4:
            return False
        after = np.mean(ring.after, axis=0)
        if _db(float(ring.before.sum()), float(after.sum())) > 8.0:
            return False
        allowance = self._room.allowance + 1e-5 * float(after.sum())
        return bool(np.max(10.0 * np.log10((after + allowance) / (ring.before + allowance))) < 2.0)

    def _set_aside(self, start: int, end: int, reason: str) -> None:
        self._events.append(SetAside(start / self.sample_rate, end / self.sample_rate, reason))


def _db(power: float, reference: float) -> float:
    return 10.0 * log10(max(power, 1e-20) / max(reference, 1e-20))
