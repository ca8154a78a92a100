"""Where a scale's notes lie on the strings.

In: a tonic, a scale, open strings. Out: places (string, fret), either so many to a string or all in a window of frets,
with what such a window leaves out or holds twice. Frets are computed from pitches, so that the third between the G and B
strings needs no rule. Boxes are named and numbered in `scale_boxes.py`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

MAX_FRET = 36  # of any neck that the notation allows
MAX_CAPO = 24
USUAL_FRETS = 22  # the default: most electric guitars have 21, 22 or 24

Place = tuple[int, int]  # (string, fret); string 1 is the thinnest
Open = tuple[int, ...]  # nominal MIDI numbers of the open strings, index 0 is string 1


class StringRun(NamedTuple):
    """Consecutive scale notes, the same number on each string."""

    places: frozenset[Place]
    low: int  # lowest fret
    high: int  # highest fret
    drift: int  # frets by which the first note moves from the thickest string to the thinnest

    def shifted(self, frets: int) -> StringRun:
        """Return the same run so many frets up the neck."""
        moved = frozenset((string, fret + frets) for string, fret in self.places)
        return StringRun(moved, self.low + frets, self.high + frets, self.drift)


@lru_cache(maxsize=4096)
def lay_out_per_string(
    count: int, start: int, tonic: int, semitones: tuple[int, ...], opens: Open, anchor: int
) -> StringRun:
    """Return `count` consecutive notes on each string, the `start`-th degree (from 0) first on string `anchor`.

    It is the lowest placement on the neck without a negative fret: every pentatonic box (count 2), and three notes a
    string. Strings thicker than the anchor are filled downwards, so a seventh string changes nothing.
    """
    fret = (tonic - opens[anchor - 1]) % 12  # of the tonic on the anchor
    places = []
    for string, open_pitch in enumerate(opens, 1):
        first = start + count * (anchor - string)
        for step in range(first, first + count):
            octave, index = divmod(step, len(semitones))
            pitch = opens[anchor - 1] + fret + 12 * octave + semitones[index]
            places.append((string, pitch - open_pitch))
    drift = places[0][1] - places[-count][1]
    frets = [place[1] for place in places]
    up = -12 * (min(frets) // 12)  # whole octaves, until the lowest fret is 0 to 11
    return StringRun(frozenset(places), min(frets), max(frets), drift).shifted(up)


class Window(NamedTuple):
    """All scale notes in a window of frets, with gaps and duplicates."""

    low: int
    high: int
    places: frozenset[Place]
    gaps: tuple[int, ...]  # MIDI numbers of scale notes between its lowest and highest that no string offers
    duplicates: tuple[int, ...]  # MIDI numbers that two or more strings offer


@lru_cache(maxsize=4096)
def window_on_strings(low: int, high: int, tonic: int, semitones: tuple[int, ...], opens: Open) -> Window:
    """Return every scale note on frets `low` to `high`, with gaps and duplicates; open strings only where `low` is 0."""
    classes = {(tonic + interval) % 12 for interval in semitones}
    places = [
        (string, fret)
        for string, open_pitch in enumerate(opens, 1)
        for fret in range(low, high + 1)
        if (open_pitch + fret) % 12 in classes
    ]
    pitches = sorted(opens[string - 1] + fret for string, fret in places)
    offered = set(pitches)
    between = range(pitches[0], pitches[-1]) if pitches else ()
    gaps = tuple(pitch for pitch in between if pitch % 12 in classes and pitch not in offered)
    duplicates = tuple(pitch for pitch in sorted(offered) if pitches.count(pitch) > 1)
    return Window(low, high, frozenset(places), gaps, duplicates)


def all_places(low: int, high: int, strings: int) -> frozenset[Place]:
    """Return every place on frets `low` to `high`: what a window holds without a key."""
    return frozenset((string, fret) for string in range(1, strings + 1) for fret in range(low, high + 1))


_HAND = 4  # frets under the fretting hand, one finger each


def blue_places(pc: int, low: int, high: int, places: frozenset[Place], opens: Open, frets: int) -> frozenset[Place]:
    """Return where the blue note counts as inside a box: in its window, or one fret outside beside a note of the box.

    Published diagrams differ on the second copies, so all are taken, except one that the four frets under the hand
    already hold on another string (box 1: the next string has it at the window's edge).
    """
    found = {
        (string, fret)
        for string, open_pitch in enumerate(opens, 1)
        for fret in range(max(low - 1, 0), min(high + 1, frets) + 1)
        if (open_pitch + fret) % 12 == pc
    }
    in_hand = {opens[string - 1] + fret for string, fret in found if low <= fret < low + _HAND}
    return frozenset(place for place in found if _accepted(place, low, high, places, in_hand, opens))


def _accepted(place: Place, low: int, high: int, places: frozenset[Place], in_hand: set[int], opens: Open) -> bool:
    string, fret = place
    if low <= fret <= high:
        return True
    beside = (string, fret - 1) in places or (string, fret + 1) in places
    return beside and opens[string - 1] + fret not in in_hand
