"""A lick as sounded: when each note begins and ends in seconds, how loud, how it is struck, and how its pitch moves.

In: a Timeline and a tempo. Out: `Performance`, one value that MIDI, audio and timing sheet share, so that they cannot
disagree. Nothing is rounded. Knows no ticks, no samples and no file.

Stolen time: grace notes (70 ms each) and rake strokes (18 ms apart) sound just before the beat that they lead to, in
whatever silence there is and at most half of the note before it; before the first beat, silence is put at the start,
a note value of it, so that bars keep to the beat.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import JOINS, Curve, Damping, Stroke
from lickwright.performance.pitch_curves import PitchRamp, pitch_ramps
from lickwright.performance.tempo_map import TempoMap, TempoStep, written_tempo_map
from lickwright.timeline.model import SoundingNote, Timeline

# Velocities of the dynamics, out of 127: a habit of players and files, no standard.
DYNAMICS = {"pp": 33, "p": 49, "mp": 64, "mf": 80, "f": 96, "ff": 112}
GRACE, RAKE = 0.07, 0.018  # seconds that a grace note and a rake stroke take
ROLL = 0.025  # seconds from string to string of a rolled chord
REPEATS = 9  # strokes a second of tremolo and trill
DEAD = 0.06  # seconds that a damped string sounds
PALM, PALM_SHARE = 0.45, 0.6  # seconds, and share of its length, that a palm-muted note sounds at most
SHORT_SHARE = 0.5  # share of its length that a short note sounds
SWELL, SWELL_SHARE = 0.8, 0.6  # seconds, and share of its length, that a swell fades in at most
RAKE_LOUDNESS = 0.6  # of a rake stroke against the note that it leads to

_LEGATO = {Stroke.HAMMER: JOINS["h"].loudness, Stroke.PULL: JOINS["p"].loudness}
# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; asked for every sound.
_NOT_DAMPED, _DEAD, _STRAIGHT, _SWELLED = Damping.NONE, Damping.DEAD, Curve.NONE, Stroke.SWELL
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


class Performance:
    """A lick as sounded. Made by `perform` and not changed afterwards."""

    __slots__ = ("_clock", "bars", "end", "notes")

    def __init__(self, clock: TempoMap, notes: tuple[NoteEvent, ...], bars: tuple[float, ...], end: float) -> None:
        self._clock = clock
        self.notes = notes  # by start, then from the thickest string to the thinnest
        self.bars = bars  # seconds at which each of Timeline.passes begins
        self.end = end  # seconds, of the last bar line

    @property
    def tempos(self) -> tuple[TempoStep, ...]:
        """The tempo map; a fermata is half the tempo while it lasts."""
        return self._clock.tempos

    @property
    def lead_in(self) -> Fraction:
        """Silence before the music, in whole notes."""
        return self._clock.lead_in

    def seconds(self, grains: float) -> float:
        """When a counted instant is heard: swing, tempo, pauses and silence at the start included."""
        return self._clock.seconds(grains)

    def straight(self, grains: float) -> float:
        """When a bar line or a beat is heard: as `seconds`, but swing does not move it."""
        return self._clock.straight(grains)


class _Times(NamedTuple):
    """What stolen time does to the notes."""

    starts: dict[tuple[int, int], float]  # seconds of stolen strokes, by the beat they lead to (grains) and lead
    cuts: dict[int, float]  # seconds at which notes that would last until such a beat (grains) end


def perform(timeline: Timeline, percent: Fraction | None = None, bpm: Fraction | None = None) -> Performance:
    """The lick as written, at `percent` of its tempo (60 is 60 %), or opening at `bpm` of its own beats a minute."""
    factor = Fraction(1) if percent is None else percent / 100
    if bpm is not None:
        settings = timeline.settings
        factor = settings.tempo._replace(bpm=bpm).quarters_per_minute(settings.meter) / timeline.tempos[0].qpm
    clock = written_tempo_map(timeline) if factor == 1 else TempoMap(timeline, factor)
    stolen = _Times({}, {})
    if any(sound.lead for sound in timeline.sounds):
        missing = -min(_steal(timeline, clock).starts.values())
        if missing > 0:
            clock = TempoMap(timeline, factor, _lead_in(missing, clock.tempos[0].qpm))
        stolen = _steal(timeline, clock)
    notes = _notes(timeline, clock, stolen)
    bars = tuple(clock.straight(turn.start) for turn in timeline.passes)
    return Performance(clock, notes, bars, clock.straight(timeline.end))


def _lead_in(seconds: float, qpm: Fraction) -> Fraction:
    """The shortest of 1/64, 1/32, … that lasts so long at this tempo, in whole notes."""
    value = Fraction(1, 64)
    while float(value * 240 / qpm) < seconds:
        value *= 2
    return value


def _steal(timeline: Timeline, clock: TempoMap) -> _Times:
    """When grace notes and rake strokes sound.

    With nothing before them they take what they want, even from before 0.
    """
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
            start, end = clock.seconds(onsets[before]), clock.seconds(min(ends[onsets[before]], beat))
            scale = min(1.0, (clock.seconds(beat) - end + (end - start) / 2) / sum(wanted.values()))
        at = clock.seconds(beat)
        for lead in sorted(wanted):
            at -= wanted[lead] * scale
            times.starts[beat, lead] = at
        times.cuts[beat] = at
    return times


def _notes(timeline: Timeline, clock: TempoMap, stolen: _Times) -> tuple[NoteEvent, ...]:
    """All that is struck or connected, in order; each string plays one note at a time."""
    targets = {sound.source: sound for sound in timeline.sounds if sound.source is not None}
    tuning, capo = timeline.settings.tuning, timeline.settings.capo
    shift = [capo + heard - named for heard, named in zip(tuning.sounding, tuning.nominal, strict=True)]
    roll_share = 2 * tuning.strings
    notes: list[NoteEvent] = []
    for sound in timeline.sounds:
        target = targets.get(sound.index)
        if sound.lead:
            start = stolen.starts[sound.start, sound.lead]
            end = stolen.starts.get((sound.start, sound.lead - 1), clock.seconds(sound.start))
        else:
            start, end = clock.seconds(sound.start), clock.seconds(sound.end)
            if sound.end in stolen.cuts and (target is None or target.lead):
                end = max(start, min(end, stolen.cuts[sound.end]))
            if sound.shapes and target is None and sound.shapes[-1].technique.curve is Curve.SLIDE_OFF:
                end = min(end, clock.seconds(sound.shapes[-1].end))  # gone, though it may be held on paper
            if sound.roll:
                start += sound.roll * min(ROLL, (end - start) / roll_share)
        _play(notes, sound, target, start, end, tuning, shift, clock)
    notes.sort(key=_order)
    end_replayed_notes(notes)
    return tuple(notes)


def _order(note: NoteEvent) -> tuple[float, int]:
    return note.start, -note.string


def end_replayed_notes(notes: list[NoteEvent]) -> None:
    """A string that is played again stops what it played before. In place; `notes` are in order."""
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
    tuning: Tuning,
    shift: Sequence[int],
    clock: TempoMap,
) -> None:
    """One sound, heard from `start` to `end` if nothing damps it, as its stroke or strokes.

    `shift` is by how many semitones each string sounds above its nominal pitch.
    """
    pitch, open_pitch = sound.pitch + shift[sound.string - 1], tuning.open(sound.string)
    begin = sound.begin
    stroke: Stroke = begin.stroke or Stroke.PICK
    loudness = DYNAMICS[sound.dynamic] / 127 * begin.loudness
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
    damping = _damping(sound) if sound.marks or sound.head or sound.kind == "rake" else _NOT_DAMPED
    slides = target is not None and target.begin.curve is Curve.GLIDE
    moves: tuple[PitchRamp, ...] = ()
    if (sound.shapes or sound.marks or slides or begin.curve is not _STRAIGHT) and damping is not _DEAD:
        moves = pitch_ramps(sound, start, end, clock.seconds, target if slides else None)
    fade = min(SWELL, SWELL_SHARE * (end - start)) if stroke is _SWELLED else 0.0
    joined = sound.source is not None
    note = NoteEvent(
        sound.index, 0, start, end, sound.string, pitch, min(1.0, loudness), stroke, joined, damping, fade, moves
    )
    if sound.harmonic:
        note = note._replace(partial=round(2 ** ((sound.pitch - open_pitch - (sound.fret or 0)) / 12)))
    rings_on = target is not None  # a note goes on until the one connected to it, however it is damped
    if repeated:
        notes += _repeated(note, sound, rings_on)
    else:
        notes.append(note if damping in _UNDAMPED else note._replace(end=_damped(note, rings_on)))


def _repeated(note: NoteEvent, sound: SoundingNote, rings_on: bool) -> Iterator[NoteEvent]:
    """The strokes of a tremolo, or the notes of a trill: hammered and pulled by turns, each pair whole.

    A swell makes each louder than the one before.
    """
    length = note.end - note.start
    trill = sound.trill is not None and sound.fret is not None
    count = 2 * max(1, round(length * REPEATS / 2)) if trill else max(1, round(length * REPEATS))
    way = (sound.trill or 0) - (sound.fret or 0) if trill else 0
    for part in range(count):
        start, end = note.start + length * part / count, note.start + length * (part + 1) / count
        loudness = note.loudness * min(1.0, (end - note.start) / note.fade_in) if note.fade_in else note.loudness
        stroke, pitch = Stroke.PICK if note.stroke is Stroke.SWELL else note.stroke, note.pitch
        if part and trill:
            stroke = Stroke.HAMMER if (way > 0) == (part % 2 == 1) else Stroke.PULL
            loudness, pitch = loudness * _LEGATO[stroke], pitch + way * (part % 2)
        elif part and stroke in _UNPICKED:
            stroke = Stroke.PICK
        one = note._replace(part=part, start=start, end=end, pitch=pitch, loudness=loudness, stroke=stroke, fade_in=0.0)
        if part:
            one = one._replace(joined=trill)
        yield one._replace(end=_damped(one, (trill and part + 1 < count) or rings_on))


def _damping(sound: SoundingNote) -> Damping:
    """What stops the string first."""
    if sound.dead and sound.kind != "scrape":
        return Damping.DEAD
    asked = {mark.damping for mark in sound.marks}
    return next((damping for damping in _DAMPINGS if damping in asked), Damping.NONE)


def _damped(note: NoteEvent, rings_on: bool) -> float:
    """When a note ends that is damped."""
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
