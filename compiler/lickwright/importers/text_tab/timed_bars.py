"""The bars of a section with their rhythm, as drafts: when everything is played, what repeats, which chords stand over it.

In: the bars with their columns, and the heading. Out: `DraftBar`s, and doubts about the rhythm. Bars always add up: what no row of counts
or letters says is taken from the spacing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.importers.draft import Doubt, DraftBar, DraftChord, DraftDirection
from lickwright.importers.text_tab.count_row import counted_beats
from lickwright.importers.text_tab.heading import Heading
from lickwright.importers.text_tab.legend import Legend
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
from lickwright.importers.text_tab.rules import GUESSED_RHYTHM, LIMIT, ROW_UNFIT
from lickwright.importers.text_tab.scan_state import Report
from lickwright.importers.text_tab.written_bars import BarReader, ColumnBar
from lickwright.music.rhythm import Meter, parse_meter
from lickwright.notation.navigation import NAVIGATION

MOST_NOTES = 10_000  # of a lick, a limit of the notation
_SHORT_BAR = 8  # notes of a lone bar that are played within one measure
_CROWDED = 32  # notes of one bar beyond which it is several
_FIRST_BEAT = Fraction(1, 4)  # up to where a bar's first chord is taken to be that of the whole bar
_FOUR_FOUR = parse_meter("4/4")


class BarTimer:
    """Times the bars of one section."""

    def __init__(self, legend: Legend, ours: bool, report: Report) -> None:
        self._legend, self._ours, self._report = legend, ours, report
        self.doubts: list[Doubt] = []  # about the rhythm, by bar

    def timed(self, reader: BarReader, heading: Heading) -> list[DraftBar]:
        meter = heading.meter or self._counted_meter(reader.bars) or _FOUR_FOUR
        player = Player(self._legend, self._ours, self._report)
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
                made.append((_placed(piece, bar, part, self._ours), part))
        groups = player.play([bar for bar, _ in made], [part for _, part in made], reader.spans)
        bars = [replace(bar, groups=group) for (bar, _), group in zip(made, groups, strict=True)]
        self._report_rhythm([timed for _, timed in made], bars)
        return bars

    def _time(self, bar: ColumnBar, meter: Meter, pad: int | None) -> TimedBar:
        ours = self._ours
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
                self.doubts.append(
                    Doubt(ROW_UNFIT, f"bar {n + 1}: {one.unfit}", "compare the rhythm with the original", n, span)
                )
            if one.source in ("grid", "guess"):
                percent = round(one.confidence * 100)
                message = f"rhythm guessed in bar {n + 1} from the spacing ({percent} % sure)"
                self.doubts.append(
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
