"""One mistake inside a run of notes, before it is known where the run stands."""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.diagnostics import Rule
from lickwright.notation import rules


class Fault(NamedTuple):
    """One mistake inside a run."""

    rule: Rule
    start: int  # offsets into the run
    end: int
    message: str
    hint: str | None
    right: str | None = None  # what should stand from `start` to `end`; None where that is not sure


def unreadable_rule(start: int, end: int, message: str, hint: str) -> Fault:
    """Return a fault of the rule for what cannot be read at all."""
    return Fault(rules.UNREADABLE, start, end, message, hint)


def shorten(text: str) -> str:
    """Return a text cut to what fits in a message."""
    return text if len(text) <= 24 else f"{text[:20]}… ({len(text)} characters)"
