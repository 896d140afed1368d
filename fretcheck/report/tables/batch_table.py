"""Many necks in the terminal, a line for each."""

from rich.table import Table
from rich.text import Text

from fretcheck.lots.batch.batch import BatchResult
from fretcheck.plain_text import plain_line
from fretcheck.report.tables.plain_table import plain_table
from fretcheck.report.tables.terminal import DECISION_WORDS


def batch_table(result: BatchResult) -> Table:
    """One row a neck: what became of it, its verdict, its worst note, and the id it is kept under or what went wrong."""
    table = plain_table("Neck", "Verdict", ">Worst, cents", "")
    for line in result.lines:
        words, note = DECISION_WORDS[line.decision].capitalize(), "" if line.inspection is None else f"kept as {line.inspection}"
        if line.state == "failed":
            words, note = "not inspected", line.error or ""
        elif line.state == "kept before":
            note += " before"
        worst = "" if line.worst_cents is None else f"{line.worst_cents:+.1f}"
        table.add_row(Text(plain_line(line.neck)), words, worst, Text(plain_line(note)))
    return table
