"""What C code prints is kept away from a live screen, and only then."""

from __future__ import annotations

import os

from fretcheck.audio.input.quiet_stderr import quiet_stderr


def test_file_descriptor_2_is_silent_inside_and_back_afterwards(capfd):
    os.write(2, b"before\n")
    with quiet_stderr():
        os.write(2, b"torn screen\n")
        with quiet_stderr():
            os.write(2, b"torn screen\n")
        os.write(2, b"torn screen\n")
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "before\nafter\n"


def test_it_comes_back_after_an_error_and_leaks_no_descriptor(capfd):
    free = os.dup(0)
    os.close(free)
    try:
        with quiet_stderr():
            raise ValueError("inside")
    except ValueError:
        os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"
    again = os.dup(0)
    os.close(again)
    assert again == free
