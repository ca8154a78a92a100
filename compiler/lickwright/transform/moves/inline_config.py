"""A book that says for itself what its house says for it.

In: a book and its house's style. Out: the same book, the house's fields written at its top where neither the file nor the lick has them: what is
moved is written somewhere else, where another house may stand or none, and must mean there what it meant here.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import replace
from lickwright.notation.tree import Book, Field
from lickwright.settings.project_rules import ProjectRules


def inline_config(book: Book, house: ProjectRules | None) -> Book:
    """The book with the fields of its house. One that every lick has for itself is not needed."""
    if house is None:
        return book
    said = {entry.name for entry in book.head if isinstance(entry, Field)}
    for name in house.fields:
        if book.licks and all(any(isinstance(f, Field) and f.name == name for f in lick.fields) for lick in book.licks):
            said.add(name)
    new = (Field(name, given.text, raw=given.text) for name, given in house.fields.items() if name not in said)
    return replace(book, head=(*book.head, *new))
