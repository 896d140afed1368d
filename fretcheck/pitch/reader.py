"""One pluck in, one reading out.

The steps: a coarse pitch from the spectrum (`coarse`), the slow complex amplitude of every partial (`frames`), the stretch that
rings freely (`window`), a joint fit of frequencies, decays and glide (`partials`), the string that suits them
(`stiff_string`), and the flags (`judging`).

Conventions
-----------
As in `reading`: `f1_hz` is partial 1 of the settled string and `u_cents` its standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.errors import UsageError
from fretcheck.pitch.band import Band
from fretcheck.pitch.coarse import CoarsePitch, coarse_pitch, mains_lines_hz, others_db
from fretcheck.pitch.frames import narrow_bands, without
from fretcheck.pitch.glide import CENTS, GLIDE_EVIDENCE
from fretcheck.pitch.judging import Limits, flat_tops
from fretcheck.pitch.noise import middle
from fretcheck.pitch.partial_fit import PartialFit, believe_noise
from fretcheck.pitch.partials import fit_partials, fit_without_glide
from fretcheck.pitch.pitch_track import wander_cents
from fretcheck.pitch.planes import Pairs, with_planes
from fretcheck.pitch.reading import Flag, NoteReading
from fretcheck.pitch.stiff_string import StiffString, fit_string
from fretcheck.pitch.window import ATTACK_S, ringing_frames

Array = NDArray[np.float64]

LOWEST_RATE_HZ = 4_000.0

_WORK = 100_000.0  # f0 times the square of the number of partials; keeps the time per note about the same for all notes
_FEWEST_PARTIALS, _MOST_PARTIALS = 8, 52
_STRENGTH = 50.0
# by trial: the law of a glide is seen the less well the more of it is left at the end
_GLIDE_WIDENED, _GLIDE_WIDENED_MOST, _GLIDE_WIDENED_BY_LEFT = 1.3, 2.0, 14.0
# by trial: pairs that are hard to tell apart err alike, the more so with a split each or a glide beside them
_BEATING_WIDENED, _TIED_WIDENED = (1.5, 2.0), (1.25, 1.75)  # steady, gliding
_STIFFNESS_WIDENED = 2.5  # by trial on real strings, whose partials are also pulled by the body
_PAIR_COST = 8.0  # χ² that a second plane of one partial must be worth beside a glide
_LESS_NOISE = 0.8
_END_MARGIN_S = 0.004
_AFTER_CLIPPING_S = 0.005
_BERTHS_CYCLES = (6.0, 3.0, 1.2)  # distance from a multiple of the mains, in cycles over the note
_FEWEST_CLEAR = 4


def read_pluck(
    samples: Array,
    sample_rate: float,
    *,
    settled_from: int = 0,
    noise_rms: float | None = None,
    hint_hz: float | None = None,
    clipped_fraction: float | None = None,
    limits: Limits | None = None,
) -> NoteReading:
    """Read the pitch of one pluck.

    Parameters
    ----------
    samples : ndarray, shape (frames,)
        From the onset on, full scale 1.
    sample_rate : float
        Hz, at least 4000.
    settled_from : int
        Index at which the attack is over; 10 ms are always left out.
    noise_rms : float, optional
        RMS of the room before the onset.
    hint_hz : float, optional
        The note that is expected; it settles near ties and forces nothing.
    clipped_fraction : float, optional
        Share of clipped frames; found from the sound when not given.
    limits : Limits, optional
        When to raise which flag.

    Returns
    -------
    NoteReading
        With flags; what could not be read is None.

    Raises
    ------
    UsageError
        For sound that is not one channel of finite numbers, or a sample rate that is too low.
    """
    limits = limits or Limits()
    sound = np.asarray(samples, dtype=np.float64)
    if sound.ndim != 1 or not np.all(np.isfinite(sound)):
        raise UsageError(f"a pluck is one channel of finite samples; got shape {sound.shape}, or a NaN or infinity in it")
    if not sample_rate >= LOWEST_RATE_HZ:
        raise UsageError(f"sample rate {sample_rate:g} Hz is too low to read a string; at least {LOWEST_RATE_HZ:g} Hz is needed")
    flags: list[Flag] = []
    tops = flat_tops(sound)
    if clipped_fraction is None:
        clipped_fraction = len(tops) / max(1, len(sound))
    if clipped_fraction > limits.clipped_fraction:
        flags.append(Flag.CLIPPED)
    details = {"clipped_fraction": float(clipped_fraction)}

    level = float(np.std(sound)) if len(sound) else 0.0
    if level < limits.quiet_rms or (noise_rms is not None and level < noise_rms):
        return _unread([*flags, Flag.TOO_QUIET], details)
    start_s = max(ATTACK_S, settled_from / sample_rate)
    band = Band(sound - np.mean(sound), sample_rate)
    end_s = band.duration_s - _END_MARGIN_S
    if len(tops):
        # what rings on below the limit is whole; as much of it is read as leaves at least half of the note
        start_s = max(start_s, min(float(tops[-1]) / sample_rate + _AFTER_CLIPPING_S, 0.5 * end_s))
    if end_s - start_s < limits.shortest_s:
        return _unread([*flags, Flag.TOO_SHORT], details)
    coarse = coarse_pitch(band, start_s=start_s, end_s=end_s, hint_hz=hint_hz)
    if coarse is None:
        return _unread([*flags, Flag.NOT_A_STRING], details)
    details |= {"coarse_hz": coarse.f1_hz, "explained": coarse.explained, "lead": coarse.lead}

    other_db, mains_db = others_db(coarse)
    if other_db > limits.other_string_db:
        flags.append(Flag.TWO_STRINGS)
    if mains_db > limits.hum_db:
        flags.append(Flag.HUM_BOUND)
    if np.isfinite(other_db):
        details["other_string_db"] = other_db
    if np.isfinite(mains_db):
        details["hum_db"] = mains_db
    numbers = _partial_numbers(coarse, sample_rate)
    reference = coarse.partial_hz(numbers)
    follows = _clear_of_mains(reference, mains_lines_hz(coarse.peaks), span_s=end_s - start_s)
    if not np.any(follows):
        return _unread([*dict.fromkeys([*flags, Flag.HUM_BOUND])], details)
    frames = narrow_bands(band, reference, f0_hz=coarse.f0_hz, start_s=start_s, end_s=end_s)
    frames = frames.first(ringing_frames(frames))
    if len(frames.time_s) < limits.fewest_frames or frames.time_s[-1] - frames.time_s[0] < 0.6 * limits.shortest_s:
        return _unread([*flags, Flag.TOO_SHORT], details)
    fit = fit_partials(frames, follows)
    kept = (fit.strength > _STRENGTH) & (follows > 0.0)
    if not np.any(kept):
        return _unread([*flags, Flag.TOO_QUIET], details)

    def string_of(frequency_hz: Array, variance_hz2: Array) -> StiffString:
        return fit_string(
            numbers[kept], frequency_hz[kept], variance_hz2[kept], f1_hz=coarse.f1_hz, inharmonicity=coarse.inharmonicity
        )

    def string_hz(frequency_hz: Array, variance_hz2: Array) -> Array:
        return string_of(frequency_hz, variance_hz2).partial_hz(numbers)

    pairs = _with_planes_and_glide(fit, kept, string_hz)
    string = string_of(pairs.frequency_hz, pairs.variance_hz2)
    if pairs.reach_hz > 0.0:
        even = string_of(pairs.frequency_hz, pairs.variance_for_stiffness_hz2)
        string = replace(string, inharmonicity=even.inharmonicity, u_inharmonicity=even.u_inharmonicity)
    details |= pairs.details()
    return _reading(string, pairs, kept, coarse, flags, details, limits)


def _with_planes_and_glide(fit: PartialFit, kept: NDArray[np.bool_], string_hz: Callable[[Array, Array], Array]) -> Pairs:
    """Two planes and a glide disturb each other's fits: where a glide was found, without one is tried."""
    pairs = with_planes(fit, kept, string_hz)
    if not pairs.beating or fit.glide is None:
        return pairs
    steady = fit_without_glide(fit.frames, fit.follows)
    noise = np.minimum(fit.noise, steady.noise)  # what either leaves beyond the noise must not pass for noise
    believe_noise(steady, noise)
    still = with_planes(steady, kept, string_hz, like=pairs if pairs.tied is not None else None)
    if np.any(noise < _LESS_NOISE * fit.noise):
        believe_noise(fit, noise)
        pairs = with_planes(fit, kept, string_hz, like=pairs)
    less = still.misfit + _PAIR_COST * still.beating < pairs.misfit + _PAIR_COST * pairs.beating + GLIDE_EVIDENCE
    return still if less else pairs


