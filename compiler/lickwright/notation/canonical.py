"""Tree → text: a book written out in one tidy way.

In: a `Book` without mistakes, and the text that it was read from, if any. Out: text that parses to the book in its normal form
(`normal_form.py`), with its comments and the writer's line breaks at bar lines. Blank lines and the lines of long fields are known only from
the text that was read. What was written so once stays as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TypeVar

from lickwright.music.rhythm import parse_value
from lickwright.notation.field_text import header_lines
from lickwright.notation.item_text import quoted
from lickwright.notation.music_text import music_lines
from lickwright.notation.normal_form import normal_items
from lickwright.notation.source_layout import SourceLayout
from lickwright.notation.tree import Book, Comment, Field, Lick

_T = TypeVar("_T")
_STEP = Fraction(1, 8)  # where no field says another: only how words are aligned depends on it


def canonical_text(book: Book, source_text: str = "", field_order: Sequence[str] = ()) -> str:
    """Return the text of a whole file. Raises `ValueError` for a book with something unreadable in it.

    `source_text` is what the book was read from. `field_order` has the names of fields in the order to write them, "x-" for own ones; without
    it they stay as they are.
    """
    layout = SourceLayout(source_text)
    head, comments = _split_tail(book.head)
    lines = header_lines(head, layout, field_order)
    step = _step_of(head)
    for lick in book.licks:
        lines += _before_lick(comments, lick, layout, not lines)
        own_step = _step_of(lick.fields) or step
        music, comments = _split_tail(normal_items(lick.music, own_step))
        lines += _lick_lines(lick, layout, field_order)
        lines += music_lines(music, own_step or _STEP, layout, lick.fields[-1] if lick.fields else None)
    lines += _at_end(comments, layout)
    return "".join(f"{line}\n" for line in lines)


def _split_tail(items: tuple[_T, ...]) -> tuple[tuple[_T, ...], list[Comment]]:
    """Return items, and the comments on lines of their own that come after all others."""
    tail: list[Comment] = []
    for item in reversed(items):
        if not (isinstance(item, Comment) and item.own_line):
            break
        tail.append(item)
    return items[: len(items) - len(tail)], tail[::-1]


def _before_lick(comments: Sequence[Comment], lick: Lick, layout: SourceLayout, first: bool) -> list[str]:
    """Return the comments between what stands above a lick and its own line, with a blank line at least somewhere."""
    places = [*(comment.span.start for comment in comments), lick.span.start]
    blank = [layout.is_after_blank_line(place) for place in places]
    if not any(blank):
        blank[0] = True
    if first:
        blank[0] = False
    lines: list[str] = []
    for comment, gap in zip(comments, blank, strict=False):
        lines += [""] * gap + [layout.comment(comment)]
    return lines + [""] * blank[-1]


def _at_end(comments: Sequence[Comment], layout: SourceLayout) -> list[str]:
    lines: list[str] = []
    for comment in comments:
        lines += [""] * layout.is_after_blank_line(comment.span.start) + [layout.comment(comment)]
    return lines


def _lick_lines(lick: Lick, layout: SourceLayout, field_order: Sequence[str]) -> list[str]:
    """Return the lick's own line, which a remark may end, and its fields."""
    entries = lick.fields
    first = entries[0] if entries else None
    remark = ""
    if isinstance(first, Comment) and not first.own_line:
        remark, entries = f"  {layout.comment(first)}", entries[1:]
    return [f"lick {quoted(lick.title)}{remark}", *header_lines(entries, layout, field_order)]


def _step_of(entries: tuple[Field | Comment, ...]) -> Fraction | None:
    """Return the step that a field among these says, of a whole note; None where none does."""
    for entry in entries:
        if isinstance(entry, Field) and entry.name == "step":
            try:
                return parse_value(entry.text)
            except ValueError:
                return None
    return None
