"""The music of a fitted draft as items of the notation's tree.

In: a draft of one meter in which every instant can be counted. Out: items: bar lines, steps, events, tuplets, words. How notes end is worked out in
`slots.py`, how long slots last in `bar_rhythm.py`, which brackets stand round them in `leaves.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from math import lcm

from lickwright.importers.bar_rhythm import (
    RhythmToken,
    SlotTime,
    SlotToken,
    StepToken,
    TupletToken,
    rhythm_cost,
    rhythm_tokens,
)
from lickwright.importers.draft import Doubt, DraftBar, LickDraft
from lickwright.importers.leaves import Leaf, nested_items
from lickwright.importers.rules import NOT_WRITTEN
from lickwright.importers.slots import PlannedSlot, SlotPlanner
from lickwright.music.tuning import Tuning
from lickwright.notation.tree import (
    BarLine,
    Comment,
    DirectionNode,
    Event,
    Hold,
    Item,
    Navigation,
    Rest,
    SameBar,
    Step,
    Tuplet,
)

# Steps that a lick may have, and how many signs of its music one has to save to be taken; chosen by eye.
_STEPS = {Fraction(1, 8): 0.0, Fraction(1, 16): 2.0, Fraction(1, 4): 8.0, Fraction(1, 32): 20.0}
_STEP_BARS = 32  # bars that the choice of the step looks at
_LINE_EVENTS, _LINE_BARS = 24, 4  # slots and bars of a line, where the draft has no lines; chosen by eye
_MOST_SHARES = 16  # chords in equal shares of one bar


class MusicWriter:
    """Writes the bars of one lick; what cannot be written is added to `doubts`."""

    def __init__(self, draft: LickDraft, tuning: Tuning, doubts: list[Doubt], bars_read: Sequence[int]) -> None:
        self.draft = draft

        def say(bar: int, message: str) -> None:
            read = bars_read[bar]
            doubts.append(Doubt(NOT_WRITTEN, f"bar {read + 1}: {message}", "", read))

        lengths = [bar.length or Fraction(1) for bar in draft.bars]
        self._slots = SlotPlanner(tuning, Fraction(1, 8), say).plan(draft.bars, lengths)
        self._cells = [slot_cells(slots, length) for slots, length in zip(self._slots, lengths, strict=True)]

    def best_step(self) -> Fraction:
        """Return the step in which the first bars take the fewest signs."""
        some = [cells for cells in self._cells if cells][:_STEP_BARS]
        return min(_STEPS, key=lambda step: _STEPS[step] + sum(rhythm_cost(cells, step) for cells in some))

    def items(self, step: Fraction) -> tuple[Item, ...]:
        """Return the music, written in a step."""
        bars = self.draft.bars
        lined = any(bar.newline for bar in bars)
        leaves = [Leaf((BarLine(repeat_start=bars[0].repeat_start),), ())]
        events = count = 0
        for n, bar in enumerate(bars):
            leaves += self._bar(n, step)
            events, count = events + len(self._slots[n]), count + 1
            following = bars[n + 1] if n + 1 < len(bars) else None
            full = not lined and (
                count == _LINE_BARS or events + len(self._slots[min(n + 1, len(bars) - 1)]) > _LINE_EVENTS
            )
            newline = following is not None and (bar.newline or full or bool(following.comments))
            if newline:
                events = count = 0
            leaves.append(Leaf((_bar_line(bar, following, newline),), None))
        return nested_items(leaves)

    def _bar(self, index: int, step: Fraction) -> Iterator[Leaf]:
        bar = self.draft.bars[index]
        if index:
            yield from (Leaf((Comment(line, True),), None) for text in bar.comments for line in _comment_lines(text))
        if bar.ending:
            yield Leaf((BarLine(ending=bar.ending),), ())
        opening = tuple(Navigation(mark) for mark in bar.marks if mark.opens)
        closing = tuple(Navigation(mark) for mark in bar.marks if not mark.opens)
        if opening:
            yield Leaf(opening, ())
        if bar.same:
            yield Leaf((SameBar(),), None)
        else:
            yield from self._leaves(index, rhythm_tokens(self._cells[index], step))
        if closing:
            yield Leaf(closing, ())

    def _leaves(self, index: int, tokens: Iterable[RhythmToken]) -> Iterator[Leaf]:
        for token in tokens:
            match token:
                case StepToken(value):
                    yield Leaf((Step(value),), None)
                case TupletToken(count, normal, inside):
                    yield Leaf((Tuplet(count, normal, ()),), None, tuple(self._leaves(index, inside)))
                case SlotToken():
                    yield from _slot_leaves(self._slots[index][token.cell], token)


def _slot_leaves(slot: PlannedSlot, token: SlotToken) -> Iterator[Leaf]:
    """Yield the events of a slot, or of a later part of one."""
    left = token.steps
    if token.first:
        said = tuple(DirectionNode(one.kind, one.text) for one in slot.directions)
        if said:
            yield Leaf(said, None)
        if slot.before:
            yield Leaf(tuple(slot.before), slot.words or ())
        item = slot.item
        if isinstance(item, Event) and item in (Event((Hold(),)), Event((Rest(),))):
            yield Leaf((Event(item.parts, left),), None)
            return
        yield Leaf((item,), slot.words)
        left -= 1
    if left:
        yield Leaf((Event((Rest() if slot.silent else Hold(),), left),), None)


def slot_cells(slots: Sequence[PlannedSlot], length: Fraction) -> list[SlotTime]:
    """Return where the slots of a bar begin and end."""
    ends = [*(slot.at for slot in slots[1:]), length]
    return [SlotTime(slot.at, end, slot.exact) for slot, end in zip(slots, ends, strict=bool(slots))]


def _bar_line(bar: DraftBar, following: DraftBar | None, newline: bool) -> BarLine:
    if following is None:
        return BarLine(double=not bar.repeat_end, repeat_end=bar.repeat_end)
    return BarLine(bar.double and not bar.repeat_end, bar.repeat_end, following.repeat_start, newline=newline)


def _comment_lines(text: str) -> Iterator[str]:
    for line in text.splitlines():
        plain = "".join(sign if sign.isprintable() else " " for sign in line).strip()
        if plain:
            yield plain


def chords_field(bars: Sequence[DraftBar], pickup: bool) -> str:
    """Return the chords of all bars as the field has them; "" where there are none."""
    rows = [_chord_bar(bar) for bar in (bars[1:] if pickup else bars)]
    while rows and not rows[-1]:
        rows.pop()
    return " | ".join(rows)


def _chord_bar(bar: DraftBar) -> str:
    """Return the chords of one bar, in as many equal shares as their places need."""
    length = bar.length or Fraction(1)
    places = {one.at / length: one.symbol for one in bar.chords if 0 <= one.at < length}
    if not places:
        return ""
    shares = lcm(*(at.denominator for at in places))
    if shares > _MOST_SHARES:
        places = {Fraction(round(at * 4), 4): symbol for at, symbol in places.items() if round(at * 4) < 4}
        shares = 4
    return " ".join(places.get(Fraction(n, shares), "/") for n in range(shares))
