"""The text of a lick's music: items → words → lines.

In: the items of a lick, and the text that they were read from where there is one. Out: its lines. A line ends where the writer ended one at a
bar line, or with a remark; one that the writer began within a bar stays only where the whole would be too long.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.item_text import bar_sign, closing_sign, item_text, opening_sign, tuplet_opener
from lickwright.notation.music_rows import MusicRow, row_lines
from lickwright.notation.source_layout import SourceLayout
from lickwright.notation.techniques import EVENT_WORDS
from lickwright.notation.text_columns import BarCell, MusicLine, Word
from lickwright.notation.touching import touches
from lickwright.notation.tree import (
    BarLine,
    Comment,
    DirectionNode,
    Event,
    Field,
    Hold,
    Item,
    Navigation,
    Rest,
    Step,
    Tuplet,
    Worded,
)

_MOST_JOINED = 16  # events in one word, and so in one run


@mutable_record
class _Bar:
    """A bar of the line that is being written."""

    sign: str
    words: list[Word] = field(default_factory=list)


def music_lines(
    items: tuple[Item, ...], step: Fraction, layout: SourceLayout, above: Field | Comment | None
) -> list[str]:
    """Return the lines of a lick's music, in which `step` counts; `above` stands over them. Raises `ValueError` for what could not be read."""
    writer = _Writer(step, layout)
    writer.write(items)
    comment = isinstance(above, Comment) and above.own_line
    return row_lines(writer.finish(), layout.whole_line(*above.span) if above is not None and comment else "")


