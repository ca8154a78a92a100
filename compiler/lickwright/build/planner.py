"""Plans a build: finds every source, and the folder of its outputs.

In: paths, and the manifest of the output folder. Out: items to work on, in a fixed order. The sources stand in a temporary table of the
manifest's own connection, so a library of any size takes no more memory than a small one. Which need no work is `up_to_date.py`.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence

from lickwright.build.build_config import Share
from lickwright.build.option_sets import OptionSets
from lickwright.build.tracks import Tracks
from lickwright.core.slugs import slug
from lickwright.core.source_discovery import SUFFIX, FoundSource
from lickwright.store import diagnostics_json
from lickwright.store.manifest import Manifest
from lickwright.store.source_paths import folder_from_output, output_root, owner_in_words, slashed
from lickwright.store.sources import walk_paths_and_addresses
from lickwright.store.types import WorkItem

_TABLES = """
CREATE TEMP TABLE scan (
    id INTEGER PRIMARY KEY,        -- the order of the build
    shown BLOB NOT NULL,           -- the path as the user knows it, in the file system's bytes
    path TEXT UNIQUE,              -- as in `sources`; NULL where there is nothing to read
    target TEXT,                   -- the folder of its outputs
    plain TEXT,                    -- the folder as it is named without the extra `lickwright[names]`
    option_set INTEGER NOT NULL,   -- which of the build's compile options hold
    named INTEGER NOT NULL,        -- 1: a file that was named itself
    ours INTEGER NOT NULL,         -- 0: another shard's
    before INTEGER NOT NULL DEFAULT 0, -- licks that come before it in its album; 0 where there is none
    state TEXT NOT NULL,           -- '': to be done; built, unchanged, failed, skipped
    findings TEXT NOT NULL         -- for the report; of what cannot be read see `store/diagnostics_json.py`
);
CREATE TEMP TABLE same (           -- the sources that need no work
    id INTEGER PRIMARY KEY,
    told INTEGER NOT NULL,         -- 1: it has findings or refused licks on record, to be shown again
    size, mtime, ctime, inode,     -- of its file, before it was compared; of one that has no such states 0
    folder_mtime, folder_ctime, folder_inode -- of its folder of outputs, before these were compared; 0 where it has none
);
CREATE TEMP TABLE seen (           -- unchanged sources that had to be read, with the new states of their files
    id INTEGER PRIMARY KEY, size, mtime, ctime, inode
);
CREATE TEMP TABLE moved (          -- outputs with the bytes on record whose state is another one now
    size, mtime, ctime, inode, folder, name
);
CREATE TEMP TABLE lost (           -- sources on record that are there no more: see `prune.py`
    id INTEGER PRIMARY KEY
);
CREATE TEMP TABLE foreseen (       -- what a dry run foresees of outputs on record; empty in a real run
    folder TEXT, name TEXT,
    gone INTEGER NOT NULL,         -- as it would be in `outputs`
    PRIMARY KEY (folder, name)
) WITHOUT ROWID
"""


# A part of a library that was built before goes where it went then: a file or a folder below the one that was named.
_KEPT = """
UPDATE scan SET target = (SELECT s.target FROM sources s WHERE s.path = scan.path)
WHERE (SELECT count(*) FROM scan) < (SELECT count(*) FROM sources) AND EXISTS (
    SELECT 1 FROM sources s WHERE s.path = scan.path
    AND (s.target LIKE '%/' || scan.target OR named AND s.target LIKE '%' || scan.target)
)
"""


def create_scan(manifest: Manifest) -> None:
    """Create the temporary tables of a build, empty."""
    for statement in _TABLES.split(";\n"):
        manifest.db.execute(statement)


def scan_sources(
    manifest: Manifest,
    out: str,
    paths: Sequence[str],
    option_sets: OptionSets,
    share: Share,
    suffixes: tuple[str, ...] = (SUFFIX,),
) -> None:
    """Fill the table `scan` with the files of these suffixes. Raises `NoAddress`."""
    db = manifest.db
    create_scan(manifest)
    real = output_root(out)
    inside = _Folders(real, option_sets)
    rows = (inside.row(found, share) for found in walk_paths_and_addresses(paths, real, suffixes))
    db.execute("BEGIN")
    db.executemany(
        "INSERT OR IGNORE INTO scan (shown, path, target, plain, option_set, named, ours, before, state, findings) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        rows,
    )
    db.execute(_KEPT)
    _part(manifest)
    _keep_indexed(manifest, option_sets)
    db.execute("COMMIT")


def has_folder(manifest: Manifest) -> bool:
    """Return True if a folder is among what the scan was made of, and not only files that were named themselves."""
    return manifest.db.execute("SELECT 1 FROM scan WHERE named = 0 LIMIT 1").fetchone() is not None


def note_unread(manifest: Manifest, unread: Iterable[int]) -> None:
    """Fill the table `unread` with sources, by their numbers in the scan, that could not be read and are known from before only."""
    manifest.db.execute("CREATE TEMP TABLE IF NOT EXISTS unread (id INTEGER PRIMARY KEY)")
    manifest.db.executemany("INSERT OR IGNORE INTO temp.unread VALUES (?)", [(id,) for id in unread])


class _Folders:
    """Makes rows of the scan; what holds for a whole folder is worked out once."""

    def __init__(self, real: str, option_sets: OptionSets) -> None:
        self._real = real
        self._option_sets = option_sets
        self._tracks = Tracks(real)
        self._last = ""  # the real folder that the next two are about
        self._seen_from_out = ""
        self._option_set = 0
        self._blocked = False
        self._below = ""
        self._above = self._plain = ""  # the folder of outputs for `_below`, and without transliteration

    def row(self, found: FoundSource, share: Share) -> tuple[object, ...]:
        """Return the row of one source, without its number. Raises what `options_of` raises."""
        shown = os.fsencode(found.path)
        if found.trouble is not None:
            return shown, None, None, None, 0, 0, 1, 0, "failed", diagnostics_json.diagnostics_to_json([found.trouble])
        separator = "/" if "://" in found.real else os.sep
        folder, slash, name = found.real.rpartition(separator)
        if folder + slash != self._last or found.path == "-":
            self._enter_folder(folder + slash, found.path)
        if found.below != self._below:
            self._enter_below(found.below)
        ours = share.holds(f"{found.below}/{name}" if found.below else name)
        state = "skipped" if not ours else "failed" if self._blocked else ""
        target, plain = self._targets(_title(found.path, separator))
        path, before = self._path(found.path, name), self._licks_before(found.real)
        return shown, path, target, plain, self._option_set, found.named, ours, before, state, ""

    def _targets(self, title: str) -> tuple[str, str]:
        """Return the folder of a source's outputs, and the same without transliteration."""
        target = self._above + slug(title)
        if title.isascii() and self._above == self._plain:
            return target, target
        return target, self._plain + slug(title, readable=False)

    def _path(self, shown: str, name: str) -> str:
        """Return the path of a source, as seen from the output folder."""
        return "-" if shown == "-" else self._seen_from_out + (name if name.isascii() else slashed(name))

    def _licks_before(self, real: str) -> int:
        """Return how many licks come before those of a source in its album; 0 where there is none."""
        compile_options = self._option_sets.all[self._option_set]
        return self._tracks.before(compile_options.project, real) if compile_options.numbered else 0

    def _enter_folder(self, folder: str, path: str) -> None:
        self._last = folder
        self._seen_from_out = os.path.join(folder_from_output(self._real, folder), "") if folder else ""
        self._option_set = self._option_sets.of(path)
        self._blocked = self._option_sets.all[self._option_set].blocked

    def _enter_below(self, below: str) -> None:
        self._below = below
        parts = below.split("/") if below else []
        self._above = "".join(slug(part) + "/" for part in parts)
        self._plain = "".join(slug(part, readable=False) + "/" for part in parts)


