"""The snapshot of a library with nothing to be done, by which the next build knows in one short pass that nothing changed since.

In: a build, its manifest, and the folders of sources as they are now. Out: the counts of that build and the findings on record, or None: then the
build goes its whole way, which judges each source by itself. A snapshot (`take_snapshot.py`) holds two hashes for each folder of sources: of names and
states, of the sources and of their folders of outputs; and of the bytes of sources and the states of outputs. A folder's times change with
every file that is added to it, removed or replaced; an output whose bytes are changed in place is seen where the build looks at
contents. Whatever is entered into the manifest ends the snapshot (`Manifest.begin`). Compiles nothing, and writes to no file.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Sequence
from itertools import chain, compress
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build.remembered import Remembered, skipped_on_record
from lickwright.core.digest import blake2b, bytes_digest
from lickwright.core.file_bytes import read_file
from lickwright.core.source_discovery import SourceFolder, walk_folders
from lickwright.core.unreadable import Unreadable
from lickwright.store.addresses import is_remote
from lickwright.store.guarded_database import Unusable
from lickwright.store.local_storage import file_state
from lickwright.store.ownership import plain_folder, plain_name
from lickwright.store.source_paths import folder_from_output, names_from_output, output_root, slashed

if TYPE_CHECKING:
    from lickwright.build.build_config import BuildConfig
    from lickwright.build.option_sets import OptionSets
    from lickwright.store.manifest import Manifest
    from lickwright.store.storage import Storage
    from lickwright.store.types import CompileOptions

UNTOLD, TOLD = "01"  # marks of sources in the column `told`
_ROWS = "SELECT targets, told, {hash}, {outputs} FROM snapshot ORDER BY number"
_KNOWN = "SELECT target, findings, refused FROM sources WHERE path = ?"


class Unchanged(NamedTuple):
    """What a build says of a library in which nothing changed."""

    found: int  # sources
    files: int  # outputs that they have
    licks: int
    gone: int  # outputs of licks that are no more, still there
    older: int  # those of licks that were skipped
    remembered: tuple[Remembered, ...] = ()


class Different(Exception):
    """Something is not as it was."""


def is_applicable(config: BuildConfig) -> bool:
    """Return True if a build of this kind can be told by a snapshot: one that makes the outputs of folders on this machine, and nothing besides."""
    besides = (config.report, config.archive, config.release, config.work)
    if config.dry or config.share.of > 1 or any(one is not None for one in besides) or is_remote(config.out):
        return False
    return all(path != "-" and not is_remote(path) and os.path.isdir(path) for path in config.paths)


def unchanged_since_snapshot(
    manifest: Manifest, storage: Storage, config: BuildConfig, option_sets: OptionSets
) -> Unchanged | None:
    """Return what the build says if all is as the snapshot has it, else None. Raises `Unusable` for findings that no program of ours has entered."""
    try:
        counts = _counts(manifest, config)
        if config.prune and (counts.gone or counts.older):
            return None
        told = _Comparison(manifest, storage, config, option_sets).told()
    except (Different, OSError, Unreadable, ValueError, TypeError, LookupError, OverflowError, RecursionError):
        return None
    return counts._replace(remembered=tuple(_remembered(manifest, *one) for one in told))


def _counts(manifest: Manifest, config: BuildConfig) -> Unchanged:
    """Return what the snapshot says of the library as a whole. Raises `Different` where there is none, or one of other paths, and ValueError."""
    from json import loads

    text = manifest.snapshot()
    if not isinstance(text, str):
        raise Different
    value: Any = loads(text)
    if not isinstance(value, dict) or value.pop("paths", None) != names_from_output(config.out, config.paths):
        raise Different
    if not all(type(one) is int and one >= 0 for one in value.values()):
        raise Different
    return Unchanged(**value)


def _remembered(manifest: Manifest, path: str, seen: str, option_set: int) -> Remembered:
    """Return what is on record of a source with findings; `seen` is its path on record. Raises `Unusable`."""
    row = manifest.db.execute(_KNOWN, (seen,)).fetchone()
    if row is None or not all(isinstance(one, str) for one in row):
        raise Unusable("it is damaged")
    target, findings, refused = row
    return Remembered(0, path, option_set, findings, skipped_on_record(manifest, target, refused))


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
        """Return path, path on record and option set of each source with findings. Raises `Different`, OSError, Unreadable, ValueError."""
        root, told = output_root(self._config.out), []
        for path in self._config.paths:
            for folder in walk_folders(path, root, self._config.suffixes):
                if folder.trouble is not None or not folder.all_ordinary:
                    raise Different
                if folder.names:
                    told += self._told_of(folder, folder_from_output(root, folder.real))
        if next(self._rows, None) is not None:
            raise Different
        return told

    def _told_of(self, folder: SourceFolder, seen: str) -> list[tuple[str, str, int]]:
        names = folder.names
        row = next(self._rows, None)
        if row is None or [type(one) for one in row] != [str, str, bytes, str]:
            raise Different
        targets, marks = row[0].split("\n"), row[1]
        at = folder.shown_path("")
        option_set = self._option_sets.of(at + names[0])
        head = folder_head(seen, self._option_sets.all[option_set], names)
        if not len(targets) == len(marks) == len(names) or not set(marks) <= {UNTOLD, TOLD}:
            raise Different
        paths = [at + name for name in names]
        now = (
            self._hash_of_contents(head, paths, targets, row[3])
            if self._contents
            else self._hash_of_states(head, paths, targets)
        )
        if now != row[2]:
            raise Different
        found = compress(zip(paths, names, strict=True), (mark == TOLD for mark in marks))
        return [(path, os.path.join(seen, slashed(name)), option_set) for path, name in found]

    def _hash_of_states(self, head: bytes, paths: Sequence[str], targets: Sequence[str]) -> bytes:
        folders = self._storage.folder_states(list(filter(None, targets)))
        if folders is None:
            raise Different
        found = array("q", chain.from_iterable(map(file_state, map(os.stat, paths))))
        found.extend(chain.from_iterable(folders))
        return state_hash(head, found)

    def _hash_of_contents(self, head: bytes, paths: Sequence[str], targets: Sequence[str], outputs: str) -> bytes:
        found, hashes = array("q"), []
        for path, target, line in zip(paths, targets, outputs.split("\n"), strict=True):
            hashes.append(bytes_digest(read_file(path, is_ordinary=True)))
            names = line.split(" ") if line else []
            if not (plain_folder(target) or not target) or not all(map(plain_name, names)):
                raise Different
            hashes.append(line.encode())
            for state in self._storage.look(target, names).files if names else ():
                if state is None:
                    raise Different
                found.extend(state)
        return state_hash(b"\0".join([head, *hashes]), found)


def folder_head(seen: str, compile_options: CompileOptions, names: Sequence[str]) -> bytes:
    """Return what is hashed of a folder besides states and contents: its path as seen from the output folder, options, and the names in it."""
    options = f"{compile_options.key_of_all_sounds().hex()} {compile_options.formats} {compile_options.facts}"
    return os.fsencode("\0".join([seen, options, *names]))


def state_hash(text: bytes, states: array[int]) -> bytes:
    return blake2b(b"%d " % len(text) + text + states.tobytes(), digest_size=16).digest()
