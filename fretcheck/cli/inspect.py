"""`fretcheck inspect`: the main job, from recordings or live."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from fretcheck.cli.again import inspect_again
from fretcheck.cli.by_hand_option import ByHand, MeasuredOption, WorkedOption
from fretcheck.cli.job_option import (
    CustomerOption,
    InstrumentOption,
    JobOption,
    NotesOption,
    PriceOption,
    StringSetOption,
    job_of,
)
from fretcheck.cli.limits_option import GuardBandOption, LimitsOption, RiskOption, ToleranceOption, settings_of, with_gauge_study
from fretcheck.cli.live import LiveOptions, run_live
from fretcheck.cli.many import inspect_many
from fretcheck.cli.more import EarlierInspection, earlier_inspection
from fretcheck.cli.recorded import inspect_recorded
from fretcheck.cli.register_option import ForceOption
from fretcheck.cli.result import keep_and_show
from fretcheck.cli.second_opinion import disagreements
from fretcheck.errors import EXIT_UNDECIDED, UsageError
from fretcheck.files import check_place, is_page
from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.document import InspectionDocument, JobPart
from fretcheck.lots.neck_folders import is_folder_of_necks
from fretcheck.neck.reading import read_neck

PLANS_OF_RECORDINGS = ("full", "intake", "spot")
TOO_LITTLE = ", too little to judge the neck"
_WHICH_NECK = "which neck? give its description: fretcheck inspect neck.toml, and --from FOLDER for recordings"


def command(
    neck: Annotated[Path | None, typer.Argument(help="Description of the neck, neck.toml.")] = None,
    recordings: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FOLDER", help="Folder of recordings, one file a string: string-1.flac …; or one such file."
        ),
    ] = None,
    serial: Annotated[str | None, typer.Option(help="This neck's serial, in place of the description's.")] = None,
    serials_from: Annotated[
        Path | None, typer.Option("--serials-from", metavar="FILE", help="Many necks: which, one serial or range a line.")
    ] = None,
    register: Annotated[
        str | None,
        typer.Option("--register", metavar="PATH|URL", help="Where inspections are kept.", envvar="FRETCHECK_REGISTER"),
    ] = None,
    keep: Annotated[
        bool | None,
        typer.Option(
            "--keep/--no-keep", help="Keep even a fragment, or nothing.  [default: whole inspections]", show_default=False
        ),
    ] = None,
    operator: Annotated[str | None, typer.Option(help="Who measured.")] = None,
    temperature: Annotated[float | None, typer.Option("--temperature", metavar="°C", help="Of the room.")] = None,
    humidity: Annotated[float | None, typer.Option("--humidity", metavar="%", help="Of the room.")] = None,
    customer: CustomerOption = None,
    instrument: InstrumentOption = None,
    job: JobOption = None,
    string_set: StringSetOption = None,
    notes: NotesOption = None,
    price: PriceOption = None,
    tolerance: ToleranceOption = None,
    risk: RiskOption = None,
    guard_band: GuardBandOption = None,
    limits: LimitsOption = None,
    measured: MeasuredOption = None,
    worked: WorkedOption = None,
    cross_check: Annotated[
        bool, typer.Option("--cross-check", help="Ask a second, independent pitch estimator afterwards (slow).")
    ] = False,
    plan: Annotated[
        str | None, typer.Option(help="full, intake or spot; live also press, and two joined by +.  [default: full]")
    ] = None,
    frets: Annotated[str | None, typer.Option(metavar="LIST", help="Live: frets of your own, such as 1-5,7,12.")] = None,
    strings: Annotated[str | None, typer.Option(metavar="LIST", help="Live: only these strings.")] = None,
    repeats: Annotated[int | None, typer.Option(metavar="N", help="Live: plucks of each note. Else: 1.")] = None,
    order: Annotated[
        str | None, typer.Option(help="Live: low-first, high-first, or fret (all strings at a fret). Else: low-first.")
    ] = None,
    one_of_each_pair: Annotated[
        bool, typer.Option("--one-of-each-pair", help="Live: of paired strings, only the first.")
    ] = False,
    device: Annotated[str | None, typer.Option(help="Live: input by number or part of its name, see `devices`.")] = None,
    channel: Annotated[int | None, typer.Option(metavar="N", help="Live: channel of the device, from 1.")] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the interrupted session of this neck.")] = False,
    session: Annotated[str | None, typer.Option("--session", metavar="ID", help="Which, where there are several.")] = None,
    more: Annotated[
        str | None,
        typer.Option(metavar="ID", help="Live: pluck again the notes that inspection left open, and join them."),
    ] = None,
    again: Annotated[str | None, typer.Option(metavar="ID", help="Read a session's or a kept inspection's sounds again.")] = None,
    cues: Annotated[bool, typer.Option("--cues/--no-cues", help="Live: tones for taken, once more, wrong note.")] = True,
    tune_within: Annotated[
        float | None, typer.Option("--tune-within", metavar="CENTS", help="Live: each string is tuned up so well first. Else: 5.")
    ] = None,
    tune_up: Annotated[bool, typer.Option("--tune-up/--no-tune-up", help="Live: whether strings are tuned up first.")] = True,
    step_back: Annotated[
        bool | None, typer.Option("--step-back/--no-step-back", help="Live: an open string twice goes one back.")
    ] = None,
    data: Annotated[
        Path | None, typer.Option("--data", metavar="FOLDER", help="Where live sessions are kept; else FRETCHECK_DATA.")
    ] = None,
    processes: Annotated[int | None, typer.Option(metavar="N", min=1, help="Many necks: processes. Else: one a core.")] = None,
    scheduler: Annotated[str | None, typer.Option(metavar="ADDRESS", help="Many necks: a Dask cluster's scheduler.")] = None,
    report: Annotated[
        Path | None, typer.Option("--report", metavar="FILE", help="Write the page, too; an intake always gets one.")
    ] = None,
    force: ForceOption = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")] = False,
) -> int:
    """Inspect a neck: read every note, judge it, and say which part is out of place and by how much.

    With --from, notes are read from recordings (of many necks, if the folder holds a folder for each). Without, each note is
    asked for on the screen and heard live; the screen steps on by sound alone, and what is taken is on disk before the next
    note is asked for.
    """
    if report is not None:
        check_place(report, is_ours=is_page, force=force)  # before the work, not after it
    told = job_of(
        customer=customer, instrument=instrument, job=job, string_set=string_set, notes=notes, price=price, limits=limits
    )
    circumstances = _circumstances(operator, temperature, humidity, told)
    by_hand = ByHand(measured=measured or [], worked=worked or [])
    settings = settings_of(tolerance=tolerance, risk=risk, guard_band=guard_band, limits=limits)
    if keep is not False:
        settings = with_gauge_study(settings, register)
    live = LiveOptions(
        plan=plan,
        frets=frets,
        strings=strings,
        repeats=repeats,
        order=order,
        one_of_each_pair=one_of_each_pair,
        device=device,
        channel=channel,
        resume=resume,
        session=session,
        cues=cues,
        step_back=step_back,
        tune_within=tune_within,
        tune_up=tune_up,
        data=data,
        stdout_is_taken=json,
    )
    earlier: EarlierInspection | None = None
    if more is not None:
        if again is not None:
            raise UsageError("--more plucks notes again, and --again reads old sounds: leave one out")
        earlier = earlier_inspection(more, register=register)
        live = replace(live, more=earlier)
    sounds: Path | None
    if again is not None:
        if neck is not None or recordings is not None or serial is not None or live.chosen():
            raise UsageError("--again takes neck and sounds from what was kept; leave the neck and other choices out")
        heard = inspect_again(again, data=data, register=register)
        circumstances = by_hand.beside(circumstances, heard.inspection.neck)
        document, sounds = judge(heard.inspection, settings=settings, circumstances=circumstances), heard.folder
    elif recordings is not None:
        if only_live := [one for one in live.chosen() if one != "--plan"]:
            raise UsageError(f"{only_live[0]} is for a live session, and --from reads recordings; leave one out")
        if plan not in (None, *PLANS_OF_RECORDINGS):
            raise UsageError(f"--plan {plan} is none for recordings: choose {', '.join(PLANS_OF_RECORDINGS)}")
        if _holds_necks(recordings):
            if cross_check or report:
                raise UsageError("--cross-check and --report are for one neck; give the folder of that neck's recordings")
            if serial is not None:
                raise UsageError("--serial is for one neck; of many each has the serial that its subfolder is called by")
            if measured or worked:
                raise UsageError("--measured and --worked are for one neck; give the folder of that neck's recordings")
            return inspect_many(
                recordings,
                neck=neck,
                serials_from=serials_from,
                keep=keep,
                register=register,
                settings=settings,
                circumstances=circumstances,
                plan=plan or "full",
                processes=processes,
                scheduler=scheduler,
                as_json=json,
            )
        _no_list(serials_from)
        if neck is None:
            raise UsageError(_WHICH_NECK)
        circumstances = by_hand.of_file(circumstances, neck)
        document = inspect_recorded(
            neck, recordings, serial=serial, settings=settings, circumstances=circumstances, plan=plan or "full", quiet=json
        )
        sounds = recordings if recordings.is_dir() else recordings.parent
    elif neck is not None:
        _no_list(serials_from)
        circumstances = by_hand.of_file(circumstances, neck)
        live_result = run_live(read_neck(neck, serial=serial), live, settings=settings)
        sounds = live_result.folder
        if earlier is not None:
            document = earlier.joined(live_result.inspection, settings=settings, circumstances=circumstances)
        else:
            if not (live_result.complete or live_result.has_fretted_notes or json):
                print(live_result.how_to_go_on(TOO_LITTLE), file=sys.stderr)
                return EXIT_UNDECIDED
            document = judge(live_result.inspection, settings=settings, circumstances=circumstances)
        fragment = document.verdict.decision is None
        if not live_result.complete:
            print(live_result.how_to_go_on(TOO_LITTLE if fragment else ""), file=sys.stderr)
            if fragment and not (keep or json):
                return EXIT_UNDECIDED
    else:
        raise UsageError(_WHICH_NECK)
    opinions = _second_opinion(document, recordings, quiet=json) if cross_check else None
    return keep_and_show(
        document, keep=keep, register=register, sounds=sounds, as_json=json, opinions=opinions, report=report, force=force
    )


def _no_list(serials_from: Path | None) -> None:
    if serials_from is not None:
        raise UsageError("--serials-from goes with --from and a folder that holds a folder for each neck; one neck has --serial")


def _holds_necks(folder: Path) -> bool:
    return is_folder_of_necks(folder)


def _second_opinion(document: InspectionDocument, recordings: Path | None, *, quiet: bool) -> list[str]:
    if recordings is None:
        raise UsageError("--cross-check needs recordings: give --from FOLDER")
    return disagreements(document, recordings, quiet=quiet)


def _circumstances(operator: str | None, temperature: float | None, humidity: float | None, job: JobPart) -> Circumstances:
    if temperature is not None and not -10.0 <= temperature <= 50.0:
        raise UsageError(f"--temperature {temperature:g} is no room's: −10 to 50 °C (degrees Fahrenheit? 68 °F is 20 °C)")
    if humidity is not None and not 0.0 <= humidity <= 100.0:
        raise UsageError(f"--humidity {humidity:g} is outside 0 to 100 %")
    if operator is not None and not operator.strip():
        raise UsageError("--operator is empty: give a name, or leave it out")
    return Circumstances(operator=operator, temperature_c=temperature, humidity_pct=humidity, job=job)
