"""The rows above the strings: bend amounts, vibrato, accents, spans, dynamics, words, chords, tempo, endings, navigation.

In: a `PlacedSystem` and the skyline of what stands on it. Out: groups of the display list, stacked so that none touches another. What belongs to one
row of a system stands on one level, or on several where it would collide.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from enum import IntEnum
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Extent, Item, ItemGroup, Path, Text, disc, extent, line
from lickwright.engraving.music_signs import music_sign, place_sign
from lickwright.engraving.paragraph import wrap_text
from lickwright.engraving.placed import PlacedPiece, PlacedStop, PlacedSystem
from lickwright.engraving.skyline import Skyline
from lickwright.engraving.spans import draw_ending, draw_span, draw_vibratos
from lickwright.engraving.system_lines import draw_bar_number
from lickwright.engraving.typefaces import text_width
from lickwright.layout.grid import GridRow, RowEntry
from lickwright.layout.tab_marks import EVENT_ABOVE
from lickwright.music.accidentals import accidental_signs
from lickwright.music.rhythm import parse_value, value_name
from lickwright.notation.techniques import MARKS, WORDS, Stroke

_DOWN, _UP = WORDS["down"].above, WORDS["up"].above
_ACCENT, _SHORT = MARKS["!"].above, MARKS[","].above
_ROLL = EVENT_ABOVE["roll"].above
TAPPED = "T"  # what stands over a note of the picking hand
_SIGNS = {"Segno": "segno", "Coda": "coda", "To Coda": "coda"}


class Level(IntEnum):
    """The rows in the order in which they are stacked, from the strings upwards."""

    NUMBER = 0
    AMOUNT = 1
    VIBRATO = 2
    TONE = 3
    ACCENT = 4
    STROKE = 5
    HOW = 6
    DYNAMIC = 7
    WORDS = 8
    CHORD = 9
    SHAPE = 10
    TEMPO = 11
    TIMES = 12
    ENDING = 13
    NAVIGATION = 14


_CENTERED = (Level.TONE, Level.ACCENT)
_LEVELS = {
    GridRow.TONE: Level.TONE, GridRow.ACCENT: Level.ACCENT,
    GridRow.STROKE: Level.STROKE, GridRow.HOW: Level.HOW, GridRow.DYNAMIC: Level.DYNAMIC, GridRow.WORDS: Level.WORDS,
    GridRow.CHORD: Level.CHORD, GridRow.TEMPO: Level.TEMPO, GridRow.ENDING: Level.ENDING,
}  # fmt: skip


_BESIDE, _SPAN_GAP = 3.5, 2.0  # points between two things that stand side by side, and two spans, which end with a hook
_NAMES_PITCHES = (GridRow.CHORD, GridRow.TONE, GridRow.HOW)  # rows whose texts Lickwright words


class RowItem(NamedTuple):
    """Something for a row, drawn as if its base line were at y 0."""

    level: Level
    group: ItemGroup


def draw_rows(
    system: PlacedSystem,
    more: Sequence[RowItem],
    sky: Skyline,
    shown: Callable[[RowEntry], bool],
    levels: Iterable[Level],
) -> list[ItemGroup]:
    """The rows of the given levels over `sky`, which grows by them: those of the grid's rows that are `shown`, and `more`."""
    items: dict[Level, list[ItemGroup]] = {}
    for level, group in (*more, *_items(system, shown)):
        items.setdefault(level, []).append(_inside(group, system))
    found: list[ItemGroup] = []
    for level in levels:
        for lane in _lanes(items.get(level, ()), level in _CENTERED, _SPAN_GAP if level is Level.HOW else _BESIDE):
            boxes = [extent(group) for group in lane]
            y = min(sky.top(box.left - _BESIDE, box.right + _BESIDE) - m.ROW_GAP - box.bottom for box in boxes)
            for group, box in zip(lane, boxes, strict=True):
                found.append(group._replace(y=group.y + y))
                sky.add(Extent(box.left, box.top + y, box.right, box.bottom + y))
    return found


def _inside(group: ItemGroup, system: PlacedSystem) -> ItemGroup:
    """A group moved to the left as far as it would reach over the end of the system."""
    over = extent(group).right - system.right
    return group._replace(x=group.x - min(over, max(0.0, extent(group).left))) if over > 0 else group


