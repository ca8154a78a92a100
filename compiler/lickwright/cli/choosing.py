"""Which licks of a file are meant by a path and a title, for the commands that show or play them.

In: a path and a title, as typed. Out: compiled licks, with or without errors; a title that fits none is a wrong use of the command.
"""

from __future__ import annotations

import sys

import click

from lickwright import report
from lickwright.cli import screen
from lickwright.cli.sources import Verdict, compiled, find
from lickwright.diagnostics import Diagnostic
from lickwright.names import same
from lickwright.pipeline import Compilation, CompiledLick


def choose(path: str, title: str | None) -> tuple[list[tuple[Compilation, CompiledLick]], Verdict]:
    """Every lick below `path`, or those called `title`, and how the run stands so far.

    With a title only what it names counts; of a file without licks the errors are shown.
    """
    verdict = Verdict()
    files = [c for _, c in compiled(find([path]), verdict)]
    chosen = [(c, lick) for c in files for lick in c.licks if title is None or same(lick.title, title)]
    if title is not None and not chosen and any(c.licks for c in files):
        raise click.UsageError(_no_such(title, [lick.title for c in files for lick in c.licks]))
    if title is not None:
        verdict = Verdict()
    if not chosen:
        for c in files:
            complain(c, [d for d in c.diagnostics if d.severity == "error"], verdict)
    return chosen, verdict


def complain(c: Compilation, found: list[Diagnostic], verdict: Verdict) -> None:
    """Shows findings of a file, and takes note of them."""
    verdict.judge(found)
    screen.err(report.findings(c.source, found, screen.colour(sys.stderr), min(screen.columns(sys.stderr, 100), 160)))


def _no_such(title: str, titles: list[str]) -> str:
    from lickwright.diagnostics import nearest

    near = nearest(title, titles)
    if near is None:
        inside = [known for known in titles if title.casefold() in known.casefold()]
        near = inside[0] if inside else None
    wish = (
        f'did you mean "{report.safe(near)}"?'
        if near
        else "there are " + ", ".join(f'"{report.safe(t)}"' for t in titles[:10])
    )
    return f'there is no lick called "{report.safe(title)}"; {wish}'
