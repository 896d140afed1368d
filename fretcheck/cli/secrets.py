"""Passwords never reach a message, whichever way the URL they stand in was written or mistyped."""

import re

# user:password@host behind any slash: also where the scheme is wrong, a slash is missing, or the password holds an @
_IN_URL = re.compile(r"(/[^\s/:@]*:)(?!/)[^\n]*@")
_AS_OPTION = re.compile(r"((?:password|passwd|pwd|sslpassword)\s*=\s*)('[^']*'|\"[^\"]*\"|[^\s&;]+)", re.IGNORECASE)


def without_secrets(text: str) -> str:
    """`text` with every password in it replaced.

    >>> without_secrets("the register postgres:/ada:s3@cret@bench/necks cannot be opened")
    'the register postgres:/ada:***@bench/necks cannot be opened'
    """
    return _AS_OPTION.sub(r"\1***", _IN_URL.sub(r"\1***@", text))
