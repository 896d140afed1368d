"""What may be chosen for a live session."""

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated

import typer


@dataclass(frozen=True, kw_only=True)
class LiveOptions:
    """The options as given; None where nothing was said."""

    plan: Annotated[
        str | None,
        typer.Option(
            help="full, intake or spot (live: until the verdict); live also deciding (only what decides), press, "
            "and two joined by +.  "
            "[default: deciding; of recordings: full]"
        ),
    ] = None
    look_for: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Plan deciding: every fret is looked at for faults of this size. Else: 0.30."),
    ] = None
    most_plucks: Annotated[
        int | None,
        typer.Option(metavar="N", help="Plan deciding, spot: no more plucks than this, open ones included. Else: 130."),
    ] = None
    every_note: Annotated[
        bool, typer.Option("--every-note", help="Plan deciding, or --more: go on until every note is heard once.")
    ] = False
    frets: Annotated[str | None, typer.Option(metavar="LIST", help="Live: frets of your own, such as 1-5,7,12.")] = None
    strings: Annotated[str | None, typer.Option(metavar="LIST", help="Live: only these strings.")] = None
    repeats: Annotated[int | None, typer.Option(metavar="N", help="Live: plucks of each note. Else: 1.")] = None
    order: Annotated[
        str | None, typer.Option(help="Live: low-first, high-first, or fret (all strings at a fret). Else: low-first.")
    ] = None
    one_of_each_pair: Annotated[bool, typer.Option("--one-of-each-pair", help="Live: of paired strings, only the first.")] = False
    device: Annotated[str | None, typer.Option(help="Live: input by number or part of its name, see `devices`.")] = None
    channel: Annotated[int | None, typer.Option(metavar="N", help="Live: channel of the device, from 1.")] = None
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the interrupted session of this neck.")] = False
    session: Annotated[str | None, typer.Option(metavar="ID", help="Which, where there are several.")] = None
    more: Annotated[
        str | None, typer.Option(metavar="ID", help="Live: pluck again the notes that inspection left open, and join them.")
    ] = None
    after: Annotated[
        str | None, typer.Option(metavar="ID", help="Live, after work: the notes that inspection heard, once more.")
    ] = None
    cues: Annotated[bool, typer.Option(help="Live: tones for taken, once more, wrong note.")] = True
    speak: Annotated[bool, typer.Option("--speak", help="Live: string, fret and result spoken, in place of tones.")] = False
    tune_within: Annotated[
        float | None, typer.Option(metavar="CENTS", help="Live: each string is tuned up so well first. Else: 5.")
    ] = None
    tune_up: Annotated[bool, typer.Option(help="Live: whether strings are tuned up first.")] = True
    step_back: Annotated[bool | None, typer.Option(help="Live: an open string twice goes one back.")] = None
    data: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Where live sessions are kept; else FRETCHECK_DATA.")] = None

    @property
    def go_on(self) -> str:
        """The command that goes on with this session once it was interrupted."""
        return "fretcheck inspect NECK --resume" + ("" if self.more is None else f" --more {self.more}")

    @property
    def decides(self) -> bool:
        """Whether only what decides is asked for: by default, unless other notes were chosen."""
        return self.plan == "deciding" or (self.plan is None and self.frets is None and self.repeats is None)

    def chosen(self) -> list[str]:
        """Options that only a live session has, as given."""
        return [
            f"--{'no-' if getattr(self, one.name) is False else ''}{one.name.replace('_', '-')}"
            for one in fields(self)
            if getattr(self, one.name) != one.default and one.name not in ("cues", "speak", "data")
        ]
