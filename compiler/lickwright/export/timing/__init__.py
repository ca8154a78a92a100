"""Timing sheet: a row for each sounding note, when it sounds and what is done to it, for a spreadsheet (CSV).

In: a lick as counted and as sounded. Out: rows, and a CSV of them; `timing_json.py` and `timing_text.py` write the same rows. A hold is
no row of its own; a double stop is two, a trill or tremolo one; strokes of a rake and grace notes have theirs, at the beat that they
lead to. Each bend and each release has a row after its note's, which says when it sets off and when it arrives. Nothing is lost.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from functools import lru_cache
from math import floor
from operator import itemgetter
from typing import NamedTuple

from lickwright.checks.scale_membership import note_memberships
from lickwright.core.diagnostics import Rule
from lickwright.core.keep_last import keep_last
from lickwright.export import Export, LoweredLick, Options
from lickwright.music.chord import Chord
from lickwright.music.pitch import Key, pitch_name
from lickwright.music.scale import Scale, degree_name
from lickwright.music.syllables import CountedInstant
from lickwright.notation.techniques import BEND_CURVES, HELD_BEND, PICKED, UPWARD_BENDS, Curve
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import gesture_ramps
from lickwright.timeline.bar_count import count_events, count_name, instant_in_meter
from lickwright.timeline.harmony import chord_tones, chords_under, tone_in_chord
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

RULES: tuple[Rule, ...] = ()
PLAIN = PICKED.name  # how a note is played to which nothing else is done
_KINDS = {"grace": "grace note", "rake": "rake stroke", "scrape": "pick scrape"}
NOTE = "note"  # the event of a row that is no bend or release
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what makes a spreadsheet calculate a cell


class TimingRow(NamedTuple):
    """One sounding note, or a bend or a release of the one before: `event` says which."""

    bar: int  # as players count; 0 is a pick-up
    beat: int | float  # in the bar from 1, as written: swing and stolen time left out
    count: str  # type: ignore[assignment]  # as one says it: "2 &"; hides tuple.count, which nobody needs here
    at_s: float  # seconds from the start of the music, silence before the first beat included
    for_s: float  # seconds that it sounds
    string: int  # 1 is the thinnest
    fret: int | str  # as fingered; "x" without a clear pitch, "<12>" for a harmonic
    note: str  # as it sounds, capo and tuning included, spelled by the key; "" without a clear pitch
    midi: int | float | None  # sounding MIDI pitch when struck; None without a clear pitch
    degree: str  # in the scale; "" without a key or a clear pitch
    place: str  # "box", "blue", "scale", "open", "approach", "outside"; "" when not judged
    how: str  # the techniques
    bend_to: str  # the notes it is bent to, in order; "" when it is not
    finger: str  # fretting finger, where written
    loudness: float | None  # 0 to 1; None for a bend or release
    event: str  # "note", or "bend", "pre-bend", "release"
    arrives_beat: int | float | None  # the beat at which a bend or release arrives, in its bar; None for a note
    arrives_s: float | None  # the second at which it does
    chord_tone: str  # what it is in the chord over it: "1", "b3"; "no" for none of its notes; "" without a chord


COLUMNS = TimingRow._fields


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return the sheet as CSV: a heading line, then the rows; for a practice set a column more for each rung of its ladder."""
    lines = [",".join(COLUMNS)]
    lines += map(_csv_line, timing_rows(lowered.timeline, lowered.performance(options)))
    if options.recording.practice:
        lines = [",".join(line) for line in zip(lines, *_ladder_columns(lowered, options), strict=True)]
    return Export(("\n".join(lines) + "\n").encode())


def _ladder_columns(lowered: LoweredLick, options: Options) -> Iterator[list[str]]:
    """Yield a column for each rung of the practice ladder, named with its tempo: the second of its recording at which each note sounds."""
    from lickwright.export.audio import ladder_rounds

    order = list(_keyed_rows(lowered.timeline, lowered.performance(options)))
    for number, rung in enumerate(ladder_rounds(lowered, options), 1):
        found = _keyed_rows(lowered.timeline, rung.performance)
        yield [
            f"rung_{number}_at_{float(rung.bpm or 0):g}_s",
            *(str(round(rung.at + found[key].at_s, 3)) for key in order),
        ]


@lru_cache(maxsize=4096)
def csv_cell(value: str) -> str:
    """Return a text as a CSV cell. What a spreadsheet would take for a formula gets an apostrophe, which shows it as text."""
    if value.startswith(_FORMULA):
        value = "'" + value
    if "," in value or '"' in value or "\n" in value or "\r" in value:
        return '"' + value.replace('"', '""') + '"'
    return value


