"""Holds an output folder for a command that is no build: for a merge, or for the outputs of a single command.

In: the storage of the folder. Out: its manifest and a writer for outputs, with the lock held where the storage has one and what killed builds wrote entered;
in the end all that was entered is committed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from lickwright.store.guarded_database import Unusable, is_damage
from lickwright.store.manifest import Manifest
from lickwright.store.output_writer import OutputWriter
from lickwright.store.storage import Say, Storage

Worth = TypeVar("Worth")


def hold_output(storage: Storage, overwrite: bool, say: Say, work: Callable[[Manifest, OutputWriter], Worth]) -> Worth:
    """Hold the output folder, which is made if need be, while `work` is done; return what it returns.

    A manifest that cannot be used is set aside, and the work is done once more: doing it twice does no harm. Raises OSError if nothing
    can be written.
    """
    with storage.hold(say):
        try:
            with _held(storage, overwrite) as (manifest, writer):
                return work(manifest, writer)
        except (Unusable, sqlite3.DatabaseError, UnicodeError) as e:
            if not is_damage(e):
                raise
            storage.set_aside(e, say)
        with _held(storage, overwrite) as (manifest, writer):
            return work(manifest, writer)


@contextmanager
def _held(storage: Storage, overwrite: bool) -> Iterator[tuple[Manifest, OutputWriter]]:
    with storage.manifest(write=True, sync=True) as manifest:
        storage.recover(manifest)
        writer = OutputWriter(storage, overwrite)
        try:
            yield manifest, writer
        finally:
            writer.close()
        manifest.keep()
        storage.clear_journal()
