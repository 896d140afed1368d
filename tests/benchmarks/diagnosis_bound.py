"""What no diagnosis could better: the ideal observer of the benchmark's faults.

    python -m tests.benchmarks.diagnosis_bound

It knows what `diagnosis` has to find out: how much every part of a sound neck scatters, how steady the hand was on each string,
and how large each fault is if it is there. Among single faults it names the one of largest posterior odds, when those exceed a
threshold that lets it find something on a stated share of sound necks; no rule names more faults rightly at that share (J. Neyman
& E. S. Pearson, Phil. Trans. R. Soc. A 231, 289, 1933, from memory). Odds before the data shift power from one kind to another.

Conventions
-----------
Linear in small faults, by the forward model's Jacobian at a sound neck; two plucks a note, six strings, twenty frets. mm, cents.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.parameters import parameters_of
from tests.benchmarks.diagnosis import FRETS, NUT_SKEW_MM, OPEN_ERROR_CENTS, SCALE_ERROR_MM
from tests.diagnosis.necks import steel_neck
from tests.synth.random_neck import SOUND

Reals = NDArray[np.float64]

PLUCKS, LISTENING_CENTS = 2, 0.05
HALF_NORMAL = (1.0 - 2.0 / np.pi) ** 0.5
SPREADS = {
    "fret_position": SOUND.frets_mm,
    "fret_tilt": SOUND.fret_tilts_mm,
    "scale_length": SCALE_ERROR_MM,
    "nut_position": SOUND.nut_mm,
    "nut_skew": NUT_SKEW_MM,
    "nut_height": SOUND.nut_height_mm,
    "slot_height": SOUND.nut_height_mm,
    "saddle": SOUND.saddle_mm,
    "saddle_height": 2.0 * SOUND.action_mm,
    "relief": SOUND.relief_mm * HALF_NORMAL,
    "pressure": SOUND.finger_depth_mm * HALF_NORMAL,
    "end": SOUND.end_stiffness,
    "finger": SOUND.finger_behind_mm,
    "log_kappa": SOUND.core,
    "log_beta": 0.5 * SOUND.core,
    "string": 0.15,  # 0.3 cent at the worst note, about half of it over all
    "open_note": OPEN_ERROR_CENTS,
}
"""Of the parameters that scatter on the benchmark's sound necks; the others do not."""
FAULTS = (
    ("fret_tilt", (0.35, -0.35)),
    ("fret_position", (0.25, -0.25, 0.40, -0.40)),
    ("nut_height", (0.4,)),
    ("nut_position", (0.9, -0.9)),
    ("saddle", (2.5, -2.5)),
)
ASKED = (("fret_tilt", 0.35), ("fret_position", 0.25), ("nut_height", 0.4))


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One fault of known size."""

    kind: str
    column: int
    fret: int | None
    size: float


def suspects() -> tuple[list[Suspect], Reals, Reals]:
    """All faults, what each does to the notes in cents, shape (notes, faults), and the sound necks' covariance."""
    design = as_designed(steel_neck(frets=FRETS))
    table = parameters_of(design, open_u_cents=[OPEN_ERROR_CENTS] * len(design.neck.strings))
    jacobian = ForwardModel(design=design, parameters=table).jacobian(np.array(table.means))
    spread = np.array([SPREADS.get(key.kind, 0.0) for key in table.keys])
    found = [
        Suspect(kind=kind, column=column, fret=table.keys[column].fret, size=size)
        for kind, sizes in FAULTS
        for column in table.columns(kind)
        for size in sizes
    ]
    effects = jacobian[:, [one.column for one in found]] * [one.size for one in found]
    return found, np.asarray(effects), np.asarray((jacobian * spread**2) @ jacobian.T)


def sampled_odds(hands: int, necks: int, rng: np.random.Generator) -> dict[str, tuple[Reals, NDArray[np.intp]]]:
    """Log likelihood ratios, shape (necks, faults), and the true fault's number: of sound necks, and of each fault asked."""
    found, effects, covariance = suspects()
    strings = as_designed(steel_neck(frets=FRETS)).string
    odds: dict[str, list[Reals]] = {}
    truth: dict[str, list[NDArray[np.intp]]] = {}
    for _ in range(hands):
        hand = rng.uniform(*SOUND.hand_cents, strings.max() + 1)
        noise = np.diag((hand[strings] ** 2 + LISTENING_CENTS**2) / PLUCKS)
        root = np.linalg.cholesky(covariance + noise)
        white = np.linalg.solve(root, effects)
        for name, true in (("sound", None), *((kind, size) for kind, size in ASKED)):
            fits = [
                number
                for number, one in enumerate(found)
                if one.kind == name and abs(one.size) == true and (one.fret is None or 2 <= one.fret <= 17)
            ]
            drawn = rng.choice(fits, necks) if fits else np.full(necks, -1)
            heard = rng.standard_normal((necks, len(root))) + (white[:, drawn].T if fits else 0.0)
            odds.setdefault(name, []).append(heard @ white - 0.5 * np.sum(white**2, axis=0))
            truth.setdefault(name, []).append(drawn)
    return {name: (np.concatenate(odds[name]), np.concatenate(truth[name])) for name in odds}


def named_rightly(sampled: dict[str, tuple[Reals, NDArray[np.intp]]], *, wrong: float, favour_tilt: float) -> dict[str, float]:
    """Share of each fault's necks on which it is named, when something is found on the share `wrong` of sound necks."""
    found = suspects()[0]
    kinds = [one.kind for one in found]
    before = np.array([(favour_tilt if kind == "fret_tilt" else 0.0) - np.log(kinds.count(kind)) for kind in kinds])
    limit = np.quantile(np.max(sampled["sound"][0] + before, axis=1), 1.0 - wrong)
    part = np.array([one.column for one in found])
    way = np.sign([one.size for one in found])
    rates = {}
    for kind, _ in ASKED:
        odds, true = sampled[kind]
        odds = odds + before
        best = np.argmax(odds, axis=1)
        right = (part[best] == part[true]) & (way[best] == way[true]) & (np.max(odds, axis=1) > limit)
        rates[kind] = float(np.mean(right))
    return rates


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--hands", type=int, default=400, help="draws of the hand's steadiness on each string")
    parser.add_argument("--necks", type=int, default=300, help="necks of each kind a hand")
    parser.add_argument("--seed", type=int, default=5)
    options = parser.parse_args()
    sampled = sampled_odds(options.hands, options.necks, np.random.default_rng(options.seed))
    print("found on sound necks   tilt favoured   one tilted 0.35 mm   one fret 0.25 mm out   nut slots 0.4 mm high")
    for wrong in (0.05, 0.03):
        for favour in (0.0, 0.5, 1.0, 2.0):
            rates = named_rightly(sampled, wrong=wrong, favour_tilt=favour)
            print(f"{wrong:20.0%}   e^{favour:<11.1f}   " + "   ".join(f"{rates[kind]:>18.1%}" for kind, _ in ASKED))


if __name__ == "__main__":
    main()
