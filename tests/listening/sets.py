"""All sets of takes by name: what the bench prints and the slow test samples.

A set whose name ends in "held-out" is looked at by its figures only; nothing is tuned on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import corpus
from corpus import Case
from font_takes import FONTS, font_case
from gestures import GESTURES, gesture_case
from lessons import LESSONS, lesson_case

_CASES: dict[str, Callable[[int], Case]] = {
    **{name: partial(font_case, name) for name in FONTS},
    **{name: partial(lesson_case, name) for name in LESSONS},
    **{name: partial(gesture_case, name) for name in GESTURES},
}
NAMES = (*corpus.SETS, *_CASES)


def cases(name: str, count: int, first: int = 0) -> Iterator[Case]:
    """Yield takes of a set by number. Raises Unavailable, where its recordings or programs are not there."""
    if name in corpus.SETS:
        yield from corpus.cases(name, count, first)
    else:
        yield from map(_CASES[name], range(first, first + count))
