"""`lickwright find` without its options: the licks of a library that answer a question.

In: a library, a question, and what form the answer takes. Out: an exit code; the licks are printed. Neither click nor, for a library that has an
index, the compiler is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeAlias

from lickwright.cli import terminal
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.listing_view import Listing, Table
    from lickwright.index.query_parser import QueryError, QueryTerm
    from lickwright.index.reader import LibraryIndex
    from lickwright.index.search import SearchHit, SearchResult

    Search: TypeAlias = Callable[[LibraryIndex], Listing]

SHOWN = 50  # licks in a table, where no other number is said


def run_plain(arguments: Sequence[str]) -> int | None:
    """Find the licks of the library that the first argument names; return the exit code, or None where there is none."""
    return find_licks(arguments[0], arguments[1:]) if arguments else None


def find_licks(
    library: str,
    question: Sequence[str],
    form: str = "text",
    limit: int | None = None,
    like: Callable[[str], Search | int] | None = None,
) -> int:
    """Print the licks of a library that answer a question; return the exit code.

    `form` is "text", "paths", "csv" or "json". `like` is called with the question before a library is read for it, and returns another search
    than for all licks that answer, or an exit code to end with.
    """
    from lickwright.cli.index_source import library_index, report_unusable
    from lickwright.cli.listing_view import show_listing
    from lickwright.index.query_parser import QueryError
    from lickwright.index.reader import Unusable
    from lickwright.index.search import interpret_question

    text = " ".join(question)
    try:
        interpret_question(text)  # before a library is read for it
        search = like(text) if like is not None else lambda index: _search(index, text, form, limit)
        if isinstance(search, int):
            return search
        # A table is printed after all of it is read; the other forms are printed lick by lick.
        index, code = library_index(library, whole=form != "text")
        with index:
            show_listing(index, library, text, search, form)
    except QueryError as e:
        terminal.err(_complaint(text, e))
        return terminal.Exit.USAGE
    except Unusable as e:
        return report_unusable(library, e)
    return code


def _complaint(text: str, unclear: QueryError) -> str:
    """What cannot be read, with a caret under it."""
    from lickwright.core.source import Source, Span

    line = Source("", "".join(" " if char.isspace() else char for char in text))
    shown, carets = console.source_excerpt(line, Span(unclear.start, unclear.end), 90)
    hint = f"    help: {console.safe_text(unclear.hint)}\n" if unclear.hint else ""
    return f"error: {console.safe_text(str(unclear))}\n    {shown}\n    {carets}\n{hint}"


def _search(index: LibraryIndex, text: str, form: str, limit: int | None) -> Listing:
    """Return the licks that answer a question. Raises QueryError."""
    from lickwright.cli.listing_view import Listing
    from lickwright.index.search import search_index

    found = search_index(index.connection, text, limit or (SHOWN if form == "text" else None))
    more = found.total - len(found.hits)
    count = console.counted_noun(found.total, "lick")
    return Listing(
        found.total,
        found.hits,
        table=lambda: _table(text, found.hits),
        summary=f"{count}; {more:,} not shown: --limit shows more\n" if more else f"{count}\n",
        nothing=_nothing(text, found) if not found.hits and not index.is_empty else "",
    )


def _table(text: str, hits: Sequence[SearchHit]) -> Table:
    heads, reasons = _HEADS, _reasons(text, hits)
    if any(reasons):
        heads = (*heads, "found in")
    return heads, [(*_row(hit), *reason) for hit, reason in zip(hits, reasons, strict=True)]


_HEADS: tuple[str, ...] = ("title", "key", "box", "level", "tempo", "bars", "techniques")


def _row(hit: SearchHit) -> tuple[str, ...]:
    known = hit.facts
    frets = f"frets {known['lowest']}-{known['highest']}" if known["lowest"] is not None else ""
    numbers = (known["level"], f"{known['tempo']:g}" if known["tempo"] else None, known["bars"] or None)
    return (
        known["title"], known["key"], known["box"] or frets,
        *("" if number is None else str(number) for number in numbers), known["techniques"],
    )  # fmt: skip


def _reasons(text: str, hits: Sequence[SearchHit]) -> list[tuple[str, ...]]:
    """Return for each lick where its words were found; nothing if all stand in titles and techniques, which the table shows."""
    from lickwright.index.matching_fields import fields_with_words
    from lickwright.index.search import interpret_question

    terms = [term for term, _ in interpret_question(text).terms]
    found = [fields_with_words(terms, hit.facts) for hit in hits]
    if all(set(names) & {"title", "techniques"} or not names for names in found):
        return [()] * len(hits)
    return [(", ".join(names),) for names in found]


def _nothing(text: str, found: SearchResult) -> str:
    """Return the line for no lick, with the parts of the question that match nothing even alone."""
    parts = [f"`{console.safe_text(text[term.start : term.end])}`" for term in found.none]
    if not parts:
        return "no lick holds all of that\n"
    hint = next((f"; did you mean {near}?" for term in found.none if (near := _near(term))), "")
    return f"no lick has {', nor '.join(parts)}{hint}\n"


def _near(term: QueryTerm) -> str | None:
    """Return the technique or the field that a bare word may have meant."""
    from lickwright.core.nearest_name import nearest_name
    from lickwright.index.query_fields import OLD_NAMES, known_field, technique_names

    if term.field:
        return None
    word = term.values[0].text.lower()
    if field := known_field(word):
        return f"{field.name}:…"
    near = OLD_NAMES.get(word) or nearest_name(word, technique_names())
    return near if near != word else None  # a technique that no lick has
