"""Inspections carried out of the register and into another: JSON for registers, CSV for spreadsheets.

Conventions: JSON: ``{"schema": "fretcheck/export/1", "inspections": [document, …]}`` with documents as `inspect --json` prints
them. CSV (RFC 4180): comma, decimal point, CRLF, one row a reading, unknown is an empty cell. A text that a spreadsheet would
take for a formula gets an apostrophe in front, control characters are shown as escapes.
"""

import csv
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path
from typing import IO, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fretcheck.errors import UsageError
from fretcheck.files import read_whole
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import plain_line
from fretcheck.session.placed_reading import ReadingPart

MOST_BYTES = 1_000_000_000  # A register of ten thousand inspections, exported whole; what is larger goes by --since and --until
EXPORT_SCHEMA: Literal["fretcheck/export/1"] = "fretcheck/export/1"
_FORMULA_STARTS = tuple("=+-@＝＋－＠\t\r\n")
_READING_COLUMNS = tuple(one.name for one in fields(ReadingPart))
CSV_COLUMNS = (
    "inspection", "taken_at", "neck", "serial", "operator", "device", "sample_rate_hz", "reference_hz", "temperature_c",
    "humidity_pct", "plan", "software_version", "verdict", "limit_cents", *_READING_COLUMNS,
)  # fmt: skip


class ExportDocument(BaseModel):
    """An exported register."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    schema_: Literal["fretcheck/export/1"] = Field(default=EXPORT_SCHEMA, alias="schema")
    inspections: list[InspectionDocument]


def write_json(documents: Iterable[InspectionDocument], stream: IO[str]) -> int:
    """Write documents as one JSON document, one at a time, and return how many."""
    stream.write(f'{{"schema": "{EXPORT_SCHEMA}", "inspections": [')
    count = 0
    for count, document in enumerate(documents, start=1):
        stream.write(("\n" if count == 1 else ",\n") + document.to_json(indent=None))
    stream.write("\n]}\n")
    return count


def read_json(file: Path) -> list[InspectionDocument]:
    """The documents of an exported JSON file, or of one that `inspect --json` printed.

    Raises UsageError when the file cannot be read or is neither; names the first place that is wrong.
    """
    text = read_whole(file, most_bytes=MOST_BYTES, refuse=lambda why: UsageError(f"{file}: {why}")).removeprefix(b"\xef\xbb\xbf")
    try:
        if b"fretcheck/export/" in text[:200]:
            return ExportDocument.model_validate_json(text).inspections
        return [InspectionDocument.model_validate_json(text)]
    except ValidationError as error:
        raise UsageError(f"{file} is no export of a register: {_first_complaint(error)}") from error


def write_csv(documents: Iterable[InspectionDocument], stream: IO[str]) -> int:
    """Write one row a reading, under `CSV_COLUMNS`, and return how many."""
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    count = 0
    for document in documents:
        conditions = document.conditions
        head = (
            document.id, document.taken_at, document.neck.name, document.neck.serial, conditions.operator, conditions.source,
            conditions.sample_rate_hz, conditions.reference_hz, conditions.temperature_c, conditions.humidity_pct,
            conditions.plan, document.software_version, document.verdict.decision, document.verdict.limit_cents,
        )  # fmt: skip
        for reading in document.readings:
            values = (getattr(reading, name) for name in _READING_COLUMNS)
            writer.writerow([_cell(value) for value in (*head, *values)])
            count += 1
    return count


def _cell(value: Any) -> object:
    match value:
        case bool():
            return "yes" if value else "no"
        case list():
            return _cell(" ".join(str(one) for one in value))
        case str():
            return ("'" if value.lstrip(" ").startswith(_FORMULA_STARTS) else "") + plain_line(value)
    return value


def _first_complaint(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place + ': ' if place else ''}{first['msg']}"
