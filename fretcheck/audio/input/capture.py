"""One opened input stream: a callback that only copies, a bounded queue, and an end that never hangs.

Conventions: `Backend` is all that a microphone needs of PortAudio, so that faults which real hardware will not give on demand
can be given by another. Packets carry the number of the capture they came from: what an abandoned stream still sends is
recognised.
"""

import contextlib
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretcheck.audio.input.portaudio import PORTAUDIO_IN_USE, InputDevice, list_inputs, load_sounddevice, restart, supported_rates
from fretcheck.audio.input.route import current_route

BLOCK_FRAMES = 1024
LATENCY_S = 0.1
QUEUE_S = 10.0
CLOSE_WITHIN_S = 1.0

Callback = Callable[[NDArray[np.float32], int, Any, Any], None]


class Backend:
    """PortAudio; a stand-in for it has the same methods."""

    inputs = staticmethod(list_inputs)
    rates = staticmethod(supported_rates)
    restart = staticmethod(restart)
    route = staticmethod(current_route)

    def open(
        self, device: InputDevice, *, sample_rate: float, channels: int, callback: Callback, finished: Callable[[], None]
    ) -> Any:
        """An input stream as PortAudio gives it, not yet started."""
        sounddevice = load_sounddevice()
        with PORTAUDIO_IN_USE:
            return sounddevice.InputStream(
                device=device.number,
                samplerate=sample_rate,
                channels=channels,
                dtype="float32",
                blocksize=BLOCK_FRAMES,
                latency=LATENCY_S,
                callback=callback,
                finished_callback=finished,
            )


@dataclass(frozen=True)
class Packet:
    """What one callback delivered."""

    samples: NDArray[np.float32]
    at_s: float
    lost_before: bool
    capture: int


class Capture:
    """Opens `device` and starts it; packets appear in `inbox`."""

    def __init__(
        self, backend: Backend, device: InputDevice, *, channel: int, sample_rate: float, inbox: queue.Queue[Packet], number: int
    ) -> None:
        self.device = device
        self.number = number
        self.finished = False
        self.abandoned = False  # Set by the owner when what still comes is no longer wanted
        # What went wrong in the callback: an exception there never reaches the main thread by itself
        self.failure: BaseException | None = None
        self.last_callback_s = time.monotonic()
        self._column = channel - 1
        self._inbox = inbox
        self._dropped = False
        self._closer: threading.Thread | None = None
        self._stream = backend.open(
            device, sample_rate=sample_rate, channels=channel, callback=self._callback, finished=self._finish
        )
        try:
            self._stream.start()
        except BaseException:
            self._close()
            raise

    def _callback(self, indata: NDArray[np.float32], frames: int, _time: Any, status: Any) -> None:
        now = time.monotonic()
        self.last_callback_s = now
        lost = self._dropped or bool(status.input_overflow)
        try:
            self._inbox.put_nowait(Packet(indata[:, self._column].copy(), now, lost, self.number))
            self._dropped = False
        except queue.Full:
            self._dropped = True
        except Exception as error:  # noqa: BLE001 - handed over
            self.failure = error
            self.finished = True

    def _finish(self) -> None:
        self.finished = True

    def start_closing(self) -> None:
        """Close in a thread of its own: with a sound server that hangs, closing hangs too."""
        if self._closer is None:
            self._closer = threading.Thread(target=self._close, name="close capture", daemon=True)
            self._closer.start()

    def closed_within(self, seconds: float) -> bool:
        """Start closing if need be, and tell whether it was over in time."""
        self.start_closing()
        assert self._closer is not None
        self._closer.join(timeout=seconds)
        return not self._closer.is_alive()

    def _close(self) -> None:
        for end in (self._stream.abort, self._stream.close):
            with contextlib.suppress(Exception):  # a stream whose device is gone may raise anything, and is gone all the same
                end()
