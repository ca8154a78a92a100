"""The fields of a header in a fixed order.

In: fields and comments of one paragraph, and the names in order. Out: the same, in order, each field below its own comments.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from lickwright.notation.tree import Comment, Field

OWN = "x-"  # stands in an order for all fields that it does not name


class _FieldGroup(NamedTuple):
    """A field with the comments that stand over it."""

    comments: tuple[Comment, ...]
    field: Field
    stays: bool  # in its order among the others that stay: it has comments, or is below those at the top


def ordered_fields(entries: Sequence[Field | Comment], names: Sequence[str]) -> list[Field | Comment]:
    """Return the comments at the top, the fields in order, each below its own comments, and the comments at the end.

    Fields with comments stay in the order in which they were, since the comments may be about each other. What is in order stays so.
    """
    before, after = list(entries), _ordered_once(entries, names)
    while before != after:  # until no field with a comment holds another one back: two or three times
        before, after = after, _ordered_once(after, names)
    return after


def _ordered_once(entries: Sequence[Field | Comment], names: Sequence[str]) -> list[Field | Comment]:
    first = next((n for n, entry in enumerate(entries) if isinstance(entry, Field)), len(entries))
    groups: list[_FieldGroup] = []
    comments: list[Comment] = []
    for entry in entries[first:]:
        if isinstance(entry, Comment):
            comments.append(entry)
        else:
            opens = first > 0 and not groups
            stays = opens or bool(comments) or entry.comment is not None
            groups.append(_FieldGroup(tuple(comments), entry, stays))
            comments = []
    ordered = _ordered_groups(groups, {name: rank for rank, name in enumerate(names)})
    done: list[Field | Comment] = list(entries[:first])
    for group in ordered:
        done += [*group.comments, group.field]
    return done + comments


def _ordered_groups(groups: list[_FieldGroup], ranks_by_name: Mapping[str, int]) -> list[_FieldGroup]:
    """Return groups by rank; one that stays counts at least as much as those before it that stay."""
    ranks: list[int] = []
    least = 0
    for group in groups:
        rank = ranks_by_name.get(group.field.name, ranks_by_name.get(OWN, 0))
        if group.stays:
            rank = least = max(least, rank)
        ranks.append(rank)
    return [groups[n] for n in sorted(range(len(groups)), key=ranks.__getitem__)]
