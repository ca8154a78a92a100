"""Which licks of a file are meant by a path and a title, for the commands that show or play them.

In: a path and a title, as typed. Out: compiled licks, with or without errors; a title that fits none is a wrong use of the command.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from lickwright.cli import terminal
from lickwright.cli.sources import Verdict, compiled, find_sources
from lickwright.compiler import Compilation, CompiledLick
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.slugs import same_title
from lickwright.report import console

_MOST_TITLES = 10  # that a message lists


def choose(path: str, title: str | None) -> tuple[list[tuple[Compilation, CompiledLick]], Verdict]:
    """Every lick below `path`, or those called `title`, and how the run stands so far.

    With a title only what it names counts; of a file without licks the errors are shown.
    """
    verdict = Verdict()
    files = [c for _, c in compiled(find_sources([path]), verdict)]
    chosen = [(c, lick) for c in files for lick in c.licks if title is None or same_title(lick.title, title)]
    if title is not None and not chosen and any(c.licks for c in files):
        raise no_such_lick(title, path, [lick.title for c in files for lick in c.licks])
    if title is not None:
        verdict = Verdict()
    if not chosen:
        for c in files:
            complain(c, [d for d in c.diagnostics if d.severity == "error"], verdict)
    return chosen, verdict


def complain(c: Compilation, found: list[Diagnostic], verdict: Verdict) -> None:
    """Shows findings of a file, and takes note of them."""
    verdict.judge(found)
    terminal.err(
        console.format_findings(
            c.source, found, terminal.colour(sys.stderr), min(terminal.columns(sys.stderr, 100), 160)
        )
    )


def no_such_lick(title: str, path: str, titles: Sequence[str]) -> click.UsageError:
    """Return the error of every command for a title that names no lick of `path`, with the nearest of its titles."""
    from lickwright.core.diagnostics import nearest_name

    titles = list(dict.fromkeys(titles))
    near = nearest_name(title, titles)
    if near is None:
        inside = [known for known in titles if title.casefold() in known.casefold()]
        near = inside[0] if inside else None
    wish = f'did you mean "{console.safe_text(near)}"?' if near else "there are " + quoted(titles)
    where = "standard input" if path == "-" else console.safe_text(path)
    return click.UsageError(f'there is no lick called "{console.safe_text(title)}" in {where}; {wish}')


def quoted(titles: Sequence[str]) -> str:
    """Return up to `_MOST_TITLES` titles in quotes: `"Gate", "Porch light" and 4 more`."""
    words = ", ".join(f'"{console.safe_text(title)}"' for title in titles[:_MOST_TITLES])
    return words + (f" and {len(titles) - _MOST_TITLES} more" if len(titles) > _MOST_TITLES else "")
