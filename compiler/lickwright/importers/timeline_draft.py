"""Timeline → draft: the written music of a counted lick, as a reader of another format would have it.

In: a `Timeline`. Out: a `LickDraft` of its music, each bar as it is played the first time, without fields. It is what a written lick is compared by.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from fractions import Fraction

from lickwright.importers.draft import (
    DraftBar,
    DraftChord,
    DraftDirection,
    DraftGroup,
    DraftNote,
    DraftShape,
    GroupKind,
    LickDraft,
)
from lickwright.notation.techniques import HELD_BEND, QUARTER_BEND, Curve
from lickwright.timeline.model import Bar, PitchGesture, SoundingNote, Timeline

_AMOUNT_PARTS = 8  # of a semitone that a bend's amount is told to
_TAKING_AMOUNTS = (Curve.BEND, Curve.PREBEND, Curve.RELEASE)


def draft_from_timeline(timeline: Timeline) -> LickDraft:
    """Return the music of a timeline as a draft: what each written bar plays the first time."""
    starts = {turn.bar: turn.start for turn in reversed(timeline.passes)}
    sounds: defaultdict[int, list[SoundingNote]] = defaultdict(list)
    for sound in timeline.sounds:
        if starts.get(sound.bar) == sound.start - timeline.slots[sound.slot].at:
            sounds[sound.bar].append(sound)
    bars = tuple(_bar(timeline, n, sounds[n]) for n in range(len(timeline.bars)))
    return LickDraft(timeline.title, bars)


def _bar(timeline: Timeline, index: int, sounds: Iterable[SoundingNote]) -> DraftBar:
    bar = timeline.bars[index]
    return DraftBar(
        () if bar.same else _groups(timeline, sounds),
        timeline.fraction(bar.length),
        timeline.settings.meter,
        bar.same,
        bar.repeat_start,
        bar.repeat_end,
        bar.ending,
        bar.double,
        bar.newline,
        _chords(timeline, bar),
        () if bar.same else _directions(timeline, bar),
        tuple(node.mark for node in bar.marks),
    )


def _chords(timeline: Timeline, bar: Bar) -> tuple[DraftChord, ...]:
    number = bar.number - 1
    if not 0 <= number < len(timeline.settings.chords):
        return ()
    length = timeline.fraction(bar.length)
    return tuple(DraftChord(one.at * length, one.symbol) for one in timeline.settings.chords[number])


def _directions(timeline: Timeline, bar: Bar) -> tuple[DraftDirection, ...]:
    return tuple(
        DraftDirection(timeline.fraction(timeline.slots[one.slot].at), one.kind, one.text)
        for one in timeline.directions
        if bar.first <= one.slot < bar.last
    )


def _groups(timeline: Timeline, sounds: Iterable[SoundingNote]) -> tuple[DraftGroup, ...]:
    groups: defaultdict[tuple[int, int, str], list[SoundingNote]] = defaultdict(list)
    for sound in sounds:
        groups[timeline.slots[sound.slot].at, -sound.lead, sound.kind].append(sound)
    return tuple(
        DraftGroup(
            timeline.fraction(at),
            tuple(_note(timeline, sound) for sound in groups[at, lead, kind]),
            GroupKind(kind),
            any(sound.roll is not None for sound in groups[at, lead, kind]),
        )
        for at, lead, kind in sorted(groups)
    )


def _note(timeline: Timeline, sound: SoundingNote) -> DraftNote:
    shapes = tuple(_shape(timeline, sound, one) for one in sound.shapes if one.technique is not HELD_BEND)
    return DraftNote(
        sound.string,
        sound.fret,
        timeline.fraction(sound.end - sound.start),
        sound.begin,
        sound.head,
        sound.touch,
        sound.marks,
        shapes,
        sound.finger,
        sound.pluck,
        sound.trill,
    )


def _shape(timeline: Timeline, sound: SoundingNote, shape: PitchGesture) -> DraftShape:
    technique = shape.technique
    lasting = technique.curve is Curve.VIBRATO  # to the note's end or the next shape
    amount = None
    if technique.curve in _TAKING_AMOUNTS and technique is not QUARTER_BEND and shape.amount:
        amount = Fraction(shape.amount).limit_denominator(_AMOUNT_PARTS)
    return DraftShape(
        technique,
        timeline.fraction(shape.start - sound.start),
        None if lasting else timeline.fraction(shape.end - shape.start),
        amount,
    )
