"""Which moment of one phrase answers which of the other: dynamic programming over pitch, time, string and fret.

In: the moments of two phrases on one clock. Out: pairs of indices in order, and what they cost. A moment is all that
starts together. Only a band round the diagonal is looked at, widened until no path outside it can be cheaper.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lickwright.compare.notes import GAP, pair_chord_notes
from lickwright.timeline.model import SoundingNote, Timeline

# Costs in hundredths of a note left alone, all estimates; `tests/test_compare_faults.py` measures what they find.
QUARTER_OFF = 60  # of starting a quarter note apart
MOST_OFF = 120  # of starting any further apart
_FIRST_BAND = 12  # moments to each side of the diagonal, at first
_LAST_BAND = 250  # and at most, so that two long licks that have nothing in common do not take minutes
_SECOND_BAND = 40  # at most, where there is a reading to beat already
_FAR = 1 << 60  # dearer than anything

Link = tuple[int | None, int | None]  # indices of a student's and a teacher's moment; None: nothing answers


class ComparedMoment(NamedTuple):
    """All that starts together; each grace note or rake stroke is a moment of its own."""

    at: int  # units of the common clock
    lead: int  # n-th stolen stroke before the beat; 0: on it
    notes: tuple[SoundingNote, ...]  # from the thickest string


def compared_moments(timeline: Timeline, factor: int) -> list[ComparedMoment]:
    """Return a lick's moments in order; `factor` units of the common clock make a grain."""
    found: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        found.setdefault((sound.start, -sound.lead), []).append(sound)
    return [ComparedMoment(start * factor, -lead, tuple(found[start, lead])) for start, lead in sorted(found)]


def align_moments(
    mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment], semitones: int, quarter: int, limit: int = _FAR
) -> tuple[int, list[Link]]:
    """Return the cost of the cheapest way to read one as the other, and its links. `quarter` is a quarter note in units; 0 leaves time out.

    A reading that costs `limit` or more is of no use, so the band is kept narrow then, and no links are given where it shows early.
    """
    table, rows, columns = _table(mine, theirs, semitones)
    apart = abs(len(mine) - len(theirs))
    band = apart + _FIRST_BAND
    widest = min(max(len(mine), len(theirs)), apart + (_LAST_BAND if limit == _FAR else _SECOND_BAND))
    while True:
        cost, links = _within(mine, theirs, table, rows, columns, quarter, band, limit)
        outside = GAP * (2 * (band + 1) - apart)  # the least that any path costs which leaves the band
        if band >= widest or min(cost, limit) <= outside:
            return cost, links
        band = min(3 * band, max(widest, band + 1))


def _table(
    mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment], semitones: int
) -> tuple[list[list[int]], list[int], list[int]]:
    """Return the costs between kinds of moments, and the kind of each: a phrase has few."""
    kinds_mine, rows = _kinds(mine)
    kinds_theirs, columns = _kinds(theirs)
    table = [[pair_chord_notes(a.notes, b.notes, semitones)[0] for b in kinds_theirs] for a in kinds_mine]
    return table, rows, columns


def _kinds(phrase: Sequence[ComparedMoment]) -> tuple[list[ComparedMoment], list[int]]:
    seen: dict[object, int] = {}
    kinds: list[ComparedMoment] = []
    numbers: list[int] = []
    for moment in phrase:
        key = tuple(
            (
                s.string, s.pitch, s.kind == "note", s.dead, id(s.begin),
                tuple((id(shape.technique), shape.amount) for shape in s.shapes),
            )
            for s in moment.notes
        )  # fmt: skip
        number = seen.setdefault(key, len(seen))
        if number == len(kinds):
            kinds.append(moment)
        numbers.append(number)
    return kinds, numbers


def _within(
    mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment], table: list[list[int]], rows: list[int], columns: list[int],
    quarter: int, band: int, limit: int,
) -> tuple[int, list[Link]]:  # fmt: skip
    """Return the cheapest path that keeps within `band` of the diagonal.

    It is the innermost loop of a comparison, so that it is kept in one function.
    """
    n, m = len(mine), len(theirs)
    starts = [moment.at for moment in theirs]
    alone = [GAP * len(moment.notes) for moment in theirs]
    before = [_FAR] * (m + 1)
    before[0] = 0
    for j in range(1, min(m, band) + 1):
        before[j] = before[j - 1] + alone[j - 1]
    came = [bytearray(b"\2" * (m + 1))]  # 0: paired, 1: mine alone, 2: theirs alone
    for i in range(1, n + 1):
        at, costs, gap = mine[i - 1].at, table[rows[i - 1]], GAP * len(mine[i - 1].notes)
        row, steps = [_FAR] * (m + 1), bytearray(m + 1)
        low = max(1, i - band)
        if low == 1 and i <= band:
            row[0], steps[0] = before[0] + gap, 1
        left = row[low - 1]
        for j in range(low, min(m, i + band) + 1):
            best = before[j - 1] + costs[columns[j - 1]]
            if quarter:
                off = at - starts[j - 1]
                off = (off if off >= 0 else -off) * QUARTER_OFF // quarter
                best += off if off < MOST_OFF else MOST_OFF
            step, other = 0, before[j] + gap
            if other < best:
                best, step = other, 1
            other = left + alone[j - 1]
            if other < best:
                best, step = other, 2
            row[j] = left = best
            steps[j] = step
        if limit < _FAR and min(row) >= limit:
            return limit, []
        before = row
        came.append(steps)
    return before[m], _path(came, n, m)


def _path(came: list[bytearray], i: int, j: int) -> list[Link]:
    links: list[Link] = []
    while i or j:
        step = came[i][j]
        if step == 0:
            i, j = i - 1, j - 1
            links.append((i, j))
        elif step == 1:
            i -= 1
            links.append((i, None))
        else:
            j -= 1
            links.append((None, j))
    links.reverse()
    return links
