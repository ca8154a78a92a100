"""Chord shapes: which notes of a box are held at once.

In: the places of a box, a chord, the open strings. Out: the places that one hand can hold, as players know them: E shape,
D shape and so on come out by themselves. Copies no grip.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lickwright.music.chord import Chord
from lickwright.music.fretboard import Open, Place

_FINGERS = 4
_FEWEST = 3  # strings that make a chord


def triad_grip(places: Iterable[Place], tonic: int, third: int, opens: Open) -> frozenset[Place]:
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


# --- any chord -------------------------------------------------------------------------------------------------------

_REACH = 4  # frets that a held shape spans
_WIDEST = 6  # strings of a shape, on guitars that have more as well


def fullest_voicing(places: Iterable[Place], chord: Chord, opens: Open) -> frozenset[Place]:
    """The fullest way to hold a chord with these places; empty where one hand cannot.

    The lowest note is the bass, then comes a chord note on every string to the thin end, or to where fingers run out;
    one string inside may be left out. Every note of the chord sounds, but for a perfect fifth, and a ninth under an
    eleventh or thirteenth, that there are too few strings for.
    """
    best: tuple[tuple[float, ...], frozenset[Place]] = ((), frozenset())
    for shape in _shapes(places, chord, opens):
        merit = _merit(shape, chord, opens)
        if merit is not None and (not best[1] or merit > best[0]):
            best = merit, frozenset(shape)
    return best[1]


def _shapes(places: Iterable[Place], chord: Chord, opens: Open) -> Iterator[list[Place]]:
    """Every way from the bass to thinner strings within the reach of a hand, one string inside left out at most."""
    bass = (chord.bass or chord.root).pc
    offers: dict[int, list[int]] = {}
    for string, fret in sorted(places):
        offers.setdefault(string, []).append(fret)
    for first in sorted(offers, reverse=True):
        for fret in offers[first]:
            if (opens[first - 1] + fret) % 12 == bass:
                yield from _onwards([(first, fret)], False, offers)


def _onwards(held: list[Place], skipped: bool, offers: dict[int, list[int]]) -> Iterator[list[Place]]:
    """The shape so far, and every longer one."""
    yield held
    if len(held) == _WIDEST:
        return
    fretted = [fret for _, fret in held if fret]
    for string in (held[-1][0] - 1, *([] if skipped else [held[-1][0] - 2])):
        for fret in offers.get(string, ()):
            if not fret or all(abs(fret - other) < _REACH for other in fretted):
                yield from _onwards([*held, (string, fret)], skipped or string != held[-1][0] - 1, offers)


def _merit(shape: list[Place], chord: Chord, opens: Open) -> tuple[float, ...] | None:
    """More is better, None where no hand holds it or a note is missing that the chord is named for."""
    fretted = [fret for _, fret in shape if fret]
    missing = shape[0][0] - shape[-1][0] + 1 - len(shape)
    if len(shape) < _FEWEST or missing > 1 or _fingers(shape) > _FINGERS:
        return None
    if fretted and max(fretted) - min(fretted) >= _REACH:
        return None
    if fretted and any(fret == 0 for _, fret in shape) and max(fretted) > _REACH:
        return None  # open strings sound with the first frets, not with a hand far up
    sounding = [(opens[string - 1] + fret - chord.root.pc) % 12 for string, fret in shape]
    wanted = {interval % 12 for interval in chord.intervals}
    spare = {7} if len(wanted) > 3 else set()
    spare |= {2} if {14, 17} <= set(chord.intervals) or {14, 21} <= set(chord.intervals) else set()
    left_out = wanted - set(sounding)
    if not left_out <= spare:
        return None
    pitches = [opens[string - 1] + fret for string, fret in shape]
    climbs = all(low < high for low, high in zip(pitches, pitches[1:], strict=False))
    plain = {0, 3, 4, 5, 7}
    coloured = sum(sounding.count(above) - 1 for above in set(sounding) - plain)  # a seventh twice adds nothing
    thirds = sum(sounding.count(above) - 1 for above in set(sounding) & {3, 4, 5})
    fifth_above = sounding[1] in (0, 6, 7, 8)
    return (
        climbs, -missing, -len(left_out), len(shape) - coloured, -_fingers(shape), -thirds, fifth_above,
        -(max(fretted, default=0) - min(fretted, default=0)), -sum(fretted),
    )  # fmt: skip


def chord_fingers(places: Iterable[Place]) -> dict[Place, int]:
    """A finger for each place of a held shape, 0 for open strings: from the lowest fret and the thickest string on.

    A finger lies flat over its fret where there would not be enough of them otherwise.
    """
    shape = sorted(places, key=lambda place: (place[1], -place[0]))
    fretted = [place for place in shape if place[1]]
    barre = len(fretted) > _FINGERS
    fingers = {place: 0 for place in shape if not place[1]}
    finger, lowest = 0, min((fret for _, fret in fretted), default=0)
    for n, place in enumerate(fretted):
        flat = barre and n > 0 and place[1] == fretted[n - 1][1] and (place[1] == lowest or finger == _FINGERS)
        finger = finger if flat else min(_FINGERS, finger + 1)
        fingers[place] = finger
    return fingers
