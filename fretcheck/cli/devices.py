"""`fretcheck devices`: the sound inputs, their level, whether they are fit for work, and a recording to judge them by ear."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from contextlib import nullcontext, suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, console, print_json
from fretcheck.errors import EXIT_DONE, EXIT_OUT_OF_TOLERANCE, EXIT_UNDECIDED, DeviceError, StorageError, UsageError
from fretcheck.files import check_place, replacing

if TYPE_CHECKING:
    from fretcheck.audio.input.microphone import MicrophoneSource
    from fretcheck.audio.input.source import Block

REDRAWS_A_SECOND = 10
LONGEST_S = 600.0


def command(
    device: Annotated[
        str | None, typer.Option("--device", "-d", metavar="NAME", help="Input, by number or part of its name.")
    ] = None,
    channel: Annotated[int, typer.Option(metavar="N", help="Channel of that input, from 1.")] = 1,
    rate: Annotated[int | None, typer.Option(metavar="HZ", help="Sample rate; the input's own unless given.")] = None,
    level: Annotated[bool, typer.Option("--level", help="Show the level until Ctrl-C.")] = False,
    check: Annotated[bool, typer.Option("--check", help="Listen to some plucks and tell whether the input is fit.")] = False,
    listen: Annotated[
        Path | None, typer.Option("--listen", metavar="FILE", help="Save what comes in as FILE (.wav or .flac).")
    ] = None,
    seconds: Annotated[float | None, typer.Option(metavar="S", help="How long to listen; 10 unless given.")] = None,
    json: JsonOption = False,
) -> int:
    """List the sound inputs; or try one with --level, --check or --listen.

    With --check: keep quiet for two seconds, then pluck open strings, soft and loud, as you would at work.
    """
    chosen = [name for name, on in (("--level", level), ("--check", check), ("--listen", listen is not None)) if on]
    if len(chosen) > 1:
        raise UsageError(f"choose one of {' and '.join(chosen)}")
    if level and json:
        raise UsageError("--level is for the eye; use --check --json for figures")
    if seconds is not None and not 0.0 < seconds <= LONGEST_S:
        raise UsageError(f"--seconds {seconds:g} must be above 0 and at most {LONGEST_S:g}")
    if not chosen:
        return _list(json)
    if listen is not None:
        _check_target(listen)
    for needed in ("soundfile", "fretcheck.audio.fitness", "fretcheck.report.tables.devices_table"):
        import_module(needed)  # before sound comes in, which would wait for it
    with rooms.MicrophoneSource(device, channel=channel, sample_rate=rate, on_state=None if level else _stop_when_lost) as source:
        if level:
            return _level(source, seconds)
        if listen is not None:
            return _listen(source, listen, seconds or 10.0, json)
        return _check(source, seconds or 10.0, json)


def _list(as_json: bool) -> int:

    rooms.load_sounddevice()
    with rooms.quiet_stderr():  # trying rates makes the sound system complain at C level
        inputs = rooms.list_inputs()
        rates = {device.number: rooms.supported_rates(device) for device in inputs}
    if as_json:
        print_json(rooms.inputs_document(inputs, rates))
    elif inputs:
        console().print(rooms.inputs_table(inputs, rates))
    else:
        raise DeviceError("no sound input was found; connect a microphone or an interface, then try again")
    return EXIT_DONE


def _stop_when_lost(state: object) -> None:

    if isinstance(state, rooms.SourceState) and state.kind in ("lost", "overflow"):
        raise DeviceError(f"{state.sentence} What was heard so far is not used; try again")


def _each_block(source: MicrophoneSource, seconds: float, take: Callable[[Block], None]) -> None:
    """Hand over `seconds` of sound."""
    frames = round(seconds * source.sample_rate)
    while frames > 0:
        block = source.read(timeout_s=0.5)
        if block is not None:
            take(block)
            frames -= len(block.samples)


def _check(source: MicrophoneSource, seconds: float, as_json: bool) -> int:

    if not as_json:
        console().print(f"Listening to '{source.name}' for {seconds:g} s: keep quiet for two seconds, then pluck open strings.")
    heard = rooms.FitnessCheck(source.sample_rate)
    _each_block(source, seconds, heard.push)
    fitness = heard.finish()
    if as_json:
        print_json(rooms.fitness_document(fitness, device=source.name, sample_rate_hz=source.sample_rate))
    else:
        console().print(rooms.fitness_report(fitness, device=source.name, sample_rate_hz=source.sample_rate))
    if fitness.grade is None:
        return EXIT_UNDECIDED
    return EXIT_OUT_OF_TOLERANCE if fitness.grade == "unfit" else EXIT_DONE


def _level(source: MicrophoneSource, seconds: float | None) -> int:
    """A meter that moves, or plain lines twice a second where the output is no terminal."""
    from rich.live import Live

    screen = console()
    ascii_only = not screen.encoding.lower().startswith("utf")
    segmenter = rooms.Segmenter(source.sample_rate, longest_s=1.0)
    begin, shown, peak = time.monotonic(), 0.0, 0.0
    every = 1.0 / REDRAWS_A_SECOND if screen.is_terminal else 0.5
    if screen.is_terminal:
        screen.print(f"Level of '{source.name}'; Ctrl-C ends it.")
    live = Live(console=screen, auto_refresh=False, transient=True) if screen.is_terminal else None
    with suppress(KeyboardInterrupt), live or nullcontext(), rooms.quiet_stderr():
        while seconds is None or time.monotonic() - begin < seconds:
            block = source.read(timeout_s=0.1)
            if block is not None:
                segmenter.push(block)
                peak = max(peak, float(abs(block.samples).max(initial=0.0)))
            if time.monotonic() - shown < every:
                continue
            shown = time.monotonic()
            floor = segmenter.noise_floor_rms
            line = rooms.meter(segmenter.level_rms, floor, clipped=peak >= 0.999, width=screen.width, ascii_only=ascii_only)
            line.append("  NO SOUND" if source.is_lost else "")
            peak = 0.0
            if live is None:
                screen.print(line)
            else:
                live.update(line, refresh=True)
    return EXIT_DONE


def _check_target(path: Path) -> None:
    if path.suffix.lower() not in (".wav", ".flac"):
        raise UsageError(f"--listen {path}: the file's name must end in .wav or .flac")
    if os.path.lexists(path):
        raise UsageError(f"--listen {path}: there is such a file already; choose another name")
    check_place(path, is_ours=None)


def _listen(source: MicrophoneSource, path: Path, seconds: float, as_json: bool) -> int:
    import soundfile

    if not as_json:
        console().print(f"Listening to '{source.name}' for {seconds:g} s …")
    peak = 0.0

    def write(block: Block) -> None:
        nonlocal peak
        file.write(block.samples)
        peak = max(peak, float(abs(block.samples).max(initial=0.0)))

    kind = {"samplerate": round(source.sample_rate), "channels": 1, "subtype": "PCM_24", "format": path.suffix[1:].upper()}
    try:
        with replacing(path) as beside, soundfile.SoundFile(beside, "w", **kind) as file:
            _each_block(source, seconds, write)
    except soundfile.LibsndfileError as error:
        raise StorageError(f"{path} cannot be written: {error}", path=path) from error
    if as_json:
        told = {"file": str(path), "device": source.name, "seconds": seconds, "sample_rate_hz": source.sample_rate, "peak": peak}
        print_json({"schema": "fretcheck/device-recording/1", **told})
    else:
        console().print(f"Saved {path} ({source.sample_rate:.0f} Hz, 24 bit). Listen at a low volume first.")
    return EXIT_DONE
