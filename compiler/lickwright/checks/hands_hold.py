"""What is down on the neck at one time, and whether a hand can hold it.

In: places. Out: what they ask of a hand, in millimetres and fingers. `hands_grip` asks this of what is struck and held together,
`hands_ring` of what is to ring on. Makes no findings.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from lickwright.hand.fingering_costs import barre_groups
from lickwright.hand.measures import Hand
from lickwright.timeline.model import SoundingNote

HoldPlaces = tuple[tuple[int, int], ...]  # (string, fret), from the thickest string


class HandHold(NamedTuple):
    """What a set of places asks of a hand."""

    span: float  # mm, index to little finger
    low: int  # the lowest fret held
    high: int
    fingers: int  # that it takes, the thumb not counted
    split: bool  # one barre more would do, but for an open string or a lower note inside

    def possible(self, hand: Hand) -> bool:
        """Return whether this hand can hold it at all."""
        return self.span <= hand.hard and self.fingers <= 4


@lru_cache(maxsize=4096)
def judge_hold(places: HoldPlaces, hand: Hand) -> HandHold:
    """Return what places that are down at one time ask of a hand; at least one is fretted, open strings may be among them."""
    held = [n for n, (_, fret) in enumerate(places) if fret]
    frets = [places[n][1] for n in held]
    low, high = min(frets), max(frets)
    span = _span(places, low, high, hand) if high > low else 0.0
    covers = barre_groups(places, held)
    needed = len(covers)
    if needed > 4 and places[held[0]][0] >= 5 and places[held[0]][1] <= low + 1:  # the thumb takes the thickest
        needed = len(barre_groups(places, held[1:]))
    return HandHold(span, low, high, needed, needed > 4 and len(set(frets)) <= 4)


def _span(places: HoldPlaces, low: int, high: int, hand: Hand) -> float:
    """Return the mm between the lowest and the highest fret, on the two strings of them that are nearest to each other."""
    lowest, highest = ([string for string, fret in places if fret == end] for end in (low, high))
    return hand.span(low, high, min(abs(a - b) for a in lowest for b in highest))


class FingerPlace(NamedTuple):
    """One place that is down, with the sound that it is down for."""

    string: int
    fret: int
    sound: SoundingNote
    finger: str | None


def finger_down(sound: SoundingNote) -> FingerPlace:
    """Return where the finger is that plays a sound."""
    return FingerPlace(sound.string, sound.fret or 0, sound, sound.finger)


def hold_places(down: Sequence[FingerPlace]) -> HoldPlaces:
    """Return the places alone, each once, from the thickest string."""
    return tuple(sorted({(d.string, d.fret) for d in down}, reverse=True))
