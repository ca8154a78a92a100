"""What `lickwright tidy` prints and writes.

In: the sources that the command line means. Out: on standard output the tidy text of one file, else the names of the files that change, or a
diff; on standard error the errors of files that are left as they are, and a count. Files are written by `rewrite_source.py`.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

from lickwright.cli import terminal
from lickwright.cli.findings_view import show_findings
from lickwright.cli.rewrite_source import NamedPaths, holds_text, rewrite_source, say_linked, text_diff
from lickwright.cli.sources import FoundSource, Verdict, compile_sources
from lickwright.core.diagnostics import Severity
from lickwright.report import console
from lickwright.report.console import counted_noun
from lickwright.transform.tidy import TidyResult, tidy, tidy_bytes


class TidyOptions(NamedTuple):
    """What is to be done besides looking."""

    check: bool  # an untidy file fails the run
    diff: bool  # show what changes
    in_place: bool  # write it


def tidy_sources(paths: Sequence[str], found: Sequence[FoundSource], options: TidyOptions) -> int:
    """Tidy each source in turn; return the exit code. `paths` are those that were named.

    An interrupt goes through, after how much was written until then is said.
    """
    run = _TidyRun(paths, options)
    if options.in_place:
        NamedPaths(paths).remove_stale(found)
    try:
        run.tidy_all(found)
    except KeyboardInterrupt:
        run.stop()
        raise
    return run.end()


class _TidyRun:
    """The sources of one run, tidied in turn."""

    def __init__(self, paths: Sequence[str], options: TidyOptions) -> None:
        self._named = NamedPaths(paths)
        self._options = options
        self._single = len(paths) == 1 and not os.path.isdir(paths[0])
        self._prints_text = self._single and not any(options)
        self._verdict = Verdict()
        self._files = self._changed = self._left = 0
        self._writing: TidyResult | None = None  # a file that an interrupt may leave written or not

    def tidy_all(self, found: Sequence[FoundSource]) -> None:
        """Tidy each source and show what came of it. A bug of ours costs only the file in which it shows."""
        for one, before in compile_sources(found, self._verdict, judge=False):
            self._files += 1
            try:
                result = tidy(before)
            except Exception as e:
                terminal.err(terminal.apology(e, one.path))
                self._verdict.add(terminal.Exit.INTERNAL)
                continue
            if not before.ok:
                self._report_faulty(result)
            elif result.refused:
                self._report_refused(result)
            else:
                self._show(one.path, result)

    def _report_faulty(self, result: TidyResult) -> None:
        errors = [d for d in result.before.diagnostics if d.severity is Severity.ERROR]
        self._left += 1
        self._verdict.add_findings(errors)
        if self._single or any(d.code.startswith("L6") for d in errors):  # the file itself cannot be read
            show_findings(result.before.source, errors)
        else:
            name = console.safe_text(result.before.source.name)
            terminal.err(f"{name}: left as it is: {counted_noun(len(errors), 'error')}; see `lickwright check`\n")

    def _report_refused(self, result: TidyResult) -> None:
        """Say that a file is left as it is, since its tidy text would not be the same music: a mistake of ours."""
        name, why = console.safe_text(result.before.source.name), console.safe_text(result.refused)
        terminal.err(f"{name}: left as it is: {why}; that is a mistake of Lickwright's: please report it\n")
        self._left += 1
        self._verdict.add(terminal.Exit.INTERNAL)

    def _show(self, path: str, result: TidyResult) -> None:
        if self._prints_text:
            terminal.out(result.text)
            return
        if not result.changed:
            return
        if self._options.in_place and self._named.leads_out(path):
            say_linked(path, "tidy")
            return
        if self._options.diff:
            terminal.out(text_diff(result.before.source, result.text, "tidy"))
        if self._options.in_place and not self._is_written(path, result):
            return
        self._changed += 1
        if self._options.check:
            self._verdict.add(terminal.Exit.MUSIC_ERRORS)
        if not self._options.diff:
            terminal.out(f"{console.safe_text(path)}\n")

    def _is_written(self, path: str, result: TidyResult) -> bool:
        """Write a file; say why not where that fails."""
        self._writing = result
        trouble = rewrite_source(path, result.before.source, partial(tidy_bytes, text=result.text))
        self._writing = None
        if trouble is None:
            return True
        self._verdict.add_findings([trouble])
        show_findings(result.before.source, [trouble])
        return False

    def stop(self) -> None:
        """Say how much was written before an interrupt, the file included that was being written."""
        if self._writing is not None and holds_text(self._writing.before.source.name, self._writing.text):
            self._changed += 1
        if self._options.in_place:
            terminal.err(f"{counted_noun(self._changed, 'file')} written until then\n")

    def end(self) -> int:
        """Say what the run came to; return the exit code."""
        if not self._prints_text:
            files = counted_noun(self._files, "file")
            done = "written" if self._options.in_place else "would change"
            said = (
                f"{self._changed:,} of {files} {done}"
                if self._changed or self._left
                else f"nothing to change in {files}"
            )
            terminal.err(said + (f"; {self._left:,} left as it is" if self._left else "") + "\n")
        return self._verdict.code
