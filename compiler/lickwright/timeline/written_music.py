"""The written music of a lick: what `bar_builder.py` collects, and its measuring in whole grains.

In: slots with exact lengths, bars with their signs. Out: `WrittenMusic`, on which playing, layout and the rhythm checks
are built.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.core.source import Span
from lickwright.notation.tree import BarLine, Event, Hold, Navigation, Note, SameBar, Unknown
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Bar, Direction, Slot, TupletSpan, WordSpan

_SPARE = 24  # grains are this much finer than the music needs, so that several shapes can share a step


class WrittenMusic(NamedTuple):
    """The written bars and slots of a lick, in grains."""

    grain: int  # grains to the whole note
    bars: tuple[Bar, ...]
    slots: tuple[Slot, ...]
    words: tuple[WordSpan, ...]
    tuplets: tuple[TupletSpan, ...]
    directions: tuple[Direction, ...]
    slot_words: tuple[tuple[int, ...], ...]  # for each slot, the indices of the words over it
    rakes: dict[int, tuple[tuple[str, Span], ...]]  # slot → the strings raked on the way to it, and where they stand
    trills: dict[int, Note]  # slot → the note that its own alternates with
    unknown: bool

    def held_length(self, n: int) -> int:
        """Return the length of slot `n` in grains, with the plain holds after it in its bar."""
        length = self.slots[n].length
        for slot in self.slots[n + 1 : self.bars[self.slots[n].bar].last]:
            first = None if isinstance(slot.event, Unknown) else slot.event.parts[0]
            if not isinstance(first, Hold) or first.string:
                break
            length += slot.length
        return length

    def word_over(self, over: tuple[int, ...], name: str) -> int | None:
        """Return the first word called `name` of those with the indices `over`; None where there is none."""
        return next((index for index in over if self.words[index].word == name), None)


@mutable_record
class OpenBar:
    """The bar that is being filled."""

    first: int  # its first slot
    start: int = 0  # offset of its first sign
    end: int = 0  # offset after its last
    sure: bool = True
    same: SameBar | None = None
    marks: list[Navigation] = field(default_factory=list)
    ends: bool = False  # one of the marks stands at its end: no event may follow
    repeat_start: bool = False
    ending: int = 0
    newline: bool = False


@mutable_record
class RawBar:
    """A bar whose lengths are not yet whole numbers."""

    opened: OpenBar
    last: int
    closing: BarLine | None


@mutable_record
class MusicDraft:
    """What the builder has collected so far; the lists about slots have one entry a slot."""

    lengths: list[Fraction] = field(default_factory=list)  # of each slot, in whole notes
    events: list[Event | Unknown] = field(default_factory=list)
    lasts: list[bool] = field(default_factory=list)  # False for all but the last slot of `---`
    slot_words: list[tuple[int, ...]] = field(default_factory=list)
    words: list[WordSpan] = field(default_factory=list)
    tuplets: list[TupletSpan] = field(default_factory=list)
    directions: list[Direction] = field(default_factory=list)
    rakes: dict[int, tuple[tuple[str, Span], ...]] = field(default_factory=dict)
    trills: dict[int, Note] = field(default_factory=dict)
    bars: list[RawBar] = field(default_factory=list)

    def in_grains(self, settings: Settings) -> WrittenMusic:
        """Return everything in grains, of which there are so many to a whole note that every length is whole."""
        meter = settings.meter
        lengths = {id(length): length for length in self.lengths}  # equal ones are shared; hashing fractions is slow
        parts = (*lengths.values(), meter.length, meter.beat, settings.pickup or meter.beat, settings.feel.unit)
        grain = lcm(_SPARE * 8, *(part.denominator for part in parts)) * _SPARE
        whole = {n: length.numerator * (grain // length.denominator) for n, length in lengths.items()}
        nominal = meter.length.numerator * (grain // meter.length.denominator)
        slots: list[Slot] = []
        add_slot, new = slots.append, tuple.__new__  # Slot(…) takes twice as long
        bars: list[Bar] = []
        start = 0
        for index, raw in enumerate(self.bars):
            at = 0
            for n in range(raw.opened.first, raw.last):
                length = whole[id(self.lengths[n])]
                add_slot(new(Slot, (index, at, length, self.events[n], self.lasts[n])))
                at += length
            bar = _bar(raw, settings, bars, start, at, nominal)
            bars.append(bar)
            start += bar.length
        unknown = any(not bar.sure for bar in bars)
        return WrittenMusic(
            grain,
            tuple(bars),
            tuple(slots),
            tuple(self.words),
            tuple(self.tuplets),
            tuple(self.directions),
            tuple(self.slot_words),
            self.rakes,
            self.trills,
            unknown,
        )


def _bar(raw: RawBar, settings: Settings, bars: list[Bar], start: int, length: int, meter: int) -> Bar:
    pickup = settings.pickup is not None
    opened, closing = raw.opened, raw.closing
    first, last, sure = opened.first, raw.last, opened.sure
    if opened.same is not None:
        first, last, length, sure = bars[-1].first, bars[-1].last, bars[-1].length, bars[-1].sure
    nominal = meter
    if not bars and pickup:
        share = settings.pickup or Fraction(0)
        nominal = int(share / settings.meter.length * meter)
    number = len(bars) if pickup else len(bars) + 1
    span = Span(opened.start, opened.end)
    closes = closing.span if closing else Span(opened.end, opened.end)
    return Bar(
        number, start, length, nominal, first, last, opened.same is not None, opened.repeat_start, closing.repeat_end if closing else 0,
        bool(closing and closing.double), opened.ending, opened.newline, sure, span, closes, tuple(opened.marks),
    )  # fmt: skip
