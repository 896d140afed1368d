"""A table without lines, as all of ours are on a screen."""

from typing import Any

from rich.table import Table


def plain_table(*columns: str, gap: int = 2, no_wrap: bool = False, **how: Any) -> Table:
    """A table whose columns are `gap` characters apart; `how` as `rich.table.Table` takes it.

    `columns`: headings; one that begins with ``>`` stands over numbers, to the right.
    """
    table = Table(**{"box": None, "padding": (0, gap, 0, 0), "pad_edge": False, "header_style": "dim", **how})
    for column in columns:
        justify: Any = "right" if column.startswith(">") else "left"
        table.add_column(column.removeprefix(">"), justify=justify, no_wrap=no_wrap)
    return table
