"""Licks like one lick: the same intervals and rhythm in any key or box first, then those that differ by few edits.

In: the values of the lick that others should be like, and the index. Out: `SimilarLick` values, the most similar first. Those that differ by no more than
`edit_distance.near_limit` are all found; of those that differ by more, up to a note in four, the ones that share a piece.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping
from typing import NamedTuple

from lickwright.analysis.fingerprint import FEWEST, separate_step_grams
from lickwright.index.describe_difference import edits_in_words, position_differences
from lickwright.index.duplicates import NEAR, SAME_PHRASE, SAME_TAB
from lickwright.index.edit_distance import (
    IDENTICAL,
    PreparedPhrase,
    edit_cost,
    edit_likeness,
    near_limit,
    prepare_phrase,
)
from lickwright.index.search import SearchHit, fetch_hits
from lickwright.store.features import LickFacts
from lickwright.store.guarded_database import FOREIGN_VALUES, Unusable
from lickwright.store.index_schema import has_full_text
from lickwright.store.manifest_schema import LONGEST_PHRASE

_SPARE = 10  # phrases more than wanted, before the farthest are given up
_ANY = 1 << 30  # phrases: none is too many, since most of their licks may not be wanted


class SimilarLick(NamedTuple):
    """One lick that is like it."""

    hit: SearchHit
    kind: str  # as of a group of duplicates
    share: float  # of the longer phrase that is the same, 0 to 1
    how: tuple[str, ...]  # in what it differs, in words; empty for the same tab in the same place


def find_similar(
    connection: sqlite3.Connection, wanted: LickFacts, most: int, among: Collection[int] | None = None
) -> list[SimilarLick]:
    """Return the `most` licks that are most like `wanted`; `among`: only of these ids. A phrase of fewer than four notes is like none.

    Raises `Unusable` for phrases that no program of ours has entered.
    """
    if wanted.phrase_notes < FEWEST:
        return []
    mine, own = prepare_phrase(wanted.moments), wanted._asdict()
    theirs = {wanted.phrase: (0, mine), **_near(connection, wanted, mine, most if among is None else _ANY)}
    found = []
    for hit in fetch_hits(connection, _likest(connection, wanted, theirs, most, among)):
        one = theirs[hit.facts["phrase"]][1]
        how = IDENTICAL if one is mine else edit_likeness(mine, one, 2 * near_limit(wanted.phrase_notes))
        if how is not None:
            same = SAME_TAB if hit.facts["tab"] == wanted.tab else SAME_PHRASE
            found.append(
                SimilarLick(
                    hit,
                    NEAR if how.cost else same,
                    how.share,
                    (*edits_in_words(how), *position_differences(own, hit.facts)),
                )
            )
    rank = (SAME_TAB, SAME_PHRASE, NEAR).index
    found.sort(key=lambda one: (rank(one.kind), -one.share, len(one.how), one.hit.path, one.hit.facts["line"]))
    return found


def _near(
    connection: sqlite3.Connection, wanted: LickFacts, mine: PreparedPhrase, most: int
) -> dict[int, tuple[int, PreparedPhrase]]:
    """Return the `most` nearest phrases by code, with their edit costs. Once `most` are found, the limit is lowered to the worst of them."""
    limit = 2 * near_limit(wanted.phrase_notes)
    if not limit:
        return {}
    asked = "notes BETWEEN ? AND ? AND code != ?"
    values: list[int | str] = [wanted.phrase_notes - limit // 2, wanted.phrase_notes + limit // 2, wanted.phrase]
    if has_full_text(connection):
        asked += " AND id IN (SELECT rowid FROM phrase_grams WHERE phrase_grams MATCH ?)"
        values.append(" OR ".join(f'"{piece}"' for piece in set(separate_step_grams(wanted.moments))))
    found: dict[int, tuple[int, PreparedPhrase]] = {}
    for code, moments in connection.execute(f"SELECT code, moments FROM phrases WHERE {asked} ORDER BY id", values):
        if limit < 0:
            break
        if not isinstance(moments, bytes) or len(moments) > LONGEST_PHRASE:
            raise Unusable(FOREIGN_VALUES)  # of a large index nobody has looked at every phrase
        one = prepare_phrase(moments)
        differ = edit_cost(mine, one, limit)
        if differ is not None:
            found[code] = (differ, one)
            if len(found) > most + _SPARE:
                found = dict(sorted(found.items(), key=lambda each: each[1][0])[:most])
                limit = max(differ for differ, _ in found.values()) - 1  # others as far off are not wanted
    return found


def _likest(
    connection: sqlite3.Connection, wanted: LickFacts, theirs: Mapping[int, tuple[int, PreparedPhrase]], most: int,
    among: Collection[int] | None,
) -> list[int]:  # fmt: skip
    """Return the ids of the `most` licks with the nearest phrases, those with the same tab before others."""
    rows: list[tuple[float, bool, int]] = []
    codes, chosen = list(theirs), None if among is None else set(among)
    for start in range(0, len(codes), 500):
        some = codes[start : start + 500]
        marks = ", ".join("?" * len(some))
        for lick, code, tab in connection.execute(f"SELECT id, phrase, tab FROM licks WHERE phrase IN ({marks})", some):
            if chosen is None or lick in chosen:
                differ, one = theirs[code]
                rows.append((differ / max(one.notes, wanted.phrase_notes), tab != wanted.tab, lick))
    return [lick for _, _, lick in sorted(rows)[:most]]
