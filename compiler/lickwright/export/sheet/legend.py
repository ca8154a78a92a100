"""The legend of a sheet: each mark that was drawn, as it is drawn, with what it means.

In: a `Grid`. Out: rows of a small drawing, or words, and a sentence, in the order of the reference page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.chord_boxes import chord_boxes
from lickwright.engraving.display_list import Command, Item, Path, Text, disc, line
from lickwright.engraving.engrave import EngravingOptions
from lickwright.engraving.joins import arrowhead, lens
from lickwright.engraving.mark_rows import TAPPED
from lickwright.engraving.music_signs import place_sign
from lickwright.engraving.note_values import BarRhythm
from lickwright.engraving.rhythm_row import voices_on_strings
from lickwright.engraving.small_notes import SIGN_MIDDLE
from lickwright.engraving.spans import wave
from lickwright.engraving.staff_positions import RAISED, staff_notes
from lickwright.engraving.stops import GHOST_TEXT, bars_of_stops
from lickwright.export.tab.drawing import FINGERS
from lickwright.export.tab.heading import count_rows
from lickwright.layout.grid import Cell, Grid, GridRow, RowEntry
from lickwright.layout.row_entries import STOP
from lickwright.layout.tab_marks import EVENT_ABOVE, head_text
from lickwright.music.accidentals import accidental_signs
from lickwright.notation.techniques import (
    HEADS,
    MARKS,
    TECHNIQUES,
    WORDS,
    Curve,
    Damping,
    Stroke,
    Technique,
    TechniqueKind,
)
from lickwright.timeline.model import SoundingNote

SIGN = 34.0  # room for the drawing
_SIZE = 7.4
_DEAD = HEADS["x"]
_ORDER = {id(technique): n for n, technique in enumerate(TECHNIQUES)}
_SAID = {  # where the drawing says something else than the sign of a text tab
    Curve.BEND: "bend: push the string up by the amount over the arrow",
    Curve.RELEASE: "release the bend; partly, where an amount stands over the arrow",
    Curve.PREBEND: "pre-bend: bend first, then pick",
}


class LegendRow(NamedTuple):
    """One mark and what it means."""

    items: tuple[Item, ...]  # within SIGN points, its base line at y 0
    sentence: str
    order: int = 0  # its place in a legend: the part of it, then the row of the table of techniques


def merge_legends(known: Iterable[LegendRow], more: Iterable[LegendRow]) -> list[LegendRow]:
    """Return two legends as one, each mark once, in the order of a legend."""
    found: dict[str, LegendRow] = {}
    for row in (*known, *more):
        found.setdefault(row.sentence, row)
    return sorted(found.values(), key=lambda row: row.order)


def legend_of(grid: Grid, drawn: EngravingOptions = EngravingOptions()) -> list[LegendRow]:  # noqa: B008 (a frozen value)
    """Return the marks of a lick, each once; with those of the count, the staff of notes and chord shapes where they are drawn."""
    found: dict[str, LegendRow] = {}
    parts = (
        *(_techniques, _events, _holds, _hands, _navigation),
        *(_rhythm if drawn.staff else _rhythm_of_voices, _tones),
        *((_counts,) if drawn.count else ()),
        *((_staff_bends,) if drawn.staff else ()),
        *((_chord_shapes,) if drawn.chord_shapes else ()),
    )
    for n, part in enumerate(parts):
        for row in part(grid):
            found.setdefault(row.sentence, row._replace(order=row.order + n * len(TECHNIQUES)))
    return list(found.values())


def _cells(grid: Grid) -> Iterator[Cell]:
    return (cell for column in grid.columns for cell in column.cells)


def _techniques(grid: Grid) -> Iterator[LegendRow]:
    used: dict[int, tuple[Technique, SoundingNote]] = {}
    for technique, sound in _used(grid):
        used.setdefault(_ORDER[id(technique)], (technique, sound))
    for _, (technique, sound) in sorted(used.items(), key=lambda one: one[0]):
        items = tuple(_drawing(technique, sound)) if technique.sign and technique.sentence else ()
        if items:
            yield LegendRow(items, _SAID.get(technique.curve, technique.sentence), _ORDER[id(technique)])


def _used(grid: Grid) -> Iterator[tuple[Technique, SoundingNote]]:
    """Every technique that is drawn, with a sound that shows it."""
    for cell in _cells(grid):
        sound = cell.sound
        yield from ((shape.technique, sound) for shape in cell.shapes)
        if cell.starts:
            yield sound.begin, sound
            yield from ((mark, sound) for mark in sound.marks)
            if sound.head is not None:
                yield sound.head, sound
    some = next((cell.sound for cell in _cells(grid)), None)
    if some is not None:
        yield from ((above.technique, some) for above in grid.above if above.technique is not None)


def _word(text: str, face: str = "serif-italic") -> Iterator[Item]:
    yield Text(0.0, 0.0, text, face, _SIZE)


def _number(x: float, text: str) -> Text:
    return Text(x, 0.0, text, "sans-bold", _SIZE, "middle")


def _drawing(technique: Technique, sound: SoundingNote) -> Iterator[Item]:
    """A technique as the sheet draws it."""
    drawn = _DRAWN.get(id(technique))
    if drawn is not None:
        yield from drawn
    elif technique.curve in _CURVES and technique.kind is not TechniqueKind.WORD:
        yield from _CURVES[technique.curve](technique)
    elif technique.stroke is Stroke.TAP:
        yield from _word(TAPPED, "sans")
    elif technique.kind is TechniqueKind.JOIN:
        yield from _joined(technique)
    elif technique.kind is TechniqueKind.ENTRY:
        yield from (lens(1.0, 9.0, -4.2, 2.0), _number(10.0, "7"))
    elif technique.kind is TechniqueKind.HEAD:
        text = head_text(_DEAD if sound.dead else technique, sound).replace("<", "‹").replace(">", "›")
        yield Text(0.0, 0.0, text, "sans-bold", _SIZE)
    elif technique.above:
        yield from _word(technique.above)


def _joined(technique: Technique) -> Iterator[Item]:
    frets = ("5", "7") if technique.direction >= 0 else ("7", "5")
    yield _number(4.0, frets[0])
    yield _number(20.0, frets[1])
    yield lens(5.0, 19.0, -5.4, 2.0)


def _glide(technique: Technique) -> Iterator[Item]:
    rise = 2.2 if technique.direction > 0 else -2.2
    frets = ("5", "7") if technique.direction > 0 else ("7", "5")
    yield _number(4.0, frets[0])
    yield _number(20.0, frets[1])
    yield line(7.4, -2.6 + rise, 16.6, -2.6 - rise, 0.8)
    if technique.stroke is not Stroke.PICK:
        yield lens(5.0, 19.0, -5.4, 2.0)


def _slide_in(technique: Technique) -> Iterator[Item]:
    rise = 2.2 if technique.amount < 0 else -2.2
    yield line(1.0, -2.6 + rise, 7.0, -2.6 - rise, 0.8)
    yield _number(11.0, "7")


def _slide_off(technique: Technique) -> Iterator[Item]:
    rise = 2.2 if technique.amount > 0 else -2.2
    yield _number(4.0, "7")
    yield line(7.5, -2.6 + rise, 13.5, -2.6 - rise, 0.8)


def _bend(technique: Technique) -> Iterator[Item]:
    yield _number(3.0, "7")
    yield Path((("M", 6.0, -2.0), ("C", 12.0, -2.0, 13.0, -3.0, 13.0, -6.0)), 0.8)
    yield arrowhead(13.0, -9.0, -1.0)


def _prebend(technique: Technique) -> Iterator[Item]:
    yield _number(3.0, "7")
    yield line(8.0, -0.5, 8.0, -6.0, 0.8)
    yield arrowhead(8.0, -9.0, -1.0)


def _release(technique: Technique) -> Iterator[Item]:
    commands: tuple[Command, ...] = (("M", 3.0, -8.0), ("C", 10.0, -8.0, 13.0, -8.0, 13.0, -3.6))
    yield Path(commands, 0.8)
    yield arrowhead(13.0, 0.0, 1.0)


def _vibrato(technique: Technique) -> Iterator[Item]:
    wide = technique.amount >= 0.5
    yield wave(0.0, 22.0, -3.0, *((5.0, 2.2) if wide else (4.2, 1.1)))


_CURVES: dict[Curve, Callable[[Technique], Iterator[Item]]] = {
    Curve.GLIDE: _glide, Curve.SLIDE_IN: _slide_in, Curve.SLIDE_OFF: _slide_off, Curve.BEND: _bend,
    Curve.PREBEND: _prebend, Curve.RELEASE: _release, Curve.VIBRATO: _vibrato,
}  # fmt: skip


_DRAWN: dict[int, tuple[Item, ...]] = {  # by the identity of a technique
    id(MARKS["!"]): (Path((("M", 1.0, -5.0), ("L", 7.0, -3.0), ("L", 1.0, -1.0)), 0.9),),
    id(MARKS[","]): (disc(3.0, -2.5, 1.1),),
    id(MARKS["?"]): (Text(0.0, 0.0, GHOST_TEXT.format("7"), "sans-bold", _SIZE),),
    id(WORDS["down"]): (
        Path((("M", 1.0, 0.0), ("L", 1.0, -5.0), ("L", 6.6, -5.0), ("L", 6.6, 0.0)), 0.8),
        line(1.0, -4.4, 6.6, -4.4, 1.6),
    ),
    id(WORDS["up"]): (Path((("M", 1.0, -5.6), ("L", 3.4, 0.0), ("L", 5.8, -5.6)), 0.8),),
}


def _events(grid: Grid) -> Iterator[LegendRow]:
    written = {word.word for word in grid.timeline.words}
    for word, event in EVENT_ABOVE.items():
        if word in written:
            yield LegendRow(tuple(_wave_upright() if word == "roll" else _word(event.above)), event.sentence)


def _wave_upright() -> Iterator[Item]:
    commands: list[Command] = [("M", 4.0, 1.0)]
    for n in range(3):
        side = 1.8 if n % 2 else -1.8
        y = 1.0 - 3.0 * n
        commands.append(("C", 4.0 + side, y - 1.0, 4.0 + side, y - 2.0, 4.0, y - 3.0))
    yield Path(tuple(commands), 0.7)


def _holds(grid: Grid) -> Iterator[LegendRow]:
    """What says how long notes last."""
    if any(mark.held for bar in bars_of_stops(grid, False) for stop in bar.stops for mark in stop.marks):
        yield LegendRow((Text(0.0, 0.0, "(7)", "sans", m.HELD),), "still sounding: hold it, don't pick again")
    if any(above.row is GridRow.BEND for above in grid.above):
        dashes = line(0.0, -3.0, 22.0, -3.0, 0.6, (2.4, 1.8))
        yield LegendRow((dashes,), "keep the bend up as far as the dashes go")
    for is_meant, sentence in _OF_STRINGS:
        text = next((above.text for above in grid.above if above.row is GridRow.HOW and is_meant(above)), "")
        if text:
            yield LegendRow(tuple(_word(accidental_signs(text), "sans")), sentence)


def _is_stop(above: RowEntry) -> bool:
    return above.text.startswith(f"{STOP} ")


def _is_single_ring(above: RowEntry) -> bool:
    """Whether one string of several is left ringing: it is named."""
    rings = above.technique is not None and above.technique.damping is Damping.RING
    return rings and not above.lasts and " " in above.text


_OF_STRINGS: tuple[tuple[Callable[[RowEntry], bool], str], ...] = (
    (_is_stop, "this string stops sounding here, the others go on"),
    (_is_single_ring, "only the note on this string goes on ringing"),
)


def _hands(grid: Grid) -> Iterator[LegendRow]:
    for row, (label, names) in FINGERS.items():
        used = {above.text for above in grid.above if above.row is row}
        known = [(sign, name) for sign, name in names.items() if sign in used]
        if known:
            sentence = f"{label}: {', '.join(name for _, name in known)}"
            yield LegendRow(tuple(_word(" ".join(sign for sign, _ in known))), sentence)


def _navigation(grid: Grid) -> Iterator[LegendRow]:
    for drawn in grid.bars:
        for node in drawn.bar.marks:
            yield LegendRow(tuple(_word(node.mark.printed)), node.mark.sentence)
        if drawn.bar.same:
            items = (
                Path((("M", 1, 0), ("L", 3, 0), ("L", 9, -6), ("L", 7, -6), ("Z",)), 0.0),
                disc(2.2, -5.0, 0.9),
                disc(7.8, -1.0, 0.9),
            )
            yield LegendRow(items, "play the bar before again")


def _tones(grid: Grid) -> Iterator[LegendRow]:
    tones = dict.fromkeys(above.text for above in grid.above if above.row is GridRow.TONE)
    if tones:
        yield LegendRow(
            tuple(_word(accidental_signs(" ".join(list(tones)[:3])), "sans")), "what the note is in the chord over it"
        )


def _counts(grid: Grid) -> Iterator[LegendRow]:
    return (LegendRow(tuple(_word(sign, "sans")), sentence) for sign, sentence in count_rows(grid))


def _rhythm_of_voices(grid: Grid) -> Iterator[LegendRow]:
    """What a reader of notes would look for on the number, where a bar may have two voices."""
    rhythms: list[BarRhythm] = []
    for n, bar in enumerate(bars_of_stops(grid, False)):
        voices = voices_on_strings(grid, n, bar)
        rhythms += [bar.rhythm] if voices is None else [voice.rhythm for voice in voices]
    return _long_notes(rhythms)


def _rhythm(grid: Grid) -> Iterator[LegendRow]:
    """What a reader of notes would look for on the number."""
    return _long_notes(bar.rhythm for bar in bars_of_stops(grid, False))


def _long_notes(rhythms: Iterable[BarRhythm]) -> Iterator[LegendRow]:
    bases = {event.base for rhythm in rhythms for event in rhythm.events if not event.rest}
    if any(base * 2 == 1 for base in bases):
        items = (line(3.0, -5.0, 3.0, 3.0, 0.8), disc(3.0, -6.0, 2.5, 0.9, tall=0.66))
        yield LegendRow(items, "a half note: its open head stands under the strings")
    if any(base >= 1 for base in bases):
        yield LegendRow((disc(3.0, -3.0, 2.5, 0.9, tall=0.66),), "a whole note")


def _chord_shapes(grid: Grid) -> Iterator[LegendRow]:
    """Yield the signs of the chords' diagrams, where there are any."""
    if chord_boxes(grid):
        items = (
            *(line(0.6, -1.2 - y, 3.0, -3.6 + y, 0.6) for y in (0.0, 2.4)),
            disc(8.6, -2.4, 1.35, 0.6),
            disc(14.6, -2.4, 1.75),
        )
        yield LegendRow(tuple(items), "of a chord: a string that is not played, an open one, a finger")


def _staff_bends(grid: Grid) -> Iterator[LegendRow]:
    """Yield the small heads of bends on the staff."""
    bars = bars_of_stops(grid, False)
    notes = [note for row in staff_notes(grid, bars) for here in row for note in here]
    if any(note.targets for note in notes):
        angle = Path((("M", 4.0, -3.0), ("L", 10.0, -9.0), ("L", 16.0, -6.0)), 0.7)
        items = (disc(4.0, 0.0, 3.0, tall=0.75), angle, disc(16.0, -3.0, 1.9, tall=0.75))
        yield LegendRow(items, "on the staff, the pitch that a bend or release comes to")
    raised = [target for note in notes for target in note.targets if target.accidental in RAISED.values()]
    if raised:
        sign = place_sign(raised[0].accidental, 4.0, -4.0 - SIGN_MIDDLE[raised[0].accidental] * 4.0, 4.0)
        yield LegendRow((sign,), "on the staff, a quarter step higher")


__all__ = ["SIGN", "LegendRow", "legend_of"]
