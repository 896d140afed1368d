"""A neck.toml of any neck, for the tests that need one on disk."""

from __future__ import annotations

from pathlib import Path

import tomlkit

from fretcheck.neck.description import Neck
from fretcheck.neck.writing import neck_to_mapping


def write_neck(neck: Neck, path: Path) -> None:
    """Write `neck` to `path`."""
    path.write_text(tomlkit.dumps(neck_to_mapping(neck)), encoding="utf-8")
