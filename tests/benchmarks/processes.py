"""Benchmarks that ask many necks the same: side by side in processes, one thread each."""

from __future__ import annotations

import argparse
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_context
from typing import TypeVar

from fretcheck.workers import use_one_thread


def options(doc: str | None, *, necks: int, worlds: Sequence[str]) -> argparse.ArgumentParser:
    """What all of them take."""
    parser = argparse.ArgumentParser(description=(doc or "").splitlines()[0])
    parser.add_argument("--necks", type=int, default=necks, help="necks a row")
    parser.add_argument("--worlds", nargs="*", default=list(worlds))
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--seed", type=int, default=20261, help="first entry of every neck's seed")
    return parser


Job = TypeVar("Job")
Outcome = TypeVar("Outcome")


def _guarded(pair: tuple[Callable[[Job], Outcome], Job]) -> Outcome | None:
    """A crash of one neck is told and left out; the rest goes on."""
    run, job = pair
    try:
        return run(job)
    except Exception:  # noqa: BLE001 - whatever it is, it belongs in the output
        print(f"CRASHED {job}\n{traceback.format_exc(limit=-2)}", file=sys.stderr, flush=True)
        return None


def each(run: Callable[[Job], Outcome], jobs: Sequence[Job], *, processes: int) -> Iterator[Outcome]:
    """`run` of every job, in any order."""
    with get_context("spawn").Pool(processes, initializer=use_one_thread) as pool:
        done = pool.imap_unordered(_guarded, [(run, job) for job in jobs], chunksize=4)
        yield from (outcome for outcome in done if outcome is not None)


def share(hits: Sequence[bool]) -> str:
    """As a percentage, or a dash."""
    return f"{100.0 * sum(hits) / len(hits):.0f}" if hits else "–"
