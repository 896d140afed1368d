"""How long a recording says it is, read from its own header, for the formats whose readers hush up what is missing.

A decoder plays what is there of a WAV, AIFF or OGG that was cut short in copying, and says nothing; frets would go unheard.
Layouts: RIFF/WAVE (Microsoft & IBM 1991; RF64: EBU Tech 3306), AIFF (EA IFF 85), Ogg (RFC 3533); from memory.
"""

import os
import struct
from pathlib import Path
from typing import IO

# Sizes written by programs that stream and never came back to fill them in; nothing can be told from these
_UNKNOWN = (0, 0xFFFFFFFF)
_OGG_TAIL = 1 << 16
_OGG_LAST_PAGE = 0x04


def announced_bytes(path: Path) -> tuple[int, int]:
    """Bytes that the file should hold at least by its own account, and bytes that it holds.

    An Ogg stream has no length up front, but its last page is marked as such: without that, one more byte than there is counts
    as announced. Files of other formats announce nothing.
    """
    there = path.stat().st_size
    try:
        with path.open("rb") as stream:
            head = stream.read(12)
            if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
                return _end_of_chunk(stream, there, order="<", wanted=b"data"), there
            if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
                return _end_of_chunk(stream, there, order=">", wanted=b"SSND"), there
            if head[:4] == b"OggS":
                return there + (not _ends_with_last_page(stream, there)), there
    except OSError:
        pass  # whoever opens it next says why
    return 0, there


def _end_of_chunk(stream: IO[bytes], there: int, *, order: str, wanted: bytes) -> int:
    """Where the chunk of samples ends; what ends beyond the file is cut short. A chunk that never comes is beyond it, too."""
    long_size: int | None = None
    place = 12
    while place + 8 <= there:
        stream.seek(place)
        name, size = struct.unpack(f"{order}4sI", stream.read(8))
        if name == b"ds64":
            long_size = struct.unpack("<QQ", stream.read(16))[1]
        if name == wanted:
            if size == 0xFFFFFFFF and long_size is not None:
                size = long_size
            return place if size in _UNKNOWN else place + 8 + size
        place += 8 + size + size % 2
    return place + 8


def _ends_with_last_page(stream: IO[bytes], there: int) -> bool:
    stream.seek(-min(_OGG_TAIL, there), os.SEEK_END)
    tail = stream.read()
    page = tail.rfind(b"OggS")
    if page < 0 or page + 27 > len(tail) or not tail[page + 5] & _OGG_LAST_PAGE:
        return False
    lacing = tail[page + 27 : page + 27 + tail[page + 26]]
    return len(lacing) == tail[page + 26] and page + 27 + len(lacing) + sum(lacing) <= len(tail)
