"""`@…` → what is said at a moment: words, loudness, tempo, a fermata, navigation.

In: the text of one direction that the grammar has found. Out: a `DirectionNode` or `Navigation`, and the mistakes in it.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.diagnostics import replacement_fix
from lickwright.core.nearest_name import nearest_name
from lickwright.core.source import Span
from lickwright.notation import habits, rules
from lickwright.notation.build_bad import BadRuns
from lickwright.notation.build_notes import ReportFinding
from lickwright.notation.fault import shorten
from lickwright.notation.navigation import BY_SIGN
from lickwright.notation.tree import DirectionNode, Item, Navigation, Unknown

DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")
QUOTES = "“”„«»"
_ENDS_WORDS = ('"', "“", "”", "»")
_ALONE = (*DYNAMICS, *BY_SIGN, "fermata")  # what is said without a value
ESCAPE = re.compile(r"\\(.)")
_NUMBER_AFTER = re.compile(r"[ \t]*:?[ \t]*(\d{2,3})(?![^ \t\n|])")


class DirectionBuilder:
    """Reads the directions of one text."""

    def __init__(self, text: str, report: ReportFinding, bad: BadRuns, crowded: Callable[[], bool]) -> None:
        self.text = text
        self.report = report
        self._bad = bad
        self._crowded = crowded  # whether no finding will be kept any more

    def item(self, text: str, span: Span) -> Item | None:
        """Return the node of a direction; None for one that cannot be understood, which is reported."""
        if text[1] in '"' + QUOTES:
            return self._words(text, span)
        if re.search(r"[ \t]", text):
            close = "=".join(side.strip() for side in text.split("=", 1))
            fix = replacement_fix(*span, close)
            self.report(rules.DIRECTION, span, f"`{shorten(text)}` has spaces in it", f"write `{close}`, touching", fix)
            text = close
        name, equals, value = text[1:].partition("=")
        if equals:
            said: Item | None = DirectionNode("tempo", value, span=span) if name == "tempo" else None
        elif name in DYNAMICS:
            said = DirectionNode("dynamic", name, span=span)
        elif name == "fermata":
            said = DirectionNode("fermata", "", span=span)
        else:
            said = Navigation(BY_SIGN[name], span=span) if name in BY_SIGN else None
        if said is None:
            self._report_unknown(text, span)
        return said

    def _report_unknown(self, text: str, span: Span) -> None:
        name, equals, value = text[1:].partition("=")
        small = replacement_fix(*span, text.lower()) if not equals and name.lower() in _ALONE else None
        hint = self._tempo(name, value, span) or self._navigation(span) or self._nearest(name, equals, span)
        self.report(rules.DIRECTION, span, f"there is no `{shorten(text)}`", hint, small)

    def _tempo(self, name: str, value: str, span: Span) -> str | None:
        """Return what `@bpm 120` should be; None for what names no tempo."""
        if name.lower() not in ("tempo", "bpm", "speed"):
            return None
        number = _NUMBER_AFTER.match(self.text, span.end)
        self._bad.told = number.end() if number else self._bad.told
        return f"write `@tempo={number[1] if number else value or 60}`"

    def _navigation(self, span: Span) -> str | None:
        """Return what `@D.C. al Fine` should be; None for what is no navigation."""
        phrase = habits.navigation_phrase(self.text[span.start + 1 : span.start + 25])
        if phrase is None:
            return None
        self._bad.told = span.start + 1 + phrase[1]
        return f"write `@{phrase[0]}`"

    def _nearest(self, name: str, equals: str, span: Span) -> str:
        """Return what is most like a direction that the notation does not have: `@forte`, `@mezzo`, `@slowly now`."""
        loud = habits.loudness_sign(name)
        if loud and not equals:
            return f"write `@{loud}`"
        near = None if self._crowded() else nearest_name(name, (*DYNAMICS, "tempo=", "fermata", *BY_SIGN))
        words = "" if near and near not in DYNAMICS else self._bad.words_after(span.end)
        if words:
            return f'words go in quotes: `@"{name} {words}"`'
        return f"did you mean `@{near}`?" if near else 'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`'

    def _words(self, text: str, span: Span) -> Item:
        if len(text) < 3 or not text.endswith(_ENDS_WORDS):
            where, hint = Span(span.start, span.start + 2), 'close it: `@"let it hang"`'
            self.report(rules.OPEN, where, "the words' quote is never closed", hint)
            return Unknown(span=span)  # it may have swallowed notes
        words = text[2:-1]
        if text[1] != '"' or text[-1] != '"':
            fix = replacement_fix(*span, f'@"{words}"') if '"' not in words else None
            self.report(rules.TYPOGRAPHY, span, "curly quotes round the words", f'write `@"{words[:30]}"`', fix)
        return DirectionNode("words", ESCAPE.sub(r"\1", words).strip(), span=span)
