"""The tables of the index of a library: the features of every lick.

In: `LickFacts`, and the connection of whoever keeps the sources (a table `sources` with `id` and `path`). Out: rows. Opens no
file and ends no transaction: both are the caller's. Questions are asked by `index/search.py`, `index/similarity_search.py`, `index/duplicates.py` and
`index/statistics.py`.

Full-text search is FTS5's where SQLite has it. Where it has not, the same questions are answered by looking through the
tables, more slowly.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright.store.lick_bitmaps import has_bitmaps, next_unentered

if TYPE_CHECKING:
    from lickwright.store.features import IndexedFinding, LickFacts

VERSION = 3  # of these tables: another one is built anew
_AT_ONCE = 500  # sources or phrases in one statement

# What a bare word is looked for in; `rights` only by name, since one sentence often stands on every lick.
TEXTS = ("title", "tags", "style", "by", "source", "note", "techniques", "figures")
_NAMED_TEXTS = (*TEXTS, "rights", "scale", "origin")

# The columns of a lick: the fields of `LickFacts` in their order, without findings and moments, which are in tables of their own.
# Written out, since to ask `LickFacts` for them takes a question a millisecond.
_DECLARED = """
    "title" TEXT, "slug" TEXT, "line" INTEGER, "ok" INTEGER, "key" TEXT, "tonic" INTEGER, "mode" TEXT, "scale" TEXT, "chords" TEXT,
    "box" TEXT, "boxes" INTEGER, "tempo" REAL, "meter" TEXT, "feel" TEXT, "tuning" TEXT, "capo" INTEGER, "sound" TEXT, "by" TEXT,
    "rights" TEXT, "source" TEXT, "origin" TEXT, "tags" TEXT, "style" TEXT, "note" TEXT, "declared" INTEGER, "measured" INTEGER,
    "techniques" TEXT, "figures" TEXT, "bars" INTEGER, "beats" REAL, "seconds" REAL, "notes" INTEGER, "low" INTEGER, "high" INTEGER,
    "lowest" INTEGER, "highest" INTEGER, "phrase" INTEGER, "tab" INTEGER, "degree" INTEGER, "first" INTEGER
"""
COLUMNS = tuple(_DECLARED.split('"')[1::2])

SCHEMA = f"""
CREATE TABLE IF NOT EXISTS licks (
    id INTEGER PRIMARY KEY, source_id INTEGER NOT NULL,
    level INTEGER, errors INTEGER NOT NULL, warnings INTEGER NOT NULL, {_DECLARED.strip()});
CREATE INDEX IF NOT EXISTS licks_place ON licks (source_id, line, id);
CREATE INDEX IF NOT EXISTS licks_narrow ON licks (
    tonic, mode, level, boxes, tempo, bars, notes, lowest, highest, capo, seconds, ok, errors, warnings);
CREATE INDEX IF NOT EXISTS licks_of_nobody ON licks (rights) WHERE rights = '';
CREATE INDEX IF NOT EXISTS licks_by_nobody ON licks ("by") WHERE "by" = '';
CREATE INDEX IF NOT EXISTS licks_phrase ON licks (phrase, tab);
CREATE TABLE IF NOT EXISTS findings (
    source_id INTEGER NOT NULL, lick_id INTEGER, code TEXT, severity TEXT, line INTEGER, message TEXT);
CREATE INDEX IF NOT EXISTS findings_place ON findings (source_id);
CREATE INDEX IF NOT EXISTS findings_code ON findings (code, severity, lick_id);
CREATE TABLE IF NOT EXISTS phrases (
    id INTEGER PRIMARY KEY, code INTEGER NOT NULL UNIQUE, notes INTEGER NOT NULL, moments BLOB NOT NULL);
