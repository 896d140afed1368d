"""What was listened to and what was not, and which notes would decide if they were plucked again."""

from collections.abc import Collection

import numpy as np

from fretcheck.diagnosis.conclude.notes import DrawnNotes, Place
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.result import Coverage

OFTEN_ENOUGH = 4  # A note heard so often is not asked again: it is too close to call under this hand
MOST_AGAIN = 12
UNHEARD_OUT = 0.01  # An unheard note that is out with more than this must be heard before the neck passes
OWNED = 0.8  # Share of the doubt that the notes to pluck again own together


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
