"""A lick as drawn: its written bars as columns, one for each instant, with their notes and their counts.

In: a `Timeline`. Out: a `Grid`. A bar shows what sounds the first time it is played; a `%` stays a sign. The rows above
the strings are made in `row_entries.py`, the notes to be shown again in `holds.py`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence, Set
from functools import partial
from typing import NamedTuple

from lickwright.layout.grid import Cell, Column, DrawnBar, Grid
from lickwright.layout.holds import find_holds
from lickwright.layout.row_entries import (
    ChordWritten,
    StringStop,
    chords_written,
    rows_above,
    stops_written,
    string_number,
)
from lickwright.music.syllables import BETWEEN, NUMBERED, CountedInstant
from lickwright.notation.techniques import BEND_CURVES
from lickwright.notation.tree import Event, Hold
from lickwright.timeline.bar_count import count_events, count_instants, event_instants, is_silent
from lickwright.timeline.model import Bar, PitchGesture, SoundingNote, Timeline

ColumnKey = tuple[int, int]  # grains in the bar, minus the lead: the order of a bar's columns


class _Draft(NamedTuple):
    """What is known of one bar before its columns are made."""

    cells: dict[ColumnKey, dict[int, Cell]]  # by column, then by string
    silence: list[tuple[int, bool]]  # instants where a silence starts, goes on or ends, in order
    instants: set[int]  # grains at which something is said above: they get a column where a player counts them


def lay_out_bars(timeline: Timeline) -> Grid:
    """Return the columns of every written bar, and the rows above them."""
    stops, chords = stops_written(timeline), chords_written(timeline)
    drafts = _drafts(timeline, stops, chords)
    crowded = [len(draft.cells) > len({at for at, _ in draft.cells}) for draft in drafts]
    holds = find_holds(timeline, partial(_standing, drafts, crowded))
    for (index, at), sounds in holds.notes.items():
        for sound in sounds:
            drafts[index].cells.setdefault((at, 0), {})[sound.string] = Cell(sound.string, sound, False, ())
    columns: list[Column] = []
    bars: list[DrawnBar] = []
    for index, bar in enumerate(timeline.bars):
        first = len(columns)
        columns += _columns(timeline, index, drafts[index])
        bars.append(DrawnBar(bar, first, len(columns)))
    above = rows_above(timeline, columns, bars, stops, chords, holds)
    return Grid(timeline, tuple(columns), tuple(bars), tuple(above))


def _drafts(timeline: Timeline, stops: Sequence[StringStop], chords: Sequence[ChordWritten]) -> list[_Draft]:
    """Return a draft for each written bar, with the sounds, silences and directions that are written in it."""
    slots = timeline.slots
    drafts = [_Draft({}, [], set()) for _ in timeline.bars]
    for sound in timeline.sounds:
        slot = slots[sound.slot]
        if sound.pass_no == 0 and slot.bar == sound.bar:  # not equal in a bar that a `%` repeats
            column = drafts[slot.bar].cells.setdefault((slot.at, -sound.lead), {})
            column[sound.string] = Cell(sound.string, sound, True, ())
        for shape in sound.shapes:
            _add_shape(timeline, drafts, sound, shape)
    _add_silences(timeline, drafts)
    for index in (*(index for index, _ in stops), *(direction.slot for direction in timeline.directions)):
        drafts[slots[index].bar].instants.add(slots[index].at)
    for index, at, _ in chords:
        drafts[index].instants.add(at)
    return drafts


def _add_silences(timeline: Timeline, drafts: list[_Draft]) -> None:
    silent = False
    for n, slot in enumerate(timeline.slots):
        if silent and slot.at == 0 and _some_pass_sounds(timeline, slot.bar, n):
            silent = False  # no mark where a bar begins with a hold that is silent in one pass and sounds in another
        before, silent = silent, is_silent(slot.event, silent)
        if silent or before:
            drafts[slot.bar].silence.append((slot.at, silent))


def _some_pass_sounds(timeline: Timeline, index: int, slot: int) -> bool:
    """Return True if something goes on sounding into a bar whose first slot is a hold, in any of its passes."""
    event, bars = timeline.slots[slot].event, timeline.bars
    if slot != bars[index].first or not isinstance(event, Event) or not all(isinstance(p, Hold) for p in event.parts):
        return False
    starts = [turn.start for turn in timeline.passes if bars[turn.bar].first == slot and bars[turn.bar].last > slot]
    return any(sound.start < start < sound.end for start in starts for sound in timeline.sounds)


def _standing(drafts: Sequence[_Draft], crowded: Sequence[bool], bar: int, at: int) -> list[Cell]:
    """Return the cells of an instant of a bar, strokes that lead to it first; `crowded`: the bars in which there are any."""
    cells = drafts[bar].cells
    if not crowded[bar]:
        return list(cells.get((at, 0), {}).values())
    keys = sorted(key for key in cells if key[0] == at)
    return [cell for key in keys for cell in cells.get(key, {}).values()]


def _add_shape(timeline: Timeline, drafts: list[_Draft], sound: SoundingNote, shape: PitchGesture) -> None:
    """Add a shape to the column of the slot in which it is written; once, though several passes or a `%` play it."""
    slot = timeline.slots[shape.slot]
    lead = sound.lead if shape.slot == sound.slot else 0
    column = drafts[slot.bar].cells.setdefault((slot.at, -lead), {})
    cell = column.get(sound.string)
    if cell is None:
        cell = Cell(sound.string, sound, False, ())
    elif any(known.span == shape.span for known in cell.shapes):
        return
    column[sound.string] = cell._replace(shapes=(*cell.shapes, shape))


def _columns(timeline: Timeline, index: int, draft: _Draft) -> Iterator[Column]:
    """Yield the columns of one bar in order."""
    bar = timeline.bars[index]
    if bar.same:
        for at in sorted({0} | draft.instants):
            yield Column(index, at, 0, (), False, "")
        return
    leads = [(at, lead, "") for at, lead in draft.cells if lead]
    spoken = [(at, 0, said.word) for at, said in _counted(timeline, bar, draft.instants).items()]
    new = tuple.__new__  # Column(…) takes twice as long
    for at, lead, said in sorted([*leads, *spoken]) if leads else spoken:
        cells = draft.cells.get((at, lead))
        here = tuple(cells.values()) if cells else ()
        if len(here) > 1:
            here = tuple(sorted(here))
        yield new(Column, (index, at, -lead, here, bool(draft.silence) and _is_silent_at(draft, at), said))


def _is_silent_at(draft: _Draft, at: int) -> bool:
    silences = draft.silence
    past = bisect_left(silences, (at + 1,))
    return past > 0 and silences[past - 1][1]


def _counted(timeline: Timeline, bar: Bar, offered: set[int]) -> dict[int, CountedInstant]:
    """Return the instants of a bar that have a column, with what is said at each.

    They are those where an event is written, the beats, what a count needs between them, and of those `offered` (for
    chords and words) the ones that a player counts anyway.
    """
    found = count_events(timeline, bar)
    happens: Set[int] = event_instants(timeline, bar)
    for at in sorted(offered.difference(found)):
        more = count_instants({*happens, at}, timeline, bar)
        if all(more.get(known) == said for known, said in found.items()) and not _uneven(more, found):
            happens, found = {*happens, at}, more
    return found


def _uneven(more: dict[int, CountedInstant], found: dict[int, CountedInstant]) -> bool:
    """Return True if a count was divided more finely than a player says aloud."""
    return any(said.word == BETWEEN or NUMBERED in said.name for at, said in more.items() if at not in found)


def held_cells(grid: Grid, index: int) -> tuple[Cell, ...]:
    """Return the cells that a written hold carries over into column `index`, for a line that starts there.

    Cells that the column shows already are left out. The shape of such a cell is the bend it is still at, if any. What
    merely rings on under new notes is not held.
    """
    timeline, column = grid.timeline, grid.columns[index]
    strings = _held_strings(timeline, column) - {cell.string for cell in column.cells if cell.held}
    if not strings:
        return ()
    now = next(turn.start for turn in timeline.passes if turn.bar == column.bar and turn.number == 0) + column.at
    before = bisect_left(timeline.sounds, now, key=lambda sound: sound.start)
    found: list[Cell] = []
    for sound in reversed(timeline.sounds[:before]):
        if sound.string in strings:
            strings.remove(sound.string)
            if sound.end > now:
                found.append(Cell(sound.string, sound, False, _standing_bend(sound, now)))
        if not strings:
            break
    return tuple(sorted(found, key=lambda cell: cell.string))


def _standing_bend(sound: SoundingNote, now: int) -> tuple[PitchGesture, ...]:
    """Return the bend that a sound is at, alone; () where its string is not bent."""
    bends = [shape for shape in sound.shapes if shape.start < now and shape.technique.curve in BEND_CURVES]
    return tuple(bends[-1:]) if bends and bends[-1].amount else ()


def _held_strings(timeline: Timeline, column: Column) -> set[int]:
    """Return the strings that a hold written at this instant names; all of them in the middle of a step."""
    tuning = timeline.settings.tuning
    bar = timeline.bars[column.bar]
    if bar.same or column.lead:
        return set()
    slots = timeline.slots[bar.first : bar.last]
    slot = next((slot for slot in slots if slot.at == column.at and slot.length), None)
    if slot is not None:
        parts = slot.event.parts if isinstance(slot.event, Event) else ()
        names = [part.string for part in parts if isinstance(part, Hold)]
        if "" not in names:
            return {string_number(tuning, name) for name in names}
    return set(range(1, tuning.strings + 1))
