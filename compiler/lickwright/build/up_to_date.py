"""Find the sources of a build that need no work.

In: the scan of a build (`planner.py`) and the manifest. Out: the table `same`, and the findings on record of its sources. A source is unchanged if
its bytes hash to what is on record, under the same key and for the formats wanted, and all its outputs are there as we left them: size, times
and inode as they were, or else the same bytes. A source is read only where its own size, times or inode differ from those at its last reading,
unless the build asks for the contents of all. Compiles nothing and writes to no file but the manifest.
"""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Container, Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

from lickwright.build.remembered import Remembered, skipped_on_record
from lickwright.core.unreadable import Unreadable
from lickwright.export import suffix_without_tempo
from lickwright.store.addresses import is_remote
from lickwright.store.guarded_database import Unusable, unless_readonly
from lickwright.store.local_storage import file_state
from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.output_writer import content_digest, recorded_output
from lickwright.store.sources import read_source
from lickwright.store.storage import Storage
from lickwright.store.types import CompileOptions

# Both in the order of the folders of outputs, to be read side by side: a question for each source would take three times as long. Both begin with
# the scan, so that one file of a large library is quick (`CROSS JOIN` keeps SQLite to that order).
_MATCHED = """
SELECT s.target, scan.id, shown, option_set, s.hash, key, formats, made, s.findings <> '' OR refused <> '', indexed, before, {state}
FROM scan CROSS JOIN sources s ON s.path = scan.path {joined}
WHERE state = '' AND s.target = scan.target AND s.hash IS NOT NULL ORDER BY s.target
"""
_STATE = "t.size, t.mtime, t.ctime, t.inode"
_JOINED = "LEFT JOIN source_states t ON t.id = s.id AND t.hash = s.hash"
_OUTPUTS = """
SELECT folder, name, lick, size, mtime, ctime, inode FROM outputs
WHERE folder IN (SELECT target FROM scan) AND gone = 0 ORDER BY folder
"""
_OUTPUT = "SELECT name, lick, format, hash, size, mtime, ctime, inode FROM outputs WHERE folder = ? AND name = ?"
_REMEMBERED = """
SELECT scan.id, shown, scan.target, option_set, s.findings, refused FROM temp.same JOIN scan USING (id) JOIN sources s ON s.path = scan.path
WHERE told ORDER BY scan.id
"""
_KEEP_SEEN = """
INSERT OR REPLACE INTO source_states SELECT s.id, s.hash, seen.size, seen.mtime, seen.ctime, seen.inode
FROM temp.seen JOIN scan USING (id) JOIN sources s ON s.path = scan.path
"""
_KEEP_MOVED = "UPDATE outputs SET size = ?, mtime = ?, ctime = ?, inode = ? WHERE folder = ? AND name = ?"

# A file may change twice within one tick of its file system's clock, two seconds at worst (FAT). So the state of one that changed
# less than this many nanoseconds ago proves nothing yet, and is not recorded.
_SETTLED = 3_000_000_000
_BATCH = 500  # rows fetched or entered at a time


class UpToDate(NamedTuple):
    """What is known of the sources that need no work, besides the table `same`."""

    files: int  # outputs that they have
    licks: int
    settled: bool  # True if the states in `same` show every later change of a file or folder


def find_up_to_date(
    manifest: Manifest, storage: Storage, option_sets: Sequence[CompileOptions], check_contents: bool = False
) -> UpToDate:
    """Fill the table `same` with the sources that need no work.

    With `check_contents` every source is read, whatever its state. Raises `Unusable` for a manifest that no program of ours wrote.
    """
    check = _UpToDateCheck(manifest, storage, option_sets, check_contents)
    try:
        manifest.db.executemany("INSERT INTO temp.same VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", check.unchanged())
        check.flush()
    except (TypeError, ValueError, AttributeError, OverflowError):  # what no program of ours has entered
        raise Unusable("it is damaged") from None
    if manifest.writable and (check.read or check.moved):
        manifest.keep()
        with unless_readonly():
            _keep_states(manifest, check)
    return UpToDate(check.files, check.licks, check.settled)


def _keep_states(manifest: Manifest, check: _UpToDateCheck) -> None:
    manifest.begin()
    if check.read:
        manifest.with_source_states()
        manifest.db.execute(_KEEP_SEEN)
        manifest.db.execute("DELETE FROM source_states WHERE id NOT IN (SELECT id FROM sources)")
    if check.moved:  # the very bytes, but copied or touched: the next look is short again
        manifest.db.executemany(_KEEP_MOVED, manifest.db.execute("SELECT * FROM temp.moved"))


def remembered_of(manifest: Manifest) -> Iterator[Remembered]:
    """Yield the sources of `same` with findings or refused licks on record, in the order of the scan. Raises `Unusable`."""
    for id, shown, target, option_set, findings, refused in manifest.db.execute(_REMEMBERED).fetchall():
        skipped = skipped_on_record(manifest, target, refused)
        yield Remembered(id, os.fsdecode(shown), option_set, findings, skipped)


class SuffixCache(dict[str, bool]):
    """Whether outputs are wanted, by what follows a lick's name in theirs; worked out once for each suffix that is met."""

    def __init__(self, wanted: Container[str]) -> None:
        super().__init__()
        self._wanted = wanted

    def __missing__(self, suffix: str) -> bool:
        self[suffix] = found = suffix_without_tempo(suffix) in self._wanted
        return found


