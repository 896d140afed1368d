"""What inspects a neck in the batch tests: importable by name, so that other processes can run it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from fretcheck.errors import RecordingError
from fretcheck.inspection.document import InspectionDocument
from tests.lots.shop import inspection


class _Unsendable(InspectionDocument):
    """Stands for a result that never reaches the one who asked for it."""

    def __reduce_ex__(self, _protocol):
        raise TypeError("lost on its way")


def inspect(neck_file: Path, folder: Path, *, limit_cents: float = 3.0) -> InspectionDocument:
    """A document for a good neck; the neck's name says what goes wrong. Every attempt leaves a mark beside the folder."""
    with (folder.parent / f"{folder.name}.attempts").open("a", encoding="utf-8") as marks:
        marks.write(f"{os.getpid()}\n")
    attempts = len((folder.parent / f"{folder.name}.attempts").read_text(encoding="utf-8").splitlines())
    if "silent" in folder.name:
        raise RecordingError("string-1.flac holds no plucks:\nis the gain up?", file=folder)
    if "odd" in folder.name:
        raise ZeroDivisionError("division by zero")
    if "deadly" in folder.name or ("shaky" in folder.name and attempts == 1):
        os.kill(os.getpid(), signal.SIGKILL)
    decision = "fail" if "bad" in folder.name else "pass"
    document = inspection(
        neck_file.read_text(encoding="utf-8").strip(),
        decision=decision,
        limit_cents=limit_cents,
        hours=float(sum(folder.name.encode())),
    )
    if "unsent" in folder.name or ("lost" in folder.name and attempts == 1):
        return _Unsendable.model_construct(**dict(document))
    return document
