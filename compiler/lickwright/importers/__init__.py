"""Other formats read into the notation: bytes → the text of licks, and what is doubtful about it.

In: the bytes of a file, and its name. Out: `Imported`. One row of `READERS` a format: which reader a file is for is decided by its
contents, then by its suffix; what is none of the others is text. A reader makes `LickDraft`s (`draft.py`), and `write_lick.py` writes them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule
from lickwright.core.file_bytes import Unopened
from lickwright.core.files import NOT_TEXT, UNREADABLE
from lickwright.core.source import Source, Span, Unreadable

if TYPE_CHECKING:
    from lickwright.importers.draft import Doubt, LickDraft
    from lickwright.importers.options import ReadOptions

__all__ = [
    "MOST_BYTES",
    "READERS",
    "Imported",
    "ReaderRow",
    "find_reader",
    "import_source",
    "is_importable",
    "unread_source",
]


_LICK = re.compile(rb'^[ \t]*(?:lick[ \t]+["\xe2]|notation 1\b)', re.MULTILINE)  # how a lick begins
_BEGINNING = 1 << 16  # bytes in which a lick is looked for
MOST_BYTES = 32 << 20  # of a file of any format; each reader has limits of its own


class ReaderRow(NamedTuple):
    """One format that can be read."""

    name: str  # as reports say it
    module: str  # has `read(data, name, options) -> (Source, list[LickDraft])`, which raises Unreadable
    suffixes: tuple[str, ...]
    starts: re.Pattern[bytes] | None  # how a file begins; None: like nothing else


READERS: tuple[ReaderRow, ...] = (
    ReaderRow("MIDI", "lickwright.importers.midi.entry", (".mid", ".midi"), re.compile(rb"MThd|RIFF....RMID", re.DOTALL)),
    ReaderRow(
        "MusicXML",
        "lickwright.importers.musicxml.entry",
        (".musicxml", ".mxl", ".xml"),
        re.compile(rb"PK\x03\x04|(?:\xef\xbb\xbf)?\s*<(?:\?xml|!DOCTYPE score|score-)|\xff\xfe<\0|\xfe\xff\0<"),
    ),
    ReaderRow("text tab", "lickwright.importers.text_tab.entry", (".txt", ".tab", ".text"), None),
)  # fmt: skip


class Imported(NamedTuple):
    """What became of a file of another format."""

    source: Source  # the text that the findings are about; empty for a format that is no text
    reader: str  # the format's name
    text: str  # of a `.lick` file; "" where nothing could be read
    licks: int
    notes: int
    unsure: int  # notes that a finding is about
    confidence: float  # from 0 to 1: how sure the rhythm is, on average over the bars
    findings: tuple[Diagnostic, ...]
    bars: tuple[tuple[Span, ...], ...] = ()  # by lick: where each written bar stands in the source

    @property
    def ok(self) -> bool:
        """True if there is something to write."""
        return bool(self.text)


def find_reader(data: bytes, name: str) -> ReaderRow:
    """Return the reader that a file is for: by its contents, else by its suffix, else that of text."""
    for row in READERS:
        if row.starts is not None and row.starts.match(data):
            return row
    suffix = _suffix(name)
    return next((row for row in READERS if suffix in row.suffixes), READERS[-1])


def is_importable(data: bytes, name: str) -> bool:
    """Return True for a file of another format: by its suffix, unless it holds a lick as text."""
    suffix = _suffix(name)
    return any(suffix in row.suffixes for row in READERS) and not _LICK.search(data[:_BEGINNING])


def _suffix(name: str) -> str:
    return name[name.rfind(".") :].lower() if "." in name else ""


def import_source(data: bytes, name: str, options: ReadOptions | None = None) -> Imported:
    """Return a file read into the notation. What cannot be read is a finding with the code L810, L601 or L602; nothing is raised."""
    from lickwright.importers.options import ReadOptions
    from lickwright.importers.write_lick import write_licks

    row = find_reader(data, name)
    try:
        source, drafts = import_module(row.module).read(data, name, options or ReadOptions())
    except Unreadable as e:
        if row is READERS[-1] and _LICK.search(data[:_BEGINNING]):
            e.hint = (
                "it is a lick already: `lickwright show` draws its tab, `lickwright check` says what is wrong in it"
            )
        return unread_source(name, e, row)
    written = write_licks(drafts)
    findings = sorted(map(_finding, written.doubts), key=lambda d: (d.span.start, d.code))
    return Imported(source, row.name, written.text, len(drafts), *_tally(drafts), tuple(findings), _bars(drafts))


def unread_source(name: str, why: Unreadable, row: ReaderRow = READERS[-1]) -> Imported:
    """Return what a file that cannot be read gives: one finding, and no text."""
    rule = getattr(why, "rule", None) or (UNREADABLE if isinstance(why, Unopened) else NOT_TEXT)
    source = getattr(why, "source", None) or Source(name, "")
    return Imported(source, row.name, "", 0, 0, 0, 0.0, (rule.at(Span(0, 0), str(why), why.hint),))


def _finding(doubt: Doubt) -> Diagnostic:
    rule: Rule = doubt.rule
    bar = None if doubt.bar is None else doubt.bar + 1
    notes: tuple[RelatedInformation, ...] = ()
    return rule.at(doubt.span or Span(0, 0), doubt.message, doubt.hint or None, notes, bar)


def _bars(drafts: Sequence[LickDraft]) -> tuple[tuple[Span, ...], ...]:
    return tuple(tuple(bar.span or Span(0, 0) for bar in draft.bars) for draft in drafts)


def _tally(drafts: Sequence[LickDraft]) -> tuple[int, int, float]:
    """Return how many notes there are, how many of them are unsure, and how sure the rhythm is."""
    notes = [note for draft in drafts for bar in draft.bars for group in bar.groups for note in group.notes]
    guesses = [doubt.confidence for draft in drafts for doubt in draft.doubts if doubt.confidence is not None]
    bars = sum(bool(bar.groups) for draft in drafts for bar in draft.bars)
    sure = (sum(guesses) + max(0, bars - len(guesses))) / bars if bars else 1.0
    return len(notes), sum(not note.sure for note in notes), sure
