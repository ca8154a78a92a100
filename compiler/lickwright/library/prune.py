"""Outputs of licks that are no more: deleted, renamed, or of a source that went away.

In: the manifest after a build. Out: how many there are, or which were taken away. Only a file that we made, and that nobody has changed since,
is ever taken away; folders go with their last file. One that cannot be read or removed stays on record, so that the next run tries again.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import NamedTuple

from lickwright.library.guarded import understood
from lickwright.library.manifest import Made, Manifest, there
from lickwright.library.ours import Inside
from lickwright.library.outputs import Trouble, not_removed, recorded

_GONE = """
SELECT o.folder, o.name, o.lick, o.format, o.hash, o.size, o.mtime, o.ctime, o.inode FROM outputs o
LEFT JOIN sources s ON s.target = o.folder
WHERE o.gone = 1 OR s.id IS NULL OR s.id IN (SELECT id FROM temp.lost) ORDER BY o.folder, o.name
"""


def find_lost(manifest: Manifest, out: str) -> None:
    """Notes the sources on record that are there no more.

    A source that is still there and only was not meant this time keeps its outputs.
    """
    db = manifest.db
    db.execute("CREATE TEMP TABLE IF NOT EXISTS lost (id INTEGER PRIMARY KEY)")
    db.execute("DELETE FROM temp.lost")
    others = db.execute(
        "SELECT id, path FROM sources WHERE path <> '-' AND path NOT IN (SELECT path FROM scan WHERE path IS NOT NULL)"
    )
    db.executemany(
        "INSERT INTO temp.lost VALUES (?)",
        [(id,) for id, path in others if not there(out, path)],
    )


def count(manifest: Manifest) -> int:
    """How many outputs have no lick any more."""
    (number,) = manifest.db.execute(f"SELECT count(*) FROM ({_GONE})").fetchone()
    return int(number)


def gone(manifest: Manifest) -> Iterator[tuple[str, Made]]:
    """Those outputs, with their folder."""
    for row in manifest.db.execute(_GONE).fetchall():
        yield row[0], Made._make(row[1:])


class Pruned(NamedTuple):
    """What became of them."""

    removed: list[str]
    kept: list[str]  # since they were changed by hand
    troubles: list[Trouble]  # since they cannot be read or removed


def prune(manifest: Manifest, out: str) -> Pruned:
    """Takes them away."""
    pruned = Pruned([], [], [])
    inside = Inside(out)
    manifest.begin()
    for folder, row in gone(manifest):
        path = os.path.join(out, folder, row.name)
        try:
            now = recorded(inside.file(folder, row.name), row)
            if now is not None and now.hash == row.hash:
                os.unlink(path)
                pruned.removed.append(path)
                _empty(out, folder)
            elif now is not None:
                pruned.kept.append(path)
        except OSError as e:
            pruned.troubles.append(not_removed(path, e))
            continue
        manifest.db.execute("DELETE FROM outputs WHERE folder = ? AND name = ?", (folder, row.name))
    ids = [
        id for (id,) in manifest.db.execute("SELECT id FROM sources WHERE indexed AND id IN (SELECT id FROM temp.lost)")
    ]
    if ids:
        from lickwright.library import index

        with understood():
            index.remove(manifest.db, ids)
    manifest.db.execute("DELETE FROM sources WHERE id IN (SELECT id FROM temp.lost)")
    manifest.keep()
    return pruned


def _empty(out: str, folder: str) -> None:
    """Takes the folder away if nothing is left in it, and those above it."""
    while folder and folder != ".":
        try:
            os.rmdir(os.path.join(out, folder))
        except OSError:
            return
        folder = os.path.dirname(folder)
