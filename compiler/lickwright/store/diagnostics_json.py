"""Findings as JSON for the manifest, so that those of an unchanged source are shown again without compiling it.

In: findings, or the text that `diagnostics_to_json` made of them. Out: the one from the other, but for fixes, which are `check`'s business. A text that
cannot be read back (a damaged manifest) is None: then the source is compiled again.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Severity
from lickwright.core.source import MAX_BYTES, Source, Span


def diagnostics_to_json(found: Iterable[Diagnostic]) -> str:
    """Return findings as JSON, or "" for none."""
    values = [
        [d.code, d.severity.value, *d.span, d.message, d.hint, [_note(n) for n in d.notes], d.lick, d.bar, d.beat]
        for d in found
    ]
    if not values:
        return ""
    from json import dumps

    return dumps(values, separators=(",", ":"))


def _note(note: RelatedInformation) -> list[object]:
    return [*note.span, note.message, note.source is not None]


def diagnostics_from_json(kept: str, project_source: Source | None) -> tuple[Diagnostic, ...] | None:
    """Return the findings of `kept`, None for a text that cannot be read back. `project_source`: the file that some notes point into; None leaves them out."""
    if not kept:
        return ()
    from json import loads

    try:
        return tuple(
            Diagnostic(
                _text(code), Severity(severity), _span(start, end), _text(message), _maybe(hint, str),
                tuple(
                    RelatedInformation(_span(a, b), _text(words), project_source if elsewhere else None)
                    for a, b, words, elsewhere in notes if project_source is not None or not elsewhere
                ),
                _maybe(lick, str), _maybe(bar, int), _maybe(beat, str),
            )
            for code, severity, start, end, message, hint, notes, lick, bar, beat in loads(kept)
        )  # fmt: skip
    except (ValueError, TypeError, RecursionError):
        return None


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _span(start: Any, end: Any) -> Span:
    if not (type(start) is type(end) is int and 0 <= start <= end <= MAX_BYTES):
        raise ValueError
    return Span(start, end)


def _maybe(value: Any, *kinds: type) -> Any:
    if value is not None and type(value) not in kinds:
        raise TypeError
    return value
