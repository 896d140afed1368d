"""The screen at the bench: what to pluck in figures to be read from across the room, and how the note is out.

Everything is laid out anew for the size the terminal has at this moment: the figures take what the rest leaves. Meaning is
carried by words and shapes; colour repeats it.

Conventions: Cents measured minus target: on the scale, flat lies left and sharp right of the middle.
"""

import textwrap
from dataclasses import dataclass

from rich.text import Text

from fretcheck.report.bench.bench_view import HEADINGS, BenchView, Mood, duration_words
from fretcheck.report.bench.big_digits import SMALLEST_ROWS, big_text, big_width, fitting_rows
from fretcheck.report.tables.neck_cells import CELL_WIDTH, Glyphs, cell_text
from fretcheck.session.live.wording import note_name, partners_of, place_words
from fretcheck.session.plan import Ask

KEYS = "space again   b back   s skip   p pause   q stop and keep"
GESTURE = "open string twice: one back"
SCALE_CENTS = 20
MOST_DIGIT_ROWS = 24
LEAST_REASON_ROWS, MOST_REASON_ROWS = 4, 10
READABLE_ROWS = 10  # Figures are given so many rows, their label included, before every string of the neck is shown
_SIDE_COLUMNS = 30
_WIDEST = "+88.8"  # decides, so that nothing changes its size as the value moves
_QUIETEST_DB = -70.0

# pure black: many terminals show the palette's own black as grey where it is bold
_BAND_STYLES: dict[Mood, str] = {
    "waiting": "bold",
    "listening": "bold reverse",
    "taken": "bold color(16) on green",
    "again": "bold color(16) on yellow",
    "tune": "bold reverse",
    "faint": "bold color(16) on yellow",
    "paused": "bold reverse",
    "trouble": "bold white on red",
    "finished": "bold color(16) on green",
}


