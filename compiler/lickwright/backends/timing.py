"""Timing sheet: a row for each sounding note, when it sounds and what is done to it, for a spreadsheet (CSV).

In: a lick as counted and as sounded. Out: rows, and a CSV of them. A hold, a bend or a release is no row of its own;
a double stop is two, a trill or tremolo one; strokes of a rake and grace notes have theirs, at the beat that they
lead to. Nothing is lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from math import floor
from typing import NamedTuple

from lickwright.backends import Emission, Options, Stages
from lickwright.checks.findings import within_meter
from lickwright.checks.places import places
from lickwright.diagnostics import Rule
from lickwright.music.pitch import Key, pitch_name
from lickwright.music.rhythm import Meter, count_place
from lickwright.music.scale import Scale, degree_name
from lickwright.notation.techniques import PICKED, Curve
from lickwright.performance import Performance, Played
from lickwright.timeline import Bar, Sound, Timeline

RULES: tuple[Rule, ...] = ()
PLAIN = PICKED.name  # how a note is played to which nothing else is done
KINDS = {"grace": "grace note", "rake": "rake stroke", "scrape": "pick scrape"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what makes a spreadsheet calculate a cell
_BENDS = (Curve.BEND, Curve.PREBEND)


class Row(NamedTuple):
    """One sounding note."""

    bar: int  # as players count; 0 is a pick-up
    beat: float  # in the bar from 1, as written: swing and stolen time left out
    count: str  # type: ignore[assignment]  # as one says it: "2 &"; hides tuple.count, which nobody needs here
    at_s: float  # seconds from the start of the music, silence before the first beat included
    for_s: float  # seconds that it sounds
    string: int  # 1 is the thinnest
    fret: int | str  # as fingered; "x" without a clear pitch, "<12>" for a harmonic
    note: str  # as it sounds, capo and tuning included, spelled by the key; "" without a clear pitch
    midi: float | None  # sounding MIDI pitch when struck; None without a clear pitch
    degree: str  # in the scale; "" without a key or a clear pitch
    place: str  # "box", "blue", "scale", "open", "approach", "outside"; "" when not judged
    how: str  # the techniques
    bend_to: str  # the notes it is bent to, in order; "" when it is not
    finger: str  # fretting finger, where written
    loudness: float  # 0 to 1


COLUMNS = Row._fields


def emit(stages: Stages, options: Options) -> Emission:
    """The sheet as CSV: a heading line, then the rows."""
    lines = [",".join(COLUMNS)]
    for row in rows(stages.timeline, stages.performance(options)):
        bar, beat, count, at, long, string, fret, note, midi, degree, place, how, bend_to, finger, loudness = row
        lines.append(
            f"{bar},{beat},{count},{at},{long},{string},{fret},{note},{'' if midi is None else midi},"
            f"{degree},{place},{cell(how)},{cell(bend_to)},{finger},{loudness}"
        )
    if options.recording.practice:
        lines = [",".join(line) for line in zip(lines, *_ladder(stages, options), strict=True)]
    return Emission(("\n".join(lines) + "\n").encode())


def _ladder(stages: Stages, options: Options) -> Iterator[list[str]]:
    """A column a rung of the practice ladder, named with its tempo: the second of the ladder's recording at which each note sounds."""
    from lickwright.backends.audio import ladder

    sounds = [note.sound for note in stages.performance(options).notes if note.part == 0]
    for number, rung in enumerate(ladder(stages, options), 1):
        starts = {note.sound: note.start for note in rung.performance.notes if note.part == 0}
        yield [
            f"rung_{number}_at_{float(rung.bpm or 0):g}_s",
            *(str(round(rung.at + starts[sound], 3)) for sound in sounds),
        ]


@lru_cache(maxsize=4096)
def cell(value: str) -> str:
    """A text as a CSV cell. What a spreadsheet would take for a formula gets an apostrophe, which shows it as text."""
    if value.startswith(_FORMULA):
        value = "'" + value
    if "," in value or '"' in value or "\n" in value or "\r" in value:
        return '"' + value.replace('"', '""') + '"'
    return value


def rows(timeline: Timeline, performance: Performance) -> tuple[Row, ...]:
    """The rows, by when they sound."""
    settings = timeline.settings
    sheet = _Sheet(
        timeline,
        {note.sound: note.end for note in performance.notes},
        places(timeline),
        _names(settings.key, settings.scale, settings.capo + settings.tuning.shift),
        [_counts(timeline, bar) for bar in timeline.bars],
    )
    return tuple([_row(sheet, note) for note in performance.notes if note.part == 0])


