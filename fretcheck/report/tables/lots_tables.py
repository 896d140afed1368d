"""Lots, templates, charts and gauge studies on an 80-column screen, and as CSV.

Conventions: mm are positive toward the bridge. What a user typed is shown as text, never as markup. CSV has one header line, a
point as decimal sign, empty for unknown.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_record import Lot
from fretcheck.lots.charts.capability import capability_in_words
from fretcheck.lots.gauge.gauge_study import ScatterPart
from fretcheck.lots.gauge.study import GaugeStudy
from fretcheck.lots.template.template_study import Drift, TemplateStudy
from fretcheck.plain_text import decimal, plain_line, signed
from fretcheck.report.tables.plain_table import plain_table

# Plain words; the statistician's name, which is the key, is told behind them in brackets
CHARTS_EXPLAINED = {
    "individuals": "each point by itself, sees a sudden jump",
    "moving range": "the step from point to point, sees scatter that grows",
    "EWMA": "a running mean in which older points fade, sees a slow wear",
    "CUSUM": "departures added up, sees a small shift that stays",
}
OUTCOME_WORDS = {"accept": "ACCEPTED", "refuse": "REFUSED", "open": "NOT DECIDED"}
LOT_COLUMNS = "serial,in_sample,inspection,decision,worst_cents"
TEMPLATE_COLUMNS = "quantity,fret,error_mm,u_mm,interval_low_mm,interval_high_mm,necks,move,cp,cpk"
COUNTING_RULE = "Of each neck its first inspection counts, unless it was undecided or marked spoiled."
_OUTCOME_STYLES = {"accept": "bold black on green", "refuse": "bold white on red", "open": "bold black on yellow"}


def plan_in_words(lot: Lot) -> str:
    """How many necks are drawn and what the lot must keep."""
    plan = lot.plan
    rule = f"at most {plan.accept} bad" if plan.accept is not None else f"by variables (k = {plan.k:g}), no longer judged"
    return f"{plan.sample} of {len(lot.serials)} necks, {rule} ({plan.source})"


def lot_view(
    lot: Lot, results: Mapping[str, InspectionDocument], *, risks: Sequence[str], next_step: str, whole: bool = True
) -> RenderableType:
    """A lot: state, plan, decision, risks and the next step; `whole` with every neck of the sample and what was read."""
    parts: list[RenderableType] = [Text(f"Lot {plain_line(lot.name)}, {lot.state}", style="bold")]
    if lot.template:
        parts.append(Text(f"Template {plain_line(lot.template)}"))
    parts.append(Text(f"Plan: {plan_in_words(lot)}"))
    if lot.decision is not None:
        outcome = lot.decision.outcome
        line = Text.assemble((f" {OUTCOME_WORDS[outcome]} ", _OUTCOME_STYLES[outcome]), "  ")
        parts += [Text(), line.append(plain_line(lot.decision.text))]
    parts += _bullets(lot.decision.risks if lot.decision else risks)
    if lot.sample:
        parts.append(Text(f"{sum(s in results for s in lot.sample)} of {len(lot.sample)} drawn necks read. {COUNTING_RULE}"))
        if whole:
            parts += [Text(), _sample_table(lot, results)]
    if set_aside := not_counted(lot):
        parts += [Text(), *_bullets(set_aside)]
    return Group(*parts, Text(), Text.assemble(("Next: ", "bold"), plain_line(next_step)))


def not_counted(lot: Lot) -> list[str]:
    """The inspections on record that do not count, each with the reason."""
    lines = []
    for serial, reads in lot.reads.items():
        for one in reads:
            if one.id != lot.inspections.get(serial):
                undecided = one.decision in (None, "undecided")
                why = f"spoiled: {one.spoiled}" if one.spoiled else "undecided" if undecided else "not the first"
                lines.append(f"on record, not counted: {one.id} of {serial} ({one.decision or 'no verdict'}; {why})")
    return lines


def _sample_table(lot: Lot, results: Mapping[str, InspectionDocument]) -> Table:
    table = _table(f"Sample, drawn with seed {lot.seed}", "Neck", "Inspection", "Verdict", ">Worst note, cents")
    for serial in lot.sample:
        verdict, worst = _verdict(results.get(serial), digits=1)
        table.add_row(Text(plain_line(serial)), lot.inspections.get(serial, ""), verdict or "not read", worst)
    return table


def _verdict(read: InspectionDocument | None, *, digits: int) -> tuple[str, str]:
    """The decision and the worst deviation in cents, empty where nothing was read or judged."""
    if read is None:
        return "", ""
    worst = read.verdict.worst
    return read.verdict.decision or "not judged", "" if worst is None else f"{abs(worst.deviation_cents):.{digits}f}"


def lots_table(lots: Iterable[Lot]) -> Table:
    """All lots, one a line."""
    table = _table(None, "Lot", "Opened", "Template", ">Necks", ">Sample", ">Read", "State")
    for lot in lots:
        read = sum(serial in lot.inspections for serial in lot.sample)
        state = lot.state if lot.decision is None else f"{lot.state}, {OUTCOME_WORDS[lot.decision.outcome].lower()}"
        name, template = Text(plain_line(lot.name)), Text(plain_line(lot.template or ""))
        table.add_row(name, lot.opened_at[:10], template, str(len(lot.serials)), str(len(lot.sample)), str(read), state)
    return table


def template_view(name: str, study: TemplateStudy) -> RenderableType:
    """A template: what to correct, fret by fret, scatter, departing necks."""
    position = study.position
    percent = f"{100 * position.confidence:.0f} %"
    head = f"Template {plain_line(name)}: {position.necks_used} of {position.necks} necks"
    parts: list[RenderableType] = [Text(head, style="bold"), *_bullets(what_to_correct(study))]
    title = f"Errors of the template, mm, + toward the bridge, with {percent} interval"
    table = _table(title, ">Fret", ">Error", ">Interval", ">Room (Cpk)", "")
    for fret in position.frets:
        cpk = "" if study.capability is None else decimal(study.capability[fret.fret].cpk)
        interval = f"{signed(fret.interval[0], 2)} to {signed(fret.interval[1], 2)}"
        table.add_row(str(fret.fret), signed(fret.error_mm, 2), interval, cpk, "move" if fret.blamed else "")
    return Group(*parts, Text(), table, Text(), *_bullets(scatter_in_words(study)))


def what_to_correct(study: TemplateStudy) -> list[str]:
    """The template as a whole, the frets to correct, the necks that depart; and what could be found at all."""
    results, whole = [study.position] + ([] if study.tilt is None else [study.tilt]), study.position.whole
    lines = [whole.text] if whole is not None and whole.blamed else []
    lines += [fret.text for result in results for fret in result.frets if fret.blamed]
    if not lines:
        lines = ["no fret of the template stands out: nothing to correct"]
    return [*lines, *(plain_line(departure.text) for departure in study.position.departures), study.position.power]


def scatter_in_words(study: TemplateStudy) -> list[str]:
    """Where the rest of the scatter lies, and what to bear in mind."""
    position = study.position
    lines = [
        f"standard deviations: of single slots {position.slot_scatter_mm:.3f} mm, the readings' own"
        f" {position.reading_scatter_mm:.3f} mm taken out; of what moves all frets of a neck (nut, saddle, hand)"
        f" {position.neck_scatter_mm:.3f} mm"
    ]
    if position.trend_mm is not None:
        first, last = position.trend_mm[0], position.trend_mm[-1]
        lines.append(
            f"shared by all frets, from {signed(first, 2)} mm at fret {position.frets[0].fret} to {signed(last, 2)} mm at fret"
            f" {position.frets[-1].fret}: nut height, saddles or the hand, not single slots; taken out above"
        )
    if study.capability is not None:
        worst, capable = min(study.capability.items(), key=lambda item: item[1].cpk)
        what = f"the slot of fret {worst}, the least capable against ±{study.tolerance_mm:g} mm,"
        lines.append(capability_in_words(capable, what=what))
    lines += [f"found by the diagnosis on {count} necks: {label}" for label, count in study.findings[:5]]
    return [*lines, *position.warnings, *study.remarks]


def drift_view(name: str, drift: Drift) -> RenderableType:
    """Drift charts in words and numbers."""
    head = Text(f"Template {plain_line(name)}, fret {drift.fret}: {len(drift.labels)} points", style="bold")
    table = _table("Each point, mm", "Point", ">Error", "Signal of")
    for index, (label, value) in enumerate(zip(drift.labels, drift.values_mm, strict=True)):
        signals = ", ".join(chart.kind for chart in drift.charts if index in chart.signals)
        table.add_row(Text(plain_line(label)), signed(value, 3), signals)
    return Group(head, table, Text(), *_bullets(drift_in_words(drift)))


def drift_in_words(drift: Drift) -> list[str]:
    """What each chart says, with its limits and average run lengths."""
    lines = []
    for chart in drift.charts:
        limits = f"upper limit {chart.upper:.3f}"
        if chart.lower is not None:
            limits = f"limits {signed(chart.lower, 3)} and {signed(chart.upper, 3)}"
        seen = [plain_line(drift.labels[i]) for i in chart.signals]
        words = f"{CHARTS_EXPLAINED[chart.kind]} ({chart.kind}): {limits} mm, "
        words += f"SIGNAL at {', '.join(seen)}" if seen else "no signal"
        if chart.run is not None:
            words += (
                f"; a false alarm about every {_points(chart.run.on_target)} points, in 1 shop of 10 every"
                f" {_points(chart.run.unlucky_on_target)}; {_points(chart.run.after_shift)} points until a shift of one standard"
                " deviation is seen"
            )
        lines.append(words)
    if any(chart.provisional for chart in drift.charts):
        count = len(drift.values_mm)
        lines.append(f"the limits will still move: {count} point{'' if count == 1 else 's'}, 20 are wanted")
    return [*lines, *(plain_line(line) for line in drift.left_out)]


def _points(run: float) -> str:
    """A run length, of two figures that mean something."""
    return f"{run:.0f}" if run < 1000 else "1,000 or more"


def _bullets(lines: Iterable[str]) -> list[Text]:
    return [Text(f"- {plain_line(line)}") for line in lines]


def study_view(study: GaugeStudy) -> RenderableType:
    """A gauge study: how far it is, what comes next, or what it found."""
    head = f"Gauge study {plain_line(study.name)}: {study.read} of {len(study.steps)} readings done"
    parts: list[RenderableType] = [Text(head, style="bold")]
    if (step := study.next_step) is not None:
        parts.append(Text(f"next: neck {plain_line(step.neck)}, read by {plain_line(step.operator)}, round {step.repeat}"))
    result = study.result
    if result is None:
        return Group(*parts)
    percent = f"{100 * result.confidence:.0f} %"
    table = _table(f"Scatter of one note in cents (standard deviation, {percent} interval)", "", ">Scatter", ">Interval")
    rows: list[tuple[str, ScatterPart | None]] = [
        ("read again (repeatability)", result.repeatability),
        ("  a whole inspection's shift", result.of_inspection),
        ("  a string's", result.of_string),
        ("  a note's own", result.of_note),
        ("between operators (reproducibility)", result.reproducibility),
        ("all the measuring", result.gauge),
    ]
    for label, part in rows:
        interval = "" if part is None else f"{part.interval[0]:.2f} to {part.interval[1]:.2f}"
        table.add_row(label, "not seen" if part is None else f"{part.cents:.2f}", interval)
    who = " or ".join(sorted({step.operator for step in study.steps})) + (f" at bench {study.bench}" if study.bench else "")
    grades = "no limit" if result.distinct_categories is None else result.distinct_categories
    lines = [
        f"between notes and necks the scatter is {result.between_parts_cents:.2f} cents: grades of necks it can tell apart "
        f"(distinct categories): {grades}; 5 are wanted",
        f"later verdicts of {who} count {result.unseen_repeatability_cents:.2f} cents on top of their own uncertainty",
        *result.remarks,
    ]
    last = plain_line(f"{result.sentence[:1].upper()}{result.sentence[1:]}.")
    return Group(*parts, table, Text(), *_bullets(lines), Text(), Text(last, style="bold"))


def studies_table(studies: Iterable[GaugeStudy]) -> Table:
    """All gauge studies, one a line."""
    table = _table(None, "Study", "Opened", ">Readings", ">Repeatability, cents")
    for study in studies:
        repeat = "" if study.result is None else f"{study.result.repeatability.cents:.2f}"
        table.add_row(Text(plain_line(study.name)), study.opened_at[:10], f"{study.read} of {len(study.steps)}", repeat)
    return table


def lot_csv(lot: Lot, results: Mapping[str, InspectionDocument]) -> str:
    """One line a neck of the lot."""
    rows = []
    for serial in lot.serials:
        drawn = "yes" if serial in lot.sample else "no"
        rows.append((serial, drawn, lot.inspections.get(serial, ""), *_verdict(results.get(serial), digits=3)))
    return _csv(LOT_COLUMNS, rows)


def template_csv(study: TemplateStudy) -> str:
    """One line a fret and quantity."""
    rows = []
    for result in [study.position] + ([] if study.tilt is None else [study.tilt]):
        for fret in result.frets:
            capable = None if study.capability is None or result is study.tilt else study.capability[fret.fret]
            errors = [f"{mm:.4f}" for mm in (fret.error_mm, fret.u_mm, *fret.interval)]
            room = ["", ""] if capable is None else [f"{capable.cp:.3f}", f"{capable.cpk:.3f}"]
            move = "yes" if fret.blamed else "no"
            rows.append((result.quantity, str(fret.fret), *errors, str(fret.necks), move, *room))
    return _csv(TEMPLATE_COLUMNS, rows)


def _csv(columns: str, rows: Iterable[Sequence[str]]) -> str:
    stream = io.StringIO()
    stream.write(f"{columns}\n")
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def _table(title: str | None, *columns: str) -> Table:
    return plain_table(*columns, title=title, title_justify="left", title_style="dim")
