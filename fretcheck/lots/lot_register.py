"""Lots and gauge studies kept in the register.

Conventions: every change is one transaction under the write lock: what is read for it stays true until it is written. Lots and
studies are found by their names.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, select

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import CorrectionPart, Lot, ReadPart
from fretcheck.lots.gauge.study import GaugeStudy, counts_for
from fretcheck.lots.lot_tables import GaugeInspectionRow, GaugeStudyRow, LotInspectionRow, LotRow
from fretcheck.register.selection import folded
from fretcheck.register.tables import InspectionRow, NeckRow

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from fretcheck.inspection.document import InspectionDocument
    from fretcheck.register.store import Register


def keep_new_lot(register: Register, lot: Lot) -> None:
    """Keep a lot that was just opened. Raises UsageError when there is one of that name."""
    with register.session() as session:
        if session.execute(select(LotRow.key).where(LotRow.name == lot.name)).scalar() is not None:
            raise UsageError(f"there is a lot {lot.name!r} already: choose another name, or `lot show` it")
        moment = datetime.fromisoformat(lot.opened_at)
        row = LotRow(name=lot.name, template=lot.template, state=lot.state, opened_utc=moment, record_json=_json(lot))
        session.add(row)


def change_lot(register: Register, name: str, change: Callable[[Lot], Lot]) -> Lot:
    """Apply one step to a lot and keep the outcome; nothing changes when `change` raises."""
    with register.session() as session:
        row = _lot_row(session, name)
        lot = change(Lot.model_validate_json(row.record_json))
        row.record_json, row.state = _json(lot), lot.state
        session.execute(delete(LotInspectionRow).where(LotInspectionRow.lot_key == row.key))
        session.add_all(
            LotInspectionRow(lot_key=row.key, serial=serial, inspection_id=number) for serial, number in lot.inspections.items()
        )
        return lot


def load_lot(register: Register, name: str) -> Lot:
    """The lot of that name. Raises UsageError when there is none."""
    with register.session(write=False) as session:
        return Lot.model_validate_json(_lot_row(session, name).record_json)


def list_lots(register: Register, *, template: str | None = None) -> list[Lot]:
    """All lots, or those of one template, in the order in which they were opened."""
    query = select(LotRow.record_json).order_by(LotRow.opened_utc, LotRow.key)
    if template is not None:
        query = query.where(LotRow.template == template)
    with register.session(write=False) as session:
        return [Lot.model_validate_json(text) for text in session.execute(query).scalars()]


def correct_template(register: Register, template: str, *, since: str, fret: int | None) -> CorrectionPart:
    """Keep that a template was corrected, since a day or a lot.

    Raises UsageError when no lot of the template was drawn yet, or `since` is neither a day nor one of its lots.
    """
    lots = list_lots(register, template=template)
    first = next((lot for lot in lots if lot.sample), None)
    if first is None:
        raise UsageError(f"no lot of template {template!r} has been drawn: open lots with --template {template}")
    moment = next((lot.opened_at for lot in lots if lot.name == since), None)
    if moment is None:
        try:
            moment = datetime.fromisoformat(since).astimezone().isoformat(timespec="seconds")
        except ValueError:
            names = ", ".join(lot.name for lot in lots)
            raise UsageError(
                f"--since {since!r} is neither a day such as 2026-03-14 nor a lot of {template!r}: {names}"
            ) from None
    part = CorrectionPart(since=moment, fret=fret)
    change_lot(register, first.name, lambda lot: lot.model_copy(update={"template_corrected": (*lot.template_corrected, part)}))
    return part


def inspections_of(register: Register, lot: Lot) -> dict[str, InspectionDocument]:
    """The documents that count for a lot, by serial."""
    return dict(zip(lot.inspections, register.documents(list(lot.inspections.values())), strict=True))


def inspections_since_opening(register: Register, lot: Lot) -> dict[str, list[ReadPart]]:
    """Every inspection of the lot's necks since it was opened, by serial, oldest first; capitals of a serial do not matter."""
    opened = datetime.fromisoformat(lot.opened_at).astimezone(UTC)
    by_folded = {folded(serial): serial for serial in lot.serials}
    query = (
        select(NeckRow.serial_folded, InspectionRow.id, InspectionRow.decision)
        .join(InspectionRow, InspectionRow.neck_key == NeckRow.key)
        .where(InspectionRow.taken_utc >= opened)
        .order_by(InspectionRow.taken_utc, InspectionRow.key)
    )
    found: dict[str, list[ReadPart]] = {}
    with register.session(write=False) as session:
        for row in session.execute(query):
            if (serial := by_folded.get(row.serial_folded)) is not None:
                found.setdefault(serial, []).append(ReadPart(id=row.id, decision=row.decision))
    return found


