"""A fretting hand on a neck: distances in millimetres, how far it spans, how fast it moves, and the words of caution.

In: a setting (`small`, `medium`, `large`), a scale length, a capo. Out: distances and limits. Every number about hands
stands here, with its source. Knows no notes; whether something is playable is judged by the checks.

Published are finger lengths and spreads (Chatzioglou et al. 2024, 51 young adults), from which the reach of a flat hand
was computed with an assumed distance of the knuckles, and the pace of voluntary rhythm (Fujii et al. 2009). The other
limits are estimates, to be tuned by teachers.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

GUITAR_MM, BASS_MM = 648.0, 864.0  # usual scale lengths, nut to bridge

# Index to little finger, wire to wire, both down. 97 mm is one finger a fret at fret 1, the position every beginner is
# taught; 126 mm, five frets there, is the edge of an average hand (computed from finger lengths: 117 to 129 mm).
FINE_MM, STRETCH_MM, HARD_MM = 98.0, 115.0, 130.0
REACH = {"small": 0.9, "medium": 1.0, "large": 1.1}  # factors on these; an estimate

# What two fingers span, as a share of index to little: from the same lengths and angles of spread.
SHARE = {
    (1, 2): 0.36, (1, 3): 0.64, (1, 4): 1.0, (2, 3): 0.36, (2, 4): 0.74, (3, 4): 0.46,
}  # fmt: skip

# Strings lie 7.5 mm apart at fret 2 and 9.4 at fret 20, linear between; beside the outer two is a margin. Estimates for
# a usual guitar.
_SPACING_MM = (7.5, 9.4)
_SPACING_FRETS = (2, 20)
EDGE_MM = 3.5

# The hand along the neck, mm a second: estimates.
SHIFT_EASY, SHIFT_HARD = 1000.0, 2000.0
HOPS = 6.0  # changes of place a second of one and the same finger; voluntary rhythm ends at 5 to 7 (Fujii et al. 2009)

# Picked notes a second: worth a note, hard, impossible; estimates. A down and an up make one cycle of the hand; the best
# drummers reach 10 cycles (Fujii et al. 2009), what players say of themselves ends at 17 notes. Strokes all one way reach
# half; swept, 22.
PICKING = (10.0, 13.0, 17.0)
ONE_WAY = (5.0, 6.5, 8.5)
SWEEPING = (15.0, 22.0, 22.0)

BIG_BEND = 3.0  # semitones, past which a caution is shown

# General cautions for hard stretches, fast passages and big bends: no promise, no dose, no diagnosis.
CAUTION = (
    "A hard one: warm up with easy, slow playing and build up speed, stretches and bends little by little. "
    "Stop when it hurts or tingles; if it goes on, ask your teacher or a doctor."
)
CAUTION_LADDER = (
    "Warm up with easy, slow playing and climb little by little, with breaks. "
    "Stop when it hurts or tingles; if it goes on, ask your teacher or a doctor."
)
CAUTION_STRETCH = "a hard stretch is optional: warm up, build it up little by little, and stop if it hurts"
CAUTION_FAST = "build up speed little by little, with breaks; stop if it hurts or tingles, and rest"
CAUTION_BEND = "build up big bends little by little, with three fingers behind them, and stop if it hurts"


class Hand(NamedTuple):
    """One hand on one neck."""

    reach: str  # small, medium, large
    scale_mm: float  # nut to bridge
    fine: float  # mm, index to little finger: up to here without a stretch
    stretch: float  # mm: up to here with one
    hard: float  # mm: up to here with a hard one; beyond, it cannot be held together
    capo: int = 0  # frets are named from here, which makes them narrower

    def fret_mm(self, fret: float) -> float:
        """Return the distance in mm of a fret, as named, from the nut."""
        return fret_mm(fret + self.capo, self.scale_mm)

    def span(self, low: float, high: float, strings_apart: float = 0) -> float:
        """Return the distance in mm between two fingertips on frets as named."""
        return span_mm(low + self.capo, high + self.capo, strings_apart, self.scale_mm)


@lru_cache(maxsize=64)
def make_hand(reach: str, scale_mm: float = GUITAR_MM, capo: int = 0) -> Hand:
    """Return the hand of a `reach` setting. Raises KeyError for one that is not in `REACH`."""
    size = REACH[reach]
    return Hand(reach, scale_mm, FINE_MM * size, STRETCH_MM * size, HARD_MM * size, capo)


@lru_cache(maxsize=4096)
def fret_mm(fret: float, scale_mm: float = GUITAR_MM) -> float:
    """Return the distance from the nut to a fret in mm: L (1 - 2^(-n/12)), equal temperament."""
    return float(scale_mm * (1.0 - 2.0 ** (-fret / 12.0)))


def string_spacing_mm(fret: float, scale_mm: float = GUITAR_MM) -> float:
    """Return the distance in mm between neighboring strings at a fret."""
    near, far = (fret_mm(at, scale_mm) for at in _SPACING_FRETS)
    low, high = _SPACING_MM
    return low + (high - low) * (fret_mm(fret, scale_mm) - near) / (far - near)


@lru_cache(maxsize=4096)
def span_mm(low: float, high: float, strings_apart: float = 0, scale_mm: float = GUITAR_MM) -> float:
    """Return the distance in mm between two fingertips, wire to wire: along the neck and across the strings."""
    along = fret_mm(high, scale_mm) - fret_mm(low, scale_mm)
    across = string_spacing_mm((low + high) / 2, scale_mm) * strings_apart
    return float((along * along + across * across) ** 0.5)
