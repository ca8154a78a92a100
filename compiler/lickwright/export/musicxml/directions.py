"""What stands over and under the notes of a bar: chord symbols, tempo, swing, words, dynamics, spans, segno and jumps.

In: a bar of a Timeline. Out: `direction` and `harmony` elements, each at its instant, appended to the bar's `measure`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element

from lickwright.export.musicxml.chord_symbols import add_chord
from lickwright.export.musicxml.elements import MeasureCursor, add, number_text, sounding_key, value_type
from lickwright.layout.holds import held_to
from lickwright.music.rhythm import Meter, Tempo, parse_tempo
from lickwright.notation.navigation import NavigationMark
from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import DYNAMICS
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Bar, Direction, Timeline

_FORTE = 90  # the MIDI velocity that MusicXML counts loudness in per cent of
SWUNG_VALUES = {Fraction(1, 8): "eighth", Fraction(1, 16): "16th"}  # the only ones that MusicXML knows


class _Mark(NamedTuple):
    """Something over the notes, at an instant of its bar in grains."""

    at: int
    write: Callable[[Element], None]


def add_directions(cursor: MeasureCursor, timeline: Timeline, index: int, factor: Fraction) -> None:
    """Append everything that stands over and under a bar's notes; every tempo is multiplied by `factor`."""
    marks = [*_opening(timeline, index, factor), *_chords(timeline, index), *_spans(timeline, index)]
    marks += _written_directions(timeline, timeline.bars[index], factor)
    marks += _navigation(timeline.bars[index])
    for mark in sorted(marks, key=lambda one: one.at):
        cursor.go_to(mark.at)
        mark.write(cursor.measure)


def _direction(parent: Element, below: bool = False) -> tuple[Element, Element]:
    """Append an empty direction; return it and its type."""
    direction = add(parent, "direction", placement="below" if below else "above")
    return direction, add(direction, "direction-type")


def _place(direction: Element) -> Element:
    """Append the staff of a direction, and return the direction."""
    add(direction, "staff", 1)
    return direction


# --- tempo and swing -------------------------------------------------------------------------------------------------


def _opening(timeline: Timeline, index: int, factor: Fraction) -> Iterator[_Mark]:
    """Yield the tempo and the feel, at the start of the first bar."""
    if index:
        return
    settings = timeline.settings
    tempo = settings.tempo._replace(bpm=settings.tempo.bpm * factor)
    yield _Mark(0, lambda parent: _add_tempo(parent, tempo, settings.meter))
    if settings.feel.ratio[0] != settings.feel.ratio[1]:
        yield _Mark(0, lambda parent: _add_swing(parent, settings))


def _add_tempo(parent: Element, tempo: Tempo, meter: Meter) -> None:
    """Append a metronome mark and the tempo that is played."""
    direction, kind = _direction(parent)
    metronome = add(kind, "metronome")
    unit = tempo.unit or meter.beat
    dots = unit.numerator.bit_length() - 1
    add(metronome, "beat-unit", value_type(unit * Fraction(2**dots, 2 ** (dots + 1) - 1)))
    for _ in range(dots):
        add(metronome, "beat-unit-dot")
    add(metronome, "per-minute", number_text(tempo.bpm))
    add(_place(direction), "sound", tempo=number_text(tempo.quarters_per_minute(meter)))


def _add_swing(parent: Element, settings: Settings) -> None:
    """Append the feel in words, and as swing where MusicXML knows the value that swings."""
    feel = settings.feel
    direction, kind = _direction(parent)
    add(kind, "words", str(feel))
    _place(direction)
    if feel.unit in SWUNG_VALUES:
        swing = add(add(direction, "sound"), "swing")
        add(swing, "first", feel.ratio[0])
        add(swing, "second", feel.ratio[1])
        add(swing, "swing-type", SWUNG_VALUES[feel.unit])


# --- chords ----------------------------------------------------------------------------------------------------------


