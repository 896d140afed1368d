"""What else could have made what a cause would make: causes with the same signature, each with its share, and what decides.

A heavy finger at the low frets sounds like a high nut, an open string read sharp like a nut out of place, a string that
stretches more than described like a saddle out of place. What a rival makes is laid on the cause's own pattern over the notes,
as if that cause had made it; then it is asked how probable it is that the rival makes more of what is heard than the cause.

Conventions: a rival counts by how far it lies from what is usual. Shares add up to 1 with the cause's own.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.causes import PossibleCause, given_the_fault
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.result import Cause, Rival

WORTH_NAMING = 0.05  # A rival with a smaller share is not named


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """One rival of one kind of cause: the parameters that it acts through."""

    cause: Cause
    parameters: tuple[str, ...]
    text: str
    of_the_string: bool = False


_STRETCH = "more stretch than described (stiffer, or higher over the frets)"
_OF_KIND: dict[str, tuple[_Kind, ...]] = {
    "nut_height": (
        _Kind(cause="finger_pressure", parameters=("pressure", "finger_low"), text="a finger that presses deep at the low frets"),
    ),
    "nut_position": (
        _Kind(
            cause="tuning_drift", parameters=("open_note",), text="open strings that were plucked harder, or read sharp or flat"
        ),
        _Kind(cause="finger_pressure", parameters=("pressure",), text="a finger that presses deeper, or less, than usual"),
    ),
    "bridge": (
        _Kind(cause="scale_length", parameters=("scale_length",), text="a fretboard of another scale"),
        _Kind(cause="string", parameters=("saddle_height", "relief", "end"), text=f"strings with {_STRETCH}"),
    ),
    "scale_length": (_Kind(cause="saddle_position", parameters=("bridge",), text="the bridge out of place"),),
    "saddle": (
        _Kind(
            cause="string",
            parameters=("log_kappa", "log_beta", "own_end", "own_saddle_height"),
            text=f"a string with {_STRETCH}",
            of_the_string=True,
        ),
    ),
}
_DECIDED_BY = {
    "nut_height": "the clearance over the crown of fret 1 by feeler gauge, or the press test (plan full+press: frets 1 and 5)",
    "nut_position": "the distance from the nut to a fret by rule or calliper",
    "bridge": "the distance from the nut to the saddle by rule, and the action over fret 12",
    "scale_length": "the distance from the nut to the last fret by rule",
    "saddle": "the distance from the nut to that saddle by rule",
}


@dataclass(frozen=True, kw_only=True)
class Contest:
    """A cause among its rivals."""

    own_share: float
    rivals: tuple[Rival, ...]  # The likeliest first, those worth naming
    decided_by: str | None
    together: float  # Probability that cause and rivals together amount to more than the cause's practical size

    @property
    def names(self) -> str:
        """The rivals in words, each with its share."""
        return " or ".join(f"{one.text} ({100.0 * one.share:.0f} %)" for one in self.rivals)


def contest_of(posterior: Posterior, cause: PossibleCause) -> Contest:
    """How a cause stands among its rivals."""
    kinds = _OF_KIND.get(cause.kind, ())
    rows = [_on_pattern(posterior, cause, kind) for kind in kinds]
    usual = posterior.parameters.prior_mean
    sign = 1.0 if given_the_fault(posterior, cause).value >= 0.0 else -1.0
    all_of_them = cause.row + sum(rows, np.zeros(len(usual)))
    against = posterior.of(sign * np.array([all_of_them, *(row - cause.row for row in rows)]))
    offsets = sign * np.array([(all_of_them - cause.row) @ usual, *(row @ usual for row in rows)])
    beyond = 1.0 - against.below(offsets + np.array([cause.estimate.practical_size] + [0.0] * len(rows)))
    odds = beyond[1:] / np.maximum(1.0 - beyond[1:], 1e-9)
    shares = odds / (1.0 + np.sum(odds))
    string = cause.estimate.string
    rivals = [
        Rival(cause=kind.cause, fret=None, string=string if kind.of_the_string else None, share=share, text=kind.text)
        for kind, share in zip(kinds, shares.tolist(), strict=True)
        if share >= WORTH_NAMING
    ]
    return Contest(
        own_share=float(1.0 - np.sum(shares)),
        rivals=tuple(sorted(rivals, key=lambda one: -one.share)),
        decided_by=_DECIDED_BY[cause.kind] if rivals else None,
        together=float(beyond[0]),
    )


def _on_pattern(posterior: Posterior, cause: PossibleCause, kind: _Kind) -> Reals:
    """What a rival makes, as a row on θ in the cause's unit: its cents laid on the cause's own by least squares."""
    parameters = posterior.parameters
    slopes = posterior.slopes
    columns = [
        number
        for number, key in enumerate(parameters.keys)
        if key.kind in kind.parameters and key.string == (cause.estimate.string if kind.of_the_string else None)
    ]
    own = slopes[:, parameters.faults[cause.fault].columns[0]]
    row = np.zeros(len(parameters.keys))
    row[columns] = own @ slopes[:, columns] / float(own @ own)
    return row
