"""What is free above a system: the highest thing over every stretch, so that what is added stands clear of it.

In: boxes of what is drawn. Out: the y above which a stretch is free. y grows downwards.
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
        """Raises the base: nothing is free below it any more."""
        self._base = base

    @property
    def highest(self) -> float:
        """The y of the highest thing of all."""
        return min([self._base, *(box.top for box in self._boxes)])
