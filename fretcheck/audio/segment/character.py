"""Does a stretch of sound behave like a plucked string, as far as can be told without reading its pitch?

Three things are asked: does it last, does it consist of steady partials, does it begin loud and then fade. Steady
partials are found by coherence: in two windows that follow each other, the bins that belong to one sinusoid have all
turned by the same angle; those of noise, or of a gliding voice, have not.

Conventions: reasons are sentences for the person at the bench; None means that nothing speaks against a string.
"""

import numpy as np

from fretcheck.arrays import Reals

SHORTEST_S = 0.15  # Nothing can be measured in less: a low bass string swings five times
FADED = 0.2  # A sound that falls to a fifth within `SHORTEST_S` was no string left to ring
# The long window resolves the partials of a low bass; the short one follows a high note while its pitch settles
LONG_S, SHORT_S = 0.16, 0.08
PAIRS = 4  # One pair of windows of noise may agree by chance, four hardly ever do
STILL_LOUD = 0.1  # A pair with less power than this share of the earlier ones holds more noise than string
# Only a sound with hardly any power below the pitch of voices may be judged by the short window
HIGH_NOTE_HZ, LITTLE = 350.0, 0.1
LOWEST_HZ, HIGHEST_HZ = 25.0, 4_000.0
# In trials strings lay above 0.78 down to 10 dB over noise, noise below 0.73 over two seconds, voices mostly below 0.75
COHERENT = 0.75

TOO_SHORT = "too short to be measured: a knock, or a string stopped at once"
FADES_AT_ONCE = "faded at once: a knock, a thud or a muted string"
NOT_STEADY = "no steady tone: a voice, a squeak or a noise"


def speaks_against_string(samples: Reals, sample_rate: float) -> str | None:
    """Reason why `samples`, shape ``(frames,)``, attack left out, are no string; None when there is none."""
    shortest = round(SHORTEST_S * sample_rate)
    if len(samples) < shortest:
        return TOO_SHORT
    piece = shortest // 5
    first = float(np.sqrt(np.mean(_centred(samples[: 2 * piece]) ** 2)))
    last = float(np.sqrt(np.mean(_centred(samples[3 * piece : 5 * piece]) ** 2)))
    if last <= FADED * first:
        return FADES_AT_ONCE
    return None if coherence(samples, sample_rate) >= COHERENT else NOT_STEADY


def coherence(samples: Reals, sample_rate: float) -> float:
    """How steady the partials at the start of `samples` are: 1 for sinusoids, about 0.65 for noise."""
    value = _coherence(samples, sample_rate, LONG_S)
    if value < COHERENT and _share_below(samples, sample_rate, HIGH_NOTE_HZ) < LITTLE:
        return max(value, _coherence(samples, sample_rate, SHORT_S))
    return value


def _share_below(samples: Reals, sample_rate: float, limit_hz: float) -> float:
    part = samples[: 2 * round(LONG_S * sample_rate)]
    power = np.abs(np.fft.rfft(_centred(part) * np.hanning(len(part)))) ** 2
    total = float(power.sum())
    return float(power[: round(limit_hz * len(part) / sample_rate)].sum()) / total if total > 0.0 else 1.0


def _coherence(samples: Reals, sample_rate: float, window_s: float) -> float:
    """Over the first pairs of windows together, as long as the sound is loud."""
    size = min(round(window_s * sample_rate), len(samples) // 2)
    window = np.hanning(size)
    low = max(1, round(LOWEST_HZ * size / sample_rate))
    high = max(low + 3, min(round(HIGHEST_HZ * size / sample_rate), size // 2))
    lobe = np.ones(3)
    agreeing = total = 0.0
    for start in range(0, min(len(samples) // size, 2 * PAIRS) // 2 * 2 * size, 2 * size):
        # Windows a whole length apart: between them every bin's own frequency turns by full circles, nothing to undo.
        before, after = (
            np.fft.rfft(_centred(samples[begin : begin + size]) * window)[low:high] for begin in (start, start + size)
        )
        powers = [np.convolve(np.abs(part) ** 2, lobe, mode="same") for part in (before, after)]
        weight = float(np.sqrt(powers[0] * powers[1]).sum())
        if weight < STILL_LOUD * total:
            break
        total += weight
        agreeing += float(np.abs(np.convolve(before * np.conj(after), lobe, mode="same")).sum())
    return agreeing / total if total > 0.0 else 0.0


def _centred(samples: Reals) -> Reals:
    return samples - float(samples.mean())
