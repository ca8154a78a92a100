"""What a house asks of every lick: the value that a `lickwright.toml` comes to.

In: nothing of its own; `library/house.py` finds and reads the file. Out: `Style`, which `settings.py` and `meant.py` go by. It knows where
in the file each thing is said, so that a finding can show the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from lickwright.diagnostics import Note, Severity
from lickwright.source import Source, Span


class Given(NamedTuple):
    """A field that the house sets for licks that do not."""

    value: Any  # as the field's row reads it
    text: str  # as it would stand in a lick
    span: Span  # in the house's file


@dataclass(frozen=True, slots=True)
class Style:
    """Fields, wishes and severities of a house. Plain data: it travels to other processes."""

    source: Source  # the house's file, for notes that quote it
    fields: Mapping[str, Given] = field(default_factory=dict)  # by the field's name
    unread: frozenset[str] = frozenset()  # fields that it sets to what cannot be read: nothing is judged by them
    required: Mapping[str, Span] = field(
        default_factory=dict
    )  # fields that every lick must have, and where that is said
    severities: Mapping[str, Severity | None] = field(default_factory=dict)  # by code; None: not shown

    def note(self, span: Span, message: str) -> Note:
        """The other place of a finding, in the house's file."""
        return Note(span, message, self.source)
