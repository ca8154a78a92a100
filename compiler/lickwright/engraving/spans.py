"""What lasts over the strings: spans of words with dashes, endings, vibrato and trills as waves.

In: a `PlacedSystem` and an entry of the grid's rows, or a stop. Out: items of the display list with their base line at y 0.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Command, Item, ItemGroup, Path, Text, line
from lickwright.engraving.placed import PlacedStop, PlacedSystem, drawn_event
from lickwright.layout.grid import RowEntry
from lickwright.layout.tab_marks import EVENT_ABOVE
from lickwright.notation.techniques import Curve, Damping, Stroke, Technique
from lickwright.timeline.model import PitchGesture

_TRILL = EVENT_ABOVE["trill"].above
_WAVE, _WIDE = (4.2, 1.1), (5.0, 2.2)  # length and height of a wave
_WIDE_FROM = 0.5  # semitones from which a vibrato is drawn wide


def draw_span(system: PlacedSystem, above: RowEntry) -> Iterator[Item]:
    """A word and a dashed line to the end of its notes, with a hook there; a wave for a trill."""
    begins, ends = above.first in system.column_x, above.last in system.column_x
    start = system.column_x[above.first] - 3.0 if begins else system.left + 2.0
    text = Text(start, 0.0, above.text, "serif-italic", m.WORDS)
    yield text
    end = _span_end(system, above) if ends else system.right - 1.0
    after = start + text.width + 2.0
    if above.text.startswith(_TRILL) and above.technique is None:
        if end - after > _WAVE[0]:
            yield wave(after, end, -2.4, *_WAVE)
        return
    if end - after < 3.0:
        return
    yield line(after, -2.6, end, -2.6, 0.6, (2.4, 1.8))
    if ends:
        yield line(end, -2.6, end, 1.0, 0.6)


def _span_end(system: PlacedSystem, above: RowEntry) -> float:
    """Where a span ends: with its last number; of what lasts as long as its notes, before what comes next."""
    x = system.column_x[above.last]
    columns = system.grid.columns
    if columns[above.first].lead and not columns[above.last].lead:
        return x - 2.0
    if not _lasts_on(above.technique):
        return x + 4.0
    following = system.column_x.get(above.last + 1)
    bar = columns[above.last].bar
    if following is None or columns[above.last + 1].bar != bar:
        following = next((p.right for p in system.pieces if p.piece.bar == bar and p.piece.closes), system.right)
    return max(x + 4.0, following - 6.0)


def _lasts_on(technique: Technique | None) -> bool:
    """True for words that apply as long as their notes sound: ringing, the bar, tremolo, a trill."""
    if technique is None:
        return True
    return technique.damping is Damping.RING or technique.curve is not Curve.NONE or technique.stroke is Stroke.REPEAT


def draw_ending(system: PlacedSystem, above: RowEntry) -> Iterator[Item]:
    """The bracket over an ending."""
    begins, ends = above.first in system.column_x, above.last in system.column_x
    columns = system.grid.columns
    start = next((p.left for p in system.pieces if begins and p.piece.bar == columns[above.first].bar), system.left)
    end = next((p.right for p in system.pieces[::-1] if ends and p.piece.bar == columns[above.last].bar), system.right)
    text = above.text if begins else f"({above.text})"
    yield Text(start + 3.5, 0.0, text, "sans", m.WORDS)
    yield line(start + 1.0, -8.0, end - 1.5, -8.0, 0.7)
    if begins:
        yield line(start + 1.0, -8.0, start + 1.0, 1.0, 0.7)
    if ends:
        yield line(end - 1.5, -8.0, end - 1.5, 1.0, 0.7)


def draw_vibratos(system: PlacedSystem, placed: PlacedStop) -> Iterator[ItemGroup]:
    """A wave as long as the vibrato lasts."""
    said: set[tuple[int, float]] = set()  # two strings that tremble together have one wave
    for mark in placed.stop.marks:
        for shape in mark.shapes:
            if shape.technique.curve is not Curve.VIBRATO or (shape.end, shape.amount) in said:
                continue
            said.add((shape.end, shape.amount))
            yield _vibrato(system, placed, shape, mark.sound.index)


def _vibrato(system: PlacedSystem, placed: PlacedStop, shape: PitchGesture, number: int) -> ItemGroup:
    start = placed.x - 2.0
    if placed.stop.arrows:
        start = placed.x + placed.stop.arrows[-1].x - 1.0
    last = system.x_at(placed.stop.bar, placed.stop.at + shape.end - shape.start - 1)  # not yet in the bar that follows
    bar_line = min((piece.right for piece in system.pieces if piece.right >= last), default=system.right)
    end = min(max(last - 6.0, start + 9.0), bar_line - 2.0)
    start = min(start, end - 7.0)
    kind = _WIDE if shape.amount >= _WIDE_FROM else _WAVE
    event = drawn_event(system.grid.timeline, system.grid.timeline.sounds[number])
    return ItemGroup((wave(start, end, -kind[1], *kind),), "vibrato", event)


def wave(left: float, right: float, y: float, length: float, height: float) -> Path:
    """A wavy line about y."""
    count = max(2, round((right - left) / length * 2))
    step = (right - left) / count
    commands: list[Command] = [("M", left, y)]
    for n in range(count):
        x, lift = left + n * step, height * 4 / 3 * (-1 if n % 2 == 0 else 1)
        commands.append(("C", x + step * 0.36, y + lift, x + step * 0.64, y + lift, x + step, y))
    return Path(tuple(commands), 0.9)
