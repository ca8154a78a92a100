"""Whether two licks are the same music, as counted.

In: two timelines. Out: yes or no. Where something is written, and in how many signs a hold or a rest is, makes no difference; all else does.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.notation.tree import Hold
from lickwright.timeline.model import Slot, Timeline


def is_same_timeline(one: Timeline, other: Timeline) -> bool:
    """Return True if two licks have the same fields, bars and words, and the same sounds at the same instants."""
    return _is_same(_with_open_end(one), _with_open_end(other))


def _with_open_end(timeline: Timeline) -> Timeline:
    """Return a timeline without the line break after its last bar, which only parts it from what is no music of it."""
    return replace(timeline, bars=(*timeline.bars[:-1], timeline.bars[-1]._replace(newline=False)))


def _is_same(one: Any, other: Any) -> bool:
    """Return True if two values of timelines differ in nothing but where they are written."""
    if one is other:
        return True
    kind = type(one)
    if kind is not type(other):
        return False
    if kind is Span:
        return True
    if kind is Slot:
        return bool(_slot_values(one) == _slot_values(other))
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(_is_same(value, other[key]) for key, value in one.items())
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(_is_same, one, other))
    names: tuple[str, ...] | None = getattr(kind, "__record_parameters__", None)
    if names is None:
        return bool(one == other)
    return all(_is_same(getattr(one, name), getattr(other, name)) for name in names)


def _slot_values(slot: Slot) -> tuple[object, ...]:
    """Return a slot's time and what is played in it: of `---~` each is a hold, and the last has the vibrato."""
    parts = getattr(slot.event, "parts", None)
    if parts is not None and not slot.last:
        parts = tuple(Hold(part.string) if isinstance(part, Hold) else part for part in parts)
    return slot.bar, slot.at, slot.length, slot.event if parts is None else parts
