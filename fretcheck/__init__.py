"""fretcheck: a bench instrument that listens to a fretted neck and tells which part is out of place, and by how much.

The rooms, in the order in which data flows: ``neck`` (what the neck is meant to be), ``audio`` (sound in, plucks cut
from it), ``pitch`` (a pluck becomes a pitch with an uncertainty), ``session`` (plucks become an inspection),
``diagnosis`` (deviations become causes), ``register`` (inspections kept), ``lots`` (many necks), ``report`` (shown),
``cli`` (commands).

The names in ``__all__`` are the public door: functions and what they give back, loaded when first used.

>>> neck = read_neck("neck.toml")  # doctest: +SKIP
>>> document = inspect(neck, "recordings")  # doctest: +SKIP
>>> document.verdict.decision  # doctest: +SKIP
'pass'
"""

from typing import TYPE_CHECKING

import lazy_loader

__version__ = "0.1.0"

if TYPE_CHECKING:
    from fretcheck.audio.segment.cutting import find_plucks
    from fretcheck.audio.segment.pluck import Pluck
    from fretcheck.diagnosis.diagnose import diagnose
    from fretcheck.diagnosis.observation import Observation
    from fretcheck.diagnosis.result import (
        CauseEstimate,
        Correction,
        Coverage,
        Diagnosis,
        Finding,
        LayoutHypothesis,
        Move,
        Note,
        Predicted,
        Rival,
        Sharpener,
        StepPrediction,
        Verdict,
        Worst,
    )
    from fretcheck.diagnosis.settings import DiagnosisSettings
    from fretcheck.door import inspect
    from fretcheck.inspection.document import InspectionDocument
    from fretcheck.neck.description import Neck
    from fretcheck.neck.neck_file import read_neck
    from fretcheck.pitch.reader import read_note
    from fretcheck.pitch.reading import NoteReading

__getattr__, __dir__, _ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "audio.segment.cutting": ["find_plucks"],
        "audio.segment.pluck": ["Pluck"],
        "diagnosis.diagnose": ["diagnose"],
        "diagnosis.observation": ["Observation"],
        "diagnosis.result": [
            "CauseEstimate", "Correction", "Coverage", "Diagnosis", "Finding", "LayoutHypothesis", "Move", "Note", "Predicted",
            "Rival", "Sharpener", "StepPrediction", "Verdict", "Worst",
        ],
        "diagnosis.settings": ["DiagnosisSettings"],
        "neck.description": ["Neck"],
        "neck.neck_file": ["read_neck"],
        "pitch.reader": ["read_note"],
        "pitch.reading": ["NoteReading"],
        "door": ["inspect"],
        "inspection.document": ["InspectionDocument"],
    },
)  # fmt: skip

__all__ = [
    "CauseEstimate", "Correction", "Coverage", "Diagnosis", "DiagnosisSettings", "Finding", "InspectionDocument",
    "LayoutHypothesis", "Move", "Neck", "Note", "NoteReading", "Observation", "Pluck", "Predicted", "Rival", "Sharpener",
    "StepPrediction", "Verdict", "Worst", "diagnose", "find_plucks", "inspect", "read_neck", "read_note",
]  # fmt: skip
