"""Predicts what a build would do, from a dry run of it.

In: items and the results of rehearsing them. Out: calls of a `BuildObserver`'s `would`, and a summary like that of the real run. What is collected lies in
temporary tables, so a library of any size takes no more memory than a small one.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from lickwright.build import prune
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.store import build_speed
from lickwright.store.manifest import Manifest
from lickwright.store.manifest_writer import remaining_outputs
from lickwright.store.output_writer import is_unchanged, not_removed_trouble, unwritable_trouble
from lickwright.store.storage import Storage
from lickwright.store.types import PathDiagnostic, WorkItem, WorkResult

_MAKES = "CREATE TEMP TABLE makes (id INTEGER PRIMARY KEY, path BLOB NOT NULL, files INTEGER NOT NULL)"


class Prediction:
    """Collects the predicted results of one build. Needs the tables of `planner.create_scan`."""

    def __init__(self, manifest: Manifest, storage: Storage, whole: bool, verb: str = "make") -> None:
        """`whole`: a folder was named, so what is gone from it counts; `verb`: what is done to a source."""
        self._manifest = manifest
        self._storage = storage
        self._whole = whole
        self._verb = verb
        manifest.db.execute(_MAKES)

    def enter(self, items: Sequence[WorkItem], results: Sequence[WorkResult]) -> None:
        """Note one chunk of sources."""
        for item, result in zip(items, results, strict=True):
            if result.written:
                row = (item.id, os.fsencode(item.path), result.written)
                self._manifest.db.execute("INSERT INTO temp.makes VALUES (?, ?, ?)", row)
            if result.hash or result.alone:
                prune.foresee(self._manifest, item.target, remaining_outputs(item, result))

    def tell(self, observer: BuildObserver, summary: BuildSummary, pruning: bool) -> None:
        """Tell what would be made and removed, and what there would be no room for."""
        for path, files in self._manifest.db.execute("SELECT path, files FROM temp.makes ORDER BY id"):
            noun = "file" if files == 1 else "files"
            observer.would(f"{self._verb} {os.fsdecode(path)}: {files:,} {noun}")
        if not pruning:
            summary.gone, summary.older = prune.count_prunable(self._manifest, self._whole)
            return
        self._storage.refresh()
        kept: list[str] = []
        troubles: list[PathDiagnostic] = []
        for folder, row, _ in prune.prunable_outputs(self._manifest, self._whole):
            path = self._storage.shown(folder, row.name)
            try:
                ours = is_unchanged(self._storage, folder, row)
            except OSError as e:
                troubles.append(not_removed_trouble(path, e))
                continue
            if ours:
                observer.would(f"remove {path}")
            elif ours is not None:
                kept.append(path)
        summary.pruned([], kept, troubles)

    def estimate(self, summary: BuildSummary, sources: int, rehearsed: float) -> None:
        """Estimate how long it would take, and report if there is no room; `rehearsed`: seconds that the rehearsal of so many sources took."""
        summary.estimate = build_speed.estimate_build(self._manifest.db, sources, summary.sound, rehearsed)
        free = self._storage.free_bytes()
        if free is not None and summary.size > free:
            summary.fail_build(unwritable_trouble(self._storage.out, OSError(28, os.strerror(28)), self._storage.noun))
