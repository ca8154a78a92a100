"""Draft → the text of a lick, in the canonical form of the notation.

In: `LickDraft`s. Out: `WrittenLicks`, a text and the doubts about it. What is written is compiled and compared with what was read: no note is changed
without a doubt that says so. What the notation cannot say is a doubt, and stands in the text as a comment where it is in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.diagnostics import Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source
from lickwright.importers.bar_rhythm import SHORTEST, rhythm_tokens
from lickwright.importers.draft import Doubt, DraftBar, DraftNote, LickDraft
from lickwright.importers.draft_differences import draft_differences
from lickwright.importers.fit_bars import FittedLick, fit_bars
from lickwright.importers.music_writer import MusicWriter, chords_field, slot_cells
from lickwright.importers.rules import MOVED, NOT_WRITTEN, WRITTEN_OTHERWISE
from lickwright.importers.slots import SlotPlanner
from lickwright.importers.timeline_draft import draft_from_timeline
from lickwright.music.fretboard import USUAL_FRETS
from lickwright.music.tuning import Tuning, parse_tuning
from lickwright.notation.canonical import canonical_text
from lickwright.notation.item_text import step_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import BY_NAME, FIELD_ORDER, FieldRow
from lickwright.timeline.build import build_timeline

_LONG_NECK = 24  # frets of a neck that has more than usual
_MOST_DOUBTS = 200  # of one lick
_USUAL_STEP = Fraction(1, 8)
_GRIDS = (Fraction(1, 192), SHORTEST)  # that instants are moved to where they cannot be counted, the finer first


class WrittenLicks(NamedTuple):
    """A file's text, and what is doubtful about it."""

    text: str
    doubts: tuple[Doubt, ...]  # of the readers and of the writing; their bars count from 0 in their own draft


def write_licks(drafts: Sequence[LickDraft]) -> WrittenLicks:
    """Return the text of a `.lick` file with these licks, each under a title of its own. Raises nothing."""
    texts: list[str] = []
    doubts: list[Doubt] = []
    titles: set[str] = set()
    for draft in drafts:
        doubts += draft.doubts[:_MOST_DOUBTS]
        for fitted in fit_bars(draft) if draft.bars else []:
            text, found = _written(fitted, _distinct(_line(fitted.draft.title) or "Untitled", titles))
            texts.append(text)
            doubts += found[:_MOST_DOUBTS]
    return WrittenLicks("\n".join(texts), tuple(doubts))


def _distinct(title: str, titles: set[str]) -> str:
    name, number = title, 1
    while name.casefold() in titles:
        number += 1
        name = f"{title} ({number})"
    titles.add(name.casefold())
    return name


def _line(text: str) -> str:
    """Return words as one line without signs that cannot be seen, and without a lone `#`, which would begin a comment."""
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(word for word in plain.split() if word != "#")


# --- one lick --------------------------------------------------------------------------------------------------------


def _written(fitted: FittedLick, title: str) -> tuple[str, list[Doubt]]:
    """Return the text of one lick, and the doubts about how it is written."""
    doubts = list(fitted.doubts)
    fields, comments = _fields(fitted, doubts)
    tuning = parse_tuning(dict(fields).get("tuning", "standard"))
    bars, moved = _countable(fitted.draft.bars, tuning)
    for n in moved:
        read = fitted.bars_read[n]
        doubts.append(Doubt(MOVED, f"notes of bar {read + 1} are moved to where they can be counted", "", read))
    music = MusicWriter(replace(fitted.draft, bars=bars), tuning, doubts, fitted.bars_read)
    step = music.best_step()
    fields += [("step", step_text(step))] if step != _USUAL_STEP else []
    nodes: tuple[Field | Comment, ...] = (
        *(Comment(text, True) for text in comments),
        *(Field(name, value) for name, value in fields),
    )
    text = canonical_text(Book((), (Lick(title, nodes, music.items(step)),)), field_order=FIELD_ORDER)
    doubts += _misread(text, music.draft, fitted)
    return text, doubts


def _fields(fitted: FittedLick, doubts: list[Doubt]) -> tuple[list[tuple[str, str]], list[str]]:
    """Return the fields of a lick that can be read, and as remarks its comments and the fields that cannot."""
    comments = [line for text in fitted.draft.comments for line in map(_line, text.splitlines())]
    found: list[tuple[str, str]] = []
    for name, value in _given(fitted):
        row = BY_NAME.get(name)
        again = row is not None and not row.repeats and any(other == name for other, _ in found)
        if row is None or again or not _is_readable(row, value):
            message = f"`{name} {value}` is not a field that can be read"
            doubts.append(Doubt(NOT_WRITTEN, message, "it stands in a comment"))
            comments.append(f"{name} {value}".rstrip())
        else:
            found.append((name, value))
    return found, comments


