"""Lots and gauge studies kept in the register, each found by its name.

Conventions: every change is one transaction under the write lock: what is read for it stays true until it is written. The whole
record lies as JSON in `record_json`; the other columns are what is searched, and the links to inspections, which the database
itself keeps whole.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Column, Connection, Double, ForeignKey, Integer, String, Table, Text, delete, insert, select, update

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import CorrectionPart, Lot, ReadPart
from fretcheck.lots.gauge.study import GaugeStudy, counts_for
from fretcheck.register.base import METADATA, UtcDateTime
from fretcheck.register.selection import folded
from fretcheck.register.tables import INSPECTIONS, NECKS, SERIAL_LENGTH

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument
    from fretcheck.register.store import Register

Kept = TypeVar("Kept", Lot, GaugeStudy)


def _record(name: str, *own: Column[Any]) -> Table:
    """Records that are kept under a name."""
    return Table(
        name,
        METADATA,
        Column("key", Integer, primary_key=True),
        Column("name", String(80), unique=True, nullable=False),
        Column("opened_utc", UtcDateTime, nullable=False),
        Column("record_json", Text, nullable=False),
        *own,
    )


LOTS = _record("lots", Column("template", Text, index=True), Column("state", String(12), nullable=False))
# `unseen_repeatability_cents` once it is computed
GAUGE_STUDIES = _record("gauge_studies", Column("computed_utc", UtcDateTime), Column("unseen_repeatability_cents", Double))
LOT_INSPECTIONS = Table(  # the inspection that counts for each neck of a lot
    "lot_inspections",
    METADATA,
    Column("lot_key", ForeignKey("lots.key", ondelete="CASCADE"), primary_key=True),
    Column("serial", String(SERIAL_LENGTH), primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)
GAUGE_INSPECTIONS = Table(  # in the order of the study's plan
    "gauge_inspections",
    METADATA,
    Column("study_key", ForeignKey("gauge_studies.key", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("inspection_id", ForeignKey("inspections.id"), index=True, nullable=False),
    sqlite_with_rowid=False,
)


def keep_new(register: Register, record: Lot | GaugeStudy) -> None:
    """Keep a lot or a study that was just opened. Raises UsageError when there is one of that name."""
    table, what, _ = _kind(type(record))
    with register.transaction() as connection:
        if connection.execute(select(table.c.key).where(table.c.name == record.name)).scalar() is not None:
            show = ", or `lot show` it" if isinstance(record, Lot) else ""
            raise UsageError(f"there is a {what} {record.name!r} already: choose another name{show}")
        opened = datetime.fromisoformat(record.opened_at)
        connection.execute(insert(table).values(name=record.name, opened_utc=opened, **_columns(record)))


def change(register: Register, kind: type[Kept], name: str, step: Callable[[Kept], Kept]) -> Kept:
    """Apply one step to a lot or a study and keep the outcome; nothing changes when `step` raises."""
    with register.transaction() as connection:
        key, text = _row(connection, kind, name)
        record: Kept = step(kind.model_validate_json(text))
        table = _kind(kind)[0]
        connection.execute(update(table).where(table.c.key == key).values(**_columns(record)))
        if isinstance(record, Lot):
            links, counting = LOT_INSPECTIONS, list(record.inspections.items())
        else:
            links, counting = GAUGE_INSPECTIONS, [(n, one.inspection) for n, one in enumerate(record.steps) if one.inspection]
        owner, place, inspection = links.columns.keys()
        connection.execute(delete(links).where(links.c[owner] == key))
        if counting:
            connection.execute(insert(links), [{owner: key, place: where, inspection: number} for where, number in counting])
        return record


def load(register: Register, kind: type[Kept], name: str) -> Kept:
    """The lot or study of that name. Raises UsageError when there is none."""
    with register.transaction(write=False) as connection:
        return kind.model_validate_json(_row(connection, kind, name)[1])


def list_kept(register: Register, kind: type[Kept], *, template: str | None = None) -> list[Kept]:
    """All lots or studies, or the lots of one template, in the order in which they were opened."""
    table, _, _ = _kind(kind)
    query = select(table.c.record_json).order_by(table.c.opened_utc, table.c.key)
    if template is not None:
        query = query.where(LOTS.c.template == template)
    with register.transaction(write=False) as connection:
        return [kind.model_validate_json(text) for text in connection.execute(query).scalars()]


def remove_lot(register: Register, name: str) -> None:
    """Take away a lot that was opened by mistake.

    Raises UsageError when there is none, or its sample has been drawn: then it is closed with a note, not removed.
    """
    with register.transaction() as connection:
        key, text = _row(connection, Lot, name)
        if Lot.model_validate_json(text).sample:
            raise UsageError(f"the sample of lot {name!r} has been drawn: close it with --note and the reason")
        connection.execute(delete(LOTS).where(LOTS.c.key == key))


def correct_template(register: Register, template: str, *, since: str, fret: int | None) -> CorrectionPart:
    """Keep that a template was corrected, since a day or a lot.

    Raises UsageError when no lot of the template was drawn yet, or `since` is neither a day nor one of its lots.
    """
    lots = list_kept(register, Lot, template=template)
    first = next((lot for lot in lots if lot.sample), None)
    if first is None:
        raise UsageError(f"no lot of template {template!r} has been drawn: open lots with --template {template}")
    try:
        moments = (lot.opened_at for lot in lots if lot.name == since)
        moment = next(moments, None) or datetime.fromisoformat(since).astimezone().isoformat(timespec="seconds")
    except ValueError:
        names = ", ".join(lot.name for lot in lots)
        raise UsageError(f"--since {since!r} is neither a day such as 2026-03-14 nor a lot of {template!r}: {names}") from None
    part = CorrectionPart(since=moment, fret=fret)

    def tell(lot: Lot) -> Lot:
        return lot.model_copy(update={"template_corrected": (*lot.template_corrected, part)})

    change(register, Lot, first.name, tell)
    return part


def inspections_of(register: Register, lot: Lot) -> dict[str, InspectionDocument]:
    """The documents that count for a lot, by serial."""
    return dict(zip(lot.inspections, register.documents(list(lot.inspections.values())), strict=True))


def inspections_since_opening(register: Register, lot: Lot) -> dict[str, list[ReadPart]]:
    """Every inspection of the lot's necks since it was opened, by serial, oldest first; capitals of a serial do not matter."""
    by_folded = {folded(serial): serial for serial in lot.serials}
    query = (
        select(NECKS.c.serial_folded, INSPECTIONS.c.id, INSPECTIONS.c.decision)
        .join_from(NECKS, INSPECTIONS)
        .where(INSPECTIONS.c.taken_utc >= datetime.fromisoformat(lot.opened_at).astimezone(UTC))
        .order_by(INSPECTIONS.c.taken_utc, INSPECTIONS.c.key)
    )
    found: dict[str, list[ReadPart]] = {}
    with register.transaction(write=False) as connection:
        for row in connection.execute(query):
            if (serial := by_folded.get(row.serial_folded)) is not None:
                found.setdefault(serial, []).append(ReadPart(id=row.id, decision=row.decision))
    return found


