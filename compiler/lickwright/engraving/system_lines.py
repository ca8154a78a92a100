"""The staff of a system: strings with gaps for the numbers, bar lines, repeats, the tuning and the meter, numbers and rests.

In: a `PlacedSystem`. Out: items of the display list.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.engraving import measures as m
from lickwright.engraving.bar_lines import bar_line, bar_lines, tab_height
from lickwright.engraving.display_list import ACCENT, FAINT, Item, ItemGroup, Text, box, disc, line
from lickwright.engraving.music_signs import music_sign, place_sign
from lickwright.engraving.placed import PlacedPiece, PlacedStop, PlacedSystem, drawn_event
from lickwright.engraving.stops import NoteMark
from lickwright.engraving.typefaces import CAPITAL, text_width
from lickwright.music.accidentals import string_label_signs
from lickwright.timeline.model import Timeline

_SHORT_RESTS = {4: "rest-4", 8: "rest-8", 16: "rest-16", 32: "rest-32"}


def draw_staff(system: PlacedSystem) -> Iterator[Item]:
    """Strings, margin and bar lines."""
    yield ItemGroup(tuple(_strings(system)), "strings")
    tuning, start = system.grid.timeline.settings.tuning, _start(system)
    for string in range(1, tuning.strings + 1):
        y = (string - 1) * m.STRING + CAPITAL * m.LABEL / 2
        yield ItemGroup(
            (Text(start - 3.0, y, string_label_signs(tuning.label(string)), "sans", m.LABEL, "end", FAINT),),
            "string-name",
        )
    if system.opens:
        yield ItemGroup(tuple(_meter(system)), "meter")
    height = tab_height(system)
    yield bar_line(start, height)
    for placed in system.pieces:
        yield from bar_lines(system, placed, height)


def margin(system_labels: Sequence[str]) -> float:
    """Room for the names of the strings before a system."""
    return max(text_width(string_label_signs(label), "sans", m.LABEL) for label in system_labels) + 5.0


_METER = 16.0  # size of the numbers of the meter


def meter_room(timeline: Timeline) -> float:
    """Return the room before the first bar in which the meter stands: wider where a number has two digits."""
    meter = timeline.settings.meter
    widest = max(text_width(str(number), "sans-bold", _METER) for number in (meter.beats, meter.unit))
    return widest + 2.85


def _start(system: PlacedSystem) -> float:
    """Where the strings begin: before the meter, where it is shown, and what a staff above has there."""
    return system.left - system.head


def _strings(system: PlacedSystem) -> Iterator[Item]:
    start = _start(system)
    for string in range(1, system.strings + 1):
        y = (string - 1) * m.STRING
        x = start
        for left, right in sorted((*_clear(system, string), *_under_meter(system, y))):
            if left > x:
                yield line(x, y, left, y, m.LINE)
            x = max(x, right)
        if x < system.right:
            yield line(x, y, system.right, y, m.LINE)


def _clear(system: PlacedSystem, string: int) -> Iterator[tuple[float, float]]:
    """The stretches of a string that are kept clear for numbers."""
    for placed in system.stops:
        for mark in placed.stop.marks:
            if mark.string == string:
                yield placed.x - mark.half - m.CLEAR, placed.x + mark.right + m.CLEAR


def _meter(system: PlacedSystem) -> Iterator[Text]:
    meter = system.grid.timeline.settings.meter
    size = min(_METER, system.bottom * 0.42)
    x, middle = system.left - meter_room(system.grid.timeline) / 2 + 1.0, system.bottom / 2
    yield Text(x, middle - 1.4, str(meter.beats), "sans-bold", size, "middle")
    yield Text(x, middle + 1.4 + CAPITAL * size, str(meter.unit), "sans-bold", size, "middle")


def _under_meter(system: PlacedSystem, y: float) -> Iterator[tuple[float, float]]:
    """The stretch of a string at y that is kept clear for the meter."""
    for text in _meter(system) if system.opens else ():
        if text.y - CAPITAL * text.size - 1.5 < y < text.y + 1.5:
            yield text.x - text.width / 2 - m.CLEAR, text.x + text.width / 2 + m.CLEAR


def draw_numbers(system: PlacedSystem) -> Iterator[Item]:
    """The numbers on the strings, in playing order, each a group that says which event it is; and the rests."""
    for placed in system.stops:
        for mark in sorted(placed.stop.marks, key=lambda mark: -mark.string):
            yield _number(system, placed, mark)
        if placed.stop.event is not None and placed.stop.event.rest:
            yield ItemGroup(tuple(_rest(system, placed)), "rest")


def _number(system: PlacedSystem, placed: PlacedStop, mark: NoteMark) -> ItemGroup:
    face = "sans" if mark.held else "sans-bold"
    y = (mark.string - 1) * m.STRING + CAPITAL * mark.size / 2
    event = drawn_event(system.grid.timeline, mark.sound)
    text = Text(placed.x, y, mark.text, face, mark.size, "middle")
    return ItemGroup((text,), "held" if mark.held else "note", event)


def _rest(system: PlacedSystem, placed: PlacedStop) -> Iterator[Item]:
    event = placed.stop.event
    assert event is not None
    middle = round(system.bottom / 2 / m.STRING) * m.STRING if system.strings % 2 else system.bottom / 2
    x = placed.x
    if event.whole_bar:
        piece = next(p for p in system.pieces if p.piece.bar == placed.stop.bar)
        x = (piece.left + piece.right) / 2
    if event.base >= 1:
        yield box(x - 4, middle - 4.5, x + 4, middle - 1.5)
        yield line(x - 6, middle - 4.5, x + 6, middle - 4.5)
        right = x + 6
    elif event.base * 2 >= 1:
        yield box(x - 4, middle + 1.5, x + 4, middle + 4.5)
        yield line(x - 6, middle + 4.5, x + 6, middle + 4.5)
        right = x + 6
    else:
        name = _SHORT_RESTS[min(32, event.base.denominator)]
        width = music_sign(name).width * m.SPACE
        yield place_sign(name, x - width / 2, middle, m.SPACE)
        right = x + width / 2
    for n in range(event.dots):
        yield disc(right + 2.5 + 3.0 * n, middle - 2.0, 0.9)


def draw_bar_number(system: PlacedSystem, placed: PlacedPiece) -> ItemGroup | None:
    """The number over the start of a bar; in parentheses where a part of it stands on an earlier system; None for a pick-up."""
    number = system.grid.bars[placed.piece.bar].bar.number
    if not number or (not placed.piece.opens and placed is not system.pieces[0]):
        return None
    text = str(number) if placed.piece.opens else f"({number})"
    return ItemGroup((Text(placed.left, 0.0, text, "sans", m.SMALL, "start", ACCENT),), "bar-number")
