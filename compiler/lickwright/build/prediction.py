"""What a build would do, put together from a dry run of it.

In: items and the results of rehearsing them. Out: calls of a `BuildObserver`'s `would`, and an account like that of the real run.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from lickwright.build import prune
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.store import build_speed
from lickwright.store.manifest import OLDER, Made, Manifest
from lickwright.store.manifest_writer import remaining_outputs
from lickwright.store.output_writer import is_unchanged, not_removed, unwritable
from lickwright.store.storage import Storage
from lickwright.store.types import WorkItem, WorkResult


class Prediction:
    """Collects what is foreseen of one build."""

    def __init__(self, manifest: Manifest, storage: Storage, whole: bool, verb: str = "make") -> None:
        self._manifest = manifest
        self._storage = storage
        self._whole = whole  # a folder was named: what is gone from it counts
        self._verb = verb  # what is done to a source
        self._makes: list[tuple[int, str, int]] = []  # sources by number: path, and how many files
        self._rows: dict[
            tuple[str, str], tuple[int, Made]
        ] = {}  # what each output on record would be, by folder and name

    def enter(self, items: Sequence[WorkItem], results: Sequence[WorkResult]) -> None:
        """One chunk of sources."""
        for item, result in zip(items, results, strict=True):
            if result.written:
                self._makes.append((item.id, item.path, result.written))
            if result.hash or result.alone:
                rows = {row.name: row for row in item.known}
                self._rows.update(
                    ((item.target, name), (gone, rows[name])) for name, gone in remaining_outputs(item, result)
                )

    def tell(self, teller: BuildObserver, account: BuildSummary, pruning: bool) -> None:
        """Says what would be made and removed, and what there would be no room for."""
        for _, path, files in sorted(self._makes):
            teller.would(f"{self._verb} {path}: {files:,} {'file' if files == 1 else 'files'}")
        if not pruning:
            states = [gone for _, _, gone in self._left()]
            account.older = states.count(OLDER)
            account.gone = len(states) - account.older
            return
        self._storage.refresh()
        kept, troubles = [], []
        for folder, row, _ in self._left():
            path = self._storage.shown(folder, row.name)
            try:
                ours = is_unchanged(self._storage, folder, row)
            except OSError as e:
                troubles.append(not_removed(path, e))
                continue
            if ours:
                teller.would(f"remove {path}")
            elif ours is not None:
                kept.append(path)
        account.pruned([], kept, troubles)

    def _left(self) -> Iterator[tuple[str, Made, int]]:
        """The outputs that no lick would answer for any more, with their folders."""
        found: dict[tuple[str, str], tuple[Made, int]] = {}
        for folder, row, gone in prune.gone(self._manifest, self._whole):
            found[folder, row.name] = row, gone
        for place, (gone, row) in self._rows.items():
            if gone:
                found[place] = row, gone
            else:
                found.pop(place, None)
        for (folder, _), (row, gone) in sorted(found.items(), key=lambda one: one[0]):
            yield folder, row, gone

    def estimate(self, account: BuildSummary, sources: int, rehearsed: float) -> None:
        """Says how long it would take, and whether there is room; `rehearsed`: seconds that the rehearsal of so many sources took."""
        account.estimate = build_speed.estimate(self._manifest.db, sources, account.sound, rehearsed)
        free = self._storage.free_bytes()
        if free is not None and account.size > free:
            account.broke(unwritable(self._storage.out, OSError(28, os.strerror(28)), self._storage.noun))
