"""Bars that follow each other, as a sentence names them.

In: numbers of bars. Out: their runs, or words.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.report.console import join_words

_BAR_WORDS = 4  # bars that a sentence names at most


def listed_bars(numbers: Sequence[int]) -> str:
    """Return `bar 2`, `bars 1, 2 and 4`, `bars 1-4 and 6` or `the pick-up and bar 1`; of many the first ones."""
    words = ["the pick-up"] if 0 in numbers else []
    bars = [n for n in numbers if n]
    if bars:
        words.append(f"bar{'s' if len(bars) > 1 else ''} {_run_words(bars)}")
    return join_words(words) if words else ""


def _run_words(bars: Sequence[int]) -> str:
    """Return `1-4, 6 and 8`; of many runs the first ones, and how many bars are left."""
    parts = [part for run in bar_runs(bars) for part in _bar_run(run)]
    left = sum(map(len, parts[_BAR_WORDS:]))
    words = [f"{part[0]}-{part[-1]}" if len(part) > 1 else str(part[0]) for part in parts[:_BAR_WORDS]]
    return join_words([*words, f"{left} more"] if left else words)


def bar_runs(numbers: Iterable[int]) -> list[list[int]]:
    """Return numbers that follow each other together."""
    found: list[list[int]] = []
    for n in numbers:
        if found and found[-1][-1] == n - 1:
            found[-1].append(n)
        else:
            found.append([n])
    return found


def _bar_run(run: Sequence[int]) -> list[list[int]]:
    """Return a run of bars whole; one of two bars in two, since `2-3` is no shorter than both."""
    return [list(run)] if len(run) > 2 else [[n] for n in run]
