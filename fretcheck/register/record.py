"""An inspection document as rows of the register.

Conventions: a document's content is everything in it but its id; its SHA-256 tells whether it is in the register already.
Fields at their default do not count, so a field that a later version adds does not change the content of older documents.
"""

import hashlib
import json
import re
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, CursorResult, func, insert, select, update

from fretcheck.errors import UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.register.selection import folded
from fretcheck.register.sound_files import checked_sound_path
from fretcheck.register.tables import DOCUMENTS, FINDINGS, INSPECTIONS, MEASUREMENTS, NECKS, READINGS, SERIAL_LENGTH, SOUNDS

_ID = re.compile(r"(\d{6})-([1-9]\d{0,5})", re.ASCII)
_CONDITIONS = ("plan", "source", "sample_rate_hz", "reference_hz", "operator", "temperature_c", "humidity_pct")


def content_sha256(document: InspectionDocument) -> str:
    """SHA-256 of the document's content, in hex."""
    content = document.model_dump(mode="json", by_alias=True, exclude={"id"}, exclude_defaults=True)
    return hashlib.sha256(json.dumps(content, sort_keys=True, ensure_ascii=True).encode()).hexdigest()


def moment_taken(document: InspectionDocument) -> datetime | None:
    """When the inspection was made; None where it does not tell.

    Raises UsageError when `taken_at` is no ISO 8601 date and time with offset.
    """
    if document.taken_at is None:
        return None
    try:
        moment = datetime.fromisoformat(document.taken_at)
        if moment.tzinfo is not None and moment.astimezone(UTC):
            return moment
    except (ValueError, OverflowError):
        pass
    raise UsageError(f"taken_at {document.taken_at[:60]!r} is no date and time with offset, such as 2026-03-14T09:30:00+01:00")


def insert_document(connection: Connection, document: InspectionDocument) -> tuple[InspectionDocument, bool]:
    """Add a document to the database, within a writing transaction.

    Returns the document with its id; `new` is False where the same content had been kept before.
    Raises UsageError for a serial that is too long, a moment that is none, or a path that leaves the register's folder.
    """
    serial = _storable(document.neck.serial)
    if serial is not None and len(serial) > SERIAL_LENGTH:
        raise UsageError(f"serial {serial[:30]!r}… has {len(serial)} characters; the register holds {SERIAL_LENGTH}")
    taken = moment_taken(document)
    digest = content_sha256(document)
    known = connection.execute(select(INSPECTIONS.c.id).where(INSPECTIONS.c.content_sha256 == digest)).scalar()
    if known is None and document.coverage is None:  # as version 0.1 kept it: its checksum is that of its first shape
        alike = _kept_alike(connection, document, {}, INSPECTIONS.c.taken_at == document.taken_at)
        known = None if alike is None else alike.id
    if known is not None:
        return document.model_copy(update={"id": known}), False

    now = datetime.now().astimezone()
    day, number = _free_id(connection, document.id, taken or now)
    kept = document.model_copy(update={"id": f"{day}-{number}"})
    worst = kept.verdict.worst
    inspection = insert(INSPECTIONS).values(
        id=kept.id,
        day=day,
        number=number,
        content_sha256=digest,
        neck_key=None if serial is None else _neck_key(connection, kept, serial),
        neck_name=_storable(kept.neck.name),
        taken_at=kept.taken_at,
        taken_utc=taken or now,
        kept_utc=now,
        software_version=_storable(kept.software_version),
        decision=kept.verdict.decision or "none",
        limit_cents=kept.verdict.limit_cents,
        worst_string=worst and worst.string,
        worst_fret=worst and worst.fret,
        worst_cents=worst and worst.deviation_cents,
        findings=len(kept.findings),
        text_folded=_searchable(kept),
        **_columns(kept.conditions, _CONDITIONS),
    )
    _insert_parts(connection, kept, _key(connection.execute(inspection)))
    return kept, True


def kept_of_the_same_sounds(connection: Connection, document: InspectionDocument) -> InspectionDocument | None:
    """What was kept at another moment with the same content, from the very same sounds: nothing was measured anew."""
    if not document.readings or any(one.sound_sha256 is None for one in document.readings):
        return None
    worst = document.verdict.worst and document.verdict.worst.deviation_cents
    return _kept_alike(connection, document, {"taken_at": None}, INSPECTIONS.c.worst_cents.is_not_distinct_from(worst))


