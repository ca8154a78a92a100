"""The rows above the strings: chords, words, spans, tuplets, strokes, fingers, endings.

In: a `Timeline` and the columns made of it. Out: `RowEntry` values, by row and column. Bend amounts are not among them:
they are in the shapes of the cells.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.layout.grid import Column, DrawnBar, GridRow, RowEntry
from lickwright.layout.holds import Holds, held_to
from lickwright.layout.tab_marks import EVENT_ABOVE
from lickwright.music.rhythm import usual_time
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import Damping, Technique, TechniqueKind
from lickwright.notation.tree import Event, Rest
from lickwright.timeline.model import SoundingNote, Timeline, TupletSpan

ChordWritten = tuple[int, int, str]  # written bar (index), grains in it, symbol
StringStop = tuple[int, int]  # written slot (index), string that is stopped there

# Neighboring words of one of these dampings make one span; each ring has its own end.
_MERGED = (Damping.PALM, Damping.DEAD, Damping.SHORT)
STOP, HOLD = "stop", "hold"  # what is said of a string that ends, and of a bend that stays up
_DIRECTION_ROWS = {"words": GridRow.WORDS, "dynamic": GridRow.DYNAMIC, "tempo": GridRow.TEMPO, "fermata": GridRow.TEMPO}


def rows_above(
    timeline: Timeline,
    columns: Sequence[Column],
    bars: Sequence[DrawnBar],
    stops: Sequence[StringStop],
    chords: Sequence[ChordWritten],
    holds: Holds,
) -> list[RowEntry]:
    """Return all texts above the strings, by row, then by column."""
    places = _Places(timeline, columns, bars)
    tuning, slots = timeline.settings.tuning, timeline.slots
    found = [*_over_notes(columns, tuning), *_endings(bars)]
    found += [_point(GridRow.CHORD, symbol, places.at(bar, at)) for bar, at, symbol in chords]
    found += [
        _point(_DIRECTION_ROWS[direction.kind], _direction(direction.kind, direction.text), places.last(direction.slot))
        for direction in timeline.directions
    ]
    found += _words(timeline, columns, places)
    stopped = {((slots[slot].bar, slots[slot].at), string) for slot, string in stops}.union(holds.stops)
    for (bar, at), string in sorted(stopped, key=lambda stop: (stop[0], -stop[1])):
        found.append(_point(GridRow.HOW, f"{STOP} {string_label(tuning, string)}", places.at(bar, at)))
    found += [RowEntry(GridRow.BEND, HOLD, places.at(*hold.first), places.at(*hold.last), True) for hold in holds.bends]
    for tuplet in timeline.tuplets:
        first, last = places.last(tuplet.first), places.last(tuplet.last)
        found.append(RowEntry(GridRow.TUPLET, _tuplet_number(tuplet), first, last, True))
    found.sort(key=lambda entry: (entry.row, entry.first))
    return found


def _point(row: GridRow, text: str, column: int) -> RowEntry:
    return RowEntry(row, text, column, column, False)


def chords_written(timeline: Timeline) -> list[ChordWritten]:
    """Return the chord symbols and where they start; a pick-up has none."""
    bars = timeline.bars
    first = 1 if bars and bars[0].number == 0 else 0
    return [
        (index, chord.at.numerator * bar.length // chord.at.denominator, chord.symbol)
        for index, (bar, chords) in enumerate(zip(bars[first:], timeline.settings.chords, strict=False), first)
        for chord in chords
    ]


def stops_written(timeline: Timeline) -> list[StringStop]:
    """Return the rests of a single string, `e.`: a text tab has no mark for them on a line."""
    return [
        (index, string_number(timeline.settings.tuning, part.string))
        for index, slot in enumerate(timeline.slots)
        if isinstance(slot.event, Event)
        for part in slot.event.parts
        if isinstance(part, Rest) and part.string
    ]


def string_number(tuning: Tuning, name: str) -> int:
    """Return the number of a string as written: `G`, or `5:`."""
    return tuning.letters[name] if name in tuning.letters else int(name.rstrip(":"))


def string_label(tuning: Tuning, string: int) -> str:
    """Return what a row above the strings calls a string: its label, or its number where another has the same label."""
    label = tuning.label(string)
    return label if tuning.labels.count(label) == 1 else f"string {string}"


class _Places:
    """Finds the columns of written slots."""

    def __init__(self, timeline: Timeline, columns: Sequence[Column], bars: Sequence[DrawnBar]) -> None:
        self._slots, self._columns, self._bars = timeline.slots, columns, bars
        self._index = {(column.bar, column.at, column.lead): index for index, column in enumerate(columns)}

    def at(self, bar: int, at: int) -> int:
        """Return the column at an instant; where there is none, the last one before it."""
        found = self._index.get((bar, at, 0))
        if found is not None:
            return found
        drawn = self._bars[bar]
        inside = [index for index in range(drawn.first, drawn.last) if self._columns[index].at <= at]
        return inside[-1] if inside else drawn.first

    def first(self, slot: int) -> int:
        """Return the first column of a slot: that of the strokes that lead to it, where it has some."""
        return min((index for index, _ in self._leads(slot)), default=self.last(slot))

    def last(self, slot: int) -> int:
        """Return the last column of a slot: its instant's; for grace notes, which take no time, their own."""
        here = self._slots[slot]
        leads = self._leads(slot) if here.length == 0 else []
        return max((index for index, _ in leads), default=self.at(here.bar, here.at))

    def _leads(self, slot: int) -> list[tuple[int, Column]]:
        here, found = self._slots[slot], []
        index = self._index.get((here.bar, here.at, 1))
        while index is not None and self._columns[index].lead:
            column = self._columns[index]
            if any(cell.sound.slot == slot for cell in column.cells):
                found.append((index, column))
            index = self._index.get((here.bar, here.at, column.lead + 1))
        return found


