"""Events and the words over them → items of the notation's tree, in which words and tuplets are brackets.

In: `Leaf`s in order, each with the words over it. Out: items, in which each word stands round as many of them as it can. A word that would cross the
border of a tuplet is written twice. Knows no time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from lickwright.core.fast_dataclass import mutable_record
from lickwright.importers.words_over import WordOver
from lickwright.notation.tree import Item, Tuplet, Worded


@mutable_record
class Leaf:
    """Items under the same words, or a tuplet of leaves."""

    items: tuple[Item, ...]
    words: tuple[WordOver, ...] | None = ()  # None: those that stand over the notes on both sides
    inside: tuple[Leaf, ...] = ()  # of a tuplet, whose node without items is in `items`
    inherits: bool = False  # its words were those on both sides


def nested_items(leaves: Sequence[Leaf]) -> tuple[Item, ...]:
    """Return the items with their words and tuplets round them."""
    _resolve_words(list(_flat(leaves)))
    return tuple(_nested([(leaf, _words_over(leaf)) for leaf in leaves]))


def _flat(leaves: Iterable[Leaf]) -> Iterator[Leaf]:
    for leaf in leaves:
        if leaf.inside:
            yield from _flat(leaf.inside)
        else:
            yield leaf


def _resolve_words(leaves: list[Leaf]) -> None:
    """Set the words of leaves that have none of their own: those that go on over them."""
    following: list[tuple[WordOver, ...]] = []
    after: tuple[WordOver, ...] = ()
    for leaf in reversed(leaves):
        after = after if leaf.words is None else leaf.words
        following.append(after)
    before: tuple[WordOver, ...] = ()
    for leaf, after in zip(leaves, reversed(following), strict=True):
        if leaf.words is None:
            leaf.words, leaf.inherits = tuple(word for word in before if word in after), True
        else:
            before = leaf.words


def _words_over(leaf: Leaf) -> tuple[WordOver, ...]:
    """Return the words over all of a leaf: of a tuplet those over all of its notes."""
    if not leaf.inside:
        return leaf.words or ()
    own = [one for one in leaf.inside if not one.inherits] or leaf.inside
    first, *others = (_words_over(one) for one in own)
    return tuple(word for word in first if all(word in other for other in others))


def _nested(leaves: Sequence[tuple[Leaf, tuple[WordOver, ...]]], over: tuple[WordOver, ...] = ()) -> Iterator[Item]:
    at = 0
    while at < len(leaves):
        leaf, words = leaves[at]
        if not words:
            yield from _items(leaf, over)
            at += 1
            continue
        word, end = max(((word, _run_end(leaves, at, word)) for word in words), key=lambda run: run[1])
        inside = [(one, tuple(other for other in its if other != word)) for one, its in leaves[at:end]]
        yield Worded(word.name, tuple(_nested(inside, (*over, word))))
        at = end


def _items(leaf: Leaf, over: tuple[WordOver, ...]) -> Iterator[Item]:
    if not leaf.inside:
        yield from leaf.items
        return
    for item in leaf.items:
        if isinstance(item, Tuplet):
            inside = [(one, tuple(word for word in _words_over(one) if word not in over)) for one in leaf.inside]
            yield Tuplet(item.count, item.normal, tuple(_nested(inside, over)))


def _run_end(leaves: Sequence[tuple[Leaf, tuple[WordOver, ...]]], at: int, word: WordOver) -> int:
    end = at
    while end < len(leaves) and word in leaves[end][1]:
        end += 1
    return end
