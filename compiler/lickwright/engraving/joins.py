"""What joins notes on the strings: arcs of hammer-ons, pull-offs and ties, slides, rolls.

In: a `PlacedSystem`. Out: groups of the display list, each with the event that it belongs to. Bends are in `bends.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Command, Item, ItemGroup, Path, line
from lickwright.engraving.placed import PlacedStop, PlacedSystem, drawn_event
from lickwright.engraving.stops import NoteMark
from lickwright.layout.grid import Cell
from lickwright.notation.techniques import Curve, Stroke, TechniqueKind

_BENT = (Curve.BEND, Curve.PREBEND)
_STUB = 8.0  # of an arc or line that comes from nowhere
_LOW, _HIGH = 1.5, 4.0  # how high an arc rises: under a number of the next string, and where it is free
_OVER = 0.43  # from a string to the foot of an arc, in the size of its number


def draw_joins(system: PlacedSystem) -> Iterator[ItemGroup]:
    """Arcs, slides and ties between the numbers, and from the systems before and to those after."""
    seen: dict[int, tuple[float, float]] = {}
    for placed in system.stops:
        for mark in placed.stop.marks:
            yield from _into(system, placed, mark, seen)
        for mark in placed.stop.marks:
            yield from _off(system, placed, mark)
            seen[mark.sound.index] = _leaves_from(placed, mark)
        yield from _roll(system, placed)
    yield from _onwards(system, seen)


def _leaves_from(placed: PlacedStop, mark: NoteMark) -> tuple[float, float]:
    """Return where what leads on from a number begins, and how far to the right it is kept clear there: behind the arrow of a release."""
    releases = [
        arrow.x
        for arrow in placed.stop.arrows
        if placed.stop.marks[arrow.mark] is mark and arrow.shape.technique.curve is Curve.RELEASE
    ]
    return (placed.x + releases[-1] + 1.5, 1.0) if releases else (placed.x, mark.right)


def _into(system: PlacedSystem, placed: PlacedStop, mark: NoteMark, seen: dict[int, tuple[float, float]]) -> Iterator[ItemGroup]:  # fmt: skip
    """What leads into a number."""
    sound, begin = mark.sound, mark.sound.begin
    event = drawn_event(system.grid.timeline, sound)
    if mark.held:
        if not any(shape.technique.curve in _BENT for shape in sound.shapes):
            x, _ = seen.get(sound.index, (system.left + 1.0, 0.0))
            yield ItemGroup((_arc(system, x, placed.x, mark.string),), "tie", event)
        return
    if begin.curve is Curve.SLIDE_IN:
        up = begin.amount < 0
        right = placed.x - mark.half - 1.2
        yield ItemGroup((_slant(right - 6.0, right, mark.string, up),), "slide", event)
        return
    if begin.kind is TechniqueKind.ENTRY:
        if begin.stroke is not Stroke.TAP:
            yield ItemGroup((_arc(system, placed.x - mark.half - _STUB, placed.x - 0.5, mark.string),), "slur", event)
        return
    if begin.kind is not TechniqueKind.JOIN:
        return
    x, half = seen.get(sound.source if sound.source is not None else -1, (system.left + 1.0, 0.0))
    if begin.curve is Curve.GLIDE:
        left, right = x + half + 1.4, placed.x - mark.half - 1.4
        yield ItemGroup((_slant(min(left, right - 4.0), right, mark.string, begin.direction > 0),), "slide", event)
    if begin.stroke is not Stroke.PICK:
        yield ItemGroup((_arc(system, x, placed.x, mark.string),), "slur", event)


def _off(system: PlacedSystem, placed: PlacedStop, mark: NoteMark) -> Iterator[ItemGroup]:
    """A slide to nowhere."""
    for shape in mark.shapes:
        if shape.technique.curve is Curve.SLIDE_OFF:
            left = placed.x + mark.right + 1.2
            arrows = [arrow.x for arrow in placed.stop.arrows]
            left = max([left, *(placed.x + x + 1.0 for x in arrows)])
            item = _slant(left, left + 7.0, mark.string, shape.technique.amount > 0)
            yield ItemGroup((item,), "slide", drawn_event(system.grid.timeline, mark.sound))


def _onwards(system: PlacedSystem, seen: dict[int, tuple[float, float]]) -> Iterator[ItemGroup]:
    """Arcs and slides to a note on the next system, as far as the end of this one."""
    last = system.columns[1]
    if last < 0:
        return
    done: set[int | None] = {None}
    for column in system.grid.columns[last + 1 : last + 9]:
        for cell in column.cells:
            source = cell.sound.source if cell.starts else cell.sound.index
            if source not in done and source in seen and not cell.shapes:
                done.add(source)
                yield from _towards(system, cell, *seen[source])


def _towards(system: PlacedSystem, cell: Cell, x: float, half: float) -> Iterator[ItemGroup]:
    """What leads from a number at x to a cell of the next system."""
    begin, event = cell.sound.begin, drawn_event(system.grid.timeline, cell.sound)
    if cell.starts and begin.curve is Curve.GLIDE:
        slant = _slant(x + half + 1.4, system.right - 1.5, cell.string, begin.direction > 0)
        yield ItemGroup((slant,), "slide-on", event)
    if not cell.starts or (begin.kind is TechniqueKind.JOIN and begin.stroke is not Stroke.PICK):
        yield ItemGroup((_arc(system, x, system.right + 2.0, cell.string),), "slur-on", event)


def _slant(left: float, right: float, string: int, up: bool) -> Path:
    y, rise = (string - 1) * m.STRING, 2.4 if up else -2.4
    return line(left, y + rise, right, y - rise, 0.8)


def _arc(system: PlacedSystem, left: float, right: float, string: int) -> Path:
    """A slur over a string, thick in the middle; flat where a number of the next string is in the way."""
    y = (string - 1) * m.STRING - _OVER * m.DIGIT
    left, right = left + 1.0, right - 1.0
    if right - left < 3.0:
        left, right = (left + right) / 2 - 1.5, (left + right) / 2 + 1.5
    crowded = string > 1 and any(
        mark.string == string - 1 and left - mark.half <= placed.x <= right + mark.half
        for placed in system.stops
        for mark in placed.stop.marks
    )
    rise = _LOW if crowded else min(_HIGH, 1.8 + (right - left) * 0.05)
    return lens(left, right, y, rise)


def lens(left: float, right: float, y: float, rise: float) -> Path:
    """An arc between two places, pointed at its ends; a negative rise hangs down."""
    span = right - left
    a, b = left + span * 0.22, right - span * 0.22
    outer, inner = rise * 4 / 3, rise * 4 / 3 - (0.85 if rise > 0 else -0.85)
    commands: tuple[Command, ...] = (
        ("M", left, y), ("C", a, y - outer, b, y - outer, right, y), ("C", b, y - inner, a, y - inner, left, y), ("Z",),
    )  # fmt: skip
    return Path(commands, 0.0)


def _roll(system: PlacedSystem, placed: PlacedStop) -> Iterator[ItemGroup]:
    """The wave before a rolled chord, with an arrow to the string that sounds last."""
    rolled = [mark for mark in placed.stop.marks if mark.sound.roll is not None and not mark.held]
    if len(rolled) < 2:
        return
    x = placed.x - placed.stop.left + 2.5
    strings = [mark.string for mark in rolled]
    top, bottom = (min(strings) - 1) * m.STRING - 3.0, (max(strings) - 1) * m.STRING + 3.0
    first, last = rolled[0].sound, rolled[-1].sound
    upwards = (last.roll or 0) < (first.roll or 0)
    tip, foot = (top, bottom) if upwards == (first.string < last.string) else (bottom, top)
    down = 1.0 if tip > foot else -1.0
    commands: list[Command] = [("M", x, foot)]
    y, side = foot, 1.0
    while (tip - y) * down > 4.5:
        commands.append(("C", x + 1.8 * side, y + 1.0 * down, x + 1.8 * side, y + 2.0 * down, x, y + 3.0 * down))
        y += 3.0 * down
        side = -side
    items: list[Item] = [Path(tuple(commands), 0.7), arrowhead(x, tip, down)]
    yield ItemGroup(tuple(items), "roll", drawn_event(system.grid.timeline, rolled[0].sound))


def arrowhead(x: float, y: float, down: float) -> Path:
    """A small triangle with its tip at (x, y); `down` is 1 where it points down the page and -1 where up."""
    return Path((("M", x, y), ("L", x - 1.9, y - 4.0 * down), ("L", x + 1.9, y - 4.0 * down), ("Z",)), 0.0)
