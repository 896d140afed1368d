"""Plucking only what decides: after each batch, whether all is decided, and if not what is asked next and why.

It is decided when the verdict is, no cause is between 20 and 90 %, and of the frets that are not named none may be out by what is
looked for with more than 1 %, or all together with 5 % at most. A pass needs every note heard that is out with more than 1 %,
and a second pluck of one that was out at its only one (`next_notes`). A posterior does not depend on when one stops: that the
verdict stand two rounds running was asked once, and took a batch or two more of one sound neck in four; without it 8 sound necks
passed, and 8 that are 1 cent out failed.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from fretcheck.diagnosis.conclude.next_notes import LOOK_FOR_MM, MOST_NOTES, MOST_STRINGS, WhatIsOpen, what_is_open
from fretcheck.diagnosis.conclude.notes import Place
from fretcheck.diagnosis.conclude.verdict import percent
from fretcheck.diagnosis.conclude.words import name
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.description import Neck

MOST_PLUCKS = 130  # Open ones included; two plucks of every note of a guitar are 258


@dataclass(frozen=True, kw_only=True)
class Round:
    """What follows from the readings so far."""

    # To be plucked next, by string and fret, a note as often as it is to be plucked; none when there is nothing more to ask
    notes: tuple[Place, ...]
    decided: bool
    why: str  # Why these are asked, or what it came to: a sentence or two


class Deciding:
    """Keeps what was thought after the round before.

    `asked` (string, fret): the notes that the verdict is about. `look_for_mm`: size of the fault that every fret is looked at
    for; None to stop at the verdict, whatever causes are open. `most_plucks`: open ones included.
    """

    def __init__(
        self,
        neck: Neck,
        asked: Collection[Place],
        *,
        settings: DiagnosisSettings,
        look_for_mm: float | None = LOOK_FOR_MM,
        most_plucks: int = MOST_PLUCKS,
    ) -> None:
        self._neck = neck
        self._asked = frozenset(asked)
        self._settings = settings
        self._look_for_mm = look_for_mm
        self.most_plucks = most_plucks

    def round(self, observations: Sequence[Observation], *, plucks: int, passed_over: Collection[Place] = ()) -> Round:
        """Whether all is decided, and what to ask if not.

        `plucks`: how many have been used, open ones included. `passed_over` (string, fret): notes that the player left out;
        they are not asked again.
        """
        now = what_is_open(self._neck, observations, asked=self._asked, look_for_mm=self._look_for_mm, settings=self._settings)
        if self.settled(now):
            return Round(notes=(), decided=True, why=f"Decided after {plucks} plucks.")
        left = self.most_plucks - plucks
        strings = min(MOST_STRINGS, left // 2)
        notes: tuple[Place, ...] = ()
        if strings > 0:
            notes = now.choose(notes=min(MOST_NOTES, left - strings), strings=strings, passed_over=passed_over)
        if not notes:
            spent = f"all {self.most_plucks} plucks are used" if left < 2 else "no other note would tell"
            return Round(notes=(), decided=self.settled(now), why=f"Stopped after {plucks} plucks: {spent}.")
        return Round(notes=notes, decided=False, why=f"{_question(now)} {_progress(now)}")

    def settled(self, now: WhatIsOpen) -> bool:
        """Whether nothing is open, by this round alone."""
        return (now.side == "fail" or (now.side == "pass" and not now.to_hear)) and now.causes_decided


def _question(now: WhatIsOpen) -> str:
    suspects = [name(one.estimate, kind=one.kind) for one in now.suspects[:2]]
    if suspects:
        return f"Is it {' or '.join(suspects)}?"
    if now.side == "undecided":
        return f"Are all notes within ±{now.limit_cents:g} cents?"
    if now.side == "pass" and now.to_hear:
        string, fret = now.to_hear[0]
        why = "was out when it was plucked" if now.to_hear[0] in now.out_once else "may be out and was not heard"
        return f"String {string}, fret {fret} {why}."
    return "Once more, to be sure."


def _progress(now: WhatIsOpen) -> str:
    return f"All within: {percent(now.within)} so far."
