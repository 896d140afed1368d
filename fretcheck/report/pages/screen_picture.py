"""The terminal result as an SVG picture, for the README and for letters: plain ink on paper, no outside font or address."""

import io
from pathlib import Path

from rich.console import Console
from rich.terminal_theme import TerminalTheme

from fretcheck.files import write_text
from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.tables.terminal import print_result

_WIDTH = 80
# Tells a picture of fretcheck's own, which may be replaced
_MARK = b'<title id="result-name">Result of an inspection, as the terminal shows it</title>'
_FORMAT = """<svg viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="{unique_id}-name">
<title id="{unique_id}-name">Result of an inspection, as the terminal shows it</title>
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; font-size: {char_height}px;
  line-height: {line_height}px; }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal"><rect x="0" y="0" width="{terminal_width}" height="{terminal_height}" /></clipPath>
{lines}
</defs>
<rect width="100%" height="100%" fill="#fbfaf6" />
<g transform="translate({terminal_x}, {terminal_y})" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def is_picture(head: bytes) -> bool:
    return _MARK in head


def write_picture(document: InspectionDocument, path: Path, *, force: bool = False) -> Path:
    """Write the picture and return its path. Raises UsageError, StorageError as `fretcheck.files.written_whole`."""
    paper = TerminalTheme(
        (251, 250, 246),
        (32, 32, 28),
        [(32, 32, 28), (170, 40, 20), (40, 100, 50), (140, 96, 0), (24, 72, 130), (150, 30, 70), (0, 95, 120), (225, 222, 212)],
        [(95, 92, 84), (190, 50, 25), (50, 120, 60), (160, 110, 0), (30, 90, 160), (175, 40, 85), (0, 115, 140), (251, 250, 246)],
    )
    console = Console(
        record=True, file=io.StringIO(), width=_WIDTH, force_terminal=True, color_system="truecolor", legacy_windows=False
    )
    print_result(document, console)
    picture = console.export_svg(title="", theme=paper, code_format=_FORMAT, unique_id="result")
    write_text(path, picture, is_ours=is_picture, force=force)
    return path
