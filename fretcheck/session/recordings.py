"""From a folder of recordings, one file a string, to an inspection.

The path is the live one: blocks from an `AudioSource`, plucks from the segmenter, a reading for each, and
`inspection_from` at the end. Strings are independent, so they are heard in parallel, one process a core.
"""

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import as_completed
from dataclasses import dataclass
from pathlib import Path

from fretcheck.audio.input.file_source import FileSource
from fretcheck.audio.input.string_files import find_string_files, surplus_string_files
from fretcheck.audio.segment.cutting import cut_plucks
from fretcheck.neck.description import Neck
from fretcheck.session.deviation import inspection_from
from fretcheck.session.placed_reading import Inspection, Reading, SoundSetAside
from fretcheck.session.placement import UnreadStringError, place_notes
from fretcheck.session.plan import Ask, make_plan
from fretcheck.session.take import read_take
from fretcheck.workers import worker_pool

Progress = Callable[[int, int], None]  # Called with (strings done, strings in all)

LARGE_BLOCK = 16384  # Frames; nothing depends on where blocks end, and large ones are read faster
SHORT_BYTES = 3_000_000  # Recordings smaller than this together are read in this process


@dataclass(frozen=True)
class HeardString:
    """One string's recording, read."""

    string: int
    readings: tuple[Reading, ...]
    set_aside: tuple[SoundSetAside, ...]
    sample_rate: float
    problem: UnreadStringError | None = None  # Why nothing of it could be used


def hear_string(neck: Neck, string: int, file: Path) -> HeardString:
    """Read the recording of one string; where its plucks can't be read, or their frets can't be told, it says so.

    Raises RecordingError when the file cannot be read, holds no plucks, or holds those of another string.
    """
    with FileSource(file, block_frames=LARGE_BLOCK) as source:
        cut = cut_plucks(source, lambda pluck: (pluck.start_s, pluck.end_s, read_take(pluck)[1]))
        rate = source.sample_rate
    places: Sequence[int | str]
    problem: UnreadStringError | None = None
    try:
        places = place_notes(neck, string, [note for *_, note in cut.plucks], file=file)
    except UnreadStringError as error:
        problem, places = error, ["its fret could not be told, see the warnings"] * len(cut.plucks)
    readings: list[Reading] = []
    set_aside = [(one.start_s, one.end_s, one.reason) for one in cut.set_aside]
    for (start_s, end_s, note), place in zip(cut.plucks, places, strict=True):
        if isinstance(place, str):
            set_aside.append((start_s, end_s, place))
        else:
            readings.append(Reading(ask=Ask(string=string, fret=place), note=note, start_s=start_s, sound_file=file.name))
    aside = tuple(SoundSetAside(string=string, start_s=start, end_s=end, reason=why) for start, end, why in sorted(set_aside))
    return HeardString(string=string, readings=tuple(readings), set_aside=aside, sample_rate=rate, problem=problem)


def inspect_recordings(
    neck: Neck, folder: Path, *, plan: str = "full", progress: Progress | None = None, processes: int | None = None
) -> Inspection:
    """Inspect a neck from a folder of recordings, ``string-1.flac`` and so on.

    `folder`: or the file of one string, which is then inspected alone. `plan`: whose notes should be there, as in `make_plan`;
    what else is heard counts all the same. `progress`: called in this process as strings are done. `processes`: how many
    processes read strings; one for each core by default, 1 to stay in this process.
    Raises RecordingError when the folder or a string's file cannot be used, holds another string, or nothing of any string
    could be read; UsageError for an unknown plan.
    """
    files = find_string_files(folder, range(1, len(neck.strings) + 1))
    planned = make_plan(neck, name=plan, strings=tuple(files)).notes
    heard = _hear_all(neck, files, progress=progress, processes=processes)
    problems = [one.problem for one in heard if one.problem is not None]
    if len(problems) == len(heard):
        raise problems[0]
    rates = {one.sample_rate for one in heard}
    return inspection_from(
        neck,
        [reading for one in heard for reading in one.readings],
        planned=planned,
        set_aside=[aside for one in heard for aside in one.set_aside],
        plan=plan,
        source=folder.name,
        sample_rate_hz=rates.pop() if len(rates) == 1 else None,
        warnings=[
            *(f"String {one.string} was not judged. {one.problem}." for one in heard if one.problem is not None),
            *(
                f"{path.name} was not read: the neck has {len(neck.strings)} strings."
                for path in surplus_string_files(folder, files)
            ),
        ],
    )


def _hear_all(neck: Neck, files: Mapping[int, Path], *, progress: Progress | None, processes: int | None) -> list[HeardString]:
    workers = min(processes or _worthwhile_processes(files.values()), len(files))
    done: dict[int, HeardString] = {}

    def note(one: HeardString) -> None:
        done[one.string] = one
        if progress:
            progress(len(done), len(files))

    if workers <= 1:
        for item in files.items():
            note(hear_string(neck, *item))
    else:
        with worker_pool(workers) as pool:
            try:
                for future in as_completed([pool.submit(hear_string, neck, *item) for item in files.items()]):
                    note(future.result())
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    return [done[string] for string in files]


def _worthwhile_processes(files: Iterable[Path]) -> int:
    """Cores, or 1 for recordings so short that starting processes would take longer than reading them."""
    return 1 if sum(file.stat().st_size for file in files) < SHORT_BYTES else os.cpu_count() or 1
