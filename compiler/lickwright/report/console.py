"""Findings as text for a screen or as values for JSON, and the words that all reports share.

In: a `Source` and its findings. Out: text (a line that says what is wrong, the written line, a caret under the wrong
part, the other place, what would be right), or a value for JSON. The terminal itself is not touched: the caller passes
whether colors are wanted and how wide the screen is.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what only prints words needs no findings
    from lickwright.core.diagnostics import Diagnostic, Fix, RelatedInformation, Severity
    from lickwright.core.source import Source, Span

MAX_SHOWN = 100  # findings a file on a screen; the rest is counted
TAB = 4  # columns between tab stops in a shown line

_COLORS = {"error": "31", "warning": "33", "info": "36"}  # of severities
_ESCAPED = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")  # categories that move a cursor, reverse text or show nothing


def safe_text(text: str) -> str:
    r"""Return `text` with characters that could control a screen shown as `\u{1B}`.

    They are control, format, private, unassigned and surrogate characters, and line and paragraph separators.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(char) for char in text)


def safe_lines(text: str) -> str:
    """Return each line of a text made safe by `safe_text`, with a line end after it."""
    return "".join(safe_text(line) + "\n" for line in text.split("\n"))


def _shown(char: str) -> str:
    from unicodedata import category  # only needed beyond plain ASCII

    return f"\\u{{{ord(char):X}}}" if category(char) in _ESCAPED else char


def display_width(text: str) -> int:
    """Return the columns that `text` takes on a screen: two for a wide character, none for a combining mark (UAX 11)."""
    if text.isascii():
        return len(text)
    from unicodedata import category, east_asian_width

    return sum(0 if category(c) in ("Mn", "Me") else 2 if east_asian_width(c) in "WF" else 1 for c in text)


