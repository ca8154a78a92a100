"""The order of the licks of an answer: `sort:level`, `sort:-tempo,title`.

In: the terms of a question. Out: those that ask, and the order that is asked for. Without one, licks come in the order of their files.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, TypeVar

from lickwright.core.nearest_name import nearest_name
from lickwright.index.query_parser import QueryError, QueryTerm

SORT = "sort"
# What can be sorted by, and the column of the index.
COLUMNS = {
    "level": "level", "tempo": "tempo", "bars": "bars", "notes": "notes", "seconds": "seconds", "fret": "lowest",
    "key": "tonic", "title": "title", "by": "by",
}  # fmt: skip
Item = TypeVar("Item")


class SortKey(NamedTuple):
    """One column to sort by."""

    column: str
    down: bool  # True: the highest first


def split_sort_terms(terms: Sequence[QueryTerm]) -> tuple[list[QueryTerm], tuple[SortKey, ...]]:
    """Return the terms that ask, and the order. Raises QueryError for an order that does not exist."""
    asking = [term for term in terms if term.field != SORT]
    return asking, tuple(order for term in terms if term.field == SORT for order in _orders(term))


def _orders(term: QueryTerm) -> list[SortKey]:
    if term.negated or term.compare != ":":
        raise QueryError("`sort` only takes what to sort by", term.start, term.end, "write sort:level, or sort:-level")
    found = []
    for value in term.values:
        name = value.text.removeprefix("-").lower()
        if name not in COLUMNS:
            near = nearest_name(name, tuple(COLUMNS))
            hint = f"did you mean sort:{near}?" if near else f"there are {', '.join(COLUMNS)}"
            raise QueryError(f"licks cannot be sorted by `{name[:30]}`", value.start, value.end, hint)
        found.append(SortKey(COLUMNS[name], value.text.startswith("-")))
    return found


def sorted_by(order: Sequence[SortKey], items: Sequence[Item], value: Callable[[Item, str], Any]) -> list[Item]:
    """Return the items in this order, equal ones as they came; items without a value come last. `value` returns the value of an item in a column."""
    found = list(items)
    for column, down in reversed(order):
        having = [item for item in found if value(item, column) not in (None, "")]
        without = [item for item in found if value(item, column) in (None, "")]
        having.sort(key=lambda item: _folded(value(item, column)), reverse=down)
        found = having + without
    return found


def _folded(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value
