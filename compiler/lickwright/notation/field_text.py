"""The lines of a file's head or of a lick's own fields.

In: fields and comments, and what is known of how they were laid out. Out: lines, the values and the remarks in columns. A value keeps the lines
that its writer gave it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.music.chord import chart_signs
from lickwright.notation.field_order import ordered_fields
from lickwright.notation.source_layout import SourceLayout
from lickwright.notation.text_columns import aligned_rows, with_remarks
from lickwright.notation.tree import Comment, Field

_LONGEST_NAME = 6  # letters: a longer name does not move the values of the others


class _Line(NamedTuple):
    """One line of a header."""

    text: str
    remark: str = ""


class _Value(NamedTuple):
    """One line of a field's value."""

    text: str
    remark: str


def header_lines(
    entries: Sequence[Field | Comment], layout: SourceLayout, field_order: Sequence[str] = ()
) -> list[str]:
    """Return the lines of fields and comments that stand on lines of their own; each paragraph in `field_order`, where there is one."""
    names = [len(entry.name) for entry in entries if isinstance(entry, Field)]
    width = max((length for length in names if length <= _LONGEST_NAME), default=0)
    lines: list[_Line] = []
    for paragraph in _paragraphs(entries, layout):
        if lines:
            lines.append(_Line(""))
        for entry in ordered_fields(paragraph, field_order):
            if isinstance(entry, Comment):
                lines.append(_Line(layout.comment(entry)))
            else:
                lines += _field_lines(entry, width, layout)
    return with_remarks(lines)


def _paragraphs(entries: Sequence[Field | Comment], layout: SourceLayout) -> list[list[Field | Comment]]:
    """Return what stands between blank lines."""
    paragraphs: list[list[Field | Comment]] = []
    for entry in entries:
        if not paragraphs or layout.is_after_blank_line(entry.span.start):
            paragraphs.append([])
        paragraphs[-1].append(entry)
    return paragraphs


def _field_lines(entry: Field, width: int, layout: SourceLayout) -> Iterator[_Line]:
    values = _values(entry, layout)
    if entry.name == "chords":
        values = _chord_columns(values)
    for n, value in enumerate(values):
        lead = f"{entry.name:<{width}} " if n == 0 else " " * (width + 1)
        if n and value.text.startswith("|"):
            lead = lead[:-2]  # the bar line hangs, the chord stands under those above
        yield _Line((lead + value.text).rstrip(), value.remark)


def _values(entry: Field, layout: SourceLayout) -> list[_Value]:
    """Return the lines of a value, as written where that is known, else as one."""
    written = layout.lines(entry.raw_at, len(entry.raw)) if entry.raw else []
    if not written:
        return [_Value(entry.text, "" if entry.comment is None else f"# {entry.comment}")]
    fold = chart_signs if entry.name == "chords" else _folded
    values = [
        _Value(fold(line), source[len(line.rstrip()) :].strip())
        for line, source in zip(entry.raw.split("\n"), written, strict=True)
    ]
    return [value for value in values if value.text or value.remark] or [_Value("", "")]


def _folded(text: str) -> str:
    return " ".join(text.split())


def _chord_columns(values: Sequence[_Value]) -> list[_Value]:
    """Return lines of chords whose bars stand under one another."""
    texts = [value.text for value in values]
    bare = [text.removeprefix("|").removesuffix("|") if text != "|" else "" for text in texts]
    aligned = aligned_rows([[cell.strip() for cell in text.split("|")] for text in bare])
    done = []
    for text, chords in zip(texts, aligned, strict=True):
        lead, end = "| " * text.startswith("|"), " |" * (text.endswith("|") and text != "|")
        done.append((lead + chords + end).rstrip())
    return [_Value(text, value.remark) for text, value in zip(done, values, strict=True)]
