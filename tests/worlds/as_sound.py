"""A session as it sounds: every pluck's partials, each pulled by the body in its own way, read as any recording is.

Conventions
-----------
Hz, seconds. A pluck sounds at what the session says of it, the body's pull apart: that is put on partial by partial.
"""

from __future__ import annotations

import numpy as np

from fretcheck.diagnosis.observation import Observation
from fretcheck.pitch.reader import read_pluck
from tests.worlds.case import Case
from tests.worlds.fretting import Reals
from tests.worlds.session import against_open

RATE, SECONDS, PARTIALS = 44_100, 1.5, np.arange(1, 25)
PLUCKED_AT = 0.17  # share of the string's length from the bridge: over the sound hole
RING_S, NOISE = 1.2, 1e-3  # partial n falls by e in RING_S/√n; noise against full scale: a quiet room


def pluck(rng: np.random.Generator, case: Case, string: int, fret: int, cents: float) -> Reals:
    """One pluck, `cents` above the nominal pitch."""
    neck, built = case.built.neck, case.built
    f1 = neck.target_hz(string, fret) * 2.0 ** (cents / 1200.0)
    b = built.inharmonicity()[string - 1, fret]
    f = PARTIALS * f1 * np.sqrt((1.0 + b * PARTIALS**2) / (1.0 + b))
    if built.body is not None:
        impedance = built.matter.impedance[string - 1]
        pulls = built.body.partial_cents(f, PARTIALS.astype(float), impedance)
        told = built.body.reading_cents(np.array(f1), np.array(impedance))
        f = f * np.exp2((pulls - told) / 1200.0)
    n = PARTIALS[f < 0.4 * RATE]
    t = np.arange(round(SECONDS * RATE)) / RATE
    size = np.sin(np.pi * n * PLUCKED_AT) / n
    waves = np.sin(2.0 * np.pi * f[: len(n), None] * t + rng.uniform(0.0, 2.0 * np.pi, (len(n), 1)))
    sound = size @ (waves * np.exp(-t * np.sqrt(n)[:, None] / RING_S))
    return np.asarray(0.3 * sound / np.max(np.abs(sound)) + NOISE * rng.standard_normal(len(t)))


def observations_as_sound(case: Case, **asked: object) -> list[Observation]:
    """What is read of a session's sound; plucks that cannot be used are left out. `asked` as for `Case.listener().session`."""
    listener, rng = case.listener(), np.random.default_rng([*case.seed, 4])
    listener.session(**{"plucks": 2, **asked})  # type: ignore[arg-type]
    neck, heard = case.built.neck, []
    for string, fret, cents, at in listener.pitches:
        note = read_pluck(pluck(rng, case, string, fret, cents), float(RATE))
        if note.usable and note.f1_hz is not None and note.u_cents is not None:
            heard.append(
                Observation(
                    string=string,
                    fret=fret,
                    cents=float(1200.0 * np.log2(note.f1_hz / neck.target_hz(string, fret))),
                    u_cents=note.u_cents,
                    start_s=at,
                    inharmonicity=note.inharmonicity,
                    u_inharmonicity=note.u_inharmonicity,
                )
            )
    return [one for s in range(1, len(neck.strings) + 1) for one in against_open([x for x in heard if x.string == s])]
