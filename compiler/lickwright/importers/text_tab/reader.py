"""A text tab read: from lines to drafts.

In: a `Source`. Out: `LickDraft`s, one for each lick. The steps are in the other modules of this package; here they are put together, and
the doubts collected.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from fractions import Fraction

from lickwright.core.diagnostics import Rule, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source, Span, Unreadable
from lickwright.importers.draft import Doubt, DraftBar, DraftChord, DraftDirection, LickDraft
from lickwright.importers.text_tab.bars import said_times
from lickwright.importers.text_tab.count_row import counted_beats
from lickwright.importers.text_tab.heading import Heading, foreign_heading, own_heading
from lickwright.importers.text_tab.legend import Legend, read_legend
from lickwright.importers.text_tab.playing import Player
from lickwright.importers.text_tab.rhythm import (
    TimedBar,
    TimedColumn,
    counted_bar,
    letter_value,
    lettered_bar,
    spaced_bar,
    unbarred_bar,
)
from lickwright.importers.text_tab.rows import RowReader
from lickwright.importers.text_tab.rules import (
    GUESSED_RHYTHM,
    INSTRUCTION,
    LEFT,
    LIMIT,
    MENDED,
    MISSING_STRING,
    NO_TAB,
    NOT_STRINGS,
    ROW_UNFIT,
    TUNING_DOUBT,
)
from lickwright.importers.text_tab.sections import TabSection, find_sections
from lickwright.importers.text_tab.string_order import NoStrings, StringOrder, order_strings
from lickwright.importers.text_tab.systems import TabSystem, find_systems
from lickwright.importers.text_tab.text_lines import TextLine, clean_lines
from lickwright.importers.text_tab.tunings import (
    said_capo,
    said_strings,
    said_tuning,
    tuning_of,
    usual_tuning,
)
from lickwright.importers.text_tab.written_bars import BarReader, ColumnBar
from lickwright.music.chord import parse_chord_name
from lickwright.music.fretboard import MAX_FRET, USUAL_FRETS
from lickwright.music.rhythm import Meter, parse_meter
from lickwright.music.tuning import Tuning
from lickwright.notation.navigation import NAVIGATION

UNSURE = "unsure"  # the tag of a lick that has to be compared with its source
MOST_NOTES = 10_000  # of a lick, a limit of the notation
MOST_SYSTEMS = 3_000
_MOST_COMMENTS, _LONGEST_COMMENT = 400, 200
_MOST_DOUBTS = 3_000  # of one lick; a tab for people has a few
_SHORT_BAR = 8  # notes of a lone bar that are played within one measure
_CROWDED = 32  # notes of one bar beyond which it is several
_LOW_ON_TOP = re.compile(
    r"upside[- ]down|(?:low(?:est)?|bass|thick(?:est)?) (?:e |string )?(?:on|at)(?: the)? top",
    re.IGNORECASE,
)
_INSTRUCTION = re.compile(
    r"\b(?:repeat|play)\b[^.]{0,20}\b(?:twice|thrice|times|again|x\d|\d\s?x|\d+)\b|\bx\s?\d\b|\brepeat\b", re.IGNORECASE
)
_FIRST_BEAT = Fraction(1, 4)  # up to where a bar's first chord is taken to be that of the whole bar
_FOUR_FOUR = parse_meter("4/4")


class NoTab(Unreadable):
    """The text holds no tab that can be read."""

    rule: Rule = NO_TAB
    source: Source | None = None


def read_text_tab(source: Source) -> list[LickDraft]:
    """Return the licks of a text tab. Raises NoTab where there is none."""
    lines = clean_lines(source)
    systems = find_systems(lines)
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
        self._line_starts = [line.start for line in section.lines]
        self._prose = section.prose()
        self._heading = Heading()
        self._legend: Legend = read_legend((line.number, line.text) for line in self._prose)

    # --- doubts ------------------------------------------------------------------------------------------------------

    def _report(self, rule: Rule, message: str, hint: str, span: Span, key: str) -> None:
        """Note a doubt, the same one once a line."""
        from bisect import bisect_right

        line = bisect_right(self._line_starts, span.start)
        if (rule.code, key, line) not in self._told:
            if len(self._told) >= _MOST_DOUBTS:
                raise NoTab(
                    "too much of the text is not understood", "is it a tab? take out what is none, and read it again"
                )
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
        names = {label: n for n, label in enumerate(tuning.labels, 1) if tuning.labels.count(label) == 1}
        heading = self._heading = (
            own_heading(self._prose) if ours else foreign_heading(self._prose, ordered[0][0].first, self._name)
        )
        plucks = any("plucking hand" in line.text for line in self._prose)
        strokes = frozenset(
            letter for letter in self._legend.meanings if self._legend.says(letter) in ("down", "up", "slap", "pop")
        )
        rows = RowReader(ours, plucks, strokes, _is_chord)
        reader = BarReader(self._legend, ours, rows, names, self._report)
        for number, (system, order) in enumerate(ordered):
            if reader.notes > MOST_NOTES:
                break
            self._report_mending(system, order)
            reader.read(number, system, order)
        if not any(instant.notes for bar in reader.bars for instant in bar.instants):
            return None
        fields = self._fields(heading, tuning)
        highest = max((n.fret or 0 for bar in reader.bars for i in bar.instants for n in i.notes), default=0)
        if highest > USUAL_FRETS:
            fields.append(("frets", str(min(highest, MAX_FRET))))
        bars = self._timed(reader, heading)
        self._keep_words(reader, ordered, bars)
        self._top += bars[0].comments  # nothing stands between the fields and the first bar
        bars[0] = replace(bars[0], comments=())
        if not ours and any(doubt.rule.severity is not Severity.INFO for doubt in self._doubts):
            fields.append(("tags", UNSURE))
        return LickDraft(heading.title or "Untitled", tuple(bars), tuple(fields), tuple(self._top), tuple(self._doubts))

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
                found.append((system, order_strings(labels[id(system)], known, low_on_top)))
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

    def _fields(self, heading: Heading, tuning: Tuning) -> list[tuple[str, str]]:
        fields = list(heading.fields)
        if str(tuning) != "standard":
            fields.append(("tuning", str(tuning)))
        capo = said_capo((line.number, line.text) for line in self._prose)
        if capo:
            fields.append(("capo", str(capo)))
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

    # --- rhythm ------------------------------------------------------------------------------------------------------

    def _timed(self, reader: BarReader, heading: Heading) -> list[DraftBar]:
        meter = heading.meter or self._counted_meter(reader.bars) or _FOUR_FOUR
        player = Player(self._legend, self._section.ours, self._report)
        made: list[tuple[DraftBar, TimedBar | None]] = []
        pad = _usual_pad(reader.bars)
        notes = 0
        for index, bar in enumerate(reader.bars):
            notes += sum(len(instant.notes) for instant in bar.instants)
            if notes > MOST_NOTES:
                self._report(
                    LIMIT, f"what follows after {MOST_NOTES:,} notes is left out", "split the text", bar.span, "limit"
                )
                break
            drafted = _signed(bar, meter, index == 0)
            if bar.tab.same:
                made.append((replace(drafted, length=meter.length), None))
                continue
            length, shift = _own_length(heading, meter, index)
            timed = self._time(bar, meter, pad)
            if shift:
                timed.columns = [TimedColumn(c.instant, max(Fraction(0), c.at - shift), c.lead) for c in timed.columns]
                timed.times = {x: max(Fraction(0), at - shift) for x, at in timed.times.items()}
            for part, piece in _within_bars(timed, length, drafted):
                made.append((_placed(piece, bar, part, self._section.ours), part))
        groups = player.play([bar for bar, _ in made], [part for _, part in made], reader.spans)
        bars = [replace(bar, groups=group) for (bar, _), group in zip(made, groups, strict=True)]
        self._report_rhythm([timed for _, timed in made], bars)
        return bars

    def _time(self, bar: ColumnBar, meter: Meter, pad: int | None) -> TimedBar:
        ours = self._section.ours
        unfit = ""
        if bar.words:
            timed = counted_bar(bar.instants, bar.words, meter, ours)
            if timed is not None:
                if timed.confidence < 1:
                    timed.unfit = "some notes stand between the counts"
                return timed
            unfit = "the counts do not stand under the notes"
        elif bar.letters:
            timed = lettered_bar(bar.instants, bar.letters, meter.length)
            if timed is not None:
                return timed
            unfit = "the rhythm letters do not stand over the notes, or do not fill the bar"
        count = len(bar.instants)
        if count and ((bar.alone and (count > _SHORT_BAR or not bar.tab.closed)) or count > _CROWDED):
            timed = unbarred_bar(bar.instants, bar.right)
        else:
            timed = spaced_bar(bar.instants, bar.left, bar.right, meter.length, pad)
        timed.unfit = unfit
        return timed

    def _counted_meter(self, bars: Sequence[ColumnBar]) -> Meter | None:
        """Return the meter that the counts or the letters show."""
        beats = counted_beats([bar.words for bar in bars])
        if beats:
            return parse_meter("6/8" if beats == 6 else f"{beats}/4") if 2 <= beats <= 7 else None
        sums = Counter(
            sum((letter_value(letter) or Fraction(0) for _, letter in bar.letters), Fraction(0))
            for bar in bars
            if bar.letters
        )
        if sums:
            length = sums.most_common(1)[0][0]
            if length.denominator in (1, 2, 4) and Fraction(1, 2) <= length <= Fraction(7, 4):
                return parse_meter(f"{int(length * 4)}/4")
            if length.denominator == 8 and Fraction(3, 8) <= length <= Fraction(12, 8):
                return parse_meter(f"{int(length * 8)}/8")
        return None

    def _report_rhythm(self, timed: Sequence[TimedBar | None], bars: list[DraftBar]) -> None:
        for n, one in enumerate(timed):
            if one is None or not one.columns:
                continue
            span = bars[n].span or Span(0, 0)
            if one.unfit:
                self._doubts.append(
                    Doubt(ROW_UNFIT, f"bar {n + 1}: {one.unfit}", "compare the rhythm with the original", n, span)
                )
            if one.source in ("grid", "guess"):
                percent = round(one.confidence * 100)
                message = f"rhythm guessed in bar {n + 1} from the spacing ({percent} % sure)"
                self._doubts.append(
                    Doubt(
                        GUESSED_RHYTHM,
                        message,
                        "listen to it, and write the rhythm that is meant",
                        n,
                        span,
                        one.confidence,
                    )
                )
                bars[n] = replace(bars[n], comments=(*bars[n].comments, message))

    # --- words -------------------------------------------------------------------------------------------------------

    def _keep_words(
        self, reader: BarReader, ordered: Sequence[tuple[TabSystem, StringOrder]], bars: list[DraftBar]
    ) -> None:
        """Keep what is no tab as comments where it stood."""
        self._top: list[str] = []
        if self._section.ours:
            return
        firsts = [system.first for system, _ in ordered]
        used = {line.number for system, _ in ordered for line in (*system.above, *system.below)}
        used -= {line.number for _, line in reader.words}
        bar_of = {bar.line: n for n, bar in reversed(list(enumerate(reader.bars)))}
        comments: dict[int, list[str]] = {}
        kept = 0
        for line in self._prose:
            text = line.text.strip()
            if not text or line.number in used or kept >= _MOST_COMMENTS:
                continue
            kept += 1
            following = next((first for first in firsts if first > line.number), None)
            place = bar_of.get(following, -1) if following is not None and firsts[0] < line.number else -1
            comments.setdefault(place, []).append(text[:_LONGEST_COMMENT])
            if _INSTRUCTION.search(text) and line.number not in self._legend.lines:
                times = said_times(text)
                words = (
                    f"`{text[:60]}` is not carried out"
                    if not times
                    else f"`{text[:60]}`: the tab has no repeat sign for it"
                )
                self._report_line(INSTRUCTION, words, "write the repeat into the lick", line)
            elif line.number not in self._legend.lines and line.number not in self._heading.lines:
                self._report_line(LEFT, f"kept as a comment: `{text[:60]}`", "", line)
        self._top = comments.pop(-1, [])
        for n, texts in comments.items():
            if n < len(bars):
                bars[n] = replace(bars[n], comments=(*texts, *bars[n].comments))
        for bar in reader.bars:
            self._top += bar.remarks


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


def _usual_pad(bars: Sequence[ColumnBar]) -> int | None:
    """Return the columns between bar lines and first notes, where most bars agree."""
    pads = Counter(bar.instants[0].x - bar.left for bar in bars if bar.instants)
    if not pads or len(bars) < 2:
        return None
    pad, times = pads.most_common(1)[0]
    return pad if times * 2 > len(bars) and pad <= 4 else min(pads) if min(pads) <= 2 else None


def _own_length(heading: Heading, meter: Meter, index: int) -> tuple[Fraction, Fraction]:
    """Return the length of a bar, and the instant of the meter at which it begins: a pick-up begins late."""
    if heading.pickup and index == 0:
        return heading.pickup, meter.length - heading.pickup
    if heading.pickup and index in heading.short:
        return meter.length - heading.pickup, Fraction(0)
    return meter.length, Fraction(0)


def _signed(bar: ColumnBar, meter: Meter, first: bool) -> DraftBar:
    """Return a bar with its signs and without notes."""
    tab = bar.tab
    ending = next((int(entry.text) for entry in bar.entries if entry.kind == "ending"), 0)
    times = next((int(entry.text) for entry in bar.entries if entry.kind == "times"), 0)
    printed = {mark.printed: mark for mark in NAVIGATION}
    marks = tuple(printed[entry.text] for entry in bar.entries if entry.kind == "going" and entry.text in printed)
    repeat_end = times if times > 1 and tab.repeat_end else tab.repeat_end
    return DraftBar(
        meter=meter if first else None, same=tab.same, repeat_start=tab.repeat_start, repeat_end=repeat_end, ending=ending, double=tab.double,
        marks=marks, span=bar.span,
    )  # fmt: skip


def _within_bars(timed: TimedBar, length: Fraction, bar: DraftBar) -> list[tuple[TimedBar, DraftBar]]:
    """Return a timed bar as bars of the meter's length: one, or several where no bar lines part it."""
    last = max((column.at for column in timed.columns), default=Fraction(0))
    count = int(last / length) + 1
    if count == 1:
        return [(timed, replace(bar, length=length))]
    found = []
    for k in range(count):
        columns = [
            TimedColumn(c.instant, c.at - length * k, c.lead)
            for c in timed.columns
            if length * k <= c.at < length * (k + 1)
        ]
        part = TimedBar(
            columns, timed.source, timed.confidence, timed.unfit if k == 0 else "", {c.instant.x: c.at for c in columns}
        )
        first, end = k == 0, k == count - 1
        found.append((part, replace(
            bar, length=length, meter=bar.meter if first else None, repeat_start=bar.repeat_start and first, repeat_end=bar.repeat_end if end else 0,
            ending=bar.ending if first else 0, double=bar.double and end, marks=tuple(m for m in bar.marks if m.opens == first or (not m.opens and end)),
        )))  # fmt: skip
    return found


