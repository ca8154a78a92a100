"""Parse tree → frozen nodes, and the mistakes that a grammar cannot say.

In: Lark's tree of one text. Out: a `Book` and its findings. Strings, bars and what sounds are not judged here: `resolve.py` does that.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from lickwright.diagnostics import Diagnostic, Rule, nearest
from lickwright.notation import rules
from lickwright.notation.build_notes import NoteBuilder
from lickwright.notation.explain import explain
from lickwright.notation.techniques import EVENT_WORDS, WORDS
from lickwright.notation.tree import (
    BarLine,
    Book,
    Comment,
    Event,
    Field,
    Item,
    Lick,
    Rest,
    SameBar,
    Say,
    Step,
    Tuplet,
    Unknown,
    Worded,
)
from lickwright.source import Source, Span

if TYPE_CHECKING:
    from lark import Token, Tree

MAX_LICKS = 10_000
MAX_TUPLET = 64
MAX_TUPLET_DEPTH = 2
MAX_REPEATS = 10_000
MAX_FINDINGS = 1_000
DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")

_TITLE = re.compile(r'lick[ \t]+"((?:[^"\\]|\\.)*)"[ \t]*')
_ESCAPE = re.compile(r"\\(.)")
_FIELD = re.compile(r"([A-Za-z][A-Za-z-]*)([:=]?)[ \t]*")
_INLINE_COMMENT = re.compile(r"(?:(?<=[ \t\n])|^)#(?=[ \t\n]|$)[^\n]*")
_INVISIBLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufe00-\ufe0f\ufeff\ufff9-\ufffb\ud800-\udfff]")
_TYPED = str.maketrans("“”„«»", '"""""')


