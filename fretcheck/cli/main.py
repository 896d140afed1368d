"""The `fretcheck` command: finds the command that is called, and turns errors into one line and an exit code."""

from __future__ import annotations

import codecs
import contextlib
import errno
import os
import re
import sys
import warnings
from io import TextIOWrapper
from typing import Annotated

import typer

from fretcheck import __version__
from fretcheck.cli.lazy_group import LazyGroup
from fretcheck.cli.secrets import without_secrets
from fretcheck.errors import EXIT_BAD_INPUT, EXIT_DEVICE_OR_STORAGE, EXIT_UNFORESEEN, FretcheckError, UsageError
from fretcheck.plain_text import plain_line, spell_out

_BAD_NAME = (errno.ENAMETOOLONG, errno.ELOOP)  # Errors of the system that a path as typed is to blame for
_LONGEST_LINE = 1000

# What typer raises for a wrong option or argument; it is public only through its subclass
_CommandLineError: type[Exception] = next(base for base in typer.BadParameter.__mro__ if base.__name__ == "ClickException")


def build_app() -> typer.Typer:
    """The application with every command added."""
    app = typer.Typer(
        name="fretcheck",
        help="Listen to a fretted neck, measure every note, and tell which part is out of place and by how much.",
        cls=LazyGroup,
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )

    @app.callback()
    def _root(
        version: Annotated[
            bool, typer.Option("--version", is_eager=True, callback=_show_version, help="Show the version and exit.")
        ] = False,
    ) -> None:
        pass

    return app


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"fretcheck {__version__}")
        raise typer.Exit


def run(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code; errors of the user's kind go to standard error as one line."""
    words = sys.argv[1:] if arguments is None else arguments
    try:
        for word in words:
            _check_letters(word)
        code = _obey(words)
        sys.stdout.flush()  # here, where a full disk or a closed pipe can still be told
    except FretcheckError as error:
        print(f"fretcheck: {one_line(str(error))}", file=sys.stderr)
        return error.exit_code
    except (KeyboardInterrupt, typer.Abort):
        print("fretcheck: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        _let_output_go()  # whoever read it has seen enough
        return 0
    except SystemExit as leaving:
        if isinstance(leaving.__context__, BrokenPipeError):  # the terminal libraries' own answer to it
            _let_output_go()
            return 0
        raise
    except OSError as error:
        _let_output_go()
        place = f"{error.filename}: " if error.filename else ""
        print(f"fretcheck: {one_line(place + (error.strerror or str(error)))}", file=sys.stderr)
        return EXIT_BAD_INPUT if error.errno in _BAD_NAME else EXIT_DEVICE_OR_STORAGE
    except Exception as error:  # noqa: BLE001 - the last guard
        from fretcheck.cli.unforeseen import account_of

        _let_output_go()
        print(f"fretcheck: {one_line(account_of(error, words))}", file=sys.stderr)
        return EXIT_UNFORESEEN
    return code if isinstance(code, int) else 0


def _check_letters(word: str) -> None:
    """A name that is no UTF-8 can be kept nowhere: not in the register, not in a document."""
    try:
        word.encode()
    except UnicodeEncodeError:
        raise UsageError(f"{word!r} is not written in UTF-8; rename the file, or write it anew") from None


def _obey(arguments: list[str]) -> object:
    """What the command returned; for words that make no command, what is wrong with them is told."""
    try:
        return build_app()(args=arguments, standalone_mode=False)
    except _CommandLineError as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(error)
        else:
            print(f"fretcheck: {one_line(_what_is_wrong(error))}", file=sys.stderr)
        return EXIT_BAD_INPUT


def _what_is_wrong(error: Exception) -> str:
    """A wrong option or argument by its name, in fewer words than the libraries make of it."""
    text = str(getattr(error, "format_message", error.__str__)()).rstrip(".")
    text = re.sub(r"^Invalid value for '([^']+)': ", r"\1: ", text)
    return text.replace("Value error, ", "").replace("Input should be", "must be")


def one_line(text: str) -> str:
    """`text` folded into a single line, the middle of an endless one left out; other control characters become visible."""
    line = without_secrets(plain_line(" ".join(text.split())))
    return line if len(line) <= _LONGEST_LINE else f"{line[: _LONGEST_LINE // 2]} … {line[-_LONGEST_LINE // 2 :]}"


def _let_output_go() -> None:
    """Send what is left of standard output nowhere, so that the interpreter does not fail on it once more while it ends."""
    with contextlib.suppress(OSError, ValueError):  # no file behind it, as in a test
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> None:
    """Entry point of the console script."""
    sys.stdout = sys.stdout or open(os.devnull, "w")  # noqa: SIM115 - None where the shell closed it (>&-)
    sys.stderr = sys.stderr or open(os.devnull, "w")  # noqa: SIM115
    codecs.register_error("fretcheck signs", spell_out)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="fretcheck signs")  # a sign that the console lacks is spelled out, never a traceback
    warnings.simplefilter("ignore")  # libraries' remarks are no lines of ours
    sys.exit(run())
