"""Tree → written bars and slots: where every event stands and how long it takes.

In: the music of one lick and its settings. Out: `WrittenMusic`. What sounds, and for how long, is worked out in
`note_builder.py`; whether bars add up is judged by the checks.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.core.source import Span
from lickwright.notation.techniques import WORDS
from lickwright.notation.tree import (
    Bare,
    BarLine,
    Comment,
    DirectionNode,
    Event,
    Hold,
    Item,
    Lick,
    Navigation,
    Note,
    Rest,
    SameBar,
    Step,
    Tuplet,
    Unknown,
    Worded,
)
from lickwright.settings.fields import Settings
from lickwright.timeline import rules
from lickwright.timeline.event_words import read_rake, trill_partner
from lickwright.timeline.model import Direction, TupletSpan, WordSpan
from lickwright.timeline.rules import Report
from lickwright.timeline.written_music import MusicDraft, OpenBar, RawBar, WrittenMusic

_NONE, _WHOLE = Fraction(0), Fraction(1)
_HOLD = (Hold(),)
_REST = (Rest(),)


class BarBuilder:
    """Fills a `MusicDraft` with the items of a lick in written order."""

    def __init__(self, settings: Settings, report: Report) -> None:
        self.settings = settings
        self.report = report
        self.page = MusicDraft()
        self._bar = OpenBar(0)
        self._step = settings.step
        self._ratio = _WHOLE
        self._depth = 0
        self._over: tuple[int, ...] = ()  # the words over the current place
        self._said: list[DirectionNode] = []
        self._grace = False
        self._line: BarLine | None = None  # the bar line before the bar being filled
        self._length: Fraction | None = None  # of one step here; None after a change

    def read_music(self, lick: Lick) -> None:
        """Read the whole music of a lick."""
        self._items(lick.music)
        if self._filled():
            self._close(None)
        if self.page.lengths and self.page.lengths[-1] is _NONE:
            span = self.page.events[-1].span
            self._wrong(span, "this grace note leads to nothing", "grace notes stand before an event: `(grace: B7) B8`")
        for say in self._said:
            if self.page.events:
                self.page.directions.append(Direction(say.kind, say.text, len(self.page.events) - 1, say.span))

    def _items(self, items: Iterable[Item]) -> None:
        for item in items:
            match item:
                case Event():
                    self._event(item)
                case Unknown():
                    self._unknown(item)
                case Tuplet():
                    self._tuplet(item)
                case Worded():
                    self._word(item)
                case BarLine():
                    self._bar_line(item)
                case DirectionNode():
                    self._said.append(item)
                case Navigation():
                    self._navigation(item)
                case Step():
                    self._step, self._length = item.value, None
                    self._mark(item.span)
                case SameBar():
                    self._same(item)

    # --- events --------------------------------------------------------------------------------------------------

    def _mark(self, span: Span) -> None:
        bar = self._bar
        if not bar.end:
            bar.start = span.start
        bar.end = span.end

    def _slot(self, event: Event | Unknown, span: Span, last: bool = True) -> None:
        page = self.page
        if self._bar.ends:
            self._early()
        if self._said:
            index = len(page.events)
            page.directions += [Direction(say.kind, say.text, index, say.span) for say in self._said]
            self._said = []
        length = _NONE if self._grace else self._length
        if length is None:
            length = self._length = self._step if self._ratio is _WHOLE else self._step * self._ratio
        page.events.append(event)
        page.lasts.append(last)
        page.slot_words.append(self._over)
        page.lengths.append(length)
        bar = self._bar  # as `_mark` does
        if not bar.end:
            bar.start = span.start
        bar.end = span.end

    def _unknown(self, item: Unknown) -> None:
        self._bar.sure = False
        if item.steps:
            self._slot(item, item.span)

    def _event(self, event: Event) -> None:
        if self._bar.same is not None:
            self._not_alone(self._bar.same)
        if event.count > 1:
            plain = Event(_HOLD if isinstance(event.parts[0], Hold) else _REST, span=event.span)
            for _ in range(event.count - 1):
                self._slot(plain, event.span, last=False)
        self._slot(event, event.span)

    def _tuplet(self, tuplet: Tuplet) -> None:
        first, step, ratio = len(self.page.events), self._step, self._ratio
        self._ratio, self._length = ratio * Fraction(tuplet.normal, tuplet.count), None
        unit = step * self._ratio
        self._depth += 1
        self._mark(Span(tuplet.span.start, tuplet.span.start))
        self._items(tuplet.items)
        self._mark(tuplet.span)
        self._depth -= 1
        self._step, self._ratio, self._length = step, ratio, None
        if len(self.page.events) > first:
            last, steps = len(self.page.events) - 1, sum(self.page.lengths[first:], Fraction(0)) / unit
            span = TupletSpan(tuplet.count, tuplet.normal, first, last, self._depth, tuplet.span, steps)
            self.page.tuplets.append(span)

    # --- words ---------------------------------------------------------------------------------------------------

    def _word(self, word: Worded) -> None:
        technique = WORDS.get(word.word)
        before, first, index = self._over, len(self.page.events), len(self.page.words)
        opener = Span(word.span.start, word.span.start + len(word.word) + 2)
        self.page.words.append(WordSpan(word.word, technique, first, first, opener))
        self._over = (*before, index)
        self._mark(Span(word.span.start, word.span.start))
        if word.word == "rake":
            self._rake(word, opener)
        elif word.word == "trill":
            self._trill(word, opener)
        elif word.word == "grace":
            self._graces(word)
        else:
            if technique is None and word.word not in ("roll", "scrape"):
                self._bar.sure = False
            self._items(word.items)
        self._mark(word.span)
        self._over = before
        last = len(self.page.events) - 1
        if last < first:  # a word around nothing: no event stands under it, nor under one inside it
            del self.page.words[index:]
        else:
            self.page.words[index] = WordSpan(word.word, technique, first, last, opener)

    def _wrong(self, span: Span, message: str, hint: str) -> None:
        self._bar.sure = False
        self.report(rules.WORD_NOTES, span, message, hint)

    def _rake(self, word: Worded, opener: Span) -> None:
        """Put bare strings and the note after them into one step; holds may follow inside."""
        items = _without_comments(word)
        rake = read_rake(items)
        self._said += rake.directions
        if rake.complete:
            self.page.rakes[len(self.page.events)] = rake.strokes
            self._items(rake.rest)
        else:
            self._unreadable_word(
                word,
                items,
                opener,
                "a rake is bare strings and then one note",
                "write `(rake: D G B e8)`: the strings it runs over, then its note, in one step",
            )

    def _trill(self, word: Worded, opener: Span) -> None:
        """Put a note and the one joined to it into one step; holds may follow inside."""
        items = _without_comments(word)
        partner = trill_partner(items)
        if partner is not None:
            self.page.trills[len(self.page.events)] = partner
            self._items([items[0], *items[2:]])
        else:
            self._unreadable_word(
                word,
                items,
                opener,
                "a trill is a note and the one connected to it",
                "write `(trill: G5h7)`, on one string, with marks on the first and holds for its length",
            )

    def _unreadable_word(self, word: Worded, items: list[Item], opener: Span, message: str, hint: str) -> None:
        """Put an unknown event in a word's place; report it, unless something in it has been reported as unreadable."""
        if not any(isinstance(item, Unknown) for item in items):
            self._wrong(opener, message, hint)
        self._bar.sure = False
        self._slot(Unknown(span=word.span), word.span)

    def _graces(self, word: Worded) -> None:
        for item in word.items:
            if isinstance(item, Event) and not all(isinstance(part, (Note, Bare)) for part in item.parts):
                self._wrong(
                    item.span, "a grace note is a note", "holds and rests have no place among notes that take no time"
                )
        self._grace = True
        self._items(word.items)
        self._grace = False

    # --- bars ----------------------------------------------------------------------------------------------------

    def _filled(self) -> bool:
        return len(self.page.events) > self._bar.first or self._bar.same is not None

    def _same(self, sign: SameBar) -> None:
        before = self.page.bars[-1] if self.page.bars else None
        if before is None:
            self.report(rules.SAME, sign.span, "`%` has no bar before it to repeat", "write the bar out")
            self._bar.sure = False
            self._slot(Unknown(span=sign.span), sign.span)
        elif self._filled():
            self._not_alone(sign)
        else:
            self._bar.same = sign
            self._mark(sign.span)

    def _not_alone(self, sign: SameBar) -> None:
        self.report(rules.SAME, sign.span, "`%` is not alone in its bar", "it stands for the whole bar before: `| % |`")
        self._bar.sure, self._bar.same = False, None

    def _bar_line(self, line: BarLine) -> None:
        if line.ending:
            if self._filled() or self._line is None:
                from lickwright.notation.rules import ENDING

                self.report(
                    ENDING,
                    line.span,
                    f"`{'1st' if line.ending == 1 else '2nd'}` does not follow a bar line",
                    "an ending begins right after a bar line: `|1st`",
                )
                self._bar.sure = False  # so that its other half is not reported as alone
            else:
                self._bar.ending = line.ending
                self._mark(line.span)
            return
        if self._filled():
            self._close(line)
        elif self._line is not None:
            self._join(self._line, line)
        self._bar.repeat_start = self._bar.repeat_start or line.repeat_start
        self._line = line

    def _navigation(self, item: Navigation) -> None:
        """Add a mark to its bar; report one that is neither at the start nor at the end where it belongs."""
        bar, mark = self._bar, item.mark
        if self._depth or self._grace or (mark.opens and self._filled()):
            what = "start" if mark.opens else "end"
            self._misplaced(
                item,
                f"{mark.printed} is not at the {what} of its bar",
                f"write `@{mark.sign}` at the {what}, outside of brackets",
            )
        elif not mark.opens and not self._filled():
            self._misplaced(item, f"{mark.printed} ends no bar", f"write it before the bar line: `… @{mark.sign} |`")
            if self.page.bars:
                self.page.bars[-1].opened.marks.append(item)
            return
        bar.marks.append(item)
        bar.ends = bar.ends or not mark.opens
        self._mark(item.span)

    def _misplaced(self, item: Navigation, message: str, hint: str) -> None:
        self.report(rules.MISPLACED, item.span, message, hint)

    def _early(self) -> None:
        """Report a mark that ends its bar and has an event after it."""
        item = next(node for node in self._bar.marks if not node.mark.opens)
        self._misplaced(
            item,
            f"{item.mark.printed} is not at the end of its bar",
            f"write `@{item.mark.sign}` just before the bar line",
        )
        self._bar.ends = False

    def _join(self, before: BarLine, line: BarLine) -> None:
        """Take two bar lines with nothing between as one where a line break or a repeat sign parts them; else report it."""
        if not self._bar.sure:
            return  # what cannot be read stands between them, and has been reported
        if line.empty or not (before.newline or line.newline or before.repeat_end or line.repeat_start):
            self.report(
                rules.EMPTY_BAR,
                Span(line.span.start if before.newline else before.span.start, line.span.end),
                "there is nothing between these bar lines",
                "a bar of silence is written with rests, the same bar again with `%`",
            )
        elif line.repeat_end and self.page.bars:
            closing = self.page.bars[-1].closing or line
            self.page.bars[-1].closing = BarLine(
                closing.double, closing.repeat_end or line.repeat_end, span=closing.span
            )

    def _close(self, line: BarLine | None) -> None:
        bar = self._bar
        bar.newline = bool(line and line.newline)
        self.page.bars.append(RawBar(bar, len(self.page.events), line))
        self._bar = OpenBar(len(self.page.events))
        if self._step is not self.settings.step:
            self._step, self._length = self.settings.step, None


def _without_comments(word: Worded) -> list[Item]:
    return [item for item in word.items if not isinstance(item, Comment)]


def build_bars(lick: Lick, settings: Settings, report: Report) -> WrittenMusic:
    """Return the written bars of a lick, in whole grains."""
    builder = BarBuilder(settings, report)
    builder.read_music(lick)
    return builder.page.in_grains(settings)
