"""How much of a pluck is measured, the same whether it is still ringing or lies in a file.

Open and stopped notes must be read over the same stretch after the pluck, and a player must not wait longer than it takes. So
a pluck is read over its first second; where that leaves it in doubt, over a quarter second more, and so on up to a second and a
half or its end. The stretch depends on the pluck's own sound only: live and recorded readings of the same sound are identical.

Conventions: stretches are counted from the onset, in seconds.
"""

from dataclasses import replace

from fretcheck.audio.segment.pluck import Pluck
from fretcheck.clipping import clipped_fraction
from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.streaming import StreamingReader

FIRST_S = 1.0
STEP_S = 0.25
LAST_S = 1.5  # Longer stretches tell no more of a real string: what is left of its pitch's ambiguity is its glide's
SURE_CENTS = 0.5  # A standard uncertainty below this needs no longer stretch: a hand repeats to 0.5 to 1 cent

STRETCHES_S = tuple(FIRST_S + STEP_S * step for step in range(round((LAST_S - FIRST_S) / STEP_S) + 1))


def reader_for(pluck: Pluck) -> StreamingReader:
    """The reader of a pluck of which this is the beginning or the whole; its sound is still to be pushed in."""
    return StreamingReader(
        pluck.sample_rate,
        settled_limit_cents=SURE_CENTS,
        decides_at_s=STRETCHES_S,
        settled_from=pluck.settled_from,
        noise_rms=pluck.noise_rms,
    )


def first_part(pluck: Pluck, frames: int) -> Pluck:
    """The first `frames` of a pluck; all of it where it is shorter."""
    if len(pluck.samples) <= frames:
        return pluck
    samples = pluck.samples[:frames].copy()  # a view would hold the whole
    return replace(pluck, samples=samples, clipped_fraction=clipped_fraction(samples), end="end_of_stream")


def read_whole(pluck: Pluck) -> NoteReading:
    """The reading of a pluck over all of its sound."""
    return read_pluck(pluck.samples, pluck.sample_rate, settled_from=pluck.settled_from, noise_rms=pluck.noise_rms)


def read_take(pluck: Pluck) -> tuple[Pluck, NoteReading]:
    """The shortest stretch of a finished pluck that suffices, and its reading."""
    reader = reader_for(pluck)
    reader.push(pluck.samples, decisive_only=True)
    note = reader.finish()
    return first_part(pluck, reader.read_frames), note
