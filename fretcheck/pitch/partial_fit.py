"""What the frames say of each partial: the model of a string's partials as decaying sinusoids that glide together.

Each partial is exp(κ − αt + i(2πft + f·G(t))), where G is the phase that the glide of the pitch adds to all partials in
proportion to their frequency. What each partial leaks into its neighbours' bands is part of the model.

Conventions
-----------
`frequency_hz` is the settled one. Variances are one-sigma squares. Arrays run over the bands of the `Frames` given.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import Frames
from fretcheck.pitch.glide import Glide

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_NEIGHBOURS = 3  # bands on either side that a partial is followed into; beyond, it has fallen by over 80 dB
_LEAK_HOLDS = 1e-3  # window bins that a partial may move before its leakage is computed anew
_WINDOW_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * np.pi**2)  # of a Hann window of length 1


@dataclass(frozen=True)
class _Model:
    """What `PartialFit.model` gives, and the objects that it was computed from."""

    of: tuple[object, ...]
    own: Complex
    total: Complex


@dataclass
class PartialFit:
    """What the frames say of each partial; arrays of shape ``(bands,)``."""

    frames: Frames
    frequency_hz: Array
    log_amplitude: Complex
    decay_per_s: Array
    follows: Array
    """1 for the string's own partials, which share its glide, 0 for other lines."""
    glide: Glide | None = None
    noise: Array = field(default_factory=lambda: np.zeros(0))
    """Variance of one quadrature of one frame, full scale squared."""
    variance_hz2: Array = field(default_factory=lambda: np.zeros(0))
    """Of `frequency_hz`, without the part that is common to all partials."""
    glide_covariance: Array | None = None
    """Of (c, log τ), shape (2, 2); None without a glide."""
    glide_effect: Array | None = None
    """By how much these two move the log frequency of each partial, shape ``(2, bands)``."""
    trust: Array = field(default_factory=lambda: np.ones((1, 1)))
    """Weight of each frame, shape ``(frames, 1)``: less than 1 where the click of the attack still rings."""
    _leak: tuple[Array, Complex, Complex] | None = field(default=None, repr=False)
    _last_model: _Model | None = field(default=None, repr=False)

    @property
    def strength(self) -> Array:
        """Energy of each partial over all frames against the noise."""
        energy = np.sum(np.abs(self.amplitudes()) ** 2, axis=0)
        return np.asarray(energy / np.maximum(2.0 * self.noise, 1e-300))

    def rate(self) -> Complex:
        """Complex rate of each partial against its band, per second, shape ``(frames, bands)`` or ``(1, bands)``."""
        own = self.frequency_hz - self.frames.reference_hz
        if self.glide is None:
            return np.asarray((-self.decay_per_s + 2j * np.pi * own)[None, :])
        moving = self.glide.excess(self.frames.time_s)[:, None] * (self.follows * self.frequency_hz)[None, :]
        return np.asarray(-self.decay_per_s[None, :] + 2j * np.pi * (own[None, :] + moving))

    def envelopes(self) -> Complex:
        """exp(κ − αt + iφ(t)) of each partial against its band's reference, before the window."""
        time = self.frames.time_s
        exponent = self.log_amplitude - np.outer(time, self.decay_per_s)
        exponent.imag += np.outer(time, 2.0 * np.pi * (self.frequency_hz - self.frames.reference_hz))
        if self.glide is not None:
            exponent.imag += np.outer(self.glide.advance_s(time), 2.0 * np.pi * self.follows * self.frequency_hz)
        return np.asarray(np.exp(exponent))

    def amplitudes(self) -> Complex:
        """Each partial in its own band, as the window shows it."""
        known = self._known()
        return self.envelopes() * self._through_window() if known is None else known.own

    def _known(self) -> _Model | None:
        """The model computed last, if nothing that it stands on has been replaced since."""
        known = self._last_model
        return known if known is not None and all(a is b for a, b in zip(known.of, self._parts(), strict=True)) else None

    def _parts(self) -> tuple[object, ...]:
        """What the model stands on; replaced, never written to."""
        return self.frames, self.frequency_hz, self.log_amplitude, self.decay_per_s, self.follows, self.glide

    def _through_window(self) -> Complex:
        through = self.frames.response(self.rate())
        if self.glide is not None:
            time, tau = self.frames.time_s, self.glide.tau_s
            bend = -self.glide.c / tau * np.exp(-time / tau) * 0.5 * _WINDOW_VARIANCE * self.frames.length_s**2
            angle = 2.0 * np.pi * np.outer(bend, self.follows * self.frequency_hz)
            through = through * (1.0 - 0.5 * angle**2 + 1j * angle)  # of exp(i·angle); the angle is below 0.01
        return through

    def _leakage(self) -> tuple[Complex, Complex]:
        """How each partial shows in the bands beside it, and the mirror image of the lowest in the lowest bands.

        Computed anew once a frequency has moved.
        """
        if self._leak is None or np.max(np.abs(self._leak[0] - self.frequency_hz)) * self.frames.length_s > _LEAK_HOLDS:
            decay, frequency, reference = self.decay_per_s, self.frequency_hz, self.frames.reference_hz
            apart = np.subtract.outer(np.arange(len(reference)), np.arange(len(reference)))
            source, band = np.nonzero((apart != 0) & (np.abs(apart) <= _NEIGHBOURS))
            across = np.zeros((len(reference), len(reference)), complex)
            across[source, band] = self.frames.response(-decay[source] + 2j * np.pi * (frequency[source] - reference[band]))
            low = slice(0, _NEIGHBOURS + 1)
            summed = frequency[low, None] + reference[None, low]
            self._leak = frequency, across, self.frames.response(-decay[low, None] - 2j * np.pi * summed)
        return self._leak[1], self._leak[2]

    def model(self) -> tuple[Complex, Complex]:
        """Each partial in its own band, and all that the bands should hold, leakage included."""
        known = self._known()
        if known is not None:
            return known.own, known.total
        envelopes = self.envelopes()
        own = envelopes * self._through_window()
        absolute = envelopes * self.frames.turning
        across, mirrored = self._leakage()
        leaked = absolute @ across
        low = slice(0, len(mirrored))
        leaked[:, low] += absolute[:, low].conj() @ mirrored
        total = own + leaked * self.frames.turning.conj()
        self._last_model = _Model(self._parts(), own, total)
        return own, total


def residual(fit: PartialFit) -> Complex:
    """What the model leaves, turned by each partial's phase: real part in phase, imaginary part in quadrature."""
    own, total = fit.model()
    return np.asarray((fit.frames.values - total) * own.conj() / (np.abs(own) + 1e-300))


def believe_noise(fit: PartialFit, noise: Array) -> None:
    """Take another noise for the fit's, and its variances with it."""
    fit.variance_hz2 = fit.variance_hz2 * (noise / fit.noise)
    fit.noise = noise
