"""One pluck in, one reading out.

What the pitch of a real string is
----------------------------------
A plucked string has no single frequency. It moves in two planes some tenths of a hertz apart, which beat, differently in every
partial; resonances of the body pull partials by a cent and more; and it begins sharp and settles as its swing dies away. Here
its pitch is that of partial 1 of the stiff string, f_n = n·f0·√(1+B·n²), on which its partials agree best, as it would be when
settled:

- over the window from 0.05 s after the onset (0.02 s where the note is shorter than 0.4 s) until the note has faded by 10 dB,
  though 0.5 s at least and 1.5 s at most, or to the hand, the next pluck or the end, if they come before;
- in each partial the mean frequency over that window, weighted by the partial's own amplitude, so that a beat counts with what
  it carries;
- less the glide that all partials share, tied to the decay of the note's power, and believed only so far as the note shows it;
- over the partials the stiff string's law with Student weights, so that a partial which beats or is pulled counts less.

Open and fretted notes are read by the same rule, with all partials below 6 kHz up to a number that falls as the pitch rises;
nothing is chosen by what the note is. The window is tied to the note's own fading, so that a fretted note, which glides and dies
sooner, is heard as far into its glide as the open one. What stays open, and is in `u_cents`: glide and slow beats, 0.3 to 0.5
cents in most notes and 2 cents in one of ten; the partials' disagreement, 0.2 cents; noise, below 0.03.

How well that keeps intervals was measured on whole necks of resampled recorded plucks, whose intervals are known exactly, heard
as recordings (`tests.real.necks`, 29 November): 95 % come within 0.6 (guitars) and 0.9 cents (basses) up to fret 12, within 0.9
and 1.0 up to fret 20, and 98 and 91 % within 2u; a plain spectrum over the fixed window is off by 2.1 and 2.6 there.

What is left is mostly the strings' own: the pitch to which a hard pluck settles does not sound while it is read. Single strings
sink by 3 to 12 cents in 3 s, up to half of it after the first, in all partials at once. A fret's note, here, runs through that
fall up to three times as fast: no window of seconds hears both alike, and one of decibels is cut short by the 1.5 s of slow
notes and the 0.5 s of quick ones. Read directly, 95 % of these intervals are within 1.0 and 0.8 cents; where the open note is
heard over the very stretch of its fall that the fret's reading heard, which takes its third and fourth second, within 0.6 and
0.6 (`tests.benchmarks.real_plucks`). So much is the reading's; the rest has to be guessed ahead, and u allows for it.
"""

import numpy as np
from numpy.typing import ArrayLike

from fretcheck.arrays import Reals
from fretcheck.clipping import clipped_frames
from fretcheck.errors import UsageError
from fretcheck.pitch.coarse import CoarsePitch, coarse_pitch, mains_lines_hz, other_string_db
from fretcheck.pitch.partials.band import Band
from fretcheck.pitch.partials.bands import Bands, partial_bands
from fretcheck.pitch.partials.correlated import blocks, variance
from fretcheck.pitch.partials.glide import pooled_glide
from fretcheck.pitch.partials.phase_lines import PhaseLines, phase_lines
from fretcheck.pitch.partials.stiff_string import fit_string
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.remarks import Remark
from fretcheck.pitch.window import fading_frames, ringing_frames
from fretcheck.units import CENTS_PER_NEPER

LOWEST_RATE_HZ = 4_000.0  # two octaves above the highest open string of a guitar, the least that tells a partial from the note
LAST_S = 1.5
UNSURE_CENTS, UNREADABLE_CENTS = 2.0, 5.0  # twice and five times what a hand repeats to

START_S, SHORT_NOTE_S, SHORT_START_S = 0.05, 0.4, 0.02  # from 0.1 s on, the halves of real notes agree no better
_END_MARGIN_S = 0.004
_SHORTEST_S, _FEWEST_FRAMES = 0.1, 8  # less holds no line through a phase worth the name
_AFTER_CLIPPING_S = 0.005
# f0 times the square of the number of partials: 20 at 200 Hz. Twice and half as many read alike; more than 32 of a bass do not
# follow the law, and moved its frets by half a cent
_WORK, _FEWEST_PARTIALS, _MOST_PARTIALS, _HIGHEST_HZ = 8e4, 8, 32, 6_000.0
_BERTH_HZ = 10.0  # from a line of the mains: a narrower band would hear further than the window's ends allow
_LEAST_DURATION_S = 0.1
# a partial that strays further from the coarse comb is another's; one whose phase strays by more, rms, has slipped a turn or
# beats as deep as it sounds: with 1.5 in place of 0.8 rad the frets of bass strings strayed by 2.2 instead of 0.75 cents (95 %)
_OFF_COMB_CENTS, _LOST_RAD = 40.0, 0.8

