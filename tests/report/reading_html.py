"""A strict reading of a page: elements with their attributes, and all that is wrong with their nesting, ids and references."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "hr", "img", "input", "wbr", "base", "col", "area", "embed", "source", "track"}


@dataclass
class Element:
    """An element, its attributes, its own text, and the elements it stands in."""

    name: str
    attributes: dict[str, str]
    within: tuple[str, ...]
    text: str = ""


@dataclass
class Page(HTMLParser):
    """A page as read."""

    elements: list[Element] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._open: list[Element] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        if len(names) != len(set(names)):
            self.faults.append(f"<{tag}> has an attribute twice")
        element = Element(tag, {name: value or "" for name, value in attrs}, tuple(one.name for one in self._open))
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open[-1].name != tag:
            self.faults.append(f"</{tag}> closes {[one.name for one in self._open[-2:]]}")
            return
        closed = self._open.pop()
        if self._open:
            self._open[-1].text += closed.text

    def handle_data(self, data: str) -> None:
        if self._open:
            self._open[-1].text += data

    def all(self, name: str) -> list[Element]:
        """Every element of a name."""
        return [one for one in self.elements if one.name == name]


def read(html: str) -> Page:
    """Read a page; its `faults` hold what is wrong."""
    page = Page()
    page.feed(html)
    page.close()
    ids = Counter(one.attributes["id"] for one in page.elements if "id" in one.attributes)
    page.faults += [f"id {name!r} is used {count} times" for name, count in ids.items() if count > 1]
    for one in page.elements:
        for name in ("aria-labelledby", "aria-describedby", "headers"):
            page.faults += [
                f"{name} names no element: {word}" for word in one.attributes.get(name, "").split() if word not in ids
            ]
        href = one.attributes.get("href", "")
        if href.startswith("#") and href[1:] not in ids:
            page.faults.append(f"{href} leads nowhere")
    return page
