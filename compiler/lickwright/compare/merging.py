"""Merges the differences of single pairs, so that each one is reported once.

In: the differences of single pairs, in musical order. Out: one for each written place, however often it is played; one for a chord, or for
a word over several notes; one for several notes in a row. Judges nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.compare.match import MatchedNotes
from lickwright.compare.model import Difference, DifferenceKind

_RUN = 4  # notes one after another with the same difference are one thing to say; an estimate
_IN_RUNS = (
    DifferenceKind.MISSING,
    DifferenceKind.EXTRA,
    DifferenceKind.EARLY,
    DifferenceKind.LATE,
    DifferenceKind.STRING,
)
_TOGETHER = (
    DifferenceKind.EARLY,
    DifferenceKind.LATE,
    DifferenceKind.SHORT,
    DifferenceKind.LONG,
    DifferenceKind.TECHNIQUE,
    DifferenceKind.BEND,
    DifferenceKind.INTONATION,
    DifferenceKind.MISSING,
    DifferenceKind.EXTRA,
)


class FoundDifference(NamedTuple):
    """A difference of one pair of notes."""

    met: MatchedNotes
    difference: Difference
    over: bool = False  # it may be one of a word that lasts over several notes
    counts: bool = True  # against the note, in the score
    told: bool = True  # False if another difference covers it


def merge_differences(found: list[FoundDifference]) -> tuple[Difference, ...]:
    """Return the differences of pairs brought together, in musical order."""
    return tuple(_runs(_joined(_once(found))))


def written_key(met: MatchedNotes) -> tuple[object, ...]:
    """Return what names a pair however often it is played: where both notes are written."""
    return tuple((s.slot, s.string, s.lead, s.kind) if s is not None else None for s in (met.mine, met.theirs))


def _once(found: list[FoundDifference]) -> list[FoundDifference]:
    """Return each difference once as written, with how often it is played."""
    first: dict[tuple[object, ...], FoundDifference] = {}
    for one in found:
        d = one.difference
        key = (*_what(d), *written_key(one.met))
        known = first.get(key, one._replace(difference=d._replace(times=0)))
        first[key] = known._replace(difference=known.difference._replace(times=known.difference.times + 1))
    return list(first.values())


def _joined(found: list[FoundDifference]) -> list[FoundDifference]:
    """Return one difference where a chord has the same one on all its strings, or a lasting word is missing over several notes."""
    joined: list[FoundDifference] = []
    for one in found:
        k = next((k for k in range(len(joined) - 1, max(-1, len(joined) - 13), -1) if _belongs(one, joined[k])), None)
        if k is None:
            joined.append(one)
            continue
        known = joined[k].difference
        mine, theirs = known.mine + one.difference.mine, known.theirs + one.difference.theirs
        joined[k] = FoundDifference(one.met, known._replace(mine=mine, theirs=theirs), one.over)
    return joined


def _belongs(one: FoundDifference, known: FoundDifference) -> bool:
    """Return whether a difference is the same as one on another string, or over a note before, and both are one thing."""
    a, b = one.difference, known.difference
    if a.kind not in _TOGETHER or _what(a) != _what(b):
        return False
    return 0 <= one.met.moment - known.met.moment <= (1 if one.over else 0)


def _runs(found: list[FoundDifference]) -> Iterator[Difference]:
    """Yield one difference for each run of a kind: a bar that is left out is one difference and not eight."""
    k = 0
    while k < len(found):
        n = k + 1
        while n < len(found) and _follows(found[n - 1], found[n]):
            n += 1
        run = [one.difference for one in found[k:n]]
        if len(run) < _RUN:
            yield from run
        else:
            mine, theirs = (s for d in run for s in d.mine), (s for d in run for s in d.theirs)
            yield run[0]._replace(mine=tuple(mine), theirs=tuple(theirs), until=run[-1].place)
        k = n


def _follows(before: FoundDifference, one: FoundDifference) -> bool:
    a, b = before.difference, one.difference
    if a.kind not in _IN_RUNS or one.met.moment - before.met.moment > 1 or a.times != b.times:
        return False
    return (a.kind, a.by, a.about, a.moves) == (b.kind, b.by, b.about, b.moves)


def _what(d: Difference) -> tuple[object, ...]:
    """Return what a difference says, wherever it is."""
    return d.kind, d.by, d.lacking, d.added, d.about
