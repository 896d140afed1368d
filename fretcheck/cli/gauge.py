"""`fretcheck gauge …`: a guided study of what reading the same necks again and again scatters by."""

from __future__ import annotations

from datetime import datetime
from secrets import randbelow
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, RegisterOption, console, print_json

if TYPE_CHECKING:
    from fretcheck.lots.gauge.study import GaugeStudy

StudyArgument = Annotated[str, typer.Argument(metavar="STUDY", help="Name of the study.")]
command = typer.Typer(help="Study how well this bench repeats itself: necks × operators × repeats.", no_args_is_help=True)


@command.command("open")
def open_(
    name: StudyArgument,
    necks: Annotated[list[str], typer.Option("--necks", help="Serials or ranges, at least 2 necks. May be repeated.")],
    operators: Annotated[list[str], typer.Option("--operator", help="Who reads. May be repeated.")],
    repeats: Annotated[int, typer.Option(help="How often each operator reads each neck.")] = 2,
    bench: Annotated[str | None, typer.Option(help="As its inspections name it, where there are several benches.")] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of the order; chosen at random and recorded when left out.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Open a study: the order of reading is drawn, and `gauge next` tells what comes next."""
    drawn, now = randbelow(1_000_000_000) if seed is None else seed, datetime.now().astimezone()
    study = rooms.open_study(
        name=name, necks=rooms.serials_from(necks), operators=operators, repeats=repeats, bench=bench, seed=drawn, now=now
    )
    with rooms.open_register(register) as store:
        rooms.keep_new(store, study)
    _show(study, as_json=json)


@command.command("next")
def next_(name: StudyArgument, register: RegisterOption = None, json: JsonOption = False) -> None:
    """Show how far a study is, what to read next, and what it found."""
    with rooms.open_register(register, create=False) as store:
        study = rooms.load(store, rooms.GaugeStudy, name)
    _show(study, as_json=json)


@command.command()
def add(
    name: StudyArgument,
    inspections: Annotated[
        list[str], typer.Argument(metavar="ID...", help="Kept inspections, in the order in which they were read.")
    ],
    operator: Annotated[str | None, typer.Option(help="Who read, when the inspection does not tell.")] = None,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Let inspections count for the study."""
    with rooms.open_register(register) as store:
        documents = list(store.documents(inspections))

        def step(study: rooms.GaugeStudy) -> rooms.GaugeStudy:
            for document in documents:
                study, _ = rooms.add_inspection(study, document, operator=operator)
            return study

        study = rooms.change(store, rooms.GaugeStudy, name, step)
    _show(study, as_json=json)


@command.command()
def compute(
    name: StudyArgument,
    confidence: Annotated[float, typer.Option(min=0.5, max=0.999, help="Of the intervals.")] = 0.90,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Analyse a study that is read to its end; later inspections of its operators at its bench then count what it found."""
    with rooms.open_register(register) as store:
        documents = rooms.documents_of(store, rooms.load(store, rooms.GaugeStudy, name))
        now = datetime.now().astimezone()
        study = rooms.change(
            store, rooms.GaugeStudy, name, lambda one: rooms.compute_study(one, documents, confidence=confidence, now=now)
        )
    _show(study, as_json=json)


@command.command("list")
def list_(register: RegisterOption = None, json: JsonOption = False) -> None:
    """List all studies."""
    with rooms.open_register(register) as store:
        studies = rooms.list_kept(store, rooms.GaugeStudy)
    if json:
        found = [study.model_dump(mode="json", by_alias=True) for study in studies]
        print_json({"schema": "fretcheck/gauges/1", "studies": found})
    else:
        console().print(
            rooms.studies_table(studies) if studies else "no gauge study has been opened; `fretcheck gauge open` opens one"
        )


def _show(study: GaugeStudy, *, as_json: bool) -> None:
    if as_json:
        step = study.next_step
        following = None if step is None else step.model_dump(mode="json")
        print_json({**study.model_dump(mode="json", by_alias=True), "next": following})
    else:
        console().print(rooms.study_view(study))


command.command("show")(next_)
