"""Arrangement of one recording: count-in, the lick as often as asked, click and chords under it.

In: a Timeline and the performances to play one after the other. Out: a `RecordingPlan`: everything that sounds, in seconds of the recording, and
the times of its bars. Renders no samples and needs no numpy.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.music.chord import Chord
from lickwright.music.practice import MINUTES
from lickwright.performance.note_events import NoteEvent, Performance, end_replayed_notes
from lickwright.timeline.model import Timeline, bar_name

RATE = 48_000  # samples a second of a recording
TAIL = 1.0  # seconds kept after the last note, for the room
_DRONE = (0, 7)  # of the key, where there are no chords: tonic and fifth
_BASS, _MIDDLE = (
    40,
    57,
)  # MIDI; the bass of a chord lies in the octave above the first, its other notes above the second


class Click(NamedTuple):
    """One click."""

    at: float  # seconds
    first: bool  # of its bar


class HeldChord(NamedTuple):
    """A chord held under the lick."""

    start: float  # seconds
    end: float
    pitches: tuple[int, ...]  # MIDI, sounding


class Cue(NamedTuple):
    """A place in the recording that a player may want to find."""

    at: float  # seconds
    name: str


class PlannedRound(NamedTuple):
    """One time through the lick."""

    at: float  # seconds of the recording at which the performance's own time begins
    performance: Performance
    bpm: Fraction | None  # the rung of a ladder; None for a recording at one tempo


class RecordingPlan(NamedTuple):
    """Everything that a recording plays, and where its bars are."""

    rounds: tuple[PlannedRound, ...]
    notes: tuple[NoteEvent, ...]  # by start
    clicks: tuple[Click, ...]
    chords: tuple[HeldChord, ...]
    marks: tuple[Cue, ...]
    end: float  # seconds
    left_out: int  # rounds for which it would have become too long


def arrange(
    timeline: Timeline,
    performances: Sequence[tuple[Fraction | None, Performance]],
    *,
    repeat: int = 1,
    count_in: int = 0,
    click: bool = False,
    backing: bool = False,
    answer: bool = False,
    longest: float = 60.0 * MINUTES,
    shifts: Mapping[int, int] | None = None,
) -> RecordingPlan:
    """Return the recording of `performances` (each with its rung, or None), each `repeat` times after `count_in` bars.

    With `answer` each time through is followed by a silence as long, for the player to answer in; click and chords
    go on in it. Rounds after the first that would make it last longer than `longest` seconds are left out. `shifts` are the
    frets by which the hand comes along the string for a note, by its index in the timeline (`hand/hand_shifts.py`).
    """
    layout = _Layout(timeline, repeat, answer, longest)
    for bpm, performance in performances:
        layout.add(bpm, performance, count_in)
    notes, clicks = _notes(layout.rounds, shifts or {}), layout.clicks
    if click:
        for turn in layout.turns:
            ticks = _beats(timeline)
            clicks += [Click(turn.at + turn.performance.straight_seconds(grains), first) for grains, first in ticks]
    end = min(60.0 * MINUTES, max([note.end for note in notes] + [layout.now]) + TAIL)
    chords = tuple(_chords(timeline, layout.turns)) if backing else ()
    marks = tuple(sorted(layout.marks))
    return RecordingPlan(tuple(layout.rounds), notes, tuple(sorted(clicks)), chords, marks, end, layout.left_out)


class _Layout:
    """The rounds of a recording as they are laid one after the other."""

    def __init__(self, timeline: Timeline, repeat: int, answer: bool, longest: float) -> None:
        self._timeline, self._repeat, self._answer, self._longest = timeline, repeat, answer, longest
        self.rounds: list[PlannedRound] = []
        self.turns: list[PlannedRound] = []  # the rounds and their answers
        self.clicks: list[Click] = []  # of count-ins
        self.marks: list[Cue] = []
        self.now = 0.0  # the bar line that the round before ended with
        self.left_out = 0  # rounds

    def add(self, bpm: Fraction | None, performance: Performance, count_in: int) -> None:
        """Add the count-in of a performance and its rounds."""
        music = performance.bars[0] if performance.bars else 0.0  # silence for stolen time comes before it
        if count_in:
            counted = count_in * _bar_seconds(self._timeline, performance)
            one = performance.straight_seconds(_upbeat(self._timeline))  # beat one of the first full bar
            at = self.now + (counted - one)
            at = at if self.rounds else max(0.0, at)
            start = at + one - counted
            self.clicks += _counted_in(self._timeline, start, at + music, count_in, counted / count_in)
            self.marks.append(Cue(start, _name(self._timeline, bpm, None, "count-in")))
        else:
            at = self.now - music if self.rounds else max(0.0, self.now - music)
        length = performance.end - music
        for again in range(self._repeat):
            if self.rounds and at + performance.end + self._answer * length > self._longest:
                self.left_out += 1
            else:
                at = self._add_round(PlannedRound(at, performance, bpm), again if self._repeat > 1 else None, music)
        self.now = at + music

    def _add_round(self, played: PlannedRound, again: int | None, music: float) -> float:
        """Add a round and its answer; return the seconds at which the next performance's own time begins."""
        self.rounds.append(played)
        self.turns.append(played)
        self.marks += _bar_marks(self._timeline, played, again)
        length = played.performance.end - music
        if not self._answer:
            return played.at + length
        at = played.at + length
        self.turns.append(played._replace(at=at))
        self.marks.append(Cue(at + music, _name(self._timeline, played.bpm, again, "answer")))
        return at + length


