"""Diagnostics: findings with their place in the text, and the rules behind them.

In: facts from any stage. Out: `Diagnostic` values. Each module with rules has a tuple of them, which `compiler/rules.py`
joins. How a diagnostic looks on a screen is in `report/console.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from enum import StrEnum
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.core.nearest_name import nearest_name
from lickwright.core.source import Source, Span


class Severity(StrEnum):
    """`error`: cannot be played or read; `warning`: probably not meant; `info`: worth knowing, a note on every screen."""

    ERROR = "error"
    WARNING = "warning"
    INFO = "info"

    @property
    def word(self) -> str:
        """The word that players read: `error`, `warning` or `note`; programs read the value `info`."""
        return "note" if self is Severity.INFO else self.value


MESSAGE, HINT = 200, 300  # characters: a message is one line, a hint may list names


class Rule(NamedTuple):
    """One kind of finding, with what `lickwright why CODE` prints. Codes are never reused."""

    code: str  # L1xx notation, L2xx scale and box, L3xx rhythm, L4xx hands and techniques, L5xx formats, L6xx files, L7xx config, L8xx reading formats
    name: str  # a few words, for lists: "bar too short"
    severity: Severity
    summary: str  # one line
    explanation: str  # a paragraph: why it matters and what to do
    bad: str  # a whole .lick text that triggers the rule ("" only for L6xx, L8xx and losses of formats; L7xx: a lickwright.toml)
    good: str  # the same corrected: triggers no error and not this rule

    def at(
        self,
        span: Span,
        message: str,
        hint: str | None = None,
        notes: tuple[RelatedInformation, ...] = (),
        bar: int | None = None,
        beat: str | None = None,
        severity: Severity | None = None,
        fix: Fix | None = None,
    ) -> Diagnostic:
        """Return a diagnostic of this rule at `span`; a message or hint that quotes something endless is cut."""
        if len(message) > MESSAGE or len(hint or "") > HINT:
            message, hint = _brief(message, MESSAGE), _brief(hint, HINT) if hint else None
        return Diagnostic(self.code, severity or self.severity, span, message, hint, notes, None, bar, beat, fix)


class RelatedInformation(NamedTuple):
    """Another place that a diagnostic is about: the source of a slide, the meter line."""

    span: Span
    message: str
    source: Source | None = None  # the text of `span` if it is another one, the project's; None: the diagnostic's own


class Change(NamedTuple):
    """A stretch of the text, and the text to be put there instead.

    A text that ends with a line end is a line of its own: it goes before the line in which the span begins.
    """

    span: Span
    text: str


class Fix(NamedTuple):
    """The one sure correction of a diagnostic; where two are possible, there is none."""

    title: str  # what it does, as an order: "write `B8`"
    changes: tuple[Change, ...]  # none of which overlap or meet


def replacement_fix(start: int, end: int, text: str) -> Fix:
    """Return the fix that puts `text` in the place of one stretch of the source."""
    shown = text if len(text) <= 40 else text[:37] + "…"
    title = f"write `{shown}`" if text.strip() else "take it out" if not text else "put a space there"
    return Fix(title, (Change(Span(start, end), text),))


@record
class Diagnostic:
    """One finding; its message stands alone: lower case, one line, no full stop, with the real numbers."""

    code: str
    severity: Severity
    span: Span  # the smallest wrong part
    message: str  # what is wrong
    hint: str | None = None  # what would be right
    notes: tuple[RelatedInformation, ...] = ()
    lick: str | None = None  # the lick's title, None outside licks; filled in by the compiler
    bar: int | None = None  # the written bar's number (0 is a pick-up), None where there is none
    beat: str | None = None  # the count there: "2 &"; None where there is none
    fix: Fix | None = None  # only where there is one sure answer


def _brief(text: str, most: int) -> str:
    """Return a message cut to `most` characters, first by shortening what it quotes."""
    from re import sub

    text = sub(r"([`\"])([^`\"]{30})[^`\"]{10,}\1", r"\1\2…\1", text)
    text = sub(r"[0-9]{30,}", lambda digits: f"{digits[0][:6]}… ({len(digits[0])} digits)", text)
    return text if len(text) <= most else text[: most - 1] + "…"


def has_errors(diagnostics: tuple[Diagnostic, ...] | list[Diagnostic]) -> bool:
    """Return True if any of the diagnostics is an error."""
    return any(d.severity is Severity.ERROR for d in diagnostics)


def fingerprints(source: Source, found: Sequence[Diagnostic]) -> tuple[str, ...]:
    """Return a name for each diagnostic that stays the same while the text is edited elsewhere.

    It is a hash of the rule, the lick's title, the line without its spacing, and the diagnostic's number among equals,
    but not of line numbers. Two diagnostics of one source never share a name.
    """
    from lickwright.core.digest import blake2b  # only needed in reports for programs

    seen: dict[tuple[str, str, str], int] = {}
    names = []
    for d in found:
        line = source.line(source.position(d.span.start).line)
        what = (d.code, d.lick or "", " ".join(line.split()))
        seen[what] = nth = seen.get(what, 0) + 1
        whole = "\0".join((*what, str(nth))).encode("utf-8", "surrogatepass")
        names.append(blake2b(whole, digest_size=16).hexdigest())
    return tuple(names)


def one_of(choices: Collection[str]) -> Callable[[str], str]:
    """Return a parser that takes exactly one of these words. It raises ValueError, which names the nearest of them."""

    def parse(word: str) -> str:
        if word not in choices:
            near = nearest_name(word, tuple(choices))
            meant = f"; did you mean {near}?" if near else ""
            raise ValueError(f"`{word[:24]}` is not one of {', '.join(choices)}{meant}")
        return word

    return parse
