"""Finds the instants of a bar that need a place on the staff (stops), and what is drawn at each.

In: a `Grid`. Out: for each bar its `Stop`s: the columns of the grid, and the instants at which a note is only tied on.
Gives widths; positions are `system_spacing.py`'s.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.keep_last import keep_last
from lickwright.engraving import measures as m
from lickwright.engraving.note_values import BarRhythm, RhythmEvent, bar_rhythm
from lickwright.engraving.typefaces import text_width
from lickwright.layout.columns import held_cells
from lickwright.layout.grid import Cell, Column, Grid, GridRow
from lickwright.layout.tab_marks import bend_amount, head_text
from lickwright.music.accidentals import accidental_signs
from lickwright.music.syllables import GROUP
from lickwright.notation.techniques import HEADS, MARKS, Curve, TechniqueKind
from lickwright.timeline.model import PitchGesture, SoundingNote

PITCHED = (Curve.BEND, Curve.PREBEND, Curve.RELEASE)  # what an arrow is drawn for
SLIDE_ROOM = 7.0  # a slide from or to nowhere, beside its number
GLIDE_ROOM = 5.0  # a slide between two numbers
ROLL_ROOM = 6.0
_DEAD = HEADS["x"]
GHOST = MARKS["?"]
GHOST_TEXT = "[{}]"  # parentheses say that a note is held


class NoteMark(NamedTuple):
    """A number on a string."""

    string: int
    text: str
    size: float
    sound: SoundingNote
    held: bool  # it sounds already and is shown again, in parentheses
    shapes: tuple[PitchGesture, ...]  # what its pitch does here

    @property
    def half(self) -> float:
        """Half its width."""
        return text_width(self.text, "sans" if self.held else "sans-bold", self.size) / 2

    @property
    def finger(self) -> str:
        """The fretting finger beside it; "" for none."""
        return "" if self.held else self.sound.finger or ""

    @property
    def right(self) -> float:
        """How far it reaches to the right, with its finger."""
        if not self.finger:
            return self.half
        return self.half + m.FINGER_GAP + text_width(self.finger, "serif-italic", m.FINGER)


class Arrow(NamedTuple):
    """An arrow of a bend or release: where it rises or falls, from the stop's own place."""

    mark: int  # index into the stop's marks
    shape: PitchGesture
    x: float
    amount: str


class Stop(NamedTuple):
    """One instant of one written bar, with what stands there."""

    bar: int  # index into Grid.bars
    at: int  # grains from the start of the bar
    lead: int
    column: int  # index into Grid.columns; -1 where there is none
    marks: tuple[NoteMark, ...]
    event: RhythmEvent | None
    arrows: tuple[Arrow, ...]
    left: float  # of what stands on the strings, from the stop's place
    right: float
    said: str  # the count as printed; "" where it is not asked for
    chords: tuple[str, ...]
    space: float  # that its time asks for, to the next stop
    chord_room: float = 0.0  # the width of the chord shapes over its chords

    @property
    def bend_extent(self) -> tuple[float, float]:
        """Left and right of the amounts over its arrows; zeros where there are none."""
        halves = [(arrow.x, text_width(arrow.amount, "sans", m.SMALL) / 2) for arrow in self.arrows if arrow.amount]
        if not halves:
            return 0.0, 0.0
        return min(x - half for x, half in halves), max(x + half for x, half in halves)


class BarStops(NamedTuple):
    """One bar."""

    stops: tuple[Stop, ...]
    rhythm: BarRhythm


def bars_of_stops(grid: Grid, count: bool) -> list[BarStops]:
    """The stops of every written bar; with room for the count where it is asked for."""
    bars = _uncounted(grid)
    if not count:
        return list(bars)
    return [bar._replace(stops=tuple(_counted(grid, stop) for stop in bar.stops)) for bar in bars]


def _counted(grid: Grid, stop: Stop) -> Stop:
    return stop if stop.column < 0 else stop._replace(said=_count_text(grid.columns[stop.column]))


