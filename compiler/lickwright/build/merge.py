"""The output folders of several shards brought together in one, with one manifest.

In: output folders, each with its manifest. Out: their outputs in one folder, as a single build would have left them, so that a build of the whole
library into it finds nothing to do; and an `BuildSummary` that says what a single build would have said. Only files that are as they were made are
taken over; the shards' folders are only read.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from json import loads
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.build import planner, prune
from lickwright.build.prediction import Prediction
from lickwright.build.shares import Broken, ShareFolder, of_share, open_share
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.files import UNREADABLE, error_reason, read_file
from lickwright.core.source import Span, Unreadable
from lickwright.export import Options
from lickwright.store import diagnostics_json, recorded_sounds
from lickwright.store.build_record import save_build_record, seen_below
from lickwright.store.dry_output import Rehearsal, writable
from lickwright.store.locked_output import hold_output
from lickwright.store.manifest import RELEASE, Made, Manifest, seen_from, stored, whose
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.output_writer import LARGEST, Output, OutputWriter, Placed, content_digest, read_pieces
from lickwright.store.ownership import Inside, standing
from lickwright.store.spool import Large
from lickwright.store.types import CompileOptions, Skipped, Trouble, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.store.features import LickFacts

_SOURCES = (
    "SELECT id, path, target, hash, key, formats, made, refused, findings, indexed, alone FROM sources ORDER BY id"
)
_BATCH = 64  # sources between two commits


class Merge(NamedTuple):
    """What one merge is to do."""

    parts: Sequence[ShareFolder]  # all shares of one build
    out: str
    overwrite: bool = False
    prune: bool = False
    dry: bool = False  # only say what would be done
    report: Callable[[Iterator[bytes]], None] | None = None  # takes the parts of the machine report


def merge_shards(wish: Merge, teller: BuildObserver) -> BuildSummary:
    """Does it. Raises OSError if nothing can be written."""

    def work(manifest: Manifest, place: OutputWriter) -> BuildSummary:
        account = BuildSummary(teller)
        _Merging(wish, teller, manifest, place, account).run()
        return account

    if not wish.dry:
        return hold_output(wish.out, wish.overwrite, teller.say, work)
    writable(wish.out)
    with Manifest(wish.out if os.path.isdir(wish.out) else None, write=False) as manifest:
        return work(manifest, Rehearsal(wish.out, wish.overwrite))


class _Merging:
    """One merge, with the output folder held."""

    def __init__(
        self, wish: Merge, teller: BuildObserver, manifest: Manifest, place: OutputWriter, account: BuildSummary
    ) -> None:
        self._wish = wish
        self._teller = teller
        self._manifest = manifest
        self._place = place
        self._account = account
        self._foreseen = Prediction(manifest, wish.out, True, "take over") if wish.dry else None
        self._recorder = ManifestWriter(manifest)
        self._number = 0  # of the last source, from 1
        self._unread: list[str] = []
        self._from: dict[str, str] = {}  # where each source was taken from, by its path in our manifest
        self._doubled: list[Trouble] = []  # sources that are in a second share

    def run(self) -> None:
        """All of it."""
        wish, account = self._wish, self._account
        planner.begin(self._manifest)
        broken: list[Trouble] = []
        for part in wish.parts:
            try:
                with open_share(part.folder) as theirs:
                    for source in self._sources(part, theirs):
                        self._enter(*source)
            except Broken as e:
                why = UNREADABLE.at(Span(0, 0), f"the manifest cannot be used: {e}", "build the share again")
                broken.append(Trouble(part.folder, why))
            self._forgotten(part)
        account.found = account.built + account.failed
        for trouble in broken + self._doubled:
            account.broke(trouble)
        prune.find_lost(self._manifest, wish.out)
        if self._foreseen is not None:
            self._foreseen.tell(self._teller, account, wish.prune)
            self._foreseen.estimate(account, 0, 0.0)
        else:
            if wish.prune:
                account.pruned(*prune.prune(self._manifest, wish.out))
            else:
                account.gone, account.older = prune.count_prunable(self._manifest)
            if self._manifest.has_copies():
                place = os.path.join(wish.out, RELEASE)
                account.release.append(
                    f"{place} is left as it was: make the library into {wish.out} to bring it up to date"
                )
            self._keep_record()
        if wish.report is not None:
            from lickwright.build.report import report_parts

            wish.report(report_parts(wish.out, account, self._manifest))

    def _keep_record(self) -> None:
        first = self._wish.parts[0]
        whole = tuple(range(1, first.record.of + 1))
        named = (path if path == "-" else os.path.join(first.folder, path) for path in first.record.paths)
        paths = seen_below(self._wish.out, named)
        done = () if self._account.lost else whole
        unread = tuple(sorted(self._unread))
        save_build_record(
            self._manifest, first.record._replace(paths=tuple(paths), begun=whole, done=done, unread=unread, gone=())
        )
        self._manifest.keep()

    def _sources(
        self, part: ShareFolder, theirs: Manifest
    ) -> Iterator[tuple[WorkItem, WorkResult, CompileOptions, str]]:
        """Each source of a share with what is taken over of it, and its path as our manifest has it. Raises `Broken`."""
        real = os.path.realpath(self._wish.out)
        for id, path, target, hash, key, formats, made, refused, findings, indexed, alone in _rows(theirs):
            if path in part.record.gone:
                continue
            with of_share():
                shown, path = _places(part.folder, real, path)
                licks = (
                    tuple(Skipped(str(title), str(why), str(slug)) for title, why, slug, _ in loads(refused))
                    if refused
                    else ()
                )
                facts = _facts(theirs, id) if indexed else ()
                rows = theirs.current(target)
                named = theirs.names(target)
                heard = recorded_sounds.known(theirs, rows)
                found = diagnostics_json.diagnostics_from_json(findings, None)
            if found is None:
                raise Broken("it is damaged")
            if path in self._from:
                self._doubled.append(Trouble(shown, _twice(self._from[path], part.folder)))
                continue
            self._from[path] = part.folder
            outputs, troubles = _read(part.folder, target, rows)
            if hash is None and not alone and not troubles:
                troubles.append(Trouble(shown, _half(part.folder)))
            known = tuple(self._manifest.known(target).values())
            owner = whose(self._wish.out, self._manifest.owner(path, target))
            claims = tuple(self._manifest.claimed(target))
            self._number += 1
            item = WorkItem(self._number, shown, target, 0, known, claims, taken=owner)
            placed = self._place.put(item, outputs) if outputs else Placed((), 0, ())
            troubles += placed.troubles
            result = WorkResult(
                self._number,
                hash is not None and not troubles,
                hash or b"-",
                len({output.lick for output in placed.made}) if troubles else made,
                tuple(one._replace(older=sum(row.lick == one.slug for row in known)) for one in licks),
                tuple({output.lick for output in outputs}),
                findings,
                _text(shown, hash) if found else "",
                outputs=placed.made,
                written=placed.written,
                size=placed.size,
                troubles=tuple(troubles),
                facts=facts,
                alone=bool(alone),
                sounds=heard,
                ok=not licks and not has_errors(found),
                named=named,
            )
            order = CompileOptions(tuple(formats.split(",")), Options(), None, key, bool(indexed))
            yield item, result, order, path

    def _enter(self, item: WorkItem, result: WorkResult, order: CompileOptions, path: str) -> None:
        db = self._manifest.db
        entry = (
            "INSERT OR REPLACE INTO scan (id, shown, path, target, ordered, named, ours, before, state, findings) "
            "VALUES (?, ?, ?, ?, 0, 0, 1, 0, ?, ?)"
        )
        if self._foreseen is not None:
            self._foreseen.enter([item], [result])
        else:
            self._recorder.enter([item], [result], [order], [path])
        states = self._account.chunk(item.id - 1, [(item.path, result, order)], self._wish.report is not None)
        db.execute(entry, (item.id, os.fsencode(item.path), path, item.target, *states[0]))
        if item.id % _BATCH == 0:
            self._manifest.keep()

    def _forgotten(self, part: ShareFolder) -> None:
        """Tells the sources of which the share knows nothing, since they could not be read."""
        for path in part.record.unread:
            shown, ours = _places(part.folder, os.path.realpath(self._wish.out), path)
            self._unread.append(ours)
            why = "the source could not be read when the share was made"
            finding = UNREADABLE.at(Span(0, 0), why, "make the share again")
            self._account.trouble(shown, diagnostics_json.diagnostics_to_json([finding]))


def _places(part: str, out: str, path: str) -> tuple[str, str]:
    """A path of a share's manifest as the user would write it, and as ours has it."""
    if path == "-":
        return path, path
    whole = os.path.normpath(os.path.join(os.path.realpath(part), path))
    here = os.path.relpath(whole)
    return whole if here.startswith(os.pardir) else here, stored(seen_from(out, whole))


