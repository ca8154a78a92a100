"""A build from beginning to end: lock, manifest, plan, work, record.

In: a `BuildConfig`. Out: an `BuildSummary`; outputs and the manifest in the output folder. Work that is done is never lost: what a build that was stopped or
killed has made is taken over by the next one. Sources are only read.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, closing, contextmanager, nullcontext
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build import planner, prune, up_to_date
from lickwright.build.planner import Orders, Share
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.core.files import make_folder
from lickwright.export import EXPORTS
from lickwright.store import build_speed, journal, recorded_sounds
from lickwright.store.build_record import BuildLog, seen_below
from lickwright.store.lock import Lock
from lickwright.store.manifest import DAMAGED, Manifest, Unusable, aside, damaged, set_aside
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.output_writer import unwritable
from lickwright.store.recovery import recover_build
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.build.process_pool import Limits, Setup
    from lickwright.build.task import Work
    from lickwright.config.name_pattern import Arrangement
    from lickwright.store.output_writer import OutputWriter
    from lickwright.store.recorded_sounds import Sounds

SERIAL = 150  # sources; for fewer, workers would take longer to start than they save
_USUAL = 400  # bytes of a source with one lick
_EACH = 0.5  # seconds between two commits, at least
_PART = 20  # times as long as the last commit took: a slow disk makes them rare

_Enter = Callable[[Sequence[WorkItem], Sequence[WorkResult], Sequence[CompileOptions], Sequence[str]], None]
Done = tuple[int, Sequence[WorkItem], Sequence[WorkResult]]  # a chunk's number, its items, their results


class BuildConfig(NamedTuple):
    """What one build is to do."""

    paths: Sequence[str]
    out: str
    order_of: Callable[[str], CompileOptions]  # what is wanted of the source at a path
    jobs: int = 1  # processes to work in; 1: in this one alone
    overwrite: bool = False
    share: Share = Share()
    prune: bool = False
    dry: bool = False  # only say what would be done
    stdin: Callable[[], bytes | None] | None = (
        None  # reads standard input, if `-` is among the paths; None: it cannot be read
    )
    report: Callable[[Iterator[bytes]], None] | None = None  # takes the parts of the machine report
    archive: Callable[[Manifest, Sequence[CompileOptions], BuildSummary], None] | None = (
        None  # writes what is given away; may tell the account
    )
    release: Arrangement | None = None  # of the copies that are kept in the output folder; None: none are wanted
    limits: Limits | None = None  # of workers; None: the usual ones
    workers: Callable[[Setup], AbstractContextManager[Any]] | None = (
        None  # do the work in place of processes of our own
    )
    sync: bool = True  # what is on record as made is on the disk
    check_contents: bool = False  # read every source to tell whether it changed, whatever its size and times
    work: Work | None = None  # tests put one in its place that breaks down


def build_library(wish: BuildConfig, teller: BuildObserver) -> BuildSummary:
    """Does it. Ctrl-C ends it in good order: the account then says `stopped`, and the next build goes on from there."""
    account = BuildSummary(teller)
    try:
        if not wish.dry:
            make_folder(wish.out)
        with nullcontext() if wish.dry else Lock(wish.out, teller.say):
            try:
                _Build(wish, teller, account).run()
            except (Unusable, sqlite3.DatabaseError, UnicodeDecodeError) as e:
                if not damaged(e) or account.stopped:
                    raise
                if wish.dry:
                    teller.say(aside(wish.out, e if isinstance(e, Unusable) else DAMAGED))
                else:
                    set_aside(wish.out, e, teller.say)
                account = BuildSummary(teller)
                _Build(wish, teller, account, forget=True).run()
    except OSError as e:
        account.broke(unwritable(_where(wish), e))
    return account


def _where(wish: BuildConfig) -> str:
    """The folder that cannot be written into: with one source, that of its own outputs."""
    if len(wish.paths) == 1 and not os.path.isdir(wish.paths[0]):
        from lickwright.core.slugs import slug

        return os.path.join(wish.out, slug(os.path.splitext(os.path.basename(wish.paths[0]))[0]))
    return wish.out


class _Build:
    """One try at a build, with the lock held."""

    def __init__(self, wish: BuildConfig, teller: BuildObserver, account: BuildSummary, forget: bool = False) -> None:
        self.wish = wish
        self.teller = teller
        self.account = account
        self._forget = forget  # a dry run with a manifest that cannot be used
        self._orders = Orders(wish.order_of)
        self._kept = time.monotonic()
        self._died = False  # a worker did
        self._unread: list[int] = []  # sources by their numbers in the scan
        self._pause = _EACH

    def run(self) -> None:
        """All of it."""
        wish = self.wish
        folder = None if self._forget and wish.dry else wish.out
        with Manifest(folder, write=not wish.dry, sync=wish.sync) as self.manifest:
            if not wish.dry and journal.has_unfinished_journal(wish.out):
                recover_build(wish.out, self.manifest)
            planner.scan(self.manifest, wish.out, wish.paths, self._orders, wish.share)
            self._look()
            paths = seen_below(wish.out, wish.paths)
            self._log = BuildLog(self.manifest, paths, self._orders.all, wish.share, self._whole)
            if wish.dry:
                self._rehearse()
            else:
                self._do()
            if wish.archive is not None and not (wish.dry or self.account.stopped or self.account.blocked):
                self._note_unread()
                wish.archive(self.manifest, self._orders.all, self.account)
            if wish.report is not None:
                from lickwright.build.report import report_parts

                wish.report(report_parts(wish.out, self.account, self.manifest))

    def _note_unread(self) -> None:
        """Puts the sources that could not be read, which are known from before only, into a table."""
        db = self.manifest.db
        db.execute("CREATE TEMP TABLE IF NOT EXISTS unread (id INTEGER PRIMARY KEY)")
        db.executemany("INSERT OR IGNORE INTO temp.unread VALUES (?)", [(id,) for id in self._unread])

    def _look(self) -> None:
        """Everything that needs no work."""
        db = self.manifest.db
        account = self.account
        for shown, findings in db.execute("SELECT shown, findings FROM scan WHERE path IS NULL ORDER BY id").fetchall():
            account.trouble(os.fsdecode(shown), findings)
        (account.blocked,) = db.execute(
            "SELECT count(*) FROM scan WHERE state = 'failed' AND target IS NOT NULL"
        ).fetchone()
        account.failed += account.blocked
        self._unread += [row[0] for row in db.execute("SELECT id FROM scan WHERE state = 'failed'")]
        db.execute("BEGIN")  # thousands of changes of tables that are ours alone
        account.files, account.licks = up_to_date.find_up_to_date(
            self.manifest, self.wish.out, self._orders.all, self.wish.check_contents
        )
        db.execute("UPDATE scan SET state = 'unchanged' WHERE id IN (SELECT id FROM temp.same)")
        (account.unchanged,) = db.execute("SELECT count(*) FROM temp.same").fetchone()
        for one in up_to_date.remembered_of(self.manifest):
            state = account.remember(one, self._orders.all[one.order], self.wish.report is not None)
            db.execute("UPDATE scan SET state = ?, findings = ? WHERE id = ?", (*state, one.id))
        self.manifest.keep()
        (account.found,) = db.execute("SELECT count(*) FROM scan").fetchone()
        (account.skipped,) = db.execute("SELECT count(*) FROM scan WHERE state = 'skipped'").fetchone()
        (self._todo,) = db.execute("SELECT count(*) FROM scan WHERE state = ''").fetchone()
        self._whole = any(os.path.isdir(path) for path in self.wish.paths)
        prune.find_lost(self.manifest, self.wish.out, self._whole)

    def _rehearse(self) -> None:
        from lickwright.build.prediction import Prediction
        from lickwright.store.dry_output import writable

        writable(self.wish.out)
        foreseen = Prediction(self.manifest, self.wish.out, self._whole)
        began = time.monotonic()
        try:
            if self._todo:
                self._work(lambda items, results, orders, paths: foreseen.enter(items, results))
        except KeyboardInterrupt:
            self.account.stop()
            return
        foreseen.tell(self.teller, self.account, self.wish.prune)
        if self.manifest.has_copies() or (self.wish.release is not None and self.wish.archive is None):
            self.account.release.append("the release would be brought up to date")
        foreseen.estimate(self.account, self._todo, time.monotonic() - began)

    # --- the work

    def _do(self) -> None:
        recorder = ManifestWriter(self.manifest)
        try:
            if self._todo:
                began = time.monotonic()
                self._work(self._recorded(recorder))
                build_speed.note(self.manifest, self._todo, self.account.sound, time.monotonic() - began)
            if self.wish.prune:
                self.account.pruned(*prune.prune(self.manifest, self.wish.out, self._whole))
            else:
                self.account.gone, self.account.older = prune.count_prunable(self.manifest, self._whole)
            self._lay_out()
        except KeyboardInterrupt:
            with _undisturbed():
                self._stop(recorder)
            return
        self._log.end(self._unread)
        self.manifest.keep()
        journal.clear(self.wish.out, sweeping=self._died)

    def _lay_out(self) -> None:
        """Brings the release in the output folder up to date, where one is wanted or on record."""
        wish = self.wish
        if self.manifest.has_copies() or (wish.release is not None and wish.archive is None):
            from lickwright.build.release_files import release
            from lickwright.store.output_writer import OutputWriter

            self._note_unread()
            place = OutputWriter(wish.out, wish.overwrite)
            part = self._log.partial or wish.share.of > 1
            try:
                release(self.manifest, self._orders.all, place, wish.release, self.account, part, wish.prune)
            finally:
                place.journal.close()

    def _recorded(self, recorder: ManifestWriter) -> _Enter:
        """Enters a chunk; before the first of which anything is entered, that the build has begun."""

        def enter(
            items: Sequence[WorkItem],
            results: Sequence[WorkResult],
            orders: Sequence[CompileOptions],
            paths: Sequence[str],
        ) -> None:
            if any(result.hash for result in results):
                self._log.begin()
            recorder.enter(items, results, orders, paths)

        return enter

    def _work(self, enter: _Enter) -> None:
        chunks = self._pooled if self._many() or self._suspect() else self._alone
        licks = 0
        done = 0
        self.teller.progress(0, self._todo, 0)
        with closing(chunks()) as ready:  # so that workers end before anything else is done about an error
            for number, items, results in ready:
                self._enter(enter, number, items, results)
                licks += sum(result.made for result in results)
                done += len(items)
                self.teller.progress(done, self._todo, licks)

    def _enter(self, enter: _Enter, number: int, items: Sequence[WorkItem], results: Sequence[WorkResult]) -> None:
        db = self.manifest.db
        paths = [db.execute("SELECT path FROM scan WHERE id = ?", (item.id,)).fetchone()[0] for item in items]
        enter(items, results, self._orders.all, paths)
        told = [(item.path, result, self._orders.all[item.order]) for item, result in zip(items, results, strict=True)]
        for item, result in zip(items, results, strict=True):
            if not result.hash and not result.alone:
                self._unread.append(item.id)
                self.account.unread_older += len(item.known)
        states = self.account.chunk(number, told, self.wish.report is not None)
        db.executemany(
            "UPDATE scan SET state = ?, findings = ? WHERE id = ?",
            [(*state, item.id) for state, item in zip(states, items, strict=True)],
        )
        now = time.monotonic()
        if now - self._kept > self._pause:
            self.manifest.keep()
            self._kept = time.monotonic()
            self._pause = max(_EACH, _PART * (self._kept - now))

    def _many(self) -> bool:
        """Whether it is worth while to have others do the work."""
        if self.wish.workers is not None or self.wish.jobs < 2 or self._todo < 2:
            return self.wish.workers is not None
        if self._todo >= SERIAL or self._slow():
            return True
        todo = self.manifest.db.execute("SELECT shown FROM scan WHERE state = ''").fetchall()
        return sum(os.path.getsize(shown) for (shown,) in todo if os.path.isfile(shown)) >= SERIAL * _USUAL

    def _slow(self) -> bool:
        """Whether a format is wanted that takes a hundred times as long as the others: a recording."""
        return not self.wish.dry and self._audible()

    def _audible(self) -> bool:
        """Whether recordings are wanted, of their own or in lesson pages."""
        if any(order.options.page_sound for order in self._orders.all):
            return True
        wanted = {name for order in self._orders.all for name in order.formats}
        return any(row.is_audio for row in EXPORTS if row.name in wanted)

    def _suspect(self) -> bool:
        """Whether a source that brought a worker down is to be tried again: never in this process."""
        row = self.manifest.db.execute(
            "SELECT 1 FROM scan JOIN sources s ON s.path = scan.path WHERE state = '' AND alone LIMIT 1"
        ).fetchone()
        return row is not None

    def _items(self) -> Iterator[WorkItem]:
        for item in planner.items(self.manifest, self.wish.out):
            if item.path == "-" and self.wish.stdin is not None:
                item = item._replace(data=self.wish.stdin())
            yield item

    def _alone(self) -> Generator[Done, None, None]:
        """In this process, a source at a time."""
        from lickwright.build.task import compile_source, crashed_result, run_guarded

        place = self._place()
        place.begins = self.account.begins
        work = self.wish.work or compile_source
        try:
            for number, item in enumerate(self._items()):
                try:
                    result = run_guarded(work, item, self._orders.all[item.order], place)
                except MemoryError:
                    result = crashed_result(item, "it needs more memory than there is")
                yield number, (item,), (result,)
        finally:
            place.journal.close()

    def _place(self) -> OutputWriter:
        """Where outputs are put by this process."""
        if self.wish.dry:
            from lickwright.store.dry_output import Rehearsal

            place: OutputWriter = Rehearsal(self.wish.out, self.wish.overwrite)
        else:
            from lickwright.store.output_writer import OutputWriter

            place = OutputWriter(self.wish.out, self.wish.overwrite)
        place.sounds = self._sounds()
        return place

    def _sounds(self) -> Sounds:
        """Recordings that are on record, if any are wanted."""
        return recorded_sounds.of(self.manifest) if self._audible() else {}

    def _pooled(self) -> Generator[Done, None, None]:
        """In several processes."""
        from lickwright.build.process_pool import CHUNK, Chunk, Limits, Pool, Setup
        from lickwright.build.task import compile_source

        limits = self.wish.limits or Limits()
        setup = Setup(
            self.wish.out, self.wish.overwrite, tuple(self._orders.all), limits, self.wish.work or compile_source, self.wish.dry,
            self._sounds(),
        )  # fmt: skip
        items = self._items()
        size = 1 if self._slow() else max(1, min(CHUNK, self._todo // (4 * self.wish.jobs)))

        def chunks() -> Iterable[Chunk]:
            number = 0
            while some := tuple(islice(items, size)):
                yield Chunk(number, some)
                number += 1

        with (
            self.wish.workers(setup)
            if self.wish.workers
            else Pool(setup, min(self.wish.jobs, -(-self._todo // size)), self.account.begins) as pool
        ):
            for chunk, results in pool.run(chunks()):
                yield chunk.number, chunk.items, results
            self._died = isinstance(pool, Pool) and pool.died

    def _stop(self, recorder: ManifestWriter) -> None:
        """Keeps what was done, and tidies up what workers left in the middle."""
        if not recorder.entering:
            self.manifest.keep()
        elif self.manifest.db.in_transaction:  # not so where SQLite was at work on it: it has taken back all itself
            self.manifest.db.execute("ROLLBACK")
        recover_build(self.wish.out, self.manifest)
        self.account.stop()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """A second Ctrl-C must not break off the tidying up, which is short."""
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
