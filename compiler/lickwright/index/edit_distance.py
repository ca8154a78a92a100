"""How alike two phrases are: the notes that one would have to change, add or leave out to be the other.

In: the moments of two phrases (`analysis/fingerprint.py`). Out: an edit cost and what it is made of (Levenshtein's distance with weights, banded). A note
more, less or of another pitch costs 1; one that differs only in the time to the next, or in what is struck with it, costs a half; counted here in
halves. The second phrase may be moved as a whole and its note values doubled or halved, which costs nothing. Licks and index are not known here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.analysis.fingerprint import FEWEST, Moments, piece_size, unpack_moments

NOTE, PART = 2, 1  # what a note costs, and its length or its chord alone
_FAR = 1 << 30
_MOST = 120  # the highest limit, in halves: very long licks that differ everywhere would take minutes
_GUESSES = 4  # ways to lay one beside the other that are tried (estimate)


class PreparedPhrase(NamedTuple):
    """A phrase made ready to be compared."""

    notes: int
    steps: bytes  # semitones from each moment to the next, modulo 256
    moments: Moments
    tokens: list[int]  # a number a moment: pitch, chord and wait side by side


class Likeness(NamedTuple):
    """The edits that make the second phrase of the first."""

    cost: int  # halves of a note
    other: int  # notes of another pitch, or chords of other notes
    more: int  # notes that only the second has
    fewer: int  # notes that only the first has
    lengths: int  # notes that differ only in the time to the next
    semitones: int  # by which the second lies above the first, both counted from their first notes
    share: float  # of the longer one that is the same, 0 to 1


IDENTICAL = Likeness(0, 0, 0, 0, 0, 0, 1.0)  # nothing differs


def prepare_phrase(moments: bytes) -> PreparedPhrase:
    """Return a phrase ready to be compared, from its moments as the index keeps them."""
    read = unpack_moments(moments)
    steps = bytes([b - a & 255 for a, b in zip(read.pitches, read.pitches[1:], strict=False)])
    return PreparedPhrase(len(read.pitches), steps, read, _tokens(read, 0, 1.0))


def near_limit(notes: int) -> int:
    """Return the most that two phrases of so many notes may differ in to be called near, in halves: a note in eight, and half a one (estimate).

    So few edits leave one of the pieces whole by which near phrases are looked for (`fingerprint.separate_step_grams`).
    """
    return (notes + 4) // 4 if notes >= 2 * FEWEST else 0


def edit_cost(one: PreparedPhrase, other: PreparedPhrase, limit: int) -> int | None:
    """Return the cost of making the second of the first, in halves; None if that is more than `limit`."""
    limit = min(limit, _MOST)
    best = None
    for semitones, factor in _guesses(one, other, limit // NOTE):
        a, b = one.tokens, _beside(other, semitones, factor)
        rows = _table(a, b, limit if best is None else best - 1)
        if rows is not None:
            best = rows[-1][-1]
            if not best:
                return 0
    return best


def edit_likeness(one: PreparedPhrase, other: PreparedPhrase, limit: int) -> Likeness | None:
    """Return the cost, as `edit_cost` does, with what it is made of."""
    best: Likeness | None = None
    limit = min(limit, _MOST)
    for semitones, factor in _guesses(one, other, limit // NOTE):
        a, b = one.tokens, _beside(other, semitones, factor)
        rows = _table(a, b, limit if best is None else best.cost - 1, whole=True)
        if rows is not None:
            counts = _counted(rows, a, b)
            share = 1 - rows[-1][-1] / (NOTE * max(len(a), len(b)))
            best = Likeness(rows[-1][-1], *counts, semitones, share)
    return best


def _guesses(one: PreparedPhrase, other: PreparedPhrase, shifted: int) -> list[tuple[int, float]]:
    """Return the semitones and the factors of note values by which the second may lie beside the first, from the pieces they share.

    `shifted`: moments by which a piece may have moved at the most.
    """
    size = piece_size(one.notes)
    found: dict[tuple[int, float], None] = {}
    for i in range(0, one.notes - size + 1, size):
        piece = one.steps[i : i + size - 1]
        j = other.steps.find(piece, max(0, i - shifted), i + shifted + size - 1)
        if j < 0:
            continue
        semitones = other.moments.pitches[j] - one.moments.pitches[i]
        mine, theirs = sum(one.moments.waits[i : i + size - 1]), sum(other.moments.waits[j : j + size - 1])
        found[semitones, mine / theirs if theirs and mine / theirs in (0.25, 0.5, 2.0, 4.0) else 1.0] = None
        if len(found) == _GUESSES:
            break
    return list(found)


def _beside(other: PreparedPhrase, semitones: int, factor: float) -> list[int]:
    """Return the second phrase's tokens when it lies beside the first."""
    if not semitones and factor == 1.0:
        return other.tokens
    return _tokens(other.moments, semitones, factor)