# Calibrated on half A of the recorded instruments (`tests.benchmarks.real_plucks`): halves of a note within twice their joint u
# in 95 %, a plain spectrum in 97 %; half B, which judged them: 96 and 94 %. The other way about, B asks for 0.80, and with
# that 91 and 96 % of A's agree.
_WIDENED = 0.82
_FLOOR_CENTS = 0.2
_FLOOR_B = 2e-6  # with it B of the halves of 134 real notes agrees within twice the joint u in 90 %, without in 87

_QUIET_RMS = 1e-5  # −100 dB: nothing to hear
_QUIET_SNR_DB = 3.0  # below, it is the room that keeps the partials from agreeing
_CLIPPED, _CLIPPED_AWAY = 1e-4, 0.3  # share of the frames; a note clipped at 0.3 of its peak is still read to 0.1 cents
_LEAD = 0.25  # in peaks' worth: almost all of a pure tone's lead over its lower octave; the wrong notes of
# 4,938 had less, or another string's lines, or no odd partials
_OTHER_STRING_DB = -6.0  # another string's lines; neighbours that ring along in slapped basses reach −8 dB
_FEW_PARTIALS = 3  # beside other lines as strong: a bell, a knock
_REASON_CENTS = 1.0  # of u: what a hand repeats to; a lesser share is not worth a word
_WANDER_CENTS = 2.5  # of 167 recorded plucks, 2 are beyond


def read_pluck(
    samples: Reals,
    sample_rate: float,
    *,
    settled_from: int = 0,
    noise_rms: float | None = None,
    hint_hz: float | None = None,
) -> NoteReading:
    """Read the pitch of one pluck.

    `samples` (shape (frames,)): from the onset on, full scale 1; at most the first 1.5 s are read. `sample_rate`: Hz, at least
    4000. `settled_from`: index at which the attack is over. `noise_rms`: RMS of the room before the onset. `hint_hz`: the note
    that is expected; it settles near ties and forces nothing.
    Returns with remarks; what could not be read is None.
    Raises UsageError for sound that is not one channel of finite numbers, or a sample rate that is too low.
    """
    sound = np.asarray(samples, dtype=np.float64)
    if sound.ndim != 1 or not np.all(np.isfinite(sound)):
        raise UsageError(f"a pluck is one channel of finite samples; got shape {sound.shape}, or a NaN or infinity in it")
    if not sample_rate >= LOWEST_RATE_HZ:
        raise UsageError(f"sample rate {sample_rate:g} Hz is too low to read a string; at least {LOWEST_RATE_HZ:g} Hz is needed")
    sound = sound[: round(LAST_S * sample_rate)]
    clipped = clipped_frames(sound)
    if len(clipped) > _CLIPPED_AWAY * len(sound):
        return NoteReading(remarks=(Remark.CLIPPED_AWAY,))
    noticed = [Remark.CLIPPED] if len(clipped) > _CLIPPED * len(sound) else []
    level = float(np.std(sound)) if len(sound) else 0.0
    if level < _QUIET_RMS or (noise_rms is not None and level < noise_rms):
        return _unread(noticed, Remark.TOO_QUIET)
    band = Band(sound - np.mean(sound), sample_rate)
    end_s = band.duration_s - _END_MARGIN_S
    start_s = max(START_S if band.duration_s >= SHORT_NOTE_S else SHORT_START_S, settled_from / sample_rate)
    if len(clipped):
        # what rings on below the limit is whole; as much of it is read as leaves at least half of the note
        start_s = max(start_s, min(float(clipped[-1]) / sample_rate + _AFTER_CLIPPING_S, 0.5 * end_s))
    if end_s - start_s < _SHORTEST_S:
        return _unread(noticed, Remark.TOO_SHORT)
    coarse = coarse_pitch(band, start_s=start_s, end_s=end_s, hint_hz=hint_hz)
    if coarse is None:
        return _unread(noticed, Remark.NOT_A_STRING)
    numbers = partial_numbers(coarse, sample_rate)
    if not len(numbers):
        return _unread(noticed, Remark.HUM_BOUND)
    return read_partials(band, coarse, numbers, start_s=start_s, end_s=end_s, noticed=noticed)