def _upbeat(timeline: Timeline) -> int:
    """Return the grains of the pick-up that the lick begins with; 0 without one."""
    first = timeline.bars[timeline.passes[0].bar] if timeline.passes else None
    return first.length if first is not None and first.number == 0 else 0


def _bar_seconds(timeline: Timeline, performance: Performance) -> float:
    """Return the seconds of a full bar at the first tempo."""
    return float(timeline.settings.meter.length * 240 / performance.opening_qpm)


def _counted_in(timeline: Timeline, start: float, stop: float, bars: int, bar: float) -> Iterator[Click]:
    """Yield the clicks of so many bars of `bar` seconds from `start`, as far as they come before `stop`, where a pick-up enters."""
    pulses = timeline.settings.meter.pulses
    for n in range(bars):
        for pulse in pulses:
            at = start + bar * (n + float(pulse / timeline.settings.meter.length))
            if at < stop - 1e-6:
                yield Click(at, pulse == 0)


def _notes(rounds: Sequence[PlannedRound], shifts: Mapping[int, int]) -> tuple[NoteEvent, ...]:
    """Return the notes of all rounds in order; a note that rings on ends where the next round plays its string."""
    notes = [_later(note, at) for at, performance, _ in rounds for note in performance.notes]
    if shifts:
        notes = [note if note.part else note._replace(shift=shifts.get(note.sound, 0)) for note in notes]
    notes.sort(key=lambda note: (note.start, -note.string))
    if len(rounds) > 1:
        end_replayed_notes(notes)
    return tuple(notes)


def _later(note: NoteEvent, seconds: float) -> NoteEvent:
    if seconds == 0.0:
        return note
    moves = tuple(move._replace(start=move.start + seconds, end=move.end + seconds) for move in note.moves)
    return note._replace(start=note.start + seconds, end=note.end + seconds, moves=moves)


def _beats(timeline: Timeline) -> Iterator[tuple[int, bool]]:
    """Yield the grains of every beat as played, and whether it begins its bar. The beats of a pick-up are those that end a full bar."""
    meter = timeline.settings.meter
    beat, full = meter.beat * timeline.grain, meter.length * timeline.grain
    for turn in timeline.passes:
        bar = timeline.bars[turn.bar]
        missing = max(Fraction(0), full - bar.length) if bar.number == 0 else Fraction(0)
        count = -(-(missing + bar.length) // beat)
        for k in range(int(count)):
            if k * beat >= missing:
                yield turn.start + int(k * beat - missing), k == 0


def _bar_marks(timeline: Timeline, played: PlannedRound, again: int | None) -> Iterator[Cue]:
    for turn, start in zip(timeline.passes, played.performance.bars, strict=True):
        place = bar_name(timeline.bars[turn.bar].number, turn.number)
        yield Cue(played.at + start, _name(timeline, played.bpm, again, place))


def _name(timeline: Timeline, bpm: Fraction | None, again: int | None, place: str) -> str:
    """`1/4 = 72, round 2, bar 3`."""
    settings = timeline.settings
    words = [] if bpm is None else [f"{settings.tempo.counted_value(settings.meter)} = {float(bpm):g}"]
    words += [] if again is None else [f"round {again + 1}"]
    return ", ".join((*words, place))


def _chords(timeline: Timeline, rounds: Sequence[PlannedRound]) -> Iterator[HeldChord]:
    """Yield the chords under all rounds and answers; without chords the tonic and fifth of the key; nothing without a key."""
    settings = timeline.settings
    shift = settings.capo + settings.tuning.shift
    if not settings.chords:
        if settings.key is not None:
            pitches = _voiced(settings.key.tonic.pc + shift, _DRONE)
            yield from (HeldChord(at + p.straight_seconds(0), at + p.end, pitches) for at, p, _ in rounds)
        return
    held = _held(timeline)
    for at, performance, _ in rounds:
        for turn in timeline.passes:
            length = timeline.bars[turn.bar].length
            entries = held[turn.bar]
            edges = [turn.start + share * length for share, _ in entries] + [Fraction(turn.start + length)]
            for (_, chord), start, end in zip(entries, edges, edges[1:], strict=False):
                if chord is not None:
                    root = chord.root.pc + shift
                    bass = None if chord.bass is None else chord.bass.pc + shift
                    yield HeldChord(
                        at + performance.straight_seconds(float(start)),
                        at + performance.straight_seconds(float(end)),
                        _voiced(root, chord.intervals, bass),
                    )


def _held(timeline: Timeline) -> list[list[tuple[Fraction, Chord | None]]]:
    """Return for each written bar its chords and the share of it at which each begins; a chord held from before comes first."""
    bars, written = timeline.bars, timeline.settings.chords
    first = 1 if bars and bars[0].number == 0 else 0
    found: list[list[tuple[Fraction, Chord | None]]] = []
    chord: Chord | None = None
    for index in range(len(bars)):
        own = written[index - first] if 0 <= index - first < len(written) else ()
        entries = [(entry.at, entry.chord) for entry in own]
        if not entries or entries[0][0] > 0:
            entries.insert(0, (Fraction(0), chord))
        found.append(entries)
        chord = entries[-1][1]
    return found


def _voiced(root: int, intervals: Sequence[int], bass: int | None = None) -> tuple[int, ...]:
    """Return the bass and close middle voices of a chord, as MIDI pitches."""
    low = root if bass is None else bass
    middle = {_MIDDLE + (root + interval - _MIDDLE) % 12 for interval in intervals}
    return (_BASS + (low - _BASS) % 12, *sorted(middle))
