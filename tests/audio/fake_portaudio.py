"""A stand-in for PortAudio: delivers what a test tells it to, and fails on demand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from fretcheck.audio.input.portaudio import InputDevice


def device(number, name, *, channels=2, rate=48_000.0, is_default=False):
    return InputDevice(number, name, channels, rate, "ALSA", is_default)


class PortAudioError(Exception):
    """Carries (text, code) as sounddevice's does."""


class FakeStream:
    def __init__(self, callback, finished, channels):
        self._callback = callback
        self.finish = finished
        self._channels = channels
        self.started = self.closed = False

    def start(self):
        self.started = True

    def abort(self):
        self.started = False

    def close(self):
        self.closed = True

    def deliver(self, samples, *, overflow=False):
        """Call back with `samples`: column k is `samples` plus k."""
        block = np.stack([np.asarray(samples, dtype=np.float32) + column for column in range(self._channels)], axis=1)
        self._callback(block, len(block), None, SimpleNamespace(input_overflow=overflow))
        block[:] = np.nan  # PortAudio reuses its buffer

    def deliver_nonsense(self):
        self._callback(None, 0, None, SimpleNamespace(input_overflow=False))


class FakeBackend:
    def __init__(self, *devices, refuse=()):
        self.devices = list(devices) or [device(0, "bench", is_default=True)]
        self.refuse = list(refuse)
        """Errors to raise at the next openings, None for success."""
        self.streams = []
        self.restarts = 0
        self.route_name = None

    def inputs(self):
        return self.devices

    def rates(self, device):
        return [44_100, 48_000]

    def restart(self):
        self.restarts += 1

    def route(self):
        return self.route_name

    def open(self, device, *, sample_rate, channels, callback, finished):
        error = self.refuse.pop(0) if self.refuse else None
        if error is not None:
            raise error
        self.streams.append(FakeStream(callback, finished, channels))
        return self.streams[-1]
