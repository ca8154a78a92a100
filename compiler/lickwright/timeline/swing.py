"""When a swung note sounds: used by the tempo map and by comparisons alike.

In: a Timeline. Out: `Swing`, which turns an instant as counted into the instant at which it is heard. A pair of steps of
the feel's value is played long and short: its middle comes late, and what lies between its ends and its middle (the end
of a note before a rest, a release) moves in proportion, so that the order never changes. A pair with other notes in
between (sixteenths, a triplet) stays straight. Beyond the last pair nothing moves.
"""

from __future__ import annotations

from bisect import bisect_right

from lickwright.notation.tree import Bare, Event, Note
from lickwright.timeline.model import Bar, Timeline


class Swing:
    """Maps the instants of one lick as counted to the instants at which they are heard.

    `breaks` are grains as played, in order, between which time runs evenly; `placed` is where each is heard, in parts
    of a grain, of which there are `parts`, so that all numbers are whole.
    """

    __slots__ = ("breaks", "parts", "placed")

    def __init__(self, breaks: dict[int, int], parts: int) -> None:
        self.breaks = sorted(breaks)
        self.placed = [breaks[at] for at in self.breaks]
        self.parts = parts

    def heard_at(self, grain: int) -> int:
        """Return where an instant as played is heard, in parts of a grain."""
        i = bisect_right(self.breaks, grain) - 1
        if i < 0 or i + 1 == len(self.breaks):
            return grain * self.parts
        length = self.breaks[i + 1] - self.breaks[i]
        return self.placed[i] + (grain - self.breaks[i]) * (self.placed[i + 1] - self.placed[i]) // length


def swing_of(timeline: Timeline) -> Swing:
    """Return the swing of a lick; one without breaks where its feel is straight."""
    long, short = timeline.settings.feel.ratio
    if long == short:
        return Swing({}, 1)
    breaks: dict[int, int] = {}
    of_bar: dict[int, list[tuple[int, int]]] = {}
    in_tuplets = {slot for tuplet in timeline.tuplets for slot in range(tuplet.first, tuplet.last + 1)}
    parts = long + short
    for turn in timeline.passes:
        if turn.bar not in of_bar:
            of_bar[turn.bar] = _bar_swing(timeline, timeline.bars[turn.bar], long, parts, in_tuplets)
        breaks.update((turn.start + at, turn.start * parts + placed) for at, placed in of_bar[turn.bar])
    breaks.setdefault(timeline.end, timeline.end * parts)
    return Swing(breaks, parts)


def _bar_swing(timeline: Timeline, bar: Bar, long: int, parts: int, in_tuplets: set[int]) -> list[tuple[int, int]]:
    """Return grains of one written bar and where they are heard; the first note of a pair gets `long` of `parts`.

    A pick-up is counted from its end, as the end of a full bar. A pair that the bar line cuts off does not swing.
    """
    half = int(timeline.settings.feel.unit * timeline.grain)  # whole: grains are finer than any value that swings
    pair = 2 * half
    offset = int(timeline.settings.meter.length * timeline.grain) - bar.nominal if bar.number == 0 else 0
    straight = _straight_pairs(timeline, bar, offset, half, in_tuplets)
    breaks = [(0, 0)]
    k = offset // pair
    while k * pair - offset < bar.length:
        start = k * pair - offset
        if start >= 0:
            breaks.append((start, start * parts))
        if k not in straight and 0 <= start + half < bar.length and start + pair <= bar.length:
            breaks.append((start + half, start * parts + pair * long))
        k += 1
    return breaks


def _straight_pairs(timeline: Timeline, bar: Bar, offset: int, half: int, in_tuplets: set[int]) -> set[int]:
    """Return pairs with an onset inside that is not their middle, on any string; every step of a tuplet counts as an onset."""
    pairs = set()
    for i in range(bar.first, bar.last):
        slot = timeline.slots[i]
        k, rest = divmod(slot.at + offset, 2 * half)
        if slot.length == 0 or rest in (0, half):
            continue
        event = slot.event
        if i in in_tuplets or (
            isinstance(event, Event) and any(isinstance(part, (Note, Bare)) for part in event.parts)
        ):
            pairs.add(k)
    return pairs
