"""Licks of a library that are alike: the same tab, the same phrase in another key or box, or nearly the same phrase.

In: the index. Out: groups. Two phrases are near if few edits make one of the other (`edit_distance.near_limit`). Not every pair is compared: near
phrases share a piece in nearly the same place, so each is only compared with those that do, and not at all if a chain of near ones
links the two already.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from lickwright.analysis.fingerprint import FEWEST
from lickwright.index.describe_difference import LickValues, edits_in_words, position_differences
from lickwright.index.edit_distance import NOTE, PreparedPhrase, edit_cost, edit_likeness, near_limit, prepare_phrase
from lickwright.index.families import Lineage, without_moved_copies
from lickwright.index.search import SearchHit, fetch_hits

_PIECE = 4  # moments: of as many pieces as a phrase has, an edit spoils one at most
EFFORT = 100_000_000  # entries read and moments compared; about ten seconds (estimate). Thousands of nearly equal phrases need more
_FEW_ENTRIES, _FEW_COMPARED = (
    50,
    10,
)  # of a piece and of a phrase once the effort is spent: the last, since copies stand side by side
SAME_TAB, SAME_PHRASE, NEAR = "same tab", "same phrase", "near"  # kinds, by how alike all of a group are


class DuplicateGroup(NamedTuple):
    """Licks that are alike."""

    kind: str
    licks: tuple[int, ...]  # ids in the index, by path and line


class _Lick(NamedTuple):
    """The values that decide in which group a lick is."""

    id: int
    phrase: int
    tab: int
    title: str
    origin: str


class Duplicates(NamedTuple):
    """The licks of a library that are alike."""

    groups: list[DuplicateGroup]
    is_complete: bool  # False: there were so many near ones that not all pairs were compared


def find_duplicates(connection: sqlite3.Connection, families: bool = False, effort: int = EFFORT) -> Duplicates:
    """Return all groups, those that are most alike first, then by where they begin.

    A phrase of fewer than four notes is like none, and licks with errors are left out. So are licks that were moved from another
    of their group (`families.py`), unless `families` is true. `effort` bounds the work, see `group_near_phrases`.
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
    near = group_near_phrases([prepare_phrase(moments[code]) for code in codes], effort)
    found = []
    for members in near.groups:
        alike = sorted((one for n in members for one in of_phrase[codes[n]]), key=lambda one: order[one.id])
        if not families:
            alike = without_moved_copies((Lineage(one.title, one.origin), one) for one in alike)
        if len(alike) > 1:
            found.append(DuplicateGroup(_kind(alike), tuple(one.id for one in alike)))
    rank = (SAME_TAB, SAME_PHRASE, NEAR).index
    found.sort(key=lambda group: (rank(group.kind), order[group.licks[0]]))
    return Duplicates(found, near.is_complete)


def _kind(alike: Sequence[_Lick]) -> str:
    if len({one.phrase for one in alike}) > 1:
        return NEAR
    return SAME_TAB if len({one.tab for one in alike}) == 1 else SAME_PHRASE


class _Groups:
    """Phrases by number, joined into groups (union-find with path halving)."""

    def __init__(self, number: int) -> None:
        self._parents = list(range(number))

    def root(self, n: int) -> int:
        """Return the lowest number of the group that `n` is in."""
        parents = self._parents
        while parents[n] != n:
            parents[n] = n = parents[parents[n]]
        return n

    def join(self, n: int, m: int) -> None:
        """Make one group of those of `n` and `m`."""
        low, high = sorted((self.root(n), self.root(m)))
        self._parents[high] = low

    def members(self) -> list[list[int]]:
        """Return all groups, one alone too, each in ascending order."""
        found: dict[int, list[int]] = {}
        for n in range(len(self._parents)):
            found.setdefault(self.root(n), []).append(n)
        return list(found.values())


class NearPhrases(NamedTuple):
    """Phrases in groups, by their numbers."""

    groups: list[list[int]]  # one alone is a group too
    is_complete: bool  # False: there were so many near ones that not all pairs were compared


