"""Two voices on the staff of notes: a bass that is held under a melody, each with its own values and stems.

In: the stops of a bar with their `StaffNote`s. Out: the voices, or None for a bar that one voice shows. Two voices are used where a lower note is written
as held under a higher one that is struck, and where each of the two is a row of chords and rests without overlap; anything else stays one voice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from lickwright.engraving.note_values import (
    BarRhythm,
    NoteValueWriter,
    RhythmEvent,
    TupletInBar,
    beam_runs,
    group_starts,
)
from lickwright.engraving.staff_positions import StaffNote
from lickwright.engraving.stops import BarStops, Stop
from lickwright.layout.grid import Grid

THUMB = "p"
_REST = 5.0  # room on either side of the middle of a rest, in points
_NEAR = 6  # steps within which the accidentals of two voices would touch

NotesAt = Callable[[Stop], Sequence[StaffNote]]


class StaffVoice(NamedTuple):
    """One voice of a bar."""

    up: bool  # its stems go up
    rhythm: BarRhythm
    notes: Mapping[int, tuple[StaffNote, ...]]  # by index of the event; none at a rest


class _HeldNote(NamedTuple):
    """A note as far as it lies in a bar, in grains from its start."""

    at: int
    end: int
    note: StaffNote


def two_voices(grid: Grid, index: int, bar: BarStops, notes_at: NotesAt) -> tuple[StaffVoice, StaffVoice] | None:
    """Return the upper and the lower voice of a bar; None where one voice shows it."""
    stops = [(stop, tuple(notes_at(stop))) for stop in bar.stops if not stop.lead]
    if not any(_lies_under(here) for _, here in stops):
        return None
    lower = _lower(stops)
    notes = _notes(stops, _first_start(grid, index), grid.bars[index].bar.length)
    above, below = (_row(_of_voice(notes, lower, is_lower)) for is_lower in (False, True))
    if not above or not below or _cross(stops, lower) or _breaks(below, bar.rhythm.tuplets):
        return None
    return _voice(grid, index, above, True, bar.rhythm.tuplets), _voice(grid, index, below, False, ())


def with_room_for_rests(grid: Grid, bars: Sequence[BarStops], written: Sequence[Sequence[Sequence[StaffNote]]]) -> list[BarStops]:  # fmt: skip
    """Return the bars with room for the rests of two voices, where notes of the other stand; `written` are the notes of every stop."""
    found = []
    for index, (bar, row) in enumerate(zip(bars, written, strict=True)):
        notes = {(stop.at, stop.lead): here for stop, here in zip(bar.stops, row, strict=True)}
        voices = two_voices(grid, index, bar, lambda stop, notes=notes: notes[stop.at, stop.lead])  # type: ignore[misc]
        rests = {event.at for voice in voices or () for event in voice.rhythm.events if event.rest}
        wider = (
            stop._replace(left=max(stop.left, _REST), right=max(stop.right, _REST)) if stop.at in rests else stop
            for stop in bar.stops
        )
        found.append(bar._replace(stops=tuple(wider)) if rests else bar)
    return found


def _first_start(grid: Grid, index: int) -> int:
    """Return when a bar begins the first time that it is played, in grains."""
    return next((turn.start for turn in grid.timeline.passes if turn.bar == index and turn.number == 0), 0)


def _lies_under(here: Sequence[StaffNote]) -> bool:
    """Return whether a held note lies below all that is struck at a stop."""
    held = [note.step for note in here if note.mark.held]
    struck = [note.step for note in here if not note.mark.held]
    return bool(held and struck) and min(held) < min(struck)


def _notes(stops: Sequence[tuple[Stop, tuple[StaffNote, ...]]], start: int, length: int) -> list[_HeldNote]:
    """Return the notes of a bar that begins at `start`; [] where one does something while it is held."""
    found: dict[int, _HeldNote] = {}
    for stop, here in stops:
        for note in here:
            number = note.mark.sound.index
            if number not in found:
                found[number] = _HeldNote(stop.at, min(length, note.mark.sound.end - start), note)
            elif note.targets or note.mark.shapes:
                return []
    return list(found.values())


def _lower(stops: Sequence[tuple[Stop, tuple[StaffNote, ...]]]) -> set[int]:
    """Return the numbers of the sounds of the lower voice: what is held under others, what is on its strings, what the thumb plays."""
    held = [min(here, key=lambda note: note.step) for _, here in stops if _lies_under(here)]
    found = {note.mark.sound.index for note in held}
    highest = min(note.mark.string for note in held)
    for _, here in stops:
        found |= {
            note.mark.sound.index for note in here if note.mark.string >= highest or note.mark.sound.pluck == THUMB
        }
    return found


def _of_voice(notes: Iterable[_HeldNote], lower: set[int], is_lower: bool) -> Iterator[_HeldNote]:
    return (one for one in notes if (one.note.mark.sound.index in lower) == is_lower)


def _cross(stops: Sequence[tuple[Stop, tuple[StaffNote, ...]]], lower: set[int]) -> bool:
    """Return whether the voices cross at a stop, or come so near that their accidentals touch."""
    for _, here in stops:
        above = [note for note in here if note.mark.sound.index not in lower]
        below = [note for note in here if note.mark.sound.index in lower]
        if above and below and _touch(above, below):
            return True
    return False


def _touch(above: Sequence[StaffNote], below: Sequence[StaffNote]) -> bool:
    gap = min(note.step for note in above) - max(note.step for note in below)
    signs = [any(note.accidental for note in notes) for notes in (above, below)]
    return gap <= 0 or (gap < _NEAR and all(signs))


def _row(notes: Iterator[_HeldNote]) -> list[tuple[int, int, tuple[StaffNote, ...]]]:
    """Return notes that begin and end together as chords, in order; [] where there is none or where two overlap."""
    chords: dict[tuple[int, int], tuple[StaffNote, ...]] = {}
    for one in notes:
        chords[one.at, one.end] = (*chords.get((one.at, one.end), ()), one.note)
    row = [(at, end, chord) for (at, end), chord in sorted(chords.items(), key=lambda chord: chord[0])]
    return [] if any(after[0] < before[1] for before, after in pairwise(row)) else row


def _breaks(row: Sequence[tuple[int, int, object]], tuplets: Sequence[TupletInBar]) -> bool:
    """Return whether a note begins or ends within a tuplet, which only the other voice shows."""
    return any(tuplet.start < edge < tuplet.end for at, end, _ in row for edge in (at, end) for tuplet in tuplets)


def _voice(
    grid: Grid,
    index: int,
    row: Sequence[tuple[int, int, tuple[StaffNote, ...]]],
    up: bool,
    tuplets: tuple[TupletInBar, ...],
) -> StaffVoice:
    """Return a row of chords in note values, with rests between them."""
    bar, timeline = grid.bars[index].bar, grid.timeline
    writer = NoteValueWriter(timeline, bar, tuplets)
    events: list[RhythmEvent] = []
    notes: dict[int, tuple[StaffNote, ...]] = {}
    at = 0
    for first, last, chord in (*row, (bar.length, bar.length, ())):
        events += writer.events(at, first, True) if first > at else ()
        for n, event in enumerate(writer.events(first, last, False) if last > first else ()):
            notes[len(events)] = tuple(map(_tied, chord)) if n else chord
            events.append(event)
        at = last
    starts = group_starts(timeline, bar)
    return StaffVoice(up, BarRhythm(tuple(events), tuple(beam_runs(events, starts, tuplets)), tuplets), notes)


def _tied(note: StaffNote) -> StaffNote:
    """Return a note that goes on with one before it."""
    return note._replace(accidental="", targets=(), mark=note.mark._replace(held=True))
