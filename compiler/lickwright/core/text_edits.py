"""Apply fixes to a text: where their changes stand, which of them are compatible, and the text with them.

In: a `Source` or the bytes of its file, and fixes. Out: the changed text or bytes; what no change touches stays the same
byte for byte, line ends and byte-order mark included. Whether the result is better is judged in `transform/autofix.py`;
it is written in `cli/`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.core.diagnostics import Change, Fix
from lickwright.core.source import Source, Span


def place_change(source: Source, change: Change) -> Change:
    """Return a change at its final place: a line of its own goes to the start of the line in which its span begins."""
    if not change.text.endswith("\n"):
        return change
    at = source.text.rfind("\n", 0, change.span.start) + 1
    return Change(Span(at, at), change.text)


def compatible_fixes(source: Source, fixes: Iterable[Fix]) -> list[Fix]:
    """Return those of `fixes`, in order of preference, whose changes do not overlap or meet; of equal ones, one."""
    taken: list[Span] = []
    kept: list[Fix] = []
    for fix in fixes:
        spans = [place_change(source, change).span for change in fix.changes]
        if fix not in kept and not any(a.start <= b.end and b.start <= a.end for a in spans for b in taken):
            taken += spans
            kept.append(fix)
    return kept


def apply_fixes(source: Source, fixes: Sequence[Fix]) -> str:
    """Return the text with all of `fixes`, which must be compatible."""
    text = source.text
    for span, new in _last_first(source, fixes):
        text = text[: span.start] + new + text[span.end :]
    return text


def rewrite_bytes(data: bytes, source: Source, fixes: Sequence[Fix]) -> bytes:
    """Return the bytes of the file from which `source` was read, with all of `fixes`, which must be compatible."""
    raw = data.decode("utf-8")
    places = _raw_offsets(raw)
    for span, new in _last_first(source, fixes):
        if "\n" in new and "\r\n" in raw:
            new = new.replace("\n", "\r\n")
        raw = raw[: places[span.start]] + new + raw[places[span.end] :]
    return raw.encode("utf-8")


def _last_first(source: Source, fixes: Sequence[Fix]) -> list[Change]:
    """Return all changes from the text's end backwards, so that none moves the offsets of those after it."""
    return sorted((place_change(source, change) for fix in fixes for change in fix.changes), reverse=True)


def _raw_offsets(raw: str) -> list[int]:
    """Return for each offset into the normalized text of a `Source`, its end included, the one into the file's text."""
    first = 1 if raw.startswith("\ufeff") else 0
    kept = [at for at in range(first, len(raw)) if not (raw[at] == "\n" and at and raw[at - 1] == "\r")]
    return [*kept, len(raw)]
