"""Families of licks: those that `move` wrote, which say in their field `from` what they were moved from.

In: titles and origins. Out: the licks that stand for themselves. A family is no duplicate: it is meant to be there.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from lickwright.core.slugs import fold_title

Lick = TypeVar("Lick")


class Lineage(NamedTuple):
    """What tells a lick's family."""

    title: str
    moved_from: str  # "" for a lick that was not moved


def without_moved_copies(licks: Iterable[tuple[Lineage, Lick]]) -> list[Lick]:
    """The licks in their order, less those that were moved from another of them, or from the same one as an earlier of them."""
    licks = list(licks)
    seen = {fold_title(origin.title) for origin, _ in licks if not origin.moved_from}
    kept: list[Lick] = []
    for origin, lick in licks:
        first = fold_title(origin.moved_from)
        if first and first in seen:
            continue
        if first:
            seen.add(first)
        kept.append(lick)
    return kept
