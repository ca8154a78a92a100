"""`lickwright check --fix`: the fixes that are safe to make, as a diff, and written into the files when asked.

In: the sources that the command line means. Out: the diff on standard output; on standard error what remains and what was not fixed. A file is
replaced whole or not at all, and only if it is still the one that was read and lies, by its real path, below what was named. A link that was
named itself stays one: the file that it leads to is fixed in its own place.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.cli.findings_view import show_findings
from lickwright.cli.sources import FoundSource, Verdict, compile_sources
from lickwright.core.atomic_files import remove_stale_files, replace_file
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.files import UNWRITABLE, error_reason, read_file
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.report import console
from lickwright.transform.autofix import AutofixResult, RefusedFix, autofix


def fix_sources(paths: Sequence[str], found: Sequence[FoundSource], in_place: bool, strict: bool) -> int:
    """Fix each source in turn; return the exit code, of the files as they stand afterwards. `paths` are those that were named.

    An interrupt goes through, after how much was written until then is said.
    """
    run = _FixRun(paths, len(found) > 1, in_place, strict)
    if in_place:
        run.remove_stale(found)
    try:
        run.fix_all(found)
    except KeyboardInterrupt:
        run.stop()
        raise
    return run.end()


class _FixRun:
    """The sources of one run, fixed in turn."""

    def __init__(self, paths: Sequence[str], many: bool, in_place: bool, strict: bool) -> None:
        self._roots = [os.path.realpath(path) for path in paths if path != "-"]
        self._in_place = in_place
        self._many = many
        self._verdict = Verdict(strict)
        self._remaining: list[Diagnostic] = []
        self._fixes = 0
        self._writing: tuple[str, AutofixResult] | None = None  # a file that an interrupt may leave written or not

    def remove_stale(self, found: Sequence[FoundSource]) -> None:
        """Remove temporary files that killed runs left beside the files that may be written."""
        inside = [one.real for one in found if one.real not in ("", "-") and not self._leads_out(one.path)]
        for folder in {os.path.dirname(real) for real in inside}:
            remove_stale_files(folder)

    def fix_all(self, found: Sequence[FoundSource]) -> None:
        """Fix each source and show what came of it. A bug of ours costs only the file in which it shows."""
        for one, before in compile_sources(found, self._verdict, judge=False):
            try:
                mended = autofix(before)
            except Exception as e:
                terminal.err(terminal.apology(e, one.path))
                self._verdict.add(terminal.Exit.INTERNAL)
                continue
            self._fix(one.path, mended)

    def _fix(self, path: str, mended: AutofixResult) -> None:
        if self._in_place and mended.count and self._leads_out(path):
            terminal.err(
                f"{console.safe_text(path)}: left as it is: it is a link to a file outside what was named\n"
                "    name the link itself to fix that file\n"
            )
            mended = AutofixResult(mended.before, mended.before, (), ())
        terminal.out(_diff(mended.before.source, mended.after.source))
        trouble = self._write(path, mended)
        self._fixes += mended.count if trouble is None else 0
        self._judge(mended, trouble)
        self._show(mended, trouble)

    def _write(self, path: str, mended: AutofixResult) -> Diagnostic | None:
        """Write the file if asked; return why it could not be written."""
        if not (self._in_place and mended.count):
            return None
        self._writing = (path, mended)
        trouble = _write(path, mended)
        self._writing = None
        return trouble

    def _judge(self, mended: AutofixResult, trouble: Diagnostic | None) -> None:
        stands = mended.after if self._in_place and trouble is None else mended.before
        self._verdict.add_findings(stands.diagnostics)
        if trouble is not None:
            self._verdict.add_findings([trouble])

    def _show(self, mended: AutofixResult, trouble: Diagnostic | None) -> None:
        """Show what remains, of many files only what could not be written: `check` lists the rest."""
        troubles = [] if trouble is None else [trouble]
        remaining = [*mended.after.diagnostics, *troubles]
        show_findings(mended.after.source, troubles if self._many else remaining)
        terminal.err("".join(_refusal(refused) for refused in mended.refused))
        self._remaining += remaining

    def _leads_out(self, path: str) -> bool:
        """True if a file lies, by its real path, elsewhere than in what was named."""
        if path == "-":
            return False
        real = os.path.realpath(path)
        return not any(real == root or real.startswith(os.path.join(root, "")) for root in self._roots)

    def stop(self) -> None:
        """Say how much was written before an interrupt, the file included that was being written."""
        if self._writing is not None and _is_fixed(*self._writing):
            self._fixes += self._writing[1].count
        if self._in_place:
            terminal.err(f"{_count(self._fixes)} written until then\n")

    def end(self) -> int:
        """Say what the run came to; return the exit code."""
        done = "written" if self._in_place else "shown, nothing written"
        terminal.err(f"{_count(self._fixes)} {done}; what is left: {console.tally_findings(self._remaining)}\n")
        return self._verdict.code


def _count(fixes: int) -> str:
    return f"{fixes:,} {'fix' if fixes == 1 else 'fixes'}"


def _diff(before: Source, after: Source) -> str:
    """Return a unified diff; for a terminal, control characters are shown by their numbers."""
    if before.text == after.text:
        return ""
    from difflib import unified_diff

    name = "standard input" if before.name == "-" else before.name
    lines = unified_diff(_lines(before.text), _lines(after.text), name, f"{name} (fixed)", lineterm="", n=1)
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


def _refusal(refused: RefusedFix) -> str:
    d = refused.finding
    assert d.fix is not None
    place = refused.source.position(d.span.start)
    where = f"{console.safe_text(refused.source.name)}:{place.line}:{place.column}"
    return f"{where}: not fixed: to {console.safe_text(d.fix.title)} would bring another error: {console.safe_text(refused.because.message)}\n"


def _write(path: str, mended: AutofixResult) -> Diagnostic | None:
    """Replace the file by the fixed text, or return why not; then the file is as it was."""
    if path == "-":
        return _unwritten("standard input has no place to write to", "leave --in-place out: the diff is printed")
    try:
        real = os.path.realpath(path)  # a link stays a link
        status = os.stat(real)
        if not os.access(real, os.W_OK):
            return _unwritten("the file may not be written to", "change its permissions, or fix it by hand")
        data = read_file(real)
        if decode_source(path, data).text != mended.before.source.text:
            return _unwritten("the file was changed while it was read", "run the command again")
        replace_file(real, mended.rewrite(data), status)
    except (OSError, Unreadable) as e:
        return _unwritten(error_reason(e), "check who may write to the file and its folder")
    if status.st_nlink > 1:
        terminal.err(
            f"{console.safe_text(path)}: the file has another name too (a hard link), where the old text stays\n"
        )
    return None


def _is_fixed(path: str, mended: AutofixResult) -> bool:
    """True if the file has the fixed text."""
    try:
        return decode_source(path, read_file(path)).text == mended.after.source.text
    except Unreadable:
        return False


def _unwritten(why: str, hint: str) -> Diagnostic:
    return UNWRITABLE.at(Span(0, 0), f"nothing was written: {why}", hint)
