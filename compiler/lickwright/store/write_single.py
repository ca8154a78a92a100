"""Writes outputs of one source into one folder, for a command that is no build: with the same promises, lock and manifest.

In: an output folder on this machine, the folder in it, the source and its outputs. Out: what became of them.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.store.local_storage import LocalStorage
from lickwright.store.locked_output import hold_output
from lickwright.store.manifest import Manifest
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.output_writer import Output, OutputWriter, WrittenOutputs
from lickwright.store.source_paths import owner_in_words, source_from_output
from lickwright.store.storage import Say
from lickwright.store.types import CompileOptions, WorkItem, WorkResult


def write_outputs(
    out: str, target: str, source: str, outputs: Sequence[Output], overwrite: bool, say: Say
) -> WrittenOutputs:
    """Write `outputs` into `out`/`target` (`.` for `out` itself), and return what became of them. Raises OSError if nothing can be written."""
    from lickwright.export import Options

    def work(manifest: Manifest, writer: OutputWriter) -> WrittenOutputs:
        path = source_from_output(out, source)
        known = tuple(manifest.known(target).values())
        owner = owner_in_words(out, manifest.owner(path, target), path)
        item = WorkItem(1, source, target, 0, known, tuple(manifest.claimed(target)), taken=owner)
        placed = writer.put(item, outputs)
        if placed.made:  # entered as not done: a build that means the same source does its own work
            result = WorkResult(1, hash=b"-", outputs=placed.made)
            ManifestWriter(manifest).enter([item], [result], [CompileOptions((), Options(), None, b"", False)], [path])
        return placed

    return hold_output(LocalStorage(out), overwrite, say, work)
