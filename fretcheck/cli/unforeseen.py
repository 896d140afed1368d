"""The last guard: what nobody foresaw becomes one line and a file to send, never a traceback on the screen."""

import platform
import tempfile
import traceback
from pathlib import Path

from fretcheck import __version__
from fretcheck.cli.secrets import without_secrets


def account_of(error: BaseException, arguments: list[str]) -> str:
    """One line for the user; the whole account goes to a new file, which the line names."""
    account = [
        f"fretcheck {__version__}, Python {platform.python_version()}, {platform.platform()}",
        "command: " + " ".join(arguments),
        "",
        *traceback.format_exception(error),
    ]
    kind = type(error).__name__
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", errors="backslashreplace", prefix="fretcheck-unforeseen-", suffix=".txt", delete=False
        ) as file:
            file.write(without_secrets("\n".join(account)))
    except OSError:
        return f"something unforeseen went wrong ({kind}: {error}), and no account of it could be written"
    place = Path(file.name)
    return f"something unforeseen went wrong ({kind}); what was kept before is safe. Please report it with the file {place}"
