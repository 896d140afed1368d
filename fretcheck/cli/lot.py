"""`fretcheck lot …`: sampling a lot, its decision, its template and drift."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import (
    ForceOption,
    HtmlOption,
    JsonOption,
    RegisterOption,
    console,
    print_json,
    serials_in,
    with_groups,
)
from fretcheck.errors import EXIT_DONE, EXIT_OUT_OF_TOLERANCE, EXIT_UNDECIDED, UsageError
from fretcheck.files import check_place, is_page, starts_like, write_text

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument
    from fretcheck.lots.acceptance.lot_record import Lot
    from fretcheck.lots.template.template_study import LotSlots
    from fretcheck.register.store import Register

_EXIT_OF_OUTCOME = {"accept": EXIT_DONE, "refuse": EXIT_OUT_OF_TOLERANCE, "open": EXIT_UNDECIDED}

command = typer.Typer(
    help="Judge a lot of necks by a sample, and find errors of the template they share.",
    rich_markup_mode=None,
    no_args_is_help=True,
)
LotArgument = Annotated[str, typer.Argument(metavar="LOT", help="Name of the lot.")]
TemplateArgument = Annotated[str, typer.Argument(metavar="TEMPLATE", help="The template.")]


@dataclass(frozen=True, kw_only=True)
class FileOptions:
    """Files to write, beside what is shown."""

    html: HtmlOption = None
    csv: Annotated[Path | None, typer.Option(metavar="FILE", help="Write a table for a spreadsheet to this file.")] = None
    force: ForceOption = False

    def check(self, columns: str) -> None:
        """Refuse a place to write before the work."""
        for path, is_ours in ((self.html, is_page), (self.csv, starts_like(columns))):
            if path is not None:
                check_place(path, is_ours=is_ours, force=self.force)

    def write(self, columns: str, *, page: Callable[[], str], table: Callable[[], str]) -> None:
        """Write the files that are asked for; a table has `columns`."""
        for path, text, is_ours in ((self.csv, table, starts_like(columns)), (self.html, page, is_page)):
            if path is not None:
                write_text(path, text(), is_ours=is_ours, force=self.force)


@command.command("open")
def open_(
    name: LotArgument,
    serials: Annotated[
        list[str] | None, typer.Option("--serials", help="Serials or ranges: WT-001..WT-060. May be repeated.")
    ] = None,
    serials_from: Annotated[
        Path | None, typer.Option("--serials-from", metavar="FILE", help="File with one serial a line.")
    ] = None,
    template_name: Annotated[str | None, typer.Option("--template", help="Template or saw the necks were slotted with.")] = None,
    good: Annotated[int | None, typer.Option(help="Bad necks in a lot you still call good.")] = None,
    bad: Annotated[int | None, typer.Option(help="Bad necks in a lot that must not be let through.")] = None,
    makers_risk: Annotated[float, typer.Option(help="Accepted risk of refusing the good lot.")] = 0.05,
    buyers_risk: Annotated[float, typer.Option(help="Accepted risk of accepting the bad lot.")] = 0.10,
    aql: Annotated[float | None, typer.Option(help="Standard plan instead: acceptance quality limit, percent bad.")] = None,
    level: Annotated[str, typer.Option(help="Standard plan: inspection level.")] = "II",
    tightened: Annotated[bool, typer.Option("--tightened", help="Standard plan: tightened instead of normal.")] = False,
    sample: Annotated[int | None, typer.Option(min=1, help="A plan of your own: necks to draw.")] = None,
    draw_now: Annotated[bool, typer.Option("--draw", help="Draw the sample at once.")] = False,
    accept: Annotated[int, typer.Option(min=0, help="A plan of your own: bad necks allowed.")] = 0,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Open a lot and choose its plan: from two stated risks (--good, --bad), from a standard (--aql), or your own (--sample)."""
    names = serials_in(serials or (), serials_from)
    if (good is None) != (bad is None):
        raise UsageError("--good and --bad belong together: the bad necks of a good lot, and of one not to be let through")
    risks = None
    if good is not None and bad is not None:
        risks = rooms.StatedRisks(good=good, bad=bad, makers_risk=makers_risk, buyers_risk=buyers_risk)
    own = None if sample is None else (sample, accept)
    severity: Literal["normal", "tightened"] = "tightened" if tightened else "normal"
    plan = rooms.choose_plan(lot=len(names), risks=risks, aql=aql, level=level, severity=severity, own=own)
    lot = rooms.open_lot(name=name, serials=names, plan=plan, template=template_name, now=datetime.now().astimezone())
    with rooms.open_register(register) as store:
        others = rooms.list_kept(store, rooms.Lot, template=template_name)
        rooms.keep_new(store, lot)
        if draw_now:
            lot = rooms.change(store, rooms.Lot, name, rooms.draw_sample)
    if aql is not None and (proposal := rooms.proposed_severity(others, now_tightened=tightened)):
        print(f"fretcheck: {proposal}", file=sys.stderr)
    _show(lot, {}, as_json=json, whole=draw_now)


