"""Bars, brackets and words → nodes, and the mistakes in them that a grammar cannot say.

In: Lark's tree of one lick's music. Out: its items. Notes are `build_notes.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from lark import Token, Tree

from lickwright.diagnostics import Change, Fix, nearest, replacing
from lickwright.music.rhythm import parse_value
from lickwright.notation import rules
from lickwright.notation.build_notes import Report, read_runs
from lickwright.notation.explain import explain, mended
from lickwright.notation.techniques import EVENT_WORDS, WORDS
from lickwright.notation.tree import BarLine, Comment, Item, SameBar, Say, Step, Tuplet, Unknown, Worded
from lickwright.source import Span

MAX_EVENTS = 10_000  # a lick
MAX_TUPLET = 64
MAX_TUPLET_DEPTH = 2
MAX_REPEATS = 10_000
DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")
QUOTES = "“”„«»"
ESCAPE = re.compile(r"\\(.)")
_COUNTED = re.compile(r"\d+(?::\d+)?")
_CONNECTS = re.compile(r"(?<![^ \t|()\[\]])[hpt/\\]{1,2}[ \t]+\Z")
_OPENS = re.compile(r"[ \t]+\[")

Child = Token | Tree[Token]


class MusicBuilder:
    """Builds the items of one text's licks, one lick after another."""

    def __init__(
        self,
        text: str,
        report: Report,
        run_pattern: Callable[[], re.Pattern[str]],
        unseen: Callable[[Span], bool],
        crowded: Callable[[], bool] = lambda: False,
    ) -> None:
        self.text = text
        self.report = report
        self._run_pattern = run_pattern
        self._unseen = unseen  # whether an invisible character, reported elsewhere, stands in a span
        self._depth = 0  # how deep in tuplets
        self._crowded = crowded  # whether no finding will be kept any more
        self._events = 0  # of the lick, so far
        self._prev_end: int | None = None  # where the item before ended; None before the first of a lick
        self._after_repeat = False
        self._items: dict[str, Callable[[Token], Item | None]] = {
            "BAD": self._bad, "STEP": self._step, "SAY": self._say, "SAME": self._same,
            "ENDING": self._ending, "COMMENT": self.comment, "LATE": self._late,
        }  # fmt: skip

    def music(self, children: list[Child]) -> tuple[Item, ...]:
        """The items of one lick."""
        self._prev_end = None
        self._events = 0
        return self._list(children)

    def comment(self, token: Token) -> Comment:
        """A remark, and whether it has its line to itself."""
        start = start_of(token)
        before = self.text[self.text.rfind("\n", 0, start) + 1 : start]
        return Comment(str(token)[1:].strip(), not before.strip(), span=span_of(token))

    def _list(self, children: list[Child]) -> tuple[Item, ...]:
        """Items in order; bar lines that only a line break parts become one."""
        out: list[Item] = []
        solid: int | None = None  # which is the last that is no remark
        for child in children:
            span, before = span_of(child), len(out)
            last = out[-1] if out else None
            if isinstance(last, BarLine) and not last.newline and self._new_line(span.start):
                out[-1] = replace(last, newline=True)
            kind = child.data if isinstance(child, Tree) else child.type
            if isinstance(child, Tree):
                out.append(self._tree(child))
            elif kind == "BAR":
                self._bar(out, child, span, solid)
            elif kind == "RUNS":
                self._runs(out, child, span)
            elif (item := self._items[kind](child)) is not None:
                out.append(item)
            if kind != "BAR":
                self._after_repeat = False
            if len(out) > before and not isinstance(out[-1], Comment):
                solid = len(out) - 1
            self._prev_end = span.end
        return tuple(out)

    def _new_line(self, start: int) -> bool:
        """Whether the writer began a new line between the item before and `start`."""
        return self._prev_end is not None and self.text.find("\n", self._prev_end, start) >= 0

    def _runs(self, out: list[Item], token: Token, span: Span) -> None:
        """Runs of notes, while there is room for their events."""
        if self._events > MAX_EVENTS:
            return
        events = read_runs(token, span.start, self.report)
        self._events += len(events)
        if self._events > MAX_EVENTS:
            self._too_many(events[0].span)
            events = [Unknown(span=span)]
        out.extend(events)

    def _too_many(self, span: Span) -> None:
        self._events = MAX_EVENTS + 1
        help = "make it several licks, each with its own `lick` line"
        self.report(
            rules.LIMIT,
            Span(span.start, span.start + 1),
            f"the lick goes on for more than {MAX_EVENTS:,} events from here",
            help,
        )

    def _tree(self, tree: Tree[Token]) -> Item:
        opener, *inside, closer = tree.children
        assert isinstance(opener, Token) and isinstance(closer, Token)
        self._prev_end = span_of(opener).end
        tuplet = tree.data == "tuplet"
        if not closer.value:
            help = f"close it with `{']' if tuplet else ')'}`"
            self.report(
                rules.OPEN,
                span_of(opener),
                f"`{opener.strip()}` is never closed: it is still open at {self._border(closer, opener)}",
                help,
            )
        return (
            self._tuplet(opener, inside, span_of(closer).end, bool(closer.value))
            if tuplet
            else self._word(opener, inside, span_of(closer).end, bool(closer.value))
        )

    def _tuplet(self, opener: Token, inside: list[Child], end: int, closed: bool) -> Item:
        span, ratio = span_of(opener), self._ratio(opener)
        count, normal = ratio or (1, 1)
        self._depth += 1
        if self._depth > MAX_TUPLET_DEPTH:
            self.report(rules.TUPLET, span, "a tuplet in a tuplet in a tuplet", "tuplets nest once")
        items = self._list(inside)
        self._depth -= 1
        if ratio is None or not closed:
            items = (*items, Unknown(0, span=span))
        elif count == normal:
            message = f"`{opener}` plays its steps as they are: {count} in the time of {count}"
            self.report(rules.SAME_TIME, span, message, "the bracket changes nothing: a triplet is `3[…]`")
        return Tuplet(count, normal, items, span=Span(span.start, end))

    def _border(self, closer: Token, opener: Token) -> str:
        """What a bracket that was never closed is still open at."""
        at = start_of(closer)
        char = self.text[at : at + 1] if at > start_of(opener) else ""
        return {"|": "a bar line", ":": "a bar line", ")": "the `)` after it", "%": "a bar's repeat"}.get(
            char, "the lick's end"
        )

    def _ratio(self, opener: Token) -> tuple[int, int] | None:
        """How many steps in the time of how many; None where the bracket does not say it, which is reported."""
        span = span_of(opener)
        if opener == "[":
            before = re.search(r"(\d+(?::\d+)?)[ \t]+$", self.text[max(0, span.start - 12) : span.start])
            help = f"write `{before[1]}[`, touching" if before else "three in the time of two is `3[…]`"
            fix = replacing(span.start - len(before[0]), span.end, f"{before[1]}[") if before else None
            self.report(
                rules.TUPLET, span, "a `[` without its number: how many steps in the time of how many?", help, fix
            )
            return None
        first, _, second = opener[:-1].partition(":")
        if (
            len(first) > 4
            or len(second) > 4
            or not 2 <= int(first) <= MAX_TUPLET
            or (second and not 1 <= int(second) <= MAX_TUPLET)
        ):
            self.report(
                rules.TUPLET,
                span,
                f"`{short(opener)}` is no tuplet",
                f"the numbers go from 2 to {MAX_TUPLET}: `3[…]`, `5:4[…]`",
            )
            return None
        count = int(first)
        return count, int(second) if second else 1 << ((count - 1).bit_length() - 1)

    def _word(self, opener: Token, inside: list[Child], end: int, closed: bool) -> Item:
        span = span_of(opener)
        word = opener[1:].strip().removesuffix(":").strip()
        known = (*WORDS, *EVENT_WORDS)
        if not word and self.text[span.start - 1].isdigit():
            pass  # `3(…`, which has been reported
        elif not word:
            self.report(
                rules.WORD,
                span,
                "a `(` without its word",
                "a word and a colon say how: `(pm: E0 E0)`; a ghost note is `G7?`",
            )
        elif word not in known:
            near = None if self._crowded() else nearest(word, known)
            help = f"did you mean `({near}: …)`?" if near else f"the words are {', '.join(known)}"
            where = Span(span.start + 1, span.start + 1 + len(word))
            fix = replacing(*where, word.lower()) if word.lower() in known else None
            self.report(rules.WORD, where, f"there is no word `{short(word)}`", help, fix)
        elif not opener.endswith(":") or opener != f"({word}:":
            fix = replacing(*span, f"({word}:")
            self.report(rules.WORD, span, f"`{word}` needs its colon", f"write `({word}: …)`", fix)
        if not closed and word in EVENT_WORDS:
            word = ""  # nobody knows what belongs to it
        return Worded(word, self._list(inside), span=Span(span.start, end))

    def _bar(self, out: list[Item], token: Token, span: Span, at: int | None) -> None:
        """Adds a bar line, or makes it one with that at `at` if only a line break or remarks part them."""
        sign = str(token)
        times = re.search(r"x(\d+)", sign) if "x" in sign else None
        ends = sign.startswith(":")
        starts = sign.endswith(":") and (sign != ":|")
        count = 2 if ends else 0
        if times:
            count = int(times[1]) if len(times[1]) < 6 else MAX_REPEATS + 1
            if not 2 <= count <= MAX_REPEATS:
                where = Span(span.start + times.start(), span.start + times.end())
                self.report(
                    rules.REPEAT,
                    where,
                    f"`{short(times[0])}` is no number of times",
                    "`:|x3` plays it three times in all; from 2 to 10,000",
                )
                count = 2
        new_line, double = self._new_line(span.start), "||" in sign
        last = out[at] if at is not None else None
        if (
            at is not None
            and isinstance(last, BarLine)
            and (new_line or (last.repeat_end and starts))
            and not last.ending
        ):
            out[at] = replace(last, double=last.double or double, repeat_end=last.repeat_end or count, repeat_start=last.repeat_start or starts,
                              newline=last.newline or "\n" in self.text[last.span.end : span.start])  # fmt: skip
        else:
            beside = isinstance(last, BarLine) and not (last.ending or last.repeat_end or starts)
            out.append(BarLine(double, count, starts, 0, new_line, beside, span=span))
        self._after_repeat = bool(count)

    def _ending(self, token: Token) -> Item | None:
        span = span_of(token)
        if token not in ("1st", "2nd"):
            self.report(
                rules.ENDING,
                span,
                f"there is no `{short(token)}` ending",
                "endings are `1st` and `2nd`; the last time through takes the second",
            )
            return Unknown(0, span=span)
        return BarLine(ending=int(token[0]), span=span)

    def _same(self, token: Token) -> Item:
        return SameBar(span=span_of(token))

    def _step(self, token: Token) -> Item | None:
        try:
            return Step(parse_value(str(token)), span=span_of(token))
        except ValueError as e:
            self.report(
                rules.VALUE, span_of(token), str(e), "steps are 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, dotted `1/8.`"
            )
            return Unknown(0, span=span_of(token))

    def _say(self, token: Token) -> Item | None:
        text, span = str(token), span_of(token)
        if text[1] in '"' + QUOTES:
            return self._words(text, span)
        if re.search(r"[ \t]", text):
            close = "=".join(side.strip() for side in text.split("=", 1))
            fix = replacing(*span, close)
            self.report(rules.SAYING, span, f"`{short(text)}` has spaces in it", f"write `{close}`, touching", fix)
            text = close
        name, equals, value = text[1:].partition("=")
        if name == "tempo" and equals:
            return Say("tempo", value, span=span)
        if name in DYNAMICS and not equals:
            return Say("dynamic", name, span=span)
        if name == "fermata" and not equals:
            return Say("fermata", "", span=span)
        near = None if self._crowded() else nearest(name, (*DYNAMICS, "tempo=", "fermata"))
        self.report(
            rules.SAYING,
            span,
            f"there is no `{short(text)}`",
            f"did you mean `@{near}`?" if near else 'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`',
            replacing(*span, text.lower()) if not equals and name.lower() in (*DYNAMICS, "fermata") else None,
        )
        return None

    def _words(self, text: str, span: Span) -> Item | None:
        if text[1] != '"' or text[-1] in QUOTES:
            fix = replacing(*span, f'@"{text[2:-1]}"') if len(text) > 2 and '"' not in text[2:-1] else None
            self.report(rules.TYPOGRAPHY, span, "curly quotes round the words", f'write `@"{text[2:-1][:30]}"`', fix)
        elif len(text) < 3 or text[-1] != '"':
            self.report(
                rules.OPEN,
                Span(span.start, span.start + 2),
                "the words' quote is never closed",
                'close it: `@"let it hang"`',
            )
            return Unknown(span=span)  # it may have swallowed notes
        return Say("words", ESCAPE.sub(r"\1", text[2:-1] if text[-1] in '"' + QUOTES else text[2:]).strip(), span=span)

    def _late(self, token: Token) -> None:
        span = span_of(token)
        name = str(token).split()[0]
        help = "fields stand between the `lick` line and the first bar line; a remark begins with `#`"
        self.report(
            rules.LATE,
            Span(span.start, span.start + len(name)),
            f"`{short(name)}` comes after the music has begun",
            help,
        )

    def _bad(self, token: Token) -> Item | None:
        span, text = span_of(token), str(token)
        if not text:
            self._too_many(span)
            return Unknown(0, span=span)
        if text in ("]", ")"):
            what = "tuplet `3[`" if text == "]" else "word `(pm:`"
            self.report(
                rules.CLOSED,
                span,
                f"`{text}` closes nothing: no {what} is open here",
                f"delete it, or open the {what} before it",
            )
            return Unknown(0, span=span)
        if text[0] in "(" or text[-1] == "[":
            self.report(
                rules.LIMIT, span, "brackets are nested more than 16 deep", "nobody could read that: take some away"
            )
            return Unknown(0, span=span)
        if _COUNTED.fullmatch(text) and _OPENS.match(self.text, span.end):
            return None  # its `[` stands apart, and will say so
        if text.isdigit() and _CONNECTS.search(self.text, max(0, span.start - 8), span.start):
            return None  # the fret of a `h` that stands apart, and has said so
        if text.isdigit() and self.text.startswith("(", span.end):
            self.report(
                rules.TUPLET,
                Span(span.start, span.end + 1),
                f"`{text}(`: a tuplet has square brackets",
                f"write `{text}[…]`",
            )
            return Unknown(0, span=span)
        if not self._crowded() and not self._unseen(span):
            self._explain(span, text)
        return Unknown(span=span)

    def _explain(self, span: Span, text: str) -> None:
        """Says what is wrong with a run."""
        pattern = self._run_pattern()

        def good(part: str) -> bool:
            return pattern.fullmatch(part) is not None

        fault = explain(text, good, self._after_repeat)
        right = mended(text, good) if fault.right is not None else None
        fix = replacing(*span, right) if right is not None else self._touching(span, text)
        place = Span(span.start + fault.start, span.start + fault.end)
        self.report(fault.rule, place, fault.message, fault.help, fix)

    def _touching(self, span: Span, text: str) -> Fix | None:
        """`:| x3`: the space goes."""
        times = re.fullmatch(r"x(\d{1,4})", text) if self._after_repeat else None
        gap = self.text[self._prev_end or 0 : span.start]
        if not times or int(times[1]) < 2 or not gap or gap.strip(" \t"):
            return None
        return Fix(f"let `{text}` touch its repeat sign", (Change(Span(span.start - len(gap), span.start), ""),))


def start_of(token: Token) -> int:
    """Where a token begins."""
    return token.start_pos or 0


def span_of(child: Child) -> Span:
    """Where a token or tree stands; a closer that was never written has no length."""
    if isinstance(child, Tree):
        return Span(span_of(child.children[0]).start, span_of(child.children[-1]).end)
    start = child.start_pos or 0
    return Span(start, (child.end_pos or 0) if child.value else start)


def short(text: str) -> str:
    """A text cut to what fits in a message."""
    return text if len(text) <= 24 else f"{text[:20]}… ({len(text)} characters)"
