"""Heading, legend and closing lines of a text tab, and whether a caution is due.

In: a `Grid`. Out: lines of text within a width, or the same facts as rows of a name and a value, which the printed sheet takes. The
legend explains just the marks that were printed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from lickwright.export.tab.drawing import CHORD_TONES, FINGERS, LET_RING, LET_RING_SHORT
from lickwright.export.tab.lanes import wrap_words
from lickwright.hand.fingering import hand_for
from lickwright.hand.measures import BIG_BEND, PICKING
from lickwright.layout.grid import Cell, Grid, GridRow
from lickwright.layout.row_entries import HOLD, STOP
from lickwright.layout.tab_marks import EVENT_ABOVE, head_text, note_text, shape_text
from lickwright.music.accidentals import accidental_signs
from lickwright.music.box_area import Area, played_area
from lickwright.music.fretboard import Place
from lickwright.music.pitch import parse_key, pitch_name
from lickwright.music.rhythm import value_name
from lickwright.music.syllables import BETWEEN, GROUP, NUMBERED
from lickwright.notation.techniques import MARKS, QUARTER_BEND, TECHNIQUES, UPWARD_BENDS, Curve, Stroke, Technique
from lickwright.settings.fields import Settings
from lickwright.timeline.model import SoundingNote, Timeline

_ORDER = {id(technique): index for index, technique in enumerate(TECHNIQUES)}
_FLATS = parse_key("Db major")

_COUNT_SIGNS = (  # signs in a count that need an explanation
    (NUMBERED, "in the count: from here equal parts are counted by number, 2 3 4 and so on"),
    (GROUP, "in the count: a new group of beats begins"),
)
_STRING_WORDS = (  # words about one string, by how they begin
    (f"{MARKS['='].above} ", "only the note on this string goes on ringing"),
    (f"{STOP} ", "this string stops sounding here, the others go on"),
)
_MUSICAL = ("key", "box", "scale", "tuning")  # facts that Lickwright words
_TAP = Stroke.TAP  # bound here, since it is asked for every sound and an enumeration is slow to look into
_PACE_NOTES = 5  # notes in a row that make a pace; an estimate


def heading_lines(grid: Grid, width: int, tempo: str) -> list[str]:
    """Return the title, the author and what a player has to know before the first note; `tempo` as `tempo_words` says it."""
    settings = grid.timeline.settings
    lines = [
        *wrap_words(grid.timeline.title, width),
        *(wrap_words(f"by {settings.by}", width) if settings.by else ()),
        "",
    ]
    return lines + _listed(heading_facts(grid.timeline, tempo), width)


def heading_facts(timeline: Timeline, tempo: str) -> list[tuple[str, str]]:
    """Return what a player has to know before the first note, each with its name; `tempo` as `tempo_words` says it."""
    return list(_facts(timeline.settings, _shown_area(timeline), tempo, _meter(timeline, _length)))


def printed_facts(timeline: Timeline, tempo: str) -> list[tuple[str, str]]:
    """Return the same facts for print and pages, whose readers do not know the notation: with ♭ and ♯, and a pick-up in beats.

    A user's own words stay as they are.
    """
    meter = _meter(timeline, timeline.settings.meter.length_name)
    facts = _facts(timeline.settings, _shown_area(timeline), tempo, meter)
    return [(name, accidental_signs(value) if name in _MUSICAL else value) for name, value in facts]


def _shown_area(timeline: Timeline) -> Area | None:
    """Return the placements of the lick's box that it uses; None without a box, and for a lick that frets no note in it."""
    area, frets = timeline.settings.area, set(_fretted(timeline))
    if area is None or (frets and frets.isdisjoint(area.places) and frets.isdisjoint(area.blue)):
        return None
    return played_area(area, frets)


def _fretted(timeline: Timeline) -> Iterator[Place]:
    """Yield where the fretting hand holds a string; taps are the picking hand's, which goes anywhere."""
    for sound in timeline.sounds:
        if sound.fret and sound.begin.stroke is not _TAP:
            yield sound.string, sound.fret