@command.command()
def draw(
    name: LotArgument,
    seed: Annotated[int | None, typer.Option(help="Seed of the draw; chosen at random and recorded when left out.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Draw the sample, once and for all."""
    _change(register, name, lambda lot: rooms.draw_sample(lot, seed=seed), as_json=json, whole=True)


@command.command()
def add(
    name: LotArgument,
    inspections: Annotated[
        list[str] | None, typer.Argument(metavar="[ID]...", help="Inspections; else the newest of each neck.")
    ] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Put inspections on the lot's record: those named, or all of its necks since it was opened.

    Of each neck the first counts, unless it was undecided or has been marked spoiled (`lot spoil`).
    """
    with rooms.open_register(register) as store:
        if inspections:
            found: dict[str, list[rooms.ReadPart]] = {}
            for document in sorted(store.documents(inspections), key=lambda one: one.taken_at or ""):
                assert document.id is not None
                found.setdefault(rooms.neck_of(document), []).append(
                    rooms.ReadPart(id=document.id, decision=document.verdict.decision)
                )
        else:
            found = rooms.inspections_since_opening(store, rooms.load(store, rooms.Lot, name))
            if not found:
                raise UsageError(f"no neck of lot {name!r} has been inspected since it was opened")
        lot = rooms.change(store, rooms.Lot, name, lambda lot: rooms.add_inspections(lot, found))
        results = rooms.inspections_of(store, lot)
    _show(lot, results, as_json=json)


@command.command()
def spoil(
    name: LotArgument,
    inspection: Annotated[str, typer.Argument(metavar="ID", help="The inspection that is not to count.")],
    why: Annotated[str, typer.Option("--why", help="The reason; it stays on the lot's record.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Mark an inspection as spoiled, with the reason: the neck's next one counts instead."""
    _change(register, name, lambda lot: rooms.spoil(lot, inspection, why=why), as_json=json)


@command.command()
def remove(name: LotArgument, register: RegisterOption = None, json: JsonOption = False) -> None:
    """Take away a lot that was opened by mistake, before its sample is drawn."""
    with rooms.open_register(register) as store:
        rooms.remove_lot(store, name)
    if json:
        print_json({"schema": "fretcheck/lot-removed/1", "name": name})
    else:
        print(f"Lot {name} removed.")


@command.command()
def decide(
    name: LotArgument,
    undecided_as_bad: Annotated[bool, typer.Option("--undecided-as-bad", help="Count undecided necks as bad.")] = False,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> int:
    """Decide the lot from its sample, with the risks of that decision; inspections since it was opened are added first."""
    with rooms.open_register(register) as store:
        lot = rooms.load(store, rooms.Lot, name)
        found = rooms.inspections_since_opening(store, lot)
        if found and lot.state == "drawn":
            lot = rooms.change(store, rooms.Lot, name, lambda lot: rooms.add_inspections(lot, found))
        results = rooms.inspections_of(store, lot)
        now = datetime.now().astimezone()

        def step(lot: rooms.Lot) -> rooms.Lot:
            return lot.model_copy(update={"decision": rooms.decide_lot(lot, results, undecided_as_bad=undecided_as_bad, now=now)})

        lot = rooms.change(store, rooms.Lot, name, step)
    assert lot.decision is not None
    _show(lot, results, as_json=json)
    return _EXIT_OF_OUTCOME[lot.decision.outcome]


@command.command()
def close(
    name: LotArgument,
    note: Annotated[str | None, typer.Option(help="Why, when the lot is closed without a decision.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Close the lot: nothing changes in it any more."""
    _change(register, name, lambda lot: rooms.close_lot(lot, note=note, now=datetime.now().astimezone()), as_json=json)


@command.command("list")
def list_(register: RegisterOption = None, json: JsonOption = False) -> None:
    """List all lots."""
    with rooms.open_register(register) as store:
        lots = rooms.list_kept(store, rooms.Lot)
    if json:
        print_json({"schema": "fretcheck/lots/1", "lots": [lot.model_dump(mode="json", by_alias=True) for lot in lots]})
    else:
        console().print(rooms.lots_table(lots) if lots else "no lot has been opened; `fretcheck lot open` opens one")


@command.command()
@with_groups
def show(name: LotArgument, *, files: FileOptions, register: RegisterOption = None, json: JsonOption = False) -> None:
    """Show a lot; with --html or --csv write it to a file."""
    files.check(rooms.LOT_COLUMNS)
    with rooms.open_register(register) as store:
        lot = rooms.load(store, rooms.Lot, name)
        documents = rooms.inspections_of(store, lot)
        series = [] if files.html is None or lot.template is None else _by_lot(store, lot.template)
    files.write(
        rooms.LOT_COLUMNS, page=lambda: rooms.lot_page(lot, documents, series=series), table=lambda: rooms.lot_csv(lot, documents)
    )
    _show(lot, documents, as_json=json, whole=True)


@command.command()
@with_groups
def template(
    name: Annotated[str, typer.Argument(metavar="TEMPLATE", help="The template; with --lot only that lot's necks.")],
    lot_name: Annotated[str | None, typer.Option("--lot", help="Only the necks of this lot.")] = None,
    confidence: Annotated[float, typer.Option(help="Of the intervals.")] = 0.90,
    tolerance_mm: Annotated[float, typer.Option("--tolerance-mm", help="Tolerance of a slot, ± mm.")] = 0.10,
    *,
    files: FileOptions,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> int:
    """Find errors that every neck of a template shares, and the necks that depart from it."""
    files.check(rooms.TEMPLATE_COLUMNS)
    series = _series(register, name)
    names = [lot.name for lot in series]
    if lot_name is not None and lot_name not in names:
        raise UsageError(f"lot {lot_name!r} is not of template {name!r} or has no inspections; there are {', '.join(names)}")
    chosen = [lot for lot in series if lot_name in (None, lot.name)]
    study = rooms.study_template(chosen, confidence=confidence, tolerance_mm=tolerance_mm)
    names = [lot.name for lot in chosen]
    page = partial(rooms.template_page, name, study, lots=names, series=series)
    files.write(rooms.TEMPLATE_COLUMNS, page=page, table=lambda: rooms.template_csv(study))
    if json:
        data = asdict(study)
        for result in (data["position"], data["tilt"] or {}):
            result.pop("slots_mm", None)  # the necks' own tables, which charts are drawn from
        print_json({"schema": "fretcheck/template/1", "template": name, "lots": names, **data})
    else:
        console().print(rooms.template_view(name, study))
    return EXIT_OUT_OF_TOLERANCE if study.out else EXIT_DONE


@command.command()
def corrected(
    name: TemplateArgument,
    since: Annotated[
        str, typer.Option("--since", metavar="DATE|LOT", help="Day of the correction, or the first lot cut after it.")
    ],
    fret: Annotated[int | None, typer.Option(min=1, max=36, help="Only this fret; else the whole template.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Tell that a template was corrected: errors and charts start anew from there."""
    with rooms.open_register(register) as store:
        part = rooms.correct_template(store, name, since=since, fret=fret)
    if json:
        print_json({"schema": "fretcheck/template-corrected/1", "template": name, **part.model_dump(mode="json")})
    else:
        what = "all of it" if fret is None else f"fret {fret}"
        print(f"Template {name}, {what} corrected: lots opened before {part.since} no longer count for it.")


@command.command()
def chart(
    name: TemplateArgument,
    fret: Annotated[int, typer.Option(min=1, help="Which fret.")],
    by_neck: Annotated[bool, typer.Option("--by-neck", help="A point for each neck instead of each lot.")] = False,
    baseline: Annotated[int | None, typer.Option(min=3, help="Take limits from the first so many points; else from all.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> int:
    """Show whether a fret's error drifts from lot to lot, or from neck to neck; exit code 1 at a signal."""
    drift = (rooms.drift_over_necks if by_neck else rooms.drift_over_lots)(_series(register, name), fret=fret, baseline=baseline)
    if json:
        print_json({"schema": "fretcheck/chart/1", "template": name, **asdict(drift)})
    else:
        console().print(rooms.drift_view(name, drift))
    return EXIT_OUT_OF_TOLERANCE if any(one.signals for one in drift.charts) else EXIT_DONE


def _change(register: str | None, name: str, step: Callable[[Lot], Lot], *, as_json: bool, whole: bool = False) -> None:

    with rooms.open_register(register) as store:
        lot = rooms.change(store, rooms.Lot, name, step)
        results = rooms.inspections_of(store, lot)
    _show(lot, results, as_json=as_json, whole=whole)


def _show(lot: Lot, results: dict[str, InspectionDocument], *, as_json: bool, whole: bool = False) -> None:
    """Show a lot; `whole` with every neck of its sample."""
    risks, step = rooms.plan_risks_in_words(lot), rooms.next_step(lot, results)
    if lot.template and lot.decision is None and lot.plan.sample >= rooms.FEWEST_NECKS:
        risks = (*risks, rooms.power_in_words(lot.plan.sample))
    if as_json:
        print_json({**lot.model_dump(mode="json", by_alias=True), "state": lot.state, "risks": list(risks), "next": step})
    else:
        console().print(rooms.lot_view(lot, results, risks=risks, next_step=step, whole=whole))


def _by_lot(store: Register, template_name: str) -> list[LotSlots]:
    """The slots of every lot of a template that has inspections, in the order of the lots, what was corrected since left out."""
    lots = rooms.list_kept(store, rooms.Lot, template=template_name)
    read = [
        rooms.lot_slots(one.name, one.opened_at, store.documents(list(one.inspections.values())))
        for one in lots
        if one.inspections
    ]
    return rooms.since_corrections(read, [part for one in lots for part in one.template_corrected])


def _series(register: str | None, template_name: str) -> list[LotSlots]:
    """As `_by_lot`, of the register at a place. Raises UsageError when no lot of the template has inspections."""
    with rooms.open_register(register) as store:
        if series := _by_lot(store, template_name):
            return series
    raise UsageError(f"no lot of template {template_name!r} has been inspected: open lots with --template {template_name}")
