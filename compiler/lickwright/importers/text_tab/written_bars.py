"""The bars of a section with their columns: systems, strings and marks brought together.

In: a `TabSection`, which string each line is, and the tab's key. Out: `ColumnBar`s in order, with their columns, what the rows say of them,
and no rhythm yet.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import count

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.core.source import Span, Unreadable
from lickwright.importers.draft import GroupKind
from lickwright.importers.text_tab.bars import find_bars
from lickwright.importers.text_tab.columns import Instant, find_instants
from lickwright.importers.text_tab.legend import Legend
from lickwright.importers.text_tab.marks import StringScanner
from lickwright.importers.text_tab.playing import ColumnSpans
from lickwright.importers.text_tab.repeat_signs import repeat_bars
from lickwright.importers.text_tab.row_marks import RowMarker
from lickwright.importers.text_tab.rows import AboveEntry, CountWord, RowReader, Rows
from lickwright.importers.text_tab.rules import ASSUMED_MARK, UNEVEN
from lickwright.importers.text_tab.scan_state import Report, report_unsaid
from lickwright.importers.text_tab.scanned import ScannedBar
from lickwright.importers.text_tab.string_order import StringOrder
from lickwright.importers.text_tab.systems import TabSystem
from lickwright.importers.text_tab.tab_bar import SystemBars, TabBar
from lickwright.importers.text_tab.text_lines import TextLine

_NEW_LINE = 16  # columns between the parts of a bar that is broken in two; any number would do
MOST_COLUMNS = 2_000  # characters of a line of tab
_KINDS = {"rake": GroupKind.RAKE, "grace": GroupKind.GRACE, "scrape": GroupKind.SCRAPE}


@mutable_record
class ColumnBar:
    """One bar with its columns."""

    system: int
    tab: TabBar
    instants: list[Instant]
    left: int
    right: int
    words: list[CountWord] = field(default_factory=list)
    letters: list[tuple[int, str]] = field(default_factory=list)
    entries: list[AboveEntry] = field(default_factory=list)  # chords, endings and so on that stand over it
    remarks: list[str] = field(default_factory=list)  # words that stand behind it
    alone: bool = False  # the only bar of its system
    span: Span = Span(0, 0)
    line: int = 0  # number of the line of its first string


class BarReader:
    """Reads the systems of one section, in order."""

    def __init__(self, legend: Legend, ours: bool, rows: RowReader, names: dict[str, int], report: Report) -> None:
        self._legend, self._ours, self._rows, self._names, self._report = legend, ours, rows, names, report
        self._scanners: dict[int, StringScanner] = {}
        self._open: dict[str, list[int]] = {"ring": [], "hold": []}
        self._span_names = count()
        self.bars: list[ColumnBar] = []
        self.notes = 0  # in all bars
        self.spans: dict[int, ColumnSpans] = {}  # by the identity of an instant
        self.words: list[tuple[int, TextLine]] = []  # rows of words, by the index of the bar that they stand at

    def read(self, number: int, system: TabSystem, order: StringOrder) -> None:
        """Read one system: its bars are added to `bars`."""
        if max(len(row.line.text) for row in system.rows) > MOST_COLUMNS:
            raise Unreadable(
                f"line {system.first + 1} has {len(system.rows[0].line.text):,} characters",
                f"a line of tab has at most {MOST_COLUMNS:,}: break it at its bar lines",
            )  # fmt: skip
        found = find_bars(system)
        first = len(self.bars)
        bars = [self._bar(number, system, order, tab, found) for tab in found.bars]
        if not bars:
            return
        self.notes += sum(len(instant.notes) for bar in bars for instant in bar.instants)
        total = sum(len(bar.instants) for bar in bars)
        rows = self._rows.read(system.above, system.below, found.offset, total)
        if not self._ours and not any(tab.repeat_end for tab in found.bars):
            _repeat_as_said([entry for entry in rows.entries if entry.kind == "times"], found.bars)
        self._share(bars, rows)
        self._mark(bars, rows)
        for bar in bars:
            bar.alone = len(bars) == 1
            before = self.bars[-1] if self.bars else None
            if before is not None and before.tab.goes_on:
                _merge(before, bar)
            else:
                self.bars.append(bar)
        bars[-1].remarks += [text for _, text in found.remarks]
        self.words += [(first, line) for line in rows.words]

    def _bar(self, number: int, system: TabSystem, order: StringOrder, tab: TabBar, found: SystemBars) -> ColumnBar:
        strings: list[ScannedBar] = []
        for n, segment in enumerate(tab.segments):
            line, shift = system.rows[n].line, segment.raw - segment.left
            scanner = self._scanners.get(order.strings[n])
            if scanner is None:
                scanner = self._scanners[order.strings[n]] = StringScanner(
                    order.strings[n], self._legend, self._ours, self._report
                )

            def place(a: int, b: int, line: TextLine = line, shift: int = shift) -> Span:
                return line.span(a + shift, b + shift)

            strings.append(scanner.scan("" if tab.same else segment.text, segment.left, place))
        self._judge_evenness(system, tab, strings)
        if tab.guessed_times:
            segment = tab.segments[0]
            self._report(
                ASSUMED_MARK, f"a bar with `{tab.repeat_end}x` in it is taken to be played {tab.repeat_end} times", "compare it with the original",
                system.rows[0].line.span(segment.raw, segment.raw + len(segment.text)), "times",
            )  # fmt: skip
        instants = find_instants(strings, 1 if tab.uneven and tab.closed else 0)
        row = system.rows[0]
        start = tab.segments[0].raw
        span = row.line.span(start, start + len(tab.segments[0].text))
        return ColumnBar(number, tab, instants, tab.left, tab.right, span=span, line=row.line.number)

    def _judge_evenness(self, system: TabSystem, tab: TabBar, strings: Sequence[ScannedBar]) -> None:
        """Report strings that are longer or shorter than the others up to their bar line, if that moves notes, or may have cost some."""
        if not tab.uneven or not any(bar.notes for bar in strings):
            return
        usual = Counter(len(s.text) for s in tab.segments).most_common(1)[0][0]
        several = len(tab.uneven) > 1 and tab.closed  # no telling which of them are right
        for n in range(len(strings)) if several else tab.uneven:
            segment, row = tab.segments[n], system.rows[n]
            cut = n in tab.uneven and len(row.line.text.rstrip()) <= segment.raw + len(segment.text)
            if not (strings[n].notes or (cut and len(segment.text) < usual)):
                continue
            for note in strings[n].notes:
                note.sure = False
            others = f"most others have {usual}" if len(segment.text) != usual else "others have more or fewer"
            words = f"this string has {len(segment.text)} characters up to its end, {others}"
            self._report(
                UNEVEN, "this string ends before the others do" if cut and len(segment.text) < usual else words,
                "compare what is played together with the original",
                row.line.span(segment.raw, max(segment.raw + 1, segment.raw + len(segment.text))), "uneven",
            )  # fmt: skip

    def _share(self, bars: Sequence[ColumnBar], rows: Rows) -> None:
        """Give each bar the words, letters and entries that stand over it, and each rest a column."""
        for k, bar in enumerate(bars):
            low = bar.left - 1 if k else -99
            high = bar.right if k + 1 < len(bars) else bar.right + 6
            bar.words = [word for word in rows.counts if low <= word.x < high]
            bar.entries = [
                entry for entry in rows.entries if low <= entry.x < high and entry.kind not in ("times", "going")
            ]
            bar.entries += [
                e for e in rows.entries
                if (e.kind == "going" and _is_over(e, bar)) or (e.kind == "times" and bar.left < e.end <= bar.right + 4)
            ]  # fmt: skip
            _add_rests(bar)
        self._share_letters(bars, rows.letters)

    def _share_letters(self, bars: Sequence[ColumnBar], letters: Sequence[tuple[int, str]]) -> None:
        """Give each bar its rhythm letters: in order, where there is one for each column, else those that stand over it."""
        owners = [bar for bar in bars for instant in bar.instants if instant.notes]
        sounding = [letter for letter in letters if not letter[1].startswith("R")]
        if len(sounding) != len(owners):
            for bar in bars:
                bar.letters = [letter for letter in letters if bar.left - 1 <= letter[0] < bar.right]
            return
        place = 0
        for letter in letters:
            owner = owners[min(place, len(owners) - 1)]
            if letter[1].startswith("R") and place and letter[0] < owners[place - 1].right:
                owner = owners[place - 1]
            owner.letters.append(letter)
            place += not letter[1].startswith("R")

    def _mark(self, bars: Sequence[ColumnBar], rows: Rows) -> None:
        instants = [instant for bar in bars for instant in bar.instants]
        for instant in instants:
            self.spans[id(instant)] = ColumnSpans()
        if not instants:
            return
        marker = RowMarker(instants, self._ours, self._names, self._report)
        marker.mark(rows.entries)
        self._add_spans(marker, rows.entries, min(instant.x for instant in instants))
        for instant in instants:
            shapes = [(note, shape) for note in instant.notes for shape in note.shapes] + instant.shapes
            for note, shape in shapes:
                if shape.unsaid:
                    report_unsaid(note, shape, self._report)

    def _add_spans(self, marker: RowMarker, entries: Sequence[AboveEntry], first: int) -> None:
        still: dict[str, list[int]] = {"ring": [], "hold": []}
        for entry in entries:
            lasting = "ring" if entry.kind == "ring" else "hold" if entry.kind == "bend" and entry.lasts else ""
            if lasting:
                continues = self._open[lasting] and entry.x <= first and (lasting == "ring" or not entry.text)
                name = self._open[lasting].pop(0) if continues else next(self._span_names)
                if entry.lasts and not entry.closed:
                    still[lasting].append(name)
            for instant in marker.covered(entry):
                said = self.spans[id(instant)]
                if lasting == "ring":
                    said.rings.add(name)
                elif lasting:
                    said.holds.add(name)
                elif entry.kind == "stop":
                    said.stops |= marker.strings(entry.text)
                elif entry.kind == "roll":
                    said.roll = True
                elif entry.kind in _KINDS:
                    said.kind = _KINDS[entry.kind]
        self._open = still if self._ours else {"ring": [], "hold": []}


def _repeat_as_said(times: Sequence[AboveEntry], bars: Sequence[TabBar]) -> None:
    """Repeat what a number of times stands at: the system where it stands alone, each its own bar where there are several."""
    over = [entry for entry in times if entry.lasts]
    for entry in over:
        if under := [tab for tab in bars if tab.left < entry.end - 1 and entry.x + 1 < tab.right]:
            under[0].repeat_start, under[-1].repeat_end = True, int(entry.text)
    if over:
        return
    if len(times) == 1:
        repeat_bars(bars, int(times[0].text))  # `(x4)` under a system
        return
    for entry in times:
        for tab in bars:
            if tab.left - 1 <= entry.x < tab.right:
                tab.repeat_start, tab.repeat_end = True, int(entry.text)


def _is_over(entry: AboveEntry, bar: ColumnBar) -> bool:
    """Return True if a sign of navigation belongs to a bar: segno and coda stand at its start, the others at its end."""
    if entry.text in ("Segno", "Coda"):
        return bar.left <= entry.x + 2 and entry.x < bar.right
    return bar.right <= entry.end <= bar.right + 4


def _add_rests(bar: ColumnBar) -> None:
    known = {instant.x: instant for instant in bar.instants}
    stops = {entry.x for entry in bar.entries if entry.kind == "stop"}
    for word in bar.words:
        if word.rest:
            if word.x in known:
                known[word.x].rest = True
            else:
                bar.instants.append(Instant(word.x, word.x + 1, rest=True))
        elif word.x in stops and word.x not in known:
            bar.instants.append(Instant(word.x, word.x + 1))
    bar.instants.sort(key=lambda instant: instant.x)


def _merge(before: ColumnBar, bar: ColumnBar) -> None:
    """Add the second part of a bar that was broken at the end of a line."""
    shift = before.right + _NEW_LINE - bar.left
    for instant in bar.instants:
        instant.x += shift
        instant.end += shift
    before.instants += bar.instants
    before.words += [word._replace(x=word.x + shift) for word in bar.words]
    before.entries += [entry._replace(x=entry.x + shift, end=entry.end + shift) for entry in bar.entries]
    before.right = bar.right + shift
    before.tab.repeat_end, before.tab.double, before.tab.goes_on = bar.tab.repeat_end, bar.tab.double, bar.tab.goes_on
