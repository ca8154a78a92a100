"""Writes the results of a build into the manifest.

In: items and their results. Out: rows. A source is entered as done only after its outputs, so a build that is killed can leave outputs without their source
on record, never a source whose outputs are missing. The caller commits all of it together or rolls it back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright.store import recorded_sounds
from lickwright.store.guarded_database import stored_values
from lickwright.store.manifest import Manifest
from lickwright.store.manifest_schema import GONE, OLDER
from lickwright.store.ownership import plain_folder
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.store.features import IndexedFinding, LickFacts

_OUTPUT = "INSERT OR REPLACE INTO outputs VALUES (?, ?, ?, ?, 0, ?, ?, ?, ?, ?)"
_SOURCE = "INSERT OR REPLACE INTO sources VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"


def remaining_outputs(item: WorkItem, result: WorkResult) -> Iterator[tuple[str, int]]:
    """Yield what each output on record of the folder is now: its name, and its value of `gone`.

    In a source with errors a lick that is missing may only be unreadable.
    """
    made, slugs = {output.lick for output in result.outputs}, set(result.slugs)
    # A practice recording at another tempo has another name, and takes the place of the one before.
    now = {(output.lick, output.suffix): output.name for output in result.outputs}
    for row in item.known:
        if now.get((row.lick, row.suffix), row.name) != row.name:
            yield row.name, GONE
        elif result.done:
            yield row.name, 0 if row.lick in made else GONE if result.ok and row.lick not in slugs else OLDER


class ManifestWriter:
    """Enters the results of one build."""

    def __init__(self, manifest: Manifest) -> None:
        self._manifest = manifest
        self._db = manifest.db
        (self._last,) = self._db.execute("SELECT coalesce(max(id), 0) FROM sources").fetchone()
        self._some = self._last > 0 or self._db.execute("SELECT 1 FROM outputs LIMIT 1").fetchone() is not None
        self.entering = False  # in the middle of a record: what is entered must not be kept

    def enter(
        self,
        items: Sequence[WorkItem],
        results: Sequence[WorkResult],
        option_sets: Sequence[CompileOptions],
        paths: Sequence[str],
    ) -> None:
        """Enter one chunk. `paths` are the sources' as in the manifest. Raises what SQLite raises."""
        self.entering = True
        self._manifest.begin()
        facts: list[tuple[int, Sequence[LickFacts]]] = []
        loose: list[tuple[int, Sequence[IndexedFinding]]] = []
        stale: list[int] = []
        rows = []
        for item, result, path in zip(items, results, paths, strict=True):
            if not result.hash and not result.alone:
                continue  # it could not be read: its rows stay
            if not plain_folder(item.target):
                continue  # nothing was written there, and no manifest with it could be used
            self._outputs(item, result)
            rows.append(self._source(item, result, option_sets[item.option_set], path, stale))
            if option_sets[item.option_set].facts and result.hash:
                facts.append((rows[-1][0], result.facts))
                if result.loose:
                    loose.append((rows[-1][0], result.loose))
        if stale or facts:
            self._index(stale, facts, loose)
        self._db.executemany(_SOURCE, rows)
        self.entering = False

    def _index(
        self,
        stale: list[int],
        facts: list[tuple[int, Sequence[LickFacts]]],
        loose: list[tuple[int, Sequence[IndexedFinding]]],
    ) -> None:
        from lickwright.store import index_schema

        self._manifest.with_index()
        if stale:
            with stored_values():
                index_schema.remove_licks(self._db, stale)
        index_schema.add_licks_of_sources(self._db, facts)
        for id, findings in loose:
            index_schema.add_licks(self._db, id, (), findings)

    def _outputs(self, item: WorkItem, result: WorkResult) -> None:
        self._db.executemany(_OUTPUT, [(item.target, *made) for made in result.outputs])
        recorded_sounds.enter_sounds(self._manifest, result.sounds)
        if self._manifest.written is not None and result.written:
            self._manifest.written.note(item.target, [made.name for made in result.outputs])
        if item.claimed and result.done:
            self._db.execute("DELETE FROM claims WHERE folder = ?", (item.target,))
        self._db.executemany(
            "UPDATE outputs SET gone = ? WHERE folder = ? AND name = ?",
            [(gone, item.target, name) for name, gone in remaining_outputs(item, result)],
        )

        if result.named:
            self._db.execute("DELETE FROM names WHERE folder = ?", (item.target,))
            self._db.executemany(
                "INSERT INTO names VALUES (?, ?, ?, ?, ?, ?)", [(item.target, *row) for row in result.named]
            )

    def _source(
        self, item: WorkItem, result: WorkResult, compile_options: CompileOptions, path: str, stale: list[int]
    ) -> tuple[int, *tuple[object, ...]]:
        from json import dumps

        id = self._last + item.id
        formats, wanted = compile_options.formats, compile_options.key_of_source(item.before, result.custom_sounds)
        if self._some:
            for other, other_path, hash, key, before, indexed in self._db.execute(
                "SELECT id, path, hash, key, formats, indexed FROM sources WHERE path = ? OR target = ?",
                (path, item.target),
            ).fetchall():
                if indexed:
                    stale.append(other)
                if other_path == path:
                    id = other
                    if hash == result.hash and key == wanted:
                        formats = tuple(dict.fromkeys((*before.split(","), *compile_options.formats)))
        return (
            id,
            path,
            item.target,
            result.hash if result.done else None,
            wanted,
            ",".join(formats),
            result.made,
            dumps(result.refused) if result.refused else "",
            result.findings,
            int(compile_options.facts and bool(result.hash)),
            int(result.alone),
        )
