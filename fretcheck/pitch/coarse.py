"""Which note is it? A first pitch that is right to a few cents and never an octave or a partial off.

The spectrum's peaks are laid against combs of stiff-string partials, f_n = n·f0·√(1+B·n²). Each comb earns what its
matched peaks stand for and pays for every partial that it promises, so that neither an octave too low (half of the promised
partials missing) nor one too high (half of the peaks unexplained) can win. This is the idea of minimum description length
(J. Rissanen, Automatica 14, 465, 1978, from memory) in its simplest form.

Conventions: frequencies in Hz. A peak's worth is its height against the envelope of the whole spectrum, compressed, between 0
and 1; lines that stand at multiples of the mains frequency and do not decay are worth nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.pitch.partials.band import Band

LOWEST_HZ = 26.0
HIGHEST_HZ = 2800.0  # E7, fret 24 of a string tuned to E5
MAINS_HZ = (50.0, 60.0)

# Where no other reason is given: chosen by trial on synthetic strings with hum, rumble, noise and a second string, and held on
# 4,938 readings of real ones (0.3, 0.6 and 1.5 s, played −5 to +12 semitones): 3 wrong, all 3 refused, when this was written.
_LONGEST_S = 0.6
_EARLY = 0.6  # a Hann window pulled forward: the pluck itself counts most, what rings along with it later least
_RATE_HZ = 12_000.0
_PEAK_OVER_FLOOR = 5.0
_PEAK_UNDER_TOP = 3e-4
_MOST_PEAKS = 64
_SKIRT_HZ, _SKIRT = 13.0, 0.5  # a line beside one twice as high is its side lobe or its second plane; an octave error in E4 less
# a line is the mains' within 0.2 % (the grid's own spread) and a third of the resolution, and never its fifth multiple alone:
# with 1.5 of the resolution a bass's 49.0 Hz was taken for hum, and its third partial for the note
_LINE_BINS, _MAINS_SPREAD, _LOW_MULTIPLE = 0.3, 0.002, 3
_WORTH = 0.6
_SLOT_COST = 0.27
_MATCH = 0.09  # of f0
_TABLE_HZ = 0.5  # step of the table that tells which peak is nearest; a hundredth of what a match may be off
_INHARMONICITIES = np.array([0.0, 3e-5, 1e-4, 2.5e-4, 6e-4, 1.5e-3])
_FIRST_SLOTS = 8
_MOST_SLOTS = 40
_REACHES = (5, 8, 12, 18, 27, _MOST_SLOTS)
_DOUBTFUL = 0.65  # share of the peaks' worth below which there may be a better comb than those found
_PARTS, _BASES = (1.0, 2.0, 3.0), 6  # of the best comb; fundamentals looked at again
_APART = 0.01  # fundamentals closer than this share are one
_ALIKE = np.array([5e-4, 1e-5])  # combs closer in log f0 and in B than this are followed once: a third of the time
_NEARBY = 1.0 + 0.001 * np.arange(-4.0, 5.0, 2.0)
_FINE_INHARMONICITIES = np.concatenate([[0.0], np.geomspace(1e-5, 1.5e-3, 11)])
_MOST_COMBS = 48
_LARGEST_INHARMONICITY = 4e-3
_NOTE_CENTS = 100.0  # further apart than this are different notes
_HINT_WORTH = 0.15
_OTHERS_UP_TO = 12.0  # times f0; above, distorted notes have lines of their own: −4 dB at partial 19, and nothing below 12
_MISSING = 0.05  # −26 dB: one note read an octave low had no odd partial above −36 dB; no right one of 4,938 fell below


@dataclass(frozen=True)
class Peaks:
    """Spectral peaks in rising order of frequency."""

    frequency_hz: Reals
    height: Reals  # Amplitude, full scale 1, of a steady sinusoid of that height
    worth: Reals  # 0 to 1
    steady: NDArray[np.bool_]  # Stands at a multiple of the mains frequency and does not decay

    @cached_property
    def nearest(self) -> NDArray[np.intp]:
        """Which peak is nearest to each multiple of `_TABLE_HZ`."""
        between = 0.5 * (self.frequency_hz[1:] + self.frequency_hz[:-1])
        return np.searchsorted(between, _TABLE_HZ * (np.arange(0.6 * _RATE_HZ / _TABLE_HZ) + 0.5))


@dataclass(frozen=True)
class CoarsePitch:
    """The best comb, and how far ahead of the next different note it came in."""

    f0_hz: float
    inharmonicity: float
    explained: float  # Share of all peaks' worth that the comb accounts for, 0 to 1
    lead: float  # Score of this comb less that of the best one more than a semitone away, in peaks' worth
    peaks: Peaks
    mains_beneath: bool  # The note stands at a multiple of hum that may as well be its own lower partials

    @property
    def f1_hz(self) -> float:
        return self.f0_hz * float(np.sqrt(1.0 + self.inharmonicity))

    def partial_hz(self, numbers: Reals) -> Reals:
        return np.asarray(numbers * self.f0_hz * np.sqrt(1.0 + self.inharmonicity * numbers**2))


def coarse_pitch(
    band: Band, *, start_s: float = 0.0, end_s: float | None = None, hint_hz: float | None = None
) -> CoarsePitch | None:
    """Find the pitch of a pluck.

    `band`: the sound. `start_s`, `end_s`: stretch to be looked at; at most its first 0.6 s are. `hint_hz`: the note that is
    expected: it settles a near tie between candidates and never does more.
    Returns None where no peak stands out.
    """
    peaks = find_peaks(band, start_s=start_s, end_s=end_s)
    if peaks is None or not np.any(peaks.worth > 0.0):
        return None
    candidates = _candidates(peaks)
    if hint_hz is not None and LOWEST_HZ <= hint_hz <= HIGHEST_HZ:
        candidates = np.append(candidates, hint_hz)
    if not len(candidates):
        return None
    combs = _combs(candidates, peaks)
    if combs.explained[np.argmax(combs.score)] < _DOUBTFUL:
        combs = _with_second_look(combs, peaks)
    ranked = combs.score.copy()
    if hint_hz is not None:
        ranked[np.abs(1200.0 * np.log2(combs.f0_hz / hint_hz)) < _NOTE_CENTS] += _HINT_WORTH
    best = int(np.argmax(ranked))
    others = np.abs(1200.0 * np.log2(combs.f0_hz / combs.f0_hz[best])) > _NOTE_CENTS
    lead = float(ranked[best] - np.max(ranked[others], initial=-_SLOT_COST))
    if _only_multiples(peaks, combs, best):
        lead = 0.0
    f0_hz, inharmonicity, _, explained = (float(each[best]) for each in combs)
    return CoarsePitch(f0_hz, inharmonicity, explained, lead, peaks, _mains_beneath(peaks, f0_hz))


def _mains_beneath(peaks: Peaks, f0_hz: float) -> bool:
    """True where what was taken for the mains may be the lower partials of a string that stands at a multiple of theirs."""
    parts = f0_hz / peaks.frequency_hz[peaks.steady]
    beneath = (parts > 1.5) & (np.abs(parts - np.round(parts)) < _APART * parts)
    return bool(np.any(peaks.height[peaks.steady][beneath] > np.max(peaks.height[~peaks.steady], initial=0.0)))


def _only_multiples(peaks: Peaks, combs: _Combs, best: int) -> bool:
    """True where all that is heard of the note are its even partials, or each third: then it is the octave, or the twelfth."""
    parts = peaks.frequency_hz / combs.f0_hz[best]
    numbers = np.round(parts / np.sqrt(1.0 + combs.inharmonicity[best] * parts**2)).clip(min=1.0)
    height = np.where(peaks.steady, 0.0, peaks.height)
    promised = numbers * np.sqrt(1.0 + combs.inharmonicity[best] * numbers**2)
    height = np.where(np.abs(parts - promised) < _MATCH, height, 0.0)
    return any(np.max(height[numbers % part > 0.0], initial=0.0) < _MISSING * np.max(height) for part in (2, 3))


def other_string_db(coarse: CoarsePitch) -> float:
    """Strongest line of another string against the strongest of this one; −inf where there is none."""
    peaks = coarse.peaks
    partials = coarse.partial_hz(np.arange(1.0, peaks.frequency_hz[-1] / coarse.f0_hz + 2.0))
    own = np.min(np.abs(peaks.frequency_hz[:, None] - partials[None, :]), axis=1) < _MATCH * coarse.f0_hz
    this = float(np.max(peaks.height[own & ~peaks.steady], initial=1e-12))
    low = peaks.frequency_hz < _OTHERS_UP_TO * coarse.f0_hz
    with np.errstate(divide="ignore"):
        return float(20.0 * np.log10(np.max(peaks.height[~own & ~peaks.steady & low], initial=0.0) / this))


def mains_lines_hz(peaks: Peaks) -> Reals:
    """Multiples of the mains frequency up to a little beyond the highest that is seen; none where no hum is seen.

    Those that a partial covers do not show, so all are taken to be there.
    """
    if not np.any(peaks.steady):
        return np.zeros(0)
    frequency, height = peaks.frequency_hz[peaks.steady], peaks.height[peaks.steady]
    multiples = [np.maximum(np.round(frequency / mains), 1.0) for mains in MAINS_HZ]
    misfit = [np.sum(height * np.abs(frequency - n * mains)) for mains, n in zip(MAINS_HZ, multiples, strict=True)]
    best = int(np.argmin(misfit))
    mains = float(np.average(frequency / multiples[best], weights=height * multiples[best] ** 2))
    return mains * np.arange(1.0, np.max(multiples[best]) + 3.0)


def find_peaks(band: Band, *, start_s: float, end_s: float | None) -> Peaks | None:
    """Peaks of the windowed spectrum of at most 0.6 s from `start_s`; None where there is nothing but silence."""
    sound, rate = band.resampled(_RATE_HZ)
    first = round(start_s * rate)
    last = len(sound) if end_s is None else min(len(sound), round(end_s * rate))
    sound = sound[first : min(last, first + round(_LONGEST_S * rate))]
    if len(sound) < 64:
        return None
    window = np.sin(np.pi * np.linspace(0.0, 1.0, len(sound)) ** _EARLY) ** 2
    length = 1 << int(np.ceil(np.log2(len(sound))) + 1)
    spectrum = np.abs(np.fft.rfft((sound - np.mean(sound)) * window, length)) * (2.0 / np.sum(window))
    step = rate / length
    floor = _floor(spectrum, step)
    top = float(np.max(spectrum[round(20.0 / step) :]))
    if top <= 1e-9:
        return None
    inner = spectrum[1:-1]
    is_peak = (inner > spectrum[:-2]) & (inner >= spectrum[2:]) & (inner > _PEAK_OVER_FLOOR * floor[1:-1])
    index = np.flatnonzero(is_peak & (inner > _PEAK_UNDER_TOP * top)) + 1
    index = index[(index * step > 20.0) & (index * step < 0.46 * rate)]
    if not len(index):
        return None
    index = np.sort(index[np.argsort(spectrum[index])[-_MOST_PEAKS:]])
    below, here, above = (np.log(spectrum[index + shift] + 1e-300) for shift in (-1, 0, 1))
    offset = 0.5 * (below - above) / (below - 2.0 * here + above - 1e-300)
    frequency = (index + np.clip(offset, -0.5, 0.5)) * step
    height = spectrum[index]
    close = np.abs(frequency[:, None] - frequency[None, :]) < _SKIRT_HZ
    alone = ~np.any(close & (height[:, None] < _SKIRT * height[None, :]), axis=1)
    frequency, height = frequency[alone], height[alone]
    steady = _steady_mains(sound, rate, frequency)
    worth = (height / _envelope(frequency, np.where(steady, 0.0, height)).clip(min=1e-300)).clip(max=1.0) ** _WORTH
    worth[steady] = 0.0
    return Peaks(frequency, height, worth, steady)


def _floor(spectrum: Reals, step: float) -> Reals:
    """Noise floor: the median of each 250 Hz, joined by straight lines."""
    width = max(8, round(250.0 / step))
    count = max(1, len(spectrum) // width)
    medians = np.median(spectrum[: count * width].reshape(count, width), axis=1)
    centres = (np.arange(count) + 0.5) * width
    return np.asarray(np.interp(np.arange(len(spectrum)), centres, medians))


def _envelope(frequency: Reals, height: Reals) -> Reals:
    """Smallest curve over all peaks that falls by no more than 2 dB an octave downward and 9 dB an octave upward."""
    ratio = frequency[:, None] / frequency[None, :]
    slope = np.where(ratio < 1.0, ratio**0.33, ratio**-1.5)
    return np.asarray(np.max(height[None, :] * slope, axis=1))


def _steady_mains(sound: Reals, rate: float, frequency: Reals) -> NDArray[np.bool_]:
    """Which of the peaks are the mains': at multiples of 50 or 60 Hz, as strong late as early; none without a low multiple."""
    steady = np.zeros(len(frequency), dtype=bool)
    quarter = len(sound) // 4
    width = _LINE_BINS * rate / len(sound) + _MAINS_SPREAD * frequency
    halves = sound[: 4 * quarter].reshape(2, -1) * np.hanning(2 * quarter)
    for mains in MAINS_HZ:
        multiple = np.round(frequency / mains)
        near = np.flatnonzero((multiple >= 1) & (multiple <= 20) & (np.abs(frequency - multiple * mains) < width))
        if not len(near) or multiple[near[0]] > _LOW_MULTIPLE:
            continue
        early, late = np.abs(halves @ np.exp(-2j * np.pi / rate * np.outer(np.arange(2 * quarter), frequency[near])))
        found = near[(late > 0.93 * early) & (late < 1.15 * early)]
        if len(found) and multiple[found[0]] <= _LOW_MULTIPLE:
            steady[found] = True
    return steady