def _tokens(moments: Moments, down: int, factor: float) -> list[int]:
    pitches, chords, waits = moments
    if factor != 1.0:
        waits = [int(wait * factor) & 0xFFFF for wait in waits]
    return [p - down << 24 | c << 16 | w for p, c, w in zip(pitches, chords, waits, strict=True)]


def _differ(x: int, y: int) -> int:
    """Return the cost of one moment in the place of another; the last note has no time to the next, so none is compared."""
    if x == y:
        return 0
    if x >> 24 != y >> 24:
        return NOTE
    chord = PART if (x ^ y) & 0xFF0000 else 0
    return chord + (PART if x & 0xFFFF != y & 0xFFFF and x & 0xFFFF and y & 0xFFFF else 0)


def _table(a: Sequence[int], b: Sequence[int], limit: int, whole: bool = False) -> list[list[int]] | None:
    """Return the costs of every beginning against every other, as far as they matter; None if all cost more than `limit`.

    What the two have in common at both ends is passed over, and only the last row is returned, unless the `whole` table is wanted.
    """
    if not whole:
        a, b = _trimmed(a, b)
    n, m = len(a), len(b)
    band = limit // NOTE
    if abs(n - m) > band:
        return None
    row = [j * NOTE if j <= band else _FAR for j in range(m + 1)]
    rows = [row]
    for i in range(1, n + 1):
        low, high = max(1, i - band), min(m, i + band)
        row = _next_row(row, a[i - 1], b, i * NOTE if i <= band else _FAR, low, high)
        if min(row[max(0, i - band) : high + 1]) > limit:
            return None
        if whole:
            rows.append(row)
        else:
            rows[0] = row
    return rows if row[m] <= limit else None


def _next_row(before: Sequence[int], x: int, b: Sequence[int], first: int, low: int, high: int) -> list[int]:
    """Return the row of the table for the moment `x`, from the row `before`; `first` is its cost against no moment."""
    row = [_FAR] * len(before)
    row[0] = first
    left = row[low - 1]
    for j in range(low, high + 1):
        y = b[j - 1]
        best = before[j - 1] + (0 if x == y else _differ(x, y))
        if before[j] + NOTE < best:
            best = before[j] + NOTE
        if left + NOTE < best:
            best = left + NOTE
        row[j] = left = best
    return row


def _trimmed(a: Sequence[int], b: Sequence[int]) -> tuple[Sequence[int], Sequence[int]]:
    start, end = 0, min(len(a), len(b))
    while start < end and a[start] == b[start]:
        start += 1
    last = 0
    while last < end - start and a[-1 - last] == b[-1 - last]:
        last += 1
    return a[start : len(a) - last], b[start : len(b) - last]


def _counted(rows: Sequence[Sequence[int]], a: Sequence[int], b: Sequence[int]) -> tuple[int, int, int, int]:
    """Return the notes of another pitch, more, fewer, and of another length, on the cheapest way through the table."""
    kinds = list(_way_back(rows, a, b))
    return kinds.count("other"), kinds.count("more"), kinds.count("fewer"), kinds.count("length")


def _way_back(rows: Sequence[Sequence[int]], a: Sequence[int], b: Sequence[int]) -> Iterator[str]:
    """Yield the kind of each edit on the cheapest way, from the end."""
    i, j = len(a), len(b)
    while i or j:
        differ = _differ(a[i - 1], b[j - 1]) if i and j else _FAR
        if i and j and rows[i][j] == rows[i - 1][j - 1] + differ:
            i, j = i - 1, j - 1
            if differ:
                yield _kind_of_change(a[i], b[j], differ)
        elif i and rows[i][j] == rows[i - 1][j] + NOTE:
            i -= 1
            yield "fewer"
        else:
            j -= 1
            yield "more"


def _kind_of_change(x: int, y: int, cost: int) -> str:
    return "length" if cost == PART and not (x ^ y) & 0xFF0000 else "other"
