"""Documents of version 0.1 in the shape of today's: shown as they were judged then, their `coverage` null.

What was not known then stays null. A note's value was the mean of its plucks, so it is both deviation and plucked.
"""

from typing import Any

FIRST_SCHEMA = "fretcheck/inspection/1"


def upgraded(content: dict[str, Any]) -> dict[str, Any]:
    """A document ``fretcheck/inspection/1`` as ``/2``; what is not of its kind is left for the model to refuse."""
    answer = {key: value for key, value in content.items() if key != "schema"}
    for name, one_by_one in (("frets", _note), ("corrections", _correction)):
        parts = content.get(name)
        if isinstance(parts, list):
            answer[name] = [one_by_one(part) if isinstance(part, dict) else part for part in parts]
    return answer


def _note(part: dict[str, Any]) -> dict[str, Any]:
    part = dict(part)
    within = part.pop("probability_conforming", None)
    if isinstance(within, float | int):
        part["probability_out"] = 1.0 - within
    part["plucked_cents"] = part.get("deviation_cents")
    return part


def _correction(part: dict[str, Any]) -> dict[str, Any]:
    move = {name: part[name] for name in ("part", "string", "fret", "move_mm", "u_mm") if name in part}
    rest = {name: value for name, value in part.items() if name not in move and name != "worst_after_cents"}
    predicted = {"worst_cents": part.get("worst_after_cents"), "probability_within": None}
    return {**rest, "kind": "repair", "moves": [move], "predicted": predicted}
