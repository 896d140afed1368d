"""Tables and texts of this room that are data, beside this module, with their conventions and sources at their head."""

import tomllib
from importlib import resources
from string import Template
from typing import Any


def table(name: str) -> dict[str, Any]:
    """The content of ``name.toml``."""
    return tomllib.loads(resources.files(__name__).joinpath(f"{name}.toml").read_text(encoding="utf-8"))


def text(name: str) -> Template:
    """The content of ``name.txt``, with ``$word`` for what is filled in."""
    return Template(resources.files(__name__).joinpath(f"{name}.txt").read_text(encoding="utf-8"))