def group_near_phrases(phrases: Sequence[PreparedPhrase], effort: int = EFFORT) -> NearPhrases:
    """Return the phrases as groups that chains of near ones hold together.

    `effort` bounds the work, in entries read and moments compared: once it is spent, each phrase is only compared with a few
    of those before it. The work is then proportional to the number of phrases.
    """
    groups, index = _Groups(len(phrases)), _PieceIndex(effort)
    for n, one in enumerate(phrases):
        for other in index.candidates(one):
            if groups.root(other) == groups.root(n):
                continue
            limit = near_limit(min(one.notes, phrases[other].notes))
            index.effort -= one.notes * limit
            if edit_cost(one, phrases[other], limit) is not None:
                groups.join(other, n)
        index.add(n, one)
    return NearPhrases(groups.members(), index.effort > 0)


class _PieceIndex:
    """The phrases looked at so far, by their steps and where these stand; each piece of steps at a place has a list of phrases."""

    def __init__(self, effort: int) -> None:
        self.effort = effort  # that is left
        self._at: dict[tuple[bytes, int], list[int]] = {}
        self._notes: list[int] = []

    def add(self, number: int, one: PreparedPhrase) -> None:
        """Add a phrase under the next number."""
        self._notes.append(one.notes)
        if not near_limit(one.notes):
            return
        steps, at = one.steps, self._at
        for i in range(len(steps) - _PIECE + 2):
            at.setdefault((steps[i : i + _PIECE - 1], i), []).append(number)

    def candidates(self, one: PreparedPhrase) -> Iterable[int]:
        """Return the phrases that share all pieces of this one but as many as edits may have spoiled, nearly in their places.

        Those that share most come first.
        """
        limit = near_limit(one.notes)
        if not limit:
            return ()
        moved, steps, at = limit // NOTE, one.steps, self._at
        starts = range(0, len(steps) - _PIECE + 2, _PIECE)
        shared: Counter[int] = Counter()
        for i in starts:
            piece = steps[i : i + _PIECE - 1]
            for j in range(max(0, i - moved), i + moved + 1):
                numbers = at.get((piece, j), [])
                if self.effort <= 0:
                    numbers = numbers[-_FEW_ENTRIES:]
                self.effort -= len(numbers)
                shared.update(numbers)
        notes, least = self._notes, len(starts) - moved
        found = [n for n, pieces in shared.items() if pieces >= least and abs(notes[n] - one.notes) <= moved]
        found.sort(key=shared.__getitem__, reverse=True)
        return found if self.effort > 0 else found[:_FEW_COMPARED]


class GroupMember(NamedTuple):
    """One lick of a group."""

    hit: SearchHit
    how: tuple[str, ...]  # in what it differs from the first of the group, in words; empty for the first and its equals


def describe_group(connection: sqlite3.Connection, group: DuplicateGroup, most: int | None = None) -> list[GroupMember]:
    """Return the licks of a group, at most `most` of them, and how each differs from the first."""
    chosen = group.licks[: most if most is not None else len(group.licks)]
    by_id = {hit.lick: hit for hit in fetch_hits(connection, chosen)}
    hits = [by_id[lick] for lick in chosen]
    own = hits[0].facts
    marks = ", ".join("?" * len(hits))
    codes = [hit.facts["phrase"] for hit in hits]
    kept = dict(connection.execute(f"SELECT code, moments FROM phrases WHERE code IN ({marks})", codes))
    return [GroupMember(hit, _how(own, hit.facts, kept)) for hit in hits]


def _how(own: LickValues, other: LickValues, kept: Mapping[int, bytes]) -> tuple[str, ...]:
    if other["phrase"] == own["phrase"]:
        return tuple(position_differences(own, other))
    one, two = prepare_phrase(kept[own["phrase"]]), prepare_phrase(kept[other["phrase"]])
    found = edit_likeness(one, two, NOTE * max(one.notes, two.notes) // 2)
    changed = edits_in_words(found) if found is not None else ("like another of the group",)
    return (*changed, *position_differences(own, other))
