"""`fretcheck inspect`: the main job, from recordings, live, or from what was kept."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.inspect.inspect_options import DayOptions, ManyOptions
from fretcheck.cli.live.live_options import LiveOptions
from fretcheck.cli.shared_options import CrossCheckOption, JobOptions, LimitOptions, ResultOptions, with_groups
from fretcheck.errors import EXIT_UNDECIDED, UsageError
from fretcheck.files import check_place, is_page

if TYPE_CHECKING:
    from fretcheck.diagnosis.settings import DiagnosisSettings
    from fretcheck.inspection.document import InspectionDocument, JobPart

PLANS_OF_RECORDINGS = ("full", "intake", "spot")
TOO_LITTLE = ", no inspection: too little to judge the neck, --keep keeps the fragment"


@with_groups
def command(
    neck: Annotated[Path | None, typer.Argument(help="Description of the neck, neck.toml.")] = None,
    recordings: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FOLDER", help="Folder of recordings, one file a string: string-1.flac …; or one such file."
        ),
    ] = None,
    again: Annotated[str | None, typer.Option(metavar="ID", help="Read a session's or a kept inspection's sounds again.")] = None,
    serial: Annotated[str | None, typer.Option(help="This neck's serial, in place of the description's.")] = None,
    *,
    day: DayOptions,
    job: JobOptions,
    limits: LimitOptions,
    live: LiveOptions,
    many: ManyOptions,
    cross_check: CrossCheckOption = False,
    result: ResultOptions,
) -> int:
    """Inspect a neck: read every note, judge it, and say which part is out of place and by how much.

    With --from, notes are read from recordings (of many necks, if the folder holds a folder for each). Without, each note is
    asked for on the screen and heard live; the screen steps on by sound alone, and what is taken is on disk before the next
    note is asked for.
    """
    if result.report is not None:
        check_place(result.report, is_ours=is_page, force=result.force)  # before the work, not after it
    day.check()
    part, settings = rooms.job_part(job, limits=limits.limits), limits.settings()
    if result.keep is not False:
        settings = rooms.with_gauge_study(settings, result.register, operator=day.operator, bench=day.bench)
    if recordings is not None and again is None and rooms.is_folder_of_necks(recordings):
        _check_recorded(live)
        for names, wrong in (
            ("--cross-check and --report are", cross_check or result.report),
            ("--measured and --worked are", day.measured or day.worked),
            ("--serial is", serial is not None),
        ):
            if wrong:
                raise UsageError(f"{names} for one neck, and {recordings} holds a folder for each of several")
        of_all = rooms.circumstances_of(day, part)
        return rooms.inspect_many(
            recordings, many, neck=neck, plan=live.plan or "full", settings=settings, circumstances=of_all, result=result
        )
    if many.chosen() and again is None:
        given = many.chosen()[0]
        raise UsageError(f"{given} goes with --from and a folder that holds a folder for each neck; one neck has --serial")
    sounds: Path | None
    if again is not None:
        if live.more is not None:
            raise UsageError("--more plucks notes again, and --again reads old sounds: leave one out")
        if neck is not None or recordings is not None or serial is not None or live.chosen() or many.chosen():
            raise UsageError("--again takes neck and sounds from what was kept; leave the neck and other choices out")
        heard, sounds = rooms.inspect_again(again, data=live.data, register=result.register)
        document = rooms.judge(heard, settings=settings, circumstances=rooms.circumstances_of(day, part, heard.neck))
    elif neck is None:
        raise UsageError("which neck? give its description: fretcheck inspect neck.toml, and --from FOLDER for recordings")
    elif recordings is not None:
        _check_recorded(live)
        described, plan = rooms.read_neck(neck, serial=serial), live.plan or "full"
        told = rooms.circumstances_of(day, part, described)
        document = rooms.inspect_recorded(
            described, recordings, settings=settings, circumstances=told, plan=plan, quiet=result.json
        )
        sounds = recordings if recordings.is_dir() else recordings.parent
    else:
        from_live = _inspect_live(neck, serial, live=live, day=day, job=part, settings=settings, result=result)
        if from_live is None:
            return EXIT_UNDECIDED
        document, sounds = from_live
    if cross_check and recordings is None:
        raise UsageError("--cross-check needs recordings: give --from FOLDER")
    opinions = rooms.disagreements(document, recordings, quiet=result.json) if cross_check and recordings is not None else None
    return rooms.keep_and_show(document, result, sounds=sounds, opinions=opinions)


def _check_recorded(live: LiveOptions) -> None:
    if only_live := [one for one in live.chosen() if one != "--plan"]:
        raise UsageError(f"{only_live[0]} is for a live session, and --from reads recordings; leave one out")
    if live.plan not in (None, *PLANS_OF_RECORDINGS):
        raise UsageError(f"--plan {live.plan} is none for recordings: choose {', '.join(PLANS_OF_RECORDINGS)}")


def _inspect_live(
    neck: Path,
    serial: str | None,
    *,
    live: LiveOptions,
    day: DayOptions,
    job: JobPart,
    settings: DiagnosisSettings,
    result: ResultOptions,
) -> tuple[InspectionDocument, Path] | None:
    """What a session came to, and where its sounds are; None where it ended with too little to judge or keep."""
    earlier = rooms.earlier_of(live.more, live.after, every_note=live.every_note, register=result.register)
    described = rooms.read_neck(neck, serial=serial)
    circumstances = rooms.circumstances_of(day, job, described)
    heard = rooms.run_live(described, live, settings=settings, earlier=earlier, stdout_is_taken=result.json)
    if earlier is not None and live.more is not None:
        document = rooms.joined(earlier.document, heard.inspection, settings=settings, circumstances=circumstances)
    elif heard.complete or heard.has_fretted_notes or result.json:
        document = rooms.judge(heard.inspection, settings=settings, circumstances=circumstances)
    else:
        print(heard.how_to_go_on(TOO_LITTLE), file=sys.stderr)
        return None
    fragment = document.verdict.decision is None
    if not heard.complete:
        print(heard.how_to_go_on(TOO_LITTLE if fragment and not result.keep else ""), file=sys.stderr)
        if fragment and not (result.keep or result.json):
            return None
    return document, heard.folder
