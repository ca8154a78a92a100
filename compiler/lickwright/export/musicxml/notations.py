"""How a note is played, as MusicXML's `notations`: techniques, bends, slides, ornaments, articulations.

In: one written note and which part of it this is. Out: elements added to `notations`, by the features of the technique table. What MusicXML has no
element for is written in words, and `words_for` names it, so that the loss can be reported.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element

from lickwright.export.musicxml.elements import add, number_text
from lickwright.export.musicxml.written_bars import WrittenNote
from lickwright.layout.tab_marks import fret_text
from lickwright.notation.techniques import BEND_CURVES, JOINS, MARKS, SHAPES, WORDS, Curve, Stroke, Technique
from lickwright.performance.pitch_curves import BEND_SHARE
from lickwright.timeline.model import PitchGesture, SoundingNote

# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; asked for every note.
_REPEAT, _VIBRATO = Stroke.REPEAT, Curve.VIBRATO
_NARROW = SHAPES["~"].amount  # semitones of a vibrato that is not wide
_HALF, _WHOLE = 1, 2  # semitones of a trill that MusicXML has a name for


class NotePart(NamedTuple):
    """One note value of a written note, and what stands around it."""

    note: WrittenNote
    joins: tuple[Technique, ...]  # how what follows is connected to the note
    number: int  # 1 to 16, which tells what is joined on one string and staff from the others
    unit: int  # grains of one division
    grace: bool = False  # a grace note or a rake stroke

    @property
    def sound(self) -> SoundingNote:
        """The note."""
        return self.note.sound

    @property
    def begins(self) -> bool:
        """True for the first of the values that a note is tied of."""
        return not self.note.since

    @property
    def ends(self) -> bool:
        """True for the last of them."""
        return not self.note.goes_on

    @property
    def shapes(self) -> list[PitchGesture]:
        """The shapes that begin in it."""
        if self.grace:
            return self.sound.shapes
        start = self.sound.start + self.note.since
        return [shape for shape in self.sound.shapes if start <= shape.start < start + self.note.end - self.note.at]


def add_notations(parent: Element, part: NotePart, tab: bool) -> None:
    """Append what says how a note is played; on a tab staff its string and fret too."""
    _add_connections(parent, part)
    ornaments = Element("ornaments")
    _add_ornaments(ornaments, part)
    technical = Element("technical")
    if tab:
        _add_place(technical, part.sound)
    _add_technical(technical, part)
    articulations = Element("articulations")
    _add_articulations(articulations, part)
    parent.extend(group for group in (ornaments, technical, articulations) if len(group))
    if part.sound.roll is not None and part.begins:
        add(parent, "arpeggiate", direction="up")


def _add_connections(parent: Element, part: NotePart) -> None:
    """Append slurs and slides, what ends here before what begins."""
    begin = part.sound.begin
    if part.begins and part.sound.source is not None:
        _add_connection(parent, begin, "stop", part.number)
    if part.ends:
        for join in part.joins:
            _add_connection(parent, join, "start", part.number)


def _add_connection(parent: Element, join: Technique, end: str, number: int) -> None:
    if join.stroke is not Stroke.PICK:
        add(parent, "slur", type=end, number=number)
    if join.curve is Curve.GLIDE:
        add(parent, "slide", type=end, number=number, line_type="solid")


# --- ornaments -------------------------------------------------------------------------------------------------------


def _add_ornaments(parent: Element, part: NotePart) -> None:
    sound = part.sound
    if sound.trill is not None and sound.fret is not None:
        if part.begins:
            steps = {_HALF: "half", _WHOLE: "whole"}.get(sound.trill - sound.fret)
            add(parent, "trill-mark", **({"trill-step": steps} if steps else {}))
        _add_wave(parent, part, "wiggleTrill")
    if any(mark.stroke is _REPEAT for mark in sound.marks):
        add(parent, "tremolo", 3, type="single")
    vibrato = _vibrato_of(part) if sound.shapes else None
    if vibrato is not None:
        wide = vibrato.technique.amount > _NARROW
        _add_wave(parent, part, f"guitar{'Wide' if wide else ''}VibratoStroke")


def _vibrato_of(part: NotePart) -> PitchGesture | None:
    """Return the first vibrato that shakes a note value; None for most."""
    start = part.sound.start + part.note.since
    end = start + part.note.end - part.note.at
    for shape in part.sound.shapes:
        if shape.technique.curve is _VIBRATO and (part.grace or (shape.start < end and start < shape.end)):
            return shape
    return None


def _add_wave(parent: Element, part: NotePart, glyph: str) -> None:
    for end in ("start", "stop"):
        add(parent, "wavy-line", type=end, number=part.number, smufl=glyph)


# --- technical -------------------------------------------------------------------------------------------------------


def _add_place(parent: Element, sound: SoundingNote) -> None:
    """Append string and fret; of a natural harmonic the fret nearest to where it is touched, of a dead note none where none is written."""
    add(parent, "string", sound.string)
    fret = sound.fret if sound.fret is not None else sound.touch
    if fret is not None:
        add(parent, "fret", round(fret))


def _add_technical(parent: Element, part: NotePart) -> None:
    sound = part.sound
    if part.begins:
        _add_stroke(parent, sound)
        if sound.source is not None:
            _add_legato(parent, sound.begin, "stop", part.number)
        if sound.finger:
            add(parent, "fingering", sound.finger)
        if sound.pluck:
            add(parent, "pluck", sound.pluck)
        for words in (*words_for(sound), *_more_words(sound)):
            add(parent, "other-technical", words)
    if part.ends:
        for join in part.joins:
            _add_legato(parent, join, "start", part.number)
    if sound.harmonic:
        _add_harmonic(parent, sound)
    _add_bends(parent, part)
    if part.begins:
        for mark in sound.marks:
            if mark.curve in _BAR:
                bend = add(parent, "bend")
                add(bend, "bend-alter", number_text(mark.amount))
                add(bend, "with-bar", mark.sign)


_BAR = (Curve.DIVE, Curve.DIP, Curve.SCOOP)


def _add_stroke(parent: Element, sound: SoundingNote) -> None:
    """Append how the string is set going."""
    if sound.begin.stroke is Stroke.TAP:
        add(parent, "tap", "T", hand="right")
    for mark in sound.marks:
        element = _STROKES.get(id(mark))
        if element is not None:
            add(parent, element)


_STROKES = {id(WORDS["up"]): "up-bow", id(WORDS["down"]): "down-bow", id(WORDS["snap"]): "snap-pizzicato"}


def _add_legato(parent: Element, join: Technique, end: str, number: int) -> None:
    """Append a hammer-on or a pull-off at one of its two notes."""
    element = {Stroke.HAMMER: "hammer-on", Stroke.PULL: "pull-off"}.get(join.stroke or Stroke.PICK)
    if element is not None:
        add(parent, element, join.sign.upper() if end == "start" else None, type=end, number=number)


def _add_harmonic(parent: Element, sound: SoundingNote) -> None:
    """Append a harmonic; the note's pitch is the one that sounds."""
    harmonic = add(parent, "harmonic")
    add(harmonic, "natural" if sound.fret is None else "artificial")
    add(harmonic, "sounding-pitch")