def _facts(settings: Settings, area: Area | None, tempo: str, meter: str) -> Iterator[tuple[str, str]]:
    if settings.key is not None:
        yield "key", str(settings.key)
    if area is not None:
        name = area.name.removeprefix("boxes ").removeprefix("box ")
        yield "box", name + (f"; {area.numbering}" if area.numbering else "")
    if settings.scale is not None:
        yield "scale", str(settings.scale)
    yield "tuning", _tuning(settings)
    if settings.capo:
        yield "capo", f"fret {settings.capo}; frets are counted from the capo, 0 is the capo itself"
    yield "tempo", tempo
    yield "meter", meter
    if settings.level is not None:
        yield "level", f"{settings.level} of 5"
    if settings.style:
        yield "style", settings.style


def _tuning(settings: Settings) -> str:
    """Return the pitches, and the tuning's name where it has one."""
    tuning = settings.tuning
    if tuning.shift:  # the labels are those of the fingering; tuned down, a player says flats
        names = [
            pitch_name(pitch, _FLATS if tuning.shift < 0 else None).rstrip("-0123456789") for pitch in tuning.sounding
        ]
    else:
        names = [label[0].upper() + label[1:] for label in tuning.labels]
    pitches = " ".join(reversed(names))
    named = not tuning.name[-1].isdigit()
    return f"{pitches}, low to high" + (f" ({tuning.name})" if named else "")


def _length(length: Fraction) -> str:
    """Return a length as the notation writes it: `3/8`."""
    return f"{length.numerator}/{length.denominator}"


def _meter(timeline: Timeline, length_name: Callable[[Fraction], str]) -> str:
    """Return the meter, with the pick-up, whose length `length_name` says, and the bars that are shorter by as much."""
    meter, pickup = timeline.settings.meter, timeline.settings.pickup
    if not pickup:
        return str(meter)
    less = (meter.length - pickup) * timeline.grain
    short = [str(bar.number) for bar in timeline.bars if bar.number and bar.length == less]
    words = f"{meter}, with a pick-up of {length_name(pickup)}"
    if short:
        words += f"; {'bars' if len(short) > 1 else 'bar'} {', '.join(short)} shorter by as much"
    return words


def tempo_words(timeline: Timeline, percent: Fraction | None, bpm: Fraction | None, *, note_names: bool = False) -> str:
    """Return `1/4 = 72, shuffle`; with `note_names`, for readers who do not know the notation, `quarter note = 72, shuffle`.

    A tempo asked for (percent of the written one, or beats a minute) comes first, the written one beside it.
    """
    settings = timeline.settings
    tempo, feel = settings.tempo, settings.feel
    written, asked = timeline.opening_tempo(), timeline.opening_tempo(percent, bpm)
    counted = tempo.counted_name(settings.meter) if note_names else tempo.counted_value(settings.meter)
    words = f"{counted} = {tempo_number(asked)}"
    if asked != written:
        words += f" (written: {tempo_number(written)})"
    if feel.name == "straight":
        return words
    long, short = feel.ratio
    if note_names:
        return f"{words}, {feel.name}: two {value_name(feel.unit)}s as long and short, {long}:{short}"
    return f"{words}, {feel.name}: pairs of 1/{feel.unit.denominator} are played long and short, {long}:{short}"


def tempo_number(number: Fraction) -> str:
    """Return beats a minute as a page says them: `72`, `66.5`."""
    return str(number.numerator) if number.denominator == 1 else f"{float(number):.4g}"


def _listed(rows: Iterator[tuple[str, str]] | Sequence[tuple[str, str]], width: int) -> list[str]:
    """Return names and values as lines, the values in one column and wrapped there."""
    rows = list(rows)
    indent = max((len(name) for name, _ in rows), default=0) + 2
    lines: list[str] = []
    for name, value in rows:
        lines += _entry(name, value, indent, width)
    return lines