def _whose(column: Column, mark: Technique, tuning: Tuning) -> str:
    """Return the labels of the strings that have a mark; "" where all notes that start or are shown again have it."""
    struck = [cell for cell in column.cells if cell.starts or cell.held]
    having = [cell for cell in struck if cell.starts and mark in cell.sound.marks]
    if len(having) == len(struck):
        return ""
    return "".join(f" {string_label(tuning, cell.string)}" for cell in reversed(having))


def _over_notes(columns: Sequence[Column], tuning: Tuning) -> Iterator[RowEntry]:
    """Yield what stands over notes: signs of one letter, fingers, and marks in words, one span for notes in a row."""
    open_spans: dict[str, RowEntry] = {}  # by the mark's text
    for index, column in enumerate(columns):
        sounds = _starting(column)
        if not sounds and _only_goes_on(column):
            continue
        yield from _fingers(sounds, index)
        marks = _marks(sounds, column, index, tuning, open_spans)
        if open_spans or marks:
            spans = {text: entry for text, entry in marks.items() if entry.lasts}
            yield from (span for text, span in open_spans.items() if text not in spans)
            yield from (entry for entry in marks.values() if not entry.lasts)
            open_spans = spans
    yield from open_spans.values()


def _starting(column: Column) -> list[SoundingNote]:
    return [cell.sound for cell in column.cells if cell.starts]


def _only_goes_on(column: Column) -> bool:
    return not column.silent and all(cell.held for cell in column.cells)


def _fingers(sounds: Sequence[SoundingNote], index: int) -> list[RowEntry]:
    """Return the fingers of both hands that are written on the notes that start in a column."""
    found: list[RowEntry] = []
    for sound in sounds:
        if sound.finger:
            found.append(_point(GridRow.FINGER, sound.finger, index))
        if sound.pluck:
            found.append(_point(GridRow.PLUCK, sound.pluck, index))
    return found