@dataclass(frozen=True)
class BenchScreen:
    """Fills the terminal with a view of the session."""

    view: BenchView
    step_back: bool = True

    def lines(self, width: int, height: int, glyphs: Glyphs) -> list[Text]:
        """Exactly `height` lines; what matters least is left out first when there is little room."""
        ascii_only = glyphs.sharp.isascii()
        picture = self._neck(width, glyphs)
        small = [self._title(width), *self._band(width), *self._scale(width, ascii_only)]
        rows = height - len(small) - len(picture) - 1
        if rows < READABLE_ROWS:
            picture = self._strings_near(picture, height - len(small) - 1 - READABLE_ROWS)
            rows = height - len(small) - len(picture) - 1
        if rows < SMALLEST_ROWS:
            picture = []
            rows = max(1, height - len(small) - 1)
        digits = self._digits(width, min(rows, MOST_DIGIT_ROWS), ascii_only)
        room = height - 1 - len(small) - len(digits)
        if reason := self._reason(width, room, ascii_only):
            picture = reason
        elif picture and room >= 2 * len(picture):  # air between the strings
            picture = [line for each in picture for line in (each, Text())]
        lines = [small[0], *digits, *small[1:], *picture]
        lines += [Text()] * (height - 1 - len(lines))
        return [*lines[: height - 1], self._keys_line(width)][:height]

    def _reason(self, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """Why the pluck was not taken, in place of the neck, as large as there is room."""
        short = self.view.short if self.view.mood in ("again", "faint") else ""
        sizes = range(min(rows, MOST_REASON_ROWS), LEAST_REASON_ROWS - 1, -1) if short else ()
        size = next((size for size in sizes if big_width(short, size) <= width - 2), None)
        return [] if size is None else [Text(f" {row}", style="bold") for row in big_text(short, size, ascii_only=ascii_only)]

    def _title(self, width: int) -> Text:
        view = self.view
        total = len(view.plan.asks)
        left = f"{total - view.notes_left} of {total} done, {view.notes_left} left"
        if view.seconds_left is not None and view.notes_left:
            left += f", about {duration_words(view.seconds_left)}"
        name = f"{view.neck.name}   {view.source}"
        room = max(0, width - len(left) - 2)
        return Text.assemble((name[:room].ljust(room), "dim"), "  ", (left, "bold"))

    def _keys_line(self, width: int) -> Text:
        text = f"{KEYS}   {GESTURE}" if self.step_back and self.view.may_go_back else KEYS
        return Text(text if len(text) <= width else KEYS, style="dim")

    def _digits(self, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """The figures of string and fret, with the deviation beside them where there is room."""
        ask = self.view.ask
        string, fret = ("-", "-") if ask is None else (str(ask.string), str(ask.fret))
        body = rows - 1  # one row of labels above
        if self.view.tuning and ask is not None and body >= SMALLEST_ROWS:
            return self._tuning_figures(ask, width, rows, ascii_only)
        if body < SMALLEST_ROWS:
            words = "" if ask is None else f"string {string}   fret {fret}"
            return [Text(words, style="bold"), *[Text()] * (rows - 1)]
        side_columns = _SIDE_COLUMNS if width >= 60 else 0
        while body > SMALLEST_ROWS and self._figures_width(string, fret, body) > width - side_columns - 3:
            body -= 1
        left = big_text(string, body, ascii_only=ascii_only)
        right = big_text(fret, body, ascii_only=ascii_only)
        gap = self._gap(body)
        stroke = ("|" if ascii_only else "│").center(gap)
        label = Text("STRING".ljust(len(left[0]) + gap) + ("OPEN" if fret == "0" else "FRET"), style="bold dim")
        figures_width = len(left[0]) + gap + len(right[0])
        figures = [Text.assemble((a, "bold"), (stroke, "dim"), (b, "bold")) for a, b in zip(left, right, strict=True)]
        lines = [label, *figures, *[Text() for _ in range(rows - 1 - body)]]
        if not side_columns or width - figures_width - 3 < _SIDE_COLUMNS - 4:
            return lines
        column = figures_width + min(8, max(3, (width - figures_width - _SIDE_COLUMNS) // 4))
        side = self._side(width - column, rows, ascii_only)
        for line, beside in zip(lines, side, strict=False):
            line.pad_right(max(0, column - line.cell_len))
            line.append_text(beside)
        return lines

    def _tuning_figures(self, ask: Ask, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """How far the string is off, as large as there is room; the words above say which way to turn."""
        cents = self.view.deviation_cents
        value = "" if cents is None else f"{cents:+.0f}"
        body = fitting_rows("+188", width, rows - 1)
        way = "" if cents is None else "SHARP" if cents > 0 else "FLAT"
        label = f"STRING {ask.string} OPEN   {note_name(self.view.neck, ask.string, 0)}   CENTS {way}"
        figures = [Text(row, style="bold") for row in big_text(value or " ", body, ascii_only=ascii_only)]
        return [Text(label, style="bold dim"), *figures, *[Text() for _ in range(rows - 1 - body)]]

    @staticmethod
    def _gap(rows: int) -> int:
        return max(3, rows // 2)

    def _figures_width(self, string: str, fret: str, rows: int) -> int:
        # three figures are reserved, so that nothing jumps from fret 9 to fret 10
        return big_width(string, rows) + self._gap(rows) + big_width(fret.rjust(2, "0"), rows)

    def _side(self, width: int, rows: int, ascii_only: bool) -> list[Text]:
        """Note, deviation, how far it has settled, level."""
        view, ask = self.view, self.view.ask
        lines: list[Text] = []
        if ask is not None:
            words = f"note {note_name(view.neck, ask.string, ask.fret)}"
            if ask.press is not None:
                words += "   PRESS LIGHTLY" if ask.press == "light" else "   PRESS FIRMLY"
            elif ask.check:
                words += "   open check"
            lines.append(Text(words, style="bold"))
            if partners := partners_of(view.neck, ask.string):
                lines.append(Text(f"pair: damp string {', '.join(map(str, partners))}", style="bold"))
        value = "" if view.deviation_cents is None else f"{view.deviation_cents:+.1f}"
        below = 3  # cents, settled, level
        figure_rows = fitting_rows(_WIDEST, width, min(rows - len(lines) - below - 1, MOST_DIGIT_ROWS))
        if value and big_width(value, figure_rows) > width:
            value = f"{view.deviation_cents:+.0f}"
        of = view.deviation_of
        other = "" if not value or of is None or of == ask else f"taken: {place_words(view.neck, of.string, of.fret)}"
        style = "bold" if view.mood in ("taken", "finished") else "dim"
        above = rows > len(lines) + figure_rows + below
        if above:
            lines.append(Text(other, style=style))
        lines += [Text(row, style=style) for row in big_text(value or " ", figure_rows, ascii_only=ascii_only)]
        doubt = "" if view.u_cents is None or not value else f" ± {_doubt(view.u_cents)}"
        after = f", {other}" if other and not above else ""
        lines.append(Text(f"cents{doubt}{after}" if value else "", style=style))
        if rows > len(lines) + 2:
            lines.append(Text())
        room = min(32, max(4, width - 10))
        lines.append(Text("settled " + bar(view.settled, room, ascii_only)))
        level = None if view.level_db is None else (view.level_db - _QUIETEST_DB) / -_QUIETEST_DB
        lines.append(Text("level   " + bar(0.0 if level is None else level, room, ascii_only), style="dim"))
        return lines

    def _band(self, width: int) -> list[Text]:
        """What is going on, and what to beware of, in as many lines across the screen as they take."""
        view = self.view
        message = f" {HEADINGS[view.mood]}  {view.message}"
        wrapped = textwrap.wrap(message, max(2, width), drop_whitespace=False) or [""]
        lines = [Text(wrapped[0][:width].ljust(width), style=_BAND_STYLES[view.mood])]
        lines += [Text(f" {line.strip()}", style="bold") for line in wrapped[1:]]
        lines += [Text(f" {line}", style="bold yellow") for line in textwrap.wrap(view.warning, max(2, width - 1))]
        lines += [Text(f" {line}", style="bold") for line in textwrap.wrap(view.why, max(2, width - 1))]
        return lines if len(lines) > 1 else [*lines, Text()]

    def _scale(self, width: int, ascii_only: bool) -> list[Text]:
        """A ruler of cents with the tolerance marked, and a bar from zero to the value."""
        centre = width // 2
        per_cent = (centre - 3) / SCALE_CENTS
        limit = self.view.neck.tolerance_cents
        ruler = [" "] * width
        rule, zero, tick = ("-", "|", "+") if ascii_only else ("─", "┼", "┴")
        for column in range(centre - round(SCALE_CENTS * per_cent), centre + round(SCALE_CENTS * per_cent) + 1):
            ruler[column] = rule
        for cents in range(-SCALE_CENTS, SCALE_CENTS + 1, 5):
            ruler[centre + round(cents * per_cent)] = tick
        ruler[centre] = zero
        for edge, mark in ((-limit, "["), (limit, "]")):
            column = centre + round(edge * per_cent)
            if 0 <= column < width:
                ruler[column] = mark
        for cents in (-SCALE_CENTS, -10, 10, SCALE_CENTS):
            label = f"{cents:+d}"
            at = centre + round(cents * per_cent) - len(label) // 2
            at = min(max(0, at), width - len(label))
            ruler[at : at + len(label)] = label
        return [self._scale_bar(width, centre, per_cent, ascii_only), Text("".join(ruler), style="dim")]

    def _scale_bar(self, width: int, centre: int, per_cent: float, ascii_only: bool) -> Text:
        cents = self.view.deviation_cents
        if cents is None:
            return Text(" " * width)
        filled = "=" if ascii_only else "█"
        end = centre + round(min(max(cents, -SCALE_CENTS), SCALE_CENTS) * per_cent)
        first, last = min(centre, end), max(centre, end)
        row = [filled if first <= column <= last else " " for column in range(width)]
        if abs(cents) > SCALE_CENTS:
            row[end] = "<" if cents < 0 else ">"
        out = abs(cents) > self.view.neck.tolerance_cents
        return Text("".join(row), style="bold magenta" if out and cents > 0 else "bold cyan" if out else "bold green")

    def _neck(self, width: int, glyphs: Glyphs) -> list[Text]:
        """Strings down, frets across; each cell is filled once its note is taken."""
        view, cells = self.view, self.view.cells
        label = 5
        columns = view.neck.frets + 1
        cell_width = min(CELL_WIDTH, (width - label) // columns)
        if cell_width < 1:
            return []
        numbers = ["o", *(str(fret) if cell_width > 2 or fret % 5 == 0 else "" for fret in range(1, columns))]
        if cell_width > 2:  # above the middle of its cell
            numbers = [number.rjust(2) for number in numbers]
        marked = [number.ljust(cell_width)[: max(cell_width, 1)] for number in numbers]
        lines = [Text(" " * label + "".join(marked), style="dim")]
        for string, design in enumerate(view.neck.strings, start=1):
            current = view.ask is not None and view.ask.string == string
            line = Text(f"{string:>2} {design.note}".ljust(label)[:label], style="bold" if current else "")
            for fret in range(columns):
                text = cell_text(cells.get((string, fret)), glyphs)
                if cell_width < 3:
                    text = Text(text.plain.strip()[:1].ljust(cell_width), style=text.style)
                text.truncate(cell_width)
                if current and view.ask is not None and view.ask.fret == fret:
                    inner = text.plain.strip()[: max(1, cell_width - 2)] or glyphs.unheard
                    text = Text(f"[{inner}]".ljust(cell_width) if cell_width > 2 else text.plain, style="bold reverse")
                line.append_text(text)
            lines.append(line)
        return lines

    def _strings_near(self, picture: list[Text], lines: int) -> list[Text]:
        """The picture cut down to so many lines, the string that is played among them; its heading and one string at least."""
        ask = self.view.ask
        if ask is None or len(picture) <= ask.string:
            return []
        strings = max(1, lines - 1)
        first = min(max(1, ask.string - strings // 2), len(picture) - strings)
        return [picture[0], *picture[first : first + strings]]


def bar(fraction: float, width: int, ascii_only: bool) -> str:
    """A bar filled from the left."""
    full = round(min(max(fraction, 0.0), 1.0) * width)
    on, off = ("#", ".") if ascii_only else ("█", "·")
    return on * full + off * (width - full)


def _doubt(u_cents: float) -> str:
    return f"{u_cents:.2f}" if u_cents < 1 else f"{u_cents:.1f}"
