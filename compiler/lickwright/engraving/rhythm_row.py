"""What stands below the strings: stems, beams, flags, dots, tuplets and the count.

In: a `PlacedSystem`. Out: groups of the display list. A quarter has a stem, an eighth a flag or beam; a half has an open head on its stem, a whole note
the head alone, since the number on the string cannot show that.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import FAINT, Item, ItemGroup, Text, box, disc, line
from lickwright.engraving.hand_letters import pluck_room
from lickwright.engraving.music_signs import FLAG_TOP, place_sign
from lickwright.engraving.note_values import BarRhythm, RhythmEvent, TupletInBar, beam_levels
from lickwright.engraving.placed import PlacedPiece, PlacedStop, PlacedSystem
from lickwright.engraving.typefaces import CAPITAL
from lickwright.notation.techniques import Stroke

_FLAGS = {1: "flag-8", 2: "flag-16"}
_DOT = 1.3  # radius of the dot of a dotted value
_HEAD = 2.5  # half the width of an open head
_STUB = 5.0  # of a beam on one side only
_TUPLET = 10.5  # a row of tuplets


def stems_top(system: PlacedSystem) -> float:
    """The y at which stems begin, below the strings and the letters of the plucking hand."""
    return system.bottom + pluck_room(system) + m.STEM_GAP


def draw_rhythm(system: PlacedSystem) -> Iterator[Item]:
    """Stems, beams, flags, dots and tuplets."""
    top = stems_top(system)
    for placed in system.pieces:
        yield from _piece(system, placed, top)


def _piece(system: PlacedSystem, placed: PlacedPiece, top: float) -> Iterator[Item]:
    """The rhythm of one piece; `top` is where its stems begin."""
    rhythm = system.bars[placed.piece.bar].rhythm
    here = _by_event(rhythm, placed)
    beams = _beams_on(rhythm, here)
    beamed = {n for beam in beams for n in beam}
    for shown in beams:
        yield ItemGroup(tuple(_beam(rhythm.events, shown, here, top)), "beam")
    for n, stop in here.items():
        if not rhythm.events[n].rest:
            yield from _value(stop, rhythm.events[n], top, n in beamed)
    for tuplet in rhythm.tuplets:
        yield from _tuplet_of(rhythm, tuplet, here, beamed, top, placed.right)


def _by_event(rhythm: BarRhythm, placed: PlacedPiece) -> dict[int, PlacedStop]:
    """The stops of a piece at which a value is written, by the index of their event."""
    stops = {stop.stop.at: stop for stop in placed.stops if stop.stop.event is not None}
    return {n: stops[event.at] for n, event in enumerate(rhythm.events) if event.at in stops}


def _beams_on(rhythm: BarRhythm, here: Container[int]) -> list[list[int]]:
    """The events under each beam, as far as they stand on the piece: two at least."""
    beams = ([n for n in range(first, last + 1) if n in here] for first, last in rhythm.beams)
    return [beam for beam in beams if len(beam) > 1]


def _tuplet_of(
    rhythm: BarRhythm, tuplet: TupletInBar, here: dict[int, PlacedStop], beamed: set[int], top: float, end: float
) -> Iterator[ItemGroup]:
    """What of a tuplet stands on a piece."""
    inside = [n for n, event in enumerate(rhythm.events) if tuplet.start <= event.at < tuplet.end]
    shown = [here[n] for n in inside if n in here]
    if shown:
        whole = bool(beamed.intersection(inside)) and any(f <= inside[0] and inside[-1] <= e for f, e in rhythm.beams)
        yield ItemGroup(tuple(_tuplet(shown, tuplet, top, whole, end)), "tuplet")


def _value(placed: PlacedStop, event: RhythmEvent, top: float, beamed: bool) -> Iterator[Item]:
    """The sign of one value: stem, head, flag, dots, strokes for a tremolo."""
    x, low = placed.x, top + m.STEM
    items: list[Item] = []
    open_head = event.base * 2 >= 1
    if event.base < 1:
        items.append(line(x, top + (3.4 if open_head else 0.0), x, low, 0.8))
    if open_head:
        items.append(disc(x, top + 1.8, _HEAD, 0.9, tall=0.66))
    if event.flags and not beamed:
        items += _flags(x, low, event.flags)
    items += _dots(x, top, event, beamed)
    if _is_tremolo(placed):
        middle = top + m.STEM * 0.45
        items += [line(x - 3, middle + 1.2 + 2.6 * n, x + 3, middle - 1.2 + 2.6 * n, 1.2) for n in range(3)]
    if items:
        yield ItemGroup(tuple(items), "stem", data=(("value", _value_text(event)),))


def _dots(x: float, top: float, event: RhythmEvent, beamed: bool) -> Iterator[Item]:
    """Yield the dots of a value: beside its open head, beside the middle of its stem, or behind its flag."""
    y = top + m.STEM / 2
    if event.base * 2 >= 1:
        dot, y = x + _HEAD + 2.4, top + 1.8
    elif event.flags and not beamed:
        dot = x + 8.0
    else:
        dot = x + 3.0
        if event.flags > 2:
            y = top + 2.2  # above the beams
    yield from (disc(dot + 3.4 * n, y, _DOT) for n in range(event.dots))


def _is_tremolo(placed: PlacedStop) -> bool:
    return any(mark.stroke is Stroke.REPEAT for note in placed.stop.marks for mark in note.sound.marks)


def _value_text(event: RhythmEvent) -> str:
    """`1/8.`: a value as the notation writes it."""
    return f"1/{event.base.denominator}{'.' * event.dots}"


def _flags(x: float, low: float, count: int) -> Iterator[Item]:
    """Flags at the foot of a stem."""
    middle = low - FLAG_TOP * m.FLAG_SPACE
    if count in _FLAGS:
        yield place_sign(_FLAGS[count], x - 0.3, middle, m.FLAG_SPACE, flip=True)
        return
    for n in range(count):
        yield place_sign("flag-8", x - 0.3, middle - m.BEAM_STEP * n, m.FLAG_SPACE, flip=True)


def _beam(events: Sequence[RhythmEvent], shown: Sequence[int], here: dict[int, PlacedStop], top: float) -> Iterator[Item]:  # fmt: skip
    low = top + m.STEM
    for level, first, last in beam_levels(events, shown[0], shown[-1]):
        bottom = low - (level - 1) * m.BEAM_STEP
        left, right = here[first].x, here[last].x
        if first == last:
            left, right = _stub(first, shown, here)
        yield box(left - 0.4, bottom - m.BEAM, right + 0.4, bottom)


def _stub(index: int, shown: Sequence[int], here: dict[int, PlacedStop]) -> tuple[float, float]:
    """Half a beam, on the side of the neighbor that it belongs to: the longer one before it, else the one after."""
    x = here[index].x
    if index > shown[0]:
        return max(x - _STUB, (x + here[index - 1].x) / 2), x
    return x, min(x + _STUB, (x + here[index + 1].x) / 2)


def _tuplet(shown: Sequence[PlacedStop], tuplet: TupletInBar, top: float, beamed: bool, end: float) -> Iterator[Item]:
    """The number of a tuplet; with a bracket where no beam shows what belongs to it."""
    left, right = shown[0].x - 2.5, shown[-1].x + 2.5
    y = top + m.STEM + _TUPLET * (tuplet.depth + 1) - 2.5
    middle = (left + right) / 2
    text = Text(middle, y, tuplet.label, "serif-italic", m.SMALL + 0.8, "middle")
    yield text
    if beamed and tuplet.depth == 0:
        return
    right = min(max(right, left + text.width + 10), end)
    half, level = text.width / 2 + 2.0, y - CAPITAL * m.SMALL / 2
    yield line(left, level - 3.0, left, level, 0.6)
    yield line(right, level - 3.0, right, level, 0.6)
    if middle - half > left:
        yield line(left, level, middle - half, level, 0.6)
    if middle + half < right:
        yield line(middle + half, level, right, level, 0.6)


def rhythm_bottom(system: PlacedSystem) -> float:
    """The y below which nothing of the rhythm stands."""
    depths = [t.depth + 1 for placed in system.pieces for t in system.bars[placed.piece.bar].rhythm.tuplets]
    return stems_top(system) + m.STEM + _TUPLET * max(depths, default=0)


def draw_count(system: PlacedSystem, y: float) -> Iterator[Item]:
    """The count, its base line at y; what falls on no note is grey."""
    for placed in system.stops:
        column = placed.stop.column
        if placed.stop.said and column >= 0:
            silent = system.grid.columns[column].silent
            ink = "ink" if placed.stop.marks and not silent else FAINT
            yield ItemGroup((Text(placed.x, y, placed.stop.said, "sans", m.COUNT, "middle", ink),), "count")
