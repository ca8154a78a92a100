"""Brings the output folders of several shares together in one, with one manifest.

In: output folders, each with its manifest. Out: their outputs in one folder, as a single build would have left them, so that a build of the whole
library into it finds nothing to do; and a `BuildSummary` that says what a single build would have said. Only files that are as they were made are
taken over; the folders of the shares are only read.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from lickwright.build import planner, prune
from lickwright.build.prediction import Prediction
from lickwright.build.share_contents import ShareSource, paths_of_source, read_outputs, source_rows, text_of_source
from lickwright.build.shares import BrokenShare, ShareFolder, open_share, share_damage
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.files import UNREADABLE
from lickwright.core.source import Span
from lickwright.export import Options
from lickwright.store import diagnostics_json
from lickwright.store.addresses import is_remote
from lickwright.store.build_record import save_build_record
from lickwright.store.dry_output import Rehearsal
from lickwright.store.locked_output import hold_output
from lickwright.store.manifest import Manifest
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.open_storage import open_storage
from lickwright.store.output_keys import KEY
from lickwright.store.output_writer import Output, OutputWriter, WrittenOutputs
from lickwright.store.source_paths import STDIN, names_from_output, owner_in_words
from lickwright.store.storage import Storage
from lickwright.store.types import CompileOptions, PathDiagnostic, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.config.name_pattern import Arrangement

_ENTRY = (
    "INSERT OR REPLACE INTO scan (id, shown, path, target, option_set, named, ours, before, state, findings) "
    "VALUES (?, ?, ?, ?, ?, 0, 1, 0, ?, ?)"
)
_BATCH = 64  # sources between two commits


class MergeConfig(NamedTuple):
    """What one merge is to do."""

    parts: Sequence[ShareFolder]  # all shares of one build
    out: str
    overwrite: bool = False
    prune: bool = False
    dry: bool = False  # only say what would be done
    report: Callable[[Iterator[bytes]], None] | None = None  # takes the parts of the machine report
    release: Arrangement | None = None  # of the copies that are kept in the output folder; None: none are wanted
    title: str = ""  # of the library, for the index of its lesson pages


def merge_shards(config: MergeConfig, observer: BuildObserver) -> BuildSummary:
    """Merge, and return the summary. Raises OSError if nothing can be written, `NoAddress` for an address that cannot be used."""
    storage = open_storage(config.out)

    def work(manifest: Manifest, writer: OutputWriter) -> BuildSummary:
        summary = BuildSummary(observer)
        _Merging(config, observer, manifest, writer, summary).run()
        return summary

    if not config.dry:
        return hold_output(storage, config.overwrite, observer.say, work)
    storage.check_writable("")
    with storage.manifest(write=False) as manifest:
        return work(manifest, Rehearsal(storage, config.overwrite))


class _Merging:
    """One merge, with the output folder held."""

    def __init__(
        self,
        config: MergeConfig,
        observer: BuildObserver,
        manifest: Manifest,
        writer: OutputWriter,
        summary: BuildSummary,
    ) -> None:
        self._config = config
        self._observer = observer
        self._manifest = manifest
        self._writer = writer
        self._storage = writer.storage
        self._summary = summary
        self._foreseen = Prediction(manifest, self._storage, True, "take over") if config.dry else None
        self._recorder = ManifestWriter(manifest)
        self._number = 0  # of the last source, from 1
        self._unread: list[str] = []
        self._from: dict[str, str] = {}  # where each source was taken from, by its path in our manifest
        self._doubled: list[PathDiagnostic] = []  # sources that are in a second share
        # What the shares were made with: how outputs of a lick end, by the key of the options.
        asked = {one.key: frozenset(one.suffixes) for part in config.parts for one in part.record.asked}
        self._numbers = {key: number for number, key in enumerate(asked)}
        self._suffixes = [*asked.values(), frozenset[str]()]  # the last: of a source that is none of these

    def run(self) -> None:
        """Take over every source of every share, then prune, bring the release up to date, and record."""
        config, summary = self._config, self._summary
        if self._storage.limits and self._manifest.is_empty():
            self._observer.say(self._storage.limits)
        planner.create_scan(self._manifest)
        broken = self._take_over_all()
        summary.found = summary.built + summary.failed
        for trouble in broken + self._doubled:
            summary.fail_build(trouble)
        prune.find_lost(self._manifest, config.out)
        if self._foreseen is not None:
            self._foretell(self._foreseen)
        else:
            self._finish()
        if config.report is not None:
            from lickwright.build.report import report_parts

            config.report(report_parts(config.out, summary, self._manifest))

    def _take_over_all(self) -> list[PathDiagnostic]:
        """Take over every source of every share; return the shares that cannot be used."""
        broken: list[PathDiagnostic] = []
        for part in self._config.parts:
            storage = open_storage(part.folder)
            try:
                with open_share(storage) as theirs:
                    for source in self._sources(part, storage, theirs):
                        self._enter(*source)
            except BrokenShare as e:
                why = UNREADABLE.at(Span(0, 0), f"the manifest cannot be used: {e}", "build the share again")
                broken.append(PathDiagnostic(part.folder, why))
            self._tell_unread(part)
        return broken

    def _foretell(self, foreseen: Prediction) -> None:
        foreseen.tell(self._observer, self._summary, self._config.prune)
        foreseen.estimate(self._summary, 0, 0.0)
        if self._manifest.has_copies() or self._config.release is not None:
            self._summary.release.append("the release would be brought up to date")

    def _finish(self) -> None:
        summary = self._summary
        if self._config.prune:
            summary.pruned(*prune.prune_outputs(self._manifest, self._storage))
        else:
            summary.gone, summary.older = prune.count_prunable(self._manifest)
        self._manifest.complete_index()
        self._update_release()
        self._update_site()
        self._keep_record()

    def _update_release(self) -> None:
        """Bring the release in the output folder up to date, where one is wanted or on record."""
        config = self._config
        if config.release is None and not self._manifest.has_copies():
            return
        from lickwright.build.release_files import update_release

        self._number_as_scanned()
        planner.note_unread(self._manifest, ())
        update_release(self._manifest, self._suffixes, self._writer, config.release, self._summary, False, config.prune)

    def _update_site(self) -> None:
        """Bring the index of the lesson pages up to date, where there are pages or an index is on record."""
        if not (self._manifest.has_pages() or self._manifest.has_site()):
            return
        from lickwright.build.site import update_site

        config = self._config
        update_site(self._manifest, self._storage, config.title, config.overwrite, config.prune, self._summary)

    def _number_as_scanned(self) -> None:
        """Number the sources in the order in which a build of the whole library finds them: the order of the book."""
        db = self._manifest.db
        named = self._paths()
        rows = db.execute("SELECT path FROM scan WHERE path IS NOT NULL").fetchall()
        ordered = sorted((path for (path,) in rows), key=partial(_place_in_scan, named))
        db.execute("UPDATE scan SET id = -id")
        db.executemany("UPDATE scan SET id = ? WHERE path = ?", [(n, path) for n, path in enumerate(ordered, 1)])

    def _paths(self) -> list[str]:
        """Return what was named when the shares were made, as our manifest keeps it."""
        first = self._config.parts[0]
        named = (
            path if path == STDIN or is_remote(path) else os.path.join(first.folder, path)
            for path in first.record.paths
        )
        return names_from_output(self._config.out, named)

    def _keep_record(self) -> None:
        record = self._config.parts[0].record
        whole = tuple(range(1, record.of + 1))
        done = () if self._summary.lost else whole
        unread = tuple(sorted(self._unread))
        save_build_record(
            self._manifest,
            record._replace(paths=tuple(self._paths()), begun=whole, done=done, unread=unread, gone=()),
        )
        self._manifest.keep()

    def _sources(
        self, part: ShareFolder, storage: Storage, theirs: Manifest
    ) -> Iterator[tuple[WorkItem, WorkResult, CompileOptions, str]]:
        """Yield each source of a share with the data that is taken over, and its path as our manifest has it. Raises `BrokenShare`."""
        for row in source_rows(theirs):
            if row[1] in part.record.gone:
                continue
            with share_damage():
                source = ShareSource.read(part, theirs, self._config.out, row)
            if source.path in self._from:
                self._doubled.append(PathDiagnostic(source.shown, _twice(self._from[source.path], part.folder)))
                continue
            self._from[source.path] = part.folder
            yield *self._take_over(part, storage, source), source.path

    def _take_over(
        self, part: ShareFolder, storage: Storage, source: ShareSource
    ) -> tuple[WorkItem, WorkResult, CompileOptions]:
        """Write the outputs of one source that are as they were made, and return what came of it."""
        manifest = self._manifest
        outputs, troubles = read_outputs(storage, source.target, source.rows)
        if source.hash is None and not source.alone and not troubles:
            troubles.append(PathDiagnostic(source.shown, _half(part.folder)))
        known = tuple(manifest.known(source.target).values())
        owner = owner_in_words(self._config.out, manifest.owner(source.path, source.target), source.path)
        claims = tuple(manifest.claimed(source.target))
        self._number += 1
        item = WorkItem(self._number, source.shown, source.target, 0, known, claims, taken=owner)
        placed = self._writer.put(item, outputs) if outputs else WrittenOutputs((), 0, ())
        result = self._result(source, item, outputs, placed, [*troubles, *placed.troubles])
        return item, result, CompileOptions(source.formats, Options(), None, source.key, source.indexed)

    def _result(
        self,
        source: ShareSource,
        item: WorkItem,
        outputs: Sequence[Output],
        placed: WrittenOutputs,
        troubles: Sequence[PathDiagnostic],
    ) -> WorkResult:
        """Return what came of one source, as a build would have it."""
        return WorkResult(
            item.id,
            source.hash is not None and not troubles,
            source.hash or b"-",
            len({output.lick for output in placed.made}) if troubles else source.made,
            tuple(one._replace(older=sum(row.lick == one.slug for row in item.known)) for one in source.licks),
            tuple({output.lick for output in outputs}),
            source.findings,
            text_of_source(source.shown, source.hash) if source.found else "",
            outputs=placed.made,
            written=placed.written,
            size=placed.size,
            troubles=tuple(troubles),
            facts=source.facts,
            alone=source.alone,
            sounds=source.heard,
            ok=not source.licks and not has_errors(source.found),
            named=source.named,
        )

    def _enter(self, item: WorkItem, result: WorkResult, compile_options: CompileOptions, path: str) -> None:
        if self._foreseen is not None:
            self._foreseen.enter([item], [result])
        else:
            self._recorder.enter([item], [result], [compile_options], [path])
        states = self._summary.chunk(
            item.id - 1, [(item.path, result, compile_options)], self._config.report is not None
        )
        option_set = self._numbers.get((compile_options.key or b"")[:KEY].hex(), len(self._suffixes) - 1)
        row = (item.id, os.fsencode(item.path), path, item.target, option_set, *states[0])
        self._manifest.db.execute(_ENTRY, row)
        if item.id % _BATCH == 0:
            self._manifest.keep()
            self._storage.save_manifest()

    def _tell_unread(self, part: ShareFolder) -> None:
        """Tell the sources of which the share knows nothing, since they could not be read."""
        for path in part.record.unread:
            shown, ours = paths_of_source(part.folder, self._config.out, path)
            self._unread.append(ours)
            why = "the source could not be read when the share was made"
            finding = UNREADABLE.at(Span(0, 0), why, "make the share again")
            self._summary.trouble(shown, diagnostics_json.diagnostics_to_json([finding]))


def _place_in_scan(named: Sequence[str], path: str) -> tuple[object, ...]:
    """Return a key that sorts sources as a scan finds them: by what was named, in a folder its files before its folders, each by name."""
    above = next(
        (n for n, one in enumerate(named) if path == one or path.startswith(f"{one.rstrip('/')}/")), len(named)
    )
    *folders, name = path.split("/")
    return (above, [*((1, folder) for folder in folders), (0, name)])


def _half(folder: str) -> Diagnostic:
    why = f"not all of it could be made when the share in {folder} was"
    return UNREADABLE.at(Span(0, 0), why, "make the share again: it says why")


def _twice(first: str, second: str) -> Diagnostic:
    why = f"it is in {first} and in {second}, where it was made outside of its share: not taken from there"
    return UNREADABLE.at(Span(0, 0), why, "make that share again in an empty folder")
