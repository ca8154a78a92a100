"""The tables of a manifest, and the questions that find rows no program of ours has entered.

In: nothing. Out: SQL statements. The tables of the index of licks are in `index_schema.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from lickwright.store.database_schema import schema_of

FORM = 2  # of these tables; a manifest with a higher number is a newer lickwright's
GONE, OLDER = 1, 2  # values of `outputs.gone`; 0: it is what its lick is now
MARK = 0x4C69636B  # "Lick": SQLite's application_id of our files

# Paths have `/` on every system. `folder` and `target` are below the output folder, `path` is as seen from there, so that both may move.
SCHEMA = """
CREATE TABLE sources (
    id INTEGER PRIMARY KEY,
    path TEXT NOT NULL UNIQUE,     -- of the source; '-' is standard input
    target TEXT NOT NULL UNIQUE,   -- the folder of its outputs, which is no other source's
    hash BLOB,                     -- of the bytes that were compiled; NULL: to be made again
    key BLOB,                      -- of the options, the project config and the program
    formats TEXT NOT NULL,         -- that were made with this hash and key: 'tab,midi'
    made INTEGER NOT NULL,         -- licks that were written
    refused TEXT NOT NULL,         -- JSON: each lick that was not, see `types.SkippedLick`
    findings TEXT NOT NULL,        -- JSON, '' for none
    indexed INTEGER NOT NULL,      -- 1: its licks' facts are in the index
    alone INTEGER NOT NULL         -- 1: it crashed a worker, and is tried only in a process of its own
);
CREATE TABLE outputs (
    folder TEXT NOT NULL,
    name TEXT NOT NULL,            -- of the file in it
    lick TEXT NOT NULL,            -- the slug of its lick
    format TEXT NOT NULL,
    gone INTEGER NOT NULL,         -- 1: its lick is no more in the source; 2: its lick could not be made, it is of an earlier version
    hash BLOB NOT NULL,            -- of its bytes as we wrote them
    size INTEGER NOT NULL,         -- these four as the file system had them then
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL,
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
CREATE TABLE claims (              -- files that a killed build may have written
    folder TEXT NOT NULL,
    name TEXT NOT NULL,
    hash BLOB NOT NULL,
    PRIMARY KEY (folder, name, hash)
) WITHOUT ROWID;
CREATE TABLE about (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
"""
# What came with form 2. A manifest of form 1 gets it, and stays what it is otherwise.
SECOND = """
CREATE TABLE names (               -- of licks: see `naming.py`
    folder TEXT NOT NULL,          -- the `target` of their source
    name TEXT NOT NULL,            -- `lick` in `outputs`
    base TEXT NOT NULL,
    code INTEGER NOT NULL,
    place INTEGER NOT NULL,
    gone INTEGER NOT NULL,         -- 1: its lick is no more in the source; the name is free when its outputs are removed
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
"""

_MOST = 200_000  # outputs of one source, which are looked at together: a file has at most 10,000 licks


def _is_plain(kind: str, column: str) -> str:
    """Return a condition in SQL: the `folder` or `name` in a column has the form of ours.

    Python cannot be given a text that is no UTF-8: its function gets bytes.
    """
    return f"(typeof({column}) = 'text' AND plain_{kind}(CAST({column} AS BLOB)))"


_FOLDER, _TARGET = _is_plain("folder", "folder"), _is_plain("folder", "target")
_NAME, _SLUG = _is_plain("name", "name"), _is_plain("name", "l.slug")

# Rows that no program of ours has entered: a type that is not the column's, a name that leads out of the folder, too many of one source.
# A folder is checked with the source that it belongs to, where there is one.
FOREIGN = (
    "SELECT 1 FROM sources WHERE typeof(path) <> 'text' OR typeof(formats) <> 'text' OR typeof(made) <> 'integer' "
    "OR typeof(refused) <> 'text' OR typeof(findings) <> 'text' OR typeof(indexed) <> 'integer' OR typeof(alone) <> 'integer' "
    f"OR typeof(hash) NOT IN ('blob', 'null') OR typeof(key) NOT IN ('blob', 'null') OR NOT {_TARGET}",
    # Grouped in the order of the key: DISTINCT would enter each folder into a table of its own, which takes three times as long.
    f"SELECT 1 FROM (SELECT folder, count(*) AS files FROM outputs GROUP BY folder) o WHERE files > {_MOST} "
    f"OR NOT EXISTS (SELECT 1 FROM sources WHERE target = o.folder) AND NOT {_FOLDER}",
    "SELECT 1 FROM outputs WHERE typeof(lick) <> 'text' OR typeof(format) <> 'text' OR typeof(gone) <> 'integer' "
    "OR typeof(hash) <> 'blob' OR typeof(size) <> 'integer' OR typeof(mtime) <> 'integer' OR typeof(ctime) <> 'integer' "
    f"OR typeof(inode) <> 'integer' OR NOT {_NAME}",
    f"SELECT 1 FROM claims GROUP BY folder HAVING count(*) > {_MOST}",
    f"SELECT 1 FROM claims WHERE typeof(hash) <> 'blob' OR NOT {_FOLDER} OR NOT {_NAME}",
    "SELECT 1 FROM names WHERE typeof(base) <> 'text' OR typeof(code) <> 'integer' OR typeof(place) <> 'integer' "
    f"OR typeof(gone) <> 'integer' OR NOT {_NAME} OR folder NOT IN (SELECT target FROM sources) AND NOT {_FOLDER}",
)

NAMES_OF_INDEX = (
    "INSERT OR IGNORE INTO names SELECT s.target, l.slug, base(CAST(l.title AS BLOB)), l.tab, l.line, 0 FROM licks l "
    f"JOIN sources s ON s.id = l.source_id WHERE {_SLUG} AND typeof(l.tab) = 'integer' AND typeof(l.line) = 'integer'"
)


# Comes with the first recording.
SOUNDS = """
CREATE TABLE sounds (
    hash BLOB PRIMARY KEY,         -- of a recording in `outputs`
    sound BLOB NOT NULL            -- the key of what is heard in it: see `recorded_sounds.py`
) WITHOUT ROWID
"""

# Comes with the first build that finds a source unchanged: what its file was like when it was last read, see `build/up_to_date.py`.
SOURCE_STATES = """
CREATE TABLE source_states (
    id INTEGER PRIMARY KEY,        -- in `sources`
    hash BLOB NOT NULL,            -- of the bytes that were read: the row counts only while it is that of the source
    size INTEGER NOT NULL,         -- these four as the file system had them before the reading
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL
)
"""

# Comes with a build that found nothing to do: what the library and its outputs were like then. It counts while the row `snapshot` of `about` stands,
# which goes with whatever else is entered; see `build/snapshot.py`.
SNAPSHOT = """
CREATE TABLE snapshot (
    number INTEGER PRIMARY KEY,    -- of a folder of sources, in the order of the build
    targets TEXT NOT NULL,         -- the folder of outputs of each source in it, a line each; '' for none
    told TEXT NOT NULL,            -- a digit for each source: 1 if findings or refused licks of it are on record
    states BLOB NOT NULL,          -- a hash: of the folder, its sources and their folders of outputs, by their states
    contents BLOB NOT NULL,        -- a hash: of the bytes of its sources, and of the states of their outputs
    outputs TEXT NOT NULL          -- the names of the outputs of each source, a line each
)
"""

# The same in the index, where there is one: phrases longer than any lick's. A lick has 10,000 events, its repeats and bends among them.
LONGEST_PHRASE = 400_000  # bytes
FOREIGN_PHRASES = f"SELECT 1 FROM phrases WHERE typeof(moments) <> 'blob' OR length(moments) > {LONGEST_PHRASE}"

RELEASE = "release_files"  # a folder of outputs is made of slugs, which have no underscore: no source has this one
# Comes with the first release: see `build/release_files.py`.
RELEASED = """
CREATE TABLE released (
    folder TEXT NOT NULL,          -- `release_files`, or one below it
    name TEXT NOT NULL,
    target TEXT NOT NULL,          -- `folder` and `name` in `outputs` of what it is a copy of
    output TEXT NOT NULL,
    hash BLOB NOT NULL,            -- of its bytes as we wrote them
    size INTEGER NOT NULL,         -- these four as the file system had them then
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL,
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
CREATE INDEX released_of ON released (target, output)
"""
FOREIGN_RELEASED = (
    "SELECT 1 FROM released WHERE typeof(target) <> 'text' OR typeof(output) <> 'text' OR typeof(hash) <> 'blob' "
    "OR typeof(size) <> 'integer' OR typeof(mtime) <> 'integer' OR typeof(ctime) <> 'integer' OR typeof(inode) <> 'integer' "
    f"OR NOT {_FOLDER} OR NOT {_NAME} OR (folder <> '{RELEASE}' AND folder NOT GLOB '{RELEASE}/*')",
    "SELECT 1 FROM (SELECT count(*) AS files FROM released) WHERE files > 5000000",
)


@cache
def own_tables(form: int) -> dict[str, str]:
    """Return the tables of a manifest of this form, as `database_schema.check_database` takes them."""
    return schema_of((SCHEMA + SECOND if form > 1 else SCHEMA).split(";\n"))


def optional_tables() -> Iterator[dict[str, str]]:
    """Yield the groups of tables that a manifest may have beside its own, each whole or not at all.

    An index has a full-text search or not: the larger group comes first.
    """
    from lickwright.store import index_schema, lick_bitmaps

    own = index_schema.SCHEMA.split(";")
    yield _schema_of((*own, *index_schema.SEARCH_SCHEMA.split(";")))
    yield {"index sources_left_out of sources": index_schema.LEFT_OUT_SCHEMA}
    for group in (SOURCE_STATES, SNAPSHOT, lick_bitmaps.SCHEMA, RELEASED, SOUNDS):
        yield _schema_of(tuple(group.split(";\n")))
    yield _schema_of(tuple(own))


@cache
def _schema_of(statements: tuple[str, ...]) -> dict[str, str]:
    return schema_of(statements)
