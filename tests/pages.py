"""What tests of lesson pages share: licks of every kind, and a reader of HTML that knows nothing of how it was written."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from lickwright.compiler import compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.export import Options

LICK = """lick "Window seat"
by Orla Venn
rights free to copy
key A minor
box 1
tempo 96
tags evening, slow bend
note Let the bend sing.
| e8 e5 B8^10 -r p5 G7~-- |
| G5h7 B5 e5 B8^10 -r p5 G7~ ||
"""


def lick_of(text: str = LICK) -> CompiledLick:
    """Return the only lick of a text, which is without errors."""
    (lick,) = compile_text(text).licks
    assert lick.ok, [d.message for d in lick.diagnostics]
    return lick


def page_of(lick: CompiledLick, sound: bool = False) -> str:
    """Return the lesson page of a lick."""
    return lick.emit("page", Options(page_sound=sound)).data.decode("utf-8")


@dataclass
class Element:
    """An element of a page, with its text."""

    name: str
    attributes: dict[str, str | None]
    text: str = ""
    path: tuple[str, ...] = field(default=())


class Reader(HTMLParser):
    """Every element of a page in order, each with all the text inside it."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[Element] = []
        self._open: list[Element] = []
        self.feed(page)
        self.close()
        assert not self._open, [one.name for one in self._open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(dict(attrs)) == len(attrs), f"an attribute of {tag} stands twice"
        element = Element(tag, dict(attrs), path=tuple(one.name for one in self._open))
        self.elements.append(element)
        if tag not in ("meta", "input", "br", "hr", "link"):
            self._open.append(element)

    def handle_endtag(self, tag: str) -> None:
        assert self._open and self._open[-1].name == tag, (
            f"</{tag}> ends {self._open[-1].name if self._open else 'nothing'}"
        )
        self._open.pop()

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.text += data

    def all(self, name: str) -> list[Element]:
        """Return the elements of a name."""
        return [one for one in self.elements if one.name == name]

    def by_id(self, id: str) -> Element:
        """Return the one element with an id."""
        (found,) = (one for one in self.elements if one.attributes.get("id") == id)
        return found


def score_of(page: str) -> Any:
    """Return what the player of a page knows."""
    return json.loads(Reader(page).by_id("score").text)


def hosts_in(page: str) -> set[str]:
    """Return every host that a page names, the names of open standards aside."""
    return set(re.findall(r"(?:https?:)?//([a-z0-9.-]+\.[a-z]+)", page)) - {"www.w3.org"}
