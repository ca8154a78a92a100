"""`lickwright check --fix`: the fixes that are safe to make, as a diff, and written into the files when asked.

In: the sources that the command line means. Out: the diff on standard output; on standard error what remains and what was not fixed. Files are
written by `rewrite_source.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.cli.findings_view import show_findings
from lickwright.cli.rewrite_source import NamedPaths, holds_text, rewrite_source, say_linked, text_diff
from lickwright.cli.sources import FoundSource, Verdict, compile_sources
from lickwright.core.diagnostics import Diagnostic
from lickwright.report import console
from lickwright.transform.autofix import AutofixResult, RefusedFix, autofix


def fix_sources(paths: Sequence[str], found: Sequence[FoundSource], in_place: bool, strict: bool) -> int:
    """Fix each source in turn; return the exit code, of the files as they stand afterwards. `paths` are those that were named.

    An interrupt goes through, after how much was written until then is said.
    """
    run = _FixRun(paths, len(found) > 1, in_place, strict)
    if in_place:
        NamedPaths(paths).remove_stale(found)
    try:
        run.fix_all(found)
    except KeyboardInterrupt:
        run.stop()
        raise
    return run.end()


class _FixRun:
    """The sources of one run, fixed in turn."""

    def __init__(self, paths: Sequence[str], many: bool, in_place: bool, strict: bool) -> None:
        self._named = NamedPaths(paths)
        self._in_place = in_place
        self._many = many
        self._verdict = Verdict(strict)
        self._remaining: list[Diagnostic] = []
        self._fixes = 0
        self._writing: tuple[str, AutofixResult] | None = None  # a file that an interrupt may leave written or not

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
        if self._in_place and mended.count and self._named.leads_out(path):
            say_linked(path, "fix")
            mended = AutofixResult(mended.before, mended.before, (), ())
        terminal.out(text_diff(mended.before.source, mended.after.source.text, "fixed"))
        trouble = self._write(path, mended)
        self._fixes += mended.count if trouble is None else 0
        self._judge(mended, trouble)
        self._show(mended, trouble)

    def _write(self, path: str, mended: AutofixResult) -> Diagnostic | None:
        """Write the file if asked; return why it could not be written."""
        if not (self._in_place and mended.count):
            return None
        self._writing = (path, mended)
        trouble = rewrite_source(path, mended.before.source, mended.rewrite)
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

    def stop(self) -> None:
        """Say how much was written before an interrupt, the file included that was being written."""
        if self._writing is not None and holds_text(self._writing[0], self._writing[1].after.source.text):
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


def _refusal(refused: RefusedFix) -> str:
    d = refused.finding
    assert d.fix is not None
    place = refused.source.position(d.span.start)
    where = f"{console.safe_text(refused.source.name)}:{place.line}:{place.column}"
    return f"{where}: not fixed: to {console.safe_text(d.fix.title)} would bring another error: {console.safe_text(refused.because.message)}\n"