def _marks(
    sounds: Sequence[SoundingNote], column: Column, index: int, tuning: Tuning, open_spans: dict[str, RowEntry]
) -> dict[str, RowEntry]:
    """Return the marks of the notes that start in a column, by text; one in words goes on from its open span."""
    found: dict[str, RowEntry] = {}
    for sound in sounds:
        for mark in sound.marks:
            entry = None if mark.above in found else _mark(mark, column, index, tuning, open_spans)
            if entry is not None:
                found[mark.above] = entry
    return found


def _mark(
    mark: Technique, column: Column, index: int, tuning: Tuning, open_spans: dict[str, RowEntry]
) -> RowEntry | None:
    """Return the entry of a mark on notes of a column; None for one that the string line shows, or that is a word's."""
    if len(mark.above) == 1:
        row = GridRow.ACCENT if mark.kind is TechniqueKind.MARK else GridRow.STROKE
        whose = _whose(column, mark, tuning) if any(cell.held for cell in column.cells) else ""
        return RowEntry(row, mark.above + whose, index, index, False, mark)
    if not mark.above or mark.kind is not TechniqueKind.MARK:
        return None
    whose = _whose(column, mark, tuning)
    first = index if whose or mark.above not in open_spans else open_spans[mark.above].first
    return RowEntry(GridRow.HOW, mark.above + whose, first, index, not whose, mark)


def _words(timeline: Timeline, columns: Sequence[Column], places: _Places) -> Iterator[RowEntry]:
    """Yield the words over events; neighbors with the same damping (`_MERGED`) make one span, others one each."""
    open_words: dict[str, tuple[int, RowEntry]] = {}
    for word in timeline.words:
        technique = word.technique
        if technique is not None and len(technique.above) < 2:
            continue
        end = held_to(timeline, word.last)
        text = technique.above if technique is not None else _event_word(word.word, columns, places.last(word.first))
        lasts = technique is not None or EVENT_ABOVE[word.word].lasts
        entry = RowEntry(GridRow.HOW, text, places.first(word.first), places.last(end), lasts, technique)
        last, before = open_words.get(text, (-2, entry))
        if technique is not None and technique.damping in _MERGED and word.first == last + 1:
            entry = entry._replace(first=before.first)
        elif last >= 0:
            yield before
        open_words[text] = (end, entry)
    yield from (entry for _, entry in open_words.values())


def _event_word(word: str, columns: Sequence[Column], index: int) -> str:
    """Return the mark of an event word; a trill's names its other fret."""
    others = [cell.sound.trill for cell in columns[index].cells if cell.starts and cell.sound.trill is not None]
    return EVENT_ABOVE[word].above + "".join(f"({fret})" for fret in others[:1])


def _direction(kind: str, text: str) -> str:
    if kind == "tempo":
        return text if "=" in text else f"tempo {text}"
    return text or kind  # a fermata has no text of its own


def _tuplet_number(tuplet: TupletSpan) -> str:
    """Return the count alone, or the whole ratio where it is not to the next lower power of two."""
    usual = usual_time(tuplet.count)
    return str(tuplet.count) if tuplet.normal == usual else f"{tuplet.count}:{tuplet.normal}"


def _endings(bars: Sequence[DrawnBar]) -> Iterator[RowEntry]:
    """Yield the brackets over the endings, from their first bar to the sign that closes them."""
    ending, first = 0, 0
    for index, drawn in enumerate(bars):
        if drawn.bar.ending:
            ending, first = drawn.bar.ending, drawn.first
        following = bars[index + 1].bar if index + 1 < len(bars) else None
        closes = (
            drawn.bar.repeat_end or drawn.bar.double or following is None or following.repeat_start or following.ending
        )
        if ending and closes:
            yield RowEntry(GridRow.ENDING, f"{ending}.", first, drawn.last - 1, True)
            ending = 0