def documents_of(register: Register, study: GaugeStudy) -> dict[str, InspectionDocument]:
    """The documents that count for a study, by inspection id."""
    ids = [step.inspection for step in study.steps if step.inspection is not None]
    return dict(zip(ids, register.documents(ids), strict=True))


def latest_repeatability(register: Register, *, operator: str | None, bench: str | None) -> float | None:
    """Scatter in cents between inspections that an inspection's own uncertainty does not see, from the newest computed study of
    this operator at this bench.

    To be added to a note's standard uncertainty in quadrature. None when no such study has been computed.
    """
    studies = list_kept(register, GaugeStudy)
    found = [one.result for one in studies if one.result and counts_for(one, operator=operator, bench=bench)]
    newest = max(found, key=lambda result: datetime.fromisoformat(result.computed_at), default=None)
    return None if newest is None else newest.unseen_repeatability_cents


def _kind(kind: type[Lot | GaugeStudy]) -> tuple[Table, str, str]:
    """The table, the word, and the command of a kind of record."""
    return (LOTS, "lot", "lot") if kind is Lot else (GAUGE_STUDIES, "study", "gauge")


def _row(connection: Connection, kind: type[Lot | GaugeStudy], name: str) -> tuple[int, str]:
    """Key and JSON of the record of that name."""
    table, what, command = _kind(kind)
    row = connection.execute(select(table.c.key, table.c.record_json).where(table.c.name == name)).first()
    if row is None:
        newest = connection.execute(select(table.c.name).order_by(table.c.opened_utc.desc()).limit(5)).scalars().all()
        known = "the newest are " + ", ".join(map(repr, newest))
        none = f"none has been opened; `fretcheck {command} open` opens one"
        raise UsageError(f"there is no {what} {name!r}: {known if newest else none}")
    return row.key, row.record_json


def _columns(record: Lot | GaugeStudy) -> dict[str, Any]:
    found: dict[str, Any] = {"record_json": record.model_dump_json(by_alias=True)}
    if isinstance(record, Lot):
        return {**found, "template": record.template, "state": record.state}
    result = record.result
    return {
        **found,
        "computed_utc": None if result is None else datetime.fromisoformat(result.computed_at),
        "unseen_repeatability_cents": None if result is None else result.unseen_repeatability_cents,
    }
