"""Tree → text: a book written out in one tidy way.

In: a `Book` without mistakes. Out: text that parses to an equal book, with its comments and the writer's line breaks at bar lines. A text that was
written so once stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.music.rhythm import usual_time
from lickwright.notation.techniques import HEADS, TechniqueKind
from lickwright.notation.tree import (
    Bare,
    BarLine,
    Book,
    Comment,
    DirectionNode,
    Event,
    Field,
    Hold,
    Item,
    Lick,
    MarkNode,
    Navigation,
    Note,
    Part,
    Rest,
    SameBar,
    Step,
    Tuplet,
    Unknown,
    Worded,
)

_AMOUNTS = {Fraction(2): "full", Fraction(1): "half", Fraction(1, 2): "quarter"}  # semitones


def canonical_text(book: Book) -> str:
    """Return the text of a whole file. Raises `ValueError` for a book with something unreadable in it."""
    blocks = [_header(book.head)] if book.head else []
    comments: list[Comment] = []  # those after a lick's last bar stand above the next lick
    for lick in book.licks:
        music, after = _split_tail(lick.music)
        text = _lick_line(lick) + _header(lick.fields, first=False) + _Lines().music(music)
        blocks.append("".join(f"{_comment(c)}\n" for c in comments) + text)
        comments = after
    blocks += ["".join(f"{_comment(c)}\n" for c in comments)] if comments else []
    return "\n".join(blocks)


def _comment(comment: Comment) -> str:
    return f"# {comment.text}".rstrip()


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


# --- lines -------------------------------------------------------------------------------------------------------


def _lick_line(lick: Lick) -> str:
    first = lick.fields[0] if lick.fields else None
    remark = f"  {_comment(first)}" if isinstance(first, Comment) and not first.own_line else ""
    return f"lick {_quoted(lick.title)}{remark}\n"


def _header(entries: tuple[Field | Comment, ...], first: bool = True) -> str:
    """Return fields in one column; a remark that ends the lick's own line has been written with it."""
    width = max((len(entry.name) for entry in entries if isinstance(entry, Field)), default=0)
    lines = []
    for n, entry in enumerate(entries):
        if isinstance(entry, Field):
            remark = f"  # {entry.comment}" if entry.comment is not None else ""
            lines.append(f"{entry.name:<{width}} {entry.text}{remark}".rstrip())
        elif first or n or entry.own_line:
            lines.append(_comment(entry))
    return "".join(f"{line}\n" for line in lines)


def _split_tail(items: tuple[Item, ...]) -> tuple[tuple[Item, ...], list[Comment]]:
    end = len(items)
    while end and isinstance(last := items[end - 1], Comment) and last.own_line:
        end -= 1
    return items[:end], [item for item in items[end:] if isinstance(item, Comment)]


# --- music -------------------------------------------------------------------------------------------------------


