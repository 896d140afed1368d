"""Exit code of a judged inspection."""

from fretcheck.errors import EXIT_DONE, EXIT_OUT_OF_TOLERANCE, EXIT_UNDECIDED
from fretcheck.inspection.document import InspectionDocument

_CODES = {"pass": EXIT_DONE, "fail": EXIT_OUT_OF_TOLERANCE}


def exit_code_of(document: InspectionDocument) -> int:
    """0 within tolerance, 1 out of tolerance, 3 undecided or not judged."""
    return _CODES.get(document.verdict.decision or "", EXIT_UNDECIDED)
