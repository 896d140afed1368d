"""The options that commands share, and options that belong together as the fields of one dataclass.

Conventions: a command's module imports at its head only what ``--help`` shows, and in its functions what the work needs, which
takes a second to import.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from fretcheck import rooms
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.settings_file import read_settings
from fretcheck.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console


RegisterOption = Annotated[
    str | None,
    typer.Option(
        "--register",
        metavar="PATH|URL",
        help="Where inspections are kept: file, folder, or postgresql:// URL; else FRETCHECK_REGISTER, else the data folder.",
    ),
]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that is no output of this kind, too.")]
HtmlOption = Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write a page to this file.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
CrossCheckOption = Annotated[
    bool, typer.Option("--cross-check", help="Ask a second, independent pitch estimator afterwards (slow).")
]
LimitsOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="TOML file with limits of your own: fret_position_mm, risk …")
]


def print_json(document: object) -> None:
    """What ``--json`` prints; escaped, so that any console passes it on as it is."""
    print(json.dumps(document, indent=2))


def serials_in(words: Iterable[str], file: Path | None) -> tuple[str, ...]:
    """Serials and ranges of them from `words` and a file. Raises UsageError: no file, no serial, one that is none, or twice."""
    found = list(words)
    if file is not None:
        text = rooms.read_text(file, most_bytes=1_000_000, refuse=lambda why: UsageError(f"--serials-from {file}: {why}"))
        found += text.split()
    serials = rooms.serials_from(found)
    rooms.check_serials(serials)
    return serials


def console(*, stderr: bool = False) -> Console:
    """A console that shows text as it is: no markup, no colours of its own."""
    from rich.console import Console

    return Console(stderr=stderr, highlight=False, markup=False)


@dataclass(frozen=True, kw_only=True)
class LimitOptions:
    """The options as given."""

    tolerance: Annotated[
        float | None, typer.Option(metavar="CENTS", help="Limit on a note, instead of the neck's tolerance_cents.")
    ] = None
    risk: Annotated[
        float | None, typer.Option(metavar="SHARE", help="Largest risk of a wrong pass or fail.  [default: 0.05]")
    ] = None
    guard_band: Annotated[
        float | None, typer.Option(metavar="CENTS", help="Pass only this far inside the limit, fail only this far outside.")
    ] = None
    limits: LimitsOption = None

    def settings(self) -> DiagnosisSettings:
        """The options as settings; an option on the command line wins over the file.

        Raises UsageError for a value out of range, or a file that cannot be used.
        """
        settings = DiagnosisSettings() if self.limits is None else read_settings(self.limits)
        given: dict[str, Any] = {"limit_cents": self.tolerance, "risk": self.risk, "guard_band_cents": self.guard_band}
        return replace(settings, **{name: value for name, value in given.items() if value is not None})


@dataclass(frozen=True, kw_only=True)
class JobOptions:
    """The options as given."""

    customer: Annotated[str | None, typer.Option(metavar="NAME", help="For the sheet: whose instrument it is.")] = None
    instrument: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: make, model, year.")] = None
    job: Annotated[str | None, typer.Option(metavar="NUMBER", help="For the sheet: the shop's own number.")] = None
    string_set: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: the strings on it.")] = None
    notes: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: what else is to be said.")] = None
    price: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: as agreed, such as '80 EUR'.")] = None


@dataclass(frozen=True, kw_only=True)
class ResultOptions:
    """What is to become of a result."""

    register: RegisterOption = None
    keep: Annotated[
        bool | None, typer.Option(help="Keep even a fragment, or nothing.  [default: whole inspections]", show_default=False)
    ] = None
    report: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the page, too; an intake always gets one.")] = None
    force: ForceOption = False
    json: JsonOption = False


def with_groups(command: Callable[..., Any]) -> Callable[..., Any]:
    """The command as typer is to see it: in place of a parameter that is a dataclass, that class's fields.

    `command`: all of its parameters have a default or a type of ``Annotated[..., typer.Option(...)]``, as have the fields.
    """
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {name: hint for name, hint in hints.items() if isinstance(hint, type) and is_dataclass(hint)}
    options = []
    for name, one in signature(command).parameters.items():
        if name in groups:
            types = get_type_hints(groups[name], include_extras=True)
            found = [(field.name, types[field.name], field.default) for field in fields(groups[name])]
        else:
            found = [(name, hints[name], one.default)]
        options += [Parameter(key, Parameter.KEYWORD_ONLY, annotation=hint, default=default) for key, hint, default in found]

    @wraps(command)
    def flat(**given: Any) -> Any:
        for name, group in groups.items():
            given[name] = group(**{field.name: given.pop(field.name) for field in fields(group)})
        return command(**given)

    flat.__signature__ = Signature(options)  # type: ignore[attr-defined]
    flat.__annotations__ = {one.name: one.annotation for one in options}
    return flat
