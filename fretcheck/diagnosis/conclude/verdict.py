"""Pass, fail or undecided, from the probability that all notes lie within their limit; and what was listened to.

JCGM 106:2012, "The role of measurement uncertainty in conformity assessment": section 7 (probability of conformity) and 8 (guard
bands: acceptance limits moved inward).

Conventions: Cents. The neck passes when all notes asked for conform together with probability 1 − risk at least, fails when
that probability is at most the risk, and is undecided between: how many notes were tried is in the joint draws. With a guard
band w it passes when every note's value lies within limit − w and fails when one lies beyond limit + w.
"""

from collections.abc import Collection, Sequence

import numpy as np

from fretcheck.diagnosis.conclude.notes import DrawnNotes, Place
from fretcheck.diagnosis.conclude.words import listed_notes
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.result import Coverage, Decision, Note, Verdict, Worst
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.description import Neck

# With fewer read, a string's own fault is not told from the neck's; a neck that has fewer is judged from all of them
FEWEST_STRINGS = 3
LEAST_SHARE = 1.0 / 3.0  # Of the notes asked for; with fewer heard the neck is not judged
OFTEN_ENOUGH = 4  # A note heard so often is not asked again: it is too close to call under this hand
MOST_AGAIN = 12
UNHEARD_OUT = 0.01  # An unheard note that is out with more than this must be heard before the neck passes
OWNED = 0.8  # Share of the doubt that the notes to pluck again own together


def judge(
    drawn: DrawnNotes,
    asked: Collection[Place],
    must_hear: Collection[Place],
    *,
    neck: Neck,
    limit_cents: float,
    settings: DiagnosisSettings,
    frets_out: Sequence[int] = (),
    found: bool = True,
) -> Verdict:
    """Verdict on a neck from the draws of its notes.

    `asked` (string, fret): the notes judged, heard or not. `must_hear` (string, fret): those without which there is no pass.
    `frets_out`: frets surely beyond the neck's tolerance in mm, which fail it too. `found`: whether the diagnosis found
    anything.
    """
    here = drawn.of(asked)
    judged = [note for note, mine in zip(drawn.notes, here, strict=True) if mine]
    heard = [note for note in judged if note.plucks > 0]
    worst = _worst(heard)
    too_little = _too_little(heard, asked, neck)
    if too_little is not None:
        return Verdict(decision=None, limit_cents=limit_cents, probability_within=None, reason=too_little, worst=worst)
    within = float(np.mean(np.all(np.abs(drawn.draws[:, here]) <= limit_cents, axis=1)))
    decision, reason = _of_neck(judged, within, limit_cents, settings)
    missing = set(must_hear) - {(note.string, note.fret) for note in heard}
    if decision == "pass" and missing:
        unheard = listed_notes(missing)
        were = "was" if len(missing) == 1 else "were"
        decision, reason = "undecided", f"{unheard[:1].upper()}{unheard[1:]} {were} not heard. {reason}"
    if frets_out:
        decision = "fail"
        what = f"Fret {frets_out[0]} is" if len(frets_out) == 1 else f"Frets {', '.join(map(str, frets_out))} are"
        reason = f"{what} out of place by more than the tolerance in mm. {reason}"
    elif decision == "pass" and not found:
        reason = f"Nothing is wrong beyond tolerance. {reason}"
    return Verdict(decision=decision, limit_cents=limit_cents, probability_within=within, reason=reason, worst=worst)


def _worst(heard: Sequence[Note]) -> Worst | None:
    if not heard:
        return None
    furthest = max(heard, key=lambda note: (note.probability_out, abs(note.deviation_cents)))
    return Worst(
        string=furthest.string,
        fret=furthest.fret,
        deviation_cents=furthest.deviation_cents,
        probability_conforming=1.0 - furthest.probability_out,
    )


