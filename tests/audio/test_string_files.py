"""Which file belongs to which string."""

from __future__ import annotations

import pytest

from fretcheck.audio.input.string_files import find_string_files
from fretcheck.errors import RecordingError


@pytest.fixture
def folder(tmp_path):
    for name in ("string-1.flac", "String-2.WAV", "string-10.ogg", "string-3.txt", "notes.wav", "string-4b.wav"):
        (tmp_path / name).touch()
    return tmp_path


def test_finds_by_number_whatever_the_case_and_format(folder):
    assert find_string_files(folder, [10, 1, 2]) == {
        1: folder / "string-1.flac",
        2: folder / "String-2.WAV",
        10: folder / "string-10.ogg",
    }
    assert list(find_string_files(folder, [10, 1, 2])) == [1, 2, 10]


@pytest.mark.parametrize("string", [3, 4, 7])
def test_names_the_missing_file_and_what_is_there(folder, string):
    with pytest.raises(
        RecordingError, match=f"no recording of string {string}: expected .*string-{string}.flac.* 1, 2, 10"
    ) as caught:
        find_string_files(folder, [1, string])
    assert caught.value.file == folder / f"string-{string}.flac"


def test_names_both_of_two(folder):
    (folder / "string-01.aiff").touch()
    with pytest.raises(RecordingError, match=r"string 1 has 2 recordings in .*: string-01.aiff and string-1.flac; keep one"):
        find_string_files(folder, [1])


def test_missing_folder_or_a_file_in_its_place(tmp_path):
    with pytest.raises(RecordingError, match=r"there is no folder .*nowhere"):
        find_string_files(tmp_path / "nowhere", [1])
    (tmp_path / "file").touch()
    with pytest.raises(RecordingError, match="is a file; name the folder"):
        find_string_files(tmp_path / "file", [1])


def test_one_string_alone(tmp_path):
    file = tmp_path / "string-2.wav"
    file.touch()
    assert find_string_files(file, [1, 2, 3]) == {2: file}
    with pytest.raises(RecordingError, match=r"string-2.wav: the neck has 1 string"):
        find_string_files(file, [1])
