"""The microphone source against a stand-in for PortAudio: faults that real hardware will not give on demand."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from fretcheck.audio.input.microphone import MicrophoneSource, Reopening
from fretcheck.errors import DeviceError, UsageError
from tests.audio.fake_portaudio import FakeBackend, PortAudioError, device

WAIT_S = 10.0  # far beyond what is needed: reached only when something is broken


@pytest.fixture
def states():
    return []


@pytest.fixture
def opened(states):
    """Open a source on a fake backend; closed at the end."""
    sources = []

    def open_source(backend, wanted=None, **options):
        source = MicrophoneSource(wanted, backend=backend, on_state=states.append, **options)
        sources.append(source)
        return source

    yield open_source
    for source in sources:
        source.close()


def read_until(source, condition):
    """Read, as a listener does, until `condition` holds; the blocks read on the way."""
    blocks = []
    for _ in range(int(WAIT_S / 0.05)):
        block = source.read(timeout_s=0.05)
        if block is not None:
            blocks.append(block)
        if condition():
            return blocks
    raise AssertionError("waited in vain")


def test_blocks_are_copies_in_order_at_the_devices_own_rate(opened):
    backend = FakeBackend(device(0, "bench", rate=44_100.0))
    source = opened(backend)
    assert (source.name, source.sample_rate) == ("bench", 44_100.0)
    for value in (0.25, 0.5):
        backend.streams[0].deliver(np.full(1024, value))
    first, second = source.read(), source.read()
    assert first.samples.dtype == np.float64
    assert np.array_equal(first.samples, np.full(1024, 0.25))
    assert np.array_equal(second.samples, np.full(1024, 0.5))
    assert (first.start_frame, second.start_frame) == (0, 1024)
    assert not first.lost
    assert not second.lost
    assert source.read(timeout_s=0.01) is None


def test_the_channel_can_be_chosen(opened):
    backend = FakeBackend()
    source = opened(backend, channel=2)
    backend.streams[0].deliver(np.zeros(64))
    assert np.array_equal(source.read().samples, np.ones(64))
    with pytest.raises(DeviceError, match=r"channel 3 of 'bench': the device has 2"):
        MicrophoneSource(backend=backend, channel=3)
    with pytest.raises(UsageError, match=r"channel = 0: channels count from 1"):
        MicrophoneSource(backend=backend, channel=0)


def test_devices_by_number_and_by_part_of_the_name(opened):
    backend = FakeBackend(device(0, "Line In"), device(3, "Bench mic"), device(4, "Bench", is_default=True))
    assert opened(backend).name == "Bench"
    assert opened(backend, 3).name == "Bench mic"
    assert opened(backend, "3").name == "Bench mic"
    assert opened(backend, "line").name == "Line In"
    assert opened(backend, "bench").name == "Bench", "a name in full wins"
    with pytest.raises(DeviceError, match=r"'ben' fits more than one sound input: 3 Bench mic \(ALSA\); 4 Bench \(ALSA\)"):
        MicrophoneSource("ben", backend=backend)
    with pytest.raises(DeviceError, match=r"no sound input's name contains 'usb'; there are: 0 Line In; 3 Bench mic; 4 Bench"):
        MicrophoneSource("usb", backend=backend)
    with pytest.raises(DeviceError, match=r"there is no sound input number 7"):
        MicrophoneSource(7, backend=backend)


def test_no_device_at_all():
    backend = FakeBackend()
    backend.devices = []
    with pytest.raises(DeviceError, match="no sound input was found; connect a microphone"):
        MicrophoneSource(backend=backend)


def test_overflow_marks_the_next_block_lost(opened, states):
    backend = FakeBackend()
    source = opened(backend)
    backend.streams[0].deliver(np.zeros(64))
    backend.streams[0].deliver(np.zeros(64), overflow=True)
    backend.streams[0].deliver(np.zeros(64))
    assert [source.read().lost for _ in range(3)] == [False, True, False]
    assert [state.kind for state in states] == ["overflow"]


def test_a_full_queue_drops_and_says_so(opened, states):
    backend = FakeBackend(device(0, "bench", rate=8_000.0))
    source = opened(backend)
    for _ in range(200):  # 10 s at 8 kHz are 78 blocks of 1024
        backend.streams[0].deliver(np.zeros(1024))
    kept = read_until(source, lambda: source._inbox.empty())
    assert len(kept) == 78
    assert not any(block.lost for block in kept)
    backend.streams[0].deliver(np.zeros(1024))
    assert source.read().lost
    assert [state.kind for state in states] == ["overflow"]


def test_a_refused_rate_names_what_is_offered():
    backend = FakeBackend(refuse=[PortAudioError("Error opening InputStream: Invalid sample rate [PaErrorCode -9997]", -9997)])
    with pytest.raises(DeviceError, match=r"opening 'bench' at 96000 Hz failed: .*; it offers: 44100, 48000"):
        MicrophoneSource(backend=backend, sample_rate=96_000)
    assert backend.restarts == 0


def test_a_stale_list_is_renewed_once(opened):
    stale = PortAudioError("Error opening InputStream: Illegal combination of I/O devices [PaErrorCode -9993]", -9993)
    backend = FakeBackend(refuse=[stale])
    source = opened(backend)
    assert backend.restarts == 1
    backend.streams[0].deliver(np.zeros(64))
    assert source.read() is not None
    with pytest.raises(DeviceError, match=r"opening 'bench' at 48000 Hz failed: the device is gone, or the sound server was"):
        MicrophoneSource(backend=FakeBackend(refuse=[stale, stale]))


def test_a_device_that_falls_silent_is_noticed_and_opened_anew(opened, states):
    backend = FakeBackend()
    source = opened(backend)
    backend.streams[0].deliver(np.zeros(1024))
    assert source.read() is not None
    read_until(source, lambda: source.is_lost)
    assert [state.kind for state in states] == ["lost"]
    assert "No sound has come for 0.5 s ('bench')" in states[0].sentence
    read_until(source, lambda: len(backend.streams) == 2)
    assert backend.streams[0].closed
    read_until(source, lambda: not isinstance(source._state, Reopening))
    backend.streams[1].deliver(np.zeros(1024))
    block = source.read(timeout_s=WAIT_S)
    assert block.lost
    assert block.start_frame > 1024 + 0.5 * 48_000, "time has passed: frames count on"
    assert [state.kind for state in states] == ["lost", "back"]


def test_a_device_that_only_paused_is_not_opened_anew(opened, states):
    backend = FakeBackend()
    source = opened(backend)
    read_until(source, lambda: source.is_lost)
    backend.streams[0].deliver(np.zeros(1024))
    assert source.read().lost
    assert len(backend.streams) == 1
    assert [state.kind for state in states] == ["lost", "back"]


def test_an_ended_stream_is_noticed_at_once_and_retried_until_it_opens(opened, states):
    gone = PortAudioError("gone", -9996)
    backend = FakeBackend()
    source = opened(backend)
    backend.refuse = [gone, gone]
    backend.streams[0].finish()
    assert source.read(timeout_s=0.05) is None
    assert [state.kind for state in states] == ["lost"]
    read_until(source, lambda: len(backend.streams) == 2 and not isinstance(source._state, Reopening))
    assert backend.restarts == 3
    backend.streams[1].deliver(np.zeros(64))
    assert source.read(timeout_s=WAIT_S).lost


def test_an_error_in_the_callback_is_handed_over(opened, states):
    backend = FakeBackend()
    source = opened(backend)
    backend.streams[0].deliver_nonsense()
    assert source.read(timeout_s=0.05) is None
    assert "TypeError" in states[0].sentence


def test_a_moved_stream_is_noticed_and_the_right_device_opened(opened, states):
    backend = FakeBackend()
    backend.route_name = "bench.monitor"
    source = opened(backend)
    keep_alive(source, backend, lambda: source.route == "bench.monitor")
    backend.refuse = [PortAudioError("gone", -9996)] * 1000  # nothing is opened anew before the test has looked
    backend.route_name = "spare.monitor"
    keep_alive(source, backend, lambda: source.is_lost)
    assert "'spare.monitor' instead of 'bench.monitor'" in states[0].sentence
    backend.streams[0].deliver(np.zeros(64))
    assert source.read(timeout_s=0.01) is None, "the other source's sound is not let through"
    backend.route_name = "bench.monitor"
    backend.refuse = []
    keep_alive(source, backend, lambda: len(backend.streams) == 2 and not source.is_lost)
    assert [state.kind for state in states] == ["lost", "back"]


def test_a_stream_moved_for_good_is_named(opened, states):
    backend = FakeBackend()
    backend.route_name = "bench.monitor"
    source = opened(backend)
    keep_alive(source, backend, lambda: source.route == "bench.monitor")
    backend.route_name = "spare.monitor"
    keep_alive(source, backend, lambda: source.route == "spare.monitor")
    assert [state.kind for state in states] == ["lost", "back", "moved"]


def keep_alive(source, backend, condition):
    """Deliver at an easy pace, and read, until `condition` holds."""

    def tick():
        backend.streams[-1].deliver(np.zeros(4096))  # more than the time is worth, so that nothing counts as missing
        return condition()

    for _ in range(int(WAIT_S / 0.02)):
        source.read(timeout_s=0.0)
        assert source.read(timeout_s=0.02) is None
        if tick():
            return
    raise AssertionError("waited in vain")


def test_closing_from_another_thread_ends_the_blocks(opened):
    backend = FakeBackend()
    source = opened(backend)
    backend.streams[0].deliver(np.zeros(64))
    closing = threading.Timer(0.2, source.close)
    closing.start()
    with source:
        assert len(list(source.blocks())) == 1
    closing.join()  # the blocks end when it begins to close, not when it has
    assert backend.streams[0].closed


def test_a_close_that_hangs_holds_nobody_up(opened):
    backend = FakeBackend()
    source = opened(backend)
    never = threading.Event()
    backend.streams[0].abort = lambda: never.wait(WAIT_S)
    source.close()
    assert not backend.streams[0].closed
    never.set()
