"""`fretcheck inspect`: the main job, from recordings or live."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck.cli.exits import exit_code_of
from fretcheck.cli.live import LiveOptions
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
    plan: Annotated[str | None, typer.Option(help="Live: full, intake, spot or press; two joined by +. Else: full.")] = None,
    frets: Annotated[str | None, typer.Option(metavar="LIST", help="Live: frets of your own, such as 1-5,7,12.")] = None,
    strings: Annotated[str | None, typer.Option(metavar="LIST", help="Live: only these strings.")] = None,
    repeats: Annotated[int | None, typer.Option(metavar="N", help="Live: plucks of each note. Else: 1.")] = None,
    order: Annotated[str | None, typer.Option(help="Live: low-first or high-first. Else: low-first.")] = None,
    device: Annotated[str | None, typer.Option(help="Live: input by number or part of its name, see `devices`.")] = None,
    channel: Annotated[int | None, typer.Option(metavar="N", help="Live: channel of the device, from 1.")] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the interrupted session of this neck.")] = False,
    again: Annotated[str | None, typer.Option(metavar="ID", help="Read a session's or a kept inspection's sounds again.")] = None,
    cues: Annotated[bool, typer.Option("--cues/--no-cues", help="Live: tones for taken, once more, wrong note.")] = True,
    step_back: Annotated[
        bool | None, typer.Option("--step-back/--no-step-back", help="Live: an open string twice goes one back.")
    ] = None,
    data: Annotated[
        Path | None, typer.Option("--data", metavar="FOLDER", help="Where live sessions are kept; else FRETCHECK_DATA.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")] = False,
) -> int:
    """Inspect a neck: read every note, judge it, and say which part is out of place and by how much.

    With --from, notes are read from recordings. Without, each note is asked for on the screen and heard live; the screen
    steps on by sound alone, and what is taken is on disk before the next note is asked for.
    """
    circumstances = _circumstances(operator, temperature, humidity)
    live = LiveOptions(
        plan=plan,
        frets=frets,
        strings=strings,
        repeats=repeats,
        order=order,
        device=device,
        channel=channel,
        resume=resume,
        cues=cues,
        step_back=step_back,
        data=data,
        stdout_is_taken=json,
    )
    opinions: list[str] | None = None
    sounds: Path | None
    if again is not None:
        document, sounds = _heard_again(again, neck, recordings, live, circumstances, register)
    elif neck is None:
        raise UsageError("which neck? give its description: fretcheck inspect neck.toml, and --from FOLDER for recordings")
    elif recordings is not None:
        if live.chosen():
            raise UsageError(f"{live.chosen()[0]} is for a live session, and --from reads recordings; leave one out")
        document, sounds = from_recordings(neck, recordings, circumstances=circumstances, quiet=json), recordings
    else:
        document, sounds = _from_session(neck, live, circumstances)
    if cross_check:
        if recordings is None:
            raise UsageError("--cross-check needs recordings: give --from FOLDER")
        from fretcheck.cli.second_opinion import disagreements

        opinions = disagreements(document, recordings, quiet=json)
    if keep:
        document = _keep(document, register, sounds)
    show(document, as_json=json, opinions=opinions)
    return exit_code_of(document)


def _from_session(neck: Path, live: LiveOptions, circumstances: Circumstances) -> tuple[InspectionDocument, Path]:
    from fretcheck.cli.live import run_live
    from fretcheck.neck.reading import read_neck
    from fretcheck.register.assemble import judge

    result = run_live(read_neck(neck), live)
    return judge(result.inspection, circumstances=circumstances), result.folder


def _heard_again(
    wanted: str,
    neck: Path | None,
    recordings: Path | None,
    live: LiveOptions,
    circumstances: Circumstances,
    register: str | None,
) -> tuple[InspectionDocument, Path | None]:
    from fretcheck.cli.again import inspect_again
    from fretcheck.register.assemble import judge

    if neck is not None or recordings is not None or live.chosen():
        raise UsageError("--again takes neck and sounds from what was kept; leave the neck and other choices out")
    result = inspect_again(wanted, data=live.data, register=register)
    return judge(result.inspection, circumstances=circumstances), result.folder


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


def _keep(document: InspectionDocument, register: str | None, folder: Path | None) -> InspectionDocument:
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
