"""A microphone or interface as an `AudioSource`, through whatever befalls it.

Conventions: `read` is the heart: it gives the next block, or None when none came in time, and is where everything is noticed: a
device that falls silent (no delivery for half a second), one that ends, one whose stream was moved, sound that went missing.
`blocks` is `read` for ever. `on_state` is called from within `read`, in the caller's own thread. After any loss the next block
has `lost=True` and its `start_frame` has moved on by the time that passed.
"""

import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeVar, cast

import numpy as np

from fretcheck.audio.input.capture import BLOCK_FRAMES, CLOSE_WITHIN_S, QUEUE_S, Backend, Capture, Packet
from fretcheck.audio.input.frame_clock import FrameClock
from fretcheck.audio.input.portaudio import InputDevice, find_input, leave_at_exit, translated
from fretcheck.audio.input.source import AudioSource, Block
from fretcheck.errors import DeviceError, UsageError

T = TypeVar("T")
StateKind = Literal["lost", "back", "moved", "overflow"]

SILENT_S = 0.5  # Deliveries come every tenth of a second; this long without one, the device is taken for gone
GRACE_S = 1.0  # A device that merely paused may go on by itself for this long; then it is opened anew
RETRY_S = 0.3
ROUTE_EVERY_S = 0.5
OPEN_WITHIN_S = 8.0
_POLL_S = 0.02


@dataclass(frozen=True)
class SourceState:
    """Something happened to the source; `sentence` tells the person at the bench."""

    kind: StateKind
    sentence: str


@dataclass(frozen=True)
class Sounding:
    """Sound comes."""


@dataclass(frozen=True)
class Silent:
    """None comes, and the capture that is open may go on by itself."""

    since_s: float


@dataclass(frozen=True)
class Reopening:
    """None comes, and a thread ends the capture and opens the device anew; what the old one still sends is not wanted."""

    thread: threading.Thread


