"""Takes the snapshot of a library by which the next build knows at once that it has nothing to do; see `snapshot.py`.

In: the scan of a build that found all sources unchanged, with the states that it has seen. Out: rows of the table `snapshot`. Nothing is looked at anew:
what changes meanwhile has another state than the one that is entered.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Iterator, Sequence
from itertools import chain, groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build.snapshot import TOLD, UNTOLD, Different, Unchanged, folder_head, is_applicable, state_hash
from lickwright.build.up_to_date import SuffixCache, UpToDate
from lickwright.store.guarded_database import unless_readonly
from lickwright.store.source_paths import folder_from_output, names_from_output, output_root, slashed

if TYPE_CHECKING:
    from lickwright.build.build_config import BuildConfig
    from lickwright.build.summary import BuildSummary
    from lickwright.store.manifest import Manifest
    from lickwright.store.types import CompileOptions

_SOURCES = """
SELECT shown, scan.path, scan.target, option_set, told, s.hash, size, mtime, ctime, inode, folder_mtime, folder_ctime, folder_inode
FROM scan JOIN temp.same USING (id) JOIN sources s ON s.path = scan.path ORDER BY scan.id
"""
_OUTPUTS = "SELECT name, lick, size, mtime, ctime, inode FROM outputs WHERE folder = ? AND gone = 0 ORDER BY name"
_ROW = "INSERT INTO snapshot VALUES (?, ?, ?, ?, ?, ?)"
_LONGEST = 1 << 23  # characters in one row: half of what SQLite may give us


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
        except Different:
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


class _Source(NamedTuple):
    """A source of the scan, with its outputs."""

    name: str  # of its file
    path: str
    option_set: int
    told: bool
    hash: bytes
    state: Sequence[int]  # of its file: size, mtime, ctime, inode
    target: str  # the folder of its outputs, "" where it has none
    folder: Sequence[int]  # the state of that folder, () where it has none
    outputs: str  # their names, a space between them
    output_states: Sequence[int]  # as `state`, one after the other


def _rows(
    manifest: Manifest, config: BuildConfig, option_sets: Sequence[CompileOptions]
) -> Iterator[tuple[int, str, str, bytes, bytes, str]]:
    """Yield the rows of a snapshot, one for each folder of sources. Raises `Different` for what it cannot tell of."""
    root = output_root(config.out)
    suffixes = [SuffixCache(one.suffixes()) for one in option_sets]
    rows = manifest.db.execute(_SOURCES)
    for number, (folder, same) in enumerate(groupby(rows, lambda row: os.path.dirname(os.fsdecode(row[0])))):
        sources = [_source(manifest, row, suffixes) for row in same]
        head = _head(folder_from_output(root, os.path.realpath(folder)), sources, option_sets)
        yield number, *_row(head, sources)


def _source(manifest: Manifest, row: Sequence[Any], suffixes: Sequence[SuffixCache]) -> _Source:
    """Return a row of `_SOURCES` with what a build makes of that source."""
    shown, path, target, option_set, told, hash, *states = row
    found = manifest.db.execute(_OUTPUTS, (target,)).fetchall()
    files = [file for file in found if suffixes[option_set][file[0][len(file[1]) :]]]
    outputs, output_states = " ".join(file[0] for file in files), [value for file in files for value in file[2:]]
    name, state = os.path.basename(os.fsdecode(shown)), states[:4]
    target, folder = (target, states[4:]) if outputs else ("", ())
    return _Source(name, path, option_set, bool(told), hash, state, target, folder, outputs, output_states)


def _head(seen: str, sources: Sequence[_Source], option_sets: Sequence[CompileOptions]) -> bytes:
    """Return what is hashed of a folder itself; `seen` is its path from the output folder. Raises `Different`."""
    at, option_set = os.path.join(seen, ""), sources[0].option_set
    if any(one.path != at + slashed(one.name) or one.option_set != option_set for one in sources):
        raise Different  # a link
    return folder_head(seen, option_sets[option_set], [one.name for one in sources])


def _row(head: bytes, sources: Sequence[_Source]) -> tuple[str, str, bytes, bytes, str]:
    """Return the row of a folder of sources, without its number. Raises `Different` for one that would be too long."""
    targets = "\n".join(one.target for one in sources)
    told = "".join(TOLD if one.told else UNTOLD for one in sources)
    outputs = "\n".join(one.outputs for one in sources)
    if max(map(len, (targets, told, outputs))) > _LONGEST:
        raise Different
    states = array("q", chain.from_iterable(one.state for one in sources))
    states.extend(chain.from_iterable(one.folder for one in sources))
    contents = [head]
    for one in sources:
        contents += [one.hash, one.outputs.encode()]
    output_states = array("q", chain.from_iterable(one.output_states for one in sources))
    return targets, told, state_hash(head, states), state_hash(b"\0".join(contents), output_states), outputs
