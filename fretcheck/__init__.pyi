"""The names of the public door and where they lie; `fretcheck` loads each when it is first used."""

from .audio.segment.cutting import find_plucks as find_plucks
from .audio.segment.pluck import Pluck as Pluck
from .diagnosis.diagnose import diagnose as diagnose
from .diagnosis.observation import Observation as Observation
from .diagnosis.result import (
    CauseEstimate as CauseEstimate,
)
from .diagnosis.result import (
    Correction as Correction,
)
from .diagnosis.result import (
    Coverage as Coverage,
)
from .diagnosis.result import (
    Diagnosis as Diagnosis,
)
from .diagnosis.result import (
    Finding as Finding,
)
from .diagnosis.result import (
    LayoutHypothesis as LayoutHypothesis,
)
from .diagnosis.result import (
    Move as Move,
)
from .diagnosis.result import (
    Note as Note,
)
from .diagnosis.result import (
    Predicted as Predicted,
)
from .diagnosis.result import (
    Rival as Rival,
)
from .diagnosis.result import (
    Sharpener as Sharpener,
)
from .diagnosis.result import (
    StepPrediction as StepPrediction,
)
from .diagnosis.result import (
    Verdict as Verdict,
)
from .diagnosis.result import (
    Worst as Worst,
)
from .diagnosis.settings import DiagnosisSettings as DiagnosisSettings
from .door import inspect as inspect
from .inspection.document import InspectionDocument as InspectionDocument
from .neck.description import Neck as Neck
from .neck.neck_file import read_neck as read_neck
from .pitch.reader import read_note as read_note
from .pitch.reading import NoteReading as NoteReading

__version__: str
