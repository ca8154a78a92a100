"""Outputs of one source into one folder, by a command that is no build: with the same promises, lock and manifest.

In: an output folder, the folder in it, the source and its outputs. Out: what became of them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence

from lickwright.library import journal
from lickwright.library.lock import Lock
from lickwright.library.manifest import opened, seen_from, stored, whose
from lickwright.library.orders import Item, Order, Result
from lickwright.library.outputs import Output, Place, Placed
from lickwright.library.record import Recorder


def put(
    out: str, target: str, source: str, outputs: Sequence[Output], overwrite: bool, say: Callable[[str], None]
) -> Placed:
    """Puts `outputs` into `out`/`target`, `.` for `out` itself. Raises OSError if nothing can be written."""
    from lickwright.backends import Options

    os.makedirs(out, exist_ok=True)
    real = os.path.realpath(source)
    path = (
        source
        if source == "-"
        else stored(os.path.join(seen_from(os.path.realpath(out), os.path.dirname(real)), os.path.basename(real)))
    )
    with Lock(out, lambda: say(f"another build is at work in {out}: waiting for it")), opened(out, say) as manifest:
        if journal.left(out):
            journal.recover(out, manifest)
        known = tuple(manifest.known(target).values())
        item = Item(
            1, source, target, 0, known, tuple(manifest.claimed(target)), whose(out, manifest.owner(path, target))
        )
        place = Place(out, overwrite)
        try:
            placed = place.put(item, outputs)
        finally:
            place.journal.close()
        if placed.made:  # entered as not done: a build that means the same source does its own work
            result = Result(1, hash=b"-", outputs=placed.made)
            Recorder(manifest).enter([item], [result], [Order((), Options(), None, b"", False)], [path])
        manifest.keep()
        journal.clear(out)
    return placed
