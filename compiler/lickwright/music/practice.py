"""Practice tempos: slow, medium, full, and a ladder that climbs to the full tempo.

In: beats a minute. Out: the tempos at which to practice. The ladder is the one that teachers commonly use: begin where
the lick is clean, climb by a few beats a minute, and after climbing above the target return to it at the end.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

PRACTICE_PERCENTS: dict[str, Fraction] = {
    "slow": Fraction(60),
    "medium": Fraction(80),
    "full": Fraction(100),
}  # per cent
MINUTES = 30  # length of a recording at most
MAX_RUNGS = 60
_NEAREST = Fraction(98, 100)  # of the goal: a rung above that is too small a step to practice
_BARS = re.compile(r"([0-9]{1,4})(?:\s*-\s*([0-9]{1,4}))?\Z")
_LADDER = re.compile(r"([0-9]{1,3})%\s*,\s*([0-9]{1,3})\s*,\s*([0-9]{1,3})%\Z")


class Ladder(NamedTuple):
    """A ladder of tempos: where it begins, how far apart its rungs are, and where it ends."""

    start: int | Fraction = 60  # per cent of the tempo
    step: int = 5  # beats a minute
    top: int | Fraction = 100  # per cent of the tempo

    def rungs(self, bpm: Fraction) -> tuple[Fraction, ...]:
        """Return the beats a minute of each rung, for a lick of `bpm`: `60 65 70 … 120`; the first is a whole number.

        A rung after the first that lies within 2 per cent of the top is left out.
        """
        first, last = Fraction(round(bpm * self.start / 100)), bpm * Fraction(self.top) / 100
        found: list[Fraction] = []
        while first < (last * _NEAREST if found else last) and len(found) < MAX_RUNGS:
            found.append(first)
            first += self.step
        return (*found, last) if self.top <= 100 else (*found, last, bpm)

    def __str__(self) -> str:
        return f"{self.start}%,{self.step},{self.top}%"


def parse_ladder(text: str) -> Ladder:
    """Return the ladder of `60%,5,110%`: from 60 per cent of the tempo by 5 beats a minute to 110 per cent.

    Raises ValueError, in a player's words, for text that is not a ladder.
    """
    match = _LADDER.match(text.strip())
    if match is None:
        raise ValueError(f'"{text}" is not a ladder: write start, step and top, as in {Ladder()}')
    ladder = Ladder(*map(int, match.groups()))
    if not 20 <= ladder.start < ladder.top <= 200:
        raise ValueError(
            f"a ladder goes up, from 20% at the least to 200% at the most, not from {ladder.start}% to {ladder.top}%"
        )
    if ladder.step < 1:
        raise ValueError("a ladder climbs by 1 beat a minute at the least")
    return ladder


def parse_bars(text: str) -> tuple[int, int]:
    """Return first and last bar of `1-2`, or of `3` for one bar alone; a pick-up is bar 0.

    Raises ValueError, in a player's words, for what names no bars.
    """
    match = _BARS.match(text.strip())
    if match is None:
        raise ValueError(f'"{text}" names no bars: write the first and the last, as in 1-2, or one of them')
    first, last = int(match[1]), int(match[2] or match[1])
    if first > last:
        raise ValueError(f"a part goes forward: write {last}-{first}")
    return first, last
