"""Fixtures of the tests that run the real program."""

from __future__ import annotations

import pytest

from fretcheck.session.journal.sounds import flac_bytes, on_grid
from fretcheck.session.plan import make_plan
from tests.live.strings import played_plan, three_string_neck
from tests.live.terminal import terminals  # noqa: F401  (a fixture)
from tests.neck_files import write_neck
from tests.sound_server import sound_server  # noqa: F401  (a fixture)


@pytest.fixture(scope="session")
def bench_folder(tmp_path_factory):
    """A neck and a recording of it played through a spot plan."""
    folder = tmp_path_factory.mktemp("bench")
    neck = three_string_neck()
    write_neck(neck, folder / "neck.toml")
    recording = played_plan(neck, make_plan(neck, name="spot"), sample_rate=24000.0)
    (folder / "spot.flac").write_bytes(flac_bytes(on_grid(recording.samples), recording.sample_rate))
    return folder
