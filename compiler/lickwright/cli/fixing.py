"""`lickwright check --fix`: the fixes that are safe to make, as a diff, and into the files when asked.

In: what was found on the command line. Out: the diff on standard output; on standard error what remains and what was not mended. A file is replaced whole or
not at all, and only if it is still the one that was read.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Sequence

from lickwright import report
from lickwright.cli import screen
from lickwright.cli.sources import Found, Verdict, compiled
from lickwright.diagnostics import Diagnostic
from lickwright.files import UNWRITABLE, read, reason, replace
from lickwright.mending import Mended, Refused, mend
from lickwright.pipeline import Compilation
from lickwright.source import Source, Span, Unreadable, decode


def run(found: Sequence[Found], in_place: bool, strict: bool) -> int:
    """Mends each source in turn and gives the exit code: of the files as they stand afterwards."""
    verdict = Verdict(strict)
    columns = min(screen.columns(sys.stderr, 100), 160)
    remaining: list[Diagnostic] = []
    fixes = 0
    for one, before in compiled(found, Verdict()):
        mended = _mended(one, before, verdict)
        if mended is None:
            continue
        screen.out(_diff(before.source, mended.after.source))
        trouble = _write(one.path, mended) if in_place and mended.count else None
        fixes += mended.count if trouble is None else 0
        stands = mended.after if in_place and trouble is None else before
        verdict.judge(stands.diagnostics)
        if trouble is not None:
            verdict.judge([trouble])
        told = [*mended.after.diagnostics, *([trouble] if trouble is not None else [])]
        screen.err(report.findings(mended.after.source, told, screen.colour(sys.stderr), columns))
        screen.err("".join(_refusal(refused) for refused in mended.refused))
        remaining += told
    done = "written" if in_place else "shown, nothing written"
    screen.err(f"{fixes:,} {'fix' if fixes == 1 else 'fixes'} {done}; what remains: {report.tally(remaining)}\n")
    return verdict.code


def _mended(one: Found, before: Compilation, verdict: Verdict) -> Mended | None:
    try:
        return mend(before)
    except Exception as e:  # a bug of ours costs only this file
        screen.err(screen.apology(e, one.path))
        verdict.add(screen.Exit.INTERNAL)
        return None


def _diff(before: Source, after: Source) -> str:
    """The usual lines of - and +; on a terminal what would steer it is shown by its number."""
    if before.text == after.text:
        return ""
    from difflib import unified_diff

    name = "standard input" if before.name == "-" else before.name
    lines = unified_diff(_lines(before.text), _lines(after.text), name, f"{name} (mended)", lineterm="", n=1)
    if not sys.stdout.isatty():
        return "".join(line + "\n" for line in lines)
    return "".join(report.safe(line.replace("\t", " " * report.TAB)) + "\n" for line in lines)


def _lines(text: str) -> list[str]:
    """Lines for a diff, which says so where the last one has no end."""
    lines = text.split("\n")
    if lines[-1]:
        lines[-1] += "\n\\ No newline at end of file"
        return lines
    return lines[:-1]


def _refusal(refused: Refused) -> str:
    d = refused.finding
    assert d.fix is not None
    place = refused.source.place(d.span.start)
    where = f"{report.safe(refused.source.name)}:{place.line}:{place.column}"
    return f"{where}: not mended: to {report.safe(d.fix.title)} would bring another error: {report.safe(refused.because.message)}\n"


def _write(path: str, mended: Mended) -> Diagnostic | None:
    """Puts the mended text in the file's place, or says why not; then the file is as it was."""
    if path == "-":
        return _unwritten("standard input has no place to write to", "leave --in-place out: the diff is printed")
    try:
        real = os.path.realpath(path)  # a link stays a link
        status = os.stat(real)
        if not os.access(real, os.W_OK):
            return _unwritten("the file may not be written to", "change its permissions, or mend it by hand")
        data = read(real)
        if decode(path, data).text != mended.before.source.text:
            return _unwritten("the file was changed while it was read", "run the command again")
        replace(real, mended.rewrite(data), stat.S_IMODE(status.st_mode))
    except (OSError, Unreadable) as e:
        return _unwritten(reason(e), "check who may write to the file and its folder")
    return None


def _unwritten(why: str, help: str) -> Diagnostic:
    return UNWRITABLE.at(Span(0, 0), f"nothing was written: {why}", help)