class MicrophoneSource(AudioSource):
    """Captures one channel of one input device at the device's own sample rate.

    `device`: number, or part of the name; None for the system's default. `channel`: counts from 1. `sample_rate`: Hz; None
    leaves it to the device. `on_state`: told of losses and returns. `backend`: in place of PortAudio.
    Raises DeviceError when PortAudio or the device is missing, ambiguous, busy, or refuses the rate or channel.
    """

    def __init__(
        self,
        device: int | str | None = None,
        *,
        channel: int = 1,
        sample_rate: float | None = None,
        on_state: Callable[[SourceState], None] | None = None,
        backend: Backend | None = None,
    ) -> None:
        if channel < 1:
            raise UsageError(f"channel = {channel}: channels count from 1")
        self._backend = backend or Backend()
        self._channel = channel
        self._on_state = on_state or (lambda state: None)
        self._opened: queue.SimpleQueue[Capture] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._captures = 0
        found, self.sample_rate = _in_time(lambda: self._choose(device, sample_rate))
        self.name = found.name
        self._inbox: queue.Queue[Packet] = queue.Queue(maxsize=round(QUEUE_S * self.sample_rate / BLOCK_FRAMES))
        self._clock = FrameClock(self.sample_rate)
        self._next_frame = 0
        self._capture: Capture = _in_time(lambda: self._open(found))
        self._state: Sounding | Silent | Reopening = Sounding()
        self._last_at_s = self._capture.last_callback_s
        self._just_opened = True
        self.route: str | None = None  # Name of the source behind the device, where the sound server tells
        self._route_now: str | None = None
        threading.Thread(target=self._watch_route, name="watch route", daemon=True).start()

    @property
    def is_lost(self) -> bool:
        """True while no sound comes."""
        return not isinstance(self._state, Sounding)

    def _choose(self, wanted: int | str | None, sample_rate: float | None) -> tuple[InputDevice, float]:
        device = find_input(self._backend.inputs(), wanted)
        if self._channel > device.channels:
            raise DeviceError(f"channel {self._channel} of '{device.name}': the device has {device.channels}")
        return device, device.default_rate_hz if sample_rate is None else sample_rate

    def _open(self, device: InputDevice) -> Capture:
        """Open `device`, once more with a fresh list where the list was stale."""
        try:
            return self._start(device)
        except DeviceError:
            raise
        except Exception as first:
            if not _may_be_stale(first):
                raise DeviceError(self._why(first, device)) from first
        self._backend.restart()
        device = find_input(self._backend.inputs(), device.name)
        try:
            return self._start(device)
        except Exception as error:
            raise DeviceError(self._why(error, device)) from error

    def _start(self, device: InputDevice) -> Capture:
        self._captures += 1
        return Capture(
            self._backend, device, channel=self._channel, sample_rate=self.sample_rate, inbox=self._inbox, number=self._captures
        )

    def _why(self, error: Exception, device: InputDevice) -> str:
        text = translated(error, doing=f"opening '{device.name}' at {self.sample_rate:.0f} Hz")
        if -9997 in error.args:
            text += f"; it offers: {', '.join(str(rate) for rate in self._backend.rates(device)) or 'none of the usual rates'}"
        return text

    def read(self, *, timeout_s: float = 0.1) -> Block | None:
        """The next block, or None when none came within `timeout_s` or the source is closed."""
        deadline = time.monotonic() + timeout_s
        while not self._stop.is_set():
            self._look_after()
            remaining = deadline - time.monotonic()
            try:
                packet = self._inbox.get(timeout=min(_POLL_S, max(remaining, 0.0)) or 1e-4)
            except queue.Empty:
                if remaining <= 0.0:
                    return None
                continue
            if packet.capture == self._capture.number and not self._capture.abandoned:
                return self._block(packet)
        return None

    def blocks(self) -> Iterator[Block]:
        """Yield blocks until `close` is called, from this or another thread."""
        while not self._stop.is_set():
            block = self.read(timeout_s=0.5)
            if block is not None:
                yield block

    def _block(self, packet: Packet) -> Block:
        lost = self.is_lost
        if lost:
            self._come_back(packet.at_s)
        missing_s = self._clock.missing_s(packet.at_s, len(packet.samples))
        if (packet.lost_before or missing_s > 0.0) and not lost:
            lost = True
            self._on_state(SourceState("overflow", "Some sound was lost because the computer was too busy."))
        start = self._next_frame + round(missing_s * self.sample_rate)
        self._next_frame = start + len(packet.samples)
        self._last_at_s = packet.at_s
        return Block(samples=packet.samples.astype(np.float64), start_frame=start, lost=lost)

    def _look_after(self) -> None:
        """Notice a loss, or a capture that was opened anew."""
        match self._state:
            case Sounding():
                if self._capture.finished and self._inbox.empty():
                    why = self._capture.failure
                    self._lose("The sound input has ended" + (f" ({type(why).__name__}: {why})" if why else ""))
                elif time.monotonic() - self._capture.last_callback_s > SILENT_S and self._inbox.empty():
                    self._lose(f"No sound has come for {SILENT_S} s")
                else:
                    self._compare_route()
            case Silent(since_s):
                if self._capture.finished or self._capture.abandoned or time.monotonic() - since_s > GRACE_S:
                    self._capture.abandoned = True
                    thread = threading.Thread(target=self._reopen, args=(self._capture,), name="reopen", daemon=True)
                    self._state = Reopening(thread)
                    thread.start()
            case Reopening() if not self._opened.empty():
                self._capture = self._opened.get()
                self._state = Silent(time.monotonic())  # it has its own time to begin
                self._route_now = None
                self._just_opened = True

    def _compare_route(self) -> None:
        now = self._route_now
        if now is None:
            return
        if self.route is not None and now != self.route:
            what = f"The sound server switched to another source, '{now}' instead of '{self.route}'"
            if not self._just_opened:
                self._lose(what)
                self._capture.abandoned = True  # what it delivers is another device's sound: open the right one again
                return
            self._on_state(SourceState("moved", f"{what}. If that is not the one you want, choose it in the system's settings."))
        self.route = now
        self._just_opened = False

    def _lose(self, what: str) -> None:
        self._state = Silent(time.monotonic())
        self._on_state(SourceState("lost", f"{what} ('{self.name}'). Check the cable; it goes on by itself once sound is back."))

    def _come_back(self, at_s: float) -> None:
        """The first packet after a loss."""
        self._next_frame += max(0, round((at_s - self._last_at_s) * self.sample_rate))
        self._state = Sounding()
        self._clock.restart()
        self._on_state(SourceState("back", f"Sound is back from '{self._capture.device.name}'."))

    def _reopen(self, old: Capture) -> None:
        """Runs in a thread: end the old capture, then open the device again as soon as it is there."""
        old.start_closing()
        while not old.closed_within(RETRY_S):
            if self._stop.is_set():
                return
        while not self._stop.is_set():
            try:
                self._backend.restart()
                capture = self._start(find_input(self._backend.inputs(), self.name))
            except Exception:  # noqa: BLE001 - not there yet, whatever it says; tried again until the source is closed
                self._stop.wait(RETRY_S)
                continue
            if self._stop.is_set():
                capture.start_closing()
            self._opened.put(capture)
            return

    def _watch_route(self) -> None:
        """Runs in a thread: ask now and then where the sound comes from."""
        while not self._stop.wait(ROUTE_EVERY_S):
            if not self.is_lost:
                capture, route = self._capture, self._backend.route()
                if capture is self._capture and not self.is_lost:
                    self._route_now = route

    def close(self) -> None:
        """Release the device; returns within about a second even when the sound server hangs."""
        if self._stop.is_set():
            return
        self._stop.set()
        done = self._capture.closed_within(CLOSE_WITHIN_S)
        if isinstance(self._state, Reopening):
            self._state.thread.join(timeout=CLOSE_WITHIN_S)
            done = done and not self._state.thread.is_alive()
            while not self._opened.empty():
                done = self._opened.get().closed_within(CLOSE_WITHIN_S) and done
        if not done:
            leave_at_exit()


def _in_time(work: Callable[[], T]) -> T:
    """Do `work` in a thread: a sound server that hangs must not hang the program."""
    done: queue.SimpleQueue[tuple[T | None, Exception | None]] = queue.SimpleQueue()

    def run() -> None:
        try:
            done.put((work(), None))
        except Exception as error:  # noqa: BLE001 - raised again below, in the caller's thread
            done.put((None, error))

    threading.Thread(target=run, name="open capture", daemon=True).start()
    try:
        result, error = done.get(timeout=OPEN_WITHIN_S)
    except queue.Empty:
        leave_at_exit()
        text = f"the sound system has not answered for {OPEN_WITHIN_S:.0f} s; restart it, then try again"
        raise DeviceError(text) from None
    if error is not None:
        raise error
    return cast("T", result)


def _may_be_stale(error: Exception) -> bool:
    """True for the errors that a list of devices gives which is no longer right."""
    return isinstance(error, ValueError) or not {-9993, -9996, -9999, -9986}.isdisjoint(error.args)
