"""Licks of a library that are alike: the same tab, the same phrase in another key or box, or nearly the same phrase.

In: the index. Out: groups. Two phrases are near when little has to change (`alike.near`). Not every pair is compared:
near ones share a piece in nearly the same place, so each phrase is only compared with those that do, and not at all
where a chain of near ones links the two already.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from lickwright.analysis.fingerprint import FEWEST
from lickwright.index.describe_difference import Known, edits, position_difference
from lickwright.index.edit_distance import NOTE, PreparedPhrase, cost, likeness, near_limit, shape
from lickwright.index.families import Lineage, unrelated
from lickwright.index.search import SearchHit, fetched

_PIECE = 4  # moments: of as many pieces as a phrase has, an edit spoils one at most
SAME_TAB, SAME_PHRASE, NEAR = "same tab", "same phrase", "near"  # kinds, by how alike all of a group are


class Group(NamedTuple):
    """Licks that are alike."""

    kind: str
    licks: tuple[int, ...]  # ids in the index, by path and line


class _Lick(NamedTuple):
    """What decides in which group a lick is."""

    id: int
    phrase: int
    tab: int
    title: str
    origin: str


def duplicate_groups(connection: sqlite3.Connection, families: bool = False) -> list[Group]:
    """All groups, those that are most alike first, then by where they begin.

    A phrase of fewer than four notes is like none, and licks with errors are left out. So are licks that were moved from another
    of their group (`families.py`), unless `families` is true.
    """
    rows = connection.execute(
        "SELECT l.id, l.phrase, l.tab, l.title, l.origin FROM licks l JOIN sources s ON s.id = l.source_id "
        "JOIN phrases p ON p.code = l.phrase WHERE l.ok AND p.notes >= ? ORDER BY s.path, l.line, l.id",
        (FEWEST,),
    )
    licks = [_Lick._make(row) for row in rows]
    of_phrase: dict[int, list[_Lick]] = {}
    for one in licks:
        of_phrase.setdefault(one.phrase, []).append(one)
    moments = dict(connection.execute("SELECT code, moments FROM phrases"))
    codes = list(of_phrase)
    order = {one.id: n for n, one in enumerate(licks)}
    found = []
    for members in linked([shape(moments[code]) for code in codes]):
        alike = sorted((one for n in members for one in of_phrase[codes[n]]), key=lambda one: order[one.id])
        if not families:
            alike = unrelated((Lineage(one.title, one.origin), one) for one in alike)
        if len(alike) > 1:
            found.append(Group(_kind(alike), tuple(one.id for one in alike)))
    rank = (SAME_TAB, SAME_PHRASE, NEAR).index
    return sorted(found, key=lambda group: (rank(group.kind), order[group.licks[0]]))


def _kind(alike: Sequence[_Lick]) -> str:
    if len({one.phrase for one in alike}) > 1:
        return NEAR
    return SAME_TAB if len({one.tab for one in alike}) == 1 else SAME_PHRASE


def linked(shapes: Sequence[PreparedPhrase]) -> Iterator[list[int]]:
    """The phrases as groups that chains of near ones hold together, by their numbers; one alone is a group too."""
    roots = list(range(len(shapes)))

    def root(n: int) -> int:
        while roots[n] != n:
            roots[n] = n = roots[roots[n]]
        return n

    seen = _Seen()
    for n, one in enumerate(shapes):
        for other in seen.like(one):
            limit = near_limit(min(one.notes, shapes[other].notes))
            if root(other) != root(n) and cost(one, shapes[other], limit) is not None:
                roots[max(root(other), root(n))] = min(root(other), root(n))
        seen.add(n, one)
    together: dict[int, list[int]] = {}
    for n in range(len(shapes)):
        together.setdefault(root(n), []).append(n)
    yield from together.values()


class _Seen:
    """The phrases looked at so far, by their steps and where these stand."""

    def __init__(self) -> None:
        self._at: dict[tuple[bytes, int], list[int]] = {}
        self._notes: list[int] = []

    def add(self, number: int, one: PreparedPhrase) -> None:
        self._notes.append(one.notes)
        if not near_limit(one.notes):
            return
        steps, at = one.steps, self._at
        for i in range(len(steps) - _PIECE + 2):
            at.setdefault((steps[i : i + _PIECE - 1], i), []).append(number)

    def like(self, one: PreparedPhrase) -> Iterable[int]:
        """Those that share all pieces of this one but as many as edits may have spoiled, and nearly in their places."""
        limit = near_limit(one.notes)
        if not limit:
            return ()
        moved, steps, at = limit // NOTE, one.steps, self._at
        shared: dict[int, int] = {}
        starts = range(0, len(steps) - _PIECE + 2, _PIECE)
        for i in starts:
            piece = steps[i : i + _PIECE - 1]
            for j in range(max(0, i - moved), i + moved + 1):
                for number in at.get((piece, j), ()):
                    shared[number] = shared.get(number, 0) + 1
        notes, least = self._notes, len(starts) - moved
        return [n for n, pieces in shared.items() if pieces >= least and abs(notes[n] - one.notes) <= moved]


class Member(NamedTuple):
    """One lick of a group."""

    hit: SearchHit
    how: tuple[str, ...]  # in what it differs from the first of the group, in words; empty for the first and its equals


def described(connection: sqlite3.Connection, group: Group, most: int | None = None) -> list[Member]:
    """The licks of a group, at most `most` of them, and how each differs from the first."""
    chosen = group.licks[: most if most is not None else len(group.licks)]
    by_id = {hit.lick: hit for hit in fetched(connection, chosen)}
    hits = [by_id[lick] for lick in chosen]
    own = hits[0].facts
    marks = ", ".join("?" * len(hits))
    codes = [hit.facts["phrase"] for hit in hits]
    kept = dict(connection.execute(f"SELECT code, moments FROM phrases WHERE code IN ({marks})", codes))
    return [Member(hit, _how(own, hit.facts, kept)) for hit in hits]


def _how(own: Known, other: Known, kept: Mapping[int, bytes]) -> tuple[str, ...]:
    if other["phrase"] == own["phrase"]:
        return tuple(position_difference(own, other))
    one, two = shape(kept[own["phrase"]]), shape(kept[other["phrase"]])
    found = likeness(one, two, NOTE * max(one.notes, two.notes) // 2)
    changed = edits(found) if found is not None else ("like another of the group",)
    return (*changed, *position_difference(own, other))
