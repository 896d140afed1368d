"""Tables of this room that are data: a TOML file each, beside this module, with its conventions and sources at its head."""

import tomllib
from importlib import resources
from typing import Any


def table(name: str) -> dict[str, Any]:
    """The content of ``name.toml``."""
    return tomllib.loads(resources.files(__name__).joinpath(f"{name}.toml").read_text(encoding="utf-8"))
