"""Tells whether a source is still as a library has it on record.

In: an output folder, and a source as its manifest has it. Out: a word for what became of the source, "" if nothing did.
"""

from __future__ import annotations

from lickwright.core.digest import bytes_digest
from lickwright.core.file_bytes import read_file
from lickwright.core.unreadable import Unreadable
from lickwright.store.source_paths import path_from_here

GONE, CHANGED, UNREAD, UNFINISHED = "gone", "changed", "unreadable", "unfinished"
WORDS = {
    GONE: "of sources that are gone",
    CHANGED: "of sources that changed since",
    UNREAD: "of sources that cannot be read",
    UNFINISHED: "of sources that were not made whole",
}


def state_of(out: str, path: str, hash: object) -> str:
    """Return what became of the source at `path` since it was compiled with the hash `hash` (None: that work was not finished); "" for nothing."""
    if path == "-" or "://" in path:  # nobody keeps what was sent, and what is far away takes long to ask
        return ""
    whole = path_from_here(out, path)
    if whole is None:
        return GONE
    if not isinstance(hash, bytes):
        return UNFINISHED
    try:
        return "" if bytes_digest(read_file(whole)) == hash else CHANGED
    except Unreadable:
        return UNREAD
