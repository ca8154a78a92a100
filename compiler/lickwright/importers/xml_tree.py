"""XML that anybody may have made → a tree of plain elements, in bounded time and memory.

In: bytes. Out: `XmlElement`s with their lines. Entities are not declared, nothing outside of the bytes is looked at, and depth and size are limited while
reading. Knows no format.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from lickwright.core.unreadable import Unreadable

MAX_XML_BYTES = 32 << 20
_MAX_DEPTH = 64
_MAX_NODES = 1_000_000  # elements and attributes together
_MAX_TEXT = 1 << 20  # characters of one element
_ENDLESS = re.compile(rb"<[^<>]{65535}")  # a tag so long takes the parser seconds


class XmlElement:
    """One element: its name without a prefix, its attributes, its text, its children."""

    __slots__ = ("attributes", "children", "line", "tag", "text")

    def __init__(self, tag: str, attributes: dict[str, str], line: int) -> None:
        self.tag = tag
        self.attributes = attributes
        self.text = ""
        self.children: tuple[XmlElement, ...] | list[XmlElement] = ()
        self.line = line  # from 1

    def __iter__(self) -> Iterator[XmlElement]:
        return iter(self.children)

    def get(self, name: str, default: str = "") -> str:
        """Return an attribute; `default` where it is not written."""
        return self.attributes.get(name, default)

    def all(self, path: str) -> Iterator[XmlElement]:
        """Yield the elements at a path of names below this one: `notations/technical`."""
        tag, _, rest = path.partition("/")
        for child in self.children:
            if child.tag == tag:
                if rest:
                    yield from child.all(rest)
                else:
                    yield child

    def first(self, path: str) -> XmlElement | None:
        """Return the first element at a path of names, None where there is none."""
        return next(self.all(path), None)

    def words(self, path: str = "") -> str:
        """Return the text of the first element at a path, or of this one, without white space around it; "" where there is none."""
        found = self.first(path) if path else self
        return "" if found is None else found.text.strip()


def parse_xml(data: bytes) -> XmlElement:
    """Return the root of a document. Raises `Unreadable` for what is not well-formed, and past the limits of this module."""
    from xml.parsers import expat

    if len(data) > MAX_XML_BYTES:
        raise Unreadable(f"the score is larger than {MAX_XML_BYTES >> 20} MiB", "export a part of it")
    endless = _ENDLESS.search(data)
    if endless is not None:
        line = data.count(b"\n", 0, endless.start()) + 1
        raise Unreadable(f"the score cannot be read: line {line}: a tag that does not end", "export it again")
    builder = _TreeBuilder()
    parser = expat.ParserCreate()
    parser.buffer_text = True
    builder.parser = parser
    parser.StartElementHandler = builder.start
    parser.EndElementHandler = builder.end
    parser.CharacterDataHandler = builder.characters
    parser.EntityDeclHandler = builder.entity
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, ValueError, LookupError) as e:
        line = getattr(e, "lineno", None) or parser.CurrentLineNumber
        what = expat.errors.messages.get(getattr(e, "code", 0), "it cannot be decoded")
        raise Unreadable(f"the file is not XML that can be read: line {line}: {what}", "export it again") from None
    if builder.root is None:
        raise Unreadable("the file holds no XML", "export it again")
    return builder.root


class _TreeBuilder:
    """Collects the elements of one document."""

    def __init__(self) -> None:
        self.parser: Any = None
        self.root: XmlElement | None = None
        self._open: list[XmlElement] = []
        self._nodes = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Begin an element. Raises `Unreadable` past a limit."""
        element = XmlElement(name.rpartition(":")[2], attributes, self.parser.CurrentLineNumber)
        self._nodes += 1 + len(attributes)
        if len(self._open) >= _MAX_DEPTH:
            raise self._too_much(f"more than {_MAX_DEPTH} elements stand inside one another")
        if self._nodes > _MAX_NODES:
            raise self._too_much(f"there are more than {_MAX_NODES:,} elements and attributes")
        if self._open:
            parent = self._open[-1]
            if isinstance(parent.children, list):
                parent.children.append(element)
            else:
                parent.children = [element]
        else:
            self.root = element
        self._open.append(element)

    def end(self, _: str) -> None:
        """End the element that was begun last."""
        self._open.pop()

    def characters(self, text: str) -> None:
        """Add text to the element that was begun last. Raises `Unreadable` past a limit."""
        if text.isspace():
            return
        element = self._open[-1]
        if len(element.text) + len(text) > _MAX_TEXT:
            raise self._too_much("the text of an element is endless")
        element.text += text

    def entity(self, name: str, *_: object) -> None:
        """Refuse a declaration of an entity. Raises `Unreadable`."""
        raise self._too_much(f"it declares an entity, `{name[:40]}`, which no score needs")

    def _too_much(self, what: str) -> Unreadable:
        return Unreadable(f"the score cannot be read: line {self.parser.CurrentLineNumber}: {what}", "export it again")
