"""How much sharper does a note read that was plucked harder? A note from the onset on against the same, fallen by 3 or 6 dB.

Run as ``python -m tests.benchmarks.harder_plucks`` (Debian: freepats, fluid-soundfont-gm; half a minute).

A string that has fallen by 6 dB swings as one plucked half as wide, so its reading is what the softer pluck would have read. What
opens plucked harder than the stopped notes add to every deviation of their neck is the mean over the strings of an instrument.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from fretcheck.pitch import reader
from tests.real.plucks import RealPluck, real_plucks

FRAME_S, SHORTEST_S, FEWEST = 0.05, 0.5, 5
"""Level is taken in frames; what is left of a note must last; instruments of fewer notes are not told by themselves."""


def sharper(pluck: RealPluck, fallen_db: float) -> float | None:
    """Cents by which the whole note reads above its own rest; None where either cannot be read."""
    frame = round(FRAME_S * pluck.sample_rate)
    frames = pluck.sound[: len(pluck.sound) // frame * frame].reshape(-1, frame)
    level = 20.0 * np.log10(np.std(frames, axis=1) + 1e-12)
    top = int(np.argmax(level))
    later = np.flatnonzero(level[top:] < level[top] - fallen_db)
    if not len(later) or len(rest := pluck.sound[(top + int(later[0])) * frame :]) < SHORTEST_S * pluck.sample_rate:
        return None
    whole, soft = (reader.read_pluck(sound, pluck.sample_rate) for sound in (pluck.sound, rest))
    if not (whole.usable and soft.usable and whole.f1_hz and soft.f1_hz):
        return None
    return float(1200.0 * np.log2(whole.f1_hz / soft.f1_hz))


def main() -> None:
    """Measure and print."""
    for fallen_db in (3.0, 6.0):
        found = defaultdict(list)
        for pluck in real_plucks():
            if pluck.judged and not pluck.distorted and (cents := sharper(pluck, fallen_db)) is not None:
                found[pluck.instrument].append(cents)
        cents = np.concatenate(list(found.values()))
        means = [np.mean(one) for one in found.values() if len(one) >= FEWEST]
        print(
            f"{fallen_db:.0f} dB: {len(cents)} notes, median {np.median(cents):+.2f}, mean {np.mean(cents):+.2f}, 5 to 95 % "
            f"{np.quantile(cents, 0.05):+.2f} to {np.quantile(cents, 0.95):+.2f}; means of {len(means)} instruments "
            f"{np.mean(means):+.2f} ± {np.std(means, ddof=1):.2f}, {min(means):+.2f} to {max(means):+.2f}"
        )


if __name__ == "__main__":
    main()