def _given(fitted: FittedLick) -> list[tuple[str, str]]:
    """Return the fields that were read, and those that the bars ask for."""
    given = [(name, _line(value)) for name, value in fitted.draft.fields]
    names = dict(given)
    highest = max((fret for note in _notes(fitted) for fret in (note.fret, note.trill) if fret is not None), default=0)
    neck = highest + int(names.get("capo", "0") if names.get("capo", "0").isdecimal() else 0)
    asked = {
        "meter": str(fitted.meter) if str(fitted.meter) != "4/4" else "",
        "pickup": "" if fitted.pickup is None else str(fitted.pickup),
        "chords": chords_field(fitted.draft.bars, fitted.pickup is not None),
        "frets": "" if neck <= USUAL_FRETS or "frets" in names else str(max(_LONG_NECK, neck)),
    }
    return [(name, value) for name, value in (*given, *asked.items()) if value]


def _notes(fitted: FittedLick) -> Iterator[DraftNote]:
    for bar in fitted.draft.bars:
        for group in bar.groups:
            yield from group.notes


def _is_readable(row: FieldRow, value: str) -> bool:
    try:
        row.parse(value)
    except ValueError:
        return False
    return True


# --- instants that cannot be counted ---------------------------------------------------------------------------------


def _countable(bars: tuple[DraftBar, ...], tuning: Tuning) -> tuple[tuple[DraftBar, ...], list[int]]:
    """Return the bars with every instant where it can be counted, and the indices of those in which something is moved."""
    read = bars
    for grid in _GRIDS:
        wrong = _uncountable(bars, tuning)
        if not wrong:
            break
        if grid == SHORTEST:  # a note of one bar ends in another
            wrong = list(range(len(bars)))
        bars = tuple(_snapped(bar, grid) if n in wrong else bar for n, bar in enumerate(bars))
    return bars, [n for n, bar in enumerate(bars) if bar != read[n]]


def _uncountable(bars: tuple[DraftBar, ...], tuning: Tuning) -> list[int]:
    """Return the indices of the bars with a length that the notation cannot write."""
    planner = SlotPlanner(tuning, _USUAL_STEP, lambda bar, message: None)
    wrong = []
    for n, slots in enumerate(planner.plan(bars, [bar.length or Fraction(1) for bar in bars])):
        if all(48 % slot.at.denominator == 0 or 32 % slot.at.denominator == 0 for slot in slots):
            continue  # thirty-seconds and their triplets can be counted together
        try:
            if slots:
                rhythm_tokens(slot_cells(slots, bars[n].length or Fraction(1)), _USUAL_STEP)
        except ValueError:
            wrong.append(n)
    return wrong


def _snapped(bar: DraftBar, grid: Fraction) -> DraftBar:
    """Return a bar with every instant moved to the nearest multiple of `grid`, and no note shorter than that."""
    most = (bar.length or Fraction(1)) - grid

    def snap(at: Fraction) -> Fraction:
        return min(most, round(at / grid) * grid)

    groups = tuple(
        group._replace(at=snap(group.at), notes=tuple(_snapped_note(one, group.at, grid) for one in group.notes))
        for group in bar.groups
    )
    return replace(bar, groups=groups, directions=tuple(one._replace(at=snap(one.at)) for one in bar.directions))


def _snapped_note(note: DraftNote, at: Fraction, grid: Fraction) -> DraftNote:
    def snap(length: Fraction) -> Fraction:
        return round(length / grid) * grid

    length = max(grid, snap(at + note.length) - snap(at)) if note.length else note.length
    shapes = tuple(
        one._replace(at=min(snap(one.at), length), length=one.length and max(grid, snap(one.length)))
        for one in note.shapes
    )
    return replace(note, length=length, shapes=shapes)


# --- the check -------------------------------------------------------------------------------------------------------


def _misread(text: str, draft: LickDraft, fitted: FittedLick) -> list[Doubt]:
    """Return what the written text says otherwise than the draft; empty where it says the same."""
    source = Source("-", text)
    book, found = parse_source(source)
    timeline = None
    if len(book.licks) == 1:
        timeline, more = build_timeline(book.licks[0], book, source)
        found = found + more
    doubts = [
        Doubt(WRITTEN_OTHERWISE, f"as it is written: {one.message}", one.hint or "", _read_bar(fitted, one.bar))
        for one in found
        if one.severity is Severity.ERROR
    ]
    if timeline is None:
        return doubts or [Doubt(WRITTEN_OTHERWISE, "the lick could not be written so that it is read again")]
    for difference in draft_differences(draft, draft_from_timeline(timeline)):
        read = fitted.bars_read[difference.bar] if difference.bar < len(fitted.bars_read) else None
        where = "" if read is None else f"bar {read + 1}: "
        doubts.append(Doubt(WRITTEN_OTHERWISE, where + difference.message, "compare it with the original", read))
    return doubts


def _read_bar(fitted: FittedLick, number: int | None) -> int | None:
    """Return the index of the bar that was read, for the number that a finding gives."""
    if number is None:
        return None
    index = number if fitted.pickup is not None else number - 1
    return fitted.bars_read[index] if 0 <= index < len(fitted.bars_read) else None