def _kept_alike(
    connection: Connection, document: InspectionDocument, without: dict[str, None], condition: ColumnElement[bool]
) -> InspectionDocument | None:
    """The first inspection of that neck under a condition whose content is the same but for the fields of `without`."""
    query = select(DOCUMENTS.c.json).join(INSPECTIONS)
    query = query.where(INSPECTIONS.c.neck_name == _storable(document.neck.name), condition).order_by(INSPECTIONS.c.key)
    wanted = content_sha256(document.model_copy(update=without))
    for text in connection.execute(query).scalars():
        known = InspectionDocument.model_validate_json(text)
        if content_sha256(known.model_copy(update=without)) == wanted:
            return known
    return None


def _insert_parts(connection: Connection, document: InspectionDocument, key: int) -> None:
    connection.execute(insert(DOCUMENTS).values(inspection_key=key, json=document.to_json(indent=None)))
    sounds = _sound_keys(connection, document)
    readings = [
        {
            **_columns(reading, READINGS.columns.keys()),
            "flags": _storable(" ".join(reading.flags)),
            "sound_key": sounds.get((reading.sound_file or "", reading.sound_sha256 or "")),
        }
        for reading in document.readings
    ]
    findings = [_columns(finding, FINDINGS.columns.keys()) for finding in document.findings]
    for table, parts in ((READINGS, readings), (FINDINGS, findings), (MEASUREMENTS, _hand_measurements(document))):
        if parts:  # one statement, NULLs or not
            rows = [{"inspection_key": key, "position": position, **part} for position, part in enumerate(parts)]
            connection.execute(insert(table), rows)


def _free_id(connection: Connection, asked: str | None, moment: datetime) -> tuple[str, int]:
    """The id asked for where it is free, otherwise the next number of that day."""
    match = _ID.fullmatch(asked or "")
    if match:
        day, number = match[1], int(match[2])
        taken = select(INSPECTIONS.c.key).where(INSPECTIONS.c.day == day, INSPECTIONS.c.number == number)
        if connection.execute(taken).first() is None:
            return day, number
    day = f"{moment:%y%m%d}"
    last = connection.execute(select(func.max(INSPECTIONS.c.number)).where(INSPECTIONS.c.day == day)).scalar()
    return day, (last or 0) + 1


def _neck_key(connection: Connection, document: InspectionDocument, serial: str) -> int:
    about = {
        "name": _storable(document.neck.name) or "",
        "description_json": document.neck.model_dump_json(include={"description"}),
    }
    key: int | None = connection.execute(select(NECKS.c.key).where(NECKS.c.serial == serial)).scalar()
    if key is None:
        return _key(connection.execute(insert(NECKS).values(serial=serial, serial_folded=folded(serial), **about)))
    connection.execute(update(NECKS).where(NECKS.c.key == key).values(**about))
    return key


def _sound_keys(connection: Connection, document: InspectionDocument) -> dict[tuple[str, str], int]:
    keys: dict[tuple[str, str], int] = {}
    for path, digest in {(one.sound_file, one.sound_sha256 or "") for one in document.readings if one.sound_file is not None}:
        sound = {"path": checked_sound_path(path), "sha256": digest}
        key = connection.execute(select(SOUNDS.c.key).filter_by(**sound)).scalar()
        keys[path, digest] = _key(connection.execute(insert(SOUNDS).values(**sound))) if key is None else key
    return keys


def _key(result: CursorResult[Any]) -> int:
    """The key of the row that was inserted."""
    assert result.inserted_primary_key is not None
    return int(result.inserted_primary_key[0])


def _hand_measurements(document: InspectionDocument) -> list[dict[str, Any]]:
    """The description's ``[[measured]]`` entries; what is not of the expected kind stays in the document only."""
    given = document.neck.description.get("measured", [])
    kinds = {"what": str, "fret": int, "string": int, "mm": (int, float), "u_mm": (int, float)}
    return [
        {name: _storable(entry.get(name)) if _is(entry.get(name), kind) else None for name, kind in kinds.items()}
        for entry in (given if isinstance(given, list) else [])
        if isinstance(entry, dict) and isinstance(entry.get("what"), str)
    ]


def _is(value: object, kind: Any) -> bool:
    return isinstance(value, kind) and not isinstance(value, bool)


def _searchable(document: InspectionDocument) -> str:
    neck, how, job = document.neck, document.conditions, document.job
    parts = [document.id, neck.serial, neck.name, how.operator, how.source, document.verdict.reason]
    parts += [job.customer, job.instrument, job.job]
    parts += [*(one.text for one in document.findings), *(one.text for one in document.corrections)]
    return "\n".join(folded(part) for part in parts if part)


def _columns(part: object, names: Iterable[str]) -> dict[str, Any]:
    """What of a part goes into columns of the same name."""
    return {name: _storable(getattr(part, name)) for name in names if hasattr(part, name)}


def _storable(value: Any) -> Any:
    """PostgreSQL holds no NUL in a text; the document's JSON keeps it, escaped."""
    return value.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(value, str) else value
