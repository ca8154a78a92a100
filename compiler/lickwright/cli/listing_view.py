"""Licks that were found in a library, as a table, as paths, as CSV or as JSON.

In: an index, and a search of it that gives a `Listing`. Out: text on standard output; what is out of date or missing on standard error, or below
a table.
"""

from __future__ import annotations

import sys
import time
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
Write: TypeAlias = Callable[[str], None]
_TURN = 2.0  # seconds for which a build that wants to commit has to wait for us; it waits up to eight
_AT_ONCE = 1 << 22  # characters that are kept before any of them is printed
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


def show_listing(
    index: LibraryIndex, library: str, question: str, search: Callable[[LibraryIndex], Listing], form: str
) -> None:
    """Print what `search` finds as `form` says: "text", "paths", "csv" or "json". `library` and `question` are as typed.

    Raises what `search` does, and `Unusable` where a build enters something before all of a long listing is read.
    """
    pieces = _listing(index, library, question, search, form)
    more = True
    while more:
        with index.one_state():
            some, more = _one_turn(pieces)
        for write, text in some:  # outside of the block, since whoever reads what we write may make us wait
            if text:
                write(text)


def _one_turn(pieces: Iterator[tuple[Write, str]]) -> tuple[list[tuple[Write, str]], bool]:
    """Return the next pieces, as many as a build may wait for, and whether there may be more."""
    until, left, some = time.monotonic() + _TURN, _AT_ONCE, []
    for piece in pieces:
        some.append(piece)
        left -= len(piece[1])
        if left < 0 or time.monotonic() > until:
            return some, True
    return some, False


def _listing(
    index: LibraryIndex, library: str, question: str, search: Callable[[LibraryIndex], Listing], form: str
) -> Iterator[tuple[Write, str]]:
    """Yield a listing piece by piece, each with the function that writes it."""
    listing = search(index)
    states: Counter[str] = Counter()  # of the licks shown, by what became of their source
    if form == "json":
        pieces = _json(index, library, question, listing)
    elif form == "csv":
        pieces = _csv(index, listing, states)
    elif form == "paths":
        pieces = _paths(index, listing.hits, states)
    else:
        pieces = _table(index, listing, states)
    yield from ((terminal.out, piece) for piece in pieces)
    if form != "json":
        yield terminal.out if form == "text" else terminal.err, stale_line(index, library, states)
    yield terminal.err, listing.nothing


def _table(index: LibraryIndex, listing: Listing, states: Counter[str]) -> Iterator[str]:
    if not listing.hits:
        return
    from lickwright.cli.table import format_table

    for hit in listing.hits:  # a source each is read: of very many that takes several turns
        states[index.state(hit.path)] += 1
        yield ""
    heads, rows = listing.table()
    words = [lick_state(index, hit) for hit in listing.hits]
    shown = [(word,) for word in words] if any(words) else [()] * len(words)
    rows = [(*row, *word, lick_place(index, hit)) for row, word, hit in zip(rows, shown, listing.hits, strict=True)]
    heads = (*heads, *(("state",) if any(words) else ()), "where")
    yield format_table(heads, rows, terminal.columns(sys.stdout, _UNBOUNDED), least="techniques")
    yield listing.summary


def _json(index: LibraryIndex, library: str, question: str, listing: Listing) -> Iterator[str]:
    """Yield one object, lick by lick."""
    from json import dumps

    head = dumps({"library": library, "question": question, "total": listing.total, "licks": []}, indent=2)
    yield head.removesuffix("]\n}")
    between = ""
    for hit, extra in listing.with_extras():
        value = dumps({**lick_as_json(index, hit), **extra}, indent=2).replace("\n", "\n    ")
        yield f"{between}\n    {value}"
        between = ","
    yield "\n  ]\n}\n" if between else "]\n}\n"


def _csv(index: LibraryIndex, listing: Listing, states: Counter[str]) -> Iterator[str]:
    """Yield a row for each lick, for a spreadsheet."""
    from lickwright.export.timing import csv_cell

    names = (*_CSV, *listing.extra_names)
    yield ",".join(names) + "\r\n"
    for hit, extra in listing.with_extras():
        states[index.state(hit.path)] += 1
        values = {**hit.facts, "path": index.path(hit.path), "state": lick_state(index, hit), **extra}
        cells = ("" if values[name] is None else values[name] for name in names)
        yield ",".join(csv_cell(", ".join(v) if isinstance(v, list) else str(v)) for v in cells) + "\r\n"


def _paths(index: LibraryIndex, hits: Sequence[SearchHit], states: Counter[str]) -> Iterator[str]:
    seen = set()
    for hit in hits:
        states[index.state(hit.path)] += 1
        path = index.path(hit.path)
        if path in seen:
            yield ""  # a turn ends after so many licks
            continue
        seen.add(path)
        yield (console.safe_text(path) if sys.stdout.isatty() else path) + "\n"
