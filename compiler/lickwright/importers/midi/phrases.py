"""A long track taken apart at its rests.

In: the bars of a draft. Out: the bars of each phrase. A phrase ends where nothing sounds for half a bar or more; one that ends in the bar in which the next
begins leaves that bar to both, each with its own notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.importers.draft import DraftBar

_LEAST_REST = Fraction(1, 2)  # of a bar
_FEWEST = 2  # notes of a phrase; fewer belong to the one before


def phrase_bars(bars: Sequence[DraftBar]) -> list[tuple[DraftBar, ...]]:
    """Return the bars of each phrase, in order."""
    starts, at = [], Fraction(0)
    for bar in bars:
        starts.append(at)
        at += bar.length or Fraction(1)
    phrases: list[list[tuple[int, int]]] = []  # of each its groups, as indices of bar and group
    until = Fraction(-1)
    for n, bar in enumerate(bars):
        for k, group in enumerate(bar.groups):
            start = starts[n] + group.at
            rest = start - until
            if not phrases or (rest >= (bar.length or Fraction(1)) * _LEAST_REST and len(phrases[-1]) >= _FEWEST):
                phrases.append([])
            phrases[-1].append((n, k))
            until = max(until, *(start + note.length for note in group.notes))
    return [_bars(bars, starts, phrase) for phrase in phrases] or [tuple(bars)]


def _bars(
    bars: Sequence[DraftBar], starts: Sequence[Fraction], phrase: Sequence[tuple[int, int]]
) -> tuple[DraftBar, ...]:
    own = set(phrase)
    first, last = phrase[0][0], phrase[-1][0]
    end = max(
        starts[n] + bars[n].groups[k].at + max(note.length for note in bars[n].groups[k].notes) for n, k in phrase
    )
    while last + 1 < len(bars) and starts[last + 1] < end:
        last += 1
    return tuple(
        replace(bars[n], groups=tuple(group for k, group in enumerate(bars[n].groups) if (n, k) in own))
        for n in range(first, last + 1)
    )