def _partial_numbers(coarse: CoarsePitch, sample_rate: float) -> Array:
    most = int(np.clip(np.sqrt(_WORK / coarse.f0_hz), _FEWEST_PARTIALS, _MOST_PARTIALS))
    numbers = np.arange(1.0, most + 1.0)
    return np.asarray(numbers[(coarse.partial_hz(numbers) < 0.45 * sample_rate) | (numbers == 1)])


def _clear_of_mains(partial_hz: Array, mains_hz: Array, *, span_s: float) -> Array:
    """1 for partials that stand clear of the mains' multiples; a narrower berth where too few would be left."""
    if not len(mains_hz):
        return np.ones(len(partial_hz))
    distance = np.min(np.abs(partial_hz[:, None] - mains_hz[None, :]), axis=1)
    for cycles in _BERTHS_CYCLES:
        clear = distance >= cycles / span_s
        if np.sum(clear) >= _FEWEST_CLEAR:
            break
    return np.asarray(clear, dtype=np.float64)


def _snr_db(fit: PartialFit, kept: NDArray[np.bool_]) -> float:
    """The string's power in the first quarter second against the noise in the band of its partials."""
    early = fit.frames.time_s < fit.frames.time_s[0] + 0.25
    power = 0.5 * float(np.mean(np.sum(np.abs(fit.amplitudes()[early][:, kept]) ** 2, axis=1)))
    band_hz = float(np.max(fit.frames.reference_hz))
    noise = float(middle(fit.noise)) * fit.frames.length_s / 3.0 * 2.0 * band_hz
    return 10.0 * float(np.log10(power / max(noise, 1e-30)))


