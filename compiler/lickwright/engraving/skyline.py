"""The skyline of a system: the highest drawn thing over every stretch, so that added items do not touch it.

In: the boxes of drawn items. Out: the y above which a stretch is free. y grows downwards.
"""

from __future__ import annotations

from lickwright.engraving.display_list import Extent


class Skyline:
    """The upper edge of what has been drawn so far."""

    def __init__(self, base: float) -> None:
        self._base = base
        self._boxes: list[Extent] = []

    def add(self, box: Extent) -> None:
        """Takes note of something drawn."""
        self._boxes.append(box)

    def top(self, left: float, right: float) -> float:
        """The y of the highest thing between two places, or of the base."""
        return min([self._base, *(box.top for box in self._boxes if box.left < right and left < box.right)])  # fmt: skip

    def rise(self, base: float) -> None:
        """Raise the base: from now on no stretch is free below it."""
        self._base = base

    @property
    def highest(self) -> float:
        """The y of the highest thing of all."""
        return min([self._base, *(box.top for box in self._boxes)])
