"""Families of licks: those that `lickwright move` wrote, whose field `from` names the lick that they were moved from.

In: titles and origins. Out: the licks without their moved copies. A family is no duplicate: its members are there on purpose.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from lickwright.core.slugs import fold_title

Lick = TypeVar("Lick")


class Lineage(NamedTuple):
    """The title of a lick, and the title of the lick that it was moved from."""

    title: str
    moved_from: str  # "" for a lick that was not moved


def without_moved_copies(licks: Iterable[tuple[Lineage, Lick]]) -> list[Lick]:
    """Return the licks in their order, without those that were moved from another of them or from the same lick as an earlier one."""
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