def _csv_line(row: TimingRow) -> str:
    """Return a row as a line of CSV, without its end; a cell of None is empty."""
    (
        bar, beat, count, at_s, for_s, string, fret, note, midi, degree, place, how, bend_to, finger, loudness, event,
        arrives_beat, arrives_s, chord_tone,
    ) = row  # fmt: skip
    fret = csv_cell(fret) if isinstance(fret, str) else fret
    heard = f"{csv_cell(note)},{'' if midi is None else midi},{degree},{place},{csv_cell(how)},{csv_cell(bend_to)}"
    arrives = "," if arrives_s is None else f"{arrives_beat},{arrives_s}"
    return (
        f"{bar},{beat},{csv_cell(count)},{at_s},{for_s},{string},{fret},{heard},{csv_cell(finger)},"
        f"{'' if loudness is None else loudness},{event},{arrives},{csv_cell(chord_tone)}"
    )


def timing_rows(timeline: Timeline, performance: Performance) -> tuple[TimingRow, ...]:
    """Return the rows of a lick, by when what they say begins; both arguments are of the same lick."""
    return tuple(_keyed_rows(timeline, performance).values())


def _keyed_rows(timeline: Timeline, performance: Performance) -> dict[tuple[int, int], TimingRow]:
    """Return the rows in order, each by the index of its sound and 0 for the note, or the number of its bend or release."""
    settings = timeline.settings
    sheet = _Sheet(
        timeline,
        performance,
        {note.sound: note.end for note in performance.notes},
        note_memberships(timeline),
        _pitch_names(settings.key, settings.scale, settings.capo + settings.tuning.shift),
        [count_events(timeline, bar) for bar in timeline.bars],
        [turn.start for turn in timeline.passes],
        techniques_by_sound(timeline),
        chord_tones(timeline),
        chords_under(timeline),
    )
    notes = [note for note in performance.notes if note.part == 0]
    found = [(note.start, 0, (note.sound, 0), _row(sheet, note)) for note in notes]
    for note in notes:
        if timeline.sounds[note.sound].shapes:
            found += [(at, 1, (note.sound, n), row) for n, (at, row) in enumerate(_moves(sheet, note), 1)]
    found.sort(key=itemgetter(0, 1))
    return {key: row for _, _, key, row in found}


class _PitchNames:
    """The names of pitches in one key, worked out when asked for and kept."""

    __slots__ = ("_fingered", "_key", "_known", "_scale", "_shift")

    def __init__(self, key: Key | None, scale: Scale | None, shift: int) -> None:
        self._fingered, self._scale, self._shift = key, scale, shift
        self._key = key and key.transposed(shift)  # as it sounds
        self._known: dict[float, tuple[str, int | float, str]] = {}

    def describe(self, pitch: float) -> tuple[str, int | float, str]:
        """Return the name as it sounds, the MIDI pitch, and the degree in the scale as fingered."""
        found = self._known.get(pitch)
        if found is None:
            nearest, degree = round(pitch), ""
            if self._fingered is not None:
                degree = degree_name(nearest - self._shift - self._fingered.tonic.pc, self._scale, self._fingered)
            found = self._known[pitch] = pitch_name(nearest, self._key), _plain(round(pitch, 2)), degree
        return found

    def bent(self, pitch: float) -> str:
        """Return the note that a bend ends on; what lies a quarter step above one says so in cents."""
        name = pitch_name(floor(pitch + 0.01), self._key)
        over = round(100 * (pitch - floor(pitch + 0.01)))
        return f"{name} +{over} cents" if over > 1 else name


# Kept, since a library asks for few keys. The pitches of one are few too: frets, and the partials of strings.
_pitch_names = lru_cache(maxsize=256)(_PitchNames)


class _Sheet(NamedTuple):
    """What the rows of one lick share."""

    timeline: Timeline
    performance: Performance
    last: dict[int, float]  # seconds at which a sound ends, by its index: of a trill its last stroke
    places: tuple[str, ...]  # by index of the sound
    names: _PitchNames
    counts: list[dict[int, CountedInstant]]  # by bar: what is said at its instants
    turns: list[int]  # where each bar begins as played
    techniques: tuple[str, ...]  # by index of the sound, in words
    tones: tuple[str, ...]  # by index of the sound, what it is in its chord
    chords: tuple[Chord | None, ...]  # by index of the sound


def _row(sheet: _Sheet, note: NoteEvent) -> TimingRow:
    sound = sheet.timeline.sounds[note.sound]
    at = sheet.timeline.slots[sound.slot].at  # of a stroke before the beat, that of the beat
    midi: int | float | None
    name, midi, degree = sheet.names.describe(note.pitch)
    if sound.dead:
        name, midi, degree = "", None, ""
    bends = _bends(sound, note.pitch, sheet.names) if sound.shapes else ""
    return TimingRow(
        sheet.timeline.bars[sound.bar].number, _beat(sheet.timeline, sound.bar, at), sheet.counts[sound.bar][at].name,
        round(note.start, 3), round(sheet.last[note.sound] - note.start, 3), note.string,
        _shown_fret(sound), name, midi, degree, sheet.places[note.sound], sheet.techniques[note.sound], bends, sound.finger or "",
        round(note.loudness, 2), NOTE, None, None, sheet.tones[note.sound],
    )  # fmt: skip


