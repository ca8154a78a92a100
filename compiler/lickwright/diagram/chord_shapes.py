"""Chord shapes: which notes of a box one hand holds at once.

In: the places of a box, a chord, the open strings. Out: the places that are held. The shapes follow from rules about
strings and fingers; the known ones (E shape, D shape) result from them and are not listed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lickwright.music.chord import Chord
from lickwright.music.fretboard import Open, Place

_FINGERS = 4
_FEWEST = 3  # strings that make a chord


def triad_grip(places: Iterable[Place], tonic: int, third: int, opens: Open) -> frozenset[Place]:
    """Return a triad as one hand holds it, from the thickest string that has the tonic; empty where the box has none.

    `third` is the semitones of the chord's third. Each string plays one chord note. Where a string offers two, the one
    still missing is taken, the fifth before the third, as is usual in the low register; else the lower fret. Strings
    that four fingers cannot reach as well are left out from the thin end.
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
            break  # the shape ends before a string that would have to be skipped
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
    """Return how many fingers a shape needs: the lowest fret is one barre; neighbors on one fret share a finger."""
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
    """Return the fullest way to hold a chord with these places; empty where one hand cannot.

    The lowest note is the bass; then comes a chord note on every string to the thin end, or to where fingers run out;
    one string inside may be left out. Every note of the chord sounds, except where there are too few strings: then a
    perfect fifth may be missing, or a ninth under an eleventh or thirteenth.
    """
    best: tuple[tuple[float, ...], frozenset[Place]] = ((), frozenset())
    for shape in _shapes(places, chord, opens):
        merit = _merit(shape, chord, opens)
        if merit is not None and (not best[1] or merit > best[0]):
            best = merit, frozenset(shape)
    return best[1]


def _shapes(places: Iterable[Place], chord: Chord, opens: Open) -> Iterator[list[Place]]:
    """Yield every way from the bass to thinner strings within the reach of a hand, with at most one string left out."""
    bass = (chord.bass or chord.root).pc
    offers: dict[int, list[int]] = {}
    for string, fret in sorted(places):
        offers.setdefault(string, []).append(fret)
    for first in sorted(offers, reverse=True):
        for fret in offers[first]:
            if (opens[first - 1] + fret) % 12 == bass:
                yield from _onwards([(first, fret)], False, offers)


def _onwards(held: list[Place], skipped: bool, offers: dict[int, list[int]]) -> Iterator[list[Place]]:
    """Yield the shape so far, and every longer one."""
    yield held
    if len(held) == _WIDEST:
        return
    fretted = [fret for _, fret in held if fret]
    for string in (held[-1][0] - 1, *([] if skipped else [held[-1][0] - 2])):
        for fret in offers.get(string, ()):
            if not fret or all(abs(fret - other) < _REACH for other in fretted):
                yield from _onwards([*held, (string, fret)], skipped or string != held[-1][0] - 1, offers)


def _merit(shape: list[Place], chord: Chord, opens: Open) -> tuple[float, ...] | None:
    """Return how good a shape is, larger is better; None where no hand holds it or an essential note is missing."""
    if not _fits_one_hand(shape):
        return None
    sounding = [(opens[string - 1] + fret - chord.root.pc) % 12 for string, fret in shape]
    left_out = {interval % 12 for interval in chord.intervals} - set(sounding)
    if not left_out <= _dispensable(chord):
        return None
    pitches = [opens[string - 1] + fret for string, fret in shape]
    climbs = all(low < high for low, high in zip(pitches, pitches[1:], strict=False))
    colored = _doubled(sounding, set(sounding) - {0, 3, 4, 5, 7})  # a seventh twice adds nothing
    thirds = _doubled(sounding, {3, 4, 5})
    fifth_above = sounding[1] in (0, 6, 7, 8)
    fretted = [fret for _, fret in shape if fret]
    return (
        climbs, -_skipped(shape), -len(left_out), len(shape) - colored, -_fingers(shape), -thirds, fifth_above,
        -(max(fretted, default=0) - min(fretted, default=0)), -sum(fretted),
    )  # fmt: skip


def _skipped(shape: list[Place]) -> int:
    """Return how many strings between the thickest and the thinnest are not played."""
    return shape[0][0] - shape[-1][0] + 1 - len(shape)


def _fits_one_hand(shape: list[Place]) -> bool:
    if len(shape) < _FEWEST or _skipped(shape) > 1 or _fingers(shape) > _FINGERS:
        return False
    fretted = [fret for _, fret in shape if fret]
    if not fretted:
        return True
    open_far_up = len(fretted) < len(shape) and max(fretted) > _REACH  # open strings sound with the first frets only
    return max(fretted) - min(fretted) < _REACH and not open_far_up


def _dispensable(chord: Chord) -> set[int]:
    """Return the notes, in semitones above the root (0 to 11), that a shape of the chord may leave out."""
    intervals = set(chord.intervals)
    fifth = {7} if len({interval % 12 for interval in intervals}) > 3 else set()
    ninth = {2} if 14 in intervals and intervals & {17, 21} else set()
    return fifth | ninth


def _doubled(sounding: list[int], notes: set[int]) -> int:
    """Return how often `notes` sound beyond the first time each."""
    return sum(sounding.count(note) - 1 for note in notes & set(sounding))


def chord_fingers(places: Iterable[Place]) -> dict[Place, int]:
    """Return a finger for each place of a held shape, 0 for open strings: from the lowest fret and thickest string on.

    A finger lies flat over its fret where there would not be enough fingers otherwise.
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
