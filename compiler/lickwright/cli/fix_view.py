"""`lickwright check --fix`: the fixes that are safe to make, as a diff, and into the files when asked.

In: what was found on the command line. Out: the diff on standard output; on standard error what remains and what was not mended. A file is replaced whole or
not at all, and only if it is still the one that was read and lies, by its real path, below what was named. A link that was named itself
stays one: the file that it leads to is mended in its own place.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.cli.sources import FoundSource, Verdict, compiled
from lickwright.compiler import Compilation
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.files import UNWRITABLE, error_reason, read_file, remove_stale_files, replace_file
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.report import console
from lickwright.transform.autofix import AutofixResult, RefusedFix, autofix


def fix_sources(paths: Sequence[str], found: Sequence[FoundSource], in_place: bool, strict: bool) -> int:
    """Mends each source in turn and gives the exit code: of the files as they stand afterwards. `paths` are those that were named.

    An interrupt goes through; how much was written until then is said.
    """
    work = _Run(paths, len(found) > 1, in_place, strict)
    if in_place:
        work.sweep(found)
    try:
        for one, before in compiled(found, Verdict()):
            work.mend(one, before)
    except KeyboardInterrupt:
        work.stop()
        raise
    return work.end()


class _Run:
    """The sources of one run, mended in turn."""

    def __init__(self, paths: Sequence[str], many: bool, in_place: bool, strict: bool) -> None:
        self._roots = [os.path.realpath(path) for path in paths if path != "-"]
        self._in_place = in_place
        self._many = many
        self._verdict = Verdict(strict)
        self._columns = min(terminal.columns(sys.stderr, 100), 160)
        self._remaining: list[Diagnostic] = []
        self._fixes = 0
        self._writing: tuple[str, AutofixResult] | None = (
            None  # a file of which an interrupt leaves open whether it was
        )

    def sweep(self, found: Sequence[FoundSource]) -> None:
        """Removes what killed runs left beside the files that may be written."""
        for folder in {
            os.path.dirname(one.real) for one in found if one.real not in ("", "-") and not self._leads_out(one.path)
        }:
            remove_stale_files(folder)

    def mend(self, one: FoundSource, before: Compilation) -> None:
        """Mends one and tells about it."""
        mended = _mended(one, before, self._verdict)
        if mended is None:
            return
        if self._in_place and mended.count and self._leads_out(one.path):
            terminal.err(
                f"{console.safe_text(one.path)}: left as it is: it is a link to a file outside what was named\n"
                "    name the link itself to fix that file\n"
            )
            mended = AutofixResult(before, before, (), ())
        terminal.out(_diff(before.source, mended.after.source))
        trouble = None
        if self._in_place and mended.count:
            self._writing = (one.path, mended)
            trouble = _write(one.path, mended)
        self._writing = None
        self._fixes += mended.count if trouble is None else 0
        stands = mended.after if self._in_place and trouble is None else before
        self._verdict.judge(stands.diagnostics)
        if trouble is not None:
            self._verdict.judge([trouble])
        told = [*mended.after.diagnostics, *([trouble] if trouble is not None else [])]
        # of a folder `check` lists what remains
        shown = told[len(mended.after.diagnostics) :] if self._many else told
        terminal.err(console.format_findings(mended.after.source, shown, terminal.colour(sys.stderr), self._columns))
        terminal.err("".join(_refusal(refused) for refused in mended.refused))
        self._remaining += told

    def _leads_out(self, path: str) -> bool:
        """Whether a file lies, by its real path, elsewhere than in what was named."""
        if path == "-":
            return False
        real = os.path.realpath(path)
        return not any(real == root or real.startswith(os.path.join(root, "")) for root in self._roots)

    def stop(self) -> None:
        """Tells how much was written before an interrupt, the file included that was being written."""
        if self._writing is not None and _stands(*self._writing):
            self._fixes += self._writing[1].count
        if self._in_place:
            terminal.err(f"{_count(self._fixes)} written until then\n")

    def end(self) -> int:
        """Tells what it came to; the exit code."""
        done = "written" if self._in_place else "shown, nothing written"
        terminal.err(f"{_count(self._fixes)} {done}; what is left: {console.tally_findings(self._remaining)}\n")
        return self._verdict.code


def _count(fixes: int) -> str:
    return f"{fixes:,} {'fix' if fixes == 1 else 'fixes'}"


def _mended(one: FoundSource, before: Compilation, verdict: Verdict) -> AutofixResult | None:
    try:
        return autofix(before)
    except Exception as e:  # a bug of ours costs only this file
        terminal.err(terminal.apology(e, one.path))
        verdict.add(terminal.Exit.INTERNAL)
        return None


def _diff(before: Source, after: Source) -> str:
    """The usual lines of - and +; on a terminal what would steer it is shown by its number."""
    if before.text == after.text:
        return ""
    from difflib import unified_diff

    name = "standard input" if before.name == "-" else before.name
    lines = unified_diff(_lines(before.text), _lines(after.text), name, f"{name} (fixed)", lineterm="", n=1)
    if not sys.stdout.isatty():
        return "".join(line + "\n" for line in lines)
    return "".join(console.safe_text(line.replace("\t", " " * console.TAB)) + "\n" for line in lines)


def _lines(text: str) -> list[str]:
    """Lines for a diff, which says so where the last one has no end."""
    lines = text.split("\n")
    if lines[-1]:
        lines[-1] += "\n\\ No newline at end of file"
        return lines
    return lines[:-1]


def _refusal(refused: RefusedFix) -> str:
    d = refused.finding
    assert d.fix is not None
    place = refused.source.place(d.span.start)
    where = f"{console.safe_text(refused.source.name)}:{place.line}:{place.column}"
    return f"{where}: not fixed: to {console.safe_text(d.fix.title)} would bring another error: {console.safe_text(refused.because.message)}\n"


def _write(path: str, mended: AutofixResult) -> Diagnostic | None:
    """Puts the mended text in the file's place, or says why not; then the file is as it was."""
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


def _stands(path: str, mended: AutofixResult) -> bool:
    """Whether a file has the mended text."""
    try:
        return decode_source(path, read_file(path)).text == mended.after.source.text
    except Unreadable:
        return False


def _unwritten(why: str, hint: str) -> Diagnostic:
    return UNWRITABLE.at(Span(0, 0), f"nothing was written: {why}", hint)
