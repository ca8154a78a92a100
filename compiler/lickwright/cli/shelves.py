"""Which index a command asks: the one beside a build's outputs, or one of sources that are compiled for it.

In: the LIBRARY of a command line. Out: an open `Shelf`. What cannot be read is said on standard error.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from lickwright import report
from lickwright.cli import screen

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.library.search import Hit
    from lickwright.library.shelf import Shelf
    from lickwright.pipeline import Compilation

_SLOW = 2.0  # seconds to read a library, after which it is said how it goes faster


def opened(path: str, verdict: Verdict) -> Shelf:
    """The library of that name. Files that cannot be read count against the run; licks with errors in them do not."""
    from lickwright.library.shelf import Unusable, is_kept, kept

    if path != "-" and is_kept(path):
        try:
            shelf = kept(path)
        except Unusable as e:
            raise click.UsageError(f"the index in {report.safe(path)} cannot be used: {e}") from None
        left = shelf.left_out
        if left:
            screen.err(f"{report.count(left, 'file')} not in the index yet: lickwright make brings them in\n")
        return shelf
    return _read(path, verdict)


def _read(path: str, verdict: Verdict) -> Shelf:
    from lickwright.cli.sources import Verdict, compiled, find
    from lickwright.library.shelf import made

    began, count = time.monotonic(), 0

    def each() -> Iterator[tuple[str, Compilation]]:
        nonlocal count
        whole = Verdict()
        for one, compilation in compiled(find([path]), whole):
            unread = [d for d in compilation.diagnostics if d.code.startswith("L6")]
            verdict.judge(unread)
            screen.err(report.findings(compilation.source, unread, screen.colour(sys.stderr)))
            count += len(compilation.licks)
            yield one.path, compilation
        if whole.code == screen.Exit.INTERNAL:
            verdict.add(whole.code)

    shelf = made(each())
    took = time.monotonic() - began
    if took > _SLOW and os.path.isdir(path):
        screen.err(
            f"reading {report.count(count, 'lick')} took {took:.0f} seconds; lickwright make {report.safe(path)} keeps an index "
            "in its output folder: ask that folder\n"
        )
    return shelf


def place(shelf: Shelf, hit: Hit) -> str:
    """Where a lick is written: file and line."""
    return f"{shelf.path(hit.path)}:{hit.facts['line']}"


def as_value(shelf: Shelf, hit: Hit) -> dict[str, object]:
    """A lick for JSON: everything that is known of it, lists as lists, what is not said as null."""
    known = {name: None if value == "" else value for name, value in hit.facts.items()}
    for name in ("boxes", "tonic", "mode", "phrase", "tab", "degree", "first"):  # what the index needs for itself
        del known[name]
    known["ok"] = bool(hit.facts["ok"])
    known["techniques"] = [word for word in hit.facts["techniques"].split(", ") if word]
    known["tags"] = [tag.strip() for tag in hit.facts["tags"].split(",") if tag.strip()]
    return {
        "path": shelf.path(hit.path), **known,
        "findings": shelf.findings(hit), "outputs": shelf.outputs(hit),
    }  # fmt: skip
