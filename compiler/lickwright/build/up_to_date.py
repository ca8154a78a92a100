"""Which sources need no work.

In: the scan of a build (`planner.py`) and the manifest. Out: the table `same`, and what is to be said again about its sources. A source is unchanged if
its bytes hash to what is on record, under the same key and for the formats wanted, and all its outputs are there as we left them: size, times
and inode as they were, or else the same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.files import read_file
from lickwright.core.source import Unreadable
from lickwright.store.manifest import Made, Manifest, Unusable
from lickwright.store.output_writer import content_digest, recorded_file
from lickwright.store.ownership import Inside
from lickwright.store.types import CompileOptions, Skipped

# Both in the order of the folders of outputs, to be read side by side: a question for each source would take three times as long. Both begin with
# the scan, so that one file of a large library is quick (`CROSS JOIN` keeps SQLite to that order).
_MATCHED = """
SELECT scan.id, shown, s.target, ordered, s.hash, key, formats, made, s.findings <> '' OR refused <> '', indexed, before
FROM scan CROSS JOIN sources s ON s.path = scan.path
WHERE state = '' AND s.target = scan.target AND s.hash IS NOT NULL ORDER BY s.target
"""
_OUTPUTS = """
SELECT folder, name, lick, format, hash, size, mtime, ctime, inode FROM outputs
WHERE folder IN (SELECT target FROM scan) AND gone = 0 ORDER BY folder
"""
_REMEMBERED = """
SELECT scan.id, shown, scan.target, ordered, s.findings, refused FROM temp.same JOIN scan USING (id) JOIN sources s ON s.path = scan.path
WHERE told ORDER BY scan.id
"""


class Remembered(NamedTuple):
    """An unchanged source with something to be said about it."""

    id: int
    path: str  # as the user knows it
    order: int
    findings: str  # see `store/diagnostics_json.py`
    refused: tuple[Skipped, ...]  # licks that were not made


def find_up_to_date(manifest: Manifest, out: str, orders: Sequence[CompileOptions]) -> tuple[int, int]:
    """Fills the table `same` with the sources that need no work; gives how many outputs and licks these have."""
    moved: list[tuple[object, ...]] = []
    counts = [0, 0]
    try:
        rows = _unchanged(manifest, out, orders, moved, counts)
        manifest.db.executemany("INSERT INTO temp.same VALUES (?, ?)", rows)
    except (TypeError, ValueError, AttributeError, OverflowError):  # what no program of ours has entered
        raise Unusable("it is damaged") from None
    if moved and manifest.writable:  # the very bytes, but copied or touched: the next look is short again
        manifest.keep()
        manifest.begin()
        manifest.db.executemany(
            "UPDATE outputs SET size = ?, mtime = ?, ctime = ?, inode = ? WHERE folder = ? AND name = ?", moved
        )
    return counts[0], counts[1]


def remembered_of(manifest: Manifest) -> Iterator[Remembered]:
    """The sources of `same` that something is to be said about, in the order of the scan."""
    from json import loads

    for id, shown, target, ordered, findings, refused in manifest.db.execute(_REMEMBERED).fetchall():
        try:
            skipped = tuple(_skipped(manifest, target, *one) for one in loads(refused)) if refused else ()
        except (TypeError, ValueError, RecursionError):
            raise Unusable("it is damaged") from None
        yield Remembered(id, os.fsdecode(shown), ordered, findings, skipped)


def _skipped(manifest: Manifest, folder: str, title: object, why: object, slug: object, older: object) -> Skipped:
    """A lick that was not made, as it was entered; the older files of it are counted anew, since they may have been taken away."""
    if older:
        (older,) = manifest.db.execute(
            "SELECT count(*) FROM outputs WHERE folder = ? AND lick = ? AND gone <> 0", (folder, str(slug))
        ).fetchone()
    return Skipped(str(title), str(why), str(slug), int(str(older)))


def _unchanged(
    manifest: Manifest, out: str, orders: Sequence[CompileOptions], moved: list[tuple[object, ...]], counts: list[int]
) -> Iterator[tuple[int, bool]]:
    outputs = manifest.db.execute(_OUTPUTS)
    output = outputs.fetchone()
    inside = Inside(out)
    asked = [order.suffixes() for order in orders]
    enough: dict[tuple[int, str], bool] = {}  # by order: whether these formats are all that it wants
    for id, shown, target, ordered, hash, key, formats, made, told, indexed, before in manifest.db.execute(_MATCHED):
        order = orders[ordered]
        wanted = asked[ordered]
        while output is not None and output[0] < target:
            output = outputs.fetchone()
        rows = []
        while output is not None and output[0] == target:
            row = Made._make(output[1:])
            if row.suffix in wanted:
                rows.append(row)
            output = outputs.fetchone()
        if (ordered, formats) not in enough:
            enough[ordered, formats] = set(formats.split(",")).issuperset(order.formats)
        if key != order.key_after(before) or order.facts > indexed or not enough[ordered, formats]:
            continue
        if len(rows) != made * len(wanted):
            continue
        try:
            data = read_file(os.fsdecode(shown)) if shown != b"-" else b""
        except Unreadable:
            continue
        if content_digest(data) == hash and _all_there(inside, target, rows, moved):
            counts[0] += len(rows)
            counts[1] += made
            yield id, told


def _all_there(inside: Inside, folder: str, rows: Sequence[Made], moved: list[tuple[object, ...]]) -> bool:
    """Whether all outputs are as we left them. One with another time or place is read; if only those differ, it is noted in `moved`."""
    for row in rows:
        try:
            now = recorded_file(inside.file(folder, row.name), row)
        except OSError:  # the work on the source says what is the matter
            return False
        if now is None or now.hash != row.hash:
            return False
        if now is not row:
            moved.append((now.size, now.mtime, now.ctime, now.inode, folder, row.name))
    return True
