"""One spelling for music that can be spelled in several: holds, rests and steps the shortest way.

In: the items of a lick. Out: items that are counted and played alike. Holds that follow each other are one, up to the one that is shaped; so
are rests. A step that holds anyway is not said again.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.notation.tree import BarLine, Event, Hold, Item, Rest, Step, Tuplet, Worded


def normal_items(items: Iterable[Item], step: Fraction | None = None) -> tuple[Item, ...]:
    """Return the items of a lick in their shortest spelling; `step` is the lick's own step, None where the file does not say it."""
    return _Normalizer(step).items(items)


class _Normalizer:
    """Goes through the items of one lick."""

    def __init__(self, step: Fraction | None) -> None:
        self._lick_step = step
        self._step = step  # that holds here; None for one that is not written

    def items(self, items: Iterable[Item]) -> tuple[Item, ...]:
        """Return items in their shortest spelling."""
        out: list[Item] = []
        for item in items:
            match item:
                case BarLine():
                    self._step = self._lick_step
                    out.append(item)
                case Step():
                    if item.value != self._step:
                        out.append(item)
                    self._step = item.value
                case Tuplet():
                    outer = self._step
                    out.append(replace(item, items=self.items(item.items)))
                    self._step = outer
                case Worded():
                    out.append(replace(item, items=self.items(item.items)))
                case Event():
                    for event in _split_hold(item):
                        _append(out, event)
                case _:
                    out.append(item)
        return tuple(out)


def _split_hold(event: Event) -> list[Event]:
    """Return a long hold that is shaped at its end as a plain one and one of a single step."""
    part = event.parts[0]
    if not isinstance(part, Hold) or not part.marks or event.count == 1:
        return [event]
    marks = replace(event, count=1)
    return [replace(event, parts=(replace(part, marks=()),), count=event.count - 1), marks]


def _append(out: list[Item], event: Event) -> None:
    """Add an event, or make it one with the hold or rest before it."""
    last = out[-1] if out else None
    if isinstance(last, Event) and _is_plain(event) and last.parts == event.parts:
        span = Span(last.span.start, max(last.span.end, event.span.end))
        out[-1] = replace(last, count=last.count + event.count, span=span)
    else:
        out.append(event)


def _is_plain(event: Event) -> bool:
    """Return True for a hold or a rest of all strings with nothing on it."""
    part = event.parts[0]
    return isinstance(part, Rest | Hold) and not part.string and not (isinstance(part, Hold) and part.marks)