class _Names:
    """What pitches are called in one key, worked out as they are asked for."""

    __slots__ = ("_fingered", "_key", "_known", "_scale", "_shift")

    def __init__(self, key: Key | None, scale: Scale | None, shift: int) -> None:
        self._fingered, self._scale, self._shift = key, scale, shift
        self._key = key and key.transposed(shift)  # as it sounds
        self._known: dict[float, tuple[str, float, str]] = {}

    def of(self, pitch: float) -> tuple[str, float, str]:
        """Name as it sounds, MIDI pitch, and degree in the scale as fingered."""
        found = self._known.get(pitch)
        if found is None:
            nearest, degree = round(pitch), ""
            if self._fingered is not None:
                degree = degree_name(nearest - self._shift - self._fingered.tonic.pc, self._scale, self._fingered)
            found = self._known[pitch] = pitch_name(nearest, self._key), _plain(round(pitch, 2)), degree
        return found

    def bent(self, pitch: float) -> str:
        """The note that a bend ends on; what lies a quarter-tone above one says so."""
        name = pitch_name(floor(pitch + 0.01), self._key)
        over = round(100 * (pitch - floor(pitch + 0.01)))
        return f"{name} +{over} cents" if over > 1 else name


# Kept, since a library asks for few keys. The pitches of one are few too: frets, and the partials of strings.
_names = lru_cache(maxsize=256)(_Names)


class _Sheet(NamedTuple):
    """What the rows of one lick share."""

    timeline: Timeline
    last: dict[int, float]  # seconds at which a sound ends, by its index: of a trill its last stroke
    places: tuple[str, ...]  # by index of the sound
    names: _Names
    counts: list[tuple[tuple[float, str], ...]]  # beat and count, by bar and then by slot in it


def _row(sheet: _Sheet, note: Played) -> Row:
    sound = sheet.timeline.sounds[note.sound]
    bar = sheet.timeline.bars[sound.bar]
    beat, count = sheet.counts[sound.bar][sound.slot - bar.first]  # of a stroke before the beat, those of the beat
    midi: float | None
    name, midi, degree = sheet.names.of(note.pitch)
    fret: int | str | None = sound.fret
    if sound.dead:
        name, midi, degree, fret = "", None, "", "x"
    elif fret is None or sound.touch is not None:
        fret = _touched(sound)
    bends = _bends(sound, note.pitch, sheet.names) if sound.shapes else ""
    return Row(
        bar.number, beat, count, round(note.start, 3), round(sheet.last[note.sound] - note.start, 3), note.string,
        fret, name, midi, degree, sheet.places[note.sound], how(sound), bends, sound.finger or "",
        round(note.loudness, 2),
    )  # fmt: skip


def _plain(value: float) -> float:
    """A whole number without its point."""
    return int(value) if value == int(value) else value


def _bends(sound: Sound, pitch: float, names: _Names) -> str:
    """The notes that a sound is bent to, in order."""
    return " then ".join([names.bent(pitch + s.amount) for s in sound.shapes if s.technique.curve in _BENDS])


def _touched(sound: Sound) -> str:
    """The place of a harmonic as it is written, the string aside."""
    if sound.touch is None:
        return ""
    touch = _plain(float(sound.touch))
    return f"<{touch}>" if sound.fret is None else f"{sound.fret}<{touch}>"


def how(sound: Sound) -> str:
    """What is done to a note, in words: how it starts, what it is, what shapes it."""
    special = sound.kind != "note" or sound.trill is not None or sound.roll is not None
    if not (special or sound.shapes or sound.marks or sound.head or sound.pluck):
        return sound.begin.name
    words = [KINDS[sound.kind]] if sound.kind in KINDS else []
    if sound.begin is not PICKED:
        words.append(sound.begin.name)
    if sound.head is not None:
        words.append(sound.head.name)
    words += (shape.technique.name for shape in sound.shapes)
    words += (mark.name for mark in sound.marks)
    if sound.trill is not None or sound.roll is not None:
        words.append(_special(sound))
    if sound.pluck:
        words.append(f"plucked with {sound.pluck}")
    return ", ".join(dict.fromkeys(words)) or PLAIN


def _special(sound: Sound) -> str:
    return "rolled" if sound.trill is None else f"trill with fret {sound.trill}"


def _counts(timeline: Timeline, bar: Bar) -> tuple[tuple[float, str], ...]:
    """Beat and count of each slot of a bar."""
    shift = 0 if bar.number else int(within_meter(timeline, bar, 0) * timeline.grain)
    instants = tuple([slot.at + shift for slot in timeline.slots[bar.first : bar.last]])
    return _counted(instants, timeline.grain, timeline.settings.meter, bool(timeline.tuplets))


@lru_cache(maxsize=4096)  # of a bar's rhythm alone, and most bars have one that was there before
def _counted(instants: tuple[int, ...], grain: int, meter: Meter, tuplets: bool) -> tuple[tuple[float, str], ...]:
    """A beat with a note on an odd sixth is counted in six."""
    beat = meter.beat * grain  # in grains
    sixths = [at * 6 / beat for at in instants] if tuplets else []
    sixes = {sixth // 6 for sixth in sixths if sixth % 6 in (1, 5)}
    return tuple(
        (_plain(round(float(at / beat) + 1, 3)), count_place(Fraction(at, grain), meter, at // beat in sixes))
        for at in instants
    )
