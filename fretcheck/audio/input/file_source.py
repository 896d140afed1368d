"""A recording as an `AudioSource`.

WAV, FLAC, AIFF and OGG through libsndfile. A first pass over the file finds what would make it useless (cut short,
silent, clipped throughout) and which channel carries the string; the second streams it by block, at its own rate.

Conventions: levels are RMS about the mean, full scale 1. `channel` counts from 1, as a person does.
"""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from fretcheck.arrays import Reals
from fretcheck.audio.input.announced_size import announced_bytes
from fretcheck.audio.input.quiet_stderr import quiet_stderr
from fretcheck.audio.input.source import AudioSource, Block
from fretcheck.clipping import NEAR_FULL_SCALE
from fretcheck.errors import RecordingError, UsageError

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000
SILENT_RMS = 10 ** (-90 / 20)  # Below this there is nothing but the last bit of a 16-bit file
DEAD_CHANNEL = 10 ** (-30 / 20)  # A channel this much weaker than the other carries cross-talk, not the string
MIXABLE_CORRELATION = 0.7  # Two channels this alike carry the same string in phase: their mean has less noise than either
CLIPPED_THROUGHOUT = 0.05
SCAN_FRAMES = 1 << 16
READABLE = "WAV, FLAC, AIFF or OGG"


class FileSource(AudioSource):
    """Streams one recording.

    `path`: the recording, mono or stereo, 8 to 192 kHz. `channel`: 1 or 2 to insist on a channel of a stereo file; None chooses
    the live one. `block_frames`: frames a block; the last block may be shorter.
    Raises RecordingError when the file cannot be opened, is cut short, empty, silent, or clipped throughout; UsageError when
    `channel` is none of the file's.
    """

    def __init__(self, path: Path | str, *, channel: int | None = None, block_frames: int = 1024) -> None:
        self.path = Path(path)
        self.name = self.path.name
        self._block_frames = block_frames
        self._file = _open(self.path)
        self.sample_rate = float(self._file.samplerate)
        try:
            self._weights = self._prepare(channel)
        except BaseException:
            self._file.close()
            raise

    def _prepare(self, channel: int | None) -> Reals:
        rate, channels = self._file.samplerate, self._file.channels
        if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
            raise RecordingError(
                f"{self.path}: a sample rate of {rate} Hz is outside {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz; "
                "record at 44100 or 48000 Hz",
                file=self.path,
            )
        if channels > 2:
            raise RecordingError(f"{self.path}: {channels} channels; export the string as mono or stereo", file=self.path)
        if channel is not None and not 1 <= channel <= channels:
            raise UsageError(f"channel {channel} of {self.path}: the recording has {channels}")
        scan = _scan(self._file, self.path)
        weights = _choose(scan, channel)
        _refuse_useless(scan, weights, self.path)
        return weights

    def blocks(self) -> Iterator[Block]:
        """Yield the recording from its start."""
        self._file.seek(0)
        start, chosen = 0, np.flatnonzero(self._weights)
        while len(data := self._file.read(self._block_frames, dtype="float64", always_2d=True)):
            mono = np.ascontiguousarray(data[:, chosen[0]]) if len(chosen) == 1 else data @ self._weights
            yield Block(samples=mono, start_frame=start)
            start += len(data)

    def close(self) -> None:
        self._file.close()


@dataclass(frozen=True)
class _Scan:
    """What the first pass found, per channel."""

    rms: Reals
    mean: Reals
    peak: Reals
    at_rail: Reals  # Share of the samples that lie at the channel's peak
    correlation: float  # Between the two channels of a stereo file, else 1


def _open(path: Path) -> soundfile.SoundFile:
    if not path.parent.is_dir():
        raise RecordingError(f"{path}: there is no folder {path.parent}; check the path", file=path)
    if path.is_dir():
        raise RecordingError(f"{path} is a folder, not a recording; name a file in it", file=path)
    if not path.is_file():
        what = "is a pipe or a device; name a file" if path.exists() else "there is no such file; check the name and its ending"
        raise RecordingError(f"{path}: {what}", file=path)
    if path.stat().st_size == 0:
        raise RecordingError(f"{path} is empty (0 bytes); record or export it again", file=path)
    announced, there = announced_bytes(path)
    if announced > there:
        raise RecordingError(
            f"{path} is damaged or cut short: {there:,} of the {announced:,} bytes it announces are there; "
            "copy or export it again",
            file=path,
        )
    try:
        with quiet_stderr():  # libraries below complain of junk on descriptor 2
            return soundfile.SoundFile(str(path))
    except (soundfile.LibsndfileError, TypeError) as error:
        looks = " (it looks like text)" if _is_text(path) else ""
        raise RecordingError(f"{path} is no recording that can be read{looks}; export it as {READABLE}", file=path) from error


