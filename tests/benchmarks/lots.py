"""Lots, measured: ``python -m tests.benchmarks.lots [shop] [thousand] [cores]``; prints, asserts nothing.

shop
    100 simulated shops a row, necks of `tests.worlds` at readings level, hand 0.8 cent, two plucks; the template's frets err
    independently by 0.02 mm, fret 7 by 0.12 mm. Wanted: 90 % intervals cover 87-93 %, at most 2 lots with a sound neck called
    loose. thousand 10,000 kept inspections (20 frets, 6 strings) read from their JSON and analysed. Wanted: 60 s, 400 MB. cores
    A folder of necks, copies of the demo recordings, over one process and over as many as there are cores (the time of 1
    divided into the time of 2 is told). Wanted: twice the cores in at most 0.6 of the time.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import tempfile
from dataclasses import replace
from functools import partial
from pathlib import Path
from time import perf_counter

import numpy as np

from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.template.slot_errors import slots_of
from fretcheck.lots.template.template_errors import power, template_errors
from fretcheck.lots.template.template_study import lot_slots, study_template
from tests.lots.diagnosed_shop import TEMPLATE_FRET, TEMPLATE_MM, heard_only, shop_lot
from tests.worlds.case import draw

RUNS, MANY = 100, 10_000
DEMO = Path(__file__).parents[2] / "recordings_demo"
COPIES = 4


def _template_shop(job: tuple[str, int, int]) -> tuple[int, int, bool, float, bool, bool, bool]:
    """One shop: world, necks, number. Intervals that cover, frets, fret 7 found and the chance stated, sound necks named,
    whole."""
    world, count, number = job
    rng = np.random.default_rng([count, number])
    template = rng.normal(0.0, 0.02, 20)  # frets of the template err independently; one is out
    template[TEMPLATE_FRET - 1] = TEMPLATE_MM
    necks = []
    for place in range(count):
        case = draw(world, [], seed=(11, count, number, place), hand_cents=0.8)
        case = replace(case, built=replace(case.built, fret_mm=case.built.fret_mm + template))
        necks.append(slots_of(heard_only(case.neck(), f"N-{place:02d}", case.observations(plucks=2))))
    found = template_errors(necks)
    covered = sum(fret.interval[0] <= true <= fret.interval[1] for fret, true in zip(found.frets, template, strict=True))
    seventh = found.frets[TEMPLATE_FRET - 1]
    stated = power(1, scatter_mm=seventh.u_mm, fixed_mm=0.0, frets=20, error_mm=TEMPLATE_MM, practical_mm=0.05)
    loose = bool(found.departures)
    necks[2] = replace(necks[2], position_mm=necks[2].position_mm + rng.normal(0.0, 0.15, 20))
    named = "N-02" in [one.neck for one in template_errors(necks).departures]
    assert found.whole is not None
    return covered, len(found.frets), seventh.blamed, stated, loose, named, found.whole.blamed


def shop() -> None:
    """Intervals, power and naming over 100 shops a row."""
    for world in ("own", "mild"):
        for count in (5, 10, 30):
            rows = np.array([_template_shop((world, count, number)) for number in range(RUNS)], dtype=float)
            covered, frets, found, stated, loose, named, whole = rows.sum(axis=0)
            print(
                f"shop {world}, {RUNS} x {count}: covered {covered / frets:.1%} (87-93), fret 7 found in {found:.0f},"
                f" stated {stated:.0f}; sound lots with a loose neck {loose:.0f} (2); loose stop named {named:.0f};"
                f" whole called out {whole:.0f}",
                flush=True,
            )


def thousand() -> None:
    """Time and memory from the JSON of 10,000 inspections to position, tilt and capability."""
    texts = [
        document.to_json(indent=None) for seed in range(4) for document in shop_lot(seed, necks=25, bad=None, inspect=heard_only)
    ]
    start = perf_counter()
    documents = (InspectionDocument.model_validate_json(texts[number % len(texts)]) for number in range(MANY))
    named = (one.model_copy(update={"neck": one.neck.model_copy(update={"serial": f"{n}"})}) for n, one in enumerate(documents))
    study = study_template([lot_slots("all", "2026-03-02T09:00:00+00:00", named)])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"thousand: {study.position.necks} necks in {perf_counter() - start:.1f} s (wanted: 60), {peak:.0f} MB (400)")
    print(f"  told to correct: {[fret.fret for fret in study.position.frets if fret.blamed]}")


def cores() -> None:
    """Wall time of a folder of necks over 1 and 2 processes."""
    from fretcheck.inspection.assemble import inspect_folder
    from fretcheck.lots.batch.batch import inspect_one
    from fretcheck.lots.batch.batch_processes import over_cores
    from fretcheck.lots.batch.neck_folders import find_necks

    with tempfile.TemporaryDirectory() as place:
        for number in range(1, COPIES + 1):
            shutil.copytree(DEMO, Path(place) / f"neck-{number}")
        necks = find_necks(Path(place))
        inspect = partial(inspect_one, partial(inspect_folder, processes=1))
        times = {}
        for processes in (1, 2):
            start = perf_counter()
            outcomes = list(over_cores(necks, inspect, processes=processes))
            times[processes] = perf_counter() - start
            failed = [outcome.error for outcome in outcomes if outcome.document is None]
            print(f"cores: {len(outcomes)} necks over {processes} processes: {times[processes]:.1f} s, failed {failed}")
        print(
            f"  ratio {times[2] / times[1]:.2f} (wanted: 0.6);"
            f" load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
        )


if __name__ == "__main__":
    parts = {"shop": shop, "thousand": thousand, "cores": cores}
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("part", nargs="*", help=f"{', '.join(parts)}; all unless told")
    for name in parser.parse_args().part or parts:
        parts[name]()
