"""The pitch of a note by a plain spectrum: the lines of several partials, and a string through them. No part of the program.

Conventions
-----------
Partial 1 in Hz and its standard uncertainty in cents, from how far the partials stray from a stiff string's.
"""

from __future__ import annotations

import numpy as np

CENTS = 1200.0 / np.log(2.0)
START_S, END_S = 0.05, 1.5
PARTIALS = 12
WEAKEST_DB = -40.0
LEAST_U_CENTS = 0.1
LEAST_STRAY_CENTS = 0.3
B, U_B = 1e-4, 6e-4


def plain_pitch(sound: np.ndarray, rate: float, near_hz: float) -> tuple[float, float] | None:
    """Peaks of a Hann spectrum by a parabola through their logarithms, and a line in n² with weights 1/(1+(e/1.5 s)²)."""
    numbers, lines_hz = _lines(sound[round(START_S * rate) : round(END_S * rate)], rate, near_hz)
    if not len(numbers):
        return None
    cents = CENTS * np.log(lines_hz / numbers / near_hz)
    columns = np.stack([np.ones(len(numbers)), (numbers**2 - 1) / 2 * CENTS], axis=1)
    prior = np.diag([1e-12, U_B**-2])
    weights = np.ones(len(numbers))
    for _ in range(20):
        normal = (columns * weights[:, None]).T @ columns + prior
        found = np.linalg.solve(normal, (columns * weights[:, None]).T @ cents + prior @ [0.0, B])
        left = cents - columns @ found
        weights = 1.0 / (1.0 + (left / (1.5 * max(0.2, 1.4826 * float(np.median(np.abs(left)))))) ** 2)
    stray2 = np.sum(weights * left**2) / max(0.5, np.sum(weights) - 2.0) if len(numbers) > 2 else 1.0
    u = np.sqrt(np.linalg.inv(normal)[0, 0] * max(LEAST_STRAY_CENTS**2, stray2) + LEAST_U_CENTS**2)
    return near_hz * float(np.exp(found[0] / CENTS)), float(u)


def _lines(sound: np.ndarray, rate: float, near_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Numbers and frequencies of the partials that stand within 2 % of their place and 40 dB of the strongest."""
    length = 1 << int(np.ceil(np.log2(8 * len(sound))))
    size, step = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), length)), rate / length
    found = []
    for number in range(1, PARTIALS + 1):
        place = number * near_hz
        half = min(0.25 * near_hz, max(0.02 * place, 2.0 * rate / len(sound)))
        first, last = int((place - half) / step), int((place + half) / step) + 1
        if first < 1 or place > min(5_000.0, 0.45 * rate):
            continue
        at = first + int(np.argmax(size[first:last]))
        if first < at < last - 1:
            below, here, above = np.log(size[at - 1 : at + 2] + 1e-30)
            found.append((number, (at + 0.5 * (below - above) / (below - 2 * here + above)) * step, size[at]))
    if not found:
        return np.zeros(0), np.zeros(0)
    numbers, lines_hz, sizes = np.array(found).T
    strong = sizes > np.max(sizes) * 10 ** (WEAKEST_DB / 20)
    return numbers[strong], lines_hz[strong]
