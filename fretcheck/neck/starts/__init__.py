"""Ready-made descriptions to start from: one a kind of instrument, a neck.toml each, to be edited to the neck on the bench.

Conventions: the files are data beside this module and say themselves where their numbers come from;
`tests/benchmarks/starts.py` computes setbacks and tolerances anew. Even with the best setbacks stopping a string leaves 1 to 4
cents at the first frets, and a usual finger as much again. The verdict is on what is heard, so the tolerance is one cent more
than such a neck reads under such a hand, rounded up to half a cent, and at least 3 cents: less would refuse good necks, or
leave them undecided.
"""

import difflib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources

from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck
from fretcheck.neck.neck_file import neck_from_mapping


@dataclass(frozen=True, kw_only=True)
class Start:
    """One ready-made description: its name on the command line, its file's text, and the neck."""

    name: str
    text: str
    neck: Neck

    @property
    def meaning(self) -> str:
        """What it is: the first line of the file."""
        return self.text.partition("\n")[0].removeprefix("# ")


def _all() -> Iterator[Start]:
    for file in sorted(resources.files(__name__).iterdir(), key=lambda one: one.name):
        if file.name.endswith(".toml"):
            text = file.read_text(encoding="utf-8")
            neck = neck_from_mapping(tomllib.loads(text), typed=True)
            yield Start(name=file.name.removesuffix(".toml"), text=text, neck=neck)


STARTS = {one.name: one for one in _all()}  # By name, as typed after ``fretcheck neck --start``; all 16 are read in 26 ms


def start(name: str) -> Start:
    """The ready-made description of that name. Raises UsageError: there is none; the message names the nearest or all."""
    if name in STARTS:
        return STARTS[name]
    close = difflib.get_close_matches(name, STARTS, n=1)
    hint = f'did you mean "{close[0]}"?' if close else f"there are {', '.join(STARTS)}"
    raise UsageError(f'no ready-made description "{name}": {hint}')
