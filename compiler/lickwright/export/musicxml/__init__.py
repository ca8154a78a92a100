"""MusicXML 4.0: a staff of notes and a tab staff, for programs that show, print and play scores.

In: a counted lick. Out: one `score-partwise` document of one part with two staves, and what MusicXML cannot say. The tab staff shows the same music as
the staff of notes. Pitches are those that are heard, tuning and capo included; frets are counted from the capo. Notes that overlap on several strings
stand in voices of their own, so that every length is exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import gcd
from typing import NamedTuple
from xml.etree.ElementTree import Element, indent, tostring

from lickwright.checks.findings import finding_at_sound, note_as_typed
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.musicxml.bar_lines import add_left_line, add_right_line, bar_signs
from lickwright.export.musicxml.compressed import compressed_score
from lickwright.export.musicxml.directions import SWUNG_VALUES, add_directions
from lickwright.export.musicxml.elements import MeasureCursor, add, sounding_key
from lickwright.export.musicxml.notations import words_for
from lickwright.export.musicxml.notes import Staff, add_voices
from lickwright.export.musicxml.score_head import add_attributes, add_head, add_part
from lickwright.export.musicxml.voices import Voice, VoiceEvent, bar_voices
from lickwright.export.musicxml.written_bars import WrittenScore, written_score
from lickwright.music.rhythm import value_name
from lickwright.performance.note_events import tempo_factor
from lickwright.timeline.model import Timeline

IN_WORDS = Rule(
    "L516",
    "only in words in MusicXML",
    Severity.INFO,
    "MusicXML has no sign for this way of playing",
    "MusicXML has no element for a slap, a pop, a swell, a pick scrape, a hammer-on from nowhere, a trill wider than a whole step or downwards, or a harmonic "
    "touched between two frets. Each is written as words at its note: a reader sees it, and a program that plays the score plays a plain note.",
    "",
    "",
)
OTHER_TIMES = Rule(
    "L517",
    "not the same each time",
    Severity.INFO,
    "a repeat is played otherwise than it is written in MusicXML",
    "What goes on over the bar line into a bar that is played again depends on what was played before it. A score in MusicXML shows a bar once: as it is "
    "played the first time.",
    "",
    "",
)
SWING = Rule(
    "L518",
    "swing that MusicXML lacks",
    Severity.INFO,
    "MusicXML swings eighths and sixteenths only",
    "MusicXML can say that eighths or sixteenths swing. The feel of other values stands over the score in words, and a program plays it straight.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (IN_WORDS, OTHER_TIMES, SWING)

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return the score, compressed if `options` ask for it, and what MusicXML cannot say of the lick."""
    timeline = lowered.timeline
    written = written_score(timeline)
    factor = tempo_factor(timeline, options.tempo_percent, options.tempo_bpm)
    score = _score(timeline, written, factor)
    indent(score)
    data = (_HEAD + tostring(score, "unicode") + "\n").encode()
    losses = sorted(_losses(timeline, written), key=lambda loss: (loss.span.start, loss.code))
    return Export(compressed_score(data) if options.compressed else data, tuple(losses))


# --- the document ----------------------------------------------------------------------------------------------------


class _BarMusic(NamedTuple):
    """What one `measure` shows."""

    voices: list[Voice]
    fermatas: tuple[int, ...]  # grains from the start of the bar


