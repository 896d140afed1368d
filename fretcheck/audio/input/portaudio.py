"""The one door to PortAudio: import, restart, devices, and its errors in plain words.

`sounddevice` is imported only in this room and only inside functions: where PortAudio is missing, everything that needs no
microphone still works.

Conventions: PortAudio freezes its list of devices when it starts and may be restarted only while nothing uses it: whoever opens
or uses a stream outside the microphone holds `PORTAUDIO_IN_USE`.
"""

import threading
from dataclasses import dataclass
from types import ModuleType

from fretcheck.errors import DeviceError

PORTAUDIO_IN_USE = threading.RLock()

COMMON_RATES_HZ = (8_000, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000)

MISSING = (
    "PortAudio, the library for sound input, is missing. Install it: Linux 'sudo apt install libportaudio2' "
    "(Fedora 'sudo dnf install portaudio'), macOS 'brew install portaudio', "
    "Windows 'pip install --force-reinstall sounddevice' (it comes with it)"
)


@dataclass(frozen=True)
class InputDevice:
    """A device that sound can be captured from."""

    number: int
    name: str
    channels: int
    default_rate_hz: float
    system: str  # The host interface it is reached by, such as ALSA
    is_default: bool


def load_sounddevice() -> ModuleType:
    """The sounddevice module. Raises DeviceError when PortAudio or the module is missing, with the command that installs it."""
    try:
        import sounddevice
    except (OSError, ImportError) as error:
        raise DeviceError(MISSING) from error
    module: ModuleType = sounddevice
    return module


def restart() -> None:
    """Start PortAudio anew: only then it sees which devices there are now."""
    sounddevice = load_sounddevice()
    with PORTAUDIO_IN_USE:
        sounddevice._terminate()
        sounddevice._initialize()


def leave_at_exit() -> None:
    """Do not end PortAudio at exit: with a stream that hangs, that would hang the program."""
    import atexit

    atexit.unregister(load_sounddevice()._exit_handler)


def list_inputs() -> list[InputDevice]:
    """All input devices, in PortAudio's order."""
    sounddevice = load_sounddevice()
    with PORTAUDIO_IN_USE:
        devices, systems = sounddevice.query_devices(), sounddevice.query_hostapis()
        default = sounddevice.default.device[0]
        if default < 0 and systems:
            default = systems[0]["default_input_device"]
    return [
        InputDevice(
            number=number,
            name=str(device["name"]),
            channels=int(device["max_input_channels"]),
            default_rate_hz=float(device["default_samplerate"]),
            system=str(systems[device["hostapi"]]["name"]),
            is_default=number == default,
        )
        for number, device in enumerate(devices)
        if device["max_input_channels"] > 0
    ]


def find_input(inputs: list[InputDevice], wanted: int | str | None) -> InputDevice:
    """The device with a number, or with a name of which `wanted` is a part; None for the default.

    A name in full wins over those that only contain it.
    Raises DeviceError when there is none, or more than one; the candidates are listed.
    """
    if not inputs:
        raise DeviceError("no sound input was found; connect a microphone or an interface, then try again")
    listed = "; ".join(f"{device.number} {device.name}" for device in inputs)
    if wanted is None:
        return next((device for device in inputs if device.is_default), inputs[0])
    if isinstance(wanted, str) and wanted.strip().isdigit():
        wanted = int(wanted)
    if isinstance(wanted, int):
        for device in inputs:
            if device.number == wanted:
                return device
        raise DeviceError(f"there is no sound input number {wanted}; there are: {listed}")
    text = wanted.strip().casefold()
    whole = [device for device in inputs if device.name.casefold() == text]
    found = whole or [device for device in inputs if text in device.name.casefold()]
    if not found:
        raise DeviceError(f"no sound input's name contains '{wanted}'; there are: {listed}")
    if len(found) > 1:
        candidates = "; ".join(f"{device.number} {device.name} ({device.system})" for device in found)
        raise DeviceError(f"'{wanted}' fits more than one sound input: {candidates}; give more of the name, or the number")
    return found[0]


def supported_rates(device: InputDevice) -> list[int]:
    """Those of the common sample rates that `device` accepts, Hz."""
    sounddevice = load_sounddevice()
    rates = []
    for rate in COMMON_RATES_HZ:
        try:
            with PORTAUDIO_IN_USE:
                sounddevice.check_input_settings(device=device.number, channels=1, samplerate=rate, dtype="float32")
        except (sounddevice.PortAudioError, ValueError):
            continue
        rates.append(rate)
    return rates


_PLAIN = {
    -9997: "the device does not offer this sample rate; leave the rate to the device or choose another",
    -9998: "the device does not have that many channels; choose channel 1",
    -9996: "the device is gone or another program holds it",
    -9985: "another program holds the device; close it there",
    -9993: "the device is gone, or the sound server was restarted; reconnect it",
    -9999: "the sound system gave an error of its own; is the sound server running?",
    -9986: "the sound system failed; is the sound server running?",
}


def translated(error: BaseException, *, doing: str) -> str:
    """One line for a person, from whatever PortAudio raised."""
    if isinstance(error, DeviceError):
        return str(error)
    numbers = [argument for argument in error.args if isinstance(argument, int)]
    words = next((_PLAIN[number] for number in numbers if number in _PLAIN), None)
    raw = " ".join(str(error.args[0] if error.args else error).split())
    return f"{doing} failed: {words} ({raw})" if words else f"{doing} failed: {raw}"
