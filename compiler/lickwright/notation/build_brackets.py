"""What opens a bracket: the ratio of a tuplet, the word of a parenthesis, and the mistakes in them.

In: the opener of a bracket, a token. Out: what it says. What stands inside is `build_music.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.diagnostics import replacement_fix
from lickwright.core.nearest_name import nearest_name
from lickwright.core.source import Span
from lickwright.music.rhythm import usual_time
from lickwright.notation import habits, rules
from lickwright.notation.brackets import Token
from lickwright.notation.build_bad import BadRuns
from lickwright.notation.build_notes import ReportFinding
from lickwright.notation.fault import shorten
from lickwright.notation.techniques import EVENT_WORDS, WORDS

MAX_TUPLET = 64
_WORDS = (*WORDS, *EVENT_WORDS)
_OPENERS = {f"({word}:": word for word in _WORDS}
_BORDERS = {"|": "a bar line", ":": "a bar line", ")": "the `)` after it", "%": "a bar's repeat"}


class BracketBuilder:
    """Reads the openers of one text's brackets."""

    def __init__(self, text: str, report: ReportFinding, bad: BadRuns, crowded: Callable[[], bool]) -> None:
        self.text = text
        self.report = report
        self._bad = bad
        self._crowded = crowded  # whether no finding will be kept any more

    def report_open(self, opener: Token, closer: Token) -> None:
        """Report a bracket that nothing closes; `closer` stands where it had to be closed."""
        sign = "]" if opener.type == "TUPLET" else ")"
        char = self.text[closer.start : closer.start + 1] if closer.start > opener.start else ""
        border = _BORDERS.get(char, "the lick's end")
        message = f"`{opener.text.strip()}` is never closed: it is still open at {border}"
        self.report(rules.OPEN, Span(opener.start, opener.end), message, f"close it with `{sign}`")
        if opener.type == "WORD" and opener.text[1:].rstrip(" \t:") in EVENT_WORDS:
            self._bad.told = _first_word(self.text, opener.end)

    def word(self, opener: Token, closed: bool) -> str:
        """Return the word of a parenthesis; "" where nobody knows what belongs to it, since it is never closed."""
        known = _OPENERS.get(opener.text)
        if known is not None and closed:
            return known
        word = opener.text[1:].strip().removesuffix(":").strip()
        if word not in _WORDS or opener.text != f"({word}:":
            self._report_word(Span(opener.start, opener.end), word)
        return "" if not closed and word in EVENT_WORDS else word

    def ratio(self, opener: Token) -> tuple[int, int] | None:
        """Return how many steps go in the time of how many; None where the bracket does not say it, which is reported."""
        span = Span(opener.start, opener.end)
        if span.start < self._bad.told:
            return None  # a `t[`, which has been reported
        if opener.text == "[":
            self._report_no_number(span)
            return None
        first, _, second = opener.text[:-1].partition(":")
        if not _is_number(first, 2) or not _is_number(second or "1", 1):
            self.report(
                rules.TUPLET,
                span,
                f"`{shorten(opener.text)}` is not a tuplet",
                f"the numbers go from 2 to {MAX_TUPLET}: `3[…]`, `5:4[…]`",
            )
            return None
        count = int(first)
        return count, int(second) if second else usual_time(count)

    def _report_no_number(self, span: Span) -> None:
        """Report a `[` without a number: an ending in brackets, or a tuplet whose number is missing or stands apart."""
        if ending := re.compile(r"(?<=\|)\[([12])\.?\]").match(self.text, span.start):
            number = "1st" if ending[1] == "1" else "2nd"
            self._bad.told = ending.end()
            self.report(rules.ENDING, Span(*ending.span()), f"`{ending[0]}` is not an ending", f"write `|{number}`")
            return
        self._bad.told = _first_word(self.text, span.end)
        message = "a `[` without its number: how many steps in the time of how many?"
        before = re.search(r"(\d+(?::\d+)?)[ \t]+$", self.text[max(0, span.start - 12) : span.start])
        if before is None:
            self.report(rules.TUPLET, span, message, "three in the time of two is `3[…]`")
        else:
            fix = replacement_fix(span.start - len(before[0]), span.end, f"{before[1]}[")
            self.report(rules.TUPLET, span, message, f"write `{before[1]}[`, touching", fix)

    def _report_word(self, span: Span, word: str) -> None:
        """Report a parenthesis without a word, or with one that the notation does not have or that lacks its colon."""
        if span.start < self._bad.told:
            return  # `3(…`, `tr(…`, which have been reported
        meant = None if word in _WORDS else habits.bracketed_phrase(self.text, span.start)
        if word in _WORDS:
            colon = replacement_fix(*span, f"({word}:")
            self.report(rules.WORD, span, f"`{word}` needs its colon", f"write `({word}: …)`", colon)
        elif meant is not None:
            self._report_habit(span, *meant)
        elif word:
            self._report_unknown(span, word)
        else:
            where = Span(span.start, span.start + 1)
            self._bad.told = _first_word(self.text, span.end)
            self.report(rules.WORD, where, "a `(` without its word", _parenthesized(self.text, span))

    def _report_habit(self, span: Span, hint: str, sure: str | None, end: int) -> None:
        """Report a phrase, up to `end`, that stands for one of our words in other notations; `sure` is the word if it is certain."""
        said = self.text[span.start + 1 : end].strip().rstrip(":").rstrip()
        lacks = habits.plain_phrase(said) in _WORDS and self.text[end - 1] != ":"
        message = f"`{shorten(said)}` needs its colon" if lacks else f"there is no word `{shorten(said)}`"
        fix = replacement_fix(span.start, end, f"({sure}:") if sure else None
        self._bad.told = end
        self.report(rules.WORD, Span(span.start + 1, span.start + 1 + len(said)), message, hint, fix)

    def _report_unknown(self, span: Span, word: str) -> None:
        at = self.text.find(word, span.start)
        where = Span(at, at + len(word))
        near = None if self._crowded() else nearest_name(word, _WORDS)
        hint = f"did you mean `({near}: …)`?" if near else f"the words are {', '.join(_WORDS)}"
        fix = replacement_fix(*where, word.lower()) if word.lower() in _WORDS else None
        self.report(rules.WORD, where, f"there is no word `{shorten(word)}`", hint, fix)


