"""The staff of notes above the strings: heads, stems, beams, rests, accidentals and ties.

In: a `PlacedSystem` and its `StaffNote`s. Out: groups of the display list, with the staff's middle line at y 0. Stems of a group go up where its note that is
farthest from the middle line lies below it, else down.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.bar_lines import StaffHeight, bar_line, bar_lines
from lickwright.engraving.display_list import Item, ItemGroup, Text, box, disc, line
from lickwright.engraving.joins import lens
from lickwright.engraving.music_signs import music_sign, place_sign
from lickwright.engraving.note_values import BarRhythm, RhythmEvent, TupletInBar, beam_levels
from lickwright.engraving.placed import PlacedPiece, PlacedSystem, drawn_event
from lickwright.engraving.small_notes import (
    HEAD_MIDDLE,
    SIGN,
    SIGN_MIDDLE,
    SPACE,
    draw_bend,
    draw_grace,
    ledgers,
    step_y,
)
from lickwright.engraving.staff_positions import StaffNote, accidental_columns, clef_of, signature_steps, target_places
from lickwright.engraving.typefaces import CAPITAL
from lickwright.timeline.model import Timeline

HEIGHT = StaffHeight(-2 * SPACE, 2 * SPACE, (-SPACE / 2, SPACE / 2))
_HEAD = 1.188 * SPACE / 2  # half the width of a head
_STEM = 3.4 * SPACE
_BEAM, _BEAM_STEP = 2.6, 4.2
_FLAGS = {1: "flag-8", 2: "flag-16"}
_FLAG_TOP = 2.036  # spaces from a flag's top to the middle line that it is drawn for
_RESTS = {4: "rest-4", 8: "rest-8", 16: "rest-16", 32: "rest-32"}
_SIGNATURE_STEP = 1.18 * SPACE

Notes = Mapping[tuple[int, int, int], tuple[StaffNote, ...]]  # by bar, grains and lead


class _Chord(NamedTuple):
    """The heads of one stem."""

    x: float
    event: RhythmEvent
    notes: tuple[StaffNote, ...]

    @property
    def top(self) -> float:
        """The y of its highest head."""
        return step_y(max(note.step for note in self.notes))

    @property
    def bottom(self) -> float:
        """The y of its lowest head."""
        return step_y(min(note.step for note in self.notes))


def head_room(timeline: Timeline) -> float:
    """Room for clef and key signature at the start of a system."""
    signature = len(signature_steps(timeline)) * _SIGNATURE_STEP
    return music_sign(clef_of(timeline).sign).width * SPACE + 7.0 + (signature + 4.0 if signature else 0.0)


def draw_notes(system: PlacedSystem, notes: Notes, start: float, meter_room: float) -> Iterator[Item]:
    """The whole staff of a system from `start` on; `meter_room` is the room for the meter before its first bar, or 0."""
    for n in range(-2, 3):
        yield ItemGroup((line(start, n * SPACE, system.right, n * SPACE, m.LINE),), "staff-line")
    yield bar_line(start, HEIGHT)
    yield ItemGroup(tuple(_clef(system.grid.timeline, start)), "clef")
    if meter_room:
        yield ItemGroup(tuple(_meter(system, system.left - meter_room / 2)), "meter")
    seen: dict[int, float] = {}
    for placed in system.pieces:
        yield from bar_lines(system, placed, HEIGHT)
        yield from _bar(system, placed, notes, seen)


def _clef(timeline: Timeline, start: float) -> Iterator[Item]:
    clef = clef_of(timeline)
    sign = music_sign(clef.sign)
    yield place_sign(clef.sign, start + 3.0, 0.0, SPACE)
    y = max(sign.bottom * SPACE, 2 * SPACE) + 5.4
    yield Text(start + 3.0 + sign.width * SPACE * 0.45, y, "8", "sans", 6.0, "middle")
    x = start + 5.5 + sign.width * SPACE
    for name, step in signature_steps(timeline):
        yield place_sign(name, x, step_y(step) - SIGN_MIDDLE[name] * SIGN, SIGN)
        x += _SIGNATURE_STEP


def _meter(system: PlacedSystem, x: float) -> Iterator[Item]:
    meter = system.grid.timeline.settings.meter
    size = 1.9 * SPACE / CAPITAL
    yield Text(x, -0.4, str(meter.beats), "sans-bold", size, "middle")
    yield Text(x, 2 * SPACE - 0.4, str(meter.unit), "sans-bold", size, "middle")


def _bar(system: PlacedSystem, placed: PlacedPiece, notes: Notes, seen: dict[int, float]) -> Iterator[Item]:
    """The notes of one piece."""
    rhythm = system.bars[placed.piece.bar].rhythm
    index = {event.at: n for n, event in enumerate(rhythm.events)}
    chords: dict[int, _Chord] = {}  # by index of the event
    for stop, x in placed.stops:
        here = notes.get((stop.bar, stop.at, stop.lead), ())
        if stop.lead:
            yield from draw_grace(system, x, here)
        elif stop.event is not None and stop.event.rest:
            middle = (placed.left + placed.right) / 2
            yield ItemGroup(tuple(_rest(stop.event, middle if stop.event.whole_bar else x)), "rest")
        elif stop.event is not None and here:
            chords[index[stop.at]] = _Chord(x, stop.event, here)
    yield from _chords(system, rhythm, chords, seen)


def _chords(system: PlacedSystem, rhythm: BarRhythm, chords: Mapping[int, _Chord], seen: dict[int, float]) -> Iterator[Item]:  # fmt: skip
    """Heads, stems, beams and tuplets."""
    ups: dict[int, bool] = {}  # of the beamed ones: whether their stems go up
    for group in _beam_groups(rhythm, chords):
        up = _goes_up([chords[n] for n in group])
        ups.update(dict.fromkeys(group, up))
        yield from _beamed(rhythm.events, group, chords, up)
    for n, chord in chords.items():
        yield from _single(system, chord, ups.get(n), seen)
    for tuplet in rhythm.tuplets:
        inside = [n for n in chords if tuplet.start <= chords[n].event.at < tuplet.end]
        if inside:
            whole = ups.keys() >= set(inside) and tuplet.depth == 0
            signs = _tuplet([chords[n] for n in inside], tuplet, ups.get(inside[0], True), whole)
            yield ItemGroup(tuple(signs), "tuplet")


def _beam_groups(rhythm: BarRhythm, chords: Mapping[int, _Chord]) -> Iterator[list[int]]:
    """The events under each beam, as far as they stand on this system."""
    for first, last in rhythm.beams:
        group = [n for n in range(first, last + 1) if n in chords]
        if len(group) > 1:
            yield group


def _single(system: PlacedSystem, chord: _Chord, beamed: bool | None, seen: dict[int, float]) -> Iterator[Item]:
    """Heads and ties; `beamed` says where the stems of its beam go, None: it has a stem of its own."""
    up = _goes_up([chord]) if beamed is None else beamed
    yield from _heads(system, chord, up)
    yield from _ties(system, chord, up, seen)
    yield from _bends(system, chord, up)
    if beamed is None and chord.event.base < 1:
        yield ItemGroup(tuple(_stem(chord, up)), "staff-stem")


def _goes_up(chords: Sequence[_Chord]) -> bool:
    steps = [note.step for chord in chords for note in chord.notes]
    return -min(steps) > max(steps)


def _heads(system: PlacedSystem, chord: _Chord, up: bool) -> Iterator[ItemGroup]:
    """Heads with ledger lines, accidentals and dots."""
    shifted = _shifted(chord.notes, up)
    columns = accidental_columns(chord.notes)
    beside = (2 * _HEAD - 0.8) * (1 if up else -1)
    wide = max(0.0, beside) if shifted else 0.0
    for n, note in enumerate(chord.notes):
        x, y = chord.x + (beside if n in shifted else 0.0), step_y(note.step)
        sign = _head_sign(note, chord.event)
        half = music_sign(sign).width * SPACE / 2
        items: list[Item] = list(ledgers(note.step, x, half))
        items.append(place_sign(sign, x - half, y - HEAD_MIDDLE * SPACE, SPACE))
        if n in columns:
            items.append(_accidental(note, chord.x - _HEAD - 1.4 - columns[n] * 1.3 * SPACE))
        raised = y - SPACE / 2 if note.step % 2 == 0 else y
        items += [disc(chord.x + half + wide + 2.8 + 3.2 * k, raised, 1.0) for k in range(chord.event.dots)]
        yield ItemGroup(tuple(items), "staff-note", drawn_event(system.grid.timeline, note.mark.sound))


def _bends(system: PlacedSystem, chord: _Chord, up: bool) -> Iterator[ItemGroup]:
    """Yield the bends of a chord: over its highest note and under its lowest, a single one on the side without a stem."""
    middle = (chord.top + chord.bottom) / 2
    for note in chord.notes:
        if note.targets:
            above = not up if len(chord.notes) == 1 else step_y(note.step) < middle
            event = drawn_event(system.grid.timeline, note.mark.sound)
            yield ItemGroup(tuple(draw_bend(note, chord.event, chord.x, above)), "staff-bend", event)


def _head_sign(note: StaffNote, event: RhythmEvent) -> str:
    if note.is_x:
        return "head-x"
    return "head-4" if event.base * 4 <= 1 else "head-2" if event.base < 1 else "head-1"


def _accidental(note: StaffNote, right: float) -> Item:
    """The sign before a head; it ends at `right`."""
    width = music_sign(note.accidental).width * SIGN
    return place_sign(note.accidental, right - width, step_y(note.step) - SIGN_MIDDLE[note.accidental] * SIGN, SIGN)


def _shifted(notes: Sequence[StaffNote], up: bool) -> set[int]:
    """The heads that stand on the other side of the stem, since the one beside them is only a step away."""
    found: set[int] = set()
    before: int | None = None
    for n in sorted(range(len(notes)), key=lambda n: notes[n].step if up else -notes[n].step):
        if before is not None and abs(notes[n].step - notes[before].step) <= 1 and before not in found:
            found.add(n)
        before = n
    return found


def _tip(chord: _Chord, up: bool) -> float:
    """Where a stem ends: an octave from its head, or at the middle line for notes far from it."""
    return min(chord.top - _STEM, 0.0) if up else max(chord.bottom + _STEM, 0.0)


def _stem_line(chord: _Chord, up: bool, tip: float) -> Item:
    x = chord.x + (_HEAD - 0.45 if up else -_HEAD + 0.45)
    return line(x, (chord.bottom if up else chord.top) + (-1.0 if up else 1.0), x, tip, 0.8)


def _stem(chord: _Chord, up: bool) -> Iterator[Item]:
    tip = _tip(chord, up)
    flags = chord.event.flags
    if flags > 2:
        tip += (-1 if up else 1) * (flags - 2) * _BEAM_STEP
    yield _stem_line(chord, up, tip)
    x = chord.x + (_HEAD - 0.85 if up else -_HEAD + 0.05)
    inwards = 1 if up else -1
    if flags in _FLAGS:
        yield place_sign(_FLAGS[flags], x, tip + _FLAG_TOP * SPACE * inwards, SPACE, flip=not up)
    elif flags:
        for n in range(flags):
            y = tip + (_FLAG_TOP * SPACE + n * _BEAM_STEP) * inwards
            yield place_sign("flag-8", x, y, SPACE, flip=not up)


def _beamed(events: Sequence[RhythmEvent], group: Sequence[int], chords: Mapping[int, _Chord], up: bool) -> Iterator[ItemGroup]:  # fmt: skip
    """The stems of a group and the level beams over or under them."""
    tips = [_tip(chords[n], up) for n in group]
    levels = max(events[n].flags for n in group)
    tip = min(tips) if up else max(tips)
    tip += (-1 if up else 1) * max(0, levels - 2) * _BEAM_STEP
    inwards = 1 if up else -1
    xs = {n: chords[n].x + (_HEAD - 0.45 if up else -_HEAD + 0.45) for n in group}
    items = [_stem_line(chords[n], up, tip) for n in group]
    for level, first, last in beam_levels(events, group[0], group[-1]):
        y = tip + (level - 1) * _BEAM_STEP * inwards
        left, right = xs[first], xs[last]
        if first == last:
            left, right = (left - 5.0, left) if first > group[0] else (left, left + 5.0)
        items.append(box(left - 0.4, min(y, y + _BEAM * inwards), right + 0.4, max(y, y + _BEAM * inwards)))
    yield ItemGroup(tuple(items), "staff-beam")


def _tuplet(chords: Sequence[_Chord], tuplet: TupletInBar, up: bool, beamed: bool) -> Iterator[Item]:
    """The number on the side of the stems, with a bracket where no beam shows what belongs to it."""
    left, right = chords[0].x - _HEAD, chords[-1].x + _HEAD
    over = min(min(_tip(c, True) if up else c.top for c in chords), -2 * SPACE) - 4.0
    under = max(max(c.bottom if up else _tip(c, False) for c in chords), 2 * SPACE) + 9.5
    y = over - tuplet.depth * 9.0 if up else under + tuplet.depth * 9.0
    text = Text((left + right) / 2, y, tuplet.label, "serif-italic", m.SMALL + 0.8, "middle")
    yield text
    if beamed:
        return
    half, level = text.width / 2 + 2.0, y - CAPITAL * m.SMALL / 2
    hook = 3.0 if up else -3.0
    for end, inner in ((left, text.x - half), (right, text.x + half)):
        yield line(end, level + hook, end, level, 0.6)
        yield line(end, level, inner, level, 0.6)


def _rest(event: RhythmEvent, x: float) -> Iterator[Item]:
    right = x + 4.0
    if event.base >= 1:
        yield box(x - 4.0, -SPACE, x + 4.0, -SPACE / 2)
    elif event.base * 2 >= 1:
        yield box(x - 4.0, -SPACE / 2, x + 4.0, 0.0)
    else:
        name = _RESTS[min(32, event.base.denominator)]
        half = music_sign(name).width * SPACE / 2
        yield place_sign(name, x - half, 0.0, SPACE)
        right = x + half
    for n in range(event.dots):
        yield disc(right + 2.5 + 3.0 * n, -SPACE / 2, 0.9)


def _ties(system: PlacedSystem, chord: _Chord, up: bool, seen: dict[int, float]) -> Iterator[ItemGroup]:
    """Ties to the note written before for the same sound."""
    for note in chord.notes:
        sound = note.mark.sound
        if note.mark.held:
            x = seen.get(sound.index, system.left)
            y = step_y(note.step) + (4.0 if up else -4.0)
            arc = lens(x + 2.0, chord.x - 2.0, y, -3.0 if up else 3.0)
            yield ItemGroup((arc,), "staff-tie", drawn_event(system.grid.timeline, sound))
        places = target_places(note, chord.event)
        seen[sound.index] = chord.x + (places[-1] if places else 0.0)
