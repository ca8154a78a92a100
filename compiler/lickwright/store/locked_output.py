"""An output folder held by one who is no build: for a merge, or for the outputs of a single command.

In: the folder. Out: its manifest and the place to put outputs, with the lock held and what a run that died left taken over; in the end all that was
entered is kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from lickwright.core.files import make_folder
from lickwright.store import journal
from lickwright.store.lock import Lock
from lickwright.store.manifest import Manifest, Unusable, damaged, open_manifest, set_aside
from lickwright.store.output_writer import OutputWriter
from lickwright.store.recovery import recover_build

Worth = TypeVar("Worth")


def hold_output(
    out: str, overwrite: bool, say: Callable[[str], None], work: Callable[[Manifest, OutputWriter], Worth]
) -> Worth:
    """Holds `out`, which is made if need be, while `work` is done; gives what it gives.

    A manifest whose damage shows only then is set aside, and the work is done once more: doing it twice does no harm. Raises OSError if nothing
    can be written.
    """
    try:
        with held(out, overwrite, say) as (manifest, place):
            return work(manifest, place)
    except (Unusable, sqlite3.DatabaseError, UnicodeError) as e:
        if not damaged(e):
            raise
        set_aside(out, e, say)
    with held(out, overwrite, say) as (manifest, place):
        return work(manifest, place)


@contextmanager
def held(out: str, overwrite: bool, say: Callable[[str], None]) -> Iterator[tuple[Manifest, OutputWriter]]:
    """Holds `out`, which is made if need be. Raises OSError if nothing can be written; what the manifest raises comes out as it is."""
    make_folder(out)
    with Lock(out, say), open_manifest(out, say, sync=True) as manifest:
        if journal.has_unfinished_journal(out):
            recover_build(out, manifest)
        place = OutputWriter(out, overwrite)
        try:
            yield manifest, place
        finally:
            place.journal.close()
        manifest.keep()
        journal.clear(out)
