"""`fretcheck neck`: check a description, or write a ready-made one to start from."""

import textwrap
from pathlib import Path
from typing import Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, console, print_json
from fretcheck.errors import UsageError
from fretcheck.files import write_text


def command(
    file: Annotated[Path | None, typer.Argument(metavar="[FILE]", help="The neck.toml to check.", show_default=False)] = None,
    start: Annotated[str | None, typer.Option(metavar="KIND", help="Write a ready-made description of this kind.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write it to this file instead of the screen.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace that file if it exists.")] = False,
    as_list: Annotated[bool, typer.Option("--list", help="List the ready-made descriptions.")] = False,
    json: JsonOption = False,
) -> None:
    """Check a neck's description and say what it means, or start a new one.

    For example: fretcheck neck --start guitar-6-steel --out neck.toml; edit that file; fretcheck neck neck.toml.
    """
    chosen = [name for name, given in (("FILE", file), ("--start", start), ("--list", as_list)) if given]
    if len(chosen) != 1:
        raise UsageError("give one of FILE, --start KIND or --list" + (f", not {' and '.join(chosen)}" if chosen else ""))
    if start is None and (out is not None or force):
        raise UsageError("--out and --force go with --start")
    if force and out is None:
        raise UsageError("--force goes with --out FILE")
    if as_list:
        _print_list(as_json=json)
    elif start is not None:
        _begin(start, out=out, force=force, as_json=json)
    elif file is not None:
        _check(file, as_json=json)


def _print_list(*, as_json: bool) -> None:

    starts = [{"name": one.name, "meaning": one.meaning} for one in rooms.STARTS.values()]
    if as_json:
        print_json({"schema": "fretcheck/starts/1", "starts": starts})
        return
    for one in starts:
        print(f"{one['name']:16}  {one['meaning']}")


def _begin(kind: str, *, out: Path | None, force: bool, as_json: bool) -> None:

    one = rooms.start(kind)
    remark = textwrap.wrap(f"About tolerance_cents: {rooms.tolerance_remark(one.neck)}", rooms.WIDTH, subsequent_indent="  ")
    text = "\n".join((one.text, *(f"# {line}" for line in remark), "#", rooms.more_help(one.neck)))
    if out is not None:
        write_text(out, text, force=force)
    if as_json:
        print_json(rooms.neck_to_mapping(one.neck))
    elif out is None:
        print(text, end="")
    else:
        print(f"{out} written: edit it, then check it with: fretcheck neck {out}")


def _check(file: Path, *, as_json: bool) -> None:

    described = rooms.read_neck(file)
    if as_json:
        print_json(rooms.neck_document(described))
    else:
        console().print(rooms.neck_summary(described))
