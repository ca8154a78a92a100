"""A lick as engraved music: systems of tab that fill a width. The entry of this package.

In: a `Grid`, a width and options. Out: an `EngravedMusic`: systems with their heights and drawn items. Knows no page and no file format.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.engraving import measures as m
from lickwright.engraving.bar_lines import StaffHeight, bracket, join_staves
from lickwright.engraving.bends import draw_bends
from lickwright.engraving.chord_boxes import ChordBoxes, chord_boxes, draw_chord_boxes, with_room_for_boxes
from lickwright.engraving.display_list import Extent, Item, ItemGroup, extent, extents
from lickwright.engraving.hand_letters import draw_fretting_fingers, draw_plucking_fingers
from lickwright.engraving.joins import draw_joins
from lickwright.engraving.mark_rows import ABOVE_STAFF, ON_STRINGS, Level, RowItem, draw_rows
from lickwright.engraving.note_staff import HEIGHT as NOTES_HEIGHT
from lickwright.engraving.note_staff import Notes, draw_notes, head_room
from lickwright.engraving.placed import PlacedSystem, place_system
from lickwright.engraving.rhythm_row import (
    TabVoices,
    draw_count,
    draw_rhythm,
    draw_upper_voices,
    rhythm_bottom,
    tab_voices,
)
from lickwright.engraving.skyline import Skyline
from lickwright.engraving.staff_positions import staff_notes, with_room_for_notes
from lickwright.engraving.staff_voices import with_room_for_rests
from lickwright.engraving.stops import GHOST, bars_of_stops
from lickwright.engraving.system_lines import draw_numbers, draw_staff, margin, meter_room
from lickwright.engraving.system_spacing import SystemPlan, pieces_of, plan_systems
from lickwright.layout.grid import Grid, RowEntry

_STAFF_GAP = 7.0  # between a staff of notes and what stands on the strings
_BRACKET_GAP, _BRACKET_ROOM = 1.5, 4.0  # beside the names of the strings; that a bracket takes in all
NARROWEST = 120.0  # points; asked for less, this


@record
class EngravingOptions:
    """What is wanted of engraved music."""

    count: bool = False  # the count below the strings
    staff: bool = False  # a staff of notes above the strings
    chord_shapes: bool = False  # how each chord is held, over its symbol
    left_handed: bool = False  # those shapes mirrored


class Cursor(NamedTuple):
    """Where a cursor stands at an instant of a written bar."""

    bar: int  # index into Timeline.bars
    at: int  # grains from the start of the bar
    x: float


class System(NamedTuple):
    """One system: its drawn items, from y 0 down to its height."""

    group: ItemGroup
    height: float
    right: float  # the right end of the drawn items
    top: float  # of the strings
    bottom: float
    first_bar: int  # numbers of its first and last bar
    last_bar: int
    cursors: tuple[Cursor, ...]


class EngravedMusic(NamedTuple):
    """Engraved music."""

    systems: tuple[System, ...]
    width: float

    @property
    def height(self) -> float:
        """Of all systems one below the other."""
        return sum(system.height for system in self.systems) + m.SYSTEM_GAP * (len(self.systems) - 1)

    def stacked(self) -> Iterator[ItemGroup]:
        """All systems one below the other, from y 0."""
        y = 0.0
        for system in self.systems:
            yield system.group._replace(y=y)
            y += system.height + m.SYSTEM_GAP


def engrave(grid: Grid, width: float, options: EngravingOptions = EngravingOptions()) -> EngravedMusic:  # noqa: B008 (a frozen value)
    """The music of a lick in systems of `width` points; wider where a single number needs more."""
    width = max(NARROWEST, width)
    bars = bars_of_stops(grid, options.count)
    boxes: ChordBoxes = chord_boxes(grid) if options.chord_shapes else {}
    bars = with_room_for_boxes(bars, boxes) if boxes else bars
    notes: Notes = {}
    labels, head = margin(grid.timeline.settings.tuning.labels), 0.0
    if options.staff:
        written = staff_notes(grid, bars)
        bars = with_room_for_rests(grid, with_room_for_notes(bars, written, m.STAFF_SPACE), written)
        notes = {
            (stop.bar, stop.at, stop.lead): here
            for bar, row in zip(bars, written, strict=True)
            for stop, here in zip(bar.stops, row, strict=True)
        }
        head = head_room(grid.timeline)
    heads = (head + meter_room(grid.timeline), head)
    labels += _BRACKET_ROOM if options.staff else 0.0
    margins = (labels + heads[0], labels + heads[1])
    pieces = pieces_of(grid, bars, width - max(margins))
    plans = plan_systems(pieces, width, margins) if pieces else [SystemPlan((), 1.0)]
    systems = tuple(
        _system(
            place_system(grid, bars, plan.pieces, plan.scale, margins[1 if n else 0], heads[1 if n else 0], n == 0),
            options,
            notes,
            boxes,
        )
        for n, plan in enumerate(plans)
    )
    widest = max((system.right for system in systems), default=width)
    return EngravedMusic(systems, max(width, widest))


def _system(system: PlacedSystem, options: EngravingOptions, notes: Notes, boxes: ChordBoxes) -> System:
    bends = draw_bends(system)
    more = [RowItem(Level.AMOUNT, group) for group in bends.amounts]
    more += [RowItem(Level.SHAPE, group) for group in draw_chord_boxes(system, boxes, options.left_handed)]
    numbers = (*draw_numbers(system), *draw_fretting_fingers(system))
    joins = tuple(draw_joins(system))
    sky = Skyline(-5.0)
    for item in (*numbers, *joins, *bends.arrows):
        box = extent(item)
        if box.top < 0:
            sky.add(box)

    def shown(above: RowEntry) -> bool:
        return above.technique is not GHOST  # its number says it

    voices: TabVoices = {} if options.staff else tab_voices(system)  # the staff shows them better
    number = (Level.NUMBER,)  # over the staff of notes, where there is one
    if options.staff:
        rows: list[Item] = [*draw_rows(system, more, sky, shown, ON_STRINGS)]
        rows += _staff(system, notes, sky, [*map(extent, (*numbers, *joins, *bends.arrows, *rows))])
        rows += draw_rows(system, more, sky, shown, (*number, *ABOVE_STAFF))
    else:
        rows = [*draw_upper_voices(system, voices, sky)]
        rows += draw_rows(system, more, sky, shown, (*number, *ON_STRINGS, *ABOVE_STAFF))
    below = [*draw_plucking_fingers(system), *draw_rhythm(system, voices)]
    bottom = rhythm_bottom(system, voices)
    if options.count:
        below += draw_count(system, bottom + m.COUNT + 2.0)
    items: tuple[Item, ...] = (*draw_staff(system), *numbers, *joins, *bends.arrows, *rows, *below)
    around = extents(items)
    top, numbers_of = -around.top, [system.grid.bars[p.piece.bar].bar.number for p in system.pieces] or [0]
    group = ItemGroup(
        (ItemGroup(items, y=top),),
        "system",
        data=(("top", f"{top:.2f}"), ("bottom", f"{top + system.bottom:.2f}")),
        alt=_said(numbers_of[0], numbers_of[-1]),
    )
    cursors = tuple(
        Cursor(placed.stop.bar, placed.stop.at, placed.x) for placed in system.stops if not placed.stop.lead
    )
    return System(
        group, around.bottom + top, around.right, top, top + system.bottom, numbers_of[0], numbers_of[-1], cursors
    )


def _staff(system: PlacedSystem, notes: Notes, sky: Skyline, between: list[Extent]) -> Iterator[Item]:
    """The staff of notes over what stands on the strings (`between`), and what joins the two; `sky` grows by it."""
    start = system.left - system.head
    items = tuple(draw_notes(system, notes, start, meter_room(system.grid.timeline) if system.opens else 0.0))
    boxes = [extent(item) for item in items]
    y = min(sky.top(box.left, box.right) - _STAFF_GAP - box.bottom for box in boxes)
    yield ItemGroup(items, "staff", y=y)
    placed = [Extent(box.left, box.top + y, box.right, box.bottom + y) for box in boxes]
    low = y + NOTES_HEIGHT.bottom
    below = [box for box in placed if box.bottom > low + 1.0]
    yield from join_staves(system, start, StaffHeight(low, 0.0), [*between, *below])
    labels = margin(system.grid.timeline.settings.tuning.labels)
    yield bracket(start - labels - _BRACKET_GAP, StaffHeight(y + NOTES_HEIGHT.top, system.bottom))
    sky.rise(y + NOTES_HEIGHT.top - 3.0)
    for box in placed:
        sky.add(box)


def _said(first: int, last: int) -> str:
    """`tab of bars 1 to 4`."""
    name = f"bar {first}" if first else "the pick-up"
    return f"tab of {name}" if first == last else f"tab of {name.replace('bar ', 'bars ')} to {last}"
