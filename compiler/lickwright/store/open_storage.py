"""Chooses the storage of an output folder by its name."""

from __future__ import annotations

from lickwright.store.addresses import is_remote
from lickwright.store.local_storage import LocalStorage
from lickwright.store.storage import Storage


def open_storage(out: str) -> Storage:
    """Return the storage of an output folder: a path on this machine, or an address. Raises `NoAddress` for an address that cannot be used."""
    if not is_remote(out):
        return LocalStorage(out)
    from lickwright.store.remote_storage import RemoteStorage

    return RemoteStorage(out)
