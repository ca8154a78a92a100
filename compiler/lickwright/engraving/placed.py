"""One system with everything on it in its place along the staff: what the drawing modules read.

In: the pieces of a system and their scale. Out: a `PlacedSystem`. Lengths are points; the thinnest string's line is at y 0.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.engraving import measures as m
from lickwright.engraving.display_list import DrawnEvent
from lickwright.engraving.stops import BarStops, Stop
from lickwright.engraving.system_spacing import BarPiece
from lickwright.layout.grid import Grid
from lickwright.timeline.model import SoundingNote, Timeline


class PlacedStop(NamedTuple):
    """One stop and where it stands."""

    stop: Stop
    x: float


class PlacedPiece(NamedTuple):
    """One piece: its bar lines and its stops."""

    piece: BarPiece
    left: float  # the bar line before it
    right: float  # the bar line that ends it
    stops: tuple[PlacedStop, ...]


@mutable_record
class PlacedSystem:
    """One system."""

    grid: Grid
    bars: Sequence[BarStops]
    pieces: tuple[PlacedPiece, ...]
    left: float  # where its bars begin
    right: float  # where they end
    opens: bool  # the first of all
    head: float  # from where its strings begin to where its bars do
    column_x: dict[int, float] = field(default_factory=dict)  # by index into Grid.columns

    @property
    def stops(self) -> list[PlacedStop]:
        """All its stops in order."""
        return [stop for piece in self.pieces for stop in piece.stops]

    @property
    def strings(self) -> int:
        """How many strings the guitar has."""
        return self.grid.timeline.settings.tuning.strings

    @property
    def bottom(self) -> float:
        """The y of the thickest string's line."""
        return (self.strings - 1) * m.STRING

    @property
    def columns(self) -> tuple[int, int]:
        """The first and the last column of the grid that stand on it; (0, -1) where there is none."""
        return (min(self.column_x), max(self.column_x)) if self.column_x else (0, -1)

    def x_at(self, bar: int, at: int) -> float:
        """Where an instant of a bar lies, between stops in proportion; an end of the system for one that lies beyond it.

        An instant past the end of its bar is counted on into the next one.
        """
        bar, at = self._within_bar(bar, at)
        here = [piece for piece in self.pieces if piece.piece.bar == bar]
        if not here:
            return self.left if self.pieces and bar < self.pieces[0].piece.bar else self.right
        known = [(stop.stop.at, stop.x) for piece in here for stop in piece.stops if not stop.stop.lead]
        known.append((self.grid.bars[bar].bar.length, here[-1].right))
        return _between(known, at) if known[0][0] <= at else here[0].left

    def _within_bar(self, bar: int, at: int) -> tuple[int, int]:
        bars = self.grid.bars
        while bar + 1 < len(bars) and at >= bars[bar].bar.length:
            at -= bars[bar].bar.length
            bar += 1
        return bar, at


def _between(known: Sequence[tuple[int, float]], at: int) -> float:
    """The x of an instant, from the x of others, the first of which is not later."""
    index = bisect_right(known, at, key=lambda one: one[0])
    (first, x), (last, following) = known[index - 1], known[min(index, len(known) - 1)]
    return x if last <= first else x + (following - x) * (at - first) / (last - first)


def place_system(
    grid: Grid,
    bars: Sequence[BarStops],
    pieces: Sequence[BarPiece],
    scale: float,
    left: float,
    head: float,
    opens: bool,
) -> PlacedSystem:
    """The pieces side by side from `left` on, each at the places of its scale; `head` is the room before them."""
    placed = []
    columns: dict[int, float] = {}
    x = left
    for piece in pieces:
        spaced = piece.spaced(scale)
        stops = tuple(PlacedStop(stop, x + at) for stop, at in zip(piece.stops, spaced.xs, strict=True))
        columns.update((stop.stop.column, stop.x) for stop in stops if stop.stop.column >= 0)
        placed.append(PlacedPiece(piece, x, x + spaced.width, stops))
        x += spaced.width
    return PlacedSystem(grid, bars, tuple(placed), left, x, opens, head, columns)


def drawn_event(timeline: Timeline, sound: SoundingNote) -> DrawnEvent:
    """The description of a sound for readers of the drawing."""
    names = [] if sound.kind == "note" else [sound.kind]
    names += [sound.begin.name] if sound.begin.sign else []
    names += [sound.head.name] if sound.head is not None else []
    names += [mark.name for mark in sound.marks] + [shape.technique.name for shape in sound.shapes]
    names += ["trill"] if sound.trill is not None else []
    names += ["roll"] if sound.roll is not None else []
    return DrawnEvent(
        sound.index, sound.string, sound.fret, sound.touch, timeline.fraction(sound.start), timeline.fraction(sound.end),
        ", ".join(dict.fromkeys(names)),
    )  # fmt: skip
