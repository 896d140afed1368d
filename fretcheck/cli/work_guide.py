"""What leads through work on one neck: its places one by one, and what the plucks tell of each."""

from collections.abc import Sequence
from typing import get_args

from fretcheck.diagnosis.conclude.worked_part import BeforeWork, NeckAtWork, Place, WorkedPart
from fretcheck.diagnosis.result import Move
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import observations_in
from fretcheck.inspection.document import InspectionDocument
from fretcheck.neck.description import Neck

PART_OF_MOVE: dict[str, WorkedPart] = {
    "saddle": "saddle",
    "fret": "fret",
    "nut": "nut",
    "nut_height": "nut_slots",
    "string": "string",
}


class WorkGuide(NeckAtWork):
    """The `Guide` of a work session: one place after another, at least one, in the order in which they are worked on."""

    def __init__(self, before: BeforeWork, places: Sequence[Place]) -> None:
        super().__init__(before, places[0])
        self._places = tuple(places)
        self._number = 0

    @property
    def title(self) -> str:
        """What is worked on, and which of how many."""
        words = place_title(self.place)
        return words if len(self._places) == 1 else f"{words}, {self._number + 1} of {len(self._places)}"

    def next_part(self) -> bool:
        """Go on to the next place; False when there is none."""
        if self._number + 1 == len(self._places):
            return False
        self._number += 1
        self.begin(self._places[self._number])
        return True


def place_title(place: Place) -> str:
    """A part in a word or two."""
    words = {"nut_slots": "nut slots", "string": "new string"}.get(place.part, place.part)
    if place.end is not None:
        words = f"{place.end} end of the {words}"
    if place.fret is not None:
        words += f" {place.fret}"
    if place.string is not None:
        words += f" {place.string}" if place.part == "string" else f" of string {place.string}"
    return words


def place_chosen(neck: Neck, part: str, *, string: int | None, fret: int | None) -> Place:
    """The place that options name.

    Raises UsageError: a part that is none, or a string or fret that is missing, out of place, or not on this neck.
    """
    if part not in get_args(WorkedPart):
        raise UsageError(f"--part {part[:40]} is none: choose {', '.join(get_args(WorkedPart))}")
    known: WorkedPart = next(one for one in get_args(WorkedPart) if one == part)
    if (part == "fret") != (fret is not None):
        raise UsageError("--part fret needs --fret: which fret?" if part == "fret" else f"--fret is for --part fret, not {part}")
    if string is not None and part == "fret":
        raise UsageError("a fret is worked on across the neck: leave --string out")
    if part == "string" and string is None:
        raise UsageError("--part string needs --string: which string?")
    if string is not None and not 1 <= string <= len(neck.strings):
        raise UsageError(f"--string {string} is not on this neck; it has 1 to {len(neck.strings)}")
    if fret is not None and not 1 <= fret <= neck.frets:
        raise UsageError(f"--fret {fret} is not on this neck; it has 1 to {neck.frets}")
    if part == "nut_slots" and neck.zero_fret:
        raise UsageError("this neck has a zero fret: its nut slots do not decide how high the strings lie")
    return Place(part=known, string=string, fret=fret)


def places_after(document: InspectionDocument) -> list[Place]:
    """Every move that an inspection advised, in its order. Raises UsageError when it advised none."""
    places = [_place(move, step.text) for step in document.corrections for move in step.moves if step.kind != "measure"]
    if not places:
        measure = next((step.text for step in document.corrections), None)
        raise UsageError(f"inspection {document.id} advises no work" + (f": {measure}" if measure else ""))
    return places


def _place(move: Move, text: str) -> Place:
    return Place(
        part=PART_OF_MOVE[move.part],
        string=move.string,
        fret=move.fret,
        end=move.end,
        asked_mm=None if move.part == "nut_height" else move.move_mm,
        to_clearance_mm=move.to_clearance_mm,
        text=text,
    )


def before_work(neck: Neck, document: InspectionDocument | None) -> BeforeWork:
    """What the notes read before, from an inspection where there is one."""
    return BeforeWork.as_designed(neck) if document is None else BeforeWork.as_heard(neck, observations_in(document.readings))
