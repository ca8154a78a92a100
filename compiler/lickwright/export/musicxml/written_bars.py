"""The music of each written bar, as it is played the first time: what a score shows.

In: a Timeline. Out: for each written bar its `WrittenNote`s with exact places, the grace notes and rake strokes in it, and what connects to what.
What a later time through plays differently, because another bar comes before it, cannot stand in a score: `differing` has it.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple, TypeAlias

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import Technique
from lickwright.timeline.model import Pass, SoundingNote, Timeline

PaperKey: TypeAlias = tuple[
    int, int, int, str, int
]  # bar, slot, string, kind, lead: the same for one note each time that it is played


class WrittenNote(NamedTuple):
    """One note as far as it lies in one written bar."""

    sound: SoundingNote
    at: int  # grains from the start of the bar
    end: int  # grains
    since: int  # grains from the start of the note to `at`: more than 0 where it goes on from the bar before
    goes_on: bool  # it lasts past the end of the bar, at least one of the times that the bar is played


@mutable_record
class WrittenBar:
    """The music of one written bar."""

    notes: list[WrittenNote] = field(default_factory=list)  # by start, then from the thickest string
    stolen: list[tuple[int, SoundingNote]] = field(
        default_factory=list
    )  # grace notes and rake strokes: the beat in grains, the stroke


class WrittenScore(NamedTuple):
    """The music of all written bars."""

    bars: list[WrittenBar]
    joins: dict[PaperKey, list[Technique]]  # by the note that is gone on from: how what follows is connected to it
    differing: list[SoundingNote]  # of a later time through, where it is not what is written


def paper_key(sound: SoundingNote) -> PaperKey:
    """Return what names a note on paper."""
    return sound.bar, sound.slot, sound.string, sound.kind, sound.lead


def written_score(timeline: Timeline) -> WrittenScore:
    """Return the music of the written bars; a bar that is never played is empty."""
    score = WrittenScore([WrittenBar() for _ in timeline.bars], {}, [])
    first: dict[int, list[tuple[object, ...]]] = {}
    for turn, (notes, stolen) in zip(timeline.passes, _by_pass(timeline), strict=True):
        bar = score.bars[turn.bar]
        said = [_said(timeline, note) for note in notes]
        if turn.bar not in first:
            first[turn.bar] = said
            bar.notes, bar.stolen = notes, stolen
            _add_joins(timeline, score.joins, bar)
        else:
            score.differing.extend(_differing(bar.notes, first[turn.bar], notes, said))
            _lengthen(bar, notes)
    return score


def _differing(
    notes: list[WrittenNote],
    said: list[tuple[object, ...]],
    again: list[WrittenNote],
    said_again: list[tuple[object, ...]],
) -> list[SoundingNote]:
    """Return what a later time through plays otherwise than the first; where it only leaves notes out, those."""
    found = [note.sound for note, one in zip(again, said_again, strict=True) if one not in said]
    if found or len(again) >= len(notes):
        return found
    return [note.sound for note, one in zip(notes, said, strict=True) if one not in said_again]


def _by_pass(timeline: Timeline) -> list[tuple[list[WrittenNote], list[tuple[int, SoundingNote]]]]:
    """Return for each pass the notes that sound in it, and its stolen strokes."""
    passes = timeline.passes
    found: list[tuple[list[WrittenNote], list[tuple[int, SoundingNote]]]] = [([], []) for _ in passes]
    turns: dict[tuple[int, int], int] = {(turn.bar, turn.start): n for n, turn in enumerate(passes)}
    for sound in timeline.sounds:
        n = turns[sound.bar, sound.start - timeline.slots[sound.slot].at]
        if sound.lead or sound.end <= sound.start:
            found[n][1].append((sound.start - passes[n].start, sound))
            continue
        while n < len(passes) and passes[n].start < sound.end:
            found[n][0].append(_part(timeline, passes[n], sound))
            n += 1
    for notes, _ in found:
        notes.sort(key=lambda note: (note.at, -note.sound.string))
    return found


def _part(timeline: Timeline, turn: Pass, sound: SoundingNote) -> WrittenNote:
    length = timeline.bars[turn.bar].length
    at, end = max(0, sound.start - turn.start), sound.end - turn.start
    return WrittenNote(sound, at, min(length, end), turn.start + at - sound.start, end > length)


def _said(timeline: Timeline, note: WrittenNote) -> tuple[object, ...]:
    """Return what is the same for a note each time that its bar is played as it is written."""
    sound = note.sound
    source = None if sound.source is None else paper_key(timeline.sounds[sound.source])
    shapes = tuple((id(shape.technique), shape.start - sound.start, shape.amount) for shape in sound.shapes)
    return paper_key(sound), sound.fret, note.at, note.end, note.since, source, shapes


def _add_joins(timeline: Timeline, joins: dict[PaperKey, list[Technique]], bar: WrittenBar) -> None:
    """Add how the notes that begin in a bar are connected to those that they go on from."""
    begun = (note.sound for note in bar.notes if not note.since)
    for sound in (*begun, *(stroke for _, stroke in bar.stolen)):
        if sound.source is not None:
            found = joins.setdefault(paper_key(timeline.sounds[sound.source]), [])
            if sound.begin not in found:
                found.append(sound.begin)


def _lengthen(bar: WrittenBar, again: list[WrittenNote]) -> None:
    """Note in place which notes of a bar go on past its end at a later time through."""
    ends: defaultdict[PaperKey, bool] = defaultdict(bool)
    for note in again:
        ends[paper_key(note.sound)] |= note.goes_on
    bar.notes[:] = [note._replace(goes_on=note.goes_on or ends[paper_key(note.sound)]) for note in bar.notes]
