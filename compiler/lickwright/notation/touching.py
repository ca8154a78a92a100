"""Which events of a lick are written without a blank after the one before.

In: two events. Out: yes or no: a plain hold touches its note (`G7---`), and what goes on from a plain note touches that (`G5h7p5`).
"""

from __future__ import annotations

from lickwright.notation.techniques import TechniqueKind
from lickwright.notation.tree import Event, Hold, Note, Part


def touches(before: Event | None, event: Event, closed: bool) -> bool:
    """Return True if `event` touches `before`, None for what it must not touch; `closed`: a word's parenthesis has just ended."""
    if len(event.parts) > 1:
        return False
    (part,) = event.parts
    if isinstance(part, Hold):
        return not (part.string or part.marks) and (closed or _can_be_held(before))
    if before is None or len(before.parts) > 1:
        return False
    return _goes_on(part) and _is_plain_note(before.parts[0])


def _can_be_held(event: Event | None) -> bool:
    """Return True if a hold of all strings may touch an event: after anything else it would be read otherwise."""
    last = event.parts[-1] if event is not None else None
    return isinstance(last, Note) or (isinstance(last, Hold) and not last.string and bool(last.marks))


def _goes_on(part: Part) -> bool:
    """Return True for a note that goes on from the one before on its string."""
    return isinstance(part, Note) and not part.string and part.begin.kind is TechniqueKind.JOIN


def _is_plain_note(part: Part) -> bool:
    """Return True for a fret with nothing after it but its finger."""
    return isinstance(part, Note) and part.fret is not None and not (part.head or part.marks or part.pluck)