def _is_text(path: Path) -> bool:
    with path.open("rb") as file, suppress(UnicodeDecodeError):
        return all(one.isprintable() or one.isspace() for one in file.read(512).decode("utf-8"))
    return False


def _scan(file: soundfile.SoundFile, path: Path) -> _Scan:
    """Read `file` once by block; rewinding is left to the caller."""
    channels, frames, seen = file.channels, file.frames, 0
    total, square, cross = np.zeros(channels), np.zeros(channels), 0.0
    peak, at_rail = np.zeros(channels), np.zeros(channels)
    try:
        while len(data := file.read(SCAN_FRAMES, dtype="float64", always_2d=True)):
            if not np.isfinite(data).all():
                raise RecordingError(f"{path} holds samples that are no numbers; export it again", file=path)
            seen += len(data)
            total += data.sum(axis=0)
            square += np.einsum("ij,ij->j", data, data)
            cross += float(data[:, 0] @ data[:, -1])
            block_peak = np.abs(data).max(axis=0)
            at_rail = np.where(block_peak > peak * (1.0 + 1e-6), 0.0, at_rail)
            peak = np.maximum(peak, block_peak)
            at_rail += (np.abs(data) >= peak * (1.0 - 1e-6)).sum(axis=0)
        broken: Exception | None = None
    except soundfile.LibsndfileError as error:
        broken = error
    if broken or seen < frames:
        there = f"{seen / file.samplerate:.1f} s of the {frames / file.samplerate:.1f} s it announces can be read"
        raise RecordingError(f"{path} is damaged or cut short: {there}; copy or export it again", file=path) from broken
    if seen == 0:
        raise RecordingError(f"{path} holds no sound at all (0 frames); record or export it again", file=path)
    mean = total / seen
    variance = np.maximum(square / seen - mean**2, 0.0)
    covariance = cross / seen - mean[0] * mean[-1]
    spread = float(np.sqrt(variance[0] * variance[-1]))
    return _Scan(
        rms=np.sqrt(variance),
        mean=mean,
        peak=peak,
        at_rail=at_rail / seen,
        correlation=covariance / spread if spread > 0.0 else 1.0,
    )


def _choose(scan: _Scan, channel: int | None) -> Reals:
    """Weights of the channels: of two, the one that carries a string, that is not clipped, their mean if alike, or the louder."""
    only: list[Reals] = list(np.eye(len(scan.rms)))
    if channel is not None or len(only) == 1:
        return only[(channel or 1) - 1]
    stronger = int(np.argmax(scan.rms))
    if scan.rms[1 - stronger] <= DEAD_CHANNEL * scan.rms[stronger]:
        return only[stronger]
    clipped = scan.at_rail > 1e-4
    if clipped.any() and not clipped.all():
        return only[int(np.argmin(scan.at_rail))]
    return np.array([0.5, 0.5]) if scan.correlation >= MIXABLE_CORRELATION else only[stronger]


def _refuse_useless(scan: _Scan, weights: Reals, path: Path) -> None:
    used = np.flatnonzero(weights)
    rms, mean = float(scan.rms[used].max()), float(np.abs(scan.mean[used]).max())
    if rms < SILENT_RMS:
        if mean > SILENT_RMS:
            raise RecordingError(
                f"{path} holds nothing but a constant level of {mean:.3f} of full scale (DC); "
                "check the cable and the input, then record again",
                file=path,
            )
        raise RecordingError(f"{path} is silent; check the input and its level, then record again", file=path)
    railed, peak = float(scan.at_rail[used].min()), float(scan.peak[used].max())
    if railed > CLIPPED_THROUGHOUT and (peak >= NEAR_FULL_SCALE or railed > 2 * CLIPPED_THROUGHOUT):
        raise RecordingError(
            f"{path} is clipped throughout ({100 * railed:.0f} % of it at the limit); turn the input level down and record again",
            file=path,
        )
