"""A lick as sounded: when each note begins and ends in seconds, how loud, how it is struck, and how its pitch moves.

In: a Timeline and a tempo. Out: `Performance`, one value that MIDI, audio and the timing sheet share. Nothing is
rounded; ticks, samples and files are the exports' own.

Stolen time: grace notes (70 ms each) and rake strokes (18 ms apart) sound just before the beat that they lead to. They
take the silence before it and at most half of the note before that. Before the first beat, a note value of silence is
put at the start, so that bars keep to the beat.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from operator import itemgetter
from typing import NamedTuple

from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import JOINS, Curve, Damping, Stroke
from lickwright.performance.accents import bar_accents
from lickwright.performance.pitch_curves import PitchRamp, pitch_ramps
from lickwright.performance.tempo_map import TempoMap, TempoStep, written_tempo_map
from lickwright.timeline.model import SoundingNote, Timeline

# MIDI velocities of the dynamics, out of 127: common in files, no standard.
DYNAMICS = {"pp": 33, "p": 49, "mp": 64, "mf": 80, "f": 96, "ff": 112}
# The numbers below are estimates.
GRACE, RAKE = 0.07, 0.018  # seconds that a grace note and a rake stroke take
ROLL = 0.025  # seconds from string to string of a rolled chord
REPEATS = 9  # strokes a second of tremolo and trill
DEAD = 0.06  # seconds that a damped string sounds
PALM, PALM_SHARE = 0.45, 0.6  # seconds, and share of its length, that a palm-muted note sounds at most
SHORT_SHARE = 0.5  # share of its length that a short note sounds
SWELL, SWELL_SHARE = 0.8, 0.6  # seconds, and share of its length, that a swell fades in at most
RAKE_LOUDNESS = 0.6  # of a rake stroke against the note that it leads to

_LOUDNESS = {dynamic: velocity / 127 for dynamic, velocity in DYNAMICS.items()}
_LEGATO = {Stroke.HAMMER: JOINS["h"].loudness, Stroke.PULL: JOINS["p"].loudness}
# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; read for every sound.
_NOT_DAMPED, _DEAD, _STRAIGHT, _SWELLED = Damping.NONE, Damping.DEAD, Curve.NONE, Stroke.SWELL
_AS_WRITTEN = Fraction(1)
_UNPICKED = (Stroke.HAMMER, Stroke.PULL, Stroke.TAP, Stroke.NONE)
_UNDAMPED = (Damping.NONE, Damping.RING)
_DAMPINGS = (Damping.DEAD, Damping.PALM, Damping.SHORT, Damping.RING)  # where several are asked for, the first wins


class NoteEvent(NamedTuple):
    """One stroke or connected note as heard. A trill or a tremolo is several, a held or bent note one."""

    sound: int  # its index in Timeline.sounds
    part: int  # which of the strokes of a trill or tremolo, from 0; else 0
    start: float  # seconds
    end: float  # seconds; what follows on the same string never starts before it
    string: int  # 1 is the thinnest
    pitch: float  # sounding MIDI pitch before any move, capo and tuning included; a harmonic's is just, not tempered
    loudness: float  # 0 to 1
    stroke: Stroke  # NONE: the string goes on sounding from the note before
    joined: bool  # connected to the note before on its string
    damping: Damping
    fade_in: float  # seconds from nothing to its loudness: a swell's; else 0
    moves: tuple[PitchRamp, ...]  # what its pitch does, for `pitch_curves.pitch_offsets`
    partial: int = 1  # which partial of the stopped string it is: m for a harmonic that leaves only every m-th
    shift: int = 0  # frets that the hand came along the string for it; set for a recording only


_START, _STRING = (itemgetter(NoteEvent._fields.index(name)) for name in ("start", "string"))


class Performance:
    """A lick as sounded; made by `perform` and not changed afterwards."""

    __slots__ = ("_tempo_map", "bars", "end", "notes")

    def __init__(self, tempo_map: TempoMap, notes: tuple[NoteEvent, ...], bars: tuple[float, ...], end: float) -> None:
        self._tempo_map = tempo_map
        self.notes = notes  # by start, then from the thickest string to the thinnest
        self.bars = bars  # seconds at which each of Timeline.passes begins
        self.end = end  # seconds, of the last bar line

    @property
    def tempos(self) -> tuple[TempoStep, ...]:
        """The tempo changes in order; a fermata is half the tempo while it lasts."""
        return self._tempo_map.tempos

    @property
    def opening_qpm(self) -> Fraction:
        """The quarters a minute that the lick begins at; a fermata on its first event does not change them."""
        return self._tempo_map.opening_qpm

    @property
    def lead_in(self) -> Fraction:
        """The silence before the music, in whole notes."""
        return self._tempo_map.lead_in

    def seconds(self, grains: float) -> float:
        """Return the second at which a counted instant is heard: swing, tempo, fermatas and lead-in included."""
        return self._tempo_map.seconds(grains)

    def straight_seconds(self, grains: float) -> float:
        """Return the second at which a bar line or a beat is heard: as `seconds`, but swing does not move it."""
        return self._tempo_map.straight_seconds(grains)


class _Times(NamedTuple):
    """What stolen time does to the notes."""

    starts: dict[tuple[int, int], float]  # seconds of stolen strokes, by the beat they lead to (grains) and lead
    cuts: dict[int, float]  # seconds at which notes that would last until such a beat (grains) end


def tempo_factor(timeline: Timeline, percent: Fraction | None, bpm: Fraction | None) -> Fraction:
    """Return by how much every tempo of a lick is multiplied to play it at `percent` of them, or to open at `bpm` of its own beats."""
    if percent is None and bpm is None:
        return _AS_WRITTEN
    return timeline.opening_tempo(percent, bpm) / timeline.opening_tempo()


def perform(timeline: Timeline, percent: Fraction | None = None, bpm: Fraction | None = None) -> Performance:
    """Return a lick as sounded, at `percent` of its tempo (60 is 60 %), or opening at `bpm` of its own beats a minute."""
    factor = tempo_factor(timeline, percent, bpm)
    tempo_map = written_tempo_map(timeline) if factor == 1 else TempoMap(timeline, factor)
    stolen = _Times({}, {})
    if any(sound.lead for sound in timeline.sounds):
        missing = -min(_steal(timeline, tempo_map).starts.values())
        if missing > 0:
            tempo_map = TempoMap(timeline, factor, _lead_in(missing, tempo_map.tempos[0].qpm))
        stolen = _steal(timeline, tempo_map)
    notes = _notes(timeline, tempo_map, stolen)
    bars = tuple(tempo_map.straight_seconds(turn.start) for turn in timeline.passes)
    return Performance(tempo_map, notes, bars, tempo_map.straight_seconds(timeline.end))


def _lead_in(seconds: float, qpm: Fraction) -> Fraction:
    """Return the shortest of 1/64, 1/32, … that lasts so many seconds at this tempo, in whole notes."""
    value = Fraction(1, 64)
    while float(value * 240 / qpm) < seconds:
        value *= 2
    return value


def _steal(timeline: Timeline, tempo_map: TempoMap) -> _Times:
    """Return when grace notes and rake strokes sound; with nothing before them they may begin before 0."""
    groups: dict[int, dict[int, float]] = {}  # seconds wanted, by beat and lead
    ends: dict[int, int] = {}  # when the notes that begin at an instant have all ended, in grains
    for sound in timeline.sounds:
        if sound.lead:
            groups.setdefault(sound.start, {})[sound.lead] = RAKE if sound.kind == "rake" else GRACE
        else:
            ends[sound.start] = max(sound.end, ends.get(sound.start, 0))
    onsets = sorted(ends)
    times = _Times({}, {})
    for beat, wanted in groups.items():
        before = bisect_left(onsets, beat) - 1
        scale = 1.0
        if before >= 0:
            start, end = tempo_map.seconds(onsets[before]), tempo_map.seconds(min(ends[onsets[before]], beat))
            scale = min(1.0, (tempo_map.seconds(beat) - end + (end - start) / 2) / sum(wanted.values()))
        at = tempo_map.seconds(beat)
        for lead in sorted(wanted):
            at -= wanted[lead] * scale
            times.starts[beat, lead] = at
        times.cuts[beat] = at
    return times


def _notes(timeline: Timeline, tempo_map: TempoMap, stolen: _Times) -> tuple[NoteEvent, ...]:
    """Return all that is struck or connected, in order; each string plays one note at a time."""
    targets = {sound.source: sound for sound in timeline.sounds if sound.source is not None}
    tuning, capo = timeline.settings.tuning, timeline.settings.capo
    shift = [capo + heard - named for heard, named in zip(tuning.sounding, tuning.nominal, strict=True)]
    accent, seconds = bar_accents(timeline), tempo_map.seconds
    notes: list[NoteEvent] = []
    for sound in timeline.sounds:
        target = targets.get(sound.index)
        if sound.lead or sound.roll or sound.shapes or stolen.cuts:
            start, end = _undamped_span(sound, target, tempo_map, stolen, tuning.strings)
        else:  # what `_undamped_span` says of most
            start, end = seconds(sound.start), seconds(sound.end)
        pitch = sound.pitch + shift[sound.string - 1]
        _play(notes, sound, target, start, end, pitch, tuning, accent(sound.start), tempo_map)
    notes.sort(key=_STRING, reverse=True)  # two orders by one field each take half the time of one by two
    notes.sort(key=_START)
    end_replayed_notes(notes)
    return tuple(notes)


def _undamped_span(
    sound: SoundingNote, target: SoundingNote | None, tempo_map: TempoMap, stolen: _Times, strings: int
) -> tuple[float, float]:
    """Return the seconds from which and until which a sound is heard if nothing damps it."""
    if sound.lead:
        start = stolen.starts[sound.start, sound.lead]
        return start, stolen.starts.get((sound.start, sound.lead - 1), tempo_map.seconds(sound.start))
    start, end = tempo_map.seconds(sound.start), tempo_map.seconds(sound.end)
    if sound.end in stolen.cuts and (target is None or target.lead):
        end = max(start, min(end, stolen.cuts[sound.end]))
    if sound.shapes and target is None and sound.shapes[-1].technique.curve is Curve.SLIDE_OFF:
        end = min(end, tempo_map.seconds(sound.shapes[-1].end))  # it is gone, even if a hold is written after it
    if sound.roll:
        start += sound.roll * min(ROLL, (end - start) / (2 * strings))
    return start, end


def end_replayed_notes(notes: list[NoteEvent]) -> None:
    """End each note where its string is played again. Changes `notes`, which are in order, in place."""
    following: dict[int, float] = {}
    for i in range(len(notes) - 1, -1, -1):
        note = notes[i]
        begin = following.get(note.string)
        if begin is not None and note.end > begin:
            notes[i] = note._replace(end=begin)
        following[note.string] = note.start


def _play(
    notes: list[NoteEvent],
    sound: SoundingNote,
    target: SoundingNote | None,
    start: float,
    end: float,
    pitch: float,
    tuning: Tuning,
    accent: float,
    tempo_map: TempoMap,
) -> None:
    """Append the stroke or strokes of one sound, heard from `start` to `end` if nothing damps it.

    `target` is the sound connected to it, `pitch` what is heard, `accent` a factor on its loudness.
    """
    stroke, loudness, repeated = _stroke(sound)
    loudness *= accent
    damping = _damping(sound) if sound.marks or sound.head or sound.kind == "rake" else _NOT_DAMPED
    moves = () if damping is _DEAD else _moves(sound, target, start, end, tempo_map)
    fade = min(SWELL, SWELL_SHARE * (end - start)) if stroke is _SWELLED else 0.0
    joined = sound.source is not None
    loudness = loudness if loudness < 1.0 else 1.0
    fields = (sound.index, 0, start, end, sound.string, pitch, loudness, stroke, joined, damping, fade, moves, 1, 0)
    note = tuple.__new__(NoteEvent, fields)  # NoteEvent(…) takes twice as long
    if sound.head is not None and sound.harmonic:
        above = sound.pitch - tuning.open(sound.string) - (sound.fret or 0)
        note = note._replace(partial=round(2 ** (above / 12)))
    rings_on = target is not None  # a note goes on until the one connected to it, however it is damped
    if repeated:
        notes += _repeated(note, sound, rings_on)
    else:
        notes.append(note if damping in _UNDAMPED else note._replace(end=_damped_end(note, rings_on)))


def _moves(
    sound: SoundingNote, target: SoundingNote | None, start: float, end: float, tempo_map: TempoMap
) -> tuple[PitchRamp, ...]:
    slide_target = target if target is not None and target.begin.curve is Curve.GLIDE else None
    if sound.shapes or sound.marks or slide_target is not None or sound.begin.curve is not _STRAIGHT:
        return pitch_ramps(sound, start, end, tempo_map.seconds, slide_target)
    return ()


def _stroke(sound: SoundingNote) -> tuple[Stroke, float, bool]:
    """Return how a sound is struck, how loud (1 is full, more is cut later), and whether it is struck again and again."""
    stroke: Stroke = sound.begin.stroke or Stroke.PICK
    loudness = _LOUDNESS[sound.dynamic] * sound.begin.loudness
    if sound.head is not None:
        loudness *= sound.head.loudness
    repeated = sound.trill is not None
    for mark in sound.marks:
        loudness *= mark.loudness
        if mark.stroke is Stroke.REPEAT:
            repeated = True
        elif mark.stroke is not None and stroke is Stroke.PICK:
            stroke = mark.stroke
    if sound.kind == "rake":
        loudness *= RAKE_LOUDNESS
    elif sound.kind == "scrape":
        stroke = Stroke.SCRAPE
    return stroke, loudness, repeated


def _repeated(note: NoteEvent, sound: SoundingNote, rings_on: bool) -> Iterator[NoteEvent]:
    """Yield the notes of a trill or the strokes of a tremolo, `REPEATS` a second."""
    strokes = (note.end - note.start) * REPEATS
    if sound.trill is not None and sound.fret is not None:
        yield from _trill(note, 2 * max(1, round(strokes / 2)), sound.trill - sound.fret, rings_on)
    else:
        yield from _tremolo(note, max(1, round(strokes)), rings_on)


def _trill(note: NoteEvent, count: int, semitones: int, rings_on: bool) -> Iterator[NoteEvent]:
    """Yield the `count` notes of a trill, hammered and pulled by turns."""
    for part in range(count):
        one = _part_of(note, part, count)
        if part:
            stroke = Stroke.HAMMER if (semitones > 0) == (part % 2 == 1) else Stroke.PULL
            pitch, loudness = one.pitch + semitones * (part % 2), one.loudness * _LEGATO[stroke]
            one = one._replace(stroke=stroke, pitch=pitch, loudness=loudness, joined=True)
        yield one._replace(end=_damped_end(one, part + 1 < count or rings_on))


def _tremolo(note: NoteEvent, count: int, rings_on: bool) -> Iterator[NoteEvent]:
    """Yield the `count` strokes of a tremolo; the first is as the note begins, the others are picked."""
    for part in range(count):
        one = _part_of(note, part, count)
        if part:
            one = one._replace(stroke=Stroke.PICK if one.stroke in _UNPICKED else one.stroke, joined=False)
        yield one._replace(end=_damped_end(one, rings_on))


def _part_of(note: NoteEvent, part: int, count: int) -> NoteEvent:
    """Return one of the `count` equal parts of a note, from 0. A swell makes each louder than the one before."""
    length = note.end - note.start
    start, end = note.start + length * part / count, note.start + length * (part + 1) / count
    loudness = note.loudness * min(1.0, (end - note.start) / note.fade_in) if note.fade_in else note.loudness
    stroke = Stroke.PICK if note.stroke is Stroke.SWELL else note.stroke
    return note._replace(part=part, start=start, end=end, loudness=loudness, stroke=stroke, fade_in=0.0)


def _damping(sound: SoundingNote) -> Damping:
    """Return what stops the string first."""
    if sound.dead and sound.kind != "scrape":
        return Damping.DEAD
    asked = {mark.damping for mark in sound.marks}
    return next((damping for damping in _DAMPINGS if damping in asked), Damping.NONE)


def _damped_end(note: NoteEvent, rings_on: bool) -> float:
    """Return the second at which a note ends, its damping included; `rings_on`: a connected note follows."""
    length = note.end - note.start
    match note.damping:
        case Damping.DEAD:
            return note.start + min(DEAD, length)
        case Damping.PALM if not rings_on:
            return note.start + min(PALM, PALM_SHARE * length)
        case Damping.SHORT if not rings_on:
            return note.start + SHORT_SHARE * length
        case _:
            return note.end
