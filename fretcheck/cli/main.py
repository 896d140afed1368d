"""The `fretcheck` command: gathers the commands and turns errors into one line and an exit code.

A command lives in a module of its own under `fretcheck.cli`, named after it, with a function `add_to(app)`. Modules keep
their heavy imports (scipy, matplotlib, SQLAlchemy …) inside the functions that use them, so that ``--help`` is quick.
"""

from __future__ import annotations

import sys
from importlib import import_module
from io import TextIOWrapper

import typer

from fretcheck.errors import EXIT_BAD_INPUT, FretcheckError
from fretcheck.plain_text import plain_line

COMMAND_MODULES: tuple[str, ...] = (
    "inspect",
    "demo",
    "layout",
    "neck",
    "note",
    "list",
    "show",
    "search",
    "export",
    "import_",
    "backup",
    "devices",
    "report",
    "compare",
    "lot",
    "gauge",
)

_CommandLineError: type[Exception] = next(base for base in typer.BadParameter.__mro__ if base.__name__ == "ClickException")
"""What typer raises for a wrong option or argument; it is public only through its subclass."""


def build_app() -> typer.Typer:
    """The application with every command added."""
    app = typer.Typer(
        name="fretcheck",
        help="Listen to a fretted neck, measure every note, and tell which part is out of place and by how much.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )

    @app.callback()
    def _root() -> None:
        pass

    for name in COMMAND_MODULES:
        import_module(f"fretcheck.cli.{name}").add_to(app)
    return app


def run(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code; errors of the user's kind go to standard error as one line."""
    try:
        code = build_app()(args=arguments, standalone_mode=False)
    except FretcheckError as error:
        print(f"fretcheck: {one_line(str(error))}", file=sys.stderr)
        return error.exit_code
    except _CommandLineError as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(error)
        else:
            print(f"fretcheck: {one_line(str(error))}", file=sys.stderr)
        return EXIT_BAD_INPUT
    except (KeyboardInterrupt, typer.Abort):
        print("fretcheck: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return code if isinstance(code, int) else 0


def one_line(text: str) -> str:
    """`text` folded into a single line; other control characters in it become visible."""
    return plain_line(" ".join(text.split()))


def main() -> None:
    """Entry point of the console script."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a sign that the console lacks becomes "?", never a traceback
    sys.exit(run())
