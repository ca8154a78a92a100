"""The chord shape inside a box: which of its notes are held at once.

In: the places of a box, the tonic, the open strings. Out: the places of the tonic's chord that one hand can hold, as
players know them: E shape, D shape and so on come out by themselves. Copies no grip.
"""

from __future__ import annotations

from collections.abc import Iterable

from lickwright.music.fretboard import Open, Place

_FINGERS = 4
_FEWEST = 3  # strings that make a chord


def grip(places: Iterable[Place], tonic: int, third: int, opens: Open) -> frozenset[Place]:
    """One chord note a string from the thickest string that has the tonic; empty where the box holds no whole chord.

    Where a string offers two chord notes, the one that was still missing is taken, the fifth before the third, as the
    lower register wants it; else the lower fret. Strings that four fingers cannot reach as well are left out from the
    thin end.
    """
    offers: dict[int, dict[int, int]] = {}  # string: {semitones above the tonic: fret}
    for string, fret in sorted(places, reverse=True):  # higher frets first, so that the lower copy stays
        above = (opens[string - 1] + fret - tonic) % 12
        if above in (0, third, 7):
            offers.setdefault(string, {})[above] = fret
    first = max((string for string, offer in offers.items() if 0 in offer), default=0)
    held: list[Place] = []
    sounding: set[int] = set()
    for string in range(first, 0, -1):
        offer = offers.get(string)
        if offer is None:
            break  # a string to be skipped in the middle: the shape ends before it
        above = 0 if string == first else _choice(offer, third, sounding)
        sounding.add(above)
        held.append((string, offer[above]))
    while _fingers(held) > _FINGERS:
        held.pop()
    whole = {(opens[string - 1] + fret - tonic) % 12 for string, fret in held} == {0, third, 7}
    return frozenset(held) if whole and len(held) >= _FEWEST else frozenset()


def _choice(offer: dict[int, int], third: int, sounding: set[int]) -> int:
    missing = [above for above in (7, third, 0) if above in offer and above not in sounding]
    return missing[0] if missing else min(offer, key=lambda above: offer[above])


def _fingers(held: list[Place]) -> int:
    """How many are needed: the lowest fret is one barre, or open strings; neighbours on one fret share a finger."""
    lowest = min((fret for _, fret in held), default=0)
    count = 1 if lowest > 0 else 0
    before: Place | None = None
    for string, fret in held:
        if fret != lowest and before != (string + 1, fret):
            count += 1
        before = (string, fret)
    return count