@keep_last
def _uncounted(grid: Grid) -> tuple[BarStops, ...]:
    """Return the stops of every written bar without the count: an engraving asks for them, and then the legend beside it."""
    chords: dict[int, tuple[str, ...]] = {}
    for above in grid.above:
        if above.row is GridRow.CHORD:
            chords[above.first] = (*chords.get(above.first, ()), accidental_signs(above.text))
    starts = {turn.bar: turn.start for turn in grid.timeline.passes if turn.number == 0}
    return tuple(_bar(grid, index, starts.get(index, 0), chords) for index in range(len(grid.bars)))


def _bar(grid: Grid, index: int, now: int, chords: dict[int, tuple[str, ...]]) -> BarStops:
    rhythm, drawn = bar_rhythm(grid, index), grid.bars[index]
    events = {event.at: event for event in rhythm.events}
    found: list[Stop] = []
    columns = {(c.at, -c.lead): (n, c) for n, c in enumerate(grid.columns[drawn.first : drawn.last], drawn.first)}
    before: tuple[NoteMark, ...] = ()
    for key in sorted({*columns, *((at, 0) for at in events)}):
        number, column = columns.get(key, (-1, None))
        event = events.get(key[0]) if key[1] == 0 else None
        marks = _marks(grid, number, column, event, before, now + key[0])
        before = _sounding(before, marks)
        found.append(_stop(index, key, number, marks, event, chords.get(number, ())))
    return BarStops(tuple(_spaced(grid, index, found)), rhythm)


def _marks(
    grid: Grid, number: int, column: Column | None, event: RhythmEvent | None, before: Sequence[NoteMark], now: int
) -> tuple[NoteMark, ...]:
    if column is not None and column.cells:
        more = () if event is None else _under(column.cells, before, now)
        cells = sorted((*column.cells, *more), key=lambda cell: cell.string)
        return tuple(_mark(cell, bool(column.lead)) for cell in cells)
    if event is None or event.rest:
        return ()
    return tuple(_mark(cell, False) for cell in _going_on(grid, number, event, before, now))


def _under(cells: Sequence[Cell], before: Sequence[NoteMark], now: int) -> Iterator[Cell]:
    """Yield what goes on under cells in which nothing new is struck."""
    if not any(_is_struck(cell) for cell in cells):
        shown = {cell.string for cell in cells}
        yield from (cell for cell in _still_there(before, now) if cell.string not in shown)


def _is_struck(cell: Cell) -> bool:
    """Return whether a new stroke begins in a cell, which ends what sounds before; one joined to a note ends that note alone."""
    return cell.starts and cell.sound.source is None


def _going_on(grid: Grid, number: int, event: RhythmEvent, before: Sequence[NoteMark], now: int) -> Iterator[Cell]:
    """What goes on where a value is written at which nothing happens: a tie within a bar, or a hold into it."""
    if event.tied:
        return _still_there(before, now)
    held = held_cells(grid, number) if event.at == 0 and number >= 0 else ()
    return (cell._replace(shapes=()) for cell in held)


def _sounding(before: Sequence[NoteMark], marks: Sequence[NoteMark]) -> tuple[NoteMark, ...]:
    """Return what a reader takes to sound after a stop: its marks, and those before it where it picks nothing new."""
    if any(not mark.held and mark.sound.source is None for mark in marks):
        return tuple(marks)
    shown = {mark.string for mark in marks}
    return (*marks, *(one for one in before if one.string not in shown))


def _still_there(before: Sequence[NoteMark], now: int) -> Iterator[Cell]:
    """Return the marks before a stop whose notes sound beyond it, as cells that show them again."""
    return (Cell(one.string, one.sound, False, ()) for one in before if one.sound.end > now)


