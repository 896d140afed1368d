"""Pages: one self-contained HTML file each, made from a template and figures, for screen, phone and paper.

A page is a template in `templates/` that extends ``base.html``, and a module that gathers what the template shows and calls
`render`; ``README.md`` beside this file tells how to make one.

Conventions: every text that a template shows is escaped, its control characters made visible; only figures, made by this
package, pass as markup, and they take no text of a user's. A page has no script, asks for nothing outside itself, and its
content security policy forbids both. Colours come from the style sheet's variables, so that figures follow light, dark and
paper.
"""

from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from fretcheck.files import is_page, write_text
from fretcheck.plain_text import decimal, moment, plain_line, signed
from fretcheck.report.words.verdict_words import sureness


def render(template: str, *, running: str, **context: object) -> str:
    """The page that a template of this package makes of `context`.

    A name that the template asks for and `context` lacks is an error, never an empty place.
    `running`: what stands beside the page number at the foot of every printed sheet: which neck or lot, and when.
    """
    return _environment().get_template(template).render(context, running=running)


def write_page(html: str, path: Path, *, force: bool = False) -> Path:
    """Write a page whole or not at all, and return its path; only `force` replaces a file that is no page of fretcheck's.

    Raises UsageError, StorageError as `fretcheck.files.written_whole`.
    """
    write_text(path, html, is_ours=is_page, force=force)
    return path


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("fretcheck.report.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    environment.filters.update(line=plain_line, signed=signed, decimal=decimal, moment=moment, sure=sureness, css=in_css)
    return environment


def _shown(value: object) -> object:
    """Text as one line without control characters, whoever wrote it; figures and numbers as they are."""
    return plain_line(value) if type(value) is str else value


def in_css(text: str) -> str:
    """A text to stand between quotes in the style sheet: all but plain letters and digits as escapes.

    >>> in_css('a"}b')
    'a\\\\000022\\\\00007db'
    """
    return "".join(one if one.isascii() and one.isalnum() else f"\\{ord(one):06x}" for one in plain_line(text))
