"""Writing the fields that a project sets into a book.

In: a book and what its project asks. Out: the same book with the project's fields at its top where neither the file nor the licks have
them. A moved lick is written to another place, where another `lickwright.toml` may hold or none, and must mean there what it meant.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import replace
from lickwright.notation.tree import Book, Field
from lickwright.settings.project_rules import ProjectRules


def inline_config(book: Book, project: ProjectRules | None) -> Book:
    """Return the book with the fields of its project. One that every lick has for itself is not needed."""
    if project is None:
        return book
    said = {entry.name for entry in book.head if isinstance(entry, Field)}
    for name in project.fields:
        if book.licks and all(any(isinstance(f, Field) and f.name == name for f in lick.fields) for lick in book.licks):
            said.add(name)
    new = (Field(name, given.text, raw=given.text) for name, given in project.fields.items() if name not in said)
    return replace(book, head=(*book.head, *new))


def rules_beside(project: ProjectRules | None) -> ProjectRules | None:
    """Return the rules of a project that cannot stand in a book but that its licks need: the sounds that they name."""
    return ProjectRules(project.source, sounds=project.sounds) if project is not None and project.sounds else None
