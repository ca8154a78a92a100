"""A source in one tidy form: fields in a fixed order, bars in columns, each sign the shortest way.

In: a compilation. Out: the tidy text, or why there is none. Nothing that is heard changes, and no comment is lost: both are looked at each time.
Nothing is written here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from lickwright.compiler import Compilation, compile_text
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Comment, Field, Item, Tuplet, Worded
from lickwright.settings.fields import FIELD_ORDER
from lickwright.timeline.equality import is_same_timeline

_MARK = b"\xef\xbb\xbf"  # U+FEFF in UTF-8


class TidyResult(NamedTuple):
    """A source and its tidy text."""

    before: Compilation
    text: str  # the source's own where there is no other
    refused: str = ""  # why the text stays as it is: a mistake of ours

    @property
    def changed(self) -> bool:
        """Whether the tidy text is another than the source's."""
        return self.text != self.before.source.text


def tidy(before: Compilation) -> TidyResult:
    """Return the tidy text of a source. One with errors stays as it is, and so does one that would not be the same afterwards."""
    source = before.source
    if not before.ok:
        return TidyResult(before, source.text)
    text = tidy_text(source)
    if text == source.text:
        return TidyResult(before, text)
    why = _difference(before, compile_text(text, source.name, before.project))
    return TidyResult(before, source.text if why else text, why)


def tidy_text(source: Source) -> str:
    """Return the tidy text of a source without mistakes of notation. Raises `ValueError` for one with something unreadable in it."""
    book, _ = parse_source(source)
    return canonical_text(book, source.text, FIELD_ORDER)


def tidy_bytes(data: bytes, text: str) -> bytes:
    """Return a tidy text as the bytes of the file that had `data`: its line ends and byte-order mark stay."""
    if b"\r\n" in data:
        text = text.replace("\n", "\r\n")
    return (_MARK if data.startswith(_MARK) else b"") + text.encode("utf-8")


# --- what must stay the same -----------------------------------------------------------------------------------------


def _difference(before: Compilation, after: Compilation) -> str:
    """Return what the tidy text changes that it must not; "" where it is all as it was."""
    if not after.ok or len(before.licks) != len(after.licks):
        return "it would have an error"
    for one, other in zip(before.licks, after.licks, strict=True):
        if one.timeline is None or other.timeline is None or not is_same_timeline(one.timeline, other.timeline):
            return f'"{one.title}" would not be the same'
    if list(_comments(parse_source(before.source)[0])) != list(_comments(parse_source(after.source)[0])):
        return "a comment would be lost"
    if tidy_text(after.source) != after.source.text:
        return "its tidy form would change again"
    return ""


def _comments(book: Book) -> Iterator[str]:
    """Yield the comments of a file, in order."""
    yield from _field_comments(book.head)
    for lick in book.licks:
        yield from _field_comments(lick.fields)
        yield from _music_comments(lick.music)


def _field_comments(entries: Iterable[Field | Comment]) -> Iterator[str]:
    for entry in entries:
        if isinstance(entry, Comment):
            yield entry.text
        elif entry.comment is not None:
            yield entry.comment


def _music_comments(items: Iterable[Item]) -> Iterator[str]:
    for item in items:
        if isinstance(item, Comment):
            yield item.text
        elif isinstance(item, Tuplet | Worded):
            yield from _music_comments(item.items)
