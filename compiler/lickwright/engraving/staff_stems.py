"""Stems, flags, beams and tuplets of the staff of notes.

In: the chords of a bar. Out: items and groups of the display list, with the staff's middle line at y 0. Stems of a group go up where its note that is
farthest from the middle line lies below it, else down. A beam follows its first and last note in a slight slope, and is level where one between them lies
beyond both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Item, ItemGroup, Path, Text, line
from lickwright.engraving.music_signs import FLAG_TOP, place_sign
from lickwright.engraving.note_values import RhythmEvent, TupletInBar, beam_levels
from lickwright.engraving.small_notes import SPACE, step_y
from lickwright.engraving.staff_positions import StaffNote
from lickwright.engraving.typefaces import CAPITAL

HEAD = 1.188 * SPACE / 2  # half the width of a head
_STEM = 3.4 * SPACE
_SHORTEST = 2.8 * SPACE  # a stem under a beam that slopes
_BEAM, _BEAM_STEP = 2.6, 4.2
_STUB = 5.0  # of a beam on one side only
_RISE, _STEEPEST = (
    0.2,
    0.14,
)  # spaces of a beam's rise for each step between its ends, up to one space; its steepest slope
_FLAGS = {1: "flag-8", 2: "flag-16"}


class StaffChord(NamedTuple):
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

    def outer(self, up: bool) -> float:
        """Return the y of the head that is nearest to the stem's tip."""
        return self.top if up else self.bottom

    def stem_x(self, up: bool) -> float:
        """Return where its stem stands."""
        return self.x + (HEAD - 0.45 if up else 0.45 - HEAD)


class Beam(NamedTuple):
    """The outer edge of a beam."""

    up: bool  # whether its stems go up
    x: float  # a place on it
    y: float
    slope: float

    def y_at(self, x: float) -> float:
        """Return its height at a place."""
        return self.y + self.slope * (x - self.x)


def goes_up(chords: Sequence[StaffChord]) -> bool:
    """Return whether the stem of a chord, or those of a group, go up."""
    steps = [note.step for chord in chords for note in chord.notes]
    return -min(steps) > max(steps)


def _tip(chord: StaffChord, up: bool, length: float = _STEM) -> float:
    """Where a stem ends: an octave from its head, or at the middle line for notes far from it."""
    return min(chord.top - length, 0.0) if up else max(chord.bottom + length, 0.0)


def _stem_line(chord: StaffChord, up: bool, tip: float) -> Item:
    x = chord.stem_x(up)
    return line(x, (chord.bottom if up else chord.top) + (-1.0 if up else 1.0), x, tip, 0.8)


def draw_stem(chord: StaffChord, up: bool) -> Iterator[Item]:
    """The stem of a chord that stands alone, with its flags."""
    tip = _tip(chord, up)
    flags = chord.event.flags
    if flags > 2:
        tip += (-1 if up else 1) * (flags - 2) * _BEAM_STEP
    yield _stem_line(chord, up, tip)
    x = chord.x + (HEAD - 0.85 if up else -HEAD + 0.05)
    inwards = 1 if up else -1
    if flags in _FLAGS:
        yield place_sign(_FLAGS[flags], x, tip + FLAG_TOP * SPACE * inwards, SPACE, flip=not up)
    elif flags:
        for n in range(flags):
            y = tip + (FLAG_TOP * SPACE + n * _BEAM_STEP) * inwards
            yield place_sign("flag-8", x, y, SPACE, flip=not up)


def place_beam(events: Sequence[RhythmEvent], group: Sequence[int], chords: Mapping[int, StaffChord], forced: bool | None = None) -> Beam:  # fmt: skip
    """Return the beam of a group of events, over or under their heads; `forced` says where the stems go, None that it follows from the notes."""
    every = [chords[n] for n in group]
    up = goes_up(every) if forced is None else forced
    slope = _slope(every, up)
    outwards = -1 if up else 1
    more = max(0, max(events[n].flags for n in group) - 2) * _BEAM_STEP
    length = (_SHORTEST if slope else _STEM) + more
    x = every[0].stem_x(up)
    tips = [_tip(chord, up, length) - slope * (chord.stem_x(up) - x) for chord in every]
    return Beam(up, x, max(tip * outwards for tip in tips) * outwards, slope)


def _slope(chords: Sequence[StaffChord], up: bool) -> float:
    """The slope of a beam, y by x; 0 for a level one."""
    first, *inner, last = (chord.outer(up) for chord in chords)
    beyond = [y < min(first, last) if up else y > max(first, last) for y in inner]
    if first == last or any(beyond):
        return 0.0
    rise = min(1.0, _RISE * abs(last - first) / (SPACE / 2)) * SPACE
    steep = min(rise / (chords[-1].x - chords[0].x), _STEEPEST)
    return steep if last > first else -steep


def draw_beam(beam: Beam, events: Sequence[RhythmEvent], group: Sequence[int], chords: Mapping[int, StaffChord]) -> ItemGroup:  # fmt: skip
    """The stems of a group and the beams that join them."""
    inwards = 1 if beam.up else -1
    xs = {n: chords[n].stem_x(beam.up) for n in group}
    items = [_stem_line(chords[n], beam.up, beam.y_at(xs[n])) for n in group]
    for level, first, last in beam_levels(events, group[0], group[-1]):
        left, right = xs[first], xs[last]
        if first == last:
            left, right = (left - _STUB, left) if first > group[0] else (left, left + _STUB)
        left, right = left - 0.4, right + 0.4
        depth = (level - 1) * _BEAM_STEP * inwards
        y, end, thick = beam.y_at(left) + depth, beam.y_at(right) + depth, _BEAM * inwards
        items.append(
            Path((("M", left, y), ("L", right, end), ("L", right, end + thick), ("L", left, y + thick), ("Z",)), 0.0)
        )
    return ItemGroup(tuple(items), "staff-beam")


def draw_tuplet(chords: Sequence[StaffChord], tuplet: TupletInBar, beams: Sequence[Beam | None], forced: bool | None = None) -> Iterator[Item]:  # fmt: skip
    """The number of a tuplet on the side of the stems, with a bracket where no beam shows what belongs to it; `beams` are those of its chords."""
    up = beams[0].up if beams[0] is not None else forced is not False
    tips = [
        _tip(chord, up) if beam is None else beam.y_at(chord.stem_x(up)) if beam.up == up else chord.outer(up)
        for chord, beam in zip(chords, beams, strict=True)
    ]
    left, right = chords[0].x - HEAD, chords[-1].x + HEAD
    edge = min(*tips, -2 * SPACE) - 4.0 if up else max(*tips, 2 * SPACE) + 9.5
    y = edge + tuplet.depth * (-9.0 if up else 9.0)
    text = Text((left + right) / 2, y, tuplet.label, "serif-italic", m.SMALL + 0.8, "middle")
    yield text
    if tuplet.depth == 0 and all(beam is not None for beam in beams):
        return
    half, level = text.width / 2 + 2.0, y - CAPITAL * m.SMALL / 2
    hook = 3.0 if up else -3.0
    for end, inner in ((left, text.x - half), (right, text.x + half)):
        yield line(end, level + hook, end, level, 0.6)
        yield line(end, level, inner, level, 0.6)
