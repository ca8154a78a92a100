"""Runs that cannot be read → unknown events, and what is said about them: one finding a cause.

In: the BAD tokens of one text's music, in order. Out: what stands for each in the tree. A slip of one kind often makes several runs
unreadable (`"let it hang"` without its `@`, a `{` and its `}`): the first is explained, and `told` says how far that goes.
"""

from __future__ import annotations

import re
from collections.abc import Callable

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


class BadRuns:
    """Says what is wrong with the runs of one text that cannot be read."""

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

    def lick(self) -> None:
        """A new lick begins."""
        self._last, self._curly = None, False

    def item(self, span: Span, text: str, before: int | None, after_repeat: bool, after_bar: bool) -> Item | None:
        """What stands for a run; `before` is where the item before it ended, `after_repeat` whether that is a `:|`."""
        if text in ("]", ")"):
            return self._closes_nothing(span, text)
        if text[0] in "(" or text[-1] == "[":
            hint = "nobody could read that: take some out"
            self.report(rules.LIMIT, span, "brackets are nested more than 16 deep", hint)
            return Unknown(0, span=span)
        if _COUNTED.fullmatch(text) and _OPENS.match(self.text, span.end):
            return None  # its `[` stands apart, and will say so
        if text.isdigit() and _CONNECTS.search(self.text, max(0, span.start - 8), span.start):
            return None  # the fret of a `h` that stands apart, and has said so
        if self._is_told(span, text):
            return Unknown(span=span)
        if (
            text.isdigit()
            and len(text) < 3
            and (string := _STRING_BEFORE.search(self.text, max(0, span.start - 9), span.start))
        ):
            note = f"{string[1]}{text}"
            where = Span(string.start(1), span.end)
            message = f"`{self.text[where.start : where.end]}`: a space between the string and its fret"
            self.report(rules.UNREADABLE, where, message, f"write `{note}`", replacement_fix(*where, note))
            return None  # `apart` makes the string before it unknown
        self._last = (text, span.end)
        if self._crowded() or self._unseen(span):
            return Unknown(span=span)
        return self._of_place(span, text, after_repeat, after_bar) or self._explained(span, text, before, after_repeat)

    def apart(self, span: Span, last: Item | None) -> bool:
        """Whether `last` is a string whose fret, the run at `span`, stands apart from it: the two are one unknown event."""
        bare = isinstance(last, Event) and isinstance(last.parts[0], Bare)
        return bare and _STRING_BEFORE.search(self.text, max(0, span.start - 9), span.start) is not None

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

    def _of_place(self, span: Span, text: str, after_repeat: bool, after_bar: bool) -> Item | None:
        """What the text around a run explains better than the run itself."""
        following = self.text[span.end : span.end + 1]
        if text.isdigit() and following == "(":
            where = Span(span.start, span.end + 1)
            self.report(rules.TUPLET, where, f"`{text}(`: a tuplet has square brackets", f"write `{text}[…]`")
            self.told = span.end + 1
        elif text.isalpha() and following in ("(", "[") and following:
            self._before_bracket(span, text, following)
        elif after_bar and not (after_repeat and text.isdigit()) and (ending := _ENDING.fullmatch(text)):
            number = "1st" if ending[1] == "1" else "2nd"
            message = f"`{text}` is not an ending, nor a note"
            self.report(
                rules.ENDING, span, message, f"an ending is `|{number}`; a note is a string and a fret, `B{ending[1]}`"
            )
        elif road := habits.navigation_phrase(self.text[span.start + text.startswith("@") : span.start + 25]):
            self.told = span.start + text.startswith("@") + road[1]
            said = self.text[span.start : self.told].rstrip()
            message = f"there is no `{said}`" if text.startswith("@") else f"`{said}` without its `@`"
            self.report(rules.SAYING, Span(span.start, self.told), message, f"write `@{road[0]}`")
            return Unknown(0, span=span)
        elif text.lower() in ("ending", "time") and _NAMED_ENDING.search(self.text, max(0, span.start - 9), span.start):
            self.report(rules.ENDING, span, f"`{text}` is not needed", "`|1st` and `|2nd` alone begin an ending")
        elif text[0] == '"' or text.startswith("@'") or (_REMARK.match(text) and self._begins_line(span.start)):
            self._prose(span, text)
            return Unknown(0, span=span)
        else:
            return None
        return Unknown(0, span=span)

    def _before_bracket(self, span: Span, text: str, bracket: str) -> None:
        """`tr(…)`, `t[…]`: a word outside of its bracket."""
        self.told = span.end + 1
        if bracket == "[":
            self.report(rules.TUPLET, span, f"`{text}[` is not a tuplet", "three in the time of two is `3[…]`")
            return
        known = habits.bracketed_phrase(f"({text})", 0)
        hint = known[0] if known else "a word and a colon stand inside: `(pm: E0 E0)`"
        self.report(rules.WORD, span, f"`{text}` stands before its parenthesis", hint)

    def _begins_line(self, at: int) -> bool:
        return not self.text[self.text.rfind("\n", 0, at) + 1 : at].strip()

    def _prose(self, span: Span, text: str) -> None:
        """Words over the music without their `@`, or a remark without its `#`: the whole of it, once."""
        end = self.text.find("\n", span.start)
        end = len(self.text) if end < 0 else end
        if text[0] in '"@':
            first = span.start + (text[0] == "@")
            close = self.text.find(self.text[first], first + 1, end)
            bar = self.text.find("|", first, end)
            end = close + 1 if close >= 0 else bar if bar >= 0 else end
            where, words = Span(span.start, first + 1), self.text[first + 1 : end].rstrip("'\"").rstrip()
            if text[0] == "@":
                self.told = end
                self.report(rules.SAYING, where, 'words are quoted with `"`', f'write `@"{words[:30]}"`')
                return
            self.report(rules.SAYING, where, "words over the music without their `@`", f'write `@"{words[:30]}"`')
        else:
            where = Span(span.start, min(span.end, span.start + 2))
            self.report(
                rules.LATE,
                where,
                f"`{self.text[where.start : where.end]}` begins no comment",
                "a comment begins with `#` and a space",
            )
        self.told = end

    def words_after(self, end: int) -> str:
        """Prose that follows an `@` or a sign at `end`, which is then told; "" where there is none."""
        match = _WORDS.match(self.text, end)
        if match is None or self._run_pattern().fullmatch(match[0].strip()):
            return ""
        self.told = match.end()
        return match[0].strip()

    # --- runs by themselves --------------------------------------------------------------------------------------

    def _explained(self, span: Span, text: str, before: int | None, after_repeat: bool) -> Item:
        """Says what is wrong with a run."""
        pattern = self._run_pattern()

        def good(part: str) -> bool:
            return pattern.fullmatch(part) is not None

        self._curly = self._curly or text[0] == "{"
        if text[0] in "{<" and good(text[1:]):
            self._curly = True
            message, hint = f"`{text[0]}` groups nothing", "notes together are `e5&B8`, a triplet is `3[…]`"
            fault = Fault(rules.UNREADABLE, 0, 1, message, hint)
            fix = None
        elif group := re.fullmatch(r"(\d{1,2}){(.*)", text):
            self._curly = True
            at = len(group[1])
            fault = Fault(
                rules.TUPLET, 0, at + 1, f"`{group[1]}{{`: a tuplet has square brackets", f"write `{group[1]}[…]`"
            )
            fix = None
        else:
            fault = explain_run(text, good, after_repeat)
            right = mend_run(text, good) if fault.right is not None else None
            fix = (
                replacement_fix(*span, right) if right is not None else self._touching(span, text, before, after_repeat)
            )
        hint = fault.hint or ""
        if fix is not None and (bent := self._bend_before(span, text)):
            fix, hint = None, f"{hint}; a bend is `{bent}`"
        place = Span(span.start + fault.start, span.start + fault.end)
        self.report(fault.rule, place, fault.message, hint, fix)
        return Unknown(span=span)

    def _bend_before(self, span: Span, text: str) -> str | None:
        """`G7 b9`: the B string written small, or a bend of the note before as other tab writes it. The bend, if it may be one."""
        match = re.fullmatch(r"b(\d{1,2})", text)
        note = _NOTE_BEFORE.search(self.text, max(0, span.start - 40), span.start) if match else None
        if match is None or note is None or not 1 <= int(match[1]) - int(note[2]) <= 4:
            return None
        return f"{note[1]}{note[2]}^{match[1]}"

    def _touching(self, span: Span, text: str, before: int | None, after_repeat: bool) -> Fix | None:
        """`:| x3`: the space goes."""
        times = re.fullmatch(r"x(\d{1,4})", text) if after_repeat else None
        gap = self.text[before or 0 : span.start]
        if not times or int(times[1]) < 2 or not gap or gap.strip(" \t"):
            return None
        return Fix(f"let `{text}` touch its repeat sign", (Change(Span(span.start - len(gap), span.start), ""),))
