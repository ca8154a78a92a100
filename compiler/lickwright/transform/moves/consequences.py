"""Consequences of a move: findings that the lick did not have, and words in its fields that no longer hold.

In: a lick as counted before and after. Out: findings, fields, and sentences in a player's words. Moves nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from lickwright.analysis.difficulty import LEVEL, check_level
from lickwright.checks import check_timeline
from lickwright.checks.bends import OPEN_VIBRATO
from lickwright.checks.links import OPEN_SLIDE
from lickwright.checks.suppressions import apply_suppressions
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.music.chord import parse_chord
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import Suppression
from lickwright.timeline.model import Timeline, bar_name

HIGH = 20  # fret (an estimate) from which on little of the neck is left, and the body of most guitars is in the way
_HANDS = "L4"  # codes of findings about hands and techniques
_NO_FINGER = (OPEN_SLIDE.code, OPEN_VIBRATO.code)
_SYMBOL = re.compile(r"(?<![\w#/.'-])[A-G][#b]?(?:[a-z0-9#+]*)(?:/[A-G][#b]?)?(?![\w'])")
_LIKE_A_NOTE = re.compile(
    r"[A-G][#b]?\d*"
)  # a letter alone may be a string or a word, and D7 the D string's seventh fret
_CALLED_ONE = re.compile(r"\s+(?:chord|major|minor)\b")
_NO_CHORD = re.compile(r"\s+(?:string|shape|position)")


class JudgedLick:
    """A counted lick with what the checks find in it, less what its writer intends."""

    def __init__(self, timeline: Timeline, counted: Sequence[Diagnostic]) -> None:
        self.all = [*counted, *check_timeline(timeline), *check_level(timeline)]
        self._remaining, self._used = apply_suppressions(self.all, timeline)
        self.meant = timeline.settings.meant

    @property
    def hands(self) -> list[Diagnostic]:
        """Warnings about hands and techniques."""
        return [d for d in self._remaining if d.code.startswith(_HANDS) and d.severity is Severity.WARNING]

    def hiding(self, span: Span) -> bool:
        """Return whether the `meant` line at `span` hides a finding."""
        return span in self._used

    @property
    def error(self) -> str | None:
        """The message of the first error; None where there is none."""
        return next((d.message for d in self.all if d.severity is Severity.ERROR), None)


def new_hand_warnings(old: JudgedLick, new: JudgedLick) -> list[Diagnostic]:
    """Return the warnings about hands that the moved lick has and the old one had not: of each kind, as many as are more."""
    before = Counter(d.code for d in old.hands)
    bars = {(d.code, d.bar) for d in old.hands}
    found: list[Diagnostic] = []
    ours = new.hands
    for code, count in Counter(d.code for d in ours).items():
        more = sorted((d for d in ours if d.code == code), key=lambda d: (d.code, d.bar) in bars)
        found += more[: max(0, count - before[code])]
    return found


def unplayable_reason(found: Sequence[Diagnostic]) -> str | None:
    """Return why a finding rules a place out: an open string has no finger to slide, shake or bend it."""
    return next((d.message for d in found if d.code in _NO_FINGER), None)


def harder_in_words(found: Sequence[Diagnostic]) -> Iterator[str]:
    """Yield a sentence for each kind of finding: `harder now, in bar 2: … (and 3 more like it)`."""
    for code, count in Counter(d.code for d in found).items():
        first = next(d for d in found if d.code == code)
        if code == LEVEL.code:
            yield f"the level no longer fits: {first.message}"
            continue
        where = "" if first.bar is None else f", in bar {first.bar}" if first.bar else ", in the pick-up"
        more = f" (and {count - 1} more like it)" if count > 1 else ""
        yield f"harder now{where}: {first.message}{more}"


def describe_high_end(old: Timeline, new: Timeline) -> Iterator[str]:
    """Yield a sentence where a lick goes up to the end of the neck and did not before."""
    before, now = (max((sound.fret or 0 for sound in timeline.sounds), default=0) for timeline in (old, new))
    if now >= HIGH > before:
        yield f"it goes up to fret {now} here: near the end of the neck, and out of reach on many guitars"


# --- fields ----------------------------------------------------------------------------------------------------------


def describe_stale_chords(lick: Lick, book: Book, old: Timeline, new: Timeline) -> Iterator[str]:
    """Yield which notes to the reader, and words over the music, still name chords of the key that the lick has left."""
    if old.settings.key is None or old.settings.key == new.settings.key:
        return
    charted = {str(entry.chord) for bar in old.settings.chords for entry in bar if entry.chord is not None}
    for what, text in _running_texts(lick, book, old):
        names = _named_chords(text, charted)
        if names:
            yield f"{what} still names {' and '.join(names)}, as in {old.settings.key}: its words were not changed"


def _running_texts(lick: Lick, book: Book, timeline: Timeline) -> Iterator[tuple[str, str]]:
    """Yield the notes to the reader and the words over the music, each with what it is."""
    for entry in (*book.head, *lick.fields):
        if isinstance(entry, Field) and entry.name == "note":
            yield "a note", entry.text
    for direction in timeline.directions:
        if direction.kind == "words":
            number = timeline.bars[timeline.slots[direction.slot].bar].number
            yield f'the @"…" in {bar_name(number)}', direction.text


def _named_chords(text: str, charted: set[str]) -> list[str]:
    """Return the chord symbols in running text; what may be a note only where the chart has it or it is called a chord."""
    found: list[str] = []
    for match in _SYMBOL.finditer(text):
        name = match[0]
        if _LIKE_A_NOTE.fullmatch(name):
            called = _CALLED_ONE.match(text, match.end()) is not None
            if _NO_CHORD.match(text, match.end()) or not (called or (name in charted and name != "A")):
                continue
        try:
            known = parse_chord(name) is not None
        except ValueError:
            known = False
        if known and name not in found:
            found.append(name)
    return found


def drop_idle_meant(lick: Lick, old: JudgedLick, new: JudgedLick) -> tuple[Lick, tuple[str, ...]]:
    """Return the lick without the `meant` lines that hid something and hide nothing where it is now, and what to say.

    One that stands in the head of the file is for other licks too, and stays.
    """
    gone: list[str] = []
    fields: list[Field | Comment] = list(lick.fields)
    for before, now in zip(old.meant, new.meant, strict=False):
        if not old.hiding(before.span) or new.hiding(now.span) or now.code.startswith("L5"):
            continue
        where = "" if now.bar is None else f" bar {now.bar}"
        if now.of_file:
            gone.append(f"`meant {now.code}{where}` hides nothing here: it stands in the head of the file, and stays")
            continue
        fields = [entry for entry in fields if not _says(entry, now)]
        gone.append(f"`meant {now.code}{where}` is left out: there is no such finding here")
    return (replace(lick, fields=tuple(fields)) if gone else lick), tuple(gone)


def _says(entry: Field | Comment, meant: Suppression) -> bool:
    """Return whether a field is this `meant` line."""
    if not isinstance(entry, Field) or entry.name != "meant":
        return False
    words = entry.text.split('"')[0].split()
    bar = f"bar {meant.bar}" if meant.bar is not None else ""
    return words[:1] == [meant.code] and " ".join(words[1:3]) == bar