def _lanes(groups: Sequence[ItemGroup], centered: bool, gap: float) -> list[list[ItemGroup]]:
    """Groups of a row, those that are nearer than a gap on lanes of their own, the lowest lane first.

    Of those that are `centered` over one stop, which come from the thinnest string on, the last stands lowest.
    """
    lanes: list[tuple[float, list[ItemGroup]]] = []
    for _, group in sorted(enumerate(groups), key=_by_middle if centered else _by_left):
        box = extent(group)
        for n, (end, lane) in enumerate(lanes):
            if box.left > end + gap:
                lane.append(group)
                lanes[n] = (box.right, lane)
                break
        else:
            lanes.append((box.right, [group]))
    return [lane for _, lane in lanes]


def _by_left(numbered: tuple[int, ItemGroup]) -> tuple[float, int]:
    return extent(numbered[1]).left, numbered[0]


def _by_middle(numbered: tuple[int, ItemGroup]) -> tuple[float, int]:
    box = extent(numbered[1])
    return round((box.left + box.right) / 2, 2), -numbered[0]


def _items(system: PlacedSystem, shown: Callable[[RowEntry], bool]) -> Iterator[RowItem]:
    for placed in system.pieces:
        yield from _of_bar(system, placed)
    for stop in system.stops:
        yield from _of_stop(system, stop)
    first, last = system.columns
    reaching = (above for above in system.grid.above if above.first <= last and above.last >= first)
    for above in filter(shown, reaching):
        group = _above(system, above) if above.row in _LEVELS else None
        if group is not None:
            yield RowItem(_LEVELS[above.row], group)


def _of_stop(system: PlacedSystem, stop: PlacedStop) -> Iterator[RowItem]:
    """What a stop has over the strings besides the grid's rows: vibrato, and the sign of the picking hand's notes."""
    yield from (RowItem(Level.VIBRATO, wave) for wave in draw_vibratos(system, stop))
    if any(mark.sound.begin.stroke is Stroke.TAP and not mark.held for mark in stop.stop.marks):
        yield RowItem(Level.STROKE, ItemGroup(tuple(_small(stop.x, TAPPED)), "tap"))


def _of_bar(system: PlacedSystem, placed: PlacedPiece) -> Iterator[RowItem]:
    """What stands over the ends of a bar."""
    number = draw_bar_number(system, placed)
    if number is not None:
        yield RowItem(Level.NUMBER, number)
    piece = placed.piece
    yield from _navigation(system, placed.left, placed.right, piece.bar, piece.opens, piece.closes)


# --- single things ---------------------------------------------------------------------------------------------------


def _above(system: PlacedSystem, above: RowEntry) -> ItemGroup | None:
    """What one entry of the grid's rows looks like."""
    x = system.column_x.get(above.first)
    role = above.row.name.lower()
    text = accidental_signs(above.text) if above.row in _NAMES_PITCHES else above.text
    if above.row is GridRow.ENDING:
        return ItemGroup(tuple(draw_ending(system, above)), role)
    if above.lasts:
        return ItemGroup(tuple(draw_span(system, above)), role)
    if x is None or not above.text.strip() or (above.row is GridRow.HOW and above.text == _ROLL):
        return None
    if above.row is GridRow.WORDS:
        return ItemGroup(tuple(_words(x, above.text, system.right - system.left)), role)
    draw = _DRAWN.get(above.row, _small)
    return ItemGroup(tuple(draw(x, text)), role)


def _small(x: float, text: str) -> Iterator[Item]:
    yield Text(x, 0.0, text, "sans", m.SMALL, "middle")


def _accent(x: float, text: str) -> Iterator[Item]:
    """An accent, a dot or a letter, followed by the names of the strings that it applies to."""
    sign, _, strings = text.partition(" ")
    if sign == _ACCENT:
        yield Path((("M", x - 3.0, -4.4), ("L", x + 3.0, -2.4), ("L", x - 3.0, -0.4)), 0.9)
    elif sign == _SHORT:
        yield disc(x, -1.2, 1.1)
    else:
        yield Text(x, 0.0, sign, "sans", m.SMALL, "middle")
    if strings:
        yield Text(x + 4.0, 0.0, strings, "sans", m.SMALL)