def _title(path: str, separator: str) -> str:
    """Return the name of a source without its suffix, as the user sees it: a link has a name of its own."""
    if path == "-":
        return "stdin"
    name = path.rpartition(separator)[2]
    return name[: -len(SUFFIX)] if name.endswith(SUFFIX) else os.path.splitext(name)[0]


def _part(manifest: Manifest) -> None:
    """Give sources that would share a folder of outputs one each: named with the folder they lie in, then numbered.

    One that has such a folder on record keeps it, whatever sources come and go beside it.
    """
    db = manifest.db
    recorded = (
        "SELECT scan.id, shown, scan.target, plain, s.target FROM scan JOIN sources s ON s.path = scan.path "
        "WHERE s.target <> scan.target"
    )
    for id, shown, wanted, plain, before in db.execute(recorded).fetchall():
        if _numbered(before, (*_wanted(shown, wanted), *_wanted(shown, plain))):
            db.execute("UPDATE scan SET target = ? WHERE id = ?", (before, id))
    shared = db.execute(
        "SELECT target FROM scan WHERE target IS NOT NULL GROUP BY target HAVING count(*) > 1"
    ).fetchall()
    theirs = (
        "SELECT id, shown FROM scan WHERE target = ? AND NOT EXISTS "
        "(SELECT 1 FROM sources s WHERE s.path = scan.path AND s.target = scan.target) ORDER BY id"
    )
    for (target,) in shared:
        for id, shown in db.execute(theirs, (target,)).fetchall():
            wanted, number = _wanted(shown, target)[1], 1
            chosen = wanted
            while db.execute("SELECT 1 FROM scan WHERE target = ? LIMIT 1", (chosen,)).fetchone():
                number += 1
                chosen = f"{wanted}-{number}"
            db.execute("UPDATE scan SET target = ? WHERE id = ?", (chosen, id))