def _moves(sheet: _Sheet, note: NoteEvent) -> Iterator[tuple[float, TimingRow]]:
    """Yield a row for each bend and release of a note, with the second at which it sets off."""
    timeline, sound = sheet.timeline, sheet.timeline.sounds[note.sound]
    fret = _shown_fret(sound)
    seconds = sheet.performance.seconds
    for shape, move in gesture_ramps(sound, note.start, note.end, seconds):
        if shape.technique.curve not in BEND_CURVES or shape.technique is HELD_BEND:  # which does not move
            continue
        step = seconds(shape.end) - seconds(shape.start)
        share = 0.0 if sound.lead or not step else (move.end - seconds(shape.start)) / step
        bar, at = _written(sheet, shape)
        pitch = note.pitch + shape.amount
        partly = shape.technique.curve is Curve.RELEASE and shape.amount > 0
        yield move.start, TimingRow(
            timeline.bars[bar].number, _beat(timeline, bar, at), _count(sheet, bar, at), round(move.start, 3),
            round(move.end - move.start, 3), note.string, fret, sheet.names.bent(pitch), _plain(round(pitch, 2)), "", "",
            f"{shape.technique.name}, partly" if partly else shape.technique.name, sheet.names.bent(pitch), "", None,
            shape.technique.curve.value, _beat(timeline, bar, at + share * (shape.end - shape.start)), round(move.end, 3),
            tone_in_chord(sheet.chords[note.sound], sound.pitch + shape.amount),
        )  # fmt: skip


def _written(sheet: _Sheet, shape: PitchGesture) -> tuple[int, int]:
    """Return the index of the bar in which a shape sets off, as played, and the grains from its start."""
    turn = sheet.timeline.passes[bisect_right(sheet.turns, shape.start) - 1]
    return turn.bar, shape.start - turn.start


def _count(sheet: _Sheet, bar: int, at: int) -> str:
    """Return the count of an instant; of the later of two shapes in one step, what it would be."""
    said = sheet.counts[bar].get(at)
    return said.name if said else count_name(sheet.timeline, sheet.timeline.bars[bar], at)


def _beat(timeline: Timeline, bar: int, at: float) -> int | float:
    """Return the beat of an instant in its bar, from 1: a pick-up ends where the bar would."""
    written, beat = timeline.bars[bar], timeline.settings.meter.beat
    shift = 0 if written.number else int(instant_in_meter(timeline, written, 0) * timeline.grain)
    return _beat_number(at + shift, beat.numerator * timeline.grain, beat.denominator)


@lru_cache(maxsize=4096)  # most notes stand at few places of a bar
def _beat_number(at: float, beat: int, unit: int) -> int | float:
    """Return the beat of an instant from 1, where `unit` beats take `beat` grains."""
    return _plain(round(at * unit / beat + 1, 3))


def _plain(value: float) -> int | float:
    """Return a whole number without its point, anything else as it is."""
    return int(value) if value == int(value) else value


def _bends(sound: SoundingNote, pitch: float, names: _PitchNames) -> str:
    """Return the notes that a sound is bent to, in order: `A4 then B4`."""
    return " then ".join([names.bent(pitch + s.amount) for s in sound.shapes if s.technique.curve in UPWARD_BENDS])


def _shown_fret(sound: SoundingNote) -> int | str:
    """Return the fret as the sheet shows it: `x` without a clear pitch, a harmonic as it is written, the string aside."""
    if sound.dead:
        return "x"
    if sound.touch is None:
        return "" if sound.fret is None else sound.fret
    touch = _plain(float(sound.touch))
    return f"<{touch}>" if sound.fret is None else f"{sound.fret}<{touch}>"


@keep_last
def techniques_by_sound(timeline: Timeline) -> tuple[str, ...]:
    """Return what is done to each note in words, by index of its sound; the very `PLAIN` where it is picked and nothing else."""
    return tuple([techniques_in_words(sound) for sound in timeline.sounds])


def techniques_in_words(sound: SoundingNote) -> str:
    """Return what is done to a note, in words: how it starts, what it is, what shapes it; "picked" where that is all."""
    special = sound.kind != "note" or sound.trill is not None or sound.roll is not None
    if not (special or sound.shapes or sound.marks or sound.head or sound.pluck):
        return sound.begin.name  # of most notes there is nothing more to say
    words = [sound.begin.name] if sound.begin is not PICKED else []
    if sound.head is not None:
        words.append(sound.head.name)
    words += [shape.technique.name for shape in sound.shapes]
    words += [mark.name for mark in sound.marks]
    if special:
        words = _words_of_kind(sound, words)
    if sound.pluck:
        words.append(f"plucked with {sound.pluck}")
    return ", ".join(dict.fromkeys(words)) or PLAIN


def _words_of_kind(sound: SoundingNote, words: list[str]) -> list[str]:
    """Return the words of a sound with those that say what kind of sound it is."""
    if sound.kind in _KINDS:
        words = [_KINDS[sound.kind], *words]
    if sound.trill is not None:
        return [*words, f"trill with fret {sound.trill}"]
    return words if sound.roll is None else [*words, "rolled"]
