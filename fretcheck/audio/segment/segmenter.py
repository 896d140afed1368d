"""Cuts plucks out of a stream of blocks, live or recorded.

An onset is a sudden rise, over its own recent maximum, of many bands at once (see `hops`). A pluck lasts from there to the
next onset, to the hand that stops it, or until it has decayed into the room's noise. What does not behave like a string
(see `character`) is set aside with a reason; whether it *is* the string that was asked for, its pitch decides elsewhere.

Conventions: frames count from the start of the stream. Each `Onset` is followed, before the next one, by exactly one `Pluck` or
`SetAside`; the pluck may start up to 0.1 s after its onset, where a finger or a plectrum was heard touching the string first.
The result does not depend on how the stream was cut into blocks.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.attack import ATTACK, CELLS_LOOKED_AT, frames_since_start, settled_from
from fretcheck.audio.segment.character import speaks_against_string
from fretcheck.audio.segment.hops import HopAnalyser, hops
from fretcheck.audio.segment.levels import FAST, PAIR, SMOOTH, Levels
from fretcheck.audio.segment.pluck import EndReason, Onset, Pluck, SetAside
from fretcheck.audio.segment.ring import Ring
from fretcheck.audio.segment.room import LEAST_ALLOWANCE, STANDS_OUT, Room
from fretcheck.audio.segment.tape import Tape
from fretcheck.clipping import clipped_fraction

Event = Onset | Pluck | SetAside

# Mean rise over all bands that makes an onset: plucks in trials give 3 to 20 dB, noise and beating strings at most 0.7
ONSET_DB = 1.5
MOST_A_BAND = 20.0
APART = hops(0.08)  # Two onsets closer than this are one
TOUCH = hops(0.10)
LOWEST_START = 8  # Hops before the bands hold whole windows and have a past
NEW_SOUND = (hops(0.20), hops(0.30))  # Stretch after an onset in which a new string must be heard over the old one
START_WITHIN = hops(1.5)  # A pluck with which the recording begins has shown itself by then
STILL_FROM = hops(3.0)
LOOK_EVERY = 10  # Hops between looks at what changes slowly

RANG_ON = "rang on after the hand had stopped the note, or after sound was lost"
NO_BEGINNING = "no sharp beginning: a voice, a chair or the like"
DOES_NOT_FADE = "a tone that does not fade: hum or a machine"
OVER_RINGING = "a noise over a ringing note: a squeak, a knock or a voice"


@dataclass
class Waiting:
    """No note sounds. At the start of a stream, what sounds may be a note that was plucked before it began."""

    at_start: bool = False
    swell_from: int | None = None  # Hop since which sound without a sharp beginning is heard


@dataclass
class Fading:
    """What a stopped note leaves, or the sound after a gap, is passed over until it is quiet."""

    from_hop: int = 0


State = Waiting | Fading | Ring


class Segmenter:
    """Takes blocks, gives onsets, plucks and what was set aside.

    `sample_rate`: Hz, of the stream. `longest_s`: a pluck's samples are kept up to this length, however long it rings: memory
    stays bounded.
    """

    def __init__(self, sample_rate: float, *, longest_s: float = 12.0) -> None:
        self.sample_rate = sample_rate
        self._longest = round(longest_s * sample_rate)
        self._analyser = HopAnalyser(sample_rate)
        self._room = Room()
        self._noise_rms: float | None = None
        self._events: list[Event] = []
        self._begun = False
        self._restart(0, at_start=True)

    def _restart(self, origin: int, *, at_start: bool) -> None:
        self._tape = Tape(origin)
        self._analyser.restart(origin)
        self._levels = Levels()
        self._state: State = Waiting(at_start=True) if at_start else Fading()
        self._heard_from: int | None = None
        self._quiet_from = origin

    @property
    def level_rms(self) -> float:
        """RMS of the last 65 ms, DC left out."""
        return sqrt(self._levels.smooth)

    @property
    def noise_floor_rms(self) -> float | None:
        """RMS of the room while nothing sounds; None until some quiet was heard."""
        return None if self._room.power is None else sqrt(self._room.power)

    @property
    def ringing_from(self) -> int | None:
        """Frame at which the note that rings now began; None in between."""
        return self._state.start if isinstance(self._state, Ring) else None

    def so_far(self, frames: int) -> Pluck | SetAside | None:
        """The first `frames` of the note that rings now, judged as if it ended there; None until there are as many."""
        ring = self._state
        if not isinstance(ring, Ring) or self._tape.end < ring.start + frames:
            return None
        return self._judged(ring, "end_of_stream", ring.start + frames)

    def push(self, block: Block) -> list[Event]:
        """Take the next block; return what it completed, in order."""
        if not self._begun:
            self._begun = True
            self._restart(block.start_frame, at_start=True)
        elif block.lost or block.start_frame != self._tape.end:
            self._begin_anew("lost_samples", block.start_frame)
        self._tape.append(block.samples)
        heard = self._analyser.push(block.samples)
        self._levels.take(heard.level)
        may_be_onset = _novelty_db(heard.bands, heard.recent, LEAST_ALLOWANCE) > ONSET_DB
        for offset, worth_a_look in enumerate(may_be_onset.tolist()):
            self._take(heard.first + offset, heard.bands[offset], heard.recent[offset] if worth_a_look else None)
        self._trim()
        return self._flush()

    def finish(self) -> list[Event]:
        """The stream has ended; return what was still open."""
        self._begin_anew("end_of_stream", self._tape.end)
        return self._flush()

    def _flush(self) -> list[Event]:
        events, self._events = self._events, []
        return events

    def _begin_anew(self, reason: EndReason, origin: int) -> None:
        """End what is open for that reason, and go on at frame `origin`."""
        end = self._tape.end
        self._judge_start(last_chance=True)
        if isinstance(self._state, Ring):
            self._close(self._state, reason, end)
        elif isinstance(self._state, Waiting):
            self._close_swell(self._state, end)
        self._restart(origin, at_start=False)

    def _trim(self) -> None:
        tape, state = self._tape, self._state
        recent = tape.end - round(0.5 * self.sample_rate)
        if isinstance(state, Waiting) and state.at_start:
            return
        if isinstance(state, Ring) and state.kept is None:
            if tape.end - state.start >= self._longest + round(0.5 * self.sample_rate):
                state.kept = tape.copy(state.start, state.start + self._longest)
            else:
                recent = min(recent, state.start)
        tape.forget_before(recent)

    def _take(self, hop: int, bands: Reals, recent: Reals | None) -> None:
        """Take one hop; `recent` is None where the bands are known not to have risen."""
        levels, state = self._levels, self._state
        levels.step()
        if recent is not None and self._sets_in(hop, bands, recent):
            if not isinstance(state, Ring) or hop - state.hop > APART:
                self._begin(hop)
            elif 4 <= hop - state.hop <= TOUCH and levels.mean(PAIR) > STANDS_OUT * state.loudest:
                state.start, state.hop = self._start_frame(hop), hop
        levels.bands.append(bands)
        match self._state:
            case Ring() as ring:
                self._follow(ring, hop)
            case Fading() as fading:
                self._fade(fading, hop)
            case Waiting() as waiting:
                self._wait(waiting, hop)

    def _sets_in(self, hop: int, bands: Reals, recent: Reals) -> bool:
        if hop < LOWEST_START or self._levels.mean(PAIR) <= STANDS_OUT * self._room.known_power:
            return False
        return bool(_novelty_db(bands, recent, self._room.allowance) > ONSET_DB)

    def _begin(self, hop: int) -> None:
        start = self._start_frame(hop)
        self._judge_start(last_chance=True)
        match self._state:
            case Ring() as ring:
                self._close(ring, "next_pluck", start)
                before = self._levels.bands_before_rise()
            case Fading() as fading:
                self._report_rest(fading, hop, start)
                before = self._levels.bands_before_rise()
            case Waiting() as waiting:
                self._close_swell(waiting, start)
                self._learn_noise(start)
                before = None
        self._state = Ring(start, hop, before, self._noise_rms)
        self._events.append(Onset(start))

    def _start_frame(self, hop: int) -> int:
        """Where the sound that was noticed in `hop` sets in, to about a millisecond."""
        end, cell = self._analyser.frame(hop + 1), max(1, round(0.001 * self.sample_rate))
        since = frames_since_start(self._tape.view(end - CELLS_LOOKED_AT * cell, end), cell)
        return self._analyser.frame(hop) if since is None else end - since

    def _learn_noise(self, start: int) -> None:
        end = start - round(0.01 * self.sample_rate)
        quiet = self._tape.view(max(self._quiet_from, end - round(0.3 * self.sample_rate)), end)
        if len(quiet) >= 0.1 * self.sample_rate:
            self._noise_rms = float(np.std(quiet))

    def _judge_start(self, *, last_chance: bool) -> None:
        """A recording may begin with a pluck: a string's sound that has been fading since frame 0."""
        if not (isinstance(self._state, Waiting) and self._state.at_start) or len(self._levels.bands) < hops(0.25):
            return
        if self._levels.mean_fall_of_bands_db(most_db=MOST_A_BAND) < (2.0 if last_chance else 4.0):
            return
        origin = self._analyser.origin
        settled = origin + ATTACK * self._analyser.hop
        if speaks_against_string(self._tape.view(settled, self._tape.end), self.sample_rate) is None:
            self._room.forget()
            self._state = Ring(origin, 0, None, None, loudest=self._levels.loudest())
            self._events.append(Onset(origin))

    def _follow(self, ring: Ring, hop: int) -> None:
        levels, age = self._levels, hop - ring.hop
        ring.loudest = max(ring.loudest, levels.mean(PAIR))
        if NEW_SOUND[0] <= age < NEW_SOUND[1]:
            ring.after.append(levels.bands[-1])
        if age < APART:
            return
        faded = self._room.power is not None and levels.smooth < 2.0 * self._room.known_power
        ring.quiet_hops = ring.quiet_hops + 1 if faded else 0
        if ring.quiet_hops >= FAST:
            steep = levels.fall_db(ago=ring.quiet_hops) > 8.0
            self._close(ring, "stopped" if steep else "decayed", self._analyser.frame(hop - ring.quiet_hops))
        elif age >= hops(0.2) and levels.hand_stopped(self._room.known_power):
            self._close(ring, "stopped", self._analyser.frame(hop - levels.hops_since_fall()))
            self._state = Fading(hop)
        elif age >= STILL_FROM and hop % LOOK_EVERY == 0 and levels.standing_still():
            self._close(ring, "decayed", self._analyser.frame(hop))
            self._room.set(levels.smooth, levels.mean_bands())

    def _fade(self, fading: Fading, hop: int) -> None:
        waited = hop - fading.from_hop
        unknown = self._room.power is None and waited >= hops(0.3)
        known = self._room.power is not None and self._levels.smooth < STANDS_OUT * self._room.known_power
        if unknown or known or (hop % LOOK_EVERY == 0 and self._levels.standing_still()):
            if not known:
                self._room.set(self._levels.smooth, self._levels.mean_bands())
            if not unknown:
                self._report_rest(fading, hop, self._analyser.frame(hop))
            self._state = Waiting()
            self._quiet_from = self._analyser.frame(hop)

    def _report_rest(self, fading: Fading, hop: int, end: int) -> None:
        if hop - fading.from_hop >= hops(0.3):
            self._set_aside(self._analyser.frame(fading.from_hop), end, RANG_ON)

    def _wait(self, waiting: Waiting, hop: int) -> None:
        if waiting.at_start and hop % LOOK_EVERY == 0:
            self._judge_start(last_chance=False)
            if self._state is not waiting:
                return
            waiting.at_start = hop <= START_WITHIN
        smooth = self._levels.smooth
        if hop >= SMOOTH:
            self._room.learn(smooth, self._levels.bands[-1])
        loud = smooth > 4.0 * STANDS_OUT * self._room.known_power
        if smooth <= STANDS_OUT * self._room.known_power:
            self._heard_from = None
            self._close_swell(waiting, self._analyser.frame(hop))
            return
        self._heard_from = hop if self._heard_from is None else self._heard_from
        if hop - self._heard_from >= SMOOTH:  # long enough to be no pluck's own beginning
            self._quiet_from = self._analyser.frame(hop + 1)
        if loud and waiting.swell_from is None:
            waiting.swell_from = hop
        if hop % LOOK_EVERY == 0 and self._levels.standing_still():
            self._room.set(smooth, self._levels.mean_bands())
            self._close_swell(waiting, self._analyser.frame(hop))

    def _close_swell(self, waiting: Waiting, end: int) -> None:
        if waiting.swell_from is None:
            return
        start = self._analyser.frame(waiting.swell_from)
        if end - start >= 0.1 * self.sample_rate:
            self._set_aside(start, end, NO_BEGINNING)
            self._quiet_from = end
        waiting.swell_from = None

    def _close(self, ring: Ring, reason: EndReason, end: int) -> None:
        self._state = Waiting()
        self._quiet_from = end
        self._events.append(self._judged(ring, reason, end))

    def _judged(self, ring: Ring, reason: EndReason, end: int) -> Pluck | SetAside:
        last = min(end, ring.start + self._longest)
        samples = self._tape.copy(ring.start, last) if ring.kept is None else ring.kept[: last - ring.start]
        settled = settled_from(samples, self._analyser.hop)
        lasted_s = (end - ring.start) / self.sample_rate
        if ring.adds_nothing(self._room.allowance):
            against: str | None = OVER_RINGING
        elif ring.does_not_fade(self._levels.bands_before_rise(), lasted_s=lasted_s, allowance=self._room.allowance):
            against = DOES_NOT_FADE
        else:
            against = speaks_against_string(samples[settled:], self.sample_rate)
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

    def _set_aside(self, start: int, end: int, reason: str) -> None:
        self._events.append(SetAside(start / self.sample_rate, end / self.sample_rate, reason))


def _novelty_db(bands: Reals, recent: Reals, allowance: Reals) -> Reals:
    """Mean rise of the bands, last axis, over their recent maxima; a larger allowance never makes it larger."""
    added = allowance + 1e-7 * recent.sum(axis=-1, keepdims=True)
    rise = 10.0 * np.log10((bands + added) / (recent + added))
    return np.asarray(np.minimum(np.maximum(rise, 0.0), MOST_A_BAND).mean(axis=-1))