def source_excerpt(source: Source, span: Span, columns: int = 100) -> tuple[str, str]:
    """Return the written line where `span` starts, and the line of carets under it.

    A long line is cut to about `columns` around the span, with `...` where it goes on. A span that runs past its line is
    marked to the line's end; an empty one gets one caret.
    """
    place = source.position(span.start)
    line = source.line(place.line)
    first = min(place.column - 1, len(line))
    last = min(max(first + 1, first + span.end - span.start), max(len(line), first + 1))
    cut = max(0, first - columns // 2) if len(line) > columns else 0
    end = min(len(line), cut + columns)
    lead = "..." if cut else ""
    shown, at = [lead], len(lead)
    begin = stop = None
    for i in range(cut, end + 1):
        if i == first:
            begin = at
        if i == last:
            stop = at
        if i < end:
            piece = " " * (TAB - at % TAB) if line[i] == "\t" else safe_text(line[i])
            shown.append(piece)
            at += display_width(piece)
    begin = at if begin is None else begin
    stop = at if stop is None else stop
    carets = " " * begin + "^" * max(1, stop - begin)
    return "".join(shown).rstrip() + ("..." if end < len(line) else ""), carets


def format_finding(source: Source, diagnostic: Diagnostic, color: bool = False, columns: int = 100) -> str:
    """Return one finding in full, with a line end at its end.

    porch.lick:12:9: error: bar 3 holds 7 eighths, 4/4 asks for 8 (L301)
        | e8 e5 B8^10 -r p5 G7~ |
        ^^^^^^^^^^^^^^^^^^^^^^^
        line 5: the meter is set here
            meter 4/4
                  ^^^
        help: add one more step, or a rest: .
    """
    word = _paint(diagnostic.severity.word, _COLORS[diagnostic.severity], color)
    message = _paint(safe_text(diagnostic.message), "1", color)
    lines = [f"{format_location(source, diagnostic)}: {word}: {message} ({diagnostic.code})"]
    if _has_place(diagnostic):
        lines += _quoted(source, diagnostic.span, _COLORS[diagnostic.severity], 4, color, columns)
    for note in diagnostic.notes:
        lines.append(
            f"    {_line_of(note)}line {(note.source or source).position(note.span.start).line}: {safe_text(note.message)}"
        )
        lines += _quoted(note.source or source, note.span, "36", 8, color, columns)
    if diagnostic.hint:
        lines.append(f"    {_paint('help', '36', color)}: {safe_text(diagnostic.hint)}")
    return "\n".join(lines) + "\n"


def _line_of(note: RelatedInformation) -> str:
    return f"{safe_text(note.source.name)}, " if note.source else ""


def format_location(source: Source, diagnostic: Diagnostic) -> str:
    """Return `porch.lick:12:9`, or the file alone where a finding is about it as a whole."""
    name = safe_text(source.name) if source.name != "-" else "standard input"
    if not _has_place(diagnostic):
        return name
    place = source.position(diagnostic.span.start)
    return f"{name}:{place.line}:{place.column}"


def _has_place(diagnostic: Diagnostic) -> bool:
    """Return True for a finding about a place in the text: one about a file as a whole (L6xx) has none."""
    return not diagnostic.code.startswith("L6")


def _quoted(source: Source, span: Span, code: str, indent: int, color: bool, columns: int) -> list[str]:
    text, carets = source_excerpt(source, span, max(30, columns - indent))
    blank = len(carets) - len(carets.lstrip())
    pad = " " * indent
    return [pad + text, pad + carets[:blank] + _paint(carets[blank:], code, color)]


def _paint(text: str, code: str, color: bool) -> str:
    return f"\x1b[{code}m{text}\x1b[0m" if color else text


def format_findings(source: Source, diagnostics: Sequence[Diagnostic], color: bool = False, columns: int = 100) -> str:
    """Return the findings of one file, at most `MAX_SHOWN`; where there are more, errors are kept first."""
    shown = list(diagnostics)
    if len(shown) > MAX_SHOWN:
        keep = sorted(range(len(shown)), key=lambda i: (shown[i].severity != "error", i))[:MAX_SHOWN]
        shown = [shown[i] for i in sorted(keep)]
    text = "".join(format_finding(source, d, color, columns) for d in shown)
    hidden = len(diagnostics) - len(shown)
    if hidden:
        text += f"{safe_text(source.name)}: and {counted_noun(hidden, 'more finding')} not shown\n"
    return text


def counted_noun(number: int, what: str) -> str:
    """Return a number and its noun: `1 error`, `2 errors`."""
    return f"{number:,} {what}" + ("" if number == 1 else "s")


def format_bytes(number: int) -> str:
    """Return a size with two digits or more: `850 bytes`, `12 kB`, `3.4 MB`, `21 GB`."""
    if number < 1000:
        return counted_noun(number, "byte")
    size = float(number)
    for unit in ("kB", "MB", "GB"):
        size /= 1000
        if size < 999.5 or unit == "GB":
            break
    return f"{size:.1f} {unit}" if size < 9.95 else f"{size:,.0f} {unit}"


def join_words(words: Iterable[str], last: str = "and") -> str:
    """Return `a, b and c`. Raises ValueError for no words."""
    *most, final = words
    return f"{', '.join(most)} {last} {final}" if most else final


def tally_findings(diagnostics: Iterable[Diagnostic]) -> str:
    """Return the numbers of findings by severity: `2 errors, 1 warning`, or `no findings`."""
    found = [d.severity for d in diagnostics]
    return tally_severities(Counter(found))


def tally_severities(severities: Mapping[Severity, int]) -> str:
    """Return `2 errors, 1 warning`, or `no findings`, from numbers by severity."""
    from lickwright.core.diagnostics import Severity

    parts = [counted_noun(severities[severity], severity.word) for severity in Severity if severities.get(severity)]
    return ", ".join(parts) or "no findings"


def findings_json(source: Source, found: Sequence[Diagnostic]) -> list[dict[str, Any]]:
    """Return findings as values for JSON: lines and columns from 1, columns in code points, the end exclusive."""
    from lickwright.core.diagnostics import fingerprints

    return [_value(source, d, name) for d, name in zip(found, fingerprints(source, found), strict=True)]


def _value(source: Source, d: Diagnostic, fingerprint: str) -> dict[str, Any]:
    return {
        "code": d.code,
        "severity": d.severity.value,
        **_extent(source, d.span),
        "message": d.message,
        "help": d.hint,
        "lick": d.lick,
        "bar": d.bar,
        "beat": d.beat,
        "notes": [_note_value(source, note) for note in d.notes],
        "fix": None if d.fix is None else _fix_value(source, d.fix),
        "fingerprint": fingerprint,
    }


def _note_value(source: Source, note: RelatedInformation) -> dict[str, Any]:
    other = {"path": note.source.name} if note.source else {}
    return {"message": note.message, **other, **_extent(note.source or source, note.span)}


def _fix_value(source: Source, fix: Fix) -> dict[str, Any]:
    from lickwright.core.text_edits import place_change

    changes = (place_change(source, change) for change in fix.changes)
    return {"title": fix.title, "changes": [{**_extent(source, span), "text": text} for span, text in changes]}


def _extent(source: Source, span: Span) -> dict[str, int]:
    start, end = source.position(span.start), source.position(span.end)
    return {"line": start.line, "column": start.column, "end_line": end.line, "end_column": end.column}


def describe_crash(error: BaseException) -> str:
    """Return what went wrong inside the program, and where, in one line for a bug report."""
    from traceback import extract_tb

    frames = [f for f in extract_tb(error.__traceback__) if not f.filename.startswith("<")]
    at = " < ".join(f"{os.path.basename(f.filename)}:{f.lineno}" for f in reversed(frames[-6:]))
    return f"{type(error).__name__}: {safe_text(str(error))[:200]} at {at}"
