"""Figures of a lick that are no single technique: double stops, unison bends, triplets, syncopation, strings left out.

In: a Timeline. Out: names in players' words, which an author asks a library for beside those of the table of techniques.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from lickwright.analysis.difficulty_features import count_string_skips, fretted_chords
from lickwright.analysis.figure_names import CHORD, DOUBLE_STOP, PICK_UP, STRING_SKIP, SYNCOPATION, TUPLETS, UNISON_BEND
from lickwright.notation.techniques import UPWARD_BENDS

if TYPE_CHECKING:
    from lickwright.timeline.model import SoundingNote, Timeline

_SAME_PITCH = 0.25  # semitones: a unison bend that a writer rounds to a quarter step is one


def find_figures(timeline: Timeline) -> set[str]:
    """Return the names of `figure_names.FIGURES` that a lick holds."""
    groups = fretted_chords(timeline)
    found = {TUPLETS[tuplet.count] for tuplet in timeline.tuplets if tuplet.count in TUPLETS}
    for group in groups:
        if len(group) > 1:
            found |= _chord_figures(group)
    if count_string_skips(groups):
        found.add(STRING_SKIP)
    if timeline.bars and timeline.bars[0].number == 0:
        found.add(PICK_UP)
    if _is_syncopated(timeline):
        found.add(SYNCOPATION)
    return found


def _chord_figures(group: Sequence[SoundingNote]) -> set[str]:
    notes = [sound for sound in group if sound.kind == "note" and not sound.dead]
    strings = len({sound.string for sound in notes})
    if strings < 2:
        return set()
    found = {DOUBLE_STOP if strings == 2 else CHORD}
    return found | {UNISON_BEND} if _is_unison_bend(notes) else found


def _is_unison_bend(notes: Iterable[SoundingNote]) -> bool:
    """Return whether one of these notes is bent to the pitch of another that begins with it."""
    bent: list[float] = []
    still: list[float] = []
    for sound in notes:
        arrived = [sound.pitch + shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS]
        (bent if arrived else still).append(max(arrived, default=sound.pitch))
    return any(abs(a - b) < _SAME_PITCH for a in bent for b in still)


def _is_syncopated(timeline: Timeline) -> bool:
    """Return whether a note begins off the beat and sounds on over the next beat, where nothing begins.

    In beats that divide by two the same holds for the eighth notes between the beats: `1 e . a` is syncopated too.
    """
    scale, places = _places_of_meter(timeline)
    starts = [turn.start for turn in timeline.passes]
    notes = [sound for sound in timeline.sounds if sound.kind == "note"]
    begins = {sound.start * scale for sound in notes}
    for sound in notes:
        turn = timeline.passes[bisect_right(starts, sound.start) - 1]
        bar = timeline.bars[turn.bar]
        at = (
            sound.start - turn.start - (0 if bar.number else bar.length)
        ) * scale  # a pick-up ends where a whole bar would
        for spacing, part in places:
            late = at % spacing
            following = sound.start * scale - late + spacing  # the next place of that spacing
            if late and late % part == 0 and following not in begins and sound.end * scale > following:
                return True
    return False


def _places_of_meter(timeline: Timeline) -> tuple[int, list[tuple[int, int]]]:
    """Return how many units make a grain, and the units between stronger places with those between the weaker ones in them.

    A unit is so small that beats, their halves and their thirds are whole numbers.
    """
    meter = timeline.settings.meter
    beat = 6 * meter.beat.numerator * timeline.grain
    places = [(beat, beat // 3)] if meter.compound else [(beat, beat // 2), (beat // 2, beat // 2 // 2)]
    return 6 * meter.beat.denominator, places
