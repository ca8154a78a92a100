"""The output folders of several shards brought together in one, with one manifest.

In: output folders, each with its manifest. Out: their outputs in one folder, as a single build would have left them, so that a build of the whole
library into it finds nothing to do. Only files that are as they were made are taken over; the shards' folders are only read.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from json import loads
from typing import TYPE_CHECKING, Any

from lickwright.backends import Options
from lickwright.diagnostics import Diagnostic
from lickwright.files import UNREADABLE, reason
from lickwright.library.guarded import understood
from lickwright.library.held import hold
from lickwright.library.manifest import NAME, Made, Manifest, Unusable, damaged, seen_from, stored, whose
from lickwright.library.orders import Item, Order, Result
from lickwright.library.ours import Inside, standing
from lickwright.library.outputs import LARGEST, Output, Place, Trouble, digest, pieces
from lickwright.library.record import Recorder
from lickwright.library.spool import Large
from lickwright.source import Span

if TYPE_CHECKING:
    from lickwright.library.facts import LickFacts

_SOURCES = (
    "SELECT id, path, target, hash, key, formats, made, refused, findings, indexed, alone FROM sources ORDER BY id"
)
_BATCH = 64  # sources between two commits


class Merged:
    """What came of it."""

    def __init__(self) -> None:
        self.sources = 0
        self.files = 0  # outputs that stand in their place now
        self.troubles: list[Trouble] = []


def merge(parts: Sequence[str], out: str, overwrite: bool, say: Callable[[str], None]) -> Merged:
    """Does it. Raises OSError if nothing can be written."""

    def work(manifest: Manifest, place: Place) -> Merged:
        merged = Merged()
        for part in parts:
            if os.path.realpath(part) != os.path.realpath(out):
                _take_over(part, out, manifest, place, merged)
        return merged

    return hold(out, overwrite, say, work)


class _Shard(Exception):
    """A shard's manifest cannot be used; says why."""


@contextmanager
def _of_shard() -> Iterator[None]:
    """Tells damage of a shard's manifest from that of our own."""
    try:
        with understood():
            yield
    except Unusable as e:
        raise _Shard(str(e)) from None
    except sqlite3.DatabaseError as e:
        raise _Shard("it is damaged" if damaged(e) else reason(e)) from None


def _take_over(part: str, out: str, manifest: Manifest, place: Place, merged: Merged) -> None:
    if not os.path.lexists(os.path.join(part, NAME)):
        finding = UNREADABLE.at(
            Span(0, 0), f"there is no manifest in this folder ({NAME})", "name the output folder of a shard"
        )
        merged.troubles.append(Trouble(part, finding))
        return
    try:
        with _opened(part) as theirs:
            recorder = Recorder(manifest)
            for number, (item, result, order, path) in enumerate(
                _sources(part, out, theirs, manifest, place, merged), 1
            ):
                recorder.enter([item._replace(id=number)], [result], [order], [path])
                merged.sources += 1
                merged.files += len(result.outputs)
                if number % _BATCH == 0:
                    manifest.keep()
            manifest.keep()
    except _Shard as e:
        finding = UNREADABLE.at(Span(0, 0), f"the manifest cannot be used: {e}", "build the shard again")
        merged.troubles.append(Trouble(part, finding))


def _opened(part: str) -> Manifest:
    try:
        with _of_shard():
            return Manifest(part, write=False)
    except OSError as e:  # a build was cut off there, say
        raise _Shard(reason(e)) from None


def _rows(theirs: Manifest) -> Iterator[tuple[Any, ...]]:
    """The sources of a shard."""
    with _of_shard():
        rows = iter(theirs.db.execute(_SOURCES))
    while True:
        with _of_shard():
            row = next(rows, None)
        if row is None:
            return
        yield row


def _sources(
    part: str, out: str, theirs: Manifest, ours: Manifest, place: Place, merged: Merged
) -> Iterator[tuple[Item, Result, Order, str]]:
    real = os.path.realpath(out)
    for id, path, target, hash, key, formats, made, refused, findings, indexed, alone in _rows(theirs):
        with _of_shard():
            if path != "-":
                path = stored(seen_from(real, os.path.normpath(os.path.join(os.path.realpath(part), path))))
            licks = tuple((str(title), str(why)) for title, why in loads(refused)) if refused else ()
            facts = _facts(theirs, id) if indexed else ()
            known_there = theirs.known(target)
        outputs, troubles = _read(part, target, known_there.values())
        owner = whose(out, ours.owner(path, target))
        known = tuple(ours.known(target).values())
        placed = place.put(Item(0, path, target, 0, known, tuple(ours.claimed(target)), owner), outputs)
        troubles += placed.troubles
        merged.troubles += troubles
        result = Result(
            0,
            hash is not None and not troubles,
            hash or b"-",
            made,
            licks,
            tuple({output.lick for output in outputs}),
            findings,
            outputs=placed.made,
            facts=facts,
            alone=bool(alone),
        )
        yield (
            Item(0, path, target, 0, known),
            result,
            Order(tuple(formats.split(",")), Options(), None, key, bool(indexed)),
            path,
        )


def _read(part: str, target: str, rows: Iterable[Made]) -> tuple[list[Output], list[Trouble]]:
    """The outputs of one source that are as they were made; never through a link, and no more of a file than it should have."""
    outputs: list[Output] = []
    troubles: list[Trouble] = []
    inside = Inside(part)
    for row in rows:
        path = os.path.join(part, target, row.name)
        why: Diagnostic | None = None
        data: bytes | Large = b""
        try:
            whole = inside.file(target, row.name)
            status = standing(whole)
            if status is None:
                raise FileNotFoundError(2, os.strerror(2))
            if status.st_size == row.size <= LARGEST:
                data = Large(partial(pieces, whole))
            if len(data) != row.size or digest(data) != row.hash:
                why = UNREADABLE.at(
                    Span(0, 0), "the file was changed since it was made: left out", "build the shard again"
                )
        except OSError as e:
            why = UNREADABLE.at(Span(0, 0), f"the file cannot be read: {reason(e)}", "build the shard again")
        if why is None:
            outputs.append(Output(row.name, data, row.lick, row.format))
        else:
            troubles.append(Trouble(path, why))
    return outputs, troubles


def _facts(theirs: Manifest, id: int) -> tuple[LickFacts, ...]:
    from lickwright.library import index

    return tuple(index.load(theirs.db, id))
