"""Timing sheet: a row for each sounding note, when it sounds and what is done to it, for a spreadsheet (CSV).

In: a lick as counted and as sounded. Out: rows, and a CSV of them. A hold, a bend or a release is no row of its own;
a double stop is two, a trill or tremolo one; strokes of a rake and grace notes have theirs, at the beat that they
lead to. Nothing is lost.
"""

from __future__ import annotations

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
from lickwright.music.scale import degree_name
from lickwright.notation.techniques import PICKED, Curve
from lickwright.performance import Performance, Played
from lickwright.timeline import Sound, Timeline

RULES: tuple[Rule, ...] = ()
PLAIN = "picked"  # how a note is played to which nothing else is done
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
        cells = [cell(value) if type(value) is str else "" if value is None else str(value) for value in row]
        lines.append(",".join(cells))
    return Emission(("\n".join(lines) + "\n").encode())


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
    found = places(timeline)
    last = {note.sound: note.end for note in performance.notes}  # of the last stroke of a trill
    key = settings.key and settings.key.transposed(settings.capo + settings.tuning.shift)
    counts = _Counts(timeline)
    return tuple(
        _row(timeline, note, last[note.sound], found[note.sound], key, counts)
        for note in performance.notes
        if note.part == 0
    )


def _row(timeline: Timeline, note: Played, end: float, place: str, key: Key | None, counts: _Counts) -> Row:
    sound, settings = timeline.sounds[note.sound], timeline.settings
    beat, count = counts.at(sound)
    name, degree, midi = "", "", None
    if not sound.dead:
        name, midi = pitch_name(round(note.pitch), key), _plain(round(note.pitch, 2))
        if settings.key is not None:
            degree = degree_name(round(sound.pitch) - settings.key.tonic.pc, settings.scale, settings.key)
    bends = " then ".join(_bent(note.pitch + s.amount, key) for s in sound.shapes if s.technique.curve in _BENDS)
    return Row(
        timeline.bars[sound.bar].number, beat, count, round(note.start, 3), round(end - note.start, 3), note.string,
        _fret(sound), name, midi, degree, place, how(sound), bends, sound.finger or "", round(note.loudness, 2),
    )  # fmt: skip


def _plain(value: float) -> float:
    """A whole number without its point."""
    return int(value) if value == int(value) else value


def _bent(pitch: float, key: Key | None) -> str:
    """The note that a bend ends on; what lies a quarter-tone above one says so."""
    name = pitch_name(floor(pitch + 0.01), key)
    over = round(100 * (pitch - floor(pitch + 0.01)))
    return f"{name} +{over} cents" if over > 1 else name


def _fret(sound: Sound) -> int | str:
    """As it is written, the string aside."""
    if sound.dead:
        return "x"
    if sound.touch is not None:
        touch = _plain(float(sound.touch))
        return f"<{touch}>" if sound.fret is None else f"{sound.fret}<{touch}>"
    return "" if sound.fret is None else sound.fret


def how(sound: Sound) -> str:
    """What is done to a note, in words: how it starts, what it is, what shapes it."""
    more = sound.shapes or sound.marks or sound.head or sound.pluck or sound.kind != "note"
    if sound.begin is PICKED and not more:
        return PLAIN if sound.trill is None and sound.roll is None else _special(sound)
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


class _Counts:
    """Beat and count of instants in their bars. A beat with a note on an odd sixth is counted in six."""

    def __init__(self, timeline: Timeline) -> None:
        self._timeline = timeline
        self._meter = timeline.settings.meter
        self._shifts = [int(within_meter(timeline, bar, 0) * timeline.grain) for bar in timeline.bars]
        self._sixes: set[tuple[int, int]] = set()  # bars and beats in six
        sixth = self._meter.beat * timeline.grain / 6
        if timeline.tuplets and sixth.denominator == 1:
            for slot in timeline.slots:
                at = slot.at + self._shifts[slot.bar]
                number, rest = divmod(at, int(sixth))
                if rest == 0 and number % 6 in (1, 5):
                    self._sixes.add((slot.bar, number // 6))

    def at(self, sound: Sound) -> tuple[float, str]:
        """Of a sound, or of the beat that it leads to."""
        slot = self._timeline.slots[sound.slot]
        at, grain = slot.at + self._shifts[sound.bar], self._timeline.grain
        beat = self._meter.beat
        six = (slot.bar, at * beat.denominator // (grain * beat.numerator)) in self._sixes if self._sixes else False
        return _counted(at, grain, self._meter, six)


@lru_cache(maxsize=4096)
def _counted(at: int, grain: int, meter: Meter, six: bool) -> tuple[float, str]:
    instant = Fraction(at, grain)
    return _plain(round(float(instant / meter.beat) + 1, 3)), count_place(instant, meter, six)