class _Lines:
    """Writes items, one space between them, and breaks lines where the writer did."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.words: list[str] = []  # of the line being written
        self._owed = False  # a bar line asked for a new line, which comes with whatever follows

    def music(self, items: tuple[Item, ...]) -> str:
        """Return the lines of some music."""
        self._items(items)
        self._break()
        return "".join(f"{line}\n" for line in self.lines)

    def _break(self) -> None:
        if self.words:
            self.lines.append(" ".join(self.words))
            self.words = []

    def _write(self, text: str) -> None:
        if self._owed:
            self._owed = False
            self._break()
            self.words.append("|")
        elif not self.words and self.lines:
            text = "  " + text  # a line that begins within a bar
        self.words.append(text)

    def _items(self, items: Iterable[Item]) -> None:
        for item in items:
            match item:
                case Comment():
                    self._remark(item)
                case BarLine():
                    self._bar_line(item)
                case Tuplet():
                    number = f"{item.count}" if item.normal == usual_time(item.count) else f"{item.count}:{item.normal}"
                    self._around(f"{number}[", item.items, "]")
                case Worded():
                    self._around(f"({item.word}: ", item.items, ")")
                case _:
                    self._write(_text(item))

    def _remark(self, comment: Comment) -> None:
        if comment.own_line:
            self._break()
            self.lines.append(_comment(comment))
        else:
            self.words.append(_comment(comment))
            self._break()

    def _bar_line(self, line: BarLine) -> None:
        if line.ending:
            self._write("1st" if line.ending == 1 else "2nd")
            return
        self._write(_bar_sign(line))
        self._owed = line.newline

    def _around(self, opener: str, items: tuple[Item, ...], closer: str) -> None:
        """Write a bracket: its opener touches the first item, its closer the last."""
        inner = _Lines()
        inner._items(items)
        inner._break()
        lines, after_remark = inner.lines, _ends_in_remark(items)
        self._write(opener + (lines[0] if lines else ""))
        for line in lines[1:]:
            self._break()
            self.words.append(line)
        if after_remark:
            self._break()
            self.words.append("  " + closer)
        else:
            self.words[-1] += closer


def _ends_in_remark(items: tuple[Item, ...]) -> bool:
    return bool(items) and isinstance(items[-1], Comment)


def _bar_sign(line: BarLine) -> str:
    middle = "||" if line.double else "|"
    times = f"x{line.repeat_end}" if line.repeat_end > 2 else ""
    if line.repeat_end and line.repeat_start:
        return f":{middle}{times} |:" if times else f":{middle}:"
    return f"{':' if line.repeat_end else ''}{middle}{times}{':' if line.repeat_start else ''}"


def _text(item: Event | Unknown | Step | DirectionNode | Navigation | SameBar | object) -> str:
    match item:
        case Event():
            return "&".join(_part(part, item.count) for part in item.parts)
        case Step():
            return step_text(item.value)
        case Navigation(mark):
            return f"@{mark.sign}"
        case DirectionNode("words", text):
            return f"@{_quoted(text)}"
        case DirectionNode("tempo", text):
            return f"@tempo={text.replace(' ', '')}"
        case DirectionNode("fermata"):
            return "@fermata"
        case DirectionNode(_, text):
            return f"@{text}"
        case SameBar():
            return "%"
    raise ValueError("what could not be read cannot be written")


def step_text(value: Fraction) -> str:
    """Return a note value, of a whole note, as written: 3/16 is `1/8.`, 7/16 is `1/4..`. Raises `ValueError` for what is none."""
    for dots in range(3):
        plain = value / (2 - Fraction(1, 2**dots))
        if plain.numerator == 1:
            return f"1/{plain.denominator}{'.' * dots}"
    raise ValueError(f"{value} is not a note value")


def _part(part: Part, count: int) -> str:
    match part:
        case Hold():
            return part.string + "-" * count + _marks(part.marks)
        case Rest():
            return part.string + "." * count
        case Bare():
            return part.string
        case Note():
            return _note(part)


def _note(note: Note) -> str:
    begin = note.begin.sign
    lead = begin + note.string if note.begin.kind is TechniqueKind.ENTRY else note.string + begin
    place = "" if note.fret is None else str(note.fret)
    if note.head is HEADS["x"]:
        place = "x"
    elif note.head is HEADS["*"]:
        place += "*"
    elif note.touch is not None:
        place += f"<{_decimal(note.touch)}>"
    fingers = (f"'{note.finger}" if note.finger else "") + (f"'{note.pluck}" if note.pluck else "")
    return lead + place + _marks(note.marks) + fingers


def _marks(marks: tuple[MarkNode, ...]) -> str:
    return "".join(mark.technique.sign + _target(mark) for mark in marks)


def _target(mark: MarkNode) -> str:
    if mark.fret is not None:
        return _decimal(mark.fret)
    return _AMOUNTS[mark.by] if mark.by is not None else ""


def _decimal(value: Fraction) -> str:
    return f"{float(value):g}"