def _stroke(x: float, text: str) -> Iterator[Item]:
    """A down-stroke as a squared arch, an up-stroke as a wedge; letters for slap and pop."""
    sign, _, strings = text.partition(" ")
    if sign == _DOWN:
        yield Path((("M", x - 2.8, 0.0), ("L", x - 2.8, -5.0), ("L", x + 2.8, -5.0), ("L", x + 2.8, 0.0)), 0.8)
        yield line(x - 2.8, -4.4, x + 2.8, -4.4, 1.6)
    elif sign == _UP:
        yield Path((("M", x - 2.4, -5.6), ("L", x, 0.0), ("L", x + 2.4, -5.6)), 0.8)
    else:
        yield Text(x, 0.0, sign, "sans-bold", m.SMALL, "middle")
    if strings:
        yield Text(x + 4.0, 0.0, strings, "sans", m.SMALL)


def _chord(x: float, text: str) -> Iterator[Item]:
    yield Text(x - 3.0, 0.0, text, "sans-bold", m.CHORD)


def _dynamic(x: float, text: str) -> Iterator[Item]:
    yield Text(x - 3.0, 0.0, text, "serif-italic", m.WORDS + 2.0)


def _words(x: float, text: str, width: float) -> Iterator[Item]:
    """Words that begin at x; text wider than a system is broken into lines, the last one at y 0."""
    lines = wrap_text(text, "serif-italic", m.WORDS, width)
    for n, words in enumerate(reversed(lines)):
        yield Text(x - 3.0, -n * m.WORDS * 1.25, words, "serif-italic", m.WORDS)


def _tempo(x: float, text: str) -> Iterator[Item]:
    if text == "fermata":
        width = music_sign(text).width * 5.0
        yield place_sign(text, x - width / 2, 5.0 * 0.592, 5.0)
    else:
        yield Text(x - 3.0, 0.0, _tempo_in_words(text), "serif-italic", m.WORDS)


def _tempo_in_words(text: str) -> str:
    """Return `dotted quarter note = 60` for `1/4.=60`, and any other text as it is."""
    value, equals, bpm = text.partition("=")
    try:
        return f"{value_name(parse_value(value))} note = {bpm.strip()}" if equals else text
    except ValueError:
        return text


_DRAWN: dict[GridRow, Callable[[float, str], Iterator[Item]]] = {
    GridRow.ACCENT: _accent, GridRow.STROKE: _stroke,
    GridRow.CHORD: _chord, GridRow.DYNAMIC: _dynamic, GridRow.TEMPO: _tempo,
}  # fmt: skip


# --- signs of bars ---------------------------------------------------------------------------------------------------


def _navigation(system: PlacedSystem, left: float, right: float, index: int, opens: bool, closes: bool) -> Iterator[RowItem]:  # fmt: skip
    """Segno, Coda, Fine and the jumps, over the start or the end of their bar; how often a repeat is played."""
    bar = system.grid.bars[index].bar
    for node in bar.marks:
        if node.mark.opens and opens:
            yield RowItem(Level.NAVIGATION, ItemGroup(tuple(_jump(left, node.mark.printed, False)), "navigation"))
        elif not node.mark.opens and closes:
            yield RowItem(Level.NAVIGATION, ItemGroup(tuple(_jump(right, node.mark.printed, True)), "navigation"))
    if bar.repeat_end > 2 and closes:
        text = Text(right, 0.0, f"x{bar.repeat_end}", "sans-bold", m.WORDS, "end")
        yield RowItem(Level.TIMES, ItemGroup((text,), "times"))


def _jump(x: float, text: str, to_left: bool) -> Iterator[Item]:
    sign = _SIGNS.get(text)
    size = 4.6
    width = text_width(text, "serif-italic", m.WORDS + 1.0)
    extra = music_sign(sign).width * size + 3.0 if sign else 0.0
    start = x - width - extra if to_left else x
    if sign and not to_left:
        yield place_sign(sign, start, -3.0, size)
        start += extra
    yield Text(start, 0.0, text, "serif-italic", m.WORDS + 1.0)
    if sign and to_left:
        yield place_sign(sign, start + width + 3.0, -3.0, size)


ABOVE_STAFF = (
    Level.DYNAMIC,
    Level.WORDS,
    Level.CHORD,
    Level.SHAPE,
    Level.TEMPO,
    Level.TIMES,
    Level.ENDING,
    Level.NAVIGATION,
)
ON_STRINGS = tuple(level for level in Level if level not in (Level.NUMBER, *ABOVE_STAFF))
