"""What a listener with a perfect ear would read on a built neck, pluck by pluck, with the player's hand and the tuning's drift.

Conventions
-----------
Cents as everywhere: a stopped note against equal temperament above the string's own open note, which is drawn as a straight
line through the open plucks heard before and after it; an open note against its nominal pitch. Standard uncertainties.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.synth.strung_neck import BuiltNeck

Press = Literal["light", "firm"]

_U_INHARMONICITY_RELATIVE = 0.02


@dataclass(frozen=True, kw_only=True)
class HeardPluck:
    """One pluck as heard."""

    string: int
    fret: int
    cents: float
    u_cents: float
    """Of the listening alone, without the hand's scatter."""
    start_s: float
    f1_hz: float
    inharmonicity: float
    u_inharmonicity: float
    press: Press | None = None


def sampled_deviations(
    built: BuiltNeck,
    rng: np.random.Generator,
    *,
    plucks: int = 2,
    u_cents: float = 0.05,
    open_hand_cents: float = 0.1,
    seconds_per_pluck: float = 3.0,
    wander_cents: float = 0.03,
) -> list[HeardPluck]:
    """Every string in turn: open, up all frets, open, down all frets, open, … until each fret has had its plucks.

    Parameters
    ----------
    built : BuiltNeck
        Its `hand_cents` and `drift_cents_per_minute` are used.
    rng : numpy.random.Generator
    plucks : int
        Plucks of each stopped note; each string also has plucks + 1 open ones.
    u_cents : float
        Standard deviation of the listening, also given as each pluck's uncertainty.
    open_hand_cents : float
        Scatter of open plucks, by their strength.
    seconds_per_pluck : float
    wander_cents : float
        Random walk of the tuning from pluck to pluck, on top of the steady drift.

    Returns
    -------
    list of HeardPluck
        In order of time.

    Examples
    --------
    >>> from tests.synth.demo import demo_built
    >>> heard = sampled_deviations(demo_built(), np.random.default_rng(2), plucks=2)
    >>> len(heard), [pluck.fret for pluck in heard[:4]]
    (258, [0, 1, 2, 3])
    """
    heard: list[HeardPluck] = []
    start = 0.0
    for string in range(1, len(built.neck.strings) + 1):
        up = list(built.neck.frets_of(string))
        order = [0]
        for turn in range(plucks):
            order += [*(up if turn % 2 == 0 else up[::-1]), 0]
        starts = start + seconds_per_pluck * np.arange(len(order))
        start = float(starts[-1]) + seconds_per_pluck
        drift = built.drift_cents_per_minute.get(string, 0.0) * (starts - starts[0]) / 60.0
        drift = drift + np.cumsum(wander_cents * rng.standard_normal(len(order)))
        true = built.deviations_cents[string - 1, order]
        frets = np.array(order)
        hand = np.where(frets == 0, open_hand_cents, built.hand_cents.get(string, 0.0)) * rng.standard_normal(len(order))
        listening = u_cents * rng.standard_normal(len(order))
        above_nominal = true + drift + hand + listening + np.where(frets == 0, 0.0, built.deviations_cents[string - 1, 0])
        open_line = np.interp(starts, starts[frets == 0], above_nominal[frets == 0])
        cents = np.where(frets == 0, above_nominal, above_nominal - open_line)
        for fret, start_s, deviation, above in zip(order, starts, cents, above_nominal, strict=True):
            heard.append(
                _heard(
                    built,
                    rng,
                    string=string,
                    fret=fret,
                    start_s=float(start_s),
                    cents=deviation,
                    above_nominal=above,
                    u_cents=u_cents,
                )
            )
    return heard


def sampled_press_test(
    built: BuiltNeck,
    rng: np.random.Generator,
    *,
    string: int = 1,
    frets: tuple[int, ...] = (5, 12),
    plucks: int = 3,
    firm_mm: float = 0.5,
    u_cents: float = 0.05,
    start_s: float = 0.0,
    seconds_per_pluck: float = 3.0,
) -> list[HeardPluck]:
    """One string pressed lightly, the finger no deeper than the string's straight line, and firmly, `firm_mm` deeper.

    The tuning is taken not to drift in so short a time; the hand scatters as on any other note.
    """
    heard: list[HeardPluck] = []
    for fret in frets:
        depths: dict[Press, float] = {"light": -built.finger_depth_mm, "firm": firm_mm}
        for press, depth in depths.items():
            true = built.deviation_cents(string, fret, press=depth)
            spread = np.hypot(built.hand_cents.get(string, 0.0), u_cents)
            for _ in range(plucks):
                cents = true + spread * rng.standard_normal()
                above = cents + built.deviations_cents[string - 1, 0]
                heard.append(
                    _heard(
                        built,
                        rng,
                        string=string,
                        fret=fret,
                        start_s=start_s + seconds_per_pluck * len(heard),
                        cents=cents,
                        above_nominal=above,
                        u_cents=u_cents,
                        press=press,
                    )
                )
    return heard


def _heard(
    built: BuiltNeck,
    rng: np.random.Generator,
    *,
    string: int,
    fret: int,
    start_s: float,
    cents: float,
    above_nominal: float,
    u_cents: float,
    press: Press | None = None,
) -> HeardPluck:
    """One pluck, its B read with a relative standard uncertainty of 2 %."""
    inharmonicity = built.inharmonicity(string, fret)
    return HeardPluck(
        string=string,
        fret=fret,
        cents=float(cents),
        u_cents=u_cents,
        start_s=start_s,
        f1_hz=float(built.neck.target_hz(string, fret) * 2.0 ** (above_nominal / 1200.0)),
        inharmonicity=inharmonicity * (1.0 + _U_INHARMONICITY_RELATIVE * float(rng.standard_normal())),
        u_inharmonicity=_U_INHARMONICITY_RELATIVE * inharmonicity,
        press=press,
    )
