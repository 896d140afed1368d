"""Text that came from a user, made safe for one line of a terminal; and our own signs for consoles that lack them.

A name or serial may hold newlines, escape sequences, or characters that turn the writing direction; printed raw they would
move the cursor, colour the screen or forge a line. They are shown as visible escapes (``\\n``, ``\\x1b``, ``\\u202e``) instead.

Conventions: letters, signs, emoji and their joiners stay as they are. Markup of the terminal library is not touched here: hand
the result over as `rich.text.Text`, never as markup.
"""

import unicodedata
from datetime import datetime

_ESCAPED_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
_JOINERS = frozenset("\u200c\u200d")  # within words of some scripts, and within emoji
# How our own signs are written where a console has only ASCII; for `str.translate`
IN_ASCII = str.maketrans(
    {
        "±": "+/-", "−": "-", "–": "-", "…": "...", "→": "->", "×": "x", "≤": "<=", "≥": ">=", "°": " deg ", "\u00a0": " ",
        "▲": "^", "▼": "v", "·": ".", "µ": "u",
    }
)  # fmt: skip


def plain_line(text: str) -> str:
    """`text` as one line without control characters.

    >>> plain_line("neck\\x1b[31m 7")
    'neck\\\\x1b[31m 7'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


def decimal(value: float, digits: int = 2) -> str:
    """A number with a real minus, never a negative zero.

    >>> decimal(-0.114), decimal(-0.004), decimal(0.5, 3)
    ('−0.11', '0.00', '0.500')
    """
    return f"{round(value, digits) + 0.0:.{digits}f}".replace("-", "−")


def signed(value: float, digits: int = 1) -> str:
    """A number with its sign (a real minus), never a negative zero.

    >>> signed(-1.26), signed(0.04), signed(-0.04)
    ('−1.3', '0.0', '0.0')
    """
    rounded = round(value, digits)
    return f"{rounded:+.{digits}f}".replace("-", "−") if rounded else decimal(0.0, digits)


def spell_out(error: UnicodeError) -> tuple[str, int]:
    """Handler for `codecs.register_error`: what an encoding lacks in ASCII, or as a question mark; never a lost minus.

    >>> import codecs
    >>> codecs.register_error("in words", spell_out)
    >>> "−0.3 ± 0.1 ☃".encode("ascii", errors="in words")
    b'-0.3 +/- 0.1 ?'
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end].translate(IN_ASCII)
    return "".join(one if one.isascii() else "?" for one in lacking), error.end


def _shown(character: str) -> str:
    if unicodedata.category(character) in _ESCAPED_CATEGORIES and character not in _JOINERS:
        return character.encode("unicode_escape").decode("ascii")
    return character


def moment(taken_at: str | None) -> str:
    """A moment by the bench's own clock, for people."""
    if taken_at is None:
        return "not told"
    try:
        when = datetime.fromisoformat(taken_at)
    except ValueError:
        return plain_line(taken_at)
    return f"{when.day} {when:%B %Y, %H:%M}"