def _more_words(sound: SoundingNote) -> Iterator[str]:
    """Yield what a note's elements leave open: where an artificial harmonic is touched, what is a pinch harmonic or a rake."""
    if sound.kind == "rake":
        yield "rake"
    if sound.harmonic and sound.fret is not None:
        yield f"touch {fret_text(sound.touch)}" if sound.touch is not None else "pinch"


def _add_bends(parent: Element, part: NotePart) -> None:
    """Append the bends and releases that begin in a note value, each by what it adds to the pitch.

    A pre-bend and a release are negative, as the schema of MusicXML 4.0 says of `bend-alter`.
    """
    level = 0.0  # semitones above the fretted pitch
    here = {id(shape) for shape in part.shapes}
    for shape in part.sound.shapes:
        if shape.technique.curve not in BEND_CURVES:
            continue
        if id(shape) in here:
            _add_bend(parent, part, shape, shape.amount - level)
        level = shape.amount


def _add_bend(parent: Element, part: NotePart, shape: PitchGesture, change: float) -> None:
    start = shape.start - part.sound.start - part.note.since  # grains from the start of this note value
    bend = add(parent, "bend", **_bend_times(part, shape, start))
    curve = shape.technique.curve
    add(bend, "bend-alter", number_text(-change if curve is Curve.PREBEND else change))
    if curve is Curve.PREBEND:
        add(bend, "pre-bend")
    elif curve is Curve.RELEASE:
        add(bend, "release", **({} if part.grace else {"offset": number_text(Fraction(start, part.unit))}))


def _bend_times(part: NotePart, shape: PitchGesture, start: int) -> dict[str, str]:
    """Return from which until which per cent of the note value a bend moves; nothing for a grace note's."""
    length = part.note.end - part.note.at
    if part.grace or shape.technique.curve is Curve.PREBEND:
        return {}
    last = start + (shape.end - shape.start) * BEND_SHARE
    return {
        "first-beat": number_text(Fraction(100 * start, length)),
        "last-beat": number_text(min(100.0, 100 * last / length)),
    }


# --- articulations ---------------------------------------------------------------------------------------------------


def _add_articulations(parent: Element, part: NotePart) -> None:
    sound = part.sound
    if part.begins:
        for mark in sound.marks:
            element = _ARTICULATIONS.get(id(mark))
            if element is not None:
                add(parent, element)
        if sound.begin.curve is Curve.SLIDE_IN:
            add(parent, "scoop" if sound.begin.amount < 0 else "plop")
    for shape in part.shapes:
        if shape.technique.curve is Curve.SLIDE_OFF:
            add(parent, "doit" if shape.technique.amount > 0 else "falloff")


_ARTICULATIONS = {id(MARKS["!"]): "accent", id(MARKS[","]): "staccato"}


# --- what has no element ---------------------------------------------------------------------------------------------

_KNOWN_STROKES = (Stroke.SLAP, Stroke.POP, Stroke.SWELL)


def words_for(sound: SoundingNote) -> list[str]:
    """Return what MusicXML says of a note in words only, since it has no element for it; nothing for most notes."""
    found = [mark.name for mark in sound.marks if mark.stroke in _KNOWN_STROKES]
    if sound.kind == "scrape":
        found.append("pick scrape")
    if sound.begin.stroke is Stroke.HAMMER and sound.begin is not JOINS["h"]:
        found.append("hammer-on from nowhere")
    if sound.trill is not None and sound.fret is not None and sound.trill - sound.fret not in (_HALF, _WHOLE):
        found.append(f"trill with fret {sound.trill}")
    if sound.touch is not None and sound.touch.denominator != 1:
        found.append(f"touch over {fret_text(sound.touch)}")
    return found
