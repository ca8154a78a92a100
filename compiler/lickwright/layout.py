"""A lick as drawn: its written bars as columns, one an instant, with what stands in them and what is counted below.

In: a `Timeline`. Out: a `Grid`. Content is what sounds the first time a bar is played; a `%` keeps its sign. The rows
above the strings are made in `layout_rows.py`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence, Set
from fractions import Fraction
from functools import lru_cache
from math import gcd
from typing import NamedTuple

from lickwright.grid import Above, Cell, Column, DrawnBar, Grid, Row
from lickwright.layout_rows import ChordWritten, Stop, chords_written, rows_above, stops_written, string_number
from lickwright.music.rhythm import Meter, count
from lickwright.notation.techniques import Curve
from lickwright.notation.tree import Event, Hold, Rest, Unknown
from lickwright.timeline import Bar, Shape, Sound, Timeline

__all__ = ["Above", "Cell", "Column", "DrawnBar", "Grid", "Row", "count_shift", "held_cells", "lay_out"]

Key = tuple[int, int]  # grains in the bar, minus the lead: the order of a bar's columns
MAX_RULER = 16  # parts of a beat: a coarser division is ruled out in full, of a finer one only its own instants


class _Draft(NamedTuple):
    """What is known of one bar before its columns are made."""

    cells: dict[Key, dict[int, Cell]]  # by column, then by string
    silence: list[tuple[int, bool]]  # instants where a silence starts, goes on or ends, in order
    instants: set[int]  # grains at which something is said above: they get a column where a player counts them


def lay_out(timeline: Timeline) -> Grid:
    """The columns of every written bar, and the rows above them."""
    stops, chords = stops_written(timeline), chords_written(timeline)
    drafts = _drafts(timeline, stops, chords)
    columns: list[Column] = []
    bars: list[DrawnBar] = []
    for index, bar in enumerate(timeline.bars):
        first = len(columns)
        columns += _columns(timeline, index, drafts[index])
        bars.append(DrawnBar(bar, first, len(columns)))
    above = rows_above(timeline, columns, bars, stops, chords)
    return Grid(timeline, tuple(columns), tuple(bars), tuple(above))


def _drafts(timeline: Timeline, stops: Sequence[Stop], chords: Sequence[ChordWritten]) -> list[_Draft]:
    """Sounds, silences and sayings sorted into the bars and instants where they are written."""
    slots = timeline.slots
    drafts = [_Draft({}, [], set()) for _ in timeline.bars]
    for sound in timeline.sounds:
        slot = slots[sound.slot]
        if sound.pass_no == 0 and slot.bar == sound.bar:  # not equal in a bar that a `%` repeats
            column = drafts[slot.bar].cells.setdefault((slot.at, -sound.lead), {})
            column[sound.string] = Cell(sound.string, sound, True, ())
        for shape in sound.shapes:
            _add_shape(timeline, drafts, sound, shape)
    silent = False
    for slot in slots:
        before, silent = silent, _silent(slot.event, silent)
        if silent or before:
            drafts[slot.bar].silence.append((slot.at, silent))
    for index, _ in stops:
        drafts[slots[index].bar].instants.add(slots[index].at)
    for saying in timeline.sayings:
        slot = slots[saying.slot]
        drafts[slot.bar].instants.add(slot.at)
    for index, at, _ in chords:
        drafts[index].instants.add(at)
    return drafts


def _add_shape(timeline: Timeline, drafts: list[_Draft], sound: Sound, shape: Shape) -> None:
    """Into the column of the slot it is written in; once, though several passes or a `%` play it."""
    slot = timeline.slots[shape.slot]
    lead = sound.lead if shape.slot == sound.slot else 0
    column = drafts[slot.bar].cells.setdefault((slot.at, -lead), {})
    cell = column.get(sound.string)
    if cell is None:
        cell = Cell(sound.string, sound, False, ())
    elif any(known.span == shape.span for known in cell.shapes):
        return
    column[sound.string] = cell._replace(shapes=(*cell.shapes, shape))


def _silent(event: Event | Unknown, before: bool) -> bool:
    """Whether no string sounds during a slot: a rest on all strings, or a hold after one."""
    if isinstance(event, Unknown):
        return False
    if before:
        return all(isinstance(part, (Hold, Rest)) for part in event.parts)
    part = event.parts[0]
    return isinstance(part, Rest) and not part.string and len(event.parts) == 1


def _columns(timeline: Timeline, index: int, draft: _Draft) -> Iterator[Column]:
    """The columns of one bar in order."""
    bar, cells, silences = timeline.bars[index], draft.cells, draft.silence
    if bar.same:
        for at in sorted({0} | draft.instants):
            yield Column(index, at, 0, (), False, "")
        return
    leads = [(at, lead, "") for at, lead in cells if lead]
    happens = frozenset([at for at, lead in cells if not lead]).union(_rests_begin(silences))
    meter, shift = timeline.settings.meter, count_shift(timeline, bar)
    counted = _counted(happens, frozenset(draft.instants), shift, bar.length, timeline.grain, meter)
    for at, lead, said in sorted([*leads, *counted]) if leads else counted:
        cell = cells.get((at, lead))
        here = tuple(cell.values()) if cell else ()
        past = bisect_left(silences, (at + 1,)) if silences else 0
        silent = past > 0 and silences[past - 1][1]
        yield Column(index, at, -lead, tuple(sorted(here)) if len(here) > 1 else here, silent, said)


def _rests_begin(silences: list[tuple[int, bool]]) -> Iterator[int]:
    """Where a bar falls silent."""
    before = False
    for at, silent in silences:
        if silent and not before:
            yield at
        before = silent


def count_shift(timeline: Timeline, bar: Bar) -> int:
    """Grains by which a bar is counted late: a pick-up is counted as the end of a full bar."""
    return max(0, int(timeline.settings.meter.length * timeline.grain) - bar.length) if bar.number == 0 else 0


@lru_cache(maxsize=4096)  # of a bar's rhythm alone, and most bars have one that was there before
def _counted(
    happens: Set[int], offered: Set[int], shift: int, length: int, grain: int, meter: Meter
) -> tuple[tuple[int, int, str], ...]:
    """The instants of a bar that have a column, in order, each with a lead of 0 and its count.

    They are those where something `happens`, those `offered` that are counted, the beats, and a ruler in hard places.
    """
    beat, rest = divmod(meter.beat.numerator * grain, meter.beat.denominator)  # in grains
    instants = {at + shift for at in (0, *happens)}
    instants.update(at + shift for at in offered if _said(at + shift, grain, meter, False))
    sixes: Set[int] = frozenset()
    if not rest:  # else a lick of nothing but long notes, whose grains are coarser than a beat
        instants.update(range(shift + -shift % beat, shift + length, beat))
        sixes = _sixes(instants, beat, meter)
        uncounted = {at // beat for at in instants if not _said(at, grain, meter, at // beat in sixes)}
        instants.update([at for at in _ruler(instants, uncounted | sixes, beat) if shift <= at < shift + length])
    return tuple(
        (at - shift, 0, _said(at, grain, meter, bool(sixes) and at // beat in sixes) or ".") for at in sorted(instants)
    )


@lru_cache(maxsize=4096)
def _said(at: int, grain: int, meter: Meter, sextuplet: bool) -> str:
    return count(Fraction(at, grain), meter, sextuplet)


def _sixes(instants: Set[int], beat: int, meter: Meter) -> Set[int]:
    """The beats played in six: those with an instant at an odd sixth. They are counted in sixes throughout."""
    if meter.compound or beat % 6:
        return frozenset()
    sixth = beat // 6
    return frozenset(at // sixth // 6 for at in instants if at % sixth == 0 and at // sixth % 6 in (1, 5))


def _ruler(instants: Set[int], beats: Set[int], beat: int) -> Iterator[int]:
    """All equal parts of some beats: those counted in six, and those with an instant that nobody counts.

    Else one could not read off where a 32nd or a fifth is.
    """
    for number in beats:
        start = number * beat
        part = gcd(beat, *(at - start for at in instants if start <= at < start + beat))
        if beat // part <= MAX_RULER:
            yield from range(start, start + beat, part)


def held_cells(grid: Grid, index: int) -> tuple[Cell, ...]:
    """What is held over into column `index` by a written hold: drawn again where a line starts there.

    The shape of such a cell is the bend it is still at, if any. What merely rings on under new notes is not held.
    """
    timeline, column = grid.timeline, grid.columns[index]
    strings = _held_strings(timeline, column)
    if not strings:
        return ()
    now = next(turn.start for turn in timeline.passes if turn.bar == column.bar and turn.number == 0) + column.at
    before = bisect_left(timeline.sounds, now, key=lambda sound: sound.start)
    found: dict[int, Cell] = {}
    for sound in reversed(timeline.sounds[:before]):
        if sound.string in strings:
            strings.remove(sound.string)
            if sound.end > now:
                bends = [shape for shape in sound.shapes if shape.start < now and shape.technique.curve in _STAYS]
                found[sound.string] = Cell(
                    sound.string, sound, False, tuple(bends[-1:]) if bends and bends[-1].amount else ()
                )
        if not strings:
            break
    return tuple(found[string] for string in sorted(found))


_STAYS = (Curve.BEND, Curve.PREBEND, Curve.RELEASE)  # what leaves the string at a pitch of its own


def _held_strings(timeline: Timeline, column: Column) -> set[int]:
    """The strings that a hold written at this instant names; all of them in the middle of a step."""
    tuning = timeline.settings.tuning
    bar = timeline.bars[column.bar]
    if bar.same or column.lead:
        return set()
    for slot in timeline.slots[bar.first : bar.last]:
        if slot.at == column.at and slot.length:
            parts = slot.event.parts if isinstance(slot.event, Event) else ()
            names = [part.string for part in parts if isinstance(part, Hold)]
            if "" not in names:
                return {string_number(tuning, name) for name in names}
            break
    return set(range(1, tuning.strings + 1))
