"""The words over notes that a draft becomes: which of them go on from the notes before, and which begin anew.

In: the notes that begin at one instant, and what sounds on the other strings. Out: `WordOver`s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.fast_dataclass import mutable_record
from lickwright.importers.draft import DraftNote
from lickwright.notation.techniques import TechniqueKind


class WordOver(NamedTuple):
    """A word over slots; those with equal numbers stand under one pair of parentheses."""

    name: str
    number: int


@mutable_record
class DraftSounding:
    """A note that sounds on a string."""

    note: DraftNote
    start: Fraction  # whole notes from the start of the lick
    end: Fraction
    rings: bool
    ring_word: int | None
    bent: bool = False


class WordsOver:
    """Numbers the words over the notes of a lick, in the order in which they begin."""

    def __init__(self) -> None:
        self._open: dict[str, int] = {}  # words over the last note, by name
        self._count = 0

    def close_ring(self) -> None:
        """End the word that lets notes ring, since nothing sounds any more."""
        self._open.pop("ring", None)

    def over(
        self, notes: Sequence[DraftNote], sounding: Mapping[int, DraftSounding], now: Fraction, struck: bool
    ) -> tuple[WordOver, ...]:
        """Return the words over notes that begin `now`; a word goes on from the notes before where it stood over them too.

        `sounding` is what sounds, by string; `struck`: any of the notes is struck, not connected.
        """
        names = dict.fromkeys(mark.sign for note in notes for mark in note.marks if mark.kind is TechniqueKind.WORD)
        if "ring" in names and "ring" in self._open and struck and self._rings_anew(notes, sounding, now):
            self.close_ring()
        numbers = {}
        for name in names:
            if name not in self._open:
                self._count += 1
            numbers[name] = self._open.get(name, self._count)
        self._open = numbers
        return tuple(WordOver(name, number) for name, number in numbers.items())

    def _rings_anew(self, notes: Sequence[DraftNote], sounding: Mapping[int, DraftSounding], now: Fraction) -> bool:
        """Return whether closing the word that rings, and opening it again, ends the right strings with fewer signs."""
        strings = {note.string for note in notes}
        others = [one for string, one in sounding.items() if string not in strings]
        ringing = [one for one in others if one.ring_word == self._open["ring"] and not one.rings]
        over = sum(one.end <= now for one in ringing)
        return over > len(ringing) - over