def _score(timeline: Timeline, written: WrittenScore, factor: Fraction) -> Element:
    music = [_bar_music(timeline, written, n) for n in range(len(timeline.bars))]
    unit = _unit(timeline, music)
    score = Element("score-partwise", version="4.0")
    add_head(score, timeline)
    part = add_part(score)
    signs = bar_signs(timeline)
    staves = _staves(timeline, written, unit, max((len(bar.voices) for bar in music), default=1))
    for n, bar in enumerate(timeline.bars):
        implicit = {"implicit": "yes"} if bar.number == 0 else {}
        measure = add(part, "measure", number=bar.number, **implicit)
        add_left_line(measure, signs[n])
        if n == 0:
            add_attributes(measure, timeline, timeline.grain // 4 // unit)
        _add_repeated(measure, timeline, n)
        cursor = MeasureCursor(measure, unit)
        add_directions(cursor, timeline, n, factor)
        for staff in staves:
            add_voices(cursor, timeline, music[n].voices, staff, music[n].fermatas)
        cursor.go_to(bar.length)
        add_right_line(measure, bar, signs[n], n + 1 == len(timeline.bars))
    return score


def _bar_music(timeline: Timeline, written: WrittenScore, index: int) -> _BarMusic:
    bar = timeline.bars[index]
    slots = (one.slot for one in timeline.directions if one.kind == "fermata")
    fermatas = tuple(sorted({timeline.slots[slot].at for slot in slots if bar.first <= slot < bar.last}))
    return _BarMusic(bar_voices(timeline, bar, written.bars[index], fermatas), fermatas)


def _unit(timeline: Timeline, music: Sequence[_BarMusic]) -> int:
    """Return the most grains that every instant of the score is a multiple of: one division, a whole part of a quarter note."""
    unit = timeline.grain // 4
    for slot in timeline.slots:
        unit = gcd(unit, slot.at, slot.length)
    for bar, one in zip(timeline.bars, music, strict=True):
        unit = gcd(unit, bar.length)
        for voice in one.voices:
            unit = gcd(unit, *(at for event in voice if isinstance(event, VoiceEvent) for at in (event.at, event.end)))
        unit = gcd(unit, *(at for at in _chord_places(timeline, bar.length)))
    for sound in timeline.sounds:
        unit = gcd(unit, *(shape.start - sound.start for shape in sound.shapes))
    return unit


def _chord_places(timeline: Timeline, length: int) -> Iterator[int]:
    """Yield where chord symbols may stand in a bar of a length."""
    for share in {entry.at for bar in timeline.settings.chords for entry in bar}:
        yield share.numerator * length // share.denominator


def _staves(timeline: Timeline, written: WrittenScore, unit: int, voices: int) -> tuple[Staff, Staff]:
    tuning, capo = timeline.settings.tuning, timeline.settings.capo
    shift = tuple(capo + heard - named for heard, named in zip(tuning.sounding, tuning.nominal, strict=True))
    key = sounding_key(timeline.settings)
    return (
        Staff(1, 1, unit, shift, key, written.joins),
        Staff(2, voices + 1, unit, shift, key, written.joins),
    )


def _add_repeated(measure: Element, timeline: Timeline, index: int) -> None:
    """Append where bars begin and end that are shown as a repeat of the one before; their notes are written all the same."""
    same = timeline.bars[index].same
    if same != (index > 0 and timeline.bars[index - 1].same):
        repeated = add(add(add(measure, "attributes"), "measure-style"), "measure-repeat", 1 if same else None)
        repeated.set("type", "start" if same else "stop")


# --- losses ----------------------------------------------------------------------------------------------------------


def _losses(timeline: Timeline, written: WrittenScore) -> Iterator[Diagnostic]:
    """Yield what MusicXML cannot say: each way of playing that it lacks once, each place that differs from time to time once."""
    settings = timeline.settings
    if settings.feel.ratio != (1, 1) and settings.feel.unit not in SWUNG_VALUES:
        at, notes = settings.finding_place("feel", timeline.span)
        message = f"MusicXML cannot swing {value_name(settings.feel.unit)}s: the feel stands there in words"
        yield SWING.at(at, message, notes=notes)
    said: set[str] = set()
    for sound in timeline.sounds:
        for words in words_for(sound):
            if words not in said:
                said.add(words)
                yield finding_at_sound(IN_WORDS, timeline, sound, f"{words}: MusicXML says this in words only")
    seen: set[int] = set()
    for sound in written.differing:
        if sound.span.start not in seen:
            seen.add(sound.span.start)
            name = note_as_typed(timeline, sound.string, "" if sound.fret is None else sound.fret)
            message = f"{name} is not played the same each time: MusicXML has the first time"
            yield finding_at_sound(OTHER_TIMES, timeline, sound, message)
