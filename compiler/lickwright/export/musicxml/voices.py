"""The written notes of a bar as voices of chords, rests and grace notes, in written note values.

In: a `WrittenBar`. Out: `Voice`s, each a row of `VoiceEvent`s that follow one another, with grace notes and rake strokes before them. Notes that begin and
end together are one event; notes that overlap otherwise stand in different voices, so that each length is exact. Writes no XML.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise
from operator import attrgetter
from typing import NamedTuple, TypeAlias

from lickwright.engraving.note_values import (
    NoteValueWriter,
    RhythmEvent,
    TupletInBar,
    bar_tuplets,
    beam_levels,
    beam_runs,
    group_starts,
)
from lickwright.export.musicxml.written_bars import WrittenBar, WrittenNote
from lickwright.notation.techniques import Curve
from lickwright.timeline.model import Bar, SoundingNote, Timeline

_SPLITTING = (Curve.VIBRATO, Curve.SLIDE_OFF)  # shapes that MusicXML gives to whole notes only: a note is tied there


class VoiceEvent(NamedTuple):
    """What stands at one instant of a voice: the notes of a chord, or a rest, in one note value."""

    at: int  # grains from the start of the bar
    end: int
    value: RhythmEvent | None  # None for a length that no note value has
    notes: tuple[WrittenNote, ...] = ()  # from the thickest string; () for a rest
    tuplets: tuple[TupletInBar, ...] = ()  # that it lies in, outer ones first
    covered: bool = False  # a rest of one voice under which another sounds
    beams: tuple[
        str, ...
    ] = ()  # by level from the outermost, what MusicXML says of a beam here: "begin", "continue", "end", a hook


class Stolen(NamedTuple):
    """Grace notes or rake strokes at one moment before a beat."""

    notes: tuple[SoundingNote, ...]


Voice: TypeAlias = list[VoiceEvent | Stolen]  # in order; where it is silent and another sounds, places are left out


def bar_voices(timeline: Timeline, bar: Bar, written: WrittenBar, fermatas: Sequence[int]) -> list[Voice]:
    """Return the voices of a bar; `fermatas` are instants of it. The first voice is complete: it has a rest wherever it is silent."""
    starts = {note.at for note in written.notes}
    splits = sorted({*fermatas, *(beat for beat, _ in written.stolen if beat not in starts)})
    rows: list[list[_Group]] = [[]]
    for group in _groups(timeline, written, splits):
        row = next((row for row in rows if not row or row[-1].end <= group.at), None)
        if row is None:
            row = []
            rows.append(row)
        row.append(group)
    writer = _EventWriter(timeline, bar, written, splits)
    voices = [writer.voice(row, [] if n else _silences(row, bar.length)) for n, row in enumerate(rows)]
    _put_stolen(voices, written)
    return voices


class _Group(NamedTuple):
    """Notes that begin and end together, in grains from the start of the bar."""

    at: int
    end: int
    notes: tuple[WrittenNote, ...]


def _groups(timeline: Timeline, written: WrittenBar, splits: Sequence[int]) -> Iterator[_Group]:
    """Yield the notes that begin, end and are cut together, by start, those of the thinnest string first."""
    groups: defaultdict[tuple[int, int, tuple[int, ...]], list[WrittenNote]] = defaultdict(list)
    for note in written.notes:
        groups[note.at, note.end, tuple(_cuts(timeline, note, splits))].append(note)
    order = sorted(groups, key=lambda key: (key[0], groups[key][-1].sound.string))
    for first, last, cuts in order:
        for start, end in pairwise((first, *cuts, last)):
            yield _Group(start, end, tuple(_cut(note, start, end) for note in groups[first, last, cuts]))


def _cut(note: WrittenNote, start: int, end: int) -> WrittenNote:
    """Return the part of a note between two instants of its bar."""
    return note._replace(at=start, end=end, since=note.since + start - note.at, goes_on=note.goes_on or end < note.end)


def _cuts(timeline: Timeline, note: WrittenNote, splits: Sequence[int]) -> list[int]:
    """Return where a note is tied although a note value would go on: at a vibrato of a hold, a slide off after one, a fermata."""
    origin = note.sound.start + note.since - note.at  # the bar's start, in grains as played
    wanted = {
        shape.start - origin
        for shape in note.sound.shapes
        if shape.technique.curve in _SPLITTING and shape.slot != note.sound.slot
    }
    return sorted(at for at in wanted | set(splits) if note.at < at < note.end)


def _silences(row: Sequence[_Group], length: int) -> list[tuple[int, int]]:
    """Return where nothing of a voice sounds."""
    found, at = [], 0
    for first, last, _ in row:
        if first > at:
            found.append((at, first))
        at = last
    return [*found, (at, length)] if at < length else found


class _EventWriter:
    """Writes the notes and rests of one bar in note values."""

    def __init__(self, timeline: Timeline, bar: Bar, written: WrittenBar, splits: Sequence[int]) -> None:
        self._tuplets = bar_tuplets(timeline, bar)
        self._values = NoteValueWriter(timeline, bar, self._tuplets)
        self._bar, self._notes, self._splits = bar, written.notes, splits
        self._groups = group_starts(timeline, bar)

    def voice(self, row: Sequence[_Group], silences: Sequence[tuple[int, int]]) -> Voice:
        """Return a voice of these notes and silences."""
        events = [event for group in row for event in self._events(*group)]
        for first, last in silences:
            events += self._rests(first, last)
        return [*self._beamed(sorted(events, key=attrgetter("at")))]

    def _beamed(self, events: list[VoiceEvent]) -> list[VoiceEvent]:
        """Return the events of a voice with their beams. A beam never reaches over a gap."""
        beams: defaultdict[int, list[str]] = defaultdict(list)
        for first, values in _unbroken(events):
            for run_first, run_last in beam_runs(values, self._groups, self._tuplets):
                for _, start, end in beam_levels(values, run_first, run_last):
                    for n in range(start, end + 1):
                        beams[first + n].append(_beam_word(n, start, end, run_first))
        return [event._replace(beams=tuple(beams[n])) for n, event in enumerate(events)]

    def _events(self, first: int, last: int, notes: tuple[WrittenNote, ...]) -> Iterator[VoiceEvent]:
        for start, end, value in self._pieces(first, last, rest=not notes):
            parts = tuple(_cut(note, start, end) for note in notes)
            inside = tuple(one for one in self._tuplets if one.start <= start < one.end)
            yield VoiceEvent(start, end, value, parts, inside)

    def _pieces(self, first: int, last: int, rest: bool) -> list[tuple[int, int, RhythmEvent | None]]:
        """Return a length in note values; what is shorter than the shortest has none."""
        found: list[tuple[int, int, RhythmEvent | None]] = []
        at = first
        for event in self._values.events(first, last, rest):
            if event.at != at or event.end <= at:
                break
            found.append((event.at, event.end, event))
            at = event.end
        return found if at == last else [*found, (at, last, None)]

    def _rests(self, first: int, last: int) -> Iterator[VoiceEvent]:
        edges = {*self._splits, *(at for note in self._notes for at in (note.at, note.end))}
        for start, end in pairwise(sorted({first, last, *(at for at in edges if first < at < last)})):
            if (start, end) == (0, self._bar.length):
                yield VoiceEvent(start, end, None)
                continue
            covered = any(note.at < end and start < note.end for note in self._notes)
            yield from (event._replace(covered=covered) for event in self._events(start, end, ()))


def _unbroken(events: Sequence[VoiceEvent]) -> Iterator[tuple[int, list[RhythmEvent]]]:
    """Yield the note values that follow one another without a gap, with the index of their first event."""
    run: list[RhythmEvent] = []
    for index, event in enumerate(events):
        if run and (event.value is None or run[-1].end != event.at):
            yield index - len(run), run
            run = []
        if event.value is not None:
            run.append(event.value)
    if run:
        yield len(events) - len(run), run


def _beam_word(index: int, start: int, end: int, run_first: int) -> str:
    """Return what MusicXML says of an event in one line of a beam, which goes from `start` to `end`."""
    if start == end:
        return "forward hook" if index == run_first else "backward hook"
    return "begin" if index == start else "end" if index == end else "continue"


def _put_stolen(voices: list[Voice], written: WrittenBar) -> None:
    """Put grace notes and rake strokes before the notes that they lead to, in place; those that lead to the next bar end the first voice."""
    beats: defaultdict[int, defaultdict[int, list[SoundingNote]]] = defaultdict(lambda: defaultdict(list))
    for at, sound in written.stolen:
        beats[at][-sound.lead].append(sound)
    for at, leads in sorted(beats.items(), reverse=True):
        strings = {sound.string for sounds in leads.values() for sound in sounds}
        voice, index = min(
            _places(voices, at), key=lambda place: _distance(place, strings), default=(voices[0], len(voices[0]))
        )
        ordered = [tuple(sorted(leads[lead], key=lambda sound: -sound.string)) for lead in sorted(leads)]
        voice[index:index] = [Stolen(sounds) for sounds in ordered]


def _places(voices: list[Voice], at: int) -> Iterator[tuple[Voice, int]]:
    """Yield the voices in which something begins at an instant, each with its index there."""
    for voice in voices:
        for index, event in enumerate(voice):
            if isinstance(event, VoiceEvent) and event.at == at:
                yield voice, index


def _distance(place: tuple[Voice, int], strings: set[int]) -> int:
    """Return 0 where one of these strings is played, 1 where another is, 2 at a rest."""
    event = place[0][place[1]]
    played = {note.sound.string for note in event.notes} if isinstance(event, VoiceEvent) else set()
    return 0 if played & strings else 1 if played else 2
