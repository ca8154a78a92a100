"""Finds and removes outputs that belong to no lick any more: of licks that were deleted or renamed, of sources that are gone, and older ones of
licks that could not be made again.

In: the manifest after a build. Out: how many there are, or which were removed. Only a file that we made, and that nobody has changed since,
is ever removed; folders go with their last file. One that cannot be read or removed stays on record, so that the next run tries again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from lickwright.store import recorded_sounds
from lickwright.store.guarded_database import stored_values
from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.manifest_schema import GONE, OLDER
from lickwright.store.output_writer import is_unchanged, not_removed_trouble
from lickwright.store.source_paths import SourceLookup
from lickwright.store.storage import Storage
from lickwright.store.types import PathDiagnostic

_GONE = """
SELECT o.folder, o.name, o.lick, o.format, o.hash, o.size, o.mtime, o.ctime, o.inode, coalesce(f.gone, o.gone) AS gone
FROM outputs o LEFT JOIN sources s ON s.target = o.folder LEFT JOIN temp.foreseen f ON f.folder = o.folder AND f.name = o.name
WHERE (coalesce(f.gone, o.gone) <> 0 OR f.gone IS NULL AND (s.id IS NULL OR s.id IN (SELECT id FROM temp.lost)))
"""

# Names of licks that are gone and have no output any more.
_FREE = """
DELETE FROM names WHERE (gone = 1 OR folder NOT IN (SELECT target FROM sources WHERE id NOT IN (SELECT id FROM temp.lost)))
AND NOT EXISTS (SELECT 1 FROM outputs o WHERE o.folder = names.folder AND o.lick = names.name)
"""


def find_lost(manifest: Manifest, out: str, whole: bool = True) -> None:
    """Fill the table `lost` with the sources on record that are gone; with none where `whole` is false.

    A source that is still there and only was not meant this time keeps its outputs.
    """
    db = manifest.db
    db.execute("DELETE FROM temp.lost")
    if not whole:
        return
    lookup = SourceLookup(out)
    others = db.execute(
        "SELECT id, path FROM sources WHERE path <> '-' AND path NOT IN (SELECT path FROM scan WHERE path IS NOT NULL)"
    )
    db.executemany("INSERT INTO temp.lost VALUES (?)", ((id,) for id, path in others if not lookup.exists(path)))


def foresee(manifest: Manifest, folder: str, outputs: Iterable[tuple[str, int]]) -> None:
    """Note what outputs on record of a folder would be after a real run: their names, with values of `gone`."""
    rows = [(folder, name, gone) for name, gone in outputs]
    manifest.db.executemany("INSERT OR REPLACE INTO temp.foreseen VALUES (?, ?, ?)", rows)


def count_prunable(manifest: Manifest, whole: bool = True) -> tuple[int, int]:
    """Return how many outputs have no lick any more, and how many are older ones of licks that could not be made."""
    rows = f"SELECT gone = {OLDER}, count(*) FROM ({_asked(whole)}) GROUP BY 1"
    found = dict(manifest.db.execute(rows).fetchall())
    return found.get(0, 0), found.get(1, 0)


def prunable_outputs(manifest: Manifest, whole: bool = True) -> Iterator[tuple[str, OutputRow, int]]:
    """Yield those outputs, with their folder and `GONE` or `OLDER`. `whole` is false: only those of the sources that are meant.

    They are read a few at a time, and may be deleted meanwhile.
    """
    some = f"{_asked(whole)} AND (o.folder, o.name) > (?, ?) ORDER BY o.folder, o.name LIMIT 256"
    last = ("", "")
    while rows := manifest.db.execute(some, last).fetchall():
        for row in rows:
            yield row[0], OutputRow._make(row[1:-1]), OLDER if row[-1] == OLDER else GONE
        last = rows[-1][:2]


def _asked(whole: bool) -> str:
    return _GONE if whole else f"{_GONE} AND o.folder IN (SELECT target FROM scan)"


class PruneResult(NamedTuple):
    """What became of the outputs without a lick: paths and findings."""

    removed: list[str]
    kept: list[str]  # since they were changed by hand
    troubles: list[PathDiagnostic]  # since they cannot be read or removed


def prune_outputs(manifest: Manifest, storage: Storage, whole: bool = True) -> PruneResult:
    """Remove the outputs without a lick, and return what became of them; `whole` as for `prunable_outputs`. Raises OSError."""
    pruned = PruneResult([], [], [])
    storage.refresh()
    manifest.begin()
    for folder, row, _ in prunable_outputs(manifest, whole):
        path = storage.shown(folder, row.name)
        try:
            ours = is_unchanged(storage, folder, row)
            if ours:
                storage.remove(folder, row.name)
                pruned.removed.append(path)
                storage.remove_empty(folder)
            elif ours is not None:
                pruned.kept.append(path)
        except OSError as e:
            pruned.troubles.append(not_removed_trouble(path, e))
            continue
        manifest.db.execute("DELETE FROM outputs WHERE folder = ? AND name = ?", (folder, row.name))
    manifest.db.execute(_FREE)
    ids = [
        id for (id,) in manifest.db.execute("SELECT id FROM sources WHERE indexed AND id IN (SELECT id FROM temp.lost)")
    ]
    if ids:
        from lickwright.store import index_schema

        with stored_values():
            index_schema.remove_licks(manifest.db, ids)
    manifest.db.execute("DELETE FROM sources WHERE id IN (SELECT id FROM temp.lost)")
    recorded_sounds.remove_unused_sounds(manifest)
    manifest.keep()
    return pruned