def remove_lot(register: Register, name: str) -> None:
    """Take away a lot that was opened by mistake.

    Raises UsageError when there is none, or its sample has been drawn: then it is closed with a note, not removed.
    """
    with register.session() as session:
        row = _lot_row(session, name)
        if Lot.model_validate_json(row.record_json).sample:
            raise UsageError(f"the sample of lot {name!r} has been drawn: close it with --note and the reason")
        session.execute(delete(LotInspectionRow).where(LotInspectionRow.lot_key == row.key))
        session.delete(row)


def keep_new_study(register: Register, study: GaugeStudy) -> None:
    """Keep a gauge study that was just opened."""
    with register.session() as session:
        if session.execute(select(GaugeStudyRow.key).where(GaugeStudyRow.name == study.name)).scalar() is not None:
            raise UsageError(f"there is a study {study.name!r} already: choose another name")
        session.add(GaugeStudyRow(name=study.name, opened_utc=datetime.fromisoformat(study.opened_at), record_json=_json(study)))


def change_study(register: Register, name: str, change: Callable[[GaugeStudy], GaugeStudy]) -> GaugeStudy:
    """Apply one step to a study and keep the outcome."""
    with register.session() as session:
        row = _study_row(session, name)
        study = change(GaugeStudy.model_validate_json(row.record_json))
        row.record_json = _json(study)
        result = study.result
        row.computed_utc = None if result is None else datetime.fromisoformat(result.computed_at)
        row.unseen_repeatability_cents = None if result is None else result.unseen_repeatability_cents
        session.execute(delete(GaugeInspectionRow).where(GaugeInspectionRow.study_key == row.key))
        session.add_all(
            GaugeInspectionRow(study_key=row.key, position=position, inspection_id=step.inspection)
            for position, step in enumerate(study.steps)
            if step.inspection is not None
        )
        return study


def load_study(register: Register, name: str) -> GaugeStudy:
    with register.session(write=False) as session:
        return GaugeStudy.model_validate_json(_study_row(session, name).record_json)


def list_studies(register: Register) -> list[GaugeStudy]:
    """All studies, in the order in which they were opened."""
    query = select(GaugeStudyRow.record_json).order_by(GaugeStudyRow.opened_utc, GaugeStudyRow.key)
    with register.session(write=False) as session:
        return [GaugeStudy.model_validate_json(text) for text in session.execute(query).scalars()]


def documents_of(register: Register, study: GaugeStudy) -> dict[str, InspectionDocument]:
    """The documents that count for a study, by inspection id."""
    ids = [step.inspection for step in study.steps if step.inspection is not None]
    return dict(zip(ids, register.documents(ids), strict=True))


def latest_repeatability(register: Register, *, operator: str | None, bench: str | None) -> float | None:
    """Scatter in cents between inspections that an inspection's own uncertainty does not see, from the newest computed study of
    this operator at this bench.

    To be added to a note's standard uncertainty in quadrature. None when no such study has been computed.
    """
    found = [one.result for one in list_studies(register) if one.result and counts_for(one, operator=operator, bench=bench)]
    newest = max(found, key=lambda result: datetime.fromisoformat(result.computed_at), default=None)
    return None if newest is None else newest.unseen_repeatability_cents


def _lot_row(session: Session, name: str) -> LotRow:
    row = session.execute(select(LotRow).where(LotRow.name == name)).scalar()
    if row is None:
        raise UsageError(f"there is no lot {name!r}: {_known(session, 'lot')}")
    return row


def _study_row(session: Session, name: str) -> GaugeStudyRow:
    row = session.execute(select(GaugeStudyRow).where(GaugeStudyRow.name == name)).scalar()
    if row is None:
        raise UsageError(f"there is no study {name!r}: {_known(session, 'study')}")
    return row


def _known(session: Session, what: str) -> str:
    table = LotRow if what == "lot" else GaugeStudyRow
    count = session.execute(select(func.count()).select_from(table)).scalar_one()
    if count == 0:
        return f"none has been opened; `fretcheck {'lot' if what == 'lot' else 'gauge'} open` opens one"
    newest = session.execute(select(table.name).order_by(table.opened_utc.desc()).limit(5)).scalars()
    return "the newest are " + ", ".join(repr(name) for name in newest)


def _json(record: Lot | GaugeStudy) -> str:
    return record.model_dump_json(by_alias=True)
