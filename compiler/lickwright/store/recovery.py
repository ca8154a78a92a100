"""Enters what killed builds have written into the manifest.

In: an output folder, and the claims that its journals have left in the manifest. Out: rows of `outputs`. A file whose hash was noted before it was written
is ours, also when its lick is gone by the time of the next build: without a row `--prune` would take it for changed by hand.
"""

from __future__ import annotations

from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.manifest_schema import RELEASE
from lickwright.store.output_writer import recorded_output
from lickwright.store.storage import Storage

_CLAIMS = "SELECT folder, name, hash FROM claims ORDER BY folder, name"
_KNOWN = "SELECT hash FROM outputs WHERE folder = ? AND name = ?"
_TAKEN = "UPDATE outputs SET hash = ?, size = ?, mtime = ?, ctime = ?, inode = ? WHERE folder = ? AND name = ?"
_FOUND = "INSERT INTO outputs VALUES (?, ?, ?, '', 1, ?, ?, ?, ?, ?)"


def enter_claims(storage: Storage, manifest: Manifest) -> None:
    """Enter every claimed file that stands there with the bytes that were noted. Raises OSError where the manifest cannot be written."""
    manifest.begin()
    db = manifest.db
    for folder, name, hash in db.execute(_CLAIMS).fetchall():
        known = db.execute(_KNOWN, (folder, name)).fetchone()
        if folder.partition("/")[0] == RELEASE or (known is not None and known[0] == hash):
            continue
        now = claimed_file(storage, folder, name, hash)
        if now is None:
            continue
        status = (hash, now.size, now.mtime, now.ctime, now.inode)
        if known is None:
            db.execute(_FOUND, (folder, name, name.partition(".")[0], *status))  # no lick's slug has a dot
        else:
            db.execute(_TAKEN, (*status, folder, name))
        # What stands there is not what the row of its source says.
        db.execute("UPDATE sources SET hash = NULL WHERE target = ?", (folder,))
    manifest.keep()


def claimed_file(storage: Storage, folder: str, name: str, hash: bytes) -> OutputRow | None:
    """Return the file of this name if it has the hash that was noted, else None."""
    try:
        state = storage.state(folder, name)
        now = recorded_output(storage, folder, OutputRow(name, "", "", hash, state.size, 0, 0, 0)) if state else None
    except OSError:  # it was never written, or cannot be known to be ours
        return None
    return now if now is not None and now.hash == hash else None
