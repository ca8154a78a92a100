"""What a build that died has written, taken onto the record.

In: an output folder with journals that were left. Out: rows of the manifest. A file whose hash was noted before it was written is ours, also
when its lick is gone by the time of the next build: without a row `--prune` would take it for changed by hand.
"""

from __future__ import annotations

import os

from lickwright.store import journal
from lickwright.store.manifest import RELEASE, Made, Manifest
from lickwright.store.output_writer import recorded_file
from lickwright.store.ownership import Inside

_CLAIMS = "SELECT folder, name, hash FROM claims ORDER BY folder, name"
_KNOWN = "SELECT hash FROM outputs WHERE folder = ? AND name = ?"
_TAKEN = "UPDATE outputs SET hash = ?, size = ?, mtime = ?, ctime = ?, inode = ? WHERE folder = ? AND name = ?"
_FOUND = "INSERT INTO outputs VALUES (?, ?, ?, '', 1, ?, ?, ?, ?, ?)"


def recover_build(out: str, manifest: Manifest) -> None:
    """Takes over what runs that died have noted and written. Nobody else may be at work in `out`."""
    journal.recover_journals(out, manifest)
    manifest.begin()
    inside, db = Inside(out), manifest.db
    for folder, name, hash in db.execute(_CLAIMS).fetchall():
        known = db.execute(_KNOWN, (folder, name)).fetchone()
        if folder.partition("/")[0] == RELEASE or (known is not None and known[0] == hash):
            continue
        now = _written(inside, folder, name, hash)
        if now is None:
            continue
        status = (hash, now.size, now.mtime, now.ctime, now.inode)
        if known is None:
            db.execute(_FOUND, (folder, name, name.partition(".")[0], *status))  # no lick's slug has a dot
        else:
            db.execute(_TAKEN, (*status, folder, name))
        db.execute(
            "UPDATE sources SET hash = NULL WHERE target = ?", (folder,)
        )  # what stands there is not what its row says
    manifest.keep()


def _written(inside: Inside, folder: str, name: str, hash: bytes) -> Made | None:
    """The file there, if it is the one that was noted."""
    try:
        path = inside.file(folder, name)
        size = os.lstat(path).st_size
        now = recorded_file(path, Made(name, "", "", hash, size, 0, 0, 0))
    except OSError:  # it was never written, or cannot be known to be ours
        return None
    return now if now is not None and now.hash == hash else None
