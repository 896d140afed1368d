"""`fretcheck inspect`: the main job, from recordings or live."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck.cli.exits import exit_code_of
from fretcheck.errors import UsageError

if TYPE_CHECKING:
    from fretcheck.register.assemble import Circumstances
    from fretcheck.register.document import InspectionDocument


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command("inspect")(inspect)


def inspect(
    neck: Annotated[Path | None, typer.Argument(help="Description of the neck, neck.toml.")] = None,
    recordings: Annotated[
        Path | None,
        typer.Option("--from", metavar="FOLDER", help="Folder of recordings, one file a string: string-1.flac …"),
    ] = None,
    register: Annotated[
        str | None,
        typer.Option("--register", metavar="PATH|URL", help="Where inspections are kept.", envvar="FRETCHECK_REGISTER"),
    ] = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Keep the result in the register.")] = True,
    operator: Annotated[str | None, typer.Option(help="Who measured.")] = None,
    temperature: Annotated[float | None, typer.Option("--temperature", metavar="°C", help="Of the room.")] = None,
    humidity: Annotated[float | None, typer.Option("--humidity", metavar="%", help="Of the room.")] = None,
    cross_check: Annotated[
        bool, typer.Option("--cross-check", help="Ask a second, independent pitch estimator afterwards (slow).")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")] = False,
) -> int:
    """Inspect a neck: read every note, judge it, and say which part is out of place and by how much."""
    circumstances = _circumstances(operator, temperature, humidity)
    if neck is None:
        raise UsageError("which neck? give its description: fretcheck inspect neck.toml --from FOLDER")
    if recordings is None:
        raise UsageError("--from FOLDER is missing: say where the recordings are")
    document = from_recordings(neck, recordings, circumstances=circumstances, quiet=json)
    opinions: list[str] = []
    if cross_check:
        from fretcheck.cli.second_opinion import disagreements

        opinions = disagreements(document, recordings, quiet=json)
    if keep:
        document = _keep(document, register, recordings)
    show(document, as_json=json, opinions=opinions if cross_check else None)
    return exit_code_of(document)


def from_recordings(
    neck: Path, folder: Path, *, circumstances: Circumstances | None = None, quiet: bool = False
) -> InspectionDocument:
    """Inspect a folder of recordings with a progress bar (none when `quiet`)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from fretcheck.register.assemble import inspect_folder

    console = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=quiet or not console.is_terminal,
    )
    with bar:
        task = bar.add_task("Listening to strings", total=None)
        return inspect_folder(
            neck,
            folder,
            circumstances=circumstances,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )


def show(document: InspectionDocument, *, as_json: bool, opinions: list[str] | None = None) -> None:
    """Print the result, as a document or for the eye."""
    if as_json:
        if opinions:
            document = document.model_copy(update={"warnings": [*document.warnings, *opinions]})
        print(document.to_json())
        return
    from rich.console import Console

    from fretcheck.report.terminal import print_result

    console = Console()
    print_result(document, console)
    if opinions is not None:
        console.print()
        for line in opinions or ["The second pitch estimator agrees with every note within 30 cents."]:
            console.print(line, markup=False, highlight=False)
    if document.id:
        console.print(f"\nKept as inspection {document.id}.", markup=False, highlight=False)


def _keep(document: InspectionDocument, register: str | None, folder: Path) -> InspectionDocument:
    from fretcheck.register.store import open_register

    with open_register(register) as store:
        return store.keep(document, sound_folder=folder)


def _circumstances(operator: str | None, temperature: float | None, humidity: float | None) -> Circumstances:
    from fretcheck.register.assemble import Circumstances

    if temperature is not None and not -10.0 <= temperature <= 50.0:
        raise UsageError(f"--temperature {temperature:g} is no room's: −10 to 50 °C (degrees Fahrenheit? 68 °F is 20 °C)")
    if humidity is not None and not 0.0 <= humidity <= 100.0:
        raise UsageError(f"--humidity {humidity:g} is outside 0 to 100 %")
    return Circumstances(operator=operator, temperature_c=temperature, humidity_pct=humidity)
