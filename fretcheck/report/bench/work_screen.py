"""The screen of work on one place: the note just plucked and how far the part is to go, in figures read from across the bench."""

import textwrap
from dataclasses import dataclass

from rich.text import Text

from fretcheck.report.bench.bench_screen import BenchScreen, bar
from fretcheck.report.bench.big_digits import SMALLEST_ROWS, big_text, big_width, fitting_rows
from fretcheck.report.bench.work_view import WorkView
from fretcheck.report.tables.neck_cells import Glyphs
from fretcheck.session.events import Worked
from fretcheck.session.live.wording import note_name

WORK_KEYS = "space worked on it   b one back   s next correction   p pause   q stop and keep"
_FEWEST_TRAIL = 4
_WIDEST, _WIDEST_MM = "+88.8", "8.88"
_TO_GO_SHARE = 0.62  # Of the rows beside the deviation: what is to go is read while the other hand works, the change now and then


@dataclass(frozen=True)
class WorkScreen(BenchScreen):
    """Fills the terminal with a view of the work."""

    view: WorkView

    def lines(self, width: int, height: int, glyphs: Glyphs) -> list[Text]:
        """Exactly `height` lines; the trail is shortened first when there is little room."""
        ascii_only = glyphs.sharp.isascii()
        small = [self._title(width), *self._task(width), *self._band(width), *self._scale(width, ascii_only)]
        rows = max(1, height - len(small) - 1 - (1 + _FEWEST_TRAIL))
        figures = self._figures(width, rows, ascii_only)
        room = height - 1 - len(small) - len(figures)
        beneath = self._reason(width, room, ascii_only) or self._trail(room)
        lines = [*small[:1], *figures, *small[1:], *beneath]
        lines += [Text()] * (height - 1 - len(lines))
        return [*lines[: height - 1], Text(WORK_KEYS[:width], style="dim")][:height]

    def _title(self, width: int) -> Text:
        view = self.view
        name = f"{view.neck.name}   {view.source}"
        room = max(0, width - len(view.task) - 2)
        return Text.assemble((name[:room].ljust(room), "dim"), "  ", (view.task, "bold"))

    def _task(self, width: int) -> list[Text]:
        text = self.view.clearance.text if self.view.clearance is not None else self.view.advice
        return [Text(f" {line}") for line in textwrap.wrap(text, max(2, width - 1))[:2]]

    def _figures(self, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """The deviation, and beside it what is to go and the change."""
        view = self.view
        shown = view.place or view.ask
        where = "" if shown is None else f"STRING {shown.string} " + ("OPEN" if shown.fret == 0 else f"FRET {shown.fret}")
        name = "" if shown is None else note_name(view.neck, shown.string, shown.fret)
        value = "" if view.deviation_cents is None else f"{view.deviation_cents:+.1f}"
        if len(value) > len(_WIDEST):
            value = f"{view.deviation_cents:+.0f}"
        if rows - 2 < SMALLEST_ROWS:
            words = f"{where}  {value} cents" if value else where
            return [Text(words, style="bold"), *[Text()] * (rows - 1)]
        half = width * 6 // 10
        body = fitting_rows(_WIDEST, half, rows - 2)
        style = "bold" if view.mood == "taken" else "dim"
        left = [Text(f"{where}   {name}", style="bold"), *(Text(row, style=style) for row in big_text(value or " ", body,
                ascii_only=ascii_only))]  # fmt: skip
        doubt = "" if view.u_cents is None or not value else f" ± {view.u_cents:.1f}"
        left.append(Text(f"cents{doubt}   settled {bar(view.settled, 12, ascii_only)}", style=style))
        column = min(half, big_width(_WIDEST, body)) + 3
        right = self._side_figures(width - column, len(left), ascii_only)
        lines = left + [Text()] * (max(len(left), len(right)) - len(left))
        for line, beside in zip(lines, right, strict=False):
            line.pad_right(max(0, column - line.cell_len))
            line.append_text(beside)
        return lines

    def _side_figures(self, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """What is to go and the change, one above the other; the level below them."""
        view, left = self.view, self.view.remaining
        to_go, label = "", "TO GO"
        if view.clearance is not None:
            label, to_go = "STOP AT, mm OVER FRET 1", f"{view.clearance.stop_mm:.2f}"
        elif left is not None:
            way = "TOWARD BRIDGE" if left.mm > 0 else "TOWARD NUT"
            label = f"STOP, mm LEFT ± {left.u_mm:.2f}" if left.state == "done" else f"mm {way} ± {left.u_mm:.2f}"
            to_go = f"{abs(left.mm):.2f}"
        change = "" if view.change_cents is None else f"{view.change_cents:+.1f}"
        first = max(SMALLEST_ROWS, int((rows - 3) * _TO_GO_SHARE))
        second = max(SMALLEST_ROWS, rows - 3 - first)
        lines = _figure(label, to_go, _WIDEST_MM, width, first, ascii_only)
        lines += _figure("CENTS CHANGED", change, _WIDEST, width, second, ascii_only)
        level = 0.0 if view.level_db is None else (view.level_db + 70.0) / 70.0
        lines = lines[: rows - 1] + [Text()] * (rows - 1 - len(lines))
        return [*lines, Text("level " + bar(level, min(32, max(4, width - 8)), ascii_only), style="dim")]

    def _trail(self, room: int) -> list[Text]:
        """The last plucks, the newest first."""
        if room < 2 or not self.view.trail:
            return []
        return [Text("last plucks", style="dim"), *(self._pluck(one) for one in list(self.view.trail)[: room - 1])]

    def _pluck(self, one: Worked) -> Text:
        where = f"string {one.place.string}" + (f", fret {one.place.fret}" if one.place.fret else " open")
        line = f" {where:<18} {one.deviation_cents:+7.1f} cents   changed {one.change_cents:+6.1f}"
        if one.remaining is not None:
            way = "bridge" if one.remaining.mm > 0 else "nut"
            line += f"   {abs(one.remaining.mm):5.2f} mm to {way} ± {one.remaining.u_mm:.2f}"
        return Text(line)


def _figure(label: str, value: str, widest: str, width: int, rows: int, ascii_only: bool) -> list[Text]:
    digits = [Text(row, style="bold") for row in big_text(value or " ", fitting_rows(widest, width, rows), ascii_only=ascii_only)]
    return [Text(label[:width], style="bold dim"), *digits]