def _is_number(digits: str, least: int) -> bool:
    return len(digits) <= 4 and least <= int(digits) <= MAX_TUPLET


def _first_word(text: str, at: int) -> int:
    """Return where what stands first inside a bracket ends, if it is no note: it belongs to the bracket's mistake."""
    match = re.compile(r"[ \t]*[^ \t\n|()\[\]]+").match(text, at)
    return match.end() if match else at


def _parenthesized(text: str, span: Span) -> str:
    """Return what a parenthesis without a word may be meant as, by what stands before and inside."""
    note = re.search(r"([EADGBe])(\d{1,2})\Z", text[max(0, span.start - 4) : span.start])
    number = re.compile(r"\((\d{1,2})\)").match(text, span.start)
    if note and number:
        finger = f"a finger is `{note[0]}'{number[1]}`, " if number[1] in "1234" else ""
        return f"{finger}a bend to the pitch of fret {number[1]} is `{note[0]}^{number[1]}`"
    if re.compile(r"\(\d[ \t]").match(text, span.start):
        return "a triplet is `3[…]`"
    times = re.compile(r"\([x×]?(\d{1,2})[x×]?\)").match(text, span.start)
    if times and not number:
        return f"to play it {times[1]} times in all, end with `:|x{times[1]}`"
    return "a word and a colon say how: `(pm: E0 E0)`; a ghost note is `G7?`, notes together are `e5&B8`"
