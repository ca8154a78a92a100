"""What the rows above say of the notes below them.

In: the entries of the rows of a system, and its columns. Out: marks on notes and on columns. In our own tab an entry stands exactly over
its column; in others it may be a column or
two off.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from lickwright.importers.text_tab.columns import Instant
from lickwright.importers.text_tab.rows import AboveEntry
from lickwright.importers.text_tab.rules import ASSUMED_MARK
from lickwright.importers.text_tab.scan_state import Report
from lickwright.importers.text_tab.scanned import ScannedNote, ScannedShape

_AMOUNTS = {"full": Fraction(2), "1/4": Fraction(1, 2), "1/2": Fraction(1), "3/4": Fraction(3, 2)}  # semitones
_NOTE_MARKS = {  # by the kind of an entry: the mark of the notation
    "pm": "pm", "tremolo": "tremolo", "snap": "snap", "slap": "slap", "pop": "pop", "dive": "dive", "dip": "dip", "scoop": "scoop", "swell": "swell",
    "up": "up", "down": "down", "accent": "!", "short": ",", "ring note": "=", "bar": "dip",
}  # fmt: skip
_HEADS = {"natural": "<>", "pinch": "*", "artificial": "n<>"}
_WIDEST = 32  # columns that a note and its marks take at most
_NEAR = 2  # columns that an entry of another's tab may stand off


class RowMarker:
    """Puts what the rows say on the notes of one system."""

    def __init__(self, instants: Sequence[Instant], ours: bool, names: dict[str, int], report: Report) -> None:
        self._instants = sorted(instants, key=lambda i: i.x)
        self._xs = [instant.x for instant in self._instants]
        self._ours, self._names, self._report = ours, names, report

    def mark(self, entries: Iterable[AboveEntry]) -> None:
        """Mark the notes."""
        for entry in entries if self._ours else self.over_columns(entries):
            if entry.kind in _NOTE_MARKS:
                self._add(entry, _NOTE_MARKS[entry.kind])
            elif (rule := _RULES.get(entry.kind)) is not None:
                rule(self, entry)

    def over_columns(self, entries: Iterable[AboveEntry]) -> list[AboveEntry]:
        """Return entries moved by as much as brings most of their row over columns: in others' tabs a row may stand a little off.

        An entry that lasts stays where it is: it says itself where it ends.
        """
        found: list[AboveEntry] = []
        rows: dict[int, list[AboveEntry]] = {}
        for entry in entries:
            if entry.lasts:
                found.append(entry)
            else:
                rows.setdefault(entry.line.number, []).append(entry)
        columns = {x for instant in self._instants for x in range(instant.x, instant.end)}
        for row in rows.values():
            hits = {by: sum(entry.x + by in columns for entry in row) for by in (0, -1, 1, -2, 2)}
            by = max(hits, key=lambda shift: hits[shift])
            found += (
                [entry._replace(x=entry.x + by, end=entry.end + by) for entry in row] if hits[by] > hits[0] else row
            )
        return found

    def covered(self, entry: AboveEntry) -> list[Instant]:
        """Return the columns under an entry."""
        if not self._instants:
            return []
        if entry.lasts:
            if self._ours:
                first = max(0, bisect_right(self._xs, entry.x) - 1)
                return self._instants[first : max(first, bisect_left(self._xs, entry.end))]
            return self._instants[self._first_under(entry) : bisect_left(self._xs, entry.end)]
        before = bisect_right(self._xs, entry.x) - 1
        if before >= 0 and entry.x < max(self._instants[before].end, self._instants[before].x + 1):
            return [self._instants[before]]
        if self._ours:
            return []
        around = self._instants[max(0, before) : before + 3]
        best = min(around, key=lambda i: _distance(i.x, entry))
        return [best] if _distance(best.x, entry) <= _NEAR else []

    def _first_under(self, entry: AboveEntry) -> int:
        """Return the index of the column at which a span of another's tab begins: the nearest, and of two as near the one after."""
        after = bisect_left(self._xs, entry.x)
        if not after:
            return after
        before = self._instants[after - 1]
        off = entry.x - before.x
        nearer = after == len(self._xs) or off < self._xs[after] - entry.x
        return after - 1 if entry.x < before.end or (off <= _NEAR and nearer) else after

    def _notes(self, entry: AboveEntry) -> list[ScannedNote]:
        whose = self.strings(entry.text) if entry.kind != "trill" else set()
        return [n for i in self.covered(entry) for n in i.notes if not n.held and (not whose or n.string in whose)]

    def strings(self, text: str) -> set[int]:
        """Return the strings that an entry names: `A`, `string 5`."""
        words = text.replace("string ", "").split()
        return {
            int(word) if word.isdigit() else self._names[word]
            for word in words
            if word.isdigit() or word in self._names
        }

    def _add(self, entry: AboveEntry, mark: str) -> None:
        for note in self._notes(entry):
            note.marks.add(mark)

    def _ghost(self, entry: AboveEntry) -> None:
        whose = self.strings(entry.text)
        for note in (
            n for i in self.covered(entry) for n in i.notes if n.parenthesized and (not whose or n.string in whose)
        ):
            note.held = False
            note.marks.add("?")

    def _trill(self, entry: AboveEntry) -> None:
        for note in self._notes(entry)[:1]:
            if entry.text:
                note.trill = int(entry.text)
            else:
                self._report(
                    ASSUMED_MARK,
                    "a trill does not say its other fret, and was read as one note",
                    "write the trill into the lick",
                    note.span,
                    "trill",
                )
                note.sure = False

    def _head(self, entry: AboveEntry) -> None:
        for note in self._notes(entry):
            if not note.head and note.fret is not None:
                note.head = _HEADS[entry.kind]
                if entry.kind == "natural":
                    note.touch, note.fret = Fraction(note.fret), None
                elif entry.kind == "artificial":
                    note.touch = Fraction(note.fret + 12)

    def _tap(self, entry: AboveEntry) -> None:
        for note in self._notes(entry):
            note.begin, note.touching = "t", False

    def _vibrato(self, entry: AboveEntry) -> None:
        for note in self._notes(entry):
            if not any(shape.kind in ("~", "~~") for shape in note.shapes):
                note.shapes.append(ScannedShape("~", note.x))

    def _bend(self, entry: AboveEntry) -> None:
        """Give the amount above to the bend below that does not say its own."""
        by = row_amount(entry.text.removeprefix("bend "))
        if by is None:
            return
        for instant in self._near(entry):
            unsaid = [s for n in instant.notes for s in n.shapes if s.unsaid and not s.own_column]
            unsaid += [s for _, s in instant.shapes if s.unsaid]
            if unsaid:
                unsaid[0].by, unsaid[0].unsaid = by, False
                return
        if self._ours:
            return
        for instant in self._near(entry)[:1]:
            bare = [n for n in instant.notes if not n.shapes and n.fret]
            if bare and not any(n.shapes for n in instant.notes):
                bare[0].shapes.append(ScannedShape("^", bare[0].x, by))
                bare[0].sure = False
                self._report(
                    ASSUMED_MARK,
                    f"`{entry.text}` above is taken for a bend",
                    "write the bend on the string: `7b9`",
                    bare[0].span,
                    "bend above",
                )

    def _near(self, entry: AboveEntry) -> list[Instant]:
        """Return the columns near an amount, the nearest first; one that spans a bend and its marks is near it."""
        found = []
        first = bisect_left(self._xs, entry.x - _WIDEST)
        for instant in self._instants[first : bisect_right(self._xs, entry.end + _NEAR)]:
            xs = [instant.x, *(s.x for n in instant.notes for s in n.shapes), *(s.x for _, s in instant.shapes)]
            off = min(_distance(x, entry) for x in xs)
            if off <= (0 if self._ours else _NEAR + 1):
                found.append((off, instant.x, instant))
        return [instant for _, _, instant in sorted(found, key=lambda item: item[:2])]


def _distance(x: int, entry: AboveEntry) -> int:
    """Return how many columns an entry stands off a column."""
    return min(abs(x - entry.x), abs(x - entry.end + 1))


def row_amount(text: str) -> Fraction | None:
    """Return the semitones of an amount in whole steps: `full`, `1/2`, `1 1/2`, `2`; None for no amount."""
    if text in _AMOUNTS:
        return _AMOUNTS[text]
    total = Fraction(0)
    for part in text.split():
        try:
            total += Fraction(part) * 2
        except (ValueError, ZeroDivisionError):
            return None
    return total if 0 < total <= 8 else None


_RULES: dict[str, Callable[[RowMarker, AboveEntry], None]] = {
    "ghost": RowMarker._ghost, "trill": RowMarker._trill, "natural": RowMarker._head, "pinch": RowMarker._head, "artificial": RowMarker._head,
    "tap": RowMarker._tap, "vibrato": RowMarker._vibrato, "bend": RowMarker._bend,
}  # fmt: skip