class Builder:
    """Builds one text's tree."""

    def __init__(self, source: Source, run_pattern: Callable[[], re.Pattern[str]]) -> None:
        self.source = source
        self.text = source.text
        self.found: list[Diagnostic] = []
        self.notes = NoteBuilder(self.report)
        self._run_pattern = run_pattern
        self._invisible: set[int] = set()
        self._tuplets = 0  # how deep in tuplets
        self._prev_end: int | None = None  # where the item before ended; None before the first of a lick
        self._after_repeat = False
        self._items: dict[str, Callable[[Token], Item | None]] = {
            "REST": self._rest, "BAD": self._bad, "STEP": self._step, "SAY": self._say, "SAME": self._same,
            "ENDING": self._ending, "COMMENT": self._comment, "LATE": self._late,
        }  # fmt: skip

    def report(self, rule: Rule, span: Span, message: str, help: str | None = None) -> None:
        """Adds a finding, up to a number that nobody reads any more."""
        if len(self.found) < MAX_FINDINGS:
            self.found.append(rule.at(span, message, help))

    def book(self, tree: Tree[Token]) -> tuple[Book, list[Diagnostic]]:
        """The whole file."""
        self._find_invisible()
        licks = [child for child in tree.children if hasattr(child, "data")]
        head = self._header(child for child in tree.children if not hasattr(child, "data"))
        if len(licks) > MAX_LICKS:
            token = licks[MAX_LICKS].children[0]
            self.report(rules.LIMIT, _span(token), f"the file holds {len(licks):,} licks, 10,000 is the limit", "split it into several files")
            licks = licks[:MAX_LICKS]
        if not licks and not self.found:
            self.report(rules.EMPTY, Span(0, 0), "there is no lick in this file", 'a lick begins with a line such as `lick "Porch light"`')
        book = Book(head, tuple(self._lick(lick) for lick in licks), span=Span(0, len(self.text)))
        return book, self.found

    def _find_invisible(self) -> None:
        for match in _INVISIBLE.finditer(self.text):
            self._invisible.add(match.start())
            name = f"U+{ord(match[0]):04X}"
            self.report(rules.INVISIBLE, Span(*match.span()), f"an invisible character ({name}) stands here", "delete it and type the place again")

    def _has_invisible(self, span: Span) -> bool:
        return bool(self._invisible) and any(at in self._invisible for at in range(span.start, span.end))

    # --- lines ---------------------------------------------------------------------------------------------------

    def _header(self, tokens: Iterator[Token]) -> tuple[Field | Comment, ...]:
        out: list[Field | Comment] = []
        junk_end = -1
        for token in tokens:
            if token.type == "FIELD":
                out.append(self._field(token))
            elif token.type == "COMMENT":
                out.append(self._comment(token))
            else:
                span = _span(token)
                if "\n" in self.text[max(junk_end, 0) : span.start] or junk_end < 0:
                    self._junk(span)
                junk_end = span.end
        return tuple(out)

    def _junk(self, span: Span) -> None:
        line = self.text[span.start : span.end]
        if self._has_invisible(span):
            return
        if line[0] in "|:":
            self.report(rules.EMPTY, Span(span.start, span.start + 1), "music before any lick", 'put a line such as `lick "Porch light"` above it')
        else:
            help = "music begins with a bar line `|`, a field with its name, a remark with `#`"
            self.report(rules.LINE, Span(span.start, span.start + len(line.rstrip())), "this line is neither a field nor music", help)

    def _field(self, token: Token) -> Field:
        text, start = str(token), _start(token)
        match = _FIELD.match(text)
        assert match is not None
        raw_at = match.end()
        comments = [m[0][1:].strip() for m in _INLINE_COMMENT.finditer(text, raw_at)]
        raw = _INLINE_COMMENT.sub(lambda m: " " * len(m[0]), text[raw_at:]) if comments else text[raw_at:]
        if match[2]:
            at = start + match.start(2)
            self.report(rules.LINE, Span(at, at + 1), f"no `{match[2]}` after a field's name", f"write `{match[1]} {raw.strip()[:30]}`")
        name_span = Span(start, start + match.end(1))
        return Field(match[1], " ".join(raw.split()), " ".join(comments) or None, name_span, raw, start + raw_at, span=_span(token))

    def _comment(self, token: Token) -> Comment:
        start = _start(token)
        before = self.text[self.text.rfind("\n", 0, start) + 1 : start]
        return Comment(str(token)[1:].strip(), not before.strip(), span=_span(token))

    def _lick(self, tree: Tree[Token]) -> Lick:
        children = tree.children
        first = children[0]
        title, title_span, comment = self._title(first)
        bar = next((n for n, child in enumerate(children) if n and not hasattr(child, "data") and child.type == "BAR"), len(children))
        fields = self._header(iter(children[1:bar]))
        self._prev_end = None
        music = self._list(children[bar:])
        if not any(isinstance(item, (Event, Unknown, Worded, Tuplet, SameBar)) for item in music):
            self.report(rules.EMPTY, title_span, f"the lick {_quoted(title)} has no music", "music begins with a bar line: `| e8 e5 B8 G7 |`")
        end = _span_of(children[-1]).end
        return Lick(title, (*comment, *fields), music, title_span, span=Span(_start(first), end))

    def _title(self, token: Token) -> tuple[str, Span, tuple[Comment, ...]]:
        text, start = str(token), _start(token)
        match = _TITLE.match(text)
        if match is None:
            return self._no_title(text, start)
        rest = text[match.end() :]
        span = Span(start + match.start(1) - 1, start + match.end(1) + 1)
        comment: tuple[Comment, ...] = ()
        if rest.startswith("#"):
            comment = (Comment(rest[1:].strip(), False, span=Span(start + match.end(), start + len(text))),)
        elif rest.strip():
            at = start + match.end()
            self.report(rules.TITLE, Span(at, at + len(rest.rstrip())), f"`{rest.strip()[:20]}` follows the title", "the title is alone on its line; music begins on the next")
        title = _ESCAPE.sub(r"\1", match[1])
        if not title.strip():
            self.report(rules.TITLE, span, "the title is empty", 'give the lick a name: `lick "Porch light"`')
        return title, span, comment

    def _no_title(self, text: str, start: int) -> tuple[str, Span, tuple[Comment, ...]]:
        typed = text.translate(_TYPED)
        rest = text[4:].strip().rstrip("|").strip()
        span = Span(start, start + len(text.rstrip()))
        match = re.match(r'lick\s+"([^"]*)"', typed)
        if match:
            at = next(n for n, char in enumerate(text) if char in "“”„«»")
            self.report(rules.TYPOGRAPHY, Span(start + at, start + at + 1), f"`{text[at]}` is a curly quote, not `\"`", f'write `lick "{match[1]}"`')
            return match[1], span, ()
        if not text.startswith("lick"):
            self.report(rules.TITLE, Span(start, start + 4), f"`{text[:4]}` is written small", "write `lick`")
        elif text.count('"') == 1 and rest.startswith('"'):
            at = start + text.index('"')
            self.report(rules.OPEN, Span(at, at + 1), "the title's quote is never closed", f'write `lick "{rest[1:41]}"`')
        else:
            self.report(rules.TITLE, span, "a lick needs a title in double quotes", f'write `lick "{rest.strip(chr(34))[:40] or "Porch light"}"`')
        return rest.strip('"') or "untitled", span, ()

    # --- music ---------------------------------------------------------------------------------------------------

    def _list(self, children: list[Token | Tree[Token]]) -> tuple[Item, ...]:
        """Items in order; bar lines that only a line break parts become one."""
        out: list[Item] = []
        for child in children:
            span = _span_of(child)
            if out and self._prev_end is not None and isinstance(out[-1], BarLine) and "\n" in self.text[self._prev_end : span.start]:
                out[-1] = replace(out[-1], newline=True)
            if not hasattr(child, "data") and child.type == "BAR":
                self._bar(out, child)
            elif not hasattr(child, "data") and child.type == "RUN":
                out.extend(self.notes.run(str(child), span.start))
                self._after_repeat = False
            else:
                item = self._tree(child) if hasattr(child, "data") else self._items[child.type](child)
                if item is not None:
                    out.append(item)
                self._after_repeat = False
            self._prev_end = span.end
        return tuple(out)

    def _tree(self, tree: Tree[Token]) -> Item:
        opener, *inside, closer = tree.children
        assert not hasattr(opener, "data") and not hasattr(closer, "data")
        self._prev_end = _span(opener).end
        tuplet = tree.data == "tuplet"
        if not closer.value:
            end = "a bar line" if tuplet and closer.end_pos != opener.end_pos else "the lick's end"
            self.report(rules.OPEN, _span(opener), f"`{opener.strip()}` is never closed: it is still open at {end}", f"close it with `{']' if tuplet else ')'}`")
        return self._tuplet(opener, inside, _span(closer).end, bool(closer.value)) if tuplet else self._word(opener, inside, _span(closer).end)

    def _tuplet(self, opener: Token, inside: list[Token | Tree[Token]], end: int, closed: bool) -> Item:
        span, (count, normal) = _span(opener), self._ratio(opener)
        self._tuplets += 1
        if self._tuplets > MAX_TUPLET_DEPTH:
            self.report(rules.TUPLET, span, "a tuplet in a tuplet in a tuplet", "tuplets nest once")
        items = self._list(inside)
        self._tuplets -= 1
        if count == normal or not closed:
            items = (*items, Unknown(0, span=span))
        return Tuplet(count, normal, items, span=Span(span.start, end))

    def _ratio(self, opener: Token) -> tuple[int, int]:
        span = _span(opener)
        if opener == "[":
            before = re.search(r"(\d+(?::\d+)?)[ \t]+$", self.text[max(0, span.start - 12) : span.start])
            help = f"write `{before[1]}[`, touching" if before else "three in the time of two is `3[…]`"
            self.report(rules.TUPLET, span, "a `[` without its number: how many steps in the time of how many?", help)
            return 1, 1
        first, _, second = opener[:-1].partition(":")
        if len(first) > 4 or len(second) > 4 or not 2 <= int(first) <= MAX_TUPLET or (second and not 1 <= int(second) <= MAX_TUPLET):
            self.report(rules.TUPLET, span, f"`{_short(opener)}` is no tuplet", f"the numbers go from 2 to {MAX_TUPLET}: `3[…]`, `5:4[…]`")
            return 1, 1
        count = int(first)
        return count, int(second) if second else 1 << ((count - 1).bit_length() - 1)

    def _word(self, opener: Token, inside: list[Token | Tree[Token]], end: int) -> Item:
        span = _span(opener)
        word = opener[1:].strip().removesuffix(":").strip()
        known = (*WORDS, *EVENT_WORDS)
        if not word:
            self.report(rules.WORD, span, "a `(` without its word", "a word and a colon say how: `(pm: E0 E0)`; a ghost note is `G7?`")
        elif word not in known:
            near = nearest(word, known)
            help = f"did you mean `({near}: …)`?" if near else f"the words are {', '.join(known)}"
            self.report(rules.WORD, Span(span.start + 1, span.start + 1 + len(word)), f"there is no word `{_short(word)}`", help)
        elif not opener.endswith(":") or opener != f"({word}:":
            self.report(rules.WORD, span, f"`{word}` needs its colon", f"write `({word}: …)`")
        return Worded(word, self._list(inside), span=Span(span.start, end))

    def _bar(self, out: list[Item], token: Token) -> None:
        span, sign = _span(token), str(token)
        times = re.search(r"x(\d+)", sign)
        ends = sign.startswith(":")
        starts = sign.endswith(":") and (sign != ":|")
        count = 2 if ends else 0
        if times:
            count = int(times[1]) if len(times[1]) < 6 else MAX_REPEATS + 1
            if not 2 <= count <= MAX_REPEATS:
                at = Span(span.start + times.start(), span.start + times.end())
                self.report(rules.REPEAT, at, f"`{_short(times[0])}` is no number of times", "`:|x3` plays it three times in all; from 2 to 10,000")
                count = 2
        new_line = self._prev_end is not None and "\n" in self.text[self._prev_end : span.start]
        bar = BarLine("||" in sign, count, starts, 0, new_line, span=span)
        at = next((n for n in range(len(out) - 1, -1, -1) if not isinstance(out[n], Comment)), None)
        last = out[at] if at is not None else None
        if at is not None and isinstance(last, BarLine) and ("\n" in self.text[last.span.end : span.start] or (last.repeat_end and starts)) and not last.ending:
            out[at] = replace(last, double=last.double or bar.double, repeat_end=last.repeat_end or count, repeat_start=last.repeat_start or starts,
                              newline=last.newline or "\n" in self.text[last.span.end : span.start])  # fmt: skip
        else:
            out.append(bar)
        self._after_repeat = bool(count)

    def _ending(self, token: Token) -> Item | None:
        span = _span(token)
        if token not in ("1st", "2nd"):
            self.report(rules.ENDING, span, f"there is no `{_short(token)}` ending", "endings are `1st` and `2nd`; the last time through takes the second")
            return None
        return BarLine(ending=int(token[0]), span=span)

    def _same(self, token: Token) -> Item:
        return SameBar(span=_span(token))

    def _rest(self, token: Token) -> Item:
        return Event((Rest(span=_span(token)),), len(token), span=_span(token))

    def _step(self, token: Token) -> Item | None:
        from lickwright.music.rhythm import parse_value

        try:
            return Step(parse_value(str(token)), span=_span(token))
        except ValueError as e:
            self.report(rules.VALUE, _span(token), str(e), "steps are 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, dotted `1/8.`")
            return Unknown(0, span=_span(token))

    def _say(self, token: Token) -> Item | None:
        text, span = str(token), _span(token)
        if text[1] in '"“”„«':
            return self._words(text, span)
        name, equals, value = text[1:].partition("=")
        if name == "tempo" and equals:
            return Say("tempo", value, span=span)
        if name in DYNAMICS and not equals:
            return Say("dynamic", name, span=span)
        if name == "fermata" and not equals:
            return Say("fermata", "", span=span)
        near = nearest(name, (*DYNAMICS, "tempo=", "fermata"))
        self.report(rules.SAYING, span, f"there is no `{_short(text)}`", f"did you mean `@{near}`?" if near else 'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`')
        return None

    def _words(self, text: str, span: Span) -> Item | None:
        if text[1] != '"' or text[-1] in "“”„«»":
            self.report(rules.TYPOGRAPHY, span, "curly quotes round the words", f'write `@"{text[2:-1][:30]}"`')
        elif len(text) < 3 or text[-1] != '"':
            self.report(rules.OPEN, Span(span.start, span.start + 2), "the words' quote is never closed", 'close it: `@"let it hang"`')
        return Say("words", _ESCAPE.sub(r"\1", text[2:-1] if text[-1] in '"“”„«»' else text[2:]).strip(), span=span)

    def _late(self, token: Token) -> None:
        span = _span(token)
        name = str(token).split()[0]
        help = "fields stand between the `lick` line and the first bar line; a remark begins with `#`"
        self.report(rules.LATE, Span(span.start, span.start + len(name)), f"`{_short(name)}` comes after the music has begun", help)

    def _bad(self, token: Token) -> Item | None:
        span, text = _span(token), str(token)
        if text in ("]", ")"):
            what = "tuplet `3[`" if text == "]" else "word `(pm:`"
            self.report(rules.CLOSED, span, f"`{text}` closes nothing: no {what} is open here", f"delete it, or open the {what} before it")
            return Unknown(0, span=span)
        if text[0] in "(" or text[-1] == "[":
            self.report(rules.LIMIT, span, "brackets are nested more than 16 deep", "nobody could read that: take some away")
            return Unknown(0, span=span)
        if not self._has_invisible(span):
            pattern = self._run_pattern()
            fault = explain(text, lambda part: pattern.fullmatch(part) is not None, self._after_repeat)
            self.report(fault.rule, Span(span.start + fault.start, span.start + fault.end), fault.message, fault.help)
        return Unknown(span=span)


def _start(token: Token) -> int:
    return token.start_pos or 0


def _span(token: Token) -> Span:
    return Span(token.start_pos or 0, token.end_pos or 0) if token.value else Span(token.start_pos or 0, token.start_pos or 0)


def _span_of(child: Token | Tree[Token]) -> Span:
    if not hasattr(child, "data"):
        return _span(child)
    return Span(_span_of(child.children[0]).start, _span_of(child.children[-1]).end)


def _short(text: str) -> str:
    return text if len(text) <= 24 else f"{text[:20]}… ({len(text)} characters)"


def _quoted(title: str) -> str:
    return f'"{_short(title)}"'