def _candidates(peaks: Peaks) -> Reals:
    """Peaks, and the first peaks' integer parts, as fundamentals; and the distances between strong neighbours."""
    strong = np.flatnonzero(peaks.worth > 0.35)
    by_height = strong[np.argsort(peaks.height[strong])[::-1]][:14]
    parts = peaks.frequency_hz[by_height][:, None] / np.arange(1, 11)[None, :]
    strong_hz = peaks.frequency_hz[strong]
    found = np.concatenate([parts.ravel(), np.diff(strong_hz), strong_hz])
    found = np.sort(found[(found >= LOWEST_HZ) & (found <= HIGHEST_HZ)])
    if not len(found):
        return found
    groups = np.cumsum(np.concatenate(([True], np.diff(found) > 0.002 * found[:-1])))
    first = np.flatnonzero(np.diff(np.concatenate(([0], groups))))
    return np.asarray(found[first])


class _Combs(NamedTuple):
    """Candidates, each with the stiff-string comb that suits the peaks best; arrays of one length."""

    f0_hz: Reals
    inharmonicity: Reals
    score: Reals
    explained: Reals


def _combs(candidates: Reals, peaks: Peaks) -> _Combs:
    """Comb of each promising candidate, fitted outward from its lowest partials."""
    slots = np.arange(1, _FIRST_SLOTS + 1)
    stretch = slots * np.sqrt(1.0 + _INHARMONICITIES[:, None] * slots**2)  # (B, slots)
    earned, _ = _earned(candidates[:, None, None] * stretch, candidates[:, None, None], peaks)
    first = np.max(np.cumsum(earned - _SLOT_COST, axis=2), axis=2)
    chosen = np.argsort(first.ravel())[-_MOST_COMBS:]
    f0 = candidates[chosen // len(_INHARMONICITIES)]
    inharmonicity = _INHARMONICITIES[chosen % len(_INHARMONICITIES)]
    for reach in _REACHES[:2]:
        f0, inharmonicity = _refitted(f0, inharmonicity, reach, peaks)
    _, unlike = np.unique(np.round(np.stack([np.log(f0), inharmonicity]) / _ALIKE[:, None]), axis=1, return_index=True)
    f0, inharmonicity = f0[unlike], inharmonicity[unlike]
    for reach in _REACHES[2:]:
        f0, inharmonicity = _refitted(f0, inharmonicity, reach, peaks)
    return _scored(f0, inharmonicity, peaks)


def _with_second_look(combs: _Combs, peaks: Peaks) -> _Combs:
    """The combs, and better ones near the best of them and at integer parts of it.

    Where every partial is a pair of lines, as of a string whose two planes differ, a comb fitted outward may have followed the
    upper lines on its way, and never come near the right stiffness. Here it is looked for on a grid instead.
    """
    ranked = combs.f0_hz[np.argsort(combs.score)[::-1]]
    bases = [ranked[0] / part for part in _PARTS]
    for f0 in ranked[1:]:
        if len(bases) < _BASES and np.min(np.abs(np.array(bases) / f0 - 1.0)) > _APART:
            bases.append(f0)
    base = np.array([f0 for f0 in bases if f0 >= LOWEST_HZ])
    f0, stiffness = np.broadcast_arrays(base[:, None, None] * _NEARBY[:, None], _FINE_INHARMONICITIES)
    grid = _scored(f0.ravel(), stiffness.ravel(), peaks)
    best = np.arange(len(base)) * (f0.size // len(base)) + np.argmax(grid.score.reshape(len(base), -1), axis=1)
    found = [combs, _Combs(*(each[best] for each in grid))]
    for reach in _REACHES[2:]:
        found.append(_scored(*_refitted(found[-1].f0_hz, found[-1].inharmonicity, reach, peaks), peaks))
    return _Combs(*(np.concatenate(each) for each in zip(*found, strict=True)))


def _scored(f0: Reals, inharmonicity: Reals, peaks: Peaks) -> _Combs:
    """What those combs earn, less what they promise."""
    slots = np.arange(1, _MOST_SLOTS + 1)
    promised = f0[:, None] * slots * np.sqrt(1.0 + inharmonicity[:, None] * slots**2)
    earned, _ = _earned(promised, f0[:, None], peaks)
    running = np.cumsum(earned - _SLOT_COST * np.minimum(1.0, 8.0 / slots) ** 0.5, axis=1)
    explained = np.sum(earned, axis=1) / max(float(np.sum(peaks.worth)), 1e-12)
    return _Combs(f0, inharmonicity, np.max(running, axis=1), explained.clip(max=1.0))


def _earned(promised: Reals, f0: Reals, peaks: Peaks) -> tuple[Reals, NDArray[np.intp]]:
    """What each promised partial earns by the peak nearest to it, and which peak that is."""
    index = peaks.nearest[np.minimum(promised * (1.0 / _TABLE_HZ), len(peaks.nearest) - 1.0).astype(np.intp)]
    distance = np.abs(peaks.frequency_hz[index] - promised) / f0
    return peaks.worth[index] * np.clip(1.0 - (distance / _MATCH) ** 2, 0.0, 1.0), index


def _refitted(f0: Reals, inharmonicity: Reals, reach: int, peaks: Peaks) -> tuple[Reals, Reals]:
    """Weighted straight line of (f_n/n)² = f0² + f0²·B·n² over the first `reach` partials, for all combs at once."""
    square = np.arange(1.0, reach + 1.0) ** 2
    promised = f0[:, None] * np.sqrt(square * (1.0 + inharmonicity[:, None] * square))
    earned, index = _earned(promised, f0[:, None], peaks)
    weight = square * earned**2 + 1e-12
    squared = peaks.frequency_hz[index] ** 2 / square
    weight = np.where(earned > 0.0, weight, 0.0) + 1e-12
    total = weight.sum(axis=1)
    mean_n = (weight * square).sum(axis=1) / total
    mean_s = (weight * squared).sum(axis=1) / total
    out = square - mean_n[:, None]
    spread = (weight * out**2).sum(axis=1)
    slope = (weight * out * (squared - mean_s[:, None])).sum(axis=1) / spread
    count = np.count_nonzero(earned > 0.0, axis=1)
    slope = np.where(count >= 3, slope, inharmonicity * mean_s).clip(0.0, _LARGEST_INHARMONICITY * mean_s)
    found = np.sqrt(np.maximum(mean_s - slope * mean_n, 1.0))
    usable = (count > 0) & (np.abs(found / f0 - 1.0) < 0.03)
    return np.where(usable, found, f0), np.where(usable, slope / found**2, inharmonicity)
