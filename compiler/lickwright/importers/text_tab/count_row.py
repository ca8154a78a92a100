"""A row of counts: which column is which instant of its bar.

In: the words of one bar, and its meter. Out: instants in whole notes by column. The inverse of `music/syllables.py`, and more forgiving:
counts that other people
write (`1 + 2 +`, `1 2 3 4 5 6` in 6/8) are read too.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from lickwright.importers.text_tab.rows import CountWord
from lickwright.music.rhythm import Meter

_QUARTERS = {
    "e": Fraction(1, 4),
    "&": Fraction(1, 2),
    "a": Fraction(3, 4),
    "trip": Fraction(1, 3),
    "let": Fraction(2, 3),
}
_HEADS = {True: {"&": Fraction(1, 3), "a": Fraction(2, 3)}, False: {"&": Fraction(1, 2)}}


def counted_instants(words: Sequence[CountWord], meter: Meter) -> dict[int, Fraction]:
    """Return where each word of a bar is, in whole notes from the start of the bar, by column.

    What has no place of its own (`.`, numbers within a beat) parts the time between its neighbors evenly.
    """
    if _counts_units(words, meter):
        return {word.x: (int(word.word) - 1) * Fraction(1, meter.unit) for word in words}
    found: dict[int, Fraction] = {}
    for number, inside in _beats(words, meter):
        places = _places([word for _, word in inside], meter.compound)
        for (x, _), place in zip(inside, places, strict=True):
            if x is not None:
                found[x] = (number + place) * meter.beat
    return found


def _counts_units(words: Sequence[CountWord], meter: Meter) -> bool:
    """Return True where the numbers count the meter's units and not its beats: `1 2 3 4 5 6` in 6/8."""
    numbers = [word.word for word in words if word.word.isdigit()]
    return meter.compound and len(numbers) == len(words) > 1 and max(map(int, numbers)) > len(meter.pulses)


Word = tuple[int | None, str]


def _beats(words: Sequence[CountWord], meter: Meter) -> list[tuple[int, list[Word]]]:
    """Return the beats, from 0, each with its words, of which the first is its number.

    What stands before the first number belongs to the beat before that, or to the last one of the bar (a pick-up).
    """
    said: list[Word] = [(word.x, word.word) for word in words]
    starts, k = [], 0
    while k < len(said):
        if said[k][1].lstrip("|")[:1].isdigit():
            starts.append(k)
        if said[k][1].endswith("*"):
            beat = int(said[starts[-1]][1].strip("|*")) if starts else 0
            k = _numbered_end(said, k + 1, beat) - 1
        k += 1
    numbers = _beat_numbers([said[start][1] for start in starts], meter)
    found: list[tuple[int, list[Word]]] = []
    if said and starts[:1] != [0]:
        lead = said[: starts[0] if starts else len(said)]
        found.append((numbers[0] - 1 if numbers else len(meter.pulses) - 1, [(None, "1"), *lead]))
    ends = [*starts[1:], len(said)][: len(starts)]
    found += [(number, said[start:end]) for number, start, end in zip(numbers, starts, ends, strict=True)]
    return found


def _beat_numbers(words: Sequence[str], meter: Meter) -> list[int]:
    """Return the beats, from 0, of words that begin with one; a `|` begins the meter's next group, which is counted from 1 again."""
    numbers: list[int] = []
    group = 0
    for word in words:
        group += word.startswith("|")
        before = sum(meter.groups[:group]) if group and not meter.compound else 0
        numbers.append(before + int(word.strip("|*")) - 1)
    return numbers


def _numbered_end(said: Sequence[Word], k: int, beat: int) -> int:
    """Return where the numbers 2 3 4 that part a beat end; the number of the next beat is none of them."""
    first = k
    while k < len(said) and said[k][1] == str(k - first + 2):
        k += 1
    parts = k - first + 1
    follows = k < len(said) and said[k][1].strip("*|") == str(beat + 1)
    return first + beat - 1 if not follows and 2 <= beat < parts and k < len(said) else k


def _places(words: Sequence[str], compound: bool) -> list[Fraction]:
    """Return the place of each word in its beat."""
    heads = _HEADS[compound]
    named: list[Fraction | None]
    if not any(word.strip("*") in heads for word in words):
        named = [Fraction(0), *(None if compound else _QUARTERS.get(word) for word in words[1:])]
    else:
        named = _in_shares(words, heads, compound)
    named.append(Fraction(1))
    return [_between(named, k) for k in range(len(words))]


def _in_shares(words: Sequence[str], heads: dict[str, Fraction], compound: bool) -> list[Fraction | None]:
    share, start = Fraction(1, 3 if compound else 2), Fraction(0)
    found: list[Fraction | None] = []
    for k, word in enumerate(words):
        if k == 0 or word.strip("*") in heads:
            start = heads.get(word.strip("*"), Fraction(0)) if k else Fraction(0)
            found.append(start)
        elif word in ("trip", "let"):
            found.append(start + share * _QUARTERS[word])
        else:
            found.append(start + share / 2 if word in ("e", "a") else None)
    return found


def _between(places: Sequence[Fraction | None], k: int) -> Fraction:
    here = places[k]
    if here is not None:
        return here
    known = [i for i, place in enumerate(places) if place is not None]
    before, after = max(i for i in known if i < k), min(i for i in known if i > k)
    a, b = places[before], places[after]
    assert a is not None and b is not None
    return a + (b - a) * Fraction(k - before, after - before)


def counted_beats(bars: Sequence[Sequence[CountWord]]) -> int:
    """Return the highest number that most bars count to; 0 without counts."""
    highest = [
        max((int(w.word.strip("|*")) for w in words if w.word.strip("|*").isdigit()), default=0) for words in bars
    ]
    found = [number for number in highest if number]
    return max(set(found), key=lambda number: (found.count(number), number)) if found else 0
