"""Two Timelines read as one phrase: which note answers which, and where each is shifted in time.

In: two Timelines. Out: `MatchedPhrases`. Judges nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from lickwright.compare.align import ComparedMoment, Link, align_moments, compared_moments
from lickwright.compare.normalization import note_value_ratio, transposition
from lickwright.compare.notes import pair_chord_notes
from lickwright.compare.shift import lasting_shifts
from lickwright.compare.swing import has_long_short_pairs, swung_sounds
from lickwright.timeline.model import SoundingNote, Timeline

# What has to be gained by a reading that is not the plain one, in hundredths of a note left alone.
_RESPELLED = 2  # other note values, or swung notes where they are heard: for each of the teacher's moments
_SHIFTED = 40  # a lasting shift, each
_LOOKS = 3  # at most, at what the shifts found so far leave


class MatchedNotes(NamedTuple):
    """Two notes that answer each other, or one alone."""

    mine: SoundingNote | None
    theirs: SoundingNote | None
    moment: int  # which link it is of
    shift: int  # units by which the student's version runs late hereabouts; a note on its place there is in time
    late: int  # units that it starts late besides; 0 for one alone


class MatchedPhrases(NamedTuple):
    """Two phrases laid beside each other."""

    mine: Timeline
    theirs: Timeline
    semitones: int  # to add to the student's pitches
    factor: Fraction  # to multiply the student's note values by
    unit: int  # of the common clock to the teacher's whole note
    clock_mine: int  # units to a grain of the student's
    clock_theirs: int
    met: tuple[MatchedNotes, ...]  # in musical order
    first_shift: int  # units by which the whole phrase starts late
    # swung notes are where they are heard: the sounds of `met` are, those of the timelines as written
    heard: bool = False


def match_phrases(mine: Timeline, theirs: Timeline) -> MatchedPhrases:
    """Return every note paired, in the reading that leaves least to say."""
    readings = _readings(mine, theirs, False)
    if has_long_short_pairs(mine) != has_long_short_pairs(theirs):
        readings += _readings(mine, theirs, True)
    return min(readings, key=lambda reading: reading[0])[1]  # of equals the first, which is as written


def _readings(mine: Timeline, theirs: Timeline, heard: bool) -> list[tuple[int, MatchedPhrases]]:
    """Return readings with their cost, the cheapest first: with the note values as they are, or multiplied.

    `heard`: with swung notes where they are heard, else as written. A reading that is not the plain one has to gain more the
    longer the phrase is, unless it leaves nothing to say.
    """
    one, other = (swung_sounds(mine), swung_sounds(theirs)) if heard else (mine, theirs)
    both = lcm(one.grain, other.grain)
    phrases = compared_moments(one, both // one.grain), compared_moments(other, both // other.grain)
    semitones, links = transposition(*phrases)
    found = []
    for factor in {Fraction(1), note_value_ratio(*phrases, links)}:
        cost, matched = _read(one, other, semitones, links, factor)
        if cost:
            cost += _RESPELLED * len(phrases[1]) * ((factor != 1) + heard)
        found.append((cost, matched._replace(mine=mine, theirs=theirs, heard=heard)))
    return sorted(found, key=lambda reading: (reading[0], reading[1].factor != 1))


def _read(
    mine: Timeline, theirs: Timeline, semitones: int, links: list[Link], factor: Fraction
) -> tuple[int, MatchedPhrases]:
    """Return the phrases with the student's note values multiplied by `factor`, and what that leaves to say.

    Two readings: nothing is shifted; or what follows from pairing by pitch alone is.
    """
    unit = lcm(mine.grain * factor.denominator, theirs.grain, 4)
    clock_mine = unit * factor.numerator // (mine.grain * factor.denominator)
    clock_theirs = unit // theirs.grain
    one, other = compared_moments(mine, clock_mine), compared_moments(theirs, clock_theirs)
    cost, found = align_moments(one, other, semitones, unit // 4)
    moved = _shifts(mine, theirs, one, other, found)
    by_pitch = [(links, _shifts(mine, theirs, one, other, links, seldom)) for seldom in (True, False)]
    for guess, shifted in (*by_pitch, (found, moved)):
        for _ in range(_LOOKS):
            if not any(shifted):
                break
            total, guess, shifted = _again(mine, theirs, one, other, guess, shifted, semitones, unit // 4, cost)
            if total >= cost:
                break
            cost, found, moved = total, guess, shifted
    met = _met(one, other, found, moved, semitones)
    _rejoin(met, clock_mine, clock_theirs, unit // 2)
    first = next((m.shift for m in met if m.mine and m.theirs), 0)
    return cost, MatchedPhrases(mine, theirs, semitones, factor, unit, clock_mine, clock_theirs, tuple(met), first)


def _shifts(
    mine: Timeline, theirs: Timeline, one: Sequence[ComparedMoment], other: Sequence[ComparedMoment], links: Sequence[Link],
    seldom: bool = False,
) -> list[int]:  # fmt: skip
    """Return for each link by how much the student's version runs late there; a link of one moment has that of the one before.

    `seldom`: as few shifts as possible, wherever a reason for one is.
    """
    both = [(i, j) for i, j in links if i is not None and j is not None]
    if not both:
        return [0] * len(links)
    late = [one[i].at - other[j].at for i, j in both]
    cheap = [False] + [
        not seldom and _has_reason(mine, theirs, one, other, before, after) for before, after in pairwise(both)
    ]
    found = lasting_shifts(late, cheap)
    moved: list[int] = []
    paired = 0
    for i, j in links:
        paired += i is not None and j is not None
        moved.append(found[max(0, paired - 1)])
    return moved


def _has_reason(
    mine: Timeline, theirs: Timeline, one: Sequence[ComparedMoment], other: Sequence[ComparedMoment],
    before: tuple[int, int], after: tuple[int, int],
) -> bool:  # fmt: skip
    """Return whether a shift between two links is to be expected: a bar does not add up there, or several notes are missing or extra."""
    (i0, j0), (i1, j1) = before, after
    return (
        i1 - i0 + j1 - j0 > 4
        or _odd(mine, one[i0].notes[0].bar, one[i1].notes[0].bar)
        or _odd(theirs, other[j0].notes[0].bar, other[j1].notes[0].bar)
    )


def _odd(timeline: Timeline, first: int, last: int) -> bool:
    """Return whether a bar from `first` to `last` does not add up."""
    return any(bar.length != bar.nominal for bar in timeline.bars[min(first, last) : max(first, last) + 1])


def _again(
    mine: Timeline, theirs: Timeline, one: Sequence[ComparedMoment], other: Sequence[ComparedMoment], links: list[Link],
    moved: list[int], semitones: int, quarter: int, limit: int,
) -> tuple[int, list[Link], list[int]]:  # fmt: skip
    """Return a second reading, with the teacher's moments where the student's version has them; its cost has that of each shift."""
    placed = [
        other[j]._replace(at=other[j].at + shift) for (_, j), shift in zip(links, moved, strict=True) if j is not None
    ]
    changes = _SHIFTED * sum(a != b for a, b in zip([0, *moved], moved, strict=False))
    cost, links = align_moments(one, placed, semitones, quarter, limit - changes)
    if cost + changes >= limit:
        return limit, [], []
    return cost + changes, links, _shifts(mine, theirs, one, other, links)


def _met(
    one: Sequence[ComparedMoment],
    other: Sequence[ComparedMoment],
    links: Sequence[Link],
    moved: Sequence[int],
    semitones: int,
) -> list[MatchedNotes]:
    met: list[MatchedNotes] = []
    for number, ((i, j), shift) in enumerate(zip(links, moved, strict=True)):
        if i is None or j is None:
            met += [MatchedNotes(sound, None, number, shift, 0) for sound in (one[i].notes if i is not None else ())]
            met += [MatchedNotes(None, sound, number, shift, 0) for sound in (other[j].notes if j is not None else ())]
            continue
        late = one[i].at - other[j].at - shift
        for a, b in pair_chord_notes(one[i].notes, other[j].notes, semitones)[1]:
            met.append(MatchedNotes(a, b, number, shift, late if a and b else 0))
    return met


def _rejoin(met: list[MatchedNotes], clock_mine: int, clock_theirs: int, reach: int) -> None:
    """Pair a missing and an extra note at the same place on the neck, less than `reach` apart: it is one note, early or late.

    It happens where one note of a chord comes apart from it.
    """
    for k, lost in enumerate(met):
        if lost.theirs is None or lost.mine is not None:
            continue
        for n in range(max(0, k - 8), min(len(met), k + 9)):
            spare = met[n]
            if spare.mine is None or spare.theirs is not None or not _same_place(spare.mine, lost.theirs):
                continue
            late = spare.mine.start * clock_mine - lost.theirs.start * clock_theirs - lost.shift
            if 0 < abs(late) < reach:
                met[k] = MatchedNotes(spare.mine, lost.theirs, lost.moment, lost.shift, late)
                met[n] = MatchedNotes(None, None, spare.moment, spare.shift, 0)
                break
    met[:] = [m for m in met if m.mine is not None or m.theirs is not None]


def _same_place(a: SoundingNote, b: SoundingNote) -> bool:
    return (a.string, a.fret, a.touch, a.kind, a.dead) == (b.string, b.fret, b.touch, b.kind, b.dead)
