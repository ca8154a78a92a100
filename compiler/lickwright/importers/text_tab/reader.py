"""A text tab read: from lines to drafts.

In: a `Source`. Out: `LickDraft`s, one for each lick. The steps are in the other modules of this package; here they are put together, and
the doubts collected.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress

from lickwright.core.diagnostics import Rule, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source, Span, Unreadable
from lickwright.importers.draft import Doubt, DraftBar, LickDraft
from lickwright.importers.text_tab.heading import Heading, foreign_heading, own_heading
from lickwright.importers.text_tab.legend import Legend, read_legend
from lickwright.importers.text_tab.repeat_signs import said_times
from lickwright.importers.text_tab.rows import RowReader
from lickwright.importers.text_tab.rules import (
    INSTRUCTION,
    LEFT,
    MENDED,
    MISSING_STRING,
    NO_TAB,
    NOT_STRINGS,
    PARTS,
    TUNING_DOUBT,
)
from lickwright.importers.text_tab.sections import TabSection, find_sections
from lickwright.importers.text_tab.side_by_side import other_part, systems_side_by_side
from lickwright.importers.text_tab.string_order import NoStrings, StringOrder, order_strings
from lickwright.importers.text_tab.systems import TabSystem, find_systems
from lickwright.importers.text_tab.text_lines import TextLine, clean_lines
from lickwright.importers.text_tab.timed_bars import MOST_NOTES, BarTimer
from lickwright.importers.text_tab.tunings import (
    said_capo,
    said_strings,
    said_tuning,
    tuning_of,
    usual_tuning,
)
from lickwright.importers.text_tab.written_bars import BarReader
from lickwright.music.chord import parse_chord_name
from lickwright.music.fretboard import MAX_FRET, USUAL_FRETS
from lickwright.music.tuning import Tuning

UNSURE = "unsure"  # the tag of a lick that has to be compared with its source
_STROKES = ("down", "up", "slap", "pop")  # meanings of letters that stand above
MOST_SYSTEMS = 3_000
_MOST_COMMENTS, _LONGEST_COMMENT = 400, 200
_MOST_DOUBTS, _MOST_REPORTS = 3_000, 20_000  # of one lick; a tab for people has a few
_LOW_ON_TOP = re.compile(
    r"upside[- ]down|(?:low(?:est)?|bass|thick(?:est)?) (?:e |string )?(?:on|at)(?: the)? top",
    re.IGNORECASE,
)
_INSTRUCTION = re.compile(
    r"\b(?:repeat|play)\b[^.]{0,20}\b(?:twice|thrice|times|again|x\d|\d\s?x|\d+)\b|\bx\s?\d\b|\brepeat\b", re.IGNORECASE
)


class NoTab(Unreadable):
    """The text holds no tab that can be read."""

    rule: Rule = NO_TAB
    source: Source | None = None


def read_text_tab(source: Source) -> list[LickDraft]:
    """Return the licks of a text tab. Raises NoTab where there is none."""
    lines = clean_lines(source)
    systems = [part for system in find_systems(lines) for part in systems_side_by_side(system)]
    if len(systems) > MOST_SYSTEMS:
        raise NoTab(
            f"the text holds {len(systems):,} systems of tab", f"at most {MOST_SYSTEMS:,} are read: split the text"
        )
    drafts = [
        draft
        for section in find_sections(lines, systems)
        if (draft := _SectionReader(section, source.name).draft()) is not None
    ]
    if not drafts:
        hint = "tab is four to eight lines of dashes with frets on them, one under another, with or without the names of the strings"
        raise NoTab(
            "no tab found"
            if not systems
            else "no tab found: the lines that look like strings have labels that are none",
            hint,
        )
    return drafts


class _SectionReader:
    """Reads one section."""

    def __init__(self, section: TabSection, name: str) -> None:
        self._section, self._name = section, name
        self._doubts: list[Doubt] = []
        self._told: set[tuple[str, str, int]] = set()
        self._reports = 0  # those that were told already too
        self._line_starts = [line.start for line in section.lines]
        self._prose = section.prose()
        self._heading = Heading()
        self._top: list[str] = []  # comments above the lick
        self._legend: Legend = read_legend((line.number, line.text) for line in self._prose)

    # --- doubts ------------------------------------------------------------------------------------------------------

    def _report(self, rule: Rule, message: str, hint: str, span: Span, key: str) -> None:
        """Note a doubt, the same one once a line."""
        self._reports += 1
        if len(self._told) >= _MOST_DOUBTS or self._reports > _MOST_REPORTS:
            raise NoTab(
                "too much of the text is not understood", "is it a tab? take out what is none, and read it again"
            )
        line = bisect_right(self._line_starts, span.start)
        if (rule.code, key, line) not in self._told:
            self._told.add((rule.code, key, line))
            self._doubts.append(Doubt(rule, message, hint, None, span))

    def _report_line(self, rule: Rule, message: str, hint: str, line: TextLine) -> None:
        self._doubts.append(Doubt(rule, message, hint, None, line.whole()))

    # --- the steps ---------------------------------------------------------------------------------------------------

    def draft(self) -> LickDraft | None:
        """Return the section as a draft; None where none of its systems is one."""
        ordered = self._ordered()
        if not ordered:
            return None
        ours = self._section.ours
        tuning = self._tuning([order for _, order in ordered])
        first = ordered[0][0].first
        self._heading = own_heading(self._prose) if ours else foreign_heading(self._prose, first, self._name)
        reader = self._read_bars(ordered, tuning)
        if not any(instant.notes for bar in reader.bars for instant in bar.instants):
            return None
        timer = BarTimer(self._legend, ours, self._report)
        bars = timer.timed(reader, self._heading)
        if not bars:
            raise NoTab(f"one bar holds more than {MOST_NOTES:,} notes", "is it a tab? break it at its bar lines")
        self._doubts += timer.doubts
        if not ours and (line := other_part([system for system, _ in ordered])) is not None:
            hint = "put each part into a text of its own, and read it again"
            self._report_line(PARTS, "several parts are read one after another", hint, line)
        self._keep_words(reader, ordered, bars)
        self._top += bars[0].comments  # nothing stands between the fields and the first bar
        bars[0] = replace(bars[0], comments=())
        fields = self._fields(tuning, reader)
        return LickDraft(
            self._heading.title or "Untitled", tuple(bars), tuple(fields), tuple(self._top), tuple(self._doubts)
        )

    def _read_bars(self, ordered: Sequence[tuple[TabSystem, StringOrder]], tuning: Tuning) -> BarReader:
        ours = self._section.ours
        names = {label: n for n, label in enumerate(tuning.labels, 1) if tuning.labels.count(label) == 1}
        plucks = any("plucking hand" in line.text for line in self._prose)
        said = {sign: self._legend.says(sign) for sign in self._legend.meanings}
        strokes = {sign: meaning for sign, meaning in said.items() if meaning in _STROKES}
        rows = RowReader(ours, plucks, strokes, _is_chord)
        reader = BarReader(self._legend, ours, rows, names, self._report)
        for number, (system, order) in enumerate(ordered):
            if reader.notes > MOST_NOTES:
                break
            self._report_mending(system, order)
            reader.read(number, system, order)
        return reader

    def _ordered(self) -> list[tuple[TabSystem, StringOrder]]:
        """Return the systems that have strings, each with the order of its strings."""
        low_on_top = any(_LOW_ON_TOP.search(line.text) for line in self._prose)
        said = said_strings((line.number, line.text) for line in self._prose)
        labels = {id(system): [row.label for row in system.rows] for system in self._section.systems}
        known = [said] if said else []
        known += _named_sets([one for one in labels.values() if all(one)], known)
        found = []
        for system in self._section.systems:
            try:
                found.append((system, order_strings(labels[id(system)], known, low_on_top, system.has_frets)))
            except NoStrings as e:
                self._report_line(
                    NOT_STRINGS, f"`{e}` are not the strings of an instrument", "it was left out", system.rows[0].line
                )
        return found

    def _tuning(self, orders: Sequence[StringOrder]) -> Tuning:
        strings = max(order.size for order in orders)
        pitches = next((order.pitches for order in orders if order.pitches and order.size == strings), None)
        said = said_tuning([(line.number, line.text) for line in self._prose], strings)
        labeled = tuning_of(pitches) if pitches else None
        usual = usual_tuning(strings)
        if said is None:
            return labeled or usual
        if (
            labeled is not None
            and labeled != usual
            and {p % 12 for p in labeled.sounding} != {p % 12 for p in said.tuning.sounding}
        ):
            line = next(line for line in self._prose if line.number == said.line)
            self._report_line(
                TUNING_DOUBT,
                f"the labels are those of {labeled}, the prose says {said.tuning}",
                "the labels were believed",
                line,
            )
            return labeled
        return said.tuning

    def _fields(self, tuning: Tuning, reader: BarReader) -> list[tuple[str, str]]:
        fields = list(self._heading.fields)
        if str(tuning) != "standard":
            fields.append(("tuning", str(tuning)))
        capo = said_capo((line.number, line.text) for line in self._prose)
        if capo:
            fields.append(("capo", str(capo)))
        highest = max((n.fret or 0 for bar in reader.bars for i in bar.instants for n in i.notes), default=0)
        if highest > USUAL_FRETS:
            fields.append(("frets", str(min(highest, MAX_FRET))))
        if not self._section.ours and any(doubt.rule.severity is not Severity.INFO for doubt in self._doubts):
            fields.append(("tags", UNSURE))
        return fields

    def _report_mending(self, system: TabSystem, order: StringOrder) -> None:
        line = system.rows[0].line
        if system.joined:
            self._report_line(MENDED, "each string was broken over two lines, which were put together", "", line)
        if system.spread:
            self._report_line(MENDED, "other lines stand between the strings of this system", "", line)
        for row in system.rows if order.unsure else ():
            self._report_line(
                TUNING_DOUBT, order.unsure, "compare with the original which string each line is", row.line
            )
        if order.missing:
            names = ", ".join(map(str, order.missing))
            self._report_line(
                MISSING_STRING,
                f"string {names} has no line here",
                "compare with the original which string each line is",
                line,
            )

    # --- words -------------------------------------------------------------------------------------------------------

    def _keep_words(
        self, reader: BarReader, ordered: Sequence[tuple[TabSystem, StringOrder]], bars: list[DraftBar]
    ) -> None:
        """Keep what is no tab as comments where it stood; what stands before the first system or after the last one, at the top."""
        if self._section.ours:
            for line in self._heading.wrong[:_MOST_COMMENTS]:
                self._top.append(line.text.strip()[:_LONGEST_COMMENT])
                self._report_words(line)
            return
        firsts = [system.first for system, _ in ordered]
        used = {line.number for system, _ in ordered for line in (*system.above, *system.below)}
        used -= {line.number for _, line in reader.words}
        bar_of = {bar.line: n for n, bar in reversed(list(enumerate(reader.bars)))}
        kept = [line for line in self._prose if line.text.strip() and line.number not in used][:_MOST_COMMENTS]
        comments: dict[int, list[str]] = {}
        for line in kept:
            following = next((first for first in firsts if first > line.number > firsts[0]), -1)
            comments.setdefault(bar_of.get(following, -1), []).append(line.text.strip()[:_LONGEST_COMMENT])
            self._report_words(line)
        self._top += comments.pop(-1, [])
        for n, texts in comments.items():
            if n < len(bars):
                bars[n] = replace(bars[n], comments=(*texts, *bars[n].comments))
        for bar in reader.bars:
            self._top += bar.remarks

    def _report_words(self, line: TextLine) -> None:
        """Report a line of words that was kept, unless it was understood."""
        text = line.text.strip()
        if line.number in self._legend.lines:
            return
        if _INSTRUCTION.search(text):
            why = "the tab has no repeat sign for it" if said_times(text) else "it is not carried out"
            self._report_line(INSTRUCTION, f"`{text[:60]}`: {why}", "write the repeat into the lick", line)
        elif line.number not in self._heading.lines:
            self._report_line(LEFT, f"kept as a comment: `{text[:60]}`", "", line)


def _named_sets(labels: Sequence[list[str]], known: Sequence[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Return the sets of strings of the systems that have all their names, the most usual first, as pitch classes from the thinnest."""
    found: Counter[tuple[int, ...]] = Counter()
    for names in labels:
        with suppress(NoStrings):
            order = order_strings(names, known, False)
            if order.pitches is not None:
                found[tuple(pitch % 12 for pitch in order.pitches)] += 1
    return [pitches for pitches, _ in found.most_common()]


def _is_chord(text: str) -> bool:
    if text.replace(".", "") == "NC":
        return True
    try:
        parse_chord_name(text)
    except ValueError:
        return False
    return True
