"""What stands inside the brackets of a rake or a trill.

In: the items inside the brackets. Out: their parts, or the fact that they make no rake or trill. `bar_builder.py` puts
them into slots and reports what is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lickwright.core.source import Span
from lickwright.notation.techniques import TechniqueKind
from lickwright.notation.tree import Bare, DirectionNode, Event, Hold, Item, Note


class RakeParts(NamedTuple):
    """The parts of a rake, as far as they are right."""

    strokes: tuple[tuple[str, Span], ...]  # the bare strings, and where each stands
    directions: tuple[DirectionNode, ...]  # words, dynamics and so on before its note
    rest: tuple[Item, ...]  # what follows: its note, and holds

    @property
    def complete(self) -> bool:
        """True for bare strings and then one note, with nothing but holds after it."""
        note = single_note(self.rest[0]) if self.rest else None
        return bool(self.strokes) and note is not None and all(map(is_hold, self.rest[1:]))


def read_rake(items: Sequence[Item]) -> RakeParts:
    """Return the parts of a rake: bare strings and directions up to the first item that is neither, and the rest."""
    strokes: list[tuple[str, Span]] = []
    directions: list[DirectionNode] = []
    for n, item in enumerate(items):
        bare = item.parts[0] if isinstance(item, Event) and len(item.parts) == 1 else None
        if isinstance(item, DirectionNode):
            directions.append(item)
        elif isinstance(bare, Bare):
            strokes.append((bare.string, item.span))
        else:
            return RakeParts(tuple(strokes), tuple(directions), tuple(items[n:]))
    return RakeParts(tuple(strokes), tuple(directions), ())


def trill_partner(items: Sequence[Item]) -> Note | None:
    """Return the second note of a trill; None unless the items are a note, a plain one joined to it, and holds."""
    if len(items) < 2:
        return None
    first, other = single_note(items[0]), single_note(items[1])
    if first is None or other is None:
        return None
    plain = other.begin.kind is TechniqueKind.JOIN and not (other.marks or other.finger or other.pluck)
    same_string = other.string in ("", first.string)
    return other if plain and same_string and all(map(is_hold, items[2:])) else None


def single_note(item: Item) -> Note | None:
    """Return the note of an event that is one note alone; None for any other item."""
    if isinstance(item, Event) and len(item.parts) == 1 and isinstance(item.parts[0], Note):
        return item.parts[0]
    return None


def is_hold(item: Item) -> bool:
    """Return True for an event that begins with a hold."""
    return isinstance(item, Event) and isinstance(item.parts[0], Hold)
