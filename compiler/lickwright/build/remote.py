"""A build whose sources or outputs are not on this machine: any address of fsspec, with the same work, results and manifest.

In: addresses. Out: an `BuildSummary`; outputs at their address, and the manifest beside them. Whoever does the work reads and writes at the addresses by
itself; the manifest is fetched in the beginning, and put back whole now and then and in the end. What this cannot promise, since nothing out there
can: that two builds do not work in one place at once. Outputs are the same then, and the manifest is that of the later one. A build that is
killed is gone on with by the next one: what stands already is known by its bytes.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from functools import partial
from itertools import islice
from typing import Any, NamedTuple

from lickwright.build.process_pool import CHUNK, Chunk, Pool, Setup
from lickwright.build.remote_output import far_make
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.build.task import run_guarded
from lickwright.core.files import NO_LICKS, Unopened
from lickwright.core.slugs import distinct_names, slug
from lickwright.core.source import Span
from lickwright.core.source_discovery import SUFFIX
from lickwright.store import addresses, diagnostics_json
from lickwright.store.addresses import Spot, absolute_name, answering, parse_address
from lickwright.store.guarded_database import DAMAGED, LARGEST, stored_values
from lickwright.store.manifest import NAME, Made, Unusable, aside, damaged, open_manifest
from lickwright.store.manifest_writer import ManifestWriter
from lickwright.store.output_writer import Begins, OutputWriter, content_digest, unwritable
from lickwright.store.types import CompileOptions, Skipped, WorkItem, WorkResult

_KEPT = 30.0  # seconds between two times that the manifest is put back


class Far(NamedTuple):
    """What is to be done."""

    paths: Sequence[str]
    out: str
    order_of: Callable[[str], CompileOptions]
    jobs: int = 1
    overwrite: bool = False
    workers: Callable[[Setup], AbstractContextManager[Any]] | None = None  # a cluster's


class _Source(NamedTuple):
    path: str  # its address
    target: str  # the folder of its outputs
    order: int  # which of the run's orders holds


def build_at_address(wish: Far, teller: BuildObserver) -> BuildSummary:
    """Does it. Raises `NoAddress` where an address cannot be used at all."""
    account = BuildSummary(teller)
    try:
        try:
            with tempfile.TemporaryDirectory(prefix="lickwright-") as folder:
                _Build(wish, teller, account, folder).run()
        except (Unusable, sqlite3.DatabaseError, UnicodeError) as e:
            if not damaged(e) or account.stopped:
                raise
            teller.say(aside(wish.out, e if isinstance(e, Unusable) else DAMAGED))
            account = BuildSummary(teller)
            with tempfile.TemporaryDirectory(prefix="lickwright-") as folder:
                _Build(wish, teller, account, folder, forget=True).run()
    except OSError as e:
        account.broke(unwritable(wish.out, e, "place"))
    return account


class _Build:
    def __init__(
        self, wish: Far, teller: BuildObserver, account: BuildSummary, folder: str, forget: bool = False
    ) -> None:
        self._wish = wish
        self._teller = teller
        self._account = account
        self._folder = folder  # of the manifest, here
        self._forget = forget  # the one that is there cannot be used
        self._out = parse_address(wish.out)
        self._orders: list[CompileOptions] = []
        self._listed: dict[str, dict[str, Any]] | None = (
            None  # what stands out there, by folder; None: not looked at yet
        )
        self._number = 0  # of the next chunk

    def run(self) -> None:
        """All of it."""
        there = f"{self._out.path}/{NAME}"
        with answering(Unusable):
            if not self._forget and self._out.fs.exists(there):
                info = self._out.fs.info(there)
                if info.get("islink") or info["type"] != "file" or int(info["size"] or 0) > LARGEST:
                    raise Unusable("it is not one of our files")
                self._out.fs.get_file(there, os.path.join(self._folder, NAME))
        sources = list(self._sources())
        self._account.found += len(sources)
        try:
            with open_manifest(self._folder, self._teller.say) as self._manifest:
                self._work(sources)
        except KeyboardInterrupt:
            self._account.stop()
        self._put_back()

    def _put_back(self) -> None:
        with open(os.path.join(self._folder, NAME), "rb") as file:
            addresses.put_remote(self._out, f"{self._out.path}/{NAME}", file.read())

    # --- what there is

    def _sources(self) -> Iterator[_Source]:
        """Every source once, sorted below each address."""
        found: dict[str, str] = {}
        for address in self._wish.paths:
            at = parse_address(address)
            with answering():
                below = list(_below(address, at))
            if not below:
                message = "there is no .lick file at this address or below it"
                self._account.found += 1
                self._account.trouble(
                    address,
                    diagnostics_json.diagnostics_to_json([NO_LICKS.at(Span(0, 0), message, "check the address")]),
                )
            for path, inside in below:
                folder, _, name = inside.rpartition("/")
                above = "".join(slug(part) + "/" for part in folder.split("/")) if folder else ""
                found.setdefault(path, above + slug(name[: -len(SUFFIX)]))
        for path, target in zip(found, distinct_names(list(found.values())), strict=True):
            order = self._wish.order_of(path)
            if order not in self._orders:
                self._orders.append(order)
            yield _Source(path, target, self._orders.index(order))

    def _chunks(self, sources: Sequence[_Source]) -> Iterator[Chunk]:
        """What there is to do; what is unchanged is told in its turn."""
        ids = iter(range(1, len(sources) + 1))
        todo = iter(sources)
        while some := list(islice(todo, CHUNK)):
            items = []
            for source, id in zip(some, ids, strict=False):
                item = self._item(source, id)
                if item is not None:
                    items.append(item)
            if items:
                self._number += 1
                yield Chunk(self._number - 1, tuple(items))

    def _item(self, source: _Source, id: int) -> WorkItem | None:
        """What is to be done about a source; None: nothing."""
        order = self._orders[source.order]
        if order.blocked:
            self._account.failed += 1
            self._account.blocked += 1
            return None
        known = tuple(self._manifest.known(source.target).values())
        item = WorkItem(id, source.path, source.target, source.order, known, named=self._manifest.names(source.target))
        row = self._manifest.db.execute(
            "SELECT hash, key, formats, made, refused, findings, indexed FROM sources WHERE path = ? AND target = ?",
            (source.path, source.target),
        ).fetchone()
        if row is None:
            return item
        try:
            data = addresses.read_remote(source.path)
        except Unopened:
            return item
        with stored_values():
            if self._same(source, order, known, data, *row):
                return None
        return item._replace(data=data)

    def _same(
        self, source: _Source, order: CompileOptions, known: tuple[Made, ...], data: bytes,
        hash: bytes, key: bytes, formats: str, made: int, refused: str, findings: str, indexed: int,
    ) -> bool:  # fmt: skip
        """Whether nothing is to be done for a source, which is then counted and told."""
        wanted = order.suffixes()
        rows = [row for row in known if row.suffix in wanted]
        if content_digest(data) != hash or key != order.key or order.facts > indexed or len(rows) != made * len(wanted):
            return False
        if not set(order.formats) <= set(formats.split(",")) or not all(
            self._stands(source.target, row) for row in rows
        ):
            return False
        from json import loads

        licks = tuple(Skipped(str(title), str(why)) for title, why, *_ in loads(refused)) if refused else ()
        text = data.decode("utf-8", "replace") if findings else ""
        result = WorkResult(
            0, done=True, hash=hash, made=made, refused=licks, findings=findings, text=text, outputs=tuple(rows)
        )
        ((state, _),) = self._account.chunk(self._number, [(source.path, result, order)], False)
        self._number += 1
        self._account.built -= state == "built"
        self._account.unchanged += state == "built"
        return True

    def _stands(self, target: str, row: Made) -> bool:
        """Whether an output is there as we left it."""
        if self._listed is None:
            self._listed = {}
            with answering():
                self._out.fs.invalidate_cache()
                found = self._out.fs.find(self._out.path, detail=True)
            for path, info in found.items():
                folder, _, name = path[len(self._out.path) + 1 :].rpartition("/")
                self._listed.setdefault(folder, {})[name] = info
        info = self._listed.get(target, {}).get(row.name)
        if info is None or info["size"] != row.size:
            return False
        if addresses.mark(info) == row.inode:
            return True
        with answering():
            return addresses.remote_digest(self._out, f"{self._out.path}/{target}/{row.name}") == row.hash

    # --- the work

    def _work(self, sources: Sequence[_Source]) -> None:
        recorder = ManifestWriter(self._manifest)
        setup = Setup(
            self._wish.out, self._wish.overwrite, tuple(self._orders), work=partial(far_make, self._wish.overwrite)
        )
        kept = time.monotonic()
        licks = 0
        with self._workers(setup, len(sources)) as workers:
            for chunk, results in workers.run(self._chunks(sources)):
                recorder.enter(chunk.items, results, self._orders, [item.path for item in chunk.items])
                told = [
                    (item.path, result, self._orders[item.order])
                    for item, result in zip(chunk.items, results, strict=True)
                ]
                self._account.chunk(chunk.number, told, False)
                licks += sum(result.made for result in results)
                self._teller.progress(self._account.built + self._account.failed, len(sources), licks)
                if time.monotonic() - kept > _KEPT:
                    self._manifest.keep()
                    self._put_back()
                    kept = time.monotonic()

    def _workers(self, setup: Setup, sources: int) -> AbstractContextManager[Any]:
        if self._wish.workers is not None:
            return self._wish.workers(setup)
        shared = all(
            addresses.shared_by_processes(parse_address(address)) for address in (self._wish.out, *self._wish.paths)
        )
        if self._wish.jobs > 1 and sources > CHUNK and shared:
            return Pool(setup, self._wish.jobs, self._account.begins)
        return _Here(setup, self._account.begins)


class _Here:
    """This process, as a pool of one."""

    def __init__(self, setup: Setup, begins: Begins) -> None:
        self._setup = setup
        self._place = OutputWriter(setup.out, setup.overwrite)
        self._place.begins = begins

    def __enter__(self) -> _Here:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def run(self, chunks: Iterator[Chunk]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Every chunk with its results."""
        for chunk in chunks:
            orders = self._setup.orders
            yield chunk, [run_guarded(self._setup.work, item, orders[item.order], self._place) for item in chunk.items]


def _below(address: str, at: Spot) -> Iterator[tuple[str, str]]:
    """The sources at an address: their own, and as seen from it. A folder's are sorted; hidden ones are left out."""
    address = absolute_name(address).rstrip("/")
    if not at.fs.isdir(at.path):
        yield address, address.rpartition("/")[2]
        return
    for path in sorted(at.fs.find(at.path)):
        inside = path[len(at.path) + 1 :]
        if inside.lower().endswith(SUFFIX) and not any(part.startswith(".") for part in inside.split("/")):
            yield f"{address}/{inside}", inside