def _half(folder: str) -> Diagnostic:
    why = f"not all of it could be made when the share in {folder} was"
    return UNREADABLE.at(Span(0, 0), why, "make the share again: it says why")


def _twice(first: str, second: str) -> Diagnostic:
    why = f"it is in {first} and in {second}, where it was made outside of its share: not taken from there"
    return UNREADABLE.at(Span(0, 0), why, "make that share again in an empty folder")


def _text(path: str, hash: bytes | None) -> str:
    """The source, to show what is wrong under its lines; "" where it is elsewhere, or another by now."""
    try:
        data = read_file(path)
    except Unreadable:
        return ""
    return data.decode("utf-8", "replace") if content_digest(data) == hash else ""


def _rows(theirs: Manifest) -> Iterator[tuple[Any, ...]]:
    """The sources of a share."""
    with of_share():
        rows = iter(theirs.db.execute(_SOURCES))
    while True:
        with of_share():
            row = next(rows, None)
        if row is None:
            return
        yield row


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
                data = Large(partial(read_pieces, whole))
            if len(data) != row.size or content_digest(data) != row.hash:
                why = UNREADABLE.at(
                    Span(0, 0), "the file was changed since it was made: left out", "build the shard again"
                )
        except OSError as e:
            why = UNREADABLE.at(Span(0, 0), f"the file cannot be read: {error_reason(e)}", "build the shard again")
        if why is None:
            outputs.append(Output(row.name, data, row.lick, row.format))
        else:
            troubles.append(Trouble(path, why))
    return outputs, troubles


def _facts(theirs: Manifest, id: int) -> tuple[LickFacts, ...]:
    from lickwright.store import index_schema

    return tuple(index_schema.load_index_rows(theirs.db, id))
