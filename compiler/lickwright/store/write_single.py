"""Outputs of one source into one folder, by a command that is no build: with the same promises, lock and manifest.

In: an output folder, the folder in it, the source and its outputs. Out: what became of them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence

from lickwright.store.locked_output import hold_output
from lickwright.store.manifest import Manifest, seen_from, stored, whose
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.output_writer import Output, OutputWriter, Placed
from lickwright.store.types import CompileOptions, WorkItem, WorkResult


def write_outputs(
    out: str, target: str, source: str, outputs: Sequence[Output], overwrite: bool, say: Callable[[str], None]
) -> Placed:
    """Puts `outputs` into `out`/`target`, `.` for `out` itself. Raises OSError if nothing can be written."""
    from lickwright.export import Options

    def work(manifest: Manifest, place: OutputWriter) -> Placed:
        path = source if source == "-" else _stored(out, source)
        known = tuple(manifest.known(target).values())
        owner = whose(out, manifest.owner(path, target))
        item = WorkItem(1, source, target, 0, known, tuple(manifest.claimed(target)), taken=owner)
        placed = place.put(item, outputs)
        if placed.made:  # entered as not done: a build that means the same source does its own work
            result = WorkResult(1, hash=b"-", outputs=placed.made)
            ManifestWriter(manifest).enter([item], [result], [CompileOptions((), Options(), None, b"", False)], [path])
        return placed

    return hold_output(out, overwrite, say, work)


def _stored(out: str, source: str) -> str:
    """The path of a source as the manifest keeps it."""
    folder, name = os.path.split(os.path.realpath(source))
    return stored(os.path.join(seen_from(os.path.realpath(out), folder), name))
