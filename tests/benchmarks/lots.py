"""Lots, measured: ``python -m tests.benchmarks.lots [shop] [thousand] [cores]``; prints, asserts nothing.

shop
    100 simulated lots of 30 necks, from what a perfect listener hears of built necks: template fret 7 +0.12 mm, one bad neck.
    Wanted: the 90 % interval covers in at least 88 runs, the bad neck is named in at least 95.
thousand
    1,000 kept inspections (20 frets, 6 strings) read from their JSON and analysed. Wanted: 60 s.
cores
    A folder of necks, copies of the demo recordings, over one process and over as many as there are cores (the time of 1
    divided into the time of 2 is told). Wanted: twice the cores in at most 0.6 of the time.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from functools import partial
from pathlib import Path
from time import perf_counter

import numpy as np

from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.slot_errors import slot_errors_of
from fretcheck.lots.template_errors import template_errors
from fretcheck.lots.template_study import study_template
from tests.lots.diagnosed_shop import TEMPLATE_FRET, TEMPLATE_MM, heard_only, shop_lot

RUNS, NECKS = 100, 30
DEMO = Path(__file__).parents[2] / "recordings_demo"
COPIES = 4


def shop() -> None:
    """Coverage and naming over 100 lots."""
    start = perf_counter()
    covered = named = wrongly = blamed = other_covered = other_blamed = 0
    errors = []
    for seed in range(1000, 1000 + RUNS):
        lot = shop_lot(seed, necks=NECKS, inspect=heard_only)
        found = template_errors([error for document in lot for error in slot_errors_of(document)])
        seventh = next(fret for fret in found.frets if fret.fret == TEMPLATE_FRET)
        covered += seventh.interval[0] <= TEMPLATE_MM <= seventh.interval[1]
        errors.append(seventh.error_mm)
        names = [departure.neck for departure in found.departures]
        named += "N-04" in names
        wrongly += len(names) - ("N-04" in names)
        blamed += seventh.blamed
        others = [fret for fret in found.frets if fret.fret != TEMPLATE_FRET]
        other_covered += sum(fret.interval[0] <= 0 <= fret.interval[1] for fret in others)
        other_blamed += sum(fret.blamed for fret in others)
    print(f"shop, {RUNS} lots of {NECKS} necks, {perf_counter() - start:.0f} s:")
    print(f"  fret {TEMPLATE_FRET}: interval covers in {covered} of {RUNS}, told to correct in {blamed}")
    print(f"  mean error {np.mean(errors):+.4f} mm (truth {TEMPLATE_MM:+.2f}), scatter {np.std(errors):.4f} mm")
    print(f"  bad neck named in {named}, good necks named wrongly {wrongly} of {RUNS * (NECKS - 1)}")
    print(f"  other frets: covered {other_covered / (RUNS * 19):.1%}, wrongly told to correct {other_blamed} of {RUNS * 19}")


def thousand() -> None:
    """Time from the JSON of 1,000 inspections to position, tilt and capability."""
    lots = [shop_lot(seed, necks=25, bad=None, inspect=heard_only) for seed in range(4)]
    texts = []
    for copy in range(10):
        for number, lot in enumerate(lots):
            for document in lot:
                serial = f"{copy}-{number}-{document.neck.serial}"
                moved = [
                    fret.model_copy(update={"deviation_cents": (fret.deviation_cents or 0.0) + 0.01 * copy * (fret.fret % 3)})
                    for fret in document.frets
                ]
                named = document.neck.model_copy(update={"serial": serial})
                texts.append(document.model_copy(update={"neck": named, "frets": moved}).to_json(indent=None))
    start = perf_counter()
    study = study_template([InspectionDocument.model_validate_json(text) for text in texts])
    print(f"thousand: {study.position.necks} necks analysed in {perf_counter() - start:.1f} s (wanted: 60 s)")
    blamed = [fret.fret for fret in study.position.frets if fret.blamed]
    print(f"  told to correct: {blamed}; departing necks: {len(study.position.departures)}")


def cores() -> None:
    """Wall time of a folder of necks over 1 and 2 processes."""
    from fretcheck.inspection.assemble import inspect_folder
    from fretcheck.lots.batch import inspect_one, over_cores
    from fretcheck.lots.neck_folders import find_necks

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
