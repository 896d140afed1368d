"""`fretcheck inspect NECK --more ID`: the notes that inspection left too close to call, plucked again and joined to it."""

from __future__ import annotations

from fretcheck.errors import UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.more import plucks_wanted
from fretcheck.register.store import open_register


def doubtful_notes(wanted: str, *, register: str | None) -> tuple[InspectionDocument, dict[tuple[int, int], int]]:
    """The inspection as it was kept, and how often each of its doubtful notes is to be plucked now.

    Raises
    ------
    UsageError
        When it is not in the register, or no note of it is worth plucking again.
    """
    with open_register(register, create=False) as store:
        document = store.load(wanted)
    if document.coverage is None:
        raise UsageError(f"inspection {wanted} was judged by version 0.1, which named no doubtful notes: inspect the neck anew")
    plucks = plucks_wanted(document)
    if not plucks:
        if document.verdict.decision != "undecided":
            raise UsageError(f"inspection {wanted} is decided: there is no note to pluck again")
        raise UsageError(
            f"inspection {wanted} is too close to call under this hand, its doubtful notes heard four times each: "
            "accept it, or judge it against another --tolerance"
        )
    return document, plucks
