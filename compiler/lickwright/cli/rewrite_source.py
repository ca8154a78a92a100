"""A user's own source written anew in its place, by `check --fix` and by `tidy`.

In: the path as it was named, the text that was read, and the bytes to write. Out: nothing, or the finding that says why the file stays as it was.
A file is replaced whole or not at all, and only if it is still the one that was read and lies, by its real path, below what was named. A link
that was named itself stays one: the file that it leads to is written in its own place.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence

from lickwright.cli import terminal
from lickwright.core.atomic_files import remove_stale_files, replace_file
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.file_bytes import error_reason, read_file
from lickwright.core.files import UNWRITABLE
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.core.source_discovery import FoundSource
from lickwright.report import console


class NamedPaths:
    """What was named on the command line: only files below it are written."""

    def __init__(self, paths: Sequence[str]) -> None:
        self._roots = [os.path.realpath(path) for path in paths if path != "-"]

    def leads_out(self, path: str) -> bool:
        """Return True if a file lies, by its real path, elsewhere than in what was named; its user is told so by `say_linked`."""
        if path == "-":
            return False
        real = os.path.realpath(path)
        return not any(real == root or real.startswith(os.path.join(root, "")) for root in self._roots)

    def remove_stale(self, found: Sequence[FoundSource]) -> None:
        """Remove temporary files that killed runs left beside the files that may be written."""
        inside = [one.real for one in found if one.real not in ("", "-") and not self.leads_out(one.path)]
        for folder in {os.path.dirname(real) for real in inside}:
            remove_stale_files(folder)


def say_linked(path: str, verb: str) -> None:
    """Say that a file is left as it is, since it is a link to elsewhere; `verb` is what would have been done to it."""
    terminal.err(
        f"{console.safe_text(path)}: left as it is: it is a link to a file outside what was named\n"
        f"    name the link itself to {verb} that file\n"
    )


def rewrite_source(path: str, before: Source, rewrite: Callable[[bytes], bytes]) -> Diagnostic | None:
    """Replace the file by `rewrite` of its bytes, or return why not; then the file is as it was.

    `before` is the text that was read. A file that says something else now is not replaced.
    """
    if path == "-":
        return _unwritten("standard input has no place to write to", "leave --in-place out")
    try:
        real = os.path.realpath(path)  # a link stays a link
        status = os.stat(real)
        if not os.access(real, os.W_OK):
            return _unwritten("the file may not be written to", "change its permissions, or edit it by hand")
        data = read_file(real)
        if decode_source(path, data).text != before.text:
            return _unwritten("the file was changed while it was read", "run the command again")
        replace_file(real, rewrite(data), status)
    except (OSError, Unreadable) as e:
        return _unwritten(error_reason(e), "check who may write to the file and its folder")
    if status.st_nlink > 1:
        terminal.err(
            f"{console.safe_text(path)}: the file has another name too (a hard link), where the old text stays\n"
        )
    return None


def holds_text(path: str, text: str) -> bool:
    """Return True if a file has this text."""
    try:
        return decode_source(path, read_file(path)).text == text
    except Unreadable:
        return False


def text_diff(before: Source, after: str, label: str) -> str:
    """Return a unified diff, "" without a difference; for a terminal, control characters are shown by their numbers."""
    if before.text == after:
        return ""
    from difflib import unified_diff

    name = "standard input" if before.name == "-" else before.name
    lines = unified_diff(_lines(before.text), _lines(after), name, f"{name} ({label})", lineterm="", n=1)
    if not sys.stdout.isatty():
        return "".join(line + "\n" for line in lines)
    return "".join(console.safe_text(line.replace("\t", " " * console.TAB)) + "\n" for line in lines)


def _lines(text: str) -> list[str]:
    """Return lines for a diff, with the usual note after a last line that has no end."""
    lines = text.split("\n")
    if lines[-1]:
        lines[-1] += "\n\\ No newline at end of file"
        return lines
    return lines[:-1]


def _unwritten(why: str, hint: str) -> Diagnostic:
    return UNWRITABLE.at(Span(0, 0), f"nothing was written: {why}", hint)
