"""What can go wrong, said in one line with its cure.

Every error of fretcheck's own is a `FretcheckError`; the command line turns it into one line on standard error and
`exit_code`. The message names the value, the limit and the likely mistake. Subclasses also derive from the built-in
exception that fits, and carry what a caller may want to act on.
"""

from pathlib import Path

EXIT_DONE = 0  # done, and within tolerance or nothing to judge
EXIT_OUT_OF_TOLERANCE = 1
EXIT_BAD_INPUT = 2
EXIT_UNDECIDED = 3
EXIT_DEVICE_OR_STORAGE = 4
EXIT_UNFORESEEN = 70


class FretcheckError(Exception):
    """Base of all errors raised on purpose by fretcheck."""

    exit_code = EXIT_BAD_INPUT


class UsageError(FretcheckError, ValueError):
    """Options or arguments that do not go together, or a value outside its range."""


class NeckError(FretcheckError, ValueError):
    """A neck description that cannot be used: `file`, `key` and `value` say where."""

    def __init__(self, message: str, *, file: Path | None = None, key: str | None = None, value: object = None) -> None:
        super().__init__(message)
        self.file = file
        self.key = key
        self.value = value


class RecordingError(FretcheckError, ValueError):
    """A recording that cannot be read or judged: `file` says which."""

    def __init__(self, message: str, *, file: Path | None = None) -> None:
        super().__init__(message)
        self.file = file


class DiagnosisRefusedError(FretcheckError, ValueError):
    """Data that cannot carry the conclusion asked of them; the message says what would."""


class DeviceError(FretcheckError, OSError):
    """A sound device that is missing, unknown, or has failed."""

    exit_code = EXIT_DEVICE_OR_STORAGE


class StorageError(FretcheckError, OSError):
    """A file, folder or database that cannot be written or read: `path` says which."""

    exit_code = EXIT_DEVICE_OR_STORAGE

    def __init__(self, message: str, *, path: Path | str | None = None) -> None:
        super().__init__(message)
        self.path = path
