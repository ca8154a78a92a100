"""The licks that a path and a title on a command line mean.

In: a path and a title, as typed. Out: compiled licks, with or without errors. A title that names no lick is wrong usage.
"""

from __future__ import annotations

from collections.abc import Sequence

import click

from lickwright.cli.findings_view import show_findings
from lickwright.cli.sources import Verdict, compile_sources, find_sources
from lickwright.compiler import Compilation, CompiledLick
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.nearest_name import nearest_name
from lickwright.core.slugs import same_title
from lickwright.report import console

_MOST_TITLES = 10  # that a message lists


def choose_licks(path: str, title: str | None) -> tuple[list[tuple[Compilation, CompiledLick]], Verdict]:
    """Return the licks below `path`, or those called `title`, and the verdict so far. Raises UsageError.

    With a title only the licks that it names count. The errors of a file without licks are shown.
    """
    verdict = Verdict()
    files = [c for _, c in compile_sources(find_sources([path]), verdict, importing=True)]
    chosen = licks_called(files, path, title)
    if title is not None:
        verdict = Verdict()
    if not chosen:
        for c in files:
            report_errors(c, c.diagnostics, verdict)
    return chosen, verdict


def licks_called(files: Sequence[Compilation], path: str, title: str | None) -> list[tuple[Compilation, CompiledLick]]:
    """Return the licks called `title` of the files at `path`, or all without a title; none if the files have no lick at all.

    Raises UsageError for a title that names none of their licks.
    """
    licks = [(c, lick) for c in files for lick in c.licks]
    if title is None:
        return licks
    chosen = [(c, lick) for c, lick in licks if same_title(lick.title, title)]
    if licks and not chosen:
        raise no_such_lick(title, path, [lick.title for _, lick in licks])
    return chosen


def report_findings(c: Compilation, found: Sequence[Diagnostic], verdict: Verdict) -> None:
    """Show these findings of a file, and add them to the verdict."""
    verdict.add_findings(found)
    show_findings(c.source, found)


def report_errors(c: Compilation, found: Sequence[Diagnostic], verdict: Verdict) -> None:
    """Show the errors among these findings of a file, and add them to the verdict."""
    report_findings(c, [d for d in found if d.severity == "error"], verdict)


def no_such_lick(title: str, path: str, titles: Sequence[str]) -> click.UsageError:
    """Return the error of every command for a title that names no lick of `path`, with the nearest of its titles."""
    titles = list(dict.fromkeys(titles))
    near = nearest_name(title, titles)
    if near is None:
        near = next((known for known in titles if title.casefold() in known.casefold()), None)
    hint = f'did you mean "{console.safe_text(near)}"?' if near else "there are " + quote_titles(titles)
    where = "standard input" if path == "-" else console.safe_text(path)
    return click.UsageError(f'there is no lick called "{console.safe_text(title)}" in {where}; {hint}')


def quote_titles(titles: Sequence[str]) -> str:
    """Return up to `_MOST_TITLES` titles in quotes: `"Gate", "Porch light" and 4 more`."""
    words = ", ".join(f'"{console.safe_text(title)}"' for title in titles[:_MOST_TITLES])
    return words + (f" and {len(titles) - _MOST_TITLES} more" if len(titles) > _MOST_TITLES else "")
