"""`@…` → what is said at a moment: words, loudness, tempo, a pause.

In: the text of one saying that the grammar has found. Out: a `Say`, or an unknown of no length, and the mistakes in it.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.diagnostics import nearest_name, replacement_fix
from lickwright.core.source import Span
from lickwright.notation import habits, rules
from lickwright.notation.build_bad import BadRuns
from lickwright.notation.build_notes import ReportFinding
from lickwright.notation.fault import shorten
from lickwright.notation.navigation import BY_SIGN
from lickwright.notation.tree import Item, Navigation, Say, Unknown

DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")
QUOTES = "“”„«»"
ESCAPE = re.compile(r"\\(.)")
_NUMBER_AFTER = re.compile(r"[ \t]*:?[ \t]*(\d{2,3})(?![^ \t\n|])")


class Sayings:
    """Reads the sayings of one text."""

    def __init__(self, text: str, report: ReportFinding, bad: BadRuns, crowded: Callable[[], bool]) -> None:
        self.text = text
        self.report = report
        self._bad = bad
        self._crowded = crowded

    def item(self, text: str, span: Span) -> Item | None:
        """What one of them says; None where it says nothing that can be understood."""
        if text[1] in '"' + QUOTES:
            return self._words(text, span)
        if re.search(r"[ \t]", text):
            close = "=".join(side.strip() for side in text.split("=", 1))
            fix = replacement_fix(*span, close)
            self.report(rules.SAYING, span, f"`{shorten(text)}` has spaces in it", f"write `{close}`, touching", fix)
            text = close
        name, equals, value = text[1:].partition("=")
        if name == "tempo" and equals:
            return Say("tempo", value, span=span)
        if name in DYNAMICS and not equals:
            return Say("dynamic", name, span=span)
        if name == "fermata" and not equals:
            return Say("fermata", "", span=span)
        if name in BY_SIGN and not equals:
            return Navigation(BY_SIGN[name], span=span)
        large = not equals and (name.lower() in DYNAMICS or name.lower() in BY_SIGN or name.lower() == "fermata")
        small = replacement_fix(*span, text.lower()) if large else None
        self.report(rules.SAYING, span, f"there is no `{shorten(text)}`", self._meant(name, equals, value, span), small)
        return None

    def _meant(self, name: str, equals: str, value: str, span: Span) -> str:
        """What would be right instead of a saying that the notation does not have."""
        if name.lower() in ("tempo", "bpm", "speed"):
            number = _NUMBER_AFTER.match(self.text, span.end)
            self._bad.told = number.end() if number else self._bad.told
            return f"write `@tempo={number[1] if number else value or 60}`"
        if road := habits.navigation_phrase(self.text[span.start + 1 : span.start + 25]):
            self._bad.told = span.start + 1 + road[1]
            return f"write `@{road[0]}`"
        loud = habits.loudness_sign(name)
        if loud and not equals:
            return f"write `@{loud}`"
        near = None if self._crowded() else nearest_name(name, (*DYNAMICS, "tempo=", "fermata", *BY_SIGN))
        words = "" if near and near not in DYNAMICS else self._bad.words_after(span.end)
        if words:
            return f'words go in quotes: `@"{name} {words}"`'
        return f"did you mean `@{near}`?" if near else 'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`'

    def _words(self, text: str, span: Span) -> Item | None:
        if text[1] != '"' or text[-1] in QUOTES:
            fix = replacement_fix(*span, f'@"{text[2:-1]}"') if len(text) > 2 and '"' not in text[2:-1] else None
            self.report(rules.TYPOGRAPHY, span, "curly quotes round the words", f'write `@"{text[2:-1][:30]}"`', fix)
        elif len(text) < 3 or text[-1] != '"':
            where, hint = Span(span.start, span.start + 2), 'close it: `@"let it hang"`'
            self.report(rules.OPEN, where, "the words' quote is never closed", hint)
            return Unknown(span=span)  # it may have swallowed notes
        return Say("words", ESCAPE.sub(r"\1", text[2:-1] if text[-1] in '"' + QUOTES else text[2:]).strip(), span=span)
