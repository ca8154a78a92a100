"""The corpus of text tabs: tabs in many hands' styles, each with its notes written by hand.

In: `tests/text_tabs/*.txt`. A tab begins with `=== title`; lines of orders follow, then `---` and the tab. `notes` lists every note in order of
time, from the thinnest string to the thickest within one instant, joined by `+`: `3:7b2r0` is string 3, fret 7, bent up by 2 semitones and
released; `h`, `p`, `/`, `\\`, `t` before a fret connect it to the note before, `n/7` comes from nowhere; `x`, `<12>`, `5<17>` and `7*` are dead
notes and harmonics; `.pm`, `.ghost` and so on are marks. `swap a b` puts b in the place of a in the tab (`\\u00a0` is a code), `bytes cp1252` is
its encoding, `tuning` and `rhythm` are what else is expected.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import SequenceMatcher
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from lickwright.core.diagnostics import Severity
from lickwright.core.source import Source
from lickwright.importers.draft import DraftNote, LickDraft
from lickwright.importers.text_tab.reader import read_text_tab
from lickwright.importers.text_tab.text_lines import decode_text

FOLDER = Path(__file__).parent / "text_tabs"
MARKS = {
    "?": "ghost", "pm": "pm", "ring": "ring", "=": "ring", "!": "acc", ",": "short", "tremolo": "trem", "snap": "snap", "slap": "slap", "pop": "pop",
    "dive": "dive", "dip": "dip", "scoop": "scoop", "swell": "swell", "up": "up", "down": "down",
}  # fmt: skip
SHAPES = {"^": "b", "^^": "pb", "r": "r", "~": "~", "~~": "~~", "/": "/", "\\": "\\"}


class TabCase(NamedTuple):
    """One tab of the corpus."""

    title: str
    data: bytes
    notes: tuple[str, ...]  # a token a note
    orders: dict[str, str]  # what else is expected


class Score(NamedTuple):
    """How well a tab was read."""

    expected: int
    right: int
    silent: int  # wrong notes that nothing was said about
    lost: tuple[str, ...]
    more: tuple[str, ...]


def tab_cases(name: str) -> Iterator[TabCase]:
    """Yield the tabs of one file of the corpus."""
    for part in re.split(r"^=== ", (FOLDER / f"{name}.txt").read_text("utf-8"), flags=re.MULTILINE)[1:]:
        head, _, tab = part.partition("\n---\n")
        title, *lines = head.split("\n")
        orders: dict[str, str] = {}
        for line in lines:
            key, _, value = line.partition(" ")
            if key == "swap":
                a, b = value.split(" ")
                tab = tab.replace(a, b.encode().decode("unicode_escape") if b.startswith("\\") else b)
            else:
                orders[key] = value
        notes = tuple(token for chord in orders.pop("notes", "").split() for token in chord.split("+"))
        yield TabCase(title, tab.encode(orders.pop("bytes", "utf-8")), notes, orders)


def note_token(note: DraftNote) -> str:
    """Return a note as the corpus writes it."""
    begin = note.begin.sign
    if begin and note.begin.kind == "entry":
        begin = f"n{begin}"
    place = "" if note.fret is None else str(note.fret)
    if note.head is not None and note.head.sign == "x":
        place = "x"
    elif note.head is not None and note.head.sign == "*":
        place += "*"
    elif note.touch is not None:
        place += f"<{float(note.touch):g}>"
    shapes = ""
    for shape in note.shapes:
        shapes += SHAPES[shape.technique.sign]
        if shape.technique.sign in ("^", "^^", "r"):
            shapes += f"{float(shape.by or Fraction(0)):g}"
    marks = "".join(f".{MARKS[mark.sign]}" for mark in note.marks) + (
        f".tr{note.trill}" if note.trill is not None else ""
    )
    return f"{note.string}:{begin}{place}{shapes}{marks}"


def read_case(case: TabCase) -> tuple[Source, list[LickDraft]]:
    """Read a tab of the corpus."""
    source = decode_text(case.data, case.title)
    return source, read_text_tab(source)


def score_case(case: TabCase) -> Score:
    """Return how many notes are right, and which are wrong without a word."""
    source, drafts = read_case(case)
    notes = [
        note
        for draft in drafts
        for bar in draft.bars
        for group in bar.groups
        for note in sorted(group.notes, key=lambda n: n.string)
    ]
    doubted = {
        source.position(doubt.span.start).line
        for draft in drafts for doubt in draft.doubts
        if doubt.span is not None and doubt.rule.severity is not Severity.INFO
    }  # fmt: skip
    tokens = [note_token(note) for note in notes]
    right = silent = 0
    lost: list[str] = []
    more: list[str] = []
    for kind, a, b, c, d in SequenceMatcher(None, case.notes, tokens, autojunk=False).get_opcodes():
        if kind == "equal":
            right += b - a
            continue
        lost += case.notes[a:b]
        more += tokens[c:d]
        said = [source.position(note.span.start).line in doubted for note in notes[c:d] if note.span is not None]
        silent += sum(not one for one in said) if said else (0 if doubted else b - a)
    return Score(len(case.notes), right, silent, tuple(lost), tuple(more))
