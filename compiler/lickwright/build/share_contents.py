"""Reads what the output folder of a share holds, for a merge.

In: the storage and the manifest of a share. Out: its sources with all that is on record of them, and those of its outputs that are as they were made. Damage
comes out as `BrokenShare`. Nothing is written.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from json import loads
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build.shares import BrokenShare, ShareFolder, share_damage
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import UNREADABLE
from lickwright.core.source import Span, Unreadable
from lickwright.store import diagnostics_json, recorded_sounds
from lickwright.store.addresses import is_remote
from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.output_writer import LARGEST, Output, content_digest
from lickwright.store.ownership import UnsafePath
from lickwright.store.source_paths import STDIN, folder_from_output, output_root, real_path
from lickwright.store.sources import read_source
from lickwright.store.spool import LargeData
from lickwright.store.storage import Storage, read_output
from lickwright.store.types import PathDiagnostic, SkippedLick

if TYPE_CHECKING:
    from lickwright.store.features import LickFacts

_SOURCES = (
    "SELECT id, path, target, hash, key, formats, made, refused, findings, indexed, alone FROM sources ORDER BY id"
)


class ShareSource(NamedTuple):
    """What a share has on record of one source."""

    shown: str  # its path as the user would write it
    path: str  # as our manifest has it
    target: str
    hash: bytes | None
    key: bytes
    formats: tuple[str, ...]
    made: int
    licks: tuple[SkippedLick, ...]
    findings: str
    found: tuple[Diagnostic, ...]  # the same findings
    indexed: bool
    alone: bool
    facts: tuple[LickFacts, ...]
    rows: Sequence[OutputRow]
    named: tuple[Any, ...]
    heard: tuple[tuple[bytes, bytes], ...]

    @staticmethod
    def read(part: ShareFolder, theirs: Manifest, out: str, row: tuple[Any, ...]) -> ShareSource:
        """Return what the row of a source says, with what belongs to it in other tables. Raises `BrokenShare`."""
        id, path, target, hash, key, formats, made, refused, findings, indexed, alone = row
        shown, path = paths_of_source(part.folder, out, path)
        licks = tuple(SkippedLick(str(title), str(why), str(slug)) for title, why, slug, _ in loads(refused or "[]"))
        found = diagnostics_json.diagnostics_from_json(findings, None)
        if found is None:
            raise BrokenShare("it is damaged")
        rows = theirs.current(target)
        return ShareSource(
            shown, path, target, hash, key, tuple(formats.split(",")), made, licks, findings, found, bool(indexed), bool(alone),
            _facts(theirs, id) if indexed else (), rows, theirs.names(target), recorded_sounds.sounds_of_outputs(theirs, rows),
        )  # fmt: skip


def paths_of_source(part: str, out: str, path: str) -> tuple[str, str]:
    """Return a path of a share's manifest as the user would write it, and as the manifest of `out` has it."""
    if path == STDIN or is_remote(path):
        return path, path
    whole = os.path.normpath(os.path.join(real_path(part), path))
    here = os.path.relpath(whole)
    return whole if here.startswith(os.pardir) else here, folder_from_output(output_root(out), whole)


def text_of_source(path: str, hash: bytes | None) -> str:
    """Return the source, to show what is wrong under its lines; "" where it is elsewhere, or another by now."""
    try:
        data = read_source(path)
    except Unreadable:
        return ""
    return data.decode("utf-8", "replace") if content_digest(data) == hash else ""


def source_rows(theirs: Manifest) -> Iterator[tuple[Any, ...]]:
    """Yield the sources of a share. Raises `BrokenShare`."""
    with share_damage():
        rows = iter(theirs.db.execute(_SOURCES))
    while True:
        with share_damage():
            row = next(rows, None)
        if row is None:
            return
        yield row


def read_outputs(storage: Storage, target: str, rows: Iterable[OutputRow]) -> tuple[list[Output], list[PathDiagnostic]]:
    """Return the outputs of one source that are as they were made; never through a link, and no more of a file than it should have."""
    outputs: list[Output] = []
    troubles: list[PathDiagnostic] = []
    for row in rows:
        why: Diagnostic | None = None
        data: bytes | LargeData = b""
        try:
            state = storage.state(target, row.name)
            if state is None:
                raise FileNotFoundError(2, os.strerror(2))
            if state.kind != "file":
                raise UnsafePath(f"{row.name} is a {state.kind} and not ours: take it away")
            if state.size == row.size <= LARGEST:
                data = LargeData(partial(read_output, storage, target, row.name))
            if len(data) != row.size or content_digest(data) != row.hash:
                changed = "the file was changed since it was made: left out"
                why = UNREADABLE.at(Span(0, 0), changed, "build the shard again")
        except OSError as e:
            why = UNREADABLE.at(Span(0, 0), f"the file cannot be read: {error_reason(e)}", "build the shard again")
        if why is None:
            outputs.append(Output(row.name, data, row.lick, row.format))
        else:
            troubles.append(PathDiagnostic(storage.shown(target, row.name), why))
    return outputs, troubles


def _facts(theirs: Manifest, id: int) -> tuple[LickFacts, ...]:
    from lickwright.store import index_schema

    return tuple(index_schema.load_index_rows(theirs.db, id))