def _keep_indexed(manifest: Manifest, option_sets: OptionSets) -> None:
    """Let sources whose licks are in the index stay there, though what is made now would not need it."""
    theirs = "option_set = ? AND EXISTS (SELECT 1 FROM sources s WHERE s.path = scan.path AND s.indexed)"
    for number, compile_options in enumerate(tuple(option_sets.all)):
        if compile_options.facts:
            continue
        if manifest.db.execute(f"SELECT 1 FROM scan WHERE {theirs} LIMIT 1", (number,)).fetchone() is not None:
            kept = option_sets.indexed(number)
            manifest.db.execute(f"UPDATE scan SET option_set = ? WHERE {theirs}", (kept, number))


def _wanted(shown: bytes, target: str) -> tuple[str, str]:
    """Return the folders of outputs that a source would have: alone, and where another would have the same."""
    above, _, stem = target.rpartition("/")
    folder = os.path.basename(os.path.dirname(os.path.abspath(os.fsdecode(shown))))
    name = slug(f"{folder} {stem}")
    return target, f"{above}/{name}" if above else name


def _numbered(target: str, wanted: tuple[str, ...]) -> bool:
    """Return True if `target` is one of these folders, or one of them with a number after it."""
    bare, _, number = target.rpartition("-")
    return target in wanted or (number.isascii() and number.isdigit() and bare in wanted)


_TODO = "SELECT id, shown, path, target, option_set, before FROM scan WHERE id > ? AND state = '' ORDER BY id LIMIT 256"


def work_items(manifest: Manifest, out: str) -> Iterator[WorkItem]:
    """Yield the sources that need work, in the order of the scan."""
    db = manifest.db
    claims = db.execute("SELECT 1 FROM claims LIMIT 1").fetchone() is not None
    some = db.execute("SELECT 1 FROM outputs LIMIT 1").fetchone() is not None
    names = db.execute("SELECT 1 FROM names LIMIT 1").fetchone() is not None
    last = 0
    while rows := db.execute(_TODO, (last,)).fetchall():
        for id, shown, path, target, option_set, before in rows:
            known = tuple(manifest.known(target).values()) if some else ()
            claimed = tuple(manifest.claimed(target)) if claims else ()
            named = manifest.names(target) if names else ()
            owner = _taken(manifest, out, path, target) if some else ""
            yield WorkItem(id, os.fsdecode(shown), target, option_set, known, claimed, named, owner, before=before)
        last = rows[-1][0]


def _taken(manifest: Manifest, out: str, path: str, target: str) -> str:
    """Return whose the folder is; "" for nobody's, or if the other source gets a folder of another name in this build."""
    owner = manifest.owner(path, target)
    moved = "SELECT 1 FROM scan WHERE path = ? AND target <> ?"
    if owner is None or manifest.db.execute(moved, (owner, target)).fetchone():
        return ""
    return owner_in_words(out, owner, path)
