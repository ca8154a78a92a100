"""Findings as workflow commands, from which GitHub makes annotations beside the lines of a change.

In: sources with their findings. Out: text for standard output, a line a finding. GitHub shows about ten of each kind a
step; SARIF has the whole list.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.source import Source
from lickwright.report.console import safe_text

_COMMANDS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.INFO: "notice"}


def annotation_commands(files: Iterable[tuple[Source, Sequence[Diagnostic]]]) -> str:
    """Return a line for each finding: `::error file=a.lick,line=4,endLine=4,col=7,endColumn=9,title=L301 in "Gate"::…`."""
    return "".join(_annotation(source, d) for source, found in files for d in found)


def _annotation(source: Source, d: Diagnostic) -> str:
    title = d.code + (f' in "{d.lick}"' if d.lick is not None else "") + (f", bar {d.bar}" if d.bar is not None else "")
    properties: dict[str, str] = {"file": source.name}
    if not d.code.startswith("L6"):  # which are about a file as a whole
        start, end = source.position(d.span.start), source.position(d.span.end)
        properties |= {"line": str(start.line), "endLine": str(end.line)}
        if start.line == end.line:  # only then are columns understood
            properties |= {"col": str(start.column), "endColumn": str(end.column)}
    properties["title"] = title
    said = ",".join(f"{name}={_property(value)}" for name, value in properties.items())
    message = d.message + (f"\n{d.hint}" if d.hint else "")
    return f"::{_COMMANDS[d.severity]} {said}::{_data(message)}\n"


def _data(text: str) -> str:
    """Return text escaped as a command's message, so that no text of a user can end the line and begin a command."""
    return safe_text(text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A"))


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")
