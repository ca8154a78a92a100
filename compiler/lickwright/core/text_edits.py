"""Fixes put into a text: where their changes stand, which of them go together, and the text with them.

In: a `Source` or the bytes of its file, and fixes. Out: the changed text or bytes; everything that no change touches stays byte for byte, line ends
and byte-order mark included. Whether the result is better is `transform/autofix.py`'s question, and writing it is `cli/`'s.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.core.diagnostics import Change, Fix
from lickwright.core.source import Source, Span


def place_change(source: Source, change: Change) -> Change:
    """A change where it really goes: a line of its own goes to the start of the line that its span begins in."""
    if not change.text.endswith("\n"):
        return change
    at = source.text.rfind("\n", 0, change.span.start) + 1
    return Change(Span(at, at), change.text)


def compatible_fixes(source: Source, fixes: Iterable[Fix]) -> list[Fix]:
    """Those of `fixes`, first come first served, whose changes do not overlap or meet; of equal ones, one."""
    taken: list[Span] = []
    kept: list[Fix] = []
    for fix in fixes:
        spans = [place_change(source, change).span for change in fix.changes]
        if fix not in kept and not any(a.start <= b.end and b.start <= a.end for a in spans for b in taken):
            taken += spans
            kept.append(fix)
    return kept


def apply_fixes(source: Source, fixes: Sequence[Fix]) -> str:
    """The text with all of them; they must go `together`."""
    text = source.text
    for span, new in _last_first(source, fixes):
        text = text[: span.start] + new + text[span.end :]
    return text


def rewrite_bytes(data: bytes, source: Source, fixes: Sequence[Fix]) -> bytes:
    """The bytes of the file that `source` was read from, with all of them."""
    raw = data.decode("utf-8")
    places = _raw_offsets(raw)
    for span, new in _last_first(source, fixes):
        if "\n" in new and "\r\n" in raw:
            new = new.replace("\n", "\r\n")
        raw = raw[: places[span.start]] + new + raw[places[span.end] :]
    return raw.encode("utf-8")


def _last_first(source: Source, fixes: Sequence[Fix]) -> list[Change]:
    """All changes from the text's end backwards, so that each leaves the offsets of the rest alone."""
    return sorted((place_change(source, change) for fix in fixes for change in fix.changes), reverse=True)


def _raw_offsets(raw: str) -> list[int]:
    """For each offset into the normalised text of a `Source`, its end included, the one into the text of the file."""
    first = 1 if raw.startswith("\ufeff") else 0
    kept = [at for at in range(first, len(raw)) if not (raw[at] == "\n" and at and raw[at - 1] == "\r")]
    return [*kept, len(raw)]
