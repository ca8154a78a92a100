"""What stands below the strings: stems, beams, flags, dots, tuplets and the count.

In: a `PlacedSystem`. Out: groups of the display list. A quarter has a stem, an eighth a flag or beam; a half has an open head on its stem, a whole note
the head alone, since the number on the string cannot show that.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeAlias

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import FAINT, Item, ItemGroup, Text, box, disc, extent, line
from lickwright.engraving.hand_letters import pluck_room
from lickwright.engraving.music_signs import FLAG_TOP, place_sign
from lickwright.engraving.note_values import BarRhythm, RhythmEvent, TupletInBar, beam_levels
from lickwright.engraving.placed import PlacedPiece, PlacedStop, PlacedSystem
from lickwright.engraving.skyline import Skyline
from lickwright.engraving.staff_positions import StaffNote
from lickwright.engraving.staff_voices import StaffVoice, two_voices
from lickwright.engraving.stops import BarStops, Stop
from lickwright.engraving.typefaces import CAPITAL
from lickwright.layout.grid import Grid
from lickwright.notation.techniques import Stroke

_FLAGS = {1: "flag-8", 2: "flag-16"}
_DOT = 1.3  # radius of the dot of a dotted value
_HEAD = 2.5  # half the width of an open head
_STUB = 5.0  # of a beam on one side only
_TUPLET = 10.5  # a row of tuplets
_ABOVE = 2.0  # from what stands on the strings to stems that go up

TabVoices: TypeAlias = Mapping[int, tuple[StaffVoice, StaffVoice]]  # by bar: the upper and the lower one


def tab_voices(system: PlacedSystem) -> TabVoices:
    """Return the bars of a system in which a bass is held under a melody, with both voices; none with bends, whose arrows need the room above."""
    whole = [p.piece.bar for p in system.pieces if p.piece.opens and p.piece.closes and not p.piece.same]
    found = ((bar, voices_on_strings(system.grid, bar, system.bars[bar])) for bar in whole)
    return {bar: voices for bar, voices in found if voices is not None}


def voices_on_strings(grid: Grid, index: int, bar: BarStops) -> tuple[StaffVoice, StaffVoice] | None:
    """Return the voices of one bar as the strings show them; None for one voice, and for a bar with bends."""
    if any(stop.arrows for stop in bar.stops):
        return None
    return two_voices(grid, index, bar, _by_pitch)


def _by_pitch(stop: Stop) -> list[StaffNote]:
    """Return the notes of a stop with their pitches in place of steps of a staff."""
    return [StaffNote(round(mark.sound.pitch), "", mark) for mark in stop.marks]


def stems_top(system: PlacedSystem) -> float:
    """The y at which stems begin, below the strings and the letters of the plucking hand."""
    return system.bottom + pluck_room(system) + m.STEM_GAP


class _Side(NamedTuple):
    """Where stems begin, and to which side of the strings they go."""

    base: float
    down: bool = True

    def y(self, distance: float) -> float:
        """Return the y at a distance from where the stems begin."""
        return self.base + distance if self.down else self.base - distance

    @property
    def tip(self) -> float:
        """The y where they end."""
        return self.y(m.STEM)


class _Beat(NamedTuple):
    """Where one value stands."""

    x: float
    tremolo: bool


def draw_rhythm(system: PlacedSystem, voices: TabVoices) -> Iterator[Item]:
    """Stems, beams, flags, dots and tuplets below the strings: of all notes, or of the lower voice where a bar has two."""
    side = _Side(stems_top(system))
    for placed in system.pieces:
        two = voices.get(placed.piece.bar)
        if two is None:
            rhythm = system.bars[placed.piece.bar].rhythm
            yield from _voice(rhythm, _by_event(rhythm, placed), side, placed.right)
        else:
            yield from _voice(two[1].rhythm, _of_voice(system, placed, two[1]), side, placed.right)


def draw_upper_voices(system: PlacedSystem, voices: TabVoices, sky: Skyline) -> Iterator[ItemGroup]:
    """Yield the rhythm of the upper voices above the strings, stems up; `sky` grows by it."""
    for placed in system.pieces:
        if placed.piece.bar in voices:
            upper, _ = voices[placed.piece.bar]
            side = _Side(sky.top(placed.left, placed.right) - _ABOVE, False)
            for group in _voice(upper.rhythm, _of_voice(system, placed, upper), side, placed.right):
                yield group
                sky.add(extent(group))


def _of_voice(system: PlacedSystem, placed: PlacedPiece, voice: StaffVoice) -> dict[int, _Beat]:
    """Return where the values of one of two voices stand, by the index of their event; rests are left out."""
    events = voice.rhythm.events
    return {n: _Beat(system.x_at(placed.piece.bar, events[n].at), False) for n in voice.notes}


def _by_event(rhythm: BarRhythm, placed: PlacedPiece) -> dict[int, _Beat]:
    """Return where the values of a piece stand, by the index of their event."""
    stops = {stop.stop.at: _Beat(stop.x, _is_tremolo(stop)) for stop in placed.stops if stop.stop.event is not None}
    return {n: stops[event.at] for n, event in enumerate(rhythm.events) if event.at in stops}


def _voice(rhythm: BarRhythm, here: dict[int, _Beat], side: _Side, end: float) -> Iterator[ItemGroup]:
    """The rhythm of one voice of a piece that ends at `end`."""
    beams = _beams_on(rhythm, here)
    beamed = {n for beam in beams for n in beam}
    for shown in beams:
        yield ItemGroup(tuple(_beam(rhythm.events, shown, here, side)), "beam")
    for n, beat in here.items():
        if not rhythm.events[n].rest:
            yield from _value(beat, rhythm.events[n], side, n in beamed)
    for tuplet in rhythm.tuplets:
        yield from _tuplet_of(rhythm, tuplet, here, beamed, side, end)


def _beams_on(rhythm: BarRhythm, here: Container[int]) -> list[list[int]]:
    """The events under each beam, as far as they stand on the piece: two at least."""
    beams = ([n for n in range(first, last + 1) if n in here] for first, last in rhythm.beams)
    return [beam for beam in beams if len(beam) > 1]


def _tuplet_of(
    rhythm: BarRhythm, tuplet: TupletInBar, here: dict[int, _Beat], beamed: set[int], side: _Side, end: float
) -> Iterator[ItemGroup]:
    """What of a tuplet stands on a piece."""
    inside = [n for n, event in enumerate(rhythm.events) if tuplet.start <= event.at < tuplet.end]
    shown = [here[n].x for n in inside if n in here]
    if shown:
        whole = bool(beamed.intersection(inside)) and any(f <= inside[0] and inside[-1] <= e for f, e in rhythm.beams)
        yield ItemGroup(tuple(_tuplet(shown, tuplet, side, whole, end)), "tuplet")


def _value(beat: _Beat, event: RhythmEvent, side: _Side, beamed: bool) -> Iterator[ItemGroup]:
    """The sign of one value: stem, head, flag, dots, strokes for a tremolo."""
    x = beat.x
    items: list[Item] = []
    open_head = event.base * 2 >= 1
    if event.base < 1:
        items.append(line(x, side.y(3.4 if open_head else 0.0), x, side.tip, 0.8))
    if open_head:
        items.append(disc(x, side.y(1.8), _HEAD, 0.9, tall=0.66))
    if event.flags and not beamed:
        items += _flags(x, side, event.flags)
    items += _dots(x, side, event, beamed)
    if beat.tremolo:
        middle = side.y(m.STEM * 0.45)
        items += [line(x - 3, middle + 1.2 + 2.6 * n, x + 3, middle - 1.2 + 2.6 * n, 1.2) for n in range(3)]
    if items:
        yield ItemGroup(tuple(items), "stem", data=(("value", _value_text(event)),))


def _dots(x: float, side: _Side, event: RhythmEvent, beamed: bool) -> Iterator[Item]:
    """Yield the dots of a value: beside its open head, beside the middle of its stem, or behind its flag."""
    y = side.y(m.STEM / 2)
    if event.base * 2 >= 1:
        dot, y = x + _HEAD + 2.4, side.y(1.8)
    elif event.flags and not beamed:
        dot = x + 8.0
    else:
        dot = x + 3.0
        if event.flags > 2:
            y = side.y(2.2)  # clear of the beams
    yield from (disc(dot + 3.4 * n, y, _DOT) for n in range(event.dots))


def _is_tremolo(placed: PlacedStop) -> bool:
    return any(mark.stroke is Stroke.REPEAT for note in placed.stop.marks for mark in note.sound.marks)


def _value_text(event: RhythmEvent) -> str:
    """`1/8.`: a value as the notation writes it."""
    return f"1/{event.base.denominator}{'.' * event.dots}"


def _flags(x: float, side: _Side, count: int) -> Iterator[Item]:
    """Flags at the end of a stem."""
    inwards = -1 if side.down else 1
    middle = side.tip + FLAG_TOP * m.FLAG_SPACE * inwards
    if count in _FLAGS:
        yield place_sign(_FLAGS[count], x - 0.3, middle, m.FLAG_SPACE, flip=side.down)
        return
    for n in range(count):
        yield place_sign("flag-8", x - 0.3, middle + m.BEAM_STEP * n * inwards, m.FLAG_SPACE, flip=side.down)


def _beam(events: Sequence[RhythmEvent], shown: Sequence[int], here: dict[int, _Beat], side: _Side) -> Iterator[Item]:
    for level, first, last in beam_levels(events, shown[0], shown[-1]):
        outer = m.STEM - (level - 1) * m.BEAM_STEP
        edges = sorted((side.y(outer - m.BEAM), side.y(outer)))
        left, right = here[first].x, here[last].x
        if first == last:
            left, right = _stub(first, shown, here)
        yield box(left - 0.4, edges[0], right + 0.4, edges[1])


def _stub(index: int, shown: Sequence[int], here: dict[int, _Beat]) -> tuple[float, float]:
    """Half a beam, on the side of the neighbor that it belongs to: the longer one before it, else the one after."""
    x = here[index].x
    if index > shown[0]:
        return max(x - _STUB, (x + here[index - 1].x) / 2), x
    return x, min(x + _STUB, (x + here[index + 1].x) / 2)


def _tuplet(shown: Sequence[float], tuplet: TupletInBar, side: _Side, beamed: bool, end: float) -> Iterator[Item]:
    """The number of a tuplet over notes at `shown`; with a bracket where no beam shows what belongs to it."""
    left, right = shown[0] - 2.5, shown[-1] + 2.5
    beyond = m.STEM + _TUPLET * tuplet.depth
    y = side.y(beyond + _TUPLET - 2.5) if side.down else side.y(beyond + 3.0)
    middle = (left + right) / 2
    text = Text(middle, y, tuplet.label, "serif-italic", m.SMALL + 0.8, "middle")
    yield text
    if beamed and tuplet.depth == 0:
        return
    right = min(max(right, left + text.width + 10), end)
    half, level = text.width / 2 + 2.0, y - CAPITAL * m.SMALL / 2
    hook = level - 3.0 if side.down else level + 3.0
    yield line(left, hook, left, level, 0.6)
    yield line(right, hook, right, level, 0.6)
    if middle - half > left:
        yield line(left, level, middle - half, level, 0.6)
    if middle + half < right:
        yield line(middle + half, level, right, level, 0.6)


def rhythm_bottom(system: PlacedSystem, voices: TabVoices) -> float:
    """The y below which nothing of the rhythm stands."""
    below = [piece.piece.bar for piece in system.pieces if piece.piece.bar not in voices]
    depths = [tuplet.depth + 1 for bar in below for tuplet in system.bars[bar].rhythm.tuplets]
    return stems_top(system) + m.STEM + _TUPLET * max(depths, default=0)


def draw_count(system: PlacedSystem, y: float) -> Iterator[Item]:
    """The count, its base line at y; what falls on no note is grey."""
    for placed in system.stops:
        column = placed.stop.column
        if placed.stop.said and column >= 0:
            silent = system.grid.columns[column].silent
            ink = "ink" if placed.stop.marks and not silent else FAINT
            yield ItemGroup((Text(placed.x, y, placed.stop.said, "sans", m.COUNT, "middle", ink),), "count")