def read_note(samples: ArrayLike, rate: float, *, hint_hz: float | None = None) -> NoteReading:
    """Read the pitch of one pluck: partial 1 of the settled string, with its uncertainty.

    Parameters
    ----------
    samples : array_like, shape (frames,)
        From the onset on, mono, full scale 1; at most the first 1.5 s are read.
    rate : float
        Hz.
    hint_hz : float, optional
        The note that is expected; it settles near ties and forces nothing.

    Raises
    ------
    UsageError
        When the samples are no mono sound, or the rate is too low.

    Examples
    --------
    Ten partials of a string of 220 Hz, stiffness 1e-4, that ring for a second and a half:

    >>> import numpy as np
    >>> time, n = np.arange(72000) / 48000, np.arange(1, 11)[:, None]
    >>> partials = np.exp(-3 * time) / n * np.sin(2 * np.pi * 220 * n * np.sqrt(1 + 1e-4 * n**2) * time)
    >>> note = read_note(0.1 * partials.sum(axis=0), 48000)
    >>> round(note.f1_hz, 2), note.usable
    (220.01, True)
    """
    return read_pluck(np.asarray(samples, dtype=float), rate, hint_hz=hint_hz)


def read_partials(
    band: Band, coarse: CoarsePitch, numbers: Reals, *, start_s: float, end_s: float, noticed: list[Remark]
) -> NoteReading:
    """The reading from partials of those numbers, of a pluck whose coarse pitch is known."""
    lines_hz = mains_lines_hz(coarse.peaks)
    bands = partial_bands(band, coarse.partial_hz(numbers), f0_hz=coarse.f0_hz, start_s=start_s, end_s=end_s, lines_hz=lines_hz)
    if len(bands.time_s) >= _FEWEST_FRAMES:
        power = np.sum(np.abs(bands.values) ** 2, axis=0)
        ringing = ringing_frames(power, step_s=bands.step_s, blur_s=bands.blur_s)
        bands = bands.first(min(ringing, fading_frames(power, step_s=bands.step_s)))
    if len(bands.time_s) < _FEWEST_FRAMES:
        return _unread(noticed, Remark.TOO_SHORT)
    lines = phase_lines(bands)
    strayed_cents = CENTS_PER_NEPER * np.log(np.maximum(lines.frequency_hz, 1.0) / coarse.partial_hz(numbers))
    kept = (lines.lasts_s > min(_LEAST_DURATION_S, 0.3 * (end_s - start_s))) & (np.abs(strayed_cents) < _OFF_COMB_CENTS)
    kept &= lines.rms < _LOST_RAD
    if not np.any(kept):
        kept = lines.energy == np.max(lines.energy)
        if not np.any(lines.energy[kept] > 0.0):
            return _unread(noticed, Remark.HUM_BOUND if len(lines_hz) else Remark.TOO_QUIET)
    lines, numbers = lines.only(kept), numbers[kept]
    glide = pooled_glide(lines, bands.time_s, np.sum(lines.power, axis=0))
    left = lines.strayed - glide.phase
    sums = blocks(lines.influence * left / (2.0 * np.pi * lines.frequency_hz[:, None]), axis=1)
    string = fit_string(
        numbers, lines.frequency_hz * np.exp(-glide.lowered), variance(sums, axis=1), inharmonicity=coarse.inharmonicity
    )
    u_time = CENTS_PER_NEPER * float(np.sqrt(variance(string.influence @ sums, axis=0)))
    u_glide = CENTS_PER_NEPER * float(glide.u_of(string.influence))
    u_cents = float(np.sqrt(string.u_cents**2 + _WIDENED**2 * (u_time**2 + u_glide**2) + _FLOOR_CENTS**2))
    snr_db = _snr_db(lines, bands)
    doubts = _doubts(coarse, len(numbers))
    noticed = [*noticed, *doubts]
    if u_cents > UNREADABLE_CENTS and not doubts:  # partials of no string, or of two, do not agree on a pitch either
        noticed.append(Remark.TOO_QUIET if snr_db < _QUIET_SNR_DB else Remark.UNREADABLE)
    for u, why in ((string.u_cents, Remark.BEATING), (_WIDENED * u_glide, Remark.STILL_GLIDING)):
        if u > _REASON_CENTS:
            noticed.append(why)
    if wander_cents(lines, left, bands.step_s) > _WANDER_CENTS:
        noticed.append(Remark.UNSTABLE)
    if u_cents > UNSURE_CENTS:
        noticed.append(Remark.UNSURE)
    return NoteReading(
        f1_hz=string.f1_hz,
        u_cents=u_cents,
        inharmonicity=string.inharmonicity,
        u_inharmonicity=float(np.hypot(string.u_inharmonicity, _FLOOR_B)),
        snr_db=snr_db,
        partials=len(numbers),
        glide_cents=float(glide.c * CENTS_PER_NEPER),
        remarks=tuple(remark for remark in Remark if remark in noticed),
        window_s=(float(bands.time_s[0]) - bands.blur_s / 2.0, float(bands.time_s[-1]) + bands.blur_s / 2.0),
    )