"""
# In a manifest: of sources that a build knows and whose licks are not in the index, such as files that were made one by one.
LEFT_OUT_SCHEMA = "CREATE INDEX sources_left_out ON sources (path) WHERE NOT indexed"
# Kept apart, since not every SQLite has FTS5. The grams hold rows of `phrases`: a phrase in twelve keys is kept once.
SEARCH_SCHEMA = f"""
CREATE VIRTUAL TABLE IF NOT EXISTS lick_text USING fts5(
    {", ".join(_NAMED_TEXTS)}, content='licks', content_rowid='id', tokenize="unicode61 remove_diacritics 2");
CREATE VIRTUAL TABLE IF NOT EXISTS phrase_grams USING fts5(grams, detail=none, content='', tokenize='ascii');
"""

_QUOTED = ", ".join(f'"{name}"' for name in COLUMNS)  # some are words of SQL
_LICK = (
    f"INSERT INTO licks (id, source_id, level, errors, warnings, {_QUOTED}) "
    f"VALUES ({', '.join('?' * (len(COLUMNS) + 5))})"
)
_TEXT = f"INSERT INTO lick_text (rowid, {', '.join(_NAMED_TEXTS)}) VALUES ({', '.join('?' * (len(_NAMED_TEXTS) + 1))})"
_AT = {name: COLUMNS.index(name) for name in _NAMED_TEXTS}


def create_index(connection: sqlite3.Connection) -> None:
    """Create the tables that are not there, those of the full-text search where SQLite has it."""
    for statement in SCHEMA.split(";"):
        connection.execute(statement)  # not `executescript`, which would end the caller's transaction
    try:
        for statement in SEARCH_SCHEMA.split(";"):
            connection.execute(statement)
    except sqlite3.OperationalError as e:
        if "no such module" not in str(e):
            raise


def has_full_text(connection: sqlite3.Connection) -> bool:
    """Return True if there is a full-text search."""
    row = connection.execute(
        "SELECT count(*) FROM sqlite_master WHERE name IN ('lick_text', 'phrase_grams')"
    ).fetchone()
    return bool(row[0] == 2)


def add_licks(
    connection: sqlite3.Connection, source_id: int, facts: Sequence[LickFacts], findings: Sequence[IndexedFinding] = ()
) -> None:
    """Enter the licks of one source that has no rows yet. `findings`: those of a source without licks."""
    add_licks_of_sources(connection, [(source_id, facts)])
    if findings:
        connection.executemany(
            "INSERT INTO findings VALUES (?, NULL, ?, ?, ?, ?)", [(source_id, *finding) for finding in findings]
        )


def add_licks_of_sources(connection: sqlite3.Connection, sources: Iterable[tuple[int, Sequence[LickFacts]]]) -> None:
    """Enter the licks of several sources: much cheaper than one by one."""
    free = int(connection.execute("SELECT coalesce(max(id), 0) + 1 FROM licks").fetchone()[0])
    if has_bitmaps(connection):
        free = max(free, next_unentered(connection))  # an id of a removed lick is not used again
    ones = [(free + n, source_id, one) for n, (source_id, one) in enumerate(_each(sources))]
    connection.executemany(_LICK, map(_row, ones))
    connection.executemany(
        "INSERT INTO findings VALUES (?, ?, ?, ?, ?, ?)",
        [(source_id, lick, *finding) for lick, source_id, one in ones for finding in one.findings],
    )
    search = has_full_text(connection)
    if search:
        connection.executemany(_TEXT, [(lick, *[one[at] for at in _AT.values()]) for lick, _, one in ones])
    _add_phrases(connection, {one.phrase: one for _, _, one in ones if one.moments}, search)


def _each(sources: Iterable[tuple[int, Sequence[LickFacts]]]) -> Iterator[tuple[int, LickFacts]]:
    for source_id, facts in sources:
        for one in facts:
            yield source_id, one


def _row(placed: tuple[int, int, LickFacts]) -> tuple[object, ...]:
    lick, source_id, one = placed
    severities = [finding.severity for finding in one.findings]
    own = one[: len(COLUMNS)]  # moments and findings come last
    return (lick, source_id, one.level, severities.count("error"), severities.count("warning"), *own)


def _add_phrases(connection: sqlite3.Connection, phrases: dict[int, LickFacts], search: bool) -> None:
    from lickwright.analysis.fingerprint import step_grams  # not for questions

    for code, one in phrases.items():
        done = connection.execute(
            "INSERT OR IGNORE INTO phrases (code, notes, moments) VALUES (?, ?, ?)",
            (code, one.phrase_notes, one.moments),
        )
        if search and done.rowcount == 1:
            connection.execute(
                "INSERT INTO phrase_grams (rowid, grams) VALUES (?, ?)",
                (done.lastrowid, " ".join(step_grams(one.moments))),
            )


def remove_licks(connection: sqlite3.Connection, source_ids: Sequence[int]) -> None:
    """Remove everything known of the licks of these sources."""
    search, names = has_full_text(connection), ", ".join(_NAMED_TEXTS)
    for start in range(0, len(source_ids), _AT_ONCE):
        some = source_ids[start : start + _AT_ONCE]
        theirs = f"source_id IN ({', '.join('?' * len(some))})"
        if search:
            connection.execute(
                f"INSERT INTO lick_text (lick_text, rowid, {names}) SELECT 'delete', id, {names} FROM licks WHERE {theirs}",
                some,
            )
        if has_bitmaps(connection):
            from lickwright.store.enter_bitmaps import remove_from_bitmaps  # not for questions

            ids = connection.execute(f"SELECT id FROM licks WHERE {theirs}", some).fetchall()
            remove_from_bitmaps(connection, (lick for (lick,) in ids))
        codes = [row[0] for row in connection.execute(f"SELECT DISTINCT phrase FROM licks WHERE {theirs}", some)]
        connection.execute(f"DELETE FROM licks WHERE {theirs}", some)
        connection.execute(f"DELETE FROM findings WHERE {theirs}", some)
        _forget(connection, codes, search)


def _forget(connection: sqlite3.Connection, codes: Sequence[int], search: bool) -> None:
    """Remove those of these phrases that no lick has any more."""
    from lickwright.analysis.fingerprint import step_grams

    lost: list[tuple[int, bytes]] = []
    for start in range(0, len(codes), _AT_ONCE):
        some = codes[start : start + _AT_ONCE]
        lost += connection.execute(
            f"SELECT id, moments FROM phrases p WHERE code IN ({', '.join('?' * len(some))}) "
            "AND NOT EXISTS (SELECT 1 FROM licks l WHERE l.phrase = p.code)",
            some,
        )
    if search:
        connection.executemany(
            "INSERT INTO phrase_grams (phrase_grams, rowid, grams) VALUES ('delete', ?, ?)",
            [(number, " ".join(step_grams(moments))) for number, moments in lost],
        )
    connection.executemany("DELETE FROM phrases WHERE id = ?", [(number,) for number, _ in lost])


def load_index_rows(connection: sqlite3.Connection, source_id: int) -> list[LickFacts]:
    """Return what `add_licks` entered for one source, to be entered into another index."""
    from lickwright.store.features import IndexedFinding, LickFacts

    names = ", ".join(f'l."{name}"' for name in COLUMNS)
    rows = connection.execute(
        f"SELECT l.id, {names}, p.moments FROM licks l LEFT JOIN phrases p ON p.code = l.phrase "
        "WHERE l.source_id = ? ORDER BY l.id",
        (source_id,),
    ).fetchall()
    found: dict[int, list[IndexedFinding]] = {}
    for lick, *rest in connection.execute(
        "SELECT lick_id, code, severity, line, message FROM findings WHERE source_id = ? ORDER BY rowid", (source_id,)
    ):
        found.setdefault(lick, []).append(IndexedFinding(*rest))
    facts = [LickFacts._make((*row[1:-1], row[-1] or b"", tuple(found.get(row[0], ())))) for row in rows]
    return [one._replace(ok=bool(one.ok)) for one in facts]