class _Writer:
    """Writes items in order, and remembers what the next one may touch."""

    def __init__(self, step: Fraction, layout: SourceLayout) -> None:
        self._step = self._lick_step = step
        self._layout = layout
        self._rows: list[MusicRow] = []
        self._bars: list[_Bar] = []  # of the line being written
        self._blank = False  # before that line
        self._owed: BarLine | None = None  # the bar line that ended a line: whatever follows begins a new one
        self._opened = ""  # brackets that touch what follows
        self._lead: list[str] = []  # what takes no time, and stands before what follows
        self._at = Fraction(0)  # from the start of the bar
        self._scale = Fraction(1)  # of a step, in tuplets
        self._joined = 0  # events of the last word
        self._last: Event | None = None  # the event that the next one may touch
        self._closed = False  # a word's parenthesis that a hold may touch has just ended
        self._within = False  # the line being written begins within a bar
        self._after_bar = True  # the line before ended with a bar line
        self._breaks = False  # the writer began a line with what follows
        self._from = self._until = -1  # where the line being written stands in the source
        self._before = -1  # where the item before ends in the source

    def write(self, items: Iterable[Item]) -> None:
        """Write items."""
        for item in items:
            self._note_place(item)
            match item:
                case Comment():
                    self._comment(item)
                case BarLine():
                    self._bar_line(item)
                case Tuplet():
                    self._tuplet(item)
                case Worded():
                    self._worded(item)
                case Event():
                    self._event(item)
                case Step():
                    self._step = item.value
                    self._lead_in(item)
                case DirectionNode() | Navigation():
                    self._lead_in(item)
                case _:
                    self._add(item_text(item))
                    self._last = None
            self._before = item.span.end

    def finish(self) -> list[MusicRow]:
        """Return the rows that were written."""
        if self._owed is not None and self._owed.repeat_start:  # with nothing after it
            self._begin_line()
        self._end_line()
        return self._rows

    # --- lines

    def _note_place(self, item: Item) -> None:
        """Note what the writer left between the item before and this one."""
        if isinstance(item, BarLine | Comment):
            self._breaks = False
        elif self._layout.breaks_between(self._before, item.span.start):
            self._breaks = True
        if not (self._bars or self._lead or self._opened):
            self._blank = self._layout.is_after_blank_line(item.span.start)
            self._from = item.span.start
        self._until = item.span.end

    def _begin_line(self) -> None:
        """Begin a new line if none is being written."""
        if self._owed is not None:
            self._bars, self._within = [_Bar(opening_sign(self._owed))], False
            self._owed = None
        elif not self._bars:
            self._bars, self._within = [_Bar(" " if self._after_bar else "")], not self._after_bar

    def _end_line(self, remark: str = "") -> None:
        """Put the line being written among the rows."""
        self._flush()
        end = ""
        if len(self._bars) > 1 and not self._bars[-1].words:
            end = self._bars.pop().sign
        if self._bars:
            music = MusicLine(tuple(BarCell(bar.sign, tuple(bar.words)) for bar in self._bars), end)
            written = self._layout.whole_line(self._from, self._until)
            self._rows.append(MusicRow(music, remark, self._blank, bool(end) and not self._within, written))
            self._after_bar = bool(end)
        elif remark:
            self._rows.append(MusicRow(None, remark, self._blank))
        self._bars, self._blank = [], False
        self._may_touch(None)

    def _may_touch(self, last: Event | None, closed: bool = False) -> None:
        self._last, self._closed = last, closed

    def _comment(self, comment: Comment) -> None:
        text = self._layout.comment(comment)
        if comment.own_line:
            self._end_line()
            blank, written = (
                self._layout.is_after_blank_line(comment.span.start),
                self._layout.whole_line(*comment.span),
            )
            self._rows.append(MusicRow(None, text, blank, written=written))
        elif self._bars or self._lead or self._opened or not self._rows or self._rows[-1].remark:
            self._end_line(text)
        else:  # after the bar line that ended a line
            self._rows[-1].remark = text

    def _bar_line(self, line: BarLine) -> None:
        if line.ending:
            self._ending(line)
            return
        self._flush()
        if self._owed is not None:
            self._begin_line()
        elif not self._bars:
            self._within = False
        self._at, self._step = Fraction(0), self._lick_step
        self._may_touch(None)
        if line.newline:
            self._bars.append(_Bar(closing_sign(line)))
            self._end_line()
            self._owed = line
        else:
            self._bars.append(_Bar(bar_sign(line)))

    def _ending(self, line: BarLine) -> None:
        """Write `1st` or `2nd`, which touches its bar line."""
        self._begin_line()
        number = "1st" if line.ending == 1 else "2nd"
        bar = self._bars[-1]
        if bar.words or not bar.sign:
            self._add(number)
        else:
            bar.sign += number if bar.sign.endswith("|") else f" {number}"
        if line.newline:
            self._end_line()

    # --- words

    def _lead_in(self, item: Item) -> None:
        self._lead.append(self._opened + item_text(item))
        self._opened = ""
        self._may_touch(None)

    def _flush(self) -> None:
        """Write what takes no time and has nothing after it in its bar."""
        if self._opened:
            self._lead.append(self._opened.rstrip())
            self._opened = ""
        if self._lead:
            lead, self._lead = " ".join(self._lead), []
            self._begin_line()
            words = self._bars[-1].words
            if words:
                words[-1] = words[-1]._replace(text=f"{words[-1].text} {lead}")
            else:
                words.append(Word(self._at, "", lead))

    def _add(self, text: str) -> None:
        """Write a word at the present instant, after what stands before it."""
        self._begin_line()
        words = self._bars[-1].words
        breaks, self._breaks = self._breaks and bool(words), False
        before, at, text = [*self._lead], self._at, self._opened + text
        self._lead, self._opened = [], ""
        if words and words[-1].at == at:  # grace notes, strokes of a rake
            together = words.pop()
            before.insert(0, together.lead + together.text)
            breaks = together.breaks
        lead = "".join(f"{part} " for part in before)
        opener = text.rpartition(": ")
        words.append(Word(at, lead + opener[0] + opener[1], opener[2], breaks))
        self._joined = 1

    def _event(self, event: Event) -> None:
        text = item_text(event)
        apart = self._lead or self._opened or self._joined >= _MOST_JOINED
        if not apart and touches(self._last, event, self._closed):
            words = self._bars[-1].words
            words[-1] = words[-1]._replace(text=words[-1].text + text)
            self._joined += 1
            self._breaks = False
        else:
            self._add(text)
        self._may_touch(event)
        self._at += self._step * self._scale * event.count

    # --- brackets

    def _tuplet(self, tuplet: Tuplet) -> None:
        scale, step = self._scale, self._step
        self._scale = scale * tuplet.normal / tuplet.count
        self._around(tuplet_opener(tuplet), tuplet.items, "]")
        self._scale, self._step = scale, step
        self._may_touch(None)

    def _worded(self, worded: Worded) -> None:
        start, length, scale = self._at, self._step * self._scale, self._scale
        one_event = worded.word in EVENT_WORDS and worded.word != "roll"
        self._scale = Fraction(0) if one_event else scale
        self._around(f"({worded.word}: ", worded.items, ")")
        self._scale = scale
        if one_event and worded.word != "grace":
            self._at = start + length * (1 + sum(map(_held_steps, worded.items)))
        self._may_touch(None, closed=worded.word != "grace")

    def _around(self, opener: str, items: tuple[Item, ...], closer: str) -> None:
        """Write a bracket: its opener touches the first item, its closer the last."""
        self._opened += opener
        self._may_touch(None)
        self.write(items)
        self._flush()
        if not self._bars:
            self._add(closer)
        elif words := self._bars[-1].words:
            words[-1] = words[-1]._replace(text=words[-1].text + closer)
        else:
            self._bars[-1].sign += closer


def _held_steps(item: Item) -> int:
    """Return the steps for which an item of a word that is one event holds."""
    if isinstance(item, Event) and all(isinstance(part, Hold | Rest) for part in item.parts):
        return item.count
    return 0