def _mark(cell: Cell, small: bool) -> NoteMark:
    sound = cell.sound
    text = head_text(_DEAD if sound.dead else sound.head, sound).replace("<", "‹").replace(">", "›")
    if not cell.starts:
        return NoteMark(cell.string, f"({text})", m.HELD, sound, True, cell.shapes)
    if any(mark is GHOST for mark in sound.marks):
        return NoteMark(cell.string, GHOST_TEXT.format(text), m.GRACE if small else m.HELD, sound, False, cell.shapes)
    return NoteMark(cell.string, text, m.GRACE if small else m.DIGIT, sound, False, cell.shapes)


def _stop(
    bar: int,
    key: tuple[int, int],
    column: int,
    marks: tuple[NoteMark, ...],
    event: RhythmEvent | None,
    chords: tuple[str, ...],
) -> Stop:
    reach = max((mark.right for mark in marks), default=0.0)
    arrows = tuple(_arrows(marks, reach))
    left = max((mark.half for mark in marks), default=0.0) + _room_before(marks)
    right = max([reach, *(arrow.x + 2.5 for arrow in arrows)])
    if any(shape.technique.curve is Curve.SLIDE_OFF for mark in marks for shape in mark.shapes):
        right += SLIDE_ROOM
    if event is not None:
        beside = _room_of(event)
        left, right = max(left, beside[0]), max(right, beside[1]) + 3.5 * event.dots
    return Stop(bar, key[0], -key[1], column, marks, event, arrows, left, right, "", chords, 0.0)


def _room_before(marks: Sequence[NoteMark]) -> float:
    """Room for what leads into the numbers of a stop."""
    new = [mark.sound for mark in marks if not mark.held]
    room = ROLL_ROOM if any(sound.roll is not None for sound in new) else 0.0
    if any(sound.begin.kind is TechniqueKind.ENTRY for sound in new):
        return room + SLIDE_ROOM
    return room + (GLIDE_ROOM if any(sound.begin.curve is Curve.GLIDE for sound in new) else 0.0)


def _room_of(event: RhythmEvent) -> tuple[float, float]:
    """Room on both sides for a rest's sign, a flag or an open head."""
    if event.rest:
        return 3.5, 3.5
    if event.base >= 1 / 2:
        return 4.5, 4.5
    return 0.0, 6.5 if event.flags else 0.0


def _arrows(marks: Sequence[NoteMark], reach: float) -> Iterator[Arrow]:
    """The arrows of a stop, side by side behind its numbers, which reach so far; those of thinner strings are nearer to them.

    Equal amounts of two strings are said once.
    """
    x, said = reach, set()
    for index, mark in enumerate(marks):
        for shape in mark.shapes:
            if shape.technique.curve in PITCHED and shape.technique.sign:
                upright = shape.technique.curve is Curve.PREBEND
                x += 3.0 if upright and x == reach else m.BEND_REACH if x == reach else m.BEND_REACH - 1.5
                amount = bend_amount(shape)
                yield Arrow(index, shape, x, amount if (amount, len(mark.shapes)) not in said else "")
                said.add((amount, len(mark.shapes)))


def _spaced(grid: Grid, index: int, stops: Sequence[Stop]) -> Iterator[Stop]:
    """The stops with the space that their time asks for; between two rhythm events in proportion to time."""
    grain, end = grid.timeline.grain, grid.bars[index].bar.length
    ats = sorted({stop.at for stop in stops if not stop.lead} | {end})
    events = sorted({0, end, *(stop.at for stop in stops if stop.event is not None)})
    for stop in stops:
        if stop.lead or stop.at >= end:
            yield stop
            continue
        following = ats[bisect_right(ats, stop.at)]
        after = bisect_right(events, stop.at)
        first, last = events[after - 1], events[after]
        length = (last - first) / grain
        yield stop._replace(space=m.EIGHTH * (length * 8) ** m.GROWTH * (following - stop.at) / (last - first))


def _count_text(column: Column) -> str:
    """The count as printed, in parentheses for a rest; the sign of a new group stands before it."""
    said = column.said
    if not column.silent or not said:
        return said
    return f"{GROUP}({said[len(GROUP) :]})" if said.startswith(GROUP) else f"({said})"
