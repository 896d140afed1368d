"""A group whose commands are imported only when they are called, after "Lazily loading subcommands" in click's documentation.

So ``--help`` is quick, and a command's module imports what it needs where imports belong. The price is that the lines of
``--help`` stand here, and not with the commands.
"""

from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

# What ``--help`` says of each command; the command itself is ``fretcheck.cli.NAME.command``, a function or a group
COMMANDS = {
    "inspect": "Listen to a neck, judge it, and say which part is out of place.",
    "work": "Work on one place, live: how far it is to go, pluck by pluck.",
    "demo": "Inspect the demo neck, an invented workshop's with three faults.",
    "layout": "Show where every fret should be and how every note sounds.",
    "neck": "Check a neck's description, or start a new one.",
    "note": "Measure the pitch of every pluck in a recording.",
    "list": "List the inspections kept, newest first.",
    "show": "Show one inspection from the register.",
    "search": "Find inspections by serial, day, verdict or words.",
    "export": "Export inspections as CSV or JSON.",
    "import": "Add exported inspections to the register, all or none.",
    "backup": "Copy the register and its sound files.",
    "devices": "List the sound inputs, or try one.",
    "report": "Write one inspection as a page, or as a customer's sheet.",
    "compare": "Compare two inspections of one neck, before and after work.",
    "lot": "Judge a lot of necks by a sample; find errors of the template.",
    "gauge": "Study how well this bench repeats itself.",
}
# Those that stand elsewhere: module and name
_ELSEWHERE = {one: ("kept", f"{one}_") for one in ("list", "show", "search", "export", "import", "backup")}
_ELSEWHERE["inspect"] = ("inspect.command", "command")


class LazyGroup(TyperGroup):
    """Knows the names of its commands; loads the one that is asked for."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands.update({name: TyperCommand(name, short_help=text) for name, text in COMMANDS.items()})
        self._loaded: dict[str, Any] = {}

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of that name, loaded; None where there is none."""
        if cmd_name in COMMANDS and cmd_name not in self._loaded:
            module, name = _ELSEWHERE.get(cmd_name, (cmd_name, "command"))
            command = getattr(import_module(f"fretcheck.cli.{module}"), name)
            app = typer.Typer(rich_markup_mode=None)
            if isinstance(command, typer.Typer):
                app.add_typer(command, name=cmd_name)
            else:
                app.command(cmd_name)(command)
            self._loaded[cmd_name] = typer.main.get_group(app).commands[cmd_name]
        return self._loaded.get(cmd_name)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """The commands' lines of ``--help``, of which none is loaded."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))
