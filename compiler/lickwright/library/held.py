"""An output folder held by one who is no build: for a merge, or for the outputs of a single command.

In: the folder. Out: its manifest and the place to put outputs, with the lock held and what a run that died left taken over; in the end all that was
entered is kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from lickwright.library import journal
from lickwright.library.lock import Lock
from lickwright.library.manifest import Manifest, opened
from lickwright.library.outputs import Place


@contextmanager
def held(out: str, overwrite: bool, say: Callable[[str], None]) -> Iterator[tuple[Manifest, Place]]:
    """Holds `out`, which is made if need be. Raises OSError if nothing can be written."""
    os.makedirs(out, exist_ok=True)
    with Lock(out, say), opened(out, say) as manifest:
        if journal.left(out):
            journal.recover(out, manifest)
        place = Place(out, overwrite)
        try:
            yield manifest, place
        finally:
            place.journal.close()
        manifest.keep()
        journal.clear(out)
