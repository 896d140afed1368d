"""`fretcheck work`: one place at the bench, live, pluck by pluck; or the corrections of an inspection, one after the other."""

from __future__ import annotations

import sys
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, RegisterOption
from fretcheck.errors import EXIT_DONE, DiagnosisRefusedError, FretcheckError, UsageError

if TYPE_CHECKING:
    from fretcheck.cli.work_guide import WorkGuide
    from fretcheck.diagnosis.conclude.worked_part import Place
    from fretcheck.inspection.document import InspectionDocument
    from fretcheck.neck.description import Neck
    from fretcheck.report.bench.work_view import Clearance, WorkView

CAUTION = (
    "Slacken a string before its saddle, nut or fret is worked on, and keep the face away from strings under tension; "
    "eye protection when cutting or filing."
)


def command(
    neck: Annotated[Path, typer.Argument(help="Description of the neck, neck.toml.")],
    part: Annotated[str | None, typer.Option(help="saddle, fret, nut, nut_slots or string: what is worked on.")] = None,
    string: Annotated[int | None, typer.Option(metavar="N", help="Of which string; else of all.")] = None,
    fret: Annotated[int | None, typer.Option(metavar="N", help="Which fret, with --part fret.")] = None,
    after: Annotated[
        str | None, typer.Option(metavar="ID", help="Lead through the corrections of that inspection, one after the other.")
    ] = None,
    step: Annotated[int, typer.Option(metavar="N", min=1, help="With --after: which of its moves to begin with.")] = 1,
    measured: Annotated[
        list[str] | None, typer.Option(metavar="WHAT=MM", help="By hand, just now: first_fret_clearance=0.62.")
    ] = None,
    serial: Annotated[str | None, typer.Option(help="This neck's serial, in place of the description's.")] = None,
    device: Annotated[str | None, typer.Option(help="Input by number or part of its name, see `devices`.")] = None,
    channel: Annotated[int | None, typer.Option(metavar="N", help="Channel of the device, from 1.")] = None,
    cues: Annotated[bool, typer.Option(help="Tones for taken, once more, and done.")] = True,
    speak: Annotated[bool, typer.Option("--speak", help="Results and what to do spoken, in place of tones.")] = False,
    data: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Where sessions are kept; else FRETCHECK_DATA.")] = None,
    register: RegisterOption = None,
    keep: Annotated[bool, typer.Option(help="Keep how the work ended, as a fragment beside its inspection.")] = True,
    json: JsonOption = False,
) -> int:
    """Work on one place, live: file or move a little, pluck, look.

    Any note plucked is recognised and laid against its own open note; the screen shows its change since the work began and how
    far the part is to go. With --after the corrections of a kept inspection are led through one by one.
    """
    described = rooms.read_neck(neck, serial=serial)
    if measured:
        described = rooms.on_the_day(described, measured=rooms.given(measured, described))
    document: InspectionDocument | None = None
    if after is not None:
        if part is not None or string is not None or fret is not None:
            raise UsageError("--after takes the places from the inspection; leave --part, --string and --fret out")
        with rooms.open_register(register, create=False) as store:
            document = store.load(after)
        _check_same(described, document)
        places = rooms.places_after(document)
        if step > len(places):
            raise UsageError(f"--step {step}: inspection {after} advises {len(places)} moves")
        places = places[step - 1 :]
    elif part is None:
        raise UsageError("what is worked on? --part saddle --string 3, --part fret --fret 7, --part nut; or --after ID")
    else:
        places = [rooms.place_chosen(described, part, string=string, fret=fret)]
    guide = rooms.WorkGuide(rooms.before_work(described, document), places)
    known = {} if document is None else {
        (one.string, one.fret): one.deviation_cents for one in document.frets if one.plucks and one.fret > 0
        and one.deviation_cents is not None
    }  # fmt: skip
    root, plan = rooms.sessions_folder(rooms.data_folder(data)), rooms.Plan(name=rooms.WORK_PLAN, asks=())
    begin = partial(rooms.Journal.create, root, described, plan, step_back=False, follows=after)
    with rooms.at_the_bench(device, channel, begin, cues=cues, spoken=speak) as bench:
        journal = bench.journal
        runner = rooms.WorkRunner(described, keep=journal.keep, clock=time.monotonic, guide=guide, known_cents=known)
        view = rooms.WorkView(neck=described, plan=plan, source=bench.source.name)

        def say_what(event: rooms.Event) -> None:
            if isinstance(event, rooms.NextPart):
                _say_place(view, described, guide)

        _say_place(view, described, guide)
        try:
            bench.conduct(runner, view, also_tell=say_what, stdout_is_taken=json)
        except (KeyboardInterrupt, SystemExit, FretcheckError):
            count, session = len(journal.story.taken), journal.story.id
            print(
                f"{count} plucks are kept in session {session}; fretcheck inspect --again {session} reads them", file=sys.stderr
            )
            raise
        story, _ = rooms.read_story(journal.folder)
        try:
            fragment = rooms.judge(rooms.inspection_of(story))
        except DiagnosisRefusedError:
            print(f"No fretted note was heard; session {story.id} is all that is kept.", file=sys.stderr)
            return EXIT_DONE
        if keep:
            with rooms.open_register(register) as store:
                fragment = store.keep(fragment, sound_folder=journal.folder)
    if json:
        print(fragment.to_json())
        return EXIT_DONE
    print(*view.summary(), sep="\n")
    if keep:
        print(f"Kept as fragment {fragment.id}.")
    if keep and after is not None:
        print(f"What the work changed: fretcheck compare {after} {fragment.id}")
    return EXIT_DONE


def _say_place(view: WorkView, neck: Neck, guide: WorkGuide) -> None:
    view.task = guide.title
    view.advice = guide.place.text or CAUTION
    view.clearance = _clearance(neck, guide.place)


def _clearance(neck: Neck, place: Place) -> Clearance | None:
    """Of nut slots: what was measured over fret 1, and where to stop; never deeper than the design has it."""
    if place.part != "nut_slots":
        return None
    strings = [place.string] if place.string is not None else list(range(1, len(neck.strings) + 1))
    heard = [
        one.mm
        for one in rooms.fresh(neck)
        if one.what == "first_fret_clearance" and (one.string is None or one.string in strings)
    ]
    designed = sum(rooms.first_fret_clearance(neck, one).mm for one in strings) / len(strings)
    stop = designed if place.to_clearance_mm is None else place.to_clearance_mm
    return rooms.Clearance(measured_mm=heard[-1] if heard else None, stop_mm=stop)


def _check_same(neck: Neck, document: InspectionDocument) -> None:
    strings = document.neck.description.get("strings") or []
    if (neck.name, neck.serial) != (document.neck.name, document.neck.serial) or len(strings) != len(neck.strings):
        raise UsageError(f"inspection {document.id} is of another neck ({document.neck.name!r}): give its own description")
