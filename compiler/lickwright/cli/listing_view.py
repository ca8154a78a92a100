"""Licks that were found in a library, as a table, as paths, as CSV or as JSON.

In: a `Listing`, and the index that it comes from. Out: text on standard output; what is out of date or missing on standard error, or below a table.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import repeat
from typing import NamedTuple, TypeAlias

from lickwright.cli import terminal
from lickwright.cli.index_source import lick_as_json, lick_place, lick_state, stale_line
from lickwright.index.reader import LibraryIndex
from lickwright.index.search import SearchHit
from lickwright.report import console

Table: TypeAlias = tuple[tuple[str, ...], list[tuple[str, ...]]]  # heads and rows
_UNBOUNDED = 10_000  # columns in a pipe: no cell is cut
_CSV = (
    "path", "line", "title", "key", "scale", "box", "level", "tempo", "meter", "feel", "bars", "notes", "seconds",
    "techniques", "figures", "tags", "style", "by", "rights", "origin", "state",
)  # fmt: skip


class Listing(NamedTuple):
    """Licks that were found, and what is shown of them besides what the index knows."""

    total: int  # how many there are, those that are not shown too
    hits: Sequence[SearchHit]
    extra_names: tuple[str, ...] = ()  # of the values in `extras`
    extras: Sequence[dict[str, object]] | None = None  # for each hit, in CSV and JSON; None: nothing
    table: Callable[[], Table] = lambda: ((), [])  # without the columns for state and place
    summary: str = ""  # the line below the table
    nothing: str = ""  # the line for no hit

    def with_extras(self) -> Iterator[tuple[SearchHit, dict[str, object]]]:
        """Yield each hit with what else is shown of it."""
        yield from zip(self.hits, repeat({}) if self.extras is None else self.extras, strict=False)


def show_listing(index: LibraryIndex, library: str, question: str, listing: Listing, form: str) -> None:
    """Print a listing as `form` says: "text", "paths", "csv" or "json". `library` and `question` are as typed."""
    if form == "json":
        _json(index, library, question, listing)
    elif form == "csv":
        _csv(index, listing)
    elif form == "paths":
        _paths(index, listing.hits)
    elif listing.hits:
        _table(index, listing)
    if form != "json":
        stale = stale_line(index, library, Counter(index.state(hit.path) for hit in listing.hits))
        if stale:
            (terminal.out if form == "text" else terminal.err)(stale)
    terminal.err(listing.nothing)


def _table(index: LibraryIndex, listing: Listing) -> None:
    from lickwright.cli.table import format_table

    heads, rows = listing.table()
    states = [lick_state(index, hit) for hit in listing.hits]
    shown = [(state,) for state in states] if any(states) else [()] * len(states)
    rows = [(*row, *state, lick_place(index, hit)) for row, state, hit in zip(rows, shown, listing.hits, strict=True)]
    heads = (*heads, *(("state",) if any(states) else ()), "where")
    terminal.out(format_table(heads, rows, terminal.columns(sys.stdout, _UNBOUNDED), least="techniques"))
    terminal.out(listing.summary)


def _json(index: LibraryIndex, library: str, question: str, listing: Listing) -> None:
    """Print one object, written lick by lick."""
    from json import dumps

    head = dumps({"library": library, "question": question, "total": listing.total, "licks": []}, indent=2)
    terminal.out(head.removesuffix("]\n}"))
    between = ""
    for hit, extra in listing.with_extras():
        value = dumps({**lick_as_json(index, hit), **extra}, indent=2).replace("\n", "\n    ")
        terminal.out(f"{between}\n    {value}")
        between = ","
    terminal.out("\n  ]\n}\n" if between else "]\n}\n")


def _csv(index: LibraryIndex, listing: Listing) -> None:
    """Print a row for each lick, for a spreadsheet."""
    from lickwright.export.timing import csv_cell

    names = (*_CSV, *listing.extra_names)
    terminal.out(",".join(names) + "\r\n")
    for hit, extra in listing.with_extras():
        values = {**hit.facts, "path": index.path(hit.path), "state": lick_state(index, hit), **extra}
        cells = ("" if values[name] is None else values[name] for name in names)
        terminal.out(",".join(csv_cell(", ".join(v) if isinstance(v, list) else str(v)) for v in cells) + "\r\n")


def _paths(index: LibraryIndex, hits: Sequence[SearchHit]) -> None:
    for path in dict.fromkeys(index.path(hit.path) for hit in hits):
        terminal.out((console.safe_text(path) if sys.stdout.isatty() else path) + "\n")
