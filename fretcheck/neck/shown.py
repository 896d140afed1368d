"""A value of a description in a complaint's one line."""

from __future__ import annotations


def shown(value: object) -> str:
    """A value as it would stand in the file, on one line and cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "…"
