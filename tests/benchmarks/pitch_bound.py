"""The least error that any unbiased estimator could have: the Cramér–Rao bound of a decaying stiff string in white noise.

The Fisher information is summed over every sample from the exact derivatives of the model that `tests.synth.pluck` plays:
f1 and B, amplitude, phase and decay of each partial, and the glide where there is one.

Conventions
-----------
Frequencies in Hz, the result in Hz (`sd_f1_hz`) of partial 1. `sigma` is the RMS of the noise, on the scale of the amplitudes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.synth.pluck import Mode, warped_time


def sd_f1_hz(
    modes: Sequence[Mode],
    *,
    f1_hz: float,
    inharmonicity: float,
    sigma: float,
    sample_rate: float,
    duration_s: float,
    glide_cents: float = 0.0,
    tau_s: float = 0.2,
    stiff: bool = True,
) -> float:
    """Standard deviation that no unbiased estimate of f1 can go below.

    With `stiff` False, B is known instead of being estimated. Glide parameters are unknowns where `glide_cents` is not 0.
    """
    partials = len(modes)
    columns = 1 + int(stiff) + (2 if glide_cents else 0) + 3 * partials
    information = np.zeros((columns, columns))
    frames = round(duration_s * sample_rate)
    for first in range(0, frames, 16_384):
        time = np.arange(first, min(frames, first + 16_384)) / sample_rate
        derivatives = _derivatives(modes, time, f1_hz, inharmonicity, glide_cents, tau_s, stiff)
        information += derivatives @ derivatives.T
    scale = np.sqrt(np.diag(information))
    covariance = np.linalg.inv(information / np.outer(scale, scale)) / np.outer(scale, scale)
    return sigma * float(np.sqrt(covariance[0, 0]))


def _derivatives(modes, time, f1_hz, inharmonicity, glide_cents, tau_s, stiff):
    warped = warped_time(time, glide_cents=glide_cents, tau_s=tau_s)
    shared = [np.zeros_like(time) for _ in range(1 + int(stiff) + (2 if glide_cents else 0))]
    own = []
    if glide_cents:
        small = 1e-4
        by_glide = [
            (
                warped_time(time, glide_cents=glide_cents + small * a, tau_s=tau_s * (1 + small * b))
                - warped_time(time, glide_cents=glide_cents - small * a, tau_s=tau_s * (1 - small * b))
            )
            / (2 * small)
            for a, b in ((1.0, 0.0), (0.0, 1.0))
        ]
    for mode in modes:
        envelope = mode.amplitude * np.exp(-mode.decay_per_s * time)
        angle = 2 * np.pi * mode.frequency_hz * warped + mode.phase
        by_angle = -envelope * np.sin(angle)
        shared[0] += by_angle * 2 * np.pi * warped * mode.frequency_hz / f1_hz
        if stiff:
            n2 = mode.number**2
            by_b = 0.5 * mode.frequency_hz * (n2 / (1 + inharmonicity * n2) - 1 / (1 + inharmonicity))
            shared[1] += by_angle * 2 * np.pi * warped * by_b
        if glide_cents:
            for column, change in zip(shared[-2:], by_glide, strict=True):
                column += by_angle * 2 * np.pi * mode.frequency_hz * change
        own += [np.exp(-mode.decay_per_s * time) * np.cos(angle), by_angle, -time * envelope * np.cos(angle)]
    return np.array([*shared, *own])
