"""An inspection judged: session readings and their diagnosis become one `InspectionDocument`."""

from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from fretcheck import __version__
from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Diagnosis
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.document import ConditionsPart, FretPart, InspectionDocument, JobPart, NeckPart
from fretcheck.neck.description import Measurement, Neck, WorkedPart
from fretcheck.neck.measured import on_the_day
from fretcheck.neck.neck_file import read_neck
from fretcheck.neck.writing import neck_to_mapping
from fretcheck.session.placed_reading import Inspection, ReadingPart
from fretcheck.session.plan import DECIDING, WORK_PLAN, first_round
from fretcheck.session.recordings import inspect_recordings


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What the person at the bench may tell of the day; None where not told."""

    operator: str | None = None
    bench: str | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    job: JobPart = field(default_factory=JobPart)
    measured: tuple[Measurement, ...] = ()  # By hand, for this inspection
    worked: tuple[WorkedPart, ...] = ()  # Parts worked on since the measurements of the description


def inspect_folder(
    neck_file: Path,
    folder: Path,
    *,
    settings: DiagnosisSettings | None = None,
    circumstances: Circumstances | None = None,
    plan: str = "full",
    processes: int | None = None,
) -> InspectionDocument:
    """Inspect and judge one neck from its description and its folder of recordings.

    Raises NeckError, RecordingError when either cannot be used; one line with the cure.
    """
    inspection = inspect_recordings(read_neck(neck_file), folder, plan=plan, processes=processes)
    return judge(inspection, settings=settings, circumstances=circumstances)


def judge(
    inspection: Inspection, *, settings: DiagnosisSettings | None = None, circumstances: Circumstances | None = None
) -> InspectionDocument:
    """Diagnose an inspection and put everything into one document."""
    settings, circumstances = settings or DiagnosisSettings(), circumstances or Circumstances()
    if circumstances.measured or circumstances.worked:
        neck = on_the_day(inspection.neck, measured=circumstances.measured, worked=circumstances.worked)
        inspection = replace(inspection, neck=neck)
    observations, asked = observations_in(inspection.readings), asked_of(inspection)
    must_hear = must_hear_of(inspection.neck, asked, plan=inspection.plan)
    diagnosis = diagnose(inspection.neck, observations, asked=asked, must_hear=must_hear, settings=settings)
    return document_of(inspection, diagnosis, circumstances=circumstances, settings=settings)


def observations_in(readings: Iterable[ReadingPart]) -> list[Observation]:
    """The used readings of a document, as the diagnosis takes them."""
    return [
        Observation(
            string=one.string,
            fret=one.fret,
            cents=one.deviation_cents,
            u_cents=one.u_cents,
            start_s=one.start_s,
            press=one.press,
            inharmonicity=one.inharmonicity,
            u_inharmonicity=one.u_inharmonicity,
        )
        for one in readings
        if one.used and one.deviation_cents is not None and one.u_cents is not None
    ]


def asked_of(inspection: Inspection) -> list[tuple[int, int]]:
    """What the inspection's plan asked for, press test aside, and what was heard besides; after work on one place, all notes."""
    if inspection.plan == WORK_PLAN:
        neck = inspection.neck
        return [(string, fret) for string in range(1, len(neck.strings) + 1) for fret in neck.frets_of(string)]
    heard = [(one.string, one.fret) for one in inspection.readings if one.used and one.press is None]
    asked = inspection.missing if inspection.judged is None else inspection.judged
    return list(dict.fromkeys((*asked, *heard)))


def must_hear_of(neck: Neck, asked: Collection[tuple[int, int]], *, plan: str) -> Collection[tuple[int, int]] | None:
    """What a pass needs heard: the first round of a plan that asks only what decides; None for all that is judged."""
    return first_round(neck, {string for string, _ in asked}) if plan == DECIDING else None


# Fields of the document that are the diagnosis' own, under the same names
_CONCLUDED = (
    "findings", "causes", "corrections", "advice", "rests_on", "coverage", "verdict", "pluck_again", "layout", "sharpeners",
)  # fmt: skip


def document_of(
    inspection: Inspection, diagnosis: Diagnosis, *, circumstances: Circumstances, settings: DiagnosisSettings
) -> InspectionDocument:
    """Gather what was heard and what was concluded."""
    neck = inspection.neck
    concluded: dict[str, Any] = {name: getattr(diagnosis, name) for name in _CONCLUDED}
    return InspectionDocument(
        **concluded,
        taken_at=datetime.now().astimezone().isoformat(timespec="seconds"),
        software_version=__version__,
        neck=NeckPart(name=neck.name, serial=neck.serial, description=neck_to_mapping(neck)),
        readings=list(inspection.readings),
        frets=[FretPart(**asdict(one)) for one in diagnosis.notes],
        predicted_after=diagnosis.predicted,
        missing=list(inspection.missing),
        set_aside=list(inspection.set_aside),
        warnings=list(dict.fromkeys((*inspection.warnings, *diagnosis.warnings, *_about_the_design(diagnosis)))),
        conditions=ConditionsPart(
            **{name: getattr(inspection, name) for name in ("plan", "look_for_mm", "source", "sample_rate_hz", "follows")},
            **{name: getattr(circumstances, name) for name in ("operator", "bench", "temperature_c", "humidity_pct")},
            reference_hz=neck.reference_hz,
            hand_scatter_cents=diagnosis.hand_scatter_cents,
            hand_wider_low=diagnosis.hand_wider_low,
            open_u_cents=diagnosis.open_u_cents,
            drift_cents=inspection.drift_cents,
            gauge_repeatability_cents=settings.gauge_repeatability_cents,
        ),
        job=circumstances.job,
    )


def _about_the_design(diagnosis: Diagnosis) -> list[str]:
    """A word on a description that no workmanship could bring within the limit."""
    limit = diagnosis.verdict.limit_cents
    stopped = [note for note in diagnosis.notes if note.fret > 0]
    worst = max(stopped, key=lambda note: abs(note.expected_cents), default=None)
    if worst is None or abs(worst.expected_cents) <= limit:
        return []
    way = "sharp" if worst.expected_cents > 0 else "flat"
    return [
        f"Even a neck built exactly as described would lie outside ±{limit:g} cents: string {worst.string} at fret {worst.fret} "
        f"is expected {abs(worst.expected_cents):.1f} cents {way}. Check that string's saddle_setback_mm, gauge and core, or "
        "widen the tolerance."
    ]
