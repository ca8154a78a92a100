"""The snapshot of a library with nothing to be done, by which the next build knows in one short pass that nothing changed since.

In: a build, its manifest, and the folders of sources as they are now. Out: the counts of that build and the findings on record, or None: then the
whole way of a build is gone (`planner.py`, `up_to_date.py`), which judges each source by itself. A snapshot is taken by a build that found all sources
unchanged, of what that build has seen, and ends with whatever is entered into the manifest after it (`Manifest.begin`). It holds two hashes for each
folder of sources: of names and states, of the sources and of their folders of outputs; and of the bytes of sources and the states of outputs. A
folder's times change with every file that is added to it, removed or replaced; an output whose bytes are changed in place is seen where
the build looks at contents. Compiles nothing, and writes to no file but the manifest.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Iterator, Sequence
from itertools import chain, groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build.up_to_date import Remembered, SuffixCache, UpToDate, skipped_on_record
from lickwright.core.digest import blake2b, bytes_digest
from lickwright.core.files import read_file
from lickwright.core.source import Unreadable
from lickwright.core.source_discovery import SourceFolder, walk_folders
from lickwright.store.addresses import is_remote
from lickwright.store.guarded_database import Unusable, unless_readonly
from lickwright.store.local_storage import file_state
from lickwright.store.ownership import plain_folder, plain_name
from lickwright.store.source_paths import folder_from_output, names_from_output, output_root, slashed

if TYPE_CHECKING:
    from lickwright.build.build_config import BuildConfig
    from lickwright.build.planner import OptionSets
    from lickwright.build.summary import BuildSummary
    from lickwright.store.manifest import Manifest
    from lickwright.store.storage import Storage
    from lickwright.store.types import CompileOptions

_ROWS = "SELECT targets, told, {hash}, {outputs} FROM snapshot ORDER BY number"
_SOURCES = """
SELECT shown, scan.path, scan.target, option_set, told, s.hash, size, mtime, ctime, inode, folder_mtime, folder_ctime, folder_inode
FROM scan JOIN temp.same USING (id) JOIN sources s ON s.path = scan.path ORDER BY scan.id
"""
_OUTPUTS = "SELECT name, lick, size, mtime, ctime, inode FROM outputs WHERE folder = ? AND gone = 0 ORDER BY name"
_ROW = "INSERT INTO snapshot VALUES (?, ?, ?, ?, ?, ?)"
_LONGEST = 1 << 23  # characters in one row: half of what SQLite may give us
_KNOWN = "SELECT findings, refused FROM sources WHERE target = ?"


class Unchanged(NamedTuple):
    """What a build says of a library in which nothing changed."""

    found: int  # sources
    files: int  # outputs that they have
    licks: int
    gone: int  # outputs of licks that are no more, still there
    older: int  # those of licks that were skipped
    remembered: tuple[Remembered, ...] = ()


class _Different(Exception):
    """Something is not as it was."""


def is_applicable(config: BuildConfig) -> bool:
    """Return True if a build of this kind can be told by a snapshot: one that makes the outputs of folders on this machine, and nothing besides."""
    besides = (config.report, config.archive, config.release, config.work)
    if config.dry or config.share.of > 1 or any(one is not None for one in besides) or is_remote(config.out):
        return False
    return all(path != "-" and not is_remote(path) and os.path.isdir(path) for path in config.paths)


# --- is all as it was?


def unchanged_since_snapshot(
    manifest: Manifest, storage: Storage, config: BuildConfig, option_sets: OptionSets
) -> Unchanged | None:
    """Return what the build says if all is as the snapshot has it, else None. Raises `Unusable` for findings that no program of ours has entered."""
    try:
        counts = _counts(manifest, config)
        if config.prune and (counts.gone or counts.older):
            return None
        told = _Comparison(manifest, storage, config, option_sets).told()
    except (_Different, OSError, Unreadable, ValueError, TypeError, LookupError, OverflowError, RecursionError):
        return None
    return counts._replace(remembered=tuple(_remembered(manifest, *one) for one in told))


def _counts(manifest: Manifest, config: BuildConfig) -> Unchanged:
    """Return what the snapshot says of the library as a whole. Raises `_Different` where there is none, or one of other paths, and ValueError."""
    from json import loads

    text = manifest.snapshot()
    if not isinstance(text, str):
        raise _Different
    value: Any = loads(text)
    if not isinstance(value, dict) or value.pop("paths", None) != names_from_output(config.out, config.paths):
        raise _Different
    if not all(type(one) is int and one >= 0 for one in value.values()):
        raise _Different
    return Unchanged(**value)


def _remembered(manifest: Manifest, path: str, target: str, option_set: int) -> Remembered:
    """Return what is on record of a source with findings. Raises `Unusable`."""
    row = manifest.db.execute(_KNOWN, (target,)).fetchone()
    if row is None or not all(isinstance(one, str) for one in row):
        raise Unusable("it is damaged")
    return Remembered(0, path, option_set, row[0], skipped_on_record(manifest, target, row[1]))


class _Comparison:
    """One pass over the folders of sources and the rows of a snapshot, side by side."""

    def __init__(self, manifest: Manifest, storage: Storage, config: BuildConfig, option_sets: OptionSets) -> None:
        self._storage = storage
        self._config = config
        self._option_sets = option_sets
        self._contents = config.check_contents
        columns = {"hash": "contents", "outputs": "outputs"} if self._contents else {"hash": "states", "outputs": "''"}
        self._rows = iter(manifest.db.execute(_ROWS.format(**columns)))

    def told(self) -> list[tuple[str, str, int]]:
        """Return path, folder of outputs and option set of each source with findings. Raises `_Different`, OSError, Unreadable, ValueError."""
        root, told = output_root(self._config.out), []
        for path in self._config.paths:
            for folder in walk_folders(path, root, self._config.suffixes):
                if folder.trouble is not None or folder.links:
                    raise _Different
                if folder.names:
                    told += self._told_of(folder, folder_from_output(root, folder.real))
        if next(self._rows, None) is not None:
            raise _Different
        return told

    def _told_of(self, folder: SourceFolder, seen: str) -> list[tuple[str, str, int]]:
        names = folder.names
        row = next(self._rows, None)
        if row is None or [type(one) for one in row] != [str, str, bytes, str]:
            raise _Different
        targets = row[0].split("\n")
        at = folder.shown_path("")
        option_set = self._option_sets.of(at + names[0])
        head = _head(seen, self._option_sets.all[option_set], names)
        if len(targets) != len(names):
            raise _Different
        paths = [at + name for name in names]
        now = (
            self._hash_of_contents(head, paths, targets, row[3])
            if self._contents
            else self._hash_of_states(head, paths, targets)
        )
        if now != row[2]:
            raise _Different
        marks = (line.split(" ") for line in row[1].splitlines())
        return [(paths[int(number)], target, option_set) for number, target in marks]

    def _hash_of_states(self, head: bytes, paths: Sequence[str], targets: Sequence[str]) -> bytes:
        folders = self._storage.folder_states(list(filter(None, targets)))
        if folders is None:
            raise _Different
        found = array("q", chain.from_iterable(map(file_state, map(os.stat, paths))))
        found.extend(chain.from_iterable(folders))
        return _hash(head, found)

    def _hash_of_contents(self, head: bytes, paths: Sequence[str], targets: Sequence[str], outputs: str) -> bytes:
        found, hashes = array("q"), []
        for path, target, line in zip(paths, targets, outputs.split("\n"), strict=True):
            hashes.append(bytes_digest(read_file(path)))
            names = line.split(" ") if line else []
            if not (plain_folder(target) or not target) or not all(map(plain_name, names)):
                raise _Different
            hashes.append(line.encode())
            for state in self._storage.look(target, names).files if names else ():
                if state is None:
                    raise _Different
                found.extend(state)
        return _hash(b"\0".join([head, *hashes]), found)


# --- a snapshot is taken


def take_snapshot(
    manifest: Manifest,
    config: BuildConfig,
    option_sets: Sequence[CompileOptions],
    summary: BuildSummary,
    known: UpToDate,
) -> None:
    """Enter a snapshot after a build that had nothing to do, if one can tell of it; the caller commits.

    Raises what SQLite raises, where it is not for want of a permission.
    """
    if not (known.settled and is_applicable(config) and _is_whole(manifest, option_sets)):
        return
    from json import dumps

    manifest.keep()
    with unless_readonly():
        manifest.begin()
        manifest.with_snapshot()
        manifest.db.execute("DELETE FROM snapshot")
        try:
            manifest.db.executemany(_ROW, _rows(manifest, config, option_sets))
        except _Different:
            manifest.db.execute("ROLLBACK")
            return

        counts = Unchanged(0, known.files, known.licks, summary.gone, summary.older)
        (found,) = manifest.db.execute("SELECT count(*) FROM temp.same").fetchone()
        value = counts._replace(found=found)._asdict()
        del value["remembered"]
        manifest.note_snapshot(dumps({"paths": names_from_output(config.out, config.paths), **value}))


def _is_whole(manifest: Manifest, option_sets: Sequence[CompileOptions]) -> bool:
    """Return True if a scan holds all sources on record and nothing else, all unchanged, and the build writes nothing but their outputs."""
    db = manifest.db
    numbers = [db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("scan", "temp.same", "sources")]
    pages = manifest.has_site() or any("page" in one.formats for one in option_sets)
    plain = not any(one.numbered or one.blocked for one in option_sets)
    return len(set(numbers)) == 1 and plain and not pages and not manifest.has_copies()


def _rows(
    manifest: Manifest, config: BuildConfig, option_sets: Sequence[CompileOptions]
) -> Iterator[tuple[int, str, str, bytes, bytes, str]]:
    """Yield the rows of a snapshot, one for each folder of sources. Raises `_Different` for what it cannot tell of."""
    root = output_root(config.out)
    wanted = [SuffixCache(one.suffixes()) for one in option_sets]
    sources = manifest.db.execute(_SOURCES)
    for number, (folder, found) in enumerate(groupby(sources, lambda row: os.path.dirname(os.fsdecode(row[0])))):
        rows = list(found)
        seen = folder_from_output(root, os.path.realpath(folder))
        names = [os.path.basename(os.fsdecode(row[0])) for row in rows]
        at = os.path.join(seen, "")
        if any(row[1] != at + slashed(name) or row[3] != rows[0][3] for row, name in zip(rows, names, strict=True)):
            raise _Different  # a link
        head = _head(seen, option_sets[rows[0][3]], names)
        states = array("q", [value for row in rows for value in row[6:10]])
        hashes, outputs, output_states = [], [], array("q")
        for row in rows:
            files = [
                file
                for file in manifest.db.execute(_OUTPUTS, (row[2],)).fetchall()
                if wanted[row[3]][file[0][len(file[1]) :]]
            ]
            outputs.append(" ".join(file[0] for file in files))
            hashes += [row[5], outputs[-1].encode()]
            output_states.extend([value for file in files for value in file[2:]])
        states.extend([value for row, line in zip(rows, outputs, strict=True) if line for value in row[10:]])
        targets = "\n".join(row[2] if line else "" for row, line in zip(rows, outputs, strict=True))
        names_of_outputs = "\n".join(outputs)
        told = "\n".join(f"{n} {row[2]}" for n, row in enumerate(rows) if row[4])
        if max(map(len, (targets, told, names_of_outputs))) > _LONGEST:
            raise _Different
        yield (
            number, targets, told, _hash(head, states), _hash(b"\0".join([head, *hashes]), output_states), names_of_outputs,
        )  # fmt: skip


def _head(seen: str, compile_options: CompileOptions, names: Sequence[str]) -> bytes:
    """Return what is hashed of a folder besides states and contents: its path as seen from the output folder, options, and the names in it."""
    options = f"{compile_options.key.hex()} {compile_options.formats} {compile_options.facts}"
    return os.fsencode("\0".join([seen, options, *names]))


def _hash(text: bytes, states: array[int]) -> bytes:
    return blake2b(b"%d " % len(text) + text + states.tobytes(), digest_size=16).digest()
