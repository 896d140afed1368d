"""Pass, fail or undecided, from the probability that a note lies within its limit.

JCGM 106:2012, "The role of measurement uncertainty in conformity assessment": section 7 (probability of conformity),
8 (guard bands: acceptance limits moved inward by w = r·U, U = 2u) and 9 (consumer's and producer's risk).

Conventions
-----------
Deviations and uncertainties in cents (any one unit will do); `u` is a standard uncertainty of a normal distribution.
A note passes when the probability that it lies outside is at most the risk, fails when the probability that it lies
inside is at most the risk, and is undecided between. With a guard band w: passes within limit − w, fails beyond limit + w.
The neck passes when all its notes together conform with probability 1 − risk, and fails when any note fails.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from fretcheck.diagnosis.result import Decision, NoteExplained, Verdict, Worst
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError


def conformity(value: ArrayLike, u: ArrayLike, *, lower: float = -math.inf, upper: float = math.inf) -> NDArray[np.float64]:
    """Probability that the true value lies within [lower, upper] (JCGM 106, 7.3–7.4; flat prior).

    Parameters
    ----------
    value, u : array_like
        Measured values and their standard uncertainties (0 is allowed: then the answer is 0 or 1).
    lower, upper : float
        Tolerance limits, in the unit of `value`.

    Returns
    -------
    ndarray
        Probabilities, of the broadcast shape of `value` and `u`.

    Raises
    ------
    UsageError
        When an uncertainty is negative or not a number, or the limits are the wrong way round.

    Examples
    --------
    >>> round(float(conformity(13.6, 1.8, lower=12.5, upper=16.3)), 4)
    0.6626
    """
    value, u = np.broadcast_arrays(np.asarray(value, dtype=float), np.asarray(u, dtype=float))
    if np.any(np.isnan(u)) or np.any(u < 0):
        raise UsageError(f"standard uncertainty {float(np.min(u))}: must be 0 or more")
    if not lower < upper:
        raise UsageError(f"tolerance limits {lower} and {upper} are the wrong way round")
    exact = u == 0
    scale = np.where(exact, 1.0, u)
    probability = ndtr((upper - value) / scale) - ndtr((lower - value) / scale)
    inside = (value >= lower) & (value <= upper)
    return np.asarray(np.where(exact, inside.astype(float), probability))


def guard_band(u: float, *, ratio: float) -> float:
    """Width w = r·U of a guard band, U = 2u the expanded uncertainty (JCGM 106, 8.3.2).

    A value that lies on the acceptance limit then has the probability Φ(−2r) of lying outside.
    """
    return 2.0 * ratio * u


def decide(
    value: float, u: float, *, limit: float, risk: float = 0.05, guard_band_cents: float | None = None
) -> tuple[Decision, float]:
    """Decision about one value against ±`limit`, and its probability of conformity."""
    probability = float(conformity(value, u, lower=-limit, upper=limit))
    if guard_band_cents is not None:
        if abs(value) <= limit - guard_band_cents:
            return "pass", probability
        return ("fail" if abs(value) > limit + guard_band_cents else "undecided"), probability
    if probability >= 1.0 - risk:
        return "pass", probability
    return ("fail" if probability <= risk else "undecided"), probability


def judge(
    notes: Sequence[NoteExplained],
    *,
    limit_cents: float,
    settings: DiagnosisSettings | None = None,
    frets_out: Sequence[int] = (),
    found: bool = True,
) -> Verdict:
    """Verdict on a neck from its notes.

    Open notes are left out unless `settings.judge_open_notes`: they say how the string was tuned, not how the neck is made.
    `frets_out` are frets beyond the neck's tolerance in mm beyond doubt, which fail it too; `found` says whether the diagnosis
    found anything.
    """
    settings = settings or DiagnosisSettings()
    judged = [note for note in notes if note.fret > 0 or settings.judge_open_notes]
    if not judged:
        return Verdict(
            decision="undecided",
            limit_cents=limit_cents,
            worst=None,
            reason="No fretted note was read, so there is nothing to judge.",
        )
    furthest = max(judged, key=lambda note: (-note.probability_conforming, abs(note.heard_cents)))
    worst = Worst(
        string=furthest.string,
        fret=furthest.fret,
        deviation_cents=furthest.heard_cents,
        probability_conforming=furthest.probability_conforming,
    )
    together = math.prod(note.probability_conforming for note in judged)
    failing = [note for note in judged if note.decision == "fail"]
    decision, reason = _of_neck(judged, failing, together, limit_cents, settings)
    if frets_out:
        decision = "fail"
        what = f"Fret {frets_out[0]} is" if len(frets_out) == 1 else f"Frets {', '.join(map(str, frets_out))} are"
        reason = f"{what} out of place by more than the tolerance in mm. {reason}"
    elif decision == "pass" and not found:
        reason = f"Nothing is wrong beyond tolerance. {reason}"
    return Verdict(decision=decision, limit_cents=limit_cents, worst=worst, reason=reason)


def _of_neck(
    judged: list[NoteExplained], failing: list[NoteExplained], together: float, limit_cents: float, settings: DiagnosisSettings
) -> tuple[Decision, str]:
    count = len(judged)
    limit = f"±{limit_cents:g} cents"
    if failing:
        share = "1 note is" if len(failing) == 1 else f"{len(failing)} notes are"
        return "fail", f"{share} outside {limit} beyond doubt, of {count} judged."
    if settings.guard_band_cents is not None:
        if all(note.decision == "pass" for note in judged):
            return (
                "pass",
                f"All {count} notes lie within {limit} by more than the guard band of {settings.guard_band_cents:g} cents.",
            )
    elif together >= 1.0 - settings.risk:
        chance = 100.0 * (1.0 - together)
        some = f"{chance:.1f} %" if chance >= 0.1 else "below 0.1 %"
        return "pass", f"All {count} notes lie within {limit}; the probability that one does not is {some}."
    unsure = sum(note.decision == "undecided" for note in judged)
    if unsure:
        what = "1 note lies" if unsure == 1 else f"{unsure} notes lie"
        return "undecided", f"{what} too near {limit} for the uncertainty of the readings; more plucks of them would decide."
    return (
        "undecided",
        f"Each note passes by itself, but that all {count} lie within {limit} is only {100.0 * together:.0f} % probable; "
        "more plucks of the worst would decide.",
    )


def global_risks(
    *, target: float, u_process: float, u_measurement: float, tolerance: tuple[float, float], acceptance: tuple[float, float]
) -> tuple[float, float]:
    """Consumer's and producer's risk of accepting by measurement (JCGM 106, 9.5.2).

    Parameters
    ----------
    target, u_process : float
        Mean and standard deviation of the parts as made (normal).
    u_measurement : float
        Standard uncertainty of one measurement.
    tolerance, acceptance : (float, float)
        Limits for the true value, and for the measured one.

    Returns
    -------
    (float, float)
        Probability that a part is nonconforming and accepted, and that it is conforming and rejected.

    Notes
    -----
    The double integral is done over the true value by Gauss–Legendre rules between the tolerance limits and out to
    ±9 standard deviations; the inner integral is closed.
    """
    nodes, weights = np.polynomial.legendre.leggauss(200)

    def accepted_mass(low: float, high: float, *, accepted: bool) -> float:
        low, high = max(low, -9.0), min(high, 9.0)
        if high <= low:
            return 0.0
        z = 0.5 * (high - low) * nodes + 0.5 * (high + low)
        density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        chance = conformity(target + u_process * z, u_measurement, lower=acceptance[0], upper=acceptance[1])
        return float(0.5 * (high - low) * np.sum(weights * density * (chance if accepted else 1.0 - chance)))

    low, high = ((limit - target) / u_process for limit in tolerance)
    consumer = accepted_mass(-math.inf, low, accepted=True) + accepted_mass(high, math.inf, accepted=True)
    return consumer, accepted_mass(low, high, accepted=False)