def partial_numbers(coarse: CoarsePitch, sample_rate: float) -> Reals:
    """Of the partials that are read: those below 6 kHz, and clear of the mains' multiples where hum is heard."""
    most = int(np.clip(np.sqrt(_WORK / coarse.f0_hz), _FEWEST_PARTIALS, _MOST_PARTIALS))
    numbers = np.arange(1.0, most + 1.0)
    partial_hz = coarse.partial_hz(numbers)
    read = (partial_hz < min(_HIGHEST_HZ, 0.45 * sample_rate)) | (numbers == 1)
    lines_hz = mains_lines_hz(coarse.peaks)
    if len(lines_hz):
        read &= np.min(np.abs(partial_hz[:, None] - lines_hz[None, :]), axis=1) > _BERTH_HZ
    return np.asarray(numbers[read])


def _doubts(coarse: CoarsePitch, partials: int) -> list[Remark]:
    """Whether it is this note, and one note."""
    if other_string_db(coarse) > _OTHER_STRING_DB:
        return [Remark.NOT_A_STRING if partials <= _FEW_PARTIALS else Remark.TWO_STRINGS]
    if coarse.mains_beneath:
        return [Remark.HUM_BOUND]
    return [Remark.OCTAVE_IN_DOUBT] if coarse.lead < _LEAD else []


def wander_cents(lines: PhaseLines, left: Reals, step_s: float) -> float:
    """How far the pitch of all partials together strays from settling smoothly, root mean square over tenths of the window."""
    angle = 2.0 * np.pi * lines.frequency_hz[:, None]
    weight = np.sum(lines.weight * angle**2, axis=0)
    advance = np.sum(lines.weight * angle * left, axis=0) / np.maximum(weight, 1e-300)
    edges = np.linspace(0, len(weight) - 1, 11).astype(int)
    ends = advance[edges]
    cents = CENTS_PER_NEPER * np.diff(ends) / np.maximum(np.diff(edges) * step_s, step_s)
    return float(np.sqrt(np.average(cents**2, weights=np.minimum(weight[edges[1:]], weight[edges[:-1]]) + 1e-300)))


def _snr_db(lines: PhaseLines, bands: Bands) -> float:
    """The string's power in the first quarter second against the noise in the band of its partials."""
    early = bands.time_s < bands.time_s[0] + 0.25
    power = float(np.mean(np.sum(lines.power[:, early], axis=0)))
    noise = float(np.median(lines.noise)) / (0.75 * bands.half_width_hz) * float(np.max(lines.frequency_hz))
    return 10.0 * float(np.log10(power / max(noise, 1e-30)))


def _unread(noticed: list[Remark], why: Remark) -> NoteReading:
    return NoteReading(remarks=(why, *noticed))