@lru_cache(maxsize=4096)
def _entry(name: str, value: str, indent: int, width: int) -> tuple[str, ...]:
    first, *more = wrap_words(value, width - indent) or [""]
    return f"{name:<{indent}}{first}", *(" " * indent + line for line in more)


class PrintedMarks(NamedTuple):
    """What the legend has to know of the printed lines."""

    held: str = ""  # a note shown in parentheses because it goes on; "" for none
    short_ring: bool = False  # a "let ring" had no room for its words


def legend_lines(grid: Grid, printed: PrintedMarks, width: int) -> list[str]:
    """Return the marks that were printed, each with its longest example in this lick, in the order of the reference page."""
    return _listed(legend_rows(grid, printed), width)


def legend_rows(grid: Grid, printed: PrintedMarks) -> list[tuple[str, str]]:
    """Return each mark that was printed with its sentence, in the order of the reference page."""
    rows = [row for part in _LEGEND for row in part(grid, printed) if row[1]]
    return list(dict.fromkeys(rows))


def _of_techniques(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    used = _used_techniques(grid, bool(printed.held))
    by_sentence: dict[str, str] = {}  # two rows of one sentence are told once, by the mark of the first
    for order in sorted(used):
        by_sentence.setdefault(used[order][1], used[order][0])
    for sentence, mark in by_sentence.items():
        yield f"{mark}, {LET_RING_SHORT}" if printed.short_ring and mark == LET_RING else mark, sentence


def _used_techniques(grid: Grid, held: bool) -> dict[int, tuple[str, str]]:
    """Return the techniques in a lick by their row in the table, each with its longest example and its sentence."""
    used: dict[int, tuple[str, str]] = {}
    for cell in (cell for column in grid.columns for cell in column.cells if _is_marked(cell)):
        for technique, example in _examples(cell, held):
            order = _ORDER[id(technique)]
            if order not in used or len(used[order][0]) < len(example):
                used[order] = (example, technique.sentence)
    for above in grid.above:
        if above.technique is not None and above.lasts:
            used.setdefault(_ORDER[id(above.technique)], (above.text, above.technique.sentence))
    return used


def _is_marked(cell: Cell) -> bool:
    """Return whether a cell may show more than a fret."""
    sound = cell.sound
    return bool(cell.shapes or not sound.fret or sound.marks or sound.begin.sign or sound.head)


def _of_events(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    written = {word.word for word in grid.timeline.words}
    return ((event.above, event.sentence) for word, event in EVENT_ABOVE.items() if word in written)


def _of_navigation(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    return ((node.mark.printed, node.mark.sentence) for drawn in grid.bars for node in drawn.bar.marks)


def _of_tones(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    tones = dict.fromkeys(above.text for above in grid.above if above.row is GridRow.TONE)
    if tones:
        yield " ".join(list(tones)[:3]), f"{CHORD_TONES}: what the note is in the chord over it"


def count_rows(grid: Grid) -> Iterator[tuple[str, str]]:
    """What not everyone knows of a count, each sign with its sentence."""
    said = dict.fromkeys(column.said for column in grid.columns)
    for sign, sentence in _COUNT_SIGNS:
        yield from ((count, sentence) for count in [count for count in said if sign in count][:1])
    rests = (column.said.removeprefix(GROUP) for column in grid.columns if column.silent and column.said != BETWEEN)
    if rest := next(filter(None, rests), ""):
        yield f"({rest})", "in the count: a rest, count it and play nothing"


def _of_counts(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    return count_rows(grid)


def _of_length(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    """Yield what shows how long notes last."""
    if printed.held:
        yield printed.held, "still sounding from before: hold it, don't pick again"
    if any(above.row is GridRow.BEND for above in grid.above):
        yield f"{HOLD}--|", "keep the bend up as far as the line goes (a short line has no word)"
    for word, sentence in _STRING_WORDS:
        text = next(
            (above.text for above in grid.above if above.row is GridRow.HOW and above.text.startswith(word)), ""
        )
        if text:
            yield text, sentence


def _of_fingers(grid: Grid, printed: PrintedMarks) -> Iterator[tuple[str, str]]:
    """Yield the letters and numbers of fingers, a row for each hand."""
    for row, (label, names) in FINGERS.items():
        used = {above.text for above in grid.above if above.row is row}
        if used:
            known = [(sign, name) for sign, name in names.items() if sign in used]
            yield " ".join(sign for sign, _ in known), f"{label}: {', '.join(name for _, name in known)}"


# In the order of the reference page.
_LEGEND: tuple[Callable[[Grid, PrintedMarks], Iterable[tuple[str, str]]], ...] = (
    _of_techniques, _of_events, _of_navigation, _of_length, _of_fingers, _of_tones, _of_counts,
)  # fmt: skip


def _examples(cell: Cell, above: bool) -> Iterator[tuple[Technique, str]]:
    """Yield the techniques of a cell as printed; `above` where a ghost note has its letter in the row above."""
    if cell.starts:
        yield from _start_examples(cell.sound, above)
    for shape in cell.shapes:
        text = shape_text(shape, cell.sound)
        bare = bool(text) and shape.technique.curve is Curve.BEND and not text[-1:].isdigit()
        yield QUARTER_BEND if bare else shape.technique, text or note_text(cell.sound)


def _start_examples(sound: SoundingNote, above: bool) -> Iterator[tuple[Technique, str]]:
    text = note_text(sound)
    if sound.begin.sign:
        yield sound.begin, text
    if sound.head is not None:
        yield sound.head, head_text(sound.head, sound)
    for mark in sound.marks:
        yield mark, f"{text} {mark.above}" if mark.tab and above else text if mark.tab else mark.above


def closing_lines(settings: Settings, width: int) -> list[str]:
    """Return the rights, source, tags and notes that the lick states."""
    rows = [("rights", settings.rights), ("source", settings.source), ("tags", settings.tags)]
    rows += [("note", note) for note in settings.notes]
    return _listed([row for row in rows if row[1]], width)


def needs_caution(timeline: Timeline) -> bool:
    """Return whether a lick bends, stretches or hurries so far that a caution is due."""
    bends = any(
        shape.amount > BIG_BEND
        for sound in timeline.sounds
        for shape in sound.shapes
        if shape.technique.curve in UPWARD_BENDS
    )
    return bends or _stretches(timeline) or _hurries(timeline)


def _stretches(timeline: Timeline) -> bool:
    """Return whether fretted notes that start together are further apart than a hand stretches with ease."""
    hand = hand_for(timeline)
    fretted = [(s.start, s.fret) for s in timeline.sounds if s.fret and s.begin.stroke is not _TAP]  # taps go anywhere
    every = [fret for _, fret in fretted]
    if not every or hand.span(min(every), max(every)) <= hand.stretch:
        return False
    chords: dict[int, list[int]] = {}
    for start, fret in fretted:
        chords.setdefault(start, []).append(fret)
    return any(hand.span(min(frets), max(frets)) > hand.stretch for frets in chords.values() if len(frets) > 1)


def _hurries(timeline: Timeline) -> bool:
    """Return whether some notes in a row, a repeat's included, come faster than the limit at the fastest tempo of the lick."""
    fastest = max((tempo.qpm for tempo in timeline.tempos), default=Fraction(0))
    gap = float(60 / fastest) * 4 / timeline.grain if fastest else 1.0  # seconds a grain
    starts = sorted({sound.start for sound in timeline.sounds})
    closest = min([last - first for first, last in zip(starts, starts[_PACE_NOTES - 1 :], strict=False)], default=None)
    return closest is not None and closest * gap * PICKING[0] < _PACE_NOTES - 1
