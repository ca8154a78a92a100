"""The whole way of a build: plan, work, record.

In: a `BuildConfig`, and the manifest of the output folder, opened and checked. Out: outputs, rows of the manifest, and counts in a `BuildSummary`. Finished
work is never lost: the next build goes on from what one that was stopped or killed has made. Sources are only read.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from lickwright.build import planner, prune, take_snapshot, up_to_date
from lickwright.build.build_config import BuildConfig
from lickwright.build.option_sets import OptionSets
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.store import build_speed
from lickwright.store.build_record import BuildLog
from lickwright.store.manifest import Manifest
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.source_paths import names_from_output
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.build.executor import Chunk
    from lickwright.store.storage import Storage

_EACH = 0.5  # seconds between two commits, at least
_PART = 20  # times as long as the last commit took: a slow disk makes them rare

_Enter = Callable[[Sequence[WorkItem], Sequence[WorkResult], Sequence[CompileOptions], Sequence[str]], None]


class FullBuild:
    """One try at a build, with the lock held and the manifest open."""

    def __init__(
        self,
        config: BuildConfig,
        storage: Storage,
        manifest: Manifest,
        option_sets: OptionSets,
        observer: BuildObserver,
        summary: BuildSummary,
    ) -> None:
        self.config = config
        self.storage = storage
        self.manifest = manifest
        self.observer = observer
        self.summary = summary
        self._option_sets = option_sets
        self._kept = time.monotonic()
        self._died = False  # a worker did
        self._unread: list[int] = []  # sources by their numbers in the scan
        self._pause = _EACH

    def run(self) -> None:
        """Plan, work, record, and write the archive and the report that are wanted."""
        config, storage = self.config, self.storage
        if not config.dry:
            storage.recover(self.manifest)
        if storage.limits and self.manifest.is_empty():
            self.observer.say(storage.limits)
        planner.scan_sources(self.manifest, config.out, config.paths, self._option_sets, config.share, config.suffixes)
        self._settle_unchanged()
        paths = names_from_output(config.out, config.paths)
        self._log = BuildLog(self.manifest, paths, self._option_sets.all, config.share, self._whole)
        if config.dry:
            self._rehearse()
        else:
            self._do()
        if config.archive is not None and not (config.dry or self.summary.stopped or self.summary.blocked):
            planner.note_unread(self.manifest, self._unread)
            config.archive(storage, self.manifest, self._suffixes(), self.summary)
        if config.report is not None:
            from lickwright.build.report import report_parts

            config.report(report_parts(config.out, self.summary, self.manifest))

    def _settle_unchanged(self) -> None:
        """Settle everything that needs no work."""
        db = self.manifest.db
        summary = self.summary
        for shown, findings in db.execute("SELECT shown, findings FROM scan WHERE path IS NULL ORDER BY id").fetchall():
            summary.trouble(os.fsdecode(shown), findings)
        (summary.blocked,) = db.execute(
            "SELECT count(*) FROM scan WHERE state = 'failed' AND target IS NOT NULL"
        ).fetchone()
        summary.failed += summary.blocked
        self._unread += [row[0] for row in db.execute("SELECT id FROM scan WHERE state = 'failed'")]
        db.execute("BEGIN")  # thousands of changes of tables that are ours alone
        self._known = up_to_date.find_up_to_date(
            self.manifest, self.storage, self._option_sets.all, self.config.check_contents
        )
        summary.files, summary.licks = self._known.files, self._known.licks
        db.execute("UPDATE scan SET state = 'unchanged' WHERE id IN (SELECT id FROM temp.same)")
        (summary.unchanged,) = db.execute("SELECT count(*) FROM temp.same").fetchone()
        for one in up_to_date.remembered_of(self.manifest):
            state = summary.remember(one, self._option_sets.all[one.option_set], self.config.report is not None)
            db.execute("UPDATE scan SET state = ?, findings = ? WHERE id = ?", (*state, one.id))
        self.manifest.keep()
        (summary.found,) = db.execute("SELECT count(*) FROM scan").fetchone()
        (summary.skipped,) = db.execute("SELECT count(*) FROM scan WHERE state = 'skipped'").fetchone()
        (self._todo,) = db.execute("SELECT count(*) FROM scan WHERE state = ''").fetchone()
        self._whole = planner.has_folder(self.manifest)
        prune.find_lost(self.manifest, self.config.out, self._whole)

    def _rehearse(self) -> None:
        from lickwright.build.prediction import Prediction

        self.storage.check_writable("")
        foreseen = Prediction(self.manifest, self.storage, self._whole)
        began = time.monotonic()
        try:
            if self._todo:
                self._work(lambda items, results, option_sets, paths: foreseen.enter(items, results))
        except KeyboardInterrupt:
            self.summary.stop()
            return
        foreseen.tell(self.observer, self.summary, self.config.prune)
        if self.manifest.has_copies() or self._wants_release():
            self.summary.release.append("the release would be brought up to date")
        foreseen.estimate(self.summary, self._todo, time.monotonic() - began)

    def _suffixes(self) -> list[frozenset[str]]:
        return [compile_options.suffixes() for compile_options in self._option_sets.all]

    def _wants_release(self) -> bool:
        return self.config.release is not None and self.config.archive is None

    # --- the work

    def _do(self) -> None:
        writer = ManifestWriter(self.manifest)
        try:
            if self._todo:
                began = time.monotonic()
                self._work(self._recorded(writer))
                build_speed.note_build_speed(self.manifest, self._todo, self.summary.sound, time.monotonic() - began)
            if self.config.prune:
                self.summary.pruned(*prune.prune_outputs(self.manifest, self.storage, self._whole))
            else:
                self.summary.gone, self.summary.older = prune.count_prunable(self.manifest, self._whole)
            if self._todo:
                self.manifest.complete_index()
            self._update_release()
            self._update_site()
        except KeyboardInterrupt:
            with _undisturbed():
                self._stop(writer)
            return
        self._log.end(self._unread)
        if not self._todo:
            take_snapshot.take_snapshot(self.manifest, self.config, self._option_sets.all, self.summary, self._known)
        self.manifest.keep()
        self.storage.clear_journal(sweep=self._died)

    def _update_release(self) -> None:
        """Bring the release in the output folder up to date, where one is wanted or on record."""
        if self.manifest.has_copies() or self._wants_release():
            from lickwright.build.release_files import update_release
            from lickwright.store.output_writer import OutputWriter

            config = self.config
            planner.note_unread(self.manifest, self._unread)
            writer = OutputWriter(self.storage, config.overwrite)
            part = self._log.partial or config.share.of > 1
            try:
                update_release(
                    self.manifest, self._suffixes(), writer, config.release, self.summary, part, config.prune
                )
            finally:
                writer.close()

    def _update_site(self) -> None:
        """Bring the index of the lesson pages up to date, where pages are wanted or an index is on record."""
        if not (
            any("page" in compile_options.formats for compile_options in self._option_sets.all)
            or self.manifest.has_site()
        ):
            return
        from lickwright.build import site

        config = self.config
        site.update_site(self.manifest, self.storage, config.title, config.overwrite, config.prune, self.summary)

    def _recorded(self, writer: ManifestWriter) -> _Enter:
        """Return what enters a chunk; before the first of which anything is entered, it enters that the build has begun."""

        def enter(
            items: Sequence[WorkItem],
            results: Sequence[WorkResult],
            option_sets: Sequence[CompileOptions],
            paths: Sequence[str],
        ) -> None:
            if any(result.hash for result in results):
                self._log.begin()
            writer.enter(items, results, option_sets, paths)

        return enter

    def _work(self, enter: _Enter) -> None:
        licks = done = 0
        self.observer.progress(0, self._todo, 0)
        from lickwright.build.executor_choice import choose_executor

        size, executor = choose_executor(
            self.config, self.storage, self.manifest, self._option_sets.all, self._todo, self.summary.begins
        )
        with executor:  # so that workers end before anything else is done about an error
            for chunk, results in executor.run(self._chunks(size)):
                self._enter(enter, chunk, results)
                licks += sum(result.made for result in results)
                done += len(chunk.items)
                self.observer.progress(done, self._todo, licks)
        self._died = executor.died

    def _enter(self, enter: _Enter, chunk: Chunk, results: Sequence[WorkResult]) -> None:
        db, items = self.manifest.db, chunk.items
        paths = [db.execute("SELECT path FROM scan WHERE id = ?", (item.id,)).fetchone()[0] for item in items]
        enter(items, results, self._option_sets.all, paths)
        told = [
            (item.path, result, self._option_sets.all[item.option_set])
            for item, result in zip(items, results, strict=True)
        ]
        for item, result in zip(items, results, strict=True):
            if not result.hash and not result.alone:
                self._unread.append(item.id)
                self.summary.unread_older += len(item.known)
        states = self.summary.chunk(chunk.number, told, self.config.report is not None)
        db.executemany(
            "UPDATE scan SET state = ?, findings = ? WHERE id = ?",
            [(*state, item.id) for state, item in zip(states, items, strict=True)],
        )
        now = time.monotonic()
        if now - self._kept > self._pause:
            self.manifest.keep()
            self.storage.save_manifest()
            self._kept = time.monotonic()
            self._pause = max(_EACH, _PART * (self._kept - now))

    def _chunks(self, size: int) -> Iterator[Chunk]:
        from itertools import islice

        from lickwright.build.executor import Chunk

        items = self._items()
        number = 0
        while some := tuple(islice(items, size)):
            yield Chunk(number, some)
            number += 1

    def _items(self) -> Iterator[WorkItem]:
        for item in planner.work_items(self.manifest, self.config.out):
            if item.path == "-" and self.config.stdin is not None:
                item = item._replace(data=self.config.stdin())
            yield item

    def _stop(self, writer: ManifestWriter) -> None:
        """Commit the finished work, and remove what workers left half done."""
        if not writer.entering:
            self.manifest.keep()
        elif self.manifest.db.in_transaction:  # not so where SQLite was at work on it: it has taken back all itself
            self.manifest.db.execute("ROLLBACK")
        self.storage.recover(self.manifest)
        self.summary.stop()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Ignore a second Ctrl-C while a build clears up, which is short."""
    before = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                number = getattr(signal, name)
                before[number] = signal.signal(number, signal.SIG_IGN)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
