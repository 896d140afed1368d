"""Inspection documents of an invented workshop, for the register's tests and benchmark."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any

from fretcheck.diagnosis.result import Finding, Predicted, Verdict, Worst
from fretcheck.inspection.document import ConditionsPart, FretPart, InspectionDocument, NeckPart
from fretcheck.session.placed_reading import ReadingPart

FIRST_DAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def make_document(number: int = 1, *, string_count: int = 2, last_fret: int = 3, **changes: Any) -> InspectionDocument:
    """A document whose every value follows from `number`; `changes` replace whole fields.

    `taken_at` is `number` hours after the morning of 2 March 2026 (UTC), and every third one each passes, fails or is undecided.
    """
    chance = random.Random(number)
    readings = [
        ReadingPart(
            string=string, fret=fret, f1_hz=220.0 * 2 ** (fret / 12), target_hz=220.0 * 2 ** (fret / 12),
            deviation_cents=chance.gauss(0, 2), u_cents=0.05, length_expected_mm=648.0 * 2 ** (-fret / 12),
            length_equivalent_error_mm=None if fret == 0 else chance.gauss(0, 0.1), start_s=3.0 * fret, used=fret != 2,
            flags=[] if fret != 2 else ["quiet", "short"], why_not_used=None if fret != 2 else "too quiet to judge",
            inharmonicity=4.2e-5, u_inharmonicity=1e-6, snr_db=41.5, partials=9, glide_cents=None,
        )
        for string in range(1, string_count + 1)
        for fret in range(last_fret + 1)
    ]  # fmt: skip
    values: dict[str, Any] = {
        "taken_at": (FIRST_DAY + timedelta(hours=number)).isoformat(),
        "software_version": "0.1.0",
        "neck": NeckPart(
            name=f"Walnut tenor {number}",
            serial=f"WT-{number:05d}",
            description={
                "name": f"Walnut tenor {number}", "scale_length_mm": 648.0, "frets": last_fret,
                "measured": [
                    {"what": "nut_to_fret", "fret": 12, "mm": 324.1, "u_mm": 0.1},
                    {"what": "relief", "mm": 0.2, "u_mm": 0.02},
                ],
            },
        ),
        "readings": readings,
        "frets": [
            FretPart(string=one.string, fret=one.fret, deviation_cents=one.deviation_cents, u_cents=0.4, expected_cents=0.6,
                     unexplained_cents=0.1, plucks=1)
            for one in readings
        ],
        "findings": [
            Finding(cause="fret_position", fret=7, string=None, value_mm=0.31, u_mm=0.06, probability=0.99,
                        text="Fret 7 sits 0.31 mm toward the bridge."),
        ],
        "corrections": [],
        "predicted_after": Predicted(worst_cents=1.9),
        "verdict": Verdict(
            decision=("pass", "fail", "undecided")[number % 3],
            limit_cents=3.0,
            worst=Worst(string=1, fret=3, deviation_cents=6.2, probability_conforming=0.0),
            reason="the worst note is string 1, fret 3",
        ),
        "warnings": [],
        "conditions": ConditionsPart(plan="full", source="Bench microphone", sample_rate_hz=48000.0, reference_hz=440.0,
                                     operator="Operator A", temperature_c=21.5, humidity_pct=45.0),
    }  # fmt: skip
    return InspectionDocument(**{**values, **changes})


def make_neck(name: str, serial: str | None) -> NeckPart:
    """A neck with nothing known but what it is called."""
    return NeckPart(name=name, serial=serial)