def _widened(pairs: Pairs) -> float:
    if not pairs.beating:
        return 1.0
    steady, gliding = _BEATING_WIDENED if pairs.tied is None else _TIED_WIDENED
    return steady if pairs.fit.glide is None else gliding


def _reading(
    string: StiffString,
    pairs: Pairs,
    kept: NDArray[np.bool_],
    coarse: CoarsePitch,
    flags: list[Flag],
    details: dict[str, float],
    limits: Limits,
) -> NoteReading:
    fit = pairs.fit
    time = fit.frames.time_s
    half = fit.frames.length_s / 2.0
    snr_db = _snr_db(fit, kept)
    common_cents = 0.0
    if fit.glide_effect is not None and fit.glide_covariance is not None:
        moved = fit.glide_effect[:, kept] @ string.influence
        common_cents = float(np.sqrt(np.maximum(0.0, moved @ fit.glide_covariance @ moved))) * CENTS
    split_cents = float(np.linalg.norm((pairs.shared_hz / pairs.frequency_hz)[:, kept] @ string.influence)) * CENTS
    widened = _widened(pairs)
    share_left = 0.0 if fit.glide is None else float(np.exp(-time[-1] / fit.glide.tau_s))
    common_cents *= min(_GLIDE_WIDENED + _GLIDE_WIDENED_BY_LEFT * share_left, _GLIDE_WIDENED_MOST)
    u_cents = float(np.linalg.norm([string.u_cents, common_cents, split_cents])) * widened
    glide_cents = 0.0 if fit.glide is None else fit.glide.cents
    left = glide_cents * share_left
    wander = wander_cents(fit if pairs.weaker is None else replace(fit, frames=without(fit.frames, pairs.weaker)))
    if pairs.beating and pairs.level > limits.beating_level:
        flags.append(Flag.BEATING)
    if wander > limits.wander_cents:
        flags.append(Flag.UNSTABLE)
    if snr_db < limits.quiet_snr_db:
        flags.append(Flag.TOO_QUIET)
    if left > limits.glide_left_cents:
        flags.append(Flag.STILL_GLIDING)
    if coarse.explained < limits.explained or string.scatter_cents > limits.scatter_cents:
        flags.append(Flag.NOT_A_STRING)
    if u_cents > limits.unsure_cents or coarse.lead < limits.lead:
        flags.append(Flag.UNSURE)
    details |= {
        "scatter_cents": string.scatter_cents,
        "wander_cents": wander,
        "glide_left_cents": left,
        "glide_tau_s": 0.0 if fit.glide is None else fit.glide.tau_s,
        "u_glide_cents": common_cents,
        "u_split_cents": split_cents,
        "effective_partials": string.effective_partials,
    }
    return NoteReading(
        f1_hz=string.f1_hz,
        u_cents=u_cents,
        inharmonicity=string.inharmonicity,
        u_inharmonicity=string.u_inharmonicity * (_STIFFNESS_WIDENED if pairs.beating and pairs.tied is None else widened),
        snr_db=snr_db,
        partials=int(np.sum(kept)),
        glide_cents=glide_cents,
        flags=tuple(flag for flag in Flag if flag in flags),
        window_s=(float(time[0]) - half, float(time[-1]) + half),
        details=details,
    )


def _unread(flags: list[Flag], details: dict[str, float]) -> NoteReading:
    return NoteReading(None, None, None, None, None, 0, None, flags=tuple(flags), details=details)
