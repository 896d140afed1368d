"""The sound of accepted plucks, on disk as FLAC, so that any later estimator can read them again.

Conventions: samples are float64, full scale ±1, on the grid of 24-bit integers (steps of 2^−23, 144 dB down), so that what is
stored is exactly what was measured. One channel, at the source's own rate.
"""

import io
from pathlib import Path

import numpy as np
import soundfile

from fretcheck.arrays import Reals
from fretcheck.errors import StorageError

STEPS = 2**23
_SPARE_BITS = 8  # soundfile takes the upper 24 bits of a 32-bit integer


def on_grid(samples: Reals) -> Reals:
    """Samples rounded to the 24-bit grid, limited to full scale."""
    return np.clip(np.round(samples * STEPS), -STEPS, STEPS - 1) / STEPS


def flac_bytes(samples: Reals, sample_rate: float) -> bytes:
    """A FLAC file of samples that lie on the grid."""
    whole = np.round(samples * STEPS).astype(np.int32) << _SPARE_BITS
    buffer = io.BytesIO()
    soundfile.write(buffer, whole, round(sample_rate), format="FLAC", subtype="PCM_24")
    return buffer.getvalue()


def read_flac(path: Path) -> tuple[Reals, float]:
    """Samples and sample rate of a stored pluck. Raises StorageError when the file is missing or no sound."""
    try:
        samples, rate = soundfile.read(path, dtype="float64")
    except (OSError, RuntimeError) as error:
        raise StorageError(f"{path}: the sound of this pluck can't be read ({error})", path=path) from error
    return samples, float(rate)