class _UpToDateCheck:
    """One pass over the sources and outputs on record, both in the order of the folders of outputs."""

    def __init__(
        self, manifest: Manifest, storage: Storage, option_sets: Sequence[CompileOptions], check_contents: bool
    ) -> None:
        self.files = self.licks = 0  # of unchanged sources
        self.settled = True  # False once a file or folder has no state that shows its next change
        self.read = self.moved = 0  # sources whose states are new; outputs with another state
        self._db = manifest.db
        self._option_sets = option_sets
        self._check_contents = check_contents
        self._stated = manifest.has_source_states()
        self._latest = time.time_ns() - _SETTLED  # what changed since may change again unseen
        self._suffixes = [compile_options.suffixes() for compile_options in option_sets]
        self._is_wanted = [SuffixCache(suffixes) for suffixes in self._suffixes]
        self._enough: dict[
            tuple[int, str], bool
        ] = {}  # by option set and formats on record: True if the record has every format that the options ask for
        self._storage = storage
        self._seen: list[tuple[int, ...]] = []  # rows of `seen` and `moved` to be entered
        self._moved: list[tuple[object, ...]] = []

    def unchanged(self) -> Iterator[tuple[int, ...]]:
        """Yield the rows of `same`."""
        matched = _MATCHED.format(
            state=_STATE if self._stated else "0, 0, 0, 0", joined=_JOINED if self._stated else ""
        )
        by_folder = groupby(self._db.execute(_OUTPUTS), itemgetter(0))
        folder, outputs = next(by_folder, ("", iter(())))
        if folder:
            self._storage.refresh()
        for target, id, shown, option_set, hash, key, formats, made, told, indexed, before, *state in self._db.execute(
            matched
        ):
            while folder < target:
                folder, outputs = next(by_folder, ("\U0010ffff", iter(())))
            if not self._has_options(option_set, key, formats, indexed, before):
                continue
            rows = self._wanted(outputs, option_set) if folder == target else []
            if len(rows) != made * len(self._suffixes[option_set]):
                continue
            source = self._same_source(id, shown, hash, state)
            place = self._same_outputs(target, rows) if source else None
            if source and place:
                self.files += len(rows)
                self.licks += made
                yield (id, told, *source, *place)

    def _has_options(self, option_set: int, key: bytes, formats: str, indexed: int, before: int) -> bool:
        """Return True if the outputs on record were made with the present options and formats."""
        compile_options = self._option_sets[option_set]
        if (option_set, formats) not in self._enough:
            self._enough[option_set, formats] = set(formats.split(",")).issuperset(compile_options.formats)
        return (
            compile_options.still_holds(key, before)
            and compile_options.facts <= indexed
            and self._enough[option_set, formats]
        )

    def _wanted(self, outputs: Iterator[tuple[Any, ...]], option_set: int) -> list[tuple[Any, ...]]:
        """Return the outputs of one folder that its options ask for."""
        is_wanted = self._is_wanted[option_set]
        return [row for row in outputs if is_wanted[row[1][len(row[2]) :]]]

    def _same_source(self, id: int, shown: bytes, hash: bytes, state: list[int]) -> tuple[int, ...] | None:
        """Return the state of a source that holds the bytes on record, else None: told by its state where that is on record too, else by reading it."""
        if shown == b"-":
            return self._stateless(content_digest(b"") == hash)
        try:
            if b"://" in shown and is_remote(os.fsdecode(shown)):
                return self._stateless(content_digest(read_source(os.fsdecode(shown))) == hash)
            status = os.stat(shown)
            now = file_state(status)
            if not self._check_contents and self._stated and now == tuple(state) and stat.S_ISREG(status.st_mode):
                return now
            if content_digest(read_source(os.fsdecode(shown))) != hash:
                return None
        except (OSError, Unreadable):
            return None
        if max(now[1:3]) >= self._latest:
            self.settled = False
        elif now != tuple(state):
            self.read += 1
            self._seen.append((id, *now))
            if len(self._seen) == _BATCH:
                self.flush()
        return now

    def _stateless(self, same: bool) -> tuple[int, ...] | None:
        """Return the zeros that stand for the state of a source that has none, if it is the `same`; else None."""
        self.settled = False
        return (0, 0, 0, 0) if same else None

    def _same_outputs(self, folder: str, rows: list[tuple[Any, ...]]) -> tuple[int, ...] | None:
        """Return the state of their folder if all these outputs are as we left them, else None.

        Where only the state of an output differs, that is noted in `moved`.
        """
        if not rows:
            return (0, 0, 0)
        try:
            place, states = self._storage.look(folder, [row[1] for row in rows])
            for row, state in zip(rows, states, strict=True):
                if row[3:] != state and not self._same_bytes(folder, row[1]):
                    return None
        except OSError:
            return None
        if place is None or max(place[:2]) >= self._latest:
            self.settled = False
        return place or (0, 0, 0)

    def _same_bytes(self, folder: str, name: str) -> bool:
        """Return True if an output whose state differs holds the bytes on record. Raises OSError."""
        row = OutputRow._make(self._db.execute(_OUTPUT, (folder, name)).fetchone())
        now = recorded_output(self._storage, folder, row)
        if now is None or now.hash != row.hash:
            return False
        self.moved += 1
        self._moved.append((now.size, now.mtime, now.ctime, now.inode, folder, name))
        if len(self._moved) == _BATCH:
            self.flush()
        return True

    def flush(self) -> None:
        """Enter what waits for `seen` and `moved`."""
        self._db.executemany("INSERT INTO temp.seen VALUES (?, ?, ?, ?, ?)", self._seen)
        self._db.executemany("INSERT INTO temp.moved VALUES (?, ?, ?, ?, ?, ?)", self._moved)
        self._seen.clear()
        self._moved.clear()