def _too_little(heard: Sequence[Note], asked: Collection[Place], neck: Neck) -> str | None:
    """Why so few notes are no ground for a verdict on the neck; None where they are."""
    strings = {note.string for note in heard if note.fret > 0}
    fewest = min(FEWEST_STRINGS, len(neck.strings))
    if len(strings) < fewest:
        return f"Only {len(strings)} of {len(neck.strings)} strings read: it takes {fewest} to judge the neck."
    if len(heard) < LEAST_SHARE * len(asked):
        return f"Only {len(heard)} of {len(asked)} notes were heard: the neck is judged from a third of them on."
    return None


def _of_neck(judged: Sequence[Note], within: float, limit_cents: float, settings: DiagnosisSettings) -> tuple[Decision, str]:
    count, limit = len(judged), f"±{limit_cents:g} cents"
    out = [note for note in judged if note.decision == "fail"]
    surely = f"{'1 note is' if len(out) == 1 else f'{len(out)} notes are'} surely outside {limit}, of {count} judged."
    if settings.guard_band_cents is not None:
        if out:
            return "fail", surely
        band = f"the guard band of {settings.guard_band_cents:g} cents"
        if all(note.decision == "pass" for note in judged):
            return "pass", f"All {count} notes lie within {limit} by more than {band}."
        unsure = sum(note.decision == "undecided" for note in judged)
        return "undecided", f"{'1 note lies' if unsure == 1 else f'{unsure} notes lie'} within {band} about {limit}."
    if within >= 1.0 - settings.risk:
        return "pass", f"All {count} notes lie within {limit}; the probability that one does not is {percent(1.0 - within)}."
    if within <= settings.risk:
        return "fail", surely if out else f"That all {count} notes lie within {limit} is only {percent(within)} probable."
    return "undecided", f"That all {count} notes lie within {limit} is {percent(within)} probable."


def percent(probability: float) -> str:
    """A probability that draws tell to a tenth of a percent, for a sentence."""
    if probability < 0.001:
        return "below 0.1 %"
    return f"{100.0 * probability:.{0 if probability >= 0.1 else 1}f} %"


def coverage_of(
    posterior: Posterior, draws: JointDraws, drawn: DrawnNotes, asked: Collection[Place], *, limit_cents: float
) -> Coverage:
    """How many of the notes asked for were heard, and the frets where none was."""
    heard = {(note.string, note.fret) for note in drawn.notes if note.plucks > 0}
    cells = posterior.design.cells
    unheard = sorted({cell.fret for cell in cells} - {fret for _, fret in heard})
    there = np.array([cell.press is None and cell.fret in unheard for cell in cells])
    out = np.any(np.abs(draws.notes[:, there]) > limit_cents, axis=1)
    return Coverage(
        asked=len(asked),
        heard=len(heard & set(asked)),
        frets_not_listened_to=tuple(unheard),
        probability_out_there=float(np.mean(out)) if unheard else None,
    )


def doubtful_unheard(drawn: DrawnNotes) -> frozenset[Place]:
    """Notes not heard that are out with more than `UNHEARD_OUT`."""
    return frozenset((one.string, one.fret) for one in drawn.notes if one.plucks == 0 and one.probability_out > UNHEARD_OUT)


def pluck_again(
    drawn: DrawnNotes, asked: Collection[Place], must_hear: Collection[Place], *, limit_cents: float
) -> tuple[Place, ...]:
    """The notes that own most of the probability that one is out, those that had to be heard and were not first, those heard
    often enough left out.

    Of a draw with several notes out each owns its part.
    """
    here = drawn.of(asked)
    out = (np.abs(drawn.draws) > limit_cents) & here
    owned = np.mean(out / np.maximum(np.sum(out, axis=1, keepdims=True), 1), axis=0)
    missing = [n for n in np.flatnonzero(drawn.of(must_hear)) if drawn.notes[n].plucks == 0]
    chosen, doubt = missing, 0.0
    for n in np.argsort(-owned, kind="stable"):
        if doubt >= OWNED * float(np.sum(owned)) or len(chosen) >= MOST_AGAIN + len(missing):
            break
        doubt += float(owned[n])
        if n not in missing and drawn.notes[n].plucks < OFTEN_ENOUGH:
            chosen = [*chosen, n]
    return tuple((drawn.notes[n].string, drawn.notes[n].fret) for n in chosen)
