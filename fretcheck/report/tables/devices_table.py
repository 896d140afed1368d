"""Sound inputs, their level and their fitness, for the screen or a program.

Conventions: levels in dB against full scale. Grades are told by words; colour repeats them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import log10
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.audio.fitness import Fitness
from fretcheck.audio.input.portaudio import InputDevice
from fretcheck.plain_text import plain_line
from fretcheck.report.tables.plain_table import plain_table

LIST_SCHEMA = "fretcheck/devices/1"
CHECK_SCHEMA = "fretcheck/device-check/1"
_METER_FROM_DB = -72.0
_STYLES = {"fit": "green", "poor": "yellow", "unfit": "bold red"}
_WHAT = {"signal": "Signal", "noise": "Noise", "hum": "Hum", "clipping": "Clipping", "dc": "Offset"}
_VERDICTS = {
    "fit": "FIT FOR WORK",
    "poor": "USABLE, BUT NOT GOOD",
    "unfit": "NOT FIT FOR WORK",
    None: "UNDECIDED: no pluck was heard",
}


def inputs_table(inputs: Sequence[InputDevice], rates: Mapping[int, Sequence[int]]) -> Table:
    """One line an input; `rates` by device number."""
    table = plain_table(">No.", "Input", ">Channels", ">Own rate, Hz", "Also takes, kHz", padding=(0, 1), header_style="bold")
    for column in (table.columns[1], table.columns[4]):
        column.overflow, column.ratio = "fold", 2
    for device in inputs:
        name = Text(plain_line(device.name))
        if device.is_default:
            name.append("  (default)", style="dim")
        others = " ".join(f"{rate / 1000:g}" for rate in rates.get(device.number, ()) if rate != device.default_rate_hz)
        table.add_row(str(device.number), name, str(device.channels), f"{device.default_rate_hz:.0f}", others)
    return table


def inputs_document(inputs: Sequence[InputDevice], rates: Mapping[int, Sequence[int]]) -> dict[str, Any]:
    """The same for a program."""
    found = [asdict(device) | {"rates_hz": list(rates.get(device.number, ()))} for device in inputs]
    return {"schema": LIST_SCHEMA, "inputs": found}


def meter(rms: float, floor_rms: float | None, *, clipped: bool, width: int = 72, ascii_only: bool = False) -> Text:
    """Level as a bar from −72 dB to full scale, with the noise floor marked in it."""
    level, bar = _db(rms), max(10, width - 24)
    full, mark, empty = ("#", "|", ".") if ascii_only else ("█", "│", "·")
    filled = _place(level, bar)
    cells = [full] * filled + [empty] * (bar - filled)
    if floor_rms is not None:
        cells[min(_place(_db(floor_rms), bar), bar - 1)] = mark
    words = Text(f"{'-' if ascii_only else '−'}{abs(level):5.1f} dB  ", style="bold")
    words.append("".join(cells), style="red" if clipped else "")
    words.append("  CLIPPED" if clipped else "")
    return words


def _place(level_db: float, bar: int) -> int:
    return round(min(max((level_db - _METER_FROM_DB) / -_METER_FROM_DB, 0.0), 1.0) * bar)


def _db(rms: float) -> float:
    return 20.0 * log10(max(rms, 1e-7))


def fitness_report(fitness: Fitness, *, device: str, sample_rate_hz: float) -> RenderableType:
    """What was heard and what to do about it."""
    table = plain_table("", ">", padding=(0, 1), show_header=False)
    levels = (fitness.signal_dbfs, fitness.noise_dbfs, fitness.snr_db, fitness.hum_dbfs)
    rows = zip(("Signal", "Noise floor", "Signal over noise", "Mains hum"), levels, strict=True)
    clipped = "unknown" if fitness.clipped_fraction is None else f"{100 * fitness.clipped_fraction:.3g} %"
    shown = [(label, "unknown" if value is None else f"{value:.1f} dB") for label, value in rows]
    for label, text in (("Plucks heard", str(fitness.plucks)), *shown, ("Clipped", clipped)):
        table.add_row(Text(label, style="dim"), text)
    title = Text(f"{plain_line(device)}, {sample_rate_hz:.0f} Hz, {fitness.seconds:.0f} s", style="bold")
    remarks = [Text(f"{_WHAT[remark.what]}: {remark.sentence}", style=_STYLES[remark.grade]) for remark in fitness.remarks]
    verdict = Text(_VERDICTS[fitness.grade], style=f"bold {_STYLES.get(fitness.grade or 'poor', '')}")
    return Group(title, table, *remarks, verdict)


def fitness_document(fitness: Fitness, *, device: str, sample_rate_hz: float) -> dict[str, Any]:
    """The same for a program."""
    values = asdict(fitness)
    del values["all_zero"]  # a remark says it
    values |= {"remarks": [asdict(remark) for remark in fitness.remarks]}
    unknown = None if fitness.plucks else "no pluck was heard"
    head = {"schema": CHECK_SCHEMA, "device": device, "sample_rate_hz": sample_rate_hz, "grade": fitness.grade}
    return {**head, **values, "remarks": [asdict(remark) for remark in fitness.remarks], "reason_unknown": unknown}