def _placed(drafted: DraftBar, bar: ColumnBar, timed: TimedBar, ours: bool) -> DraftBar:
    """Return a bar with the chords and directions that stand over it."""
    xs = sorted(timed.times)
    chords: list[DraftChord] = []
    directions: list[DraftDirection] = []
    for entry in bar.entries:
        at = _time_at(entry.x, xs, timed.times)
        if at is None:
            continue
        if entry.kind == "chord":
            at = at if ours or chords or at > _FIRST_BEAT else Fraction(0)
            if not any(chord.at == at for chord in chords):
                chords.append(
                    DraftChord(at, entry.text.replace("NC", "N.C.") if entry.text.startswith("NC") else entry.text)
                )
        elif entry.kind in ("words", "dynamic", "tempo", "fermata"):
            directions.append(DraftDirection(at, entry.kind, "" if entry.kind == "fermata" else entry.text))
    return replace(drafted, chords=tuple(sorted(chords)), directions=tuple(directions))


def _time_at(x: int, xs: Sequence[int], times: dict[int, Fraction]) -> Fraction | None:
    """Return the instant of the column nearest to `x`; the start of the bar where it stands before all of them."""
    if not xs:
        return None
    if x <= xs[0]:
        return times[xs[0]] if times[xs[0]] == 0 or x == xs[0] else Fraction(0)
    return times[min(xs, key=lambda other: abs(other - x))]