def _chords(timeline: Timeline, index: int) -> Iterator[_Mark]:
    """Yield the chord symbols of a bar; a pick-up has none."""
    settings = timeline.settings
    first = 1 if timeline.bars[0].number == 0 else 0
    if not 0 <= index - first < len(settings.chords):
        return
    shift, key = settings.capo + settings.tuning.shift, sounding_key(settings)
    for entry in settings.chords[index - first]:
        at = entry.at.numerator * timeline.bars[index].length // entry.at.denominator
        yield _Mark(at, lambda parent, chord=entry.chord: add_chord(parent, chord, shift, key))  # type: ignore[misc]


# --- words, dynamics, tempo changes ----------------------------------------------------------------------------------


def _written_directions(timeline: Timeline, bar: Bar, factor: Fraction) -> Iterator[_Mark]:
    for written in timeline.directions:
        if bar.first <= written.slot < bar.last and written.kind != "fermata":
            at = timeline.slots[written.slot].at
            yield _Mark(at, lambda parent, one=written: _add_written(parent, timeline, one, factor))  # type: ignore[misc]


def _add_written(parent: Element, timeline: Timeline, written: Direction, factor: Fraction) -> None:
    if written.kind == "tempo":
        tempo = parse_tempo(written.text)
        _add_tempo(parent, tempo._replace(bpm=tempo.bpm * factor), timeline.settings.meter)
    elif written.kind == "dynamic":
        direction, kind = _direction(parent, below=True)
        add(add(kind, "dynamics"), written.text)
        add(_place(direction), "sound", dynamics=number_text(Fraction(100 * DYNAMICS[written.text], _FORTE)))
    else:
        direction, kind = _direction(parent)
        add(kind, "words", written.text)
        _place(direction)


# --- spans -----------------------------------------------------------------------------------------------------------

_SPANS = {Damping.PALM: ("P.M.", 1), Damping.RING: ("let ring", 2)}  # what is printed, and the number of its dashes


def _spans(timeline: Timeline, index: int) -> Iterator[_Mark]:
    """Yield where palm muting and `let ring` begin and end."""
    for word in timeline.words:
        if word.technique is None or word.technique.damping not in _SPANS:
            continue
        text, number = _SPANS[word.technique.damping]
        first, last = timeline.slots[word.first], timeline.slots[held_to(timeline, word.last)]
        if first.bar == index:
            yield _Mark(first.at, lambda parent, text=text, number=number: _add_dashes(parent, text, number))  # type: ignore[misc]
        if last.bar == index:
            yield _Mark(last.at + last.length, lambda parent, number=number: _add_dashes(parent, "", number))  # type: ignore[misc]


def _add_dashes(parent: Element, text: str, number: int) -> None:
    """Append the start of a span with its word, or its end where there is no word."""
    direction, kind = _direction(parent)
    if text:
        add(kind, "words", text)
        kind = add(direction, "direction-type")
    add(kind, "dashes", type="start" if text else "stop", number=number)
    _place(direction)


# --- segno, coda, Fine, jumps ----------------------------------------------------------------------------------------

_SOUNDS = {
    "segno": {"segno": "segno"},
    "coda": {"coda": "coda"},
    "to-coda": {"tocoda": "coda"},
    "fine": {"fine": "yes"},
}


def _navigation(bar: Bar) -> Iterator[_Mark]:
    for node in bar.marks:
        at = 0 if node.mark.opens else bar.length
        yield _Mark(at, lambda parent, mark=node.mark: _add_navigation(parent, mark))  # type: ignore[misc]


def _add_navigation(parent: Element, mark: NavigationMark) -> None:
    direction, kind = _direction(parent)
    if mark.opens:
        add(kind, mark.sign)
    else:
        add(kind, "words", mark.printed)
    jump = {"start": {"dacapo": "yes"}, "segno": {"dalsegno": "segno"}}.get(mark.target, {})
    add(_place(direction), "sound", **(_SOUNDS.get(mark.sign) or jump))
