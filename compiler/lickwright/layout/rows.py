"""What stands above the strings: chords, words, spans, tuplets, strokes, fingers, endings.

In: a `Timeline` and the columns made of it. Out: `Above` values, by row and column. Bend amounts are not among them:
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
from lickwright.timeline.model import Timeline, TupletSpan

ChordWritten = tuple[int, int, str]  # written bar (index), grains in it, symbol
Stop = tuple[int, int]  # written slot (index), string that is stopped there

_MERGED = (
    Damping.PALM,
    Damping.DEAD,
    Damping.SHORT,
)  # one way of damping over neighbours is one span; each ring has its own end
STOP, HOLD = "stop", "hold"  # what is said of a string that ends, and of a bend that stays up
_SAYING_ROWS = {"words": GridRow.WORDS, "dynamic": GridRow.DYNAMIC, "tempo": GridRow.TEMPO, "fermata": GridRow.TEMPO}


def rows_above(
    timeline: Timeline,
    columns: Sequence[Column],
    bars: Sequence[DrawnBar],
    stops: Sequence[Stop],
    chords: Sequence[ChordWritten],
    holds: Holds,
) -> list[RowEntry]:
    """Everything above the strings, by row, then by column."""
    places = _Places(timeline, columns, bars)
    found = [*_over_notes(columns, timeline.settings.tuning), *_endings(bars)]
    found += [
        RowEntry(GridRow.CHORD, symbol, places.at(bar, at), places.at(bar, at), False) for bar, at, symbol in chords
    ]
    for saying in timeline.sayings:
        column = places.last(saying.slot)
        found.append(RowEntry(_SAYING_ROWS[saying.kind], _saying(saying.kind, saying.text), column, column, False))
    found += _words(timeline, columns, places)
    slots = timeline.slots
    stopped = {((slots[slot].bar, slots[slot].at), string) for slot, string in stops}.union(holds.stops)
    for (bar, at), string in sorted(stopped, key=lambda stop: (stop[0], -stop[1])):
        column = places.at(bar, at)
        found.append(
            RowEntry(GridRow.HOW, f"{STOP} {string_label(timeline.settings.tuning, string)}", column, column, False)
        )
    found += [RowEntry(GridRow.BEND, HOLD, places.at(*hold.first), places.at(*hold.last), True) for hold in holds.bends]
    for tuplet in timeline.tuplets:
        found.append(
            RowEntry(GridRow.TUPLET, _tuplet_number(tuplet), places.last(tuplet.first), places.last(tuplet.last), True)
        )
    found.sort(key=lambda above: (above.row, above.first))
    return found


def chords_written(timeline: Timeline) -> list[ChordWritten]:
    """Chord symbols and where they start. A pick-up has none."""
    bars = timeline.bars
    first = 1 if bars and bars[0].number == 0 else 0
    return [
        (index, chord.at.numerator * bar.length // chord.at.denominator, chord.symbol)
        for index, (bar, chords) in enumerate(zip(bars[first:], timeline.settings.chords, strict=False), first)
        for chord in chords
    ]


def stops_written(timeline: Timeline) -> list[Stop]:
    """Rests of a single string, `e.`. A text tab has no mark for them on a line."""
    return [
        (index, string_number(timeline.settings.tuning, part.string))
        for index, slot in enumerate(timeline.slots)
        if isinstance(slot.event, Event)
        for part in slot.event.parts
        if isinstance(part, Rest) and part.string
    ]


def string_number(tuning: Tuning, name: str) -> int:
    """The number of a string as written: `G`, or `5:`."""
    return tuning.letters[name] if name in tuning.letters else int(name.rstrip(":"))


def string_label(tuning: Tuning, string: int) -> str:
    """What a row above calls a string: its label, or its number where another has the same label."""
    label = tuning.label(string)
    return label if tuning.labels.count(label) == 1 else f"string {string}"


class _Places:
    """Finds the columns of written slots."""

    def __init__(self, timeline: Timeline, columns: Sequence[Column], bars: Sequence[DrawnBar]) -> None:
        self._slots, self._columns, self._bars = timeline.slots, columns, bars
        self._index = {(column.bar, column.at, column.lead): index for index, column in enumerate(columns)}

    def at(self, bar: int, at: int) -> int:
        """The column at an instant; where there is none, the last one before it."""
        found = self._index.get((bar, at, 0))
        if found is not None:
            return found
        drawn = self._bars[bar]
        inside = [index for index in range(drawn.first, drawn.last) if self._columns[index].at <= at]
        return inside[-1] if inside else drawn.first

    def first(self, slot: int) -> int:
        """The first column of a slot: that of the strokes that lead to it, where it has some."""
        return min((index for index, _ in self._leads(slot)), default=self.last(slot))

    def last(self, slot: int) -> int:
        """The last column of a slot: its instant; of grace notes, which have none, their own."""
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
    """The strings of a mark, where not all notes that start, or are shown in parentheses, have it."""
    struck = [cell for cell in column.cells if cell.starts or cell.held]
    having = [cell for cell in struck if cell.starts and mark in cell.sound.marks]
    return (
        ""
        if len(having) == len(struck)
        else "".join(f" {string_label(tuning, cell.string)}" for cell in reversed(having))
    )


def _over_notes(columns: Sequence[Column], tuning: Tuning) -> Iterator[RowEntry]:
    """What stands over single notes: signs of one letter, fingers; marks in words over all in a row that have them."""
    going: dict[str, RowEntry] = {}  # by what is said
    for index, column in enumerate(columns):
        if not column.silent and all(cell.held for cell in column.cells):
            continue
        said: dict[str, RowEntry] = {}
        for cell in column.cells:
            sound = cell.sound
            if not cell.starts:
                continue
            for mark in sound.marks:
                if len(mark.above) == 1:
                    row = GridRow.ACCENT if mark.kind is TechniqueKind.MARK else GridRow.STROKE
                    whose = _whose(column, mark, tuning) if any(other.held for other in column.cells) else ""
                    said.setdefault(mark.above, RowEntry(row, mark.above + whose, index, index, False, mark))
                elif mark.above and mark.kind is TechniqueKind.MARK:
                    whose = _whose(column, mark, tuning)
                    before = going.get(mark.above) if not whose else None
                    first = before.first if before else index
                    said.setdefault(
                        mark.above, RowEntry(GridRow.HOW, mark.above + whose, first, index, not whose, mark)
                    )
            if sound.finger:
                yield RowEntry(GridRow.FINGER, sound.finger, index, index, False)
            if sound.pluck:
                yield RowEntry(GridRow.PLUCK, sound.pluck, index, index, False)
        if going or said:
            yield from (above for text, above in going.items() if text not in said or not said[text].lasts)
            going = {text: above for text, above in said.items() if above.lasts}
            yield from (above for above in said.values() if not above.lasts)
    yield from going.values()


def _words(timeline: Timeline, columns: Sequence[Column], places: _Places) -> Iterator[RowEntry]:
    """Words over events. One way of damping over neighbours is one span; what is done to each note is said of each."""
    open_words: dict[str, tuple[int, RowEntry]] = {}
    for word in timeline.words:
        technique = word.technique
        if technique is not None and len(technique.above) < 2:
            continue
        end = held_to(timeline, word.last)
        text = technique.above if technique is not None else _event_word(word.word, columns, places.last(word.first))
        lasts = technique is not None or EVENT_ABOVE[word.word].lasts
        above = RowEntry(GridRow.HOW, text, places.first(word.first), places.last(end), lasts, technique)
        last, before = open_words.get(text, (-2, above))
        if technique is not None and technique.damping in _MERGED and word.first == last + 1:
            above = above._replace(first=before.first)
        elif last >= 0:
            yield before
        open_words[text] = (end, above)
    yield from (above for _, above in open_words.values())


def _event_word(word: str, columns: Sequence[Column], index: int) -> str:
    """A trill says its other fret."""
    others = [cell.sound.trill for cell in columns[index].cells if cell.starts and cell.sound.trill is not None]
    return EVENT_ABOVE[word].above + "".join(f"({fret})" for fret in others[:1])


def _saying(kind: str, text: str) -> str:
    if kind == "tempo":
        return text if "=" in text else f"tempo {text}"
    return text or kind  # a fermata has no text of its own


def _tuplet_number(tuplet: TupletSpan) -> str:
    """The count alone, but for a ratio that is not to the next lower power of two."""
    usual = usual_time(tuplet.count)
    return str(tuplet.count) if tuplet.normal == usual else f"{tuplet.count}:{tuplet.normal}"


def _endings(bars: Sequence[DrawnBar]) -> Iterator[RowEntry]:
    """Brackets over the endings: from their first bar to the sign that closes them."""
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
