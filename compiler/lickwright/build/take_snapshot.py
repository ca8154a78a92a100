"""Takes the snapshot of a library by which the next build knows at once that it has nothing to do; see `snapshot.py`.

In: the scan of a build that found all sources unchanged, with the states that it has seen. Out: rows of the table `snapshot`. Nothing is looked at anew:
what changes meanwhile has another state than the one that is entered.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

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


def _rows(
    manifest: Manifest, config: BuildConfig, option_sets: Sequence[CompileOptions]
) -> Iterator[tuple[int, str, str, bytes, bytes, str]]:
    """Yield the rows of a snapshot, one for each folder of sources. Raises `Different` for what it cannot tell of."""
    root = output_root(config.out)
    wanted = [SuffixCache(one.suffixes()) for one in option_sets]
    sources = manifest.db.execute(_SOURCES)
    for number, (folder, found) in enumerate(groupby(sources, lambda row: os.path.dirname(os.fsdecode(row[0])))):
        rows = list(found)
        seen = folder_from_output(root, os.path.realpath(folder))
        names = [os.path.basename(os.fsdecode(row[0])) for row in rows]
        at = os.path.join(seen, "")
        if any(row[1] != at + slashed(name) or row[3] != rows[0][3] for row, name in zip(rows, names, strict=True)):
            raise Different  # a link
        head = folder_head(seen, option_sets[rows[0][3]], names)
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
        told = "".join(TOLD if row[4] else UNTOLD for row in rows)
        if max(map(len, (targets, told, names_of_outputs))) > _LONGEST:
            raise Different
        yield (
            number, targets, told, state_hash(head, states), state_hash(b"\0".join([head, *hashes]), output_states), names_of_outputs,
        )  # fmt: skip
