"""The words beside the notes of a MIDI file that name techniques, as Lickwright writes them in lyrics.

In: a lyric. Out: `TechniqueWords`, None for words of a song.
"""

from __future__ import annotations

import re

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import ENTRIES, HEADS, JOINS, MARKS, SHAPES, TECHNIQUES, WORDS, Technique

_TRILL = re.compile(r"trill with fret ([0-9]{1,2})")
_PLUCKED = re.compile(r"plucked with ([pimac])")
_ROWS = {row.name: row for rows in (SHAPES, WORDS, MARKS, HEADS, ENTRIES, JOINS) for row in rows.values()}
_NAMES = frozenset(row.name for row in TECHNIQUES) | {"grace note", "rake stroke", "rolled", "picked"}
_BEGINS = {id(row) for rows in (JOINS, ENTRIES) for row in rows.values()}
_MARKS = {id(row) for rows in (MARKS, WORDS) for row in rows.values()}
_HEADS = {id(row) for row in HEADS.values()}


@mutable_record
class TechniqueWords:
    """What words say of one note."""

    begin: Technique | None = None  # a join or an entry
    head: Technique | None = None
    marks: list[Technique] = field(default_factory=list)
    names: frozenset[str] = frozenset()  # all of them
    trill: int | None = None  # the other fret
    pluck: str | None = None

    @property
    def stolen(self) -> bool:
        """True for a grace note or a rake stroke."""
        return "grace note" in self.names or "rake stroke" in self.names

    @property
    def repeated(self) -> bool:
        """True for the first of many strokes of one note."""
        return self.trill is not None or WORDS["tremolo"] in self.marks


def technique_words(text: str) -> TechniqueWords | None:
    """Return what a lyric says, None where it is not all names of techniques."""
    found = TechniqueWords()
    names = text.split(", ")
    for name in names:
        trill, plucked = _TRILL.fullmatch(name), _PLUCKED.fullmatch(name)
        row = _ROWS.get(name)
        if trill:
            found.trill = int(trill[1])
        elif plucked:
            found.pluck = plucked[1]
        elif name not in _NAMES:
            return None
        elif row is not None and id(row) in _BEGINS and found.begin is None:
            found.begin = row
        elif row is not None and id(row) in _HEADS:
            found.head = row
        elif row is not None and id(row) in _MARKS:
            found.marks.append(row)
    found.names = frozenset(names)
    return found
