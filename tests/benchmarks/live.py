"""How quick, light and steady a live session is: figures only, nothing is asserted.

Run it from the source tree, on an otherwise idle machine::

    python -m tests.benchmarks.live [--minutes 3] [--busy] [--work]

A private sound server plays synthetic strings into a null sink; the real microphone source hears its monitor; session, journal
and screen are the program's own, the screen drawn to a pseudo-terminal. With `--busy` another process keeps a core at work;
with `--work` it is a session of work on a saddle that hears the same plucks.

What is measured
----------------
settled to accepted
    from the arrival, in the session, of the block that holds the last frame of a note's stretch, to the frame of the screen that
    shows it as taken having been written to the terminal.
capture to screen
    from the arrival of the newest block that a running value was read from to the frame that shows it having been written.
    What the sound took from the microphone to the program (buffers of driver and server) is the device's and is not in it;
    the latency that PortAudio names is printed beside it.
woken late
    how much longer than asked for another process slept that does nothing else, over the same time: what the machine itself and
    whoever shares it add to every delay, and no program on it can undercut.
own time per note
    processor time of the whole program over the measured time, listening and drawing included, divided by the plucks heard in it
    (knocks left out).
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from fretcheck.neck.description import Neck, String
from fretcheck.session.plan import make_plan
from tests.live.strings import THREE, played_plan
from tests.sound_server import SoundServer, missing_part

RATE = 48_000.0
SECONDS_PER_NOTE = 2.0


def main() -> None:
    """Start a server, play, and let a child process with that server's environment measure."""
    parser = argparse.ArgumentParser(description="Latency, load and steadiness of a live session.")
    parser.add_argument("--minutes", type=float, default=3.0, help="how long to listen")
    parser.add_argument("--busy", action="store_true", help="keep another core busy meanwhile")
    parser.add_argument("--work", action="store_true", help="work on a saddle in place of an inspection")
    parser.add_argument("--measure", metavar="FOLDER", help=argparse.SUPPRESS)
    parser.add_argument("--doze", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        print(json.dumps(measure(Path(options.measure), options.minutes * 60.0, work=options.work)))
        return
    if options.doze:
        doze(options.minutes * 60.0)
        return
    part = missing_part()
    if part is not None:
        raise SystemExit(part)
    with tempfile.TemporaryDirectory(prefix="fretcheck-bench-") as folder:
        server = SoundServer(Path(folder))
        server.start()
        busy = subprocess.Popen([sys.executable, "-c", "while True: pass"]) if options.busy else None
        try:
            run(server, Path(folder), options.minutes, work=options.work)
        finally:
            if busy is not None:
                busy.kill()
            server.close()


def run(server: SoundServer, folder: Path, minutes: float, *, work: bool) -> None:
    """Play round and round while the child listens, then print what it found."""
    neck, plan = bench()
    recording = played_plan(neck, plan, sample_rate=RATE, seconds_per_note=SECONDS_PER_NOTE, lead_s=0.8)
    last_s = 0.8 + len(plan.asks) * SECONDS_PER_NOTE
    body = recording.samples[round(0.6 * RATE) : round((last_s - 0.2) * RATE)].copy()
    fade = np.linspace(0.0, 1.0, round(0.1 * RATE))  # so that the seam between two rounds is no knock
    body[: len(fade)] *= fade
    body[-len(fade) :] *= fade[::-1]
    rounds = int(np.ceil((minutes * 60.0 + 20.0) / (len(body) / RATE)))
    command = [sys.executable, "-m", "tests.benchmarks.live", "--minutes", str(minutes), "--measure", str(folder)]
    command += ["--work"] if work else []
    with subprocess.Popen(command, env=server.environment, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "listening\n"
        player = server.play(np.tile(body, rounds), RATE, latency_ms=500)
        dozer = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.live", "--minutes", str(minutes), "--doze"],
            stdout=subprocess.PIPE,
            text=True,
        )
        found = json.loads(child.stdout.readline())
    player.kill()
    found["woken late, ms"] = dozer.communicate()[0].strip()
    for name, value in found.items():
        print(f"{name:<44} {value}")


def doze(seconds: float) -> None:
    """Sleep for five milliseconds again and again, and print by how much more it was."""
    begun, late = time.monotonic(), []
    while (now := time.monotonic()) - begun < seconds:
        time.sleep(0.005)
        late.append(time.monotonic() - now - 0.005)
    print(_spread(late))


def bench():
    """A neck of six strings and twenty frets, and what is played on it over and over: all strings, from low to high."""
    wound = (("D3", 0.66, "wound"), ("A2", 0.914, "wound"), ("E2", 1.168, "wound"))
    neck = Neck(
        name="Six-string bench neck",
        scale_length_mm=648.0,
        frets=20,
        strings=tuple(
            String(note=note, gauge_mm=gauge, construction=how, material="steel", scale_length_mm=648.0)
            for note, gauge, how in (*THREE, *wound)
        ),
    )
    return neck, make_plan(neck, frets=[1, 5, 12, 20])


class Probe:
    """Wraps the display to note when what was shown."""

    def __init__(self, display, clock):
        self.display = display
        self.block_at = 0.0
        self.waiting: list[tuple[str, float]] = []
        self.latencies: dict[str, list[float]] = {"accepted": [], "running": []}
        self.notes = 0
        self.missed = False
        self._clock = clock

    def apply(self, event) -> None:
        """Note when an event's sound had arrived."""
        from fretcheck.session import events

        if isinstance(event, events.Accepted):
            self.waiting.append(("accepted", self.block_at))
        elif isinstance(event, events.Running):
            self.waiting = [one for one in self.waiting if one[0] != "running"]
            self.waiting.append(("running", self.block_at))
        if isinstance(event, events.Accepted | events.WrongNote | events.Again) and not getattr(event, "silent", False):
            self.notes += 1
            self.missed |= not isinstance(event, events.Accepted)
        self.display.apply(event)

    def draw(self) -> None:
        """Draw, and note what has come to the screen by it."""
        before = self.display.draws
        self.display.draw()
        if self.display.draws > before:
            now = self._clock()
            for kind, since in self.waiting:
                self.latencies[kind].append(now - since)
            self.waiting = []


def measure(folder: Path, seconds: float, *, work: bool = False) -> dict[str, object]:
    """Listen for so long, and say what it took."""
    import pty
    import queue
    import threading

    from fretcheck.audio.cues import CuePlayer
    from fretcheck.audio.input.microphone import MicrophoneSource
    from fretcheck.audio.input.source import Block
    from fretcheck.cli.live.bench import MANY_WAITING
    from fretcheck.cli.live.live_display import ScreenDisplay
    from fretcheck.cli.work_guide import WorkGuide, before_work, place_chosen
    from fretcheck.report.bench.bench_screen import BenchScreen
    from fretcheck.report.bench.bench_view import BenchView
    from fretcheck.report.bench.work_screen import WorkScreen
    from fretcheck.report.bench.work_view import WorkView
    from fretcheck.session.journal.journal import Journal
    from fretcheck.session.live.live_session import LiveSession
    from fretcheck.session.live.runner import Runner
    from fretcheck.session.live.work_session import WorkRunner

    clock = time.monotonic
    neck, plan = bench()
    rounds = int(seconds / (len(plan.asks) * SECONDS_PER_NOTE)) + 2
    plan = type(plan)(name=plan.name, asks=plan.asks * rounds)
    master, slave = pty.openpty()
    threading.Thread(target=_swallow, args=(master,), daemon=True).start()
    terminal = os.fdopen(slave, "w", encoding="utf-8")
    os.environ |= {"COLUMNS": "100", "LINES": "30", "TERM": "xterm-256color"}
    inbox: queue.Queue[tuple[Block, float]] = queue.Queue()
    states: list[str] = []
    source = MicrophoneSource("bench", on_state=lambda state: states.append(state.kind))
    reached = 0.0

    def pump() -> None:
        for block in source.blocks():
            inbox.put((block, clock()))

    with source, Journal.create(folder / "sessions", neck, plan) as journal:
        if work:
            guide = WorkGuide(before_work(neck, None), [place_chosen(neck, "saddle", string=3, fret=None)])
            runner: Runner = WorkRunner(neck, keep=journal.keep, clock=clock, guide=guide)
            view: BenchView = WorkView(neck=neck, plan=plan, source=source.name, task=guide.title)
        else:
            runner = Runner(neck, plan, keep=journal.keep, clock=clock, step_back=False)
            view = BenchView(neck=neck, plan=plan, source=source.name)
        screen = WorkScreen(view) if isinstance(view, WorkView) else BenchScreen(view)
        with ScreenDisplay(screen, terminal, clock=clock) as display:
            probe = Probe(display, clock)
            session = LiveSession(
                runner, journal, tell=probe.apply, cues=CuePlayer(), behind=lambda: inbox.qsize() >= MANY_WAITING
            )
            session.begin(source=source.name, sample_rate=source.sample_rate)
            session.start()
            threading.Thread(target=pump, daemon=True).start()
            print("listening", flush=True)
            begun, begun_cpu = clock(), time.process_time()
            warm_memory, warm_cpu, warm_at, warm_notes = 0.0, 0.0, begun, 0
            blocks = lost = deepest = 0
            while clock() - begun < seconds:
                try:
                    block, at = inbox.get(timeout=0.05)
                except queue.Empty:
                    continue
                deepest = max(deepest, inbox.qsize())
                probe.block_at = at
                blocks += 1
                lost += block.lost
                reached = (block.start_frame + len(block.samples)) / source.sample_rate
                session.take(block, decisive_only=not display.wants_running)
                if probe.missed and not work:  # goes on with the next, as the recording does
                    probe.missed = False
                    session.command("skip")
                view.notes_left, view.seconds_left = runner.notes_left, runner.seconds_left
                probe.draw()
                if not warm_memory and clock() - begun > min(30.0, seconds / 3.0):
                    warm_memory, warm_cpu, warm_at, warm_notes = _memory_mb(), time.process_time(), clock(), probe.notes
            span, cpu = clock() - warm_at, time.process_time() - warm_cpu
            notes = probe.notes - warm_notes
            draws = display.draws
            grown = _memory_mb() - warm_memory
        whole = clock() - begun
        whole_cpu = time.process_time() - begun_cpu
        accepted = len(runner.taken)
    return {
        "listened, s": round(whole, 1),
        "blocks heard / marked lost": f"{blocks} / {lost} (source states: {states or 'none'})",
        "sound heard against time, s": f"{reached:.2f} / {whole:.2f}",
        "most blocks waiting": deepest,
        "notes judged / accepted": f"{probe.notes} / {accepted}",
        "settled to accepted on screen, ms": _spread(probe.latencies["accepted"]),
        "capture to screen of the running value, ms": _spread(probe.latencies["running"]),
        "PortAudio's own input latency, ms": round(1e3 * _input_latency(source), 1),
        "processor, share of one core": f"{whole_cpu / whole:.1%}",
        "own processor time per note, s": round(cpu / max(1, notes), 3),
        "frames a second on the screen": round(draws / whole, 1),
        "memory now, MB": round(_memory_mb(), 1),
        f"memory growth over {span:.0f} s, MB": round(grown, 2),
    }


def _swallow(terminal: int) -> None:
    """Read what is drawn, as a terminal does, until it is closed."""
    with contextlib.suppress(OSError):
        while os.read(terminal, 65536):
            pass


def _memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def _input_latency(source) -> float:
    stream = getattr(getattr(source, "_capture", None), "_stream", None)
    return float(getattr(stream, "latency", float("nan")))


def _spread(seconds: list[float]) -> str:
    if not seconds:
        return "none"
    values = 1e3 * np.array(seconds)
    middle, high, higher = np.percentile(values, [50, 95, 99])
    return f"median {middle:.0f}, 95 % {high:.0f}, 99 % {higher:.0f}, most {values.max():.0f} (n = {len(values)})"


if __name__ == "__main__":
    main()
