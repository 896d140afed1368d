"""`fretcheck inspect NECK --more ID`: the notes that inspection left too close to call, plucked again and joined to it."""

from __future__ import annotations

from dataclasses import dataclass

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import Circumstances
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.more import joined, plucks_wanted
from fretcheck.register.store import open_register
from fretcheck.session.reading import Inspection


@dataclass(frozen=True, kw_only=True)
class EarlierInspection:
    """What was kept, and how often each doubtful note is to be plucked now."""

    id: str
    document: InspectionDocument
    plucks: dict[tuple[int, int], int]

    def joined(self, fresh: Inspection, *, settings: DiagnosisSettings, circumstances: Circumstances) -> InspectionDocument:
        """Both judged together."""
        return joined(self.document, fresh, settings=settings, circumstances=circumstances)


def earlier_inspection(wanted: str, *, register: str | None) -> EarlierInspection:
    """Find the inspection and its doubtful notes.

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
    return EarlierInspection(id=wanted, document=document, plucks=plucks)
