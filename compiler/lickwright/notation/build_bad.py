"""Runs that cannot be read → unknown events, and one finding a cause.

In: the BAD tokens of one text's music, in order. Out: what stands for each in the tree. A slip of one kind often makes several runs
unreadable (`"let it hang"` without its `@`, a `{` and its `}`): the first is explained, and `told` is the offset up to which that goes.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from lickwright.core.diagnostics import Change, Fix, replacement_fix
from lickwright.core.source import Span
from lickwright.notation import habits, rules
from lickwright.notation.build_notes import ReportFinding
from lickwright.notation.explain import explain_run, mend_run
from lickwright.notation.fault import Fault
from lickwright.notation.tree import Bare, Event, Item, Unknown

_COUNTED = re.compile(r"\d+(?::\d+)?")
_CONNECTS = re.compile(r"(?<![^ \t|()\[\]])[hpt/\\]{1,2}[ \t]+\Z")
_OPENS = re.compile(r"[ \t]+\[")
_WORDS = re.compile(r"(?:[ \t]+[A-Za-z']{2,}[.,!?]?(?![^ \t\n|]))+")  # prose: no note is two letters
_ENDING = re.compile(r"([12])(?:\.|st\.|nd\.)?,?")
_NAMED_ENDING = re.compile(r"(?:1st|2nd)[ \t]+\Z")
_NOTE_BEFORE = re.compile(r"([EADGBe])(\d{1,2})[^ \t\n|]*[ \t]+(?:-+[ \t]+)*\Z")
_STRING_BEFORE = re.compile(r"(?<![^ \t\n|()\[\]])([EADGBe])[ \t]+\Z")
_REMARK = re.compile(r"//|;|/\*|--(?=-)")


class BadRun(NamedTuple):
    """A run that cannot be read, and what stands round it."""

    span: Span
    text: str
    before: int | None  # where the item before it ended
    after_repeat: bool  # whether that is a `:|`
    after_bar: bool  # it touches a bar line


class BadRuns:
    """Reports what is wrong with the runs of one text that cannot be read."""

    def __init__(
        self,
        text: str,
        report: ReportFinding,
        run_pattern: Callable[[], re.Pattern[str]],
        unseen: Callable[[Span], bool],
        crowded: Callable[[], bool],
    ) -> None:
        self.text = text
        self.report = report
        self.told = 0  # what begins before this offset has been explained with what stands before it
        self._run_pattern = run_pattern
        self._unseen = unseen  # whether an invisible character, reported elsewhere, stands in a span
        self._crowded = crowded  # whether no finding will be kept any more
        self._last: tuple[str, int] | None = None  # the unreadable run before, and where it ended
        self._curly = False  # a `{` or `<` was opened where none has a meaning
        # In this order: a case may rely on those before it.
        self._cases: tuple[Callable[[BadRun], Unknown | None], ...] = (
            self._round_tuplet, self._before_bracket, self._numbered_ending, self._navigation, self._named_ending, self._prose,
        )  # fmt: skip

    def begin_lick(self) -> None:
        """Forget what was unreadable in the lick before."""
        self._last, self._curly = None, False

    def item(self, run: BadRun) -> Item | None:
        """Return what stands for a run in the tree, None where nothing does, and report what is wrong with it."""
        span, text = run.span, run.text
        if text in ("]", ")"):
            return self._closes_nothing(span, text)
        if text[0] in "(" or text[-1] == "[":
            hint = "nobody could read that: take some out"
            self.report(rules.LIMIT, span, "brackets are nested more than 16 deep", hint)
            return Unknown(0, span=span)
        if self._is_said_elsewhere(span, text):
            return None
        if self._is_told(span, text):
            return Unknown(span=span)
        if self._reports_gap(span, text):
            return None  # `is_fret_apart` makes the string before it unknown
        self._last = (text, span.end)
        if self._crowded() or self._unseen(span):
            return Unknown(span=span)
        return next((item for case in self._cases if (item := case(run))), None) or self._explained(run)

    def is_fret_apart(self, span: Span, last: Item | None) -> bool:
        """Whether `last` is a string whose fret, the run at `span`, stands apart from it: the two are one unknown event."""
        bare = isinstance(last, Event) and isinstance(last.parts[0], Bare)
        return bare and self._string_before(span) is not None

    def _string_before(self, span: Span) -> re.Match[str] | None:
        return _STRING_BEFORE.search(self.text, max(0, span.start - 9), span.start)

    def _is_said_elsewhere(self, span: Span, text: str) -> bool:
        """Whether this is the number of a `[` that stands apart, or the fret of an `h` that does: those report it."""
        if _COUNTED.fullmatch(text) and _OPENS.match(self.text, span.end):
            return True
        return text.isdigit() and _CONNECTS.search(self.text, max(0, span.start - 8), span.start) is not None

    def _reports_gap(self, span: Span, text: str) -> bool:
        """Report a fret that stands apart from its string; return whether this is one."""
        string = self._string_before(span) if text.isdigit() and len(text) < 3 else None
        if string is None:
            return False
        note = f"{string[1]}{text}"
        where = Span(string.start(1), span.end)
        message = f"`{self.text[where.start : where.end]}`: a space between the string and its fret"
        self.report(rules.UNREADABLE, where, message, f"write `{note}`", replacement_fix(*where, note))
        return True

    def _closes_nothing(self, span: Span, text: str) -> Item:
        if span.start >= self.told:
            what = "tuplet `3[`" if text == "]" else "word `(pm:`"
            message = f"`{text}` closes nothing: no {what} is open here"
            self.report(rules.CLOSED, span, message, f"delete it, or open the {what} before it")
        return Unknown(0, span=span)

    def _is_told(self, span: Span, text: str) -> bool:
        """Whether a finding before has explained this run too."""
        if span.start < self.told:
            return True
        if self._curly and text.endswith(("}", ">")):
            self._curly = False
            return True
        if self._last is None or self.text[self._last[1] : span.start].strip(" \t"):
            return False
        if text == self._last[0] or (text.isdigit() and not self._last[0].isdigit()):
            self._last = (text, span.end)  # the same once more, or the fret that a sign left behind
            return True
        return False

    # --- runs that the text round them explains better -------------------------------------------------------------

    def _round_tuplet(self, run: BadRun) -> Unknown | None:
        """`3(`: a tuplet in parentheses."""
        if not run.text.isdigit() or self._next(run) != "(":
            return None
        where = Span(run.span.start, run.span.end + 1)
        message = f"`{run.text}(`: a tuplet has square brackets"
        self.report(rules.TUPLET, where, message, f"write `{run.text}[…]`")
        self.told = where.end
        return Unknown(0, span=run.span)

    def _before_bracket(self, run: BadRun) -> Unknown | None:
        """`tr(…)`, `t[…]`: a word outside of its bracket."""
        span, text, bracket = run.span, run.text, self._next(run)
        if not text.isalpha() or bracket not in ("(", "["):
            return None
        self.told = span.end + 1
        if bracket == "[":
            self.report(rules.TUPLET, span, f"`{text}[` is not a tuplet", "three in the time of two is `3[…]`")
        else:
            known = habits.bracketed_phrase(f"({text})", 0)
            hint = known[0] if known else "a word and a colon stand inside: `(pm: E0 E0)`"
            self.report(rules.WORD, span, f"`{text}` stands before its parenthesis", hint)
        return Unknown(0, span=span)

    def _next(self, run: BadRun) -> str:
        return self.text[run.span.end : run.span.end + 1]

    def _numbered_ending(self, run: BadRun) -> Unknown | None:
        """`|1.`: an ending by its number alone."""
        text = run.text
        ending = _ENDING.fullmatch(text) if run.after_bar and not (run.after_repeat and text.isdigit()) else None
        if ending is None:
            return None
        number = "1st" if ending[1] == "1" else "2nd"
        hint = f"an ending is `|{number}`; a note is a string and a fret, `B{ending[1]}`"
        self.report(rules.ENDING, run.span, f"`{text}` is not an ending, nor a note", hint)
        return Unknown(0, span=run.span)

    def _navigation(self, run: BadRun) -> Unknown | None:
        """`D.C. al Fine`, with or without its `@`."""
        at = run.span.start + run.text.startswith("@")
        phrase = habits.navigation_phrase(self.text[at : run.span.start + 25])
        if phrase is None:
            return None
        sign, length = phrase
        self.told = at + length
        said = self.text[run.span.start : self.told].rstrip()
        message = f"there is no `{said}`" if run.text.startswith("@") else f"`{said}` without its `@`"
        self.report(rules.DIRECTION, Span(run.span.start, self.told), message, f"write `@{sign}`")
        return Unknown(0, span=run.span)

    def _named_ending(self, run: BadRun) -> Unknown | None:
        """`1st ending`: a word too many."""
        first = run.span.start
        if run.text.lower() not in ("ending", "time") or not _NAMED_ENDING.search(self.text, max(0, first - 9), first):
            return None
        hint = "`|1st` and `|2nd` alone begin an ending"
        self.report(rules.ENDING, run.span, f"`{run.text}` is not needed", hint)
        return Unknown(0, span=run.span)

    def _begins_line(self, at: int) -> bool:
        return not self.text[self.text.rfind("\n", 0, at) + 1 : at].strip()

    def _prose(self, run: BadRun) -> Unknown | None:
        """Words over the music without their `@`, or a remark without its `#`: the whole of it, once."""
        span, text = run.span, run.text
        remark = _REMARK.match(text) and self._begins_line(span.start)
        if text[0] != '"' and not text.startswith("@'") and not remark:
            return None
        end = self.text.find("\n", span.start)
        end = len(self.text) if end < 0 else end
        if text[0] in '"@':
            end = self._report_words(span, text, end)
        else:
            where = Span(span.start, min(span.end, span.start + 2))
            message = f"`{self.text[where.start : where.end]}` begins no comment"
            self.report(rules.LATE, where, message, "a comment begins with `#` and a space")
        self.told = end
        return Unknown(0, span=span)

    def _report_words(self, span: Span, text: str, line_end: int) -> int:
        """Report words without their `@` or in the wrong quotes; return where they end."""
        first = span.start + (text[0] == "@")
        close = self.text.find(self.text[first], first + 1, line_end)
        bar = self.text.find("|", first, line_end)
        end = close + 1 if close >= 0 else bar if bar >= 0 else line_end
        words = self.text[first + 1 : end].rstrip("'\"").rstrip()
        message = 'words are quoted with `"`' if text[0] == "@" else "words over the music without their `@`"
        self.report(rules.DIRECTION, Span(span.start, first + 1), message, f'write `@"{words[:30]}"`')
        return end

    def words_after(self, end: int) -> str:
        """Return prose that follows an `@` or a sign at `end`, which counts as explained then; "" where there is none."""
        match = _WORDS.match(self.text, end)
        if match is None or self._run_pattern().fullmatch(match[0].strip()):
            return ""
        self.told = match.end()
        return match[0].strip()

    # --- runs by themselves --------------------------------------------------------------------------------------

    def _explained(self, run: BadRun) -> Item:
        """Report what is wrong with a run in itself."""
        pattern = self._run_pattern()
        span, text = run.span, run.text

        def good(part: str) -> bool:
            return pattern.fullmatch(part) is not None

        self._curly = self._curly or text[0] == "{"
        fix: Fix | None = None
        fault = self._curly_fault(text, good)
        if fault is None:
            fault = explain_run(text, good, run.after_repeat)
            right = mend_run(text, good) if fault.right is not None else None
            fix = replacement_fix(*span, right) if right is not None else self._touching(run)
        hint = fault.hint or ""
        if fix is not None and (bent := self._bend_before(span, text)):
            fix, hint = None, f"{hint}; a bend is `{bent}`"
        place = Span(span.start + fault.start, span.start + fault.end)
        self.report(fault.rule, place, fault.message, hint, fix)
        return Unknown(span=span)

    def _curly_fault(self, text: str, good: Callable[[str], bool]) -> Fault | None:
        """`{e5`, `3{e5`: a bracket that has no meaning."""
        if text[0] in "{<" and good(text[1:]):
            self._curly = True
            message, hint = f"`{text[0]}` groups nothing", "notes together are `e5&B8`, a triplet is `3[…]`"
            return Fault(rules.UNREADABLE, 0, 1, message, hint)
        group = re.fullmatch(r"(\d{1,2}){(.*)", text)
        if group is None:
            return None
        self._curly = True
        message = f"`{group[1]}{{`: a tuplet has square brackets"
        return Fault(rules.TUPLET, 0, len(group[1]) + 1, message, f"write `{group[1]}[…]`")

    def _bend_before(self, span: Span, text: str) -> str | None:
        """Return how the bend of `G7 b9` is written here; None where `b9` can only be the B string written small."""
        match = re.fullmatch(r"b(\d{1,2})", text)
        note = _NOTE_BEFORE.search(self.text, max(0, span.start - 40), span.start) if match else None
        if match is None or note is None or not 1 <= int(match[1]) - int(note[2]) <= 4:
            return None
        return f"{note[1]}{note[2]}^{match[1]}"

    def _touching(self, run: BadRun) -> Fix | None:
        """`:| x3`: the fix that takes the space away."""
        times = re.fullmatch(r"x(\d{1,4})", run.text) if run.after_repeat else None
        start = run.span.start
        gap = self.text[run.before or 0 : start]
        if not times or int(times[1]) < 2 or not gap or gap.strip(" \t"):
            return None
        return Fix(f"let `{run.text}` touch its repeat sign", (Change(Span(start - len(gap), start), ""),))
