"""Writes the outputs of one source into their folder: each whole or not at all, and never over a file that is not ours.

In: names and bytes, and the folder's rows on record. Out: the rows of the files in place, and findings for those not written. A file in the way is
replaced only if its bytes are what Lickwright itself wrote there, which the manifest tells by hash. So a tab that a teacher changed by
hand is safe, and a lost manifest costs no file. A file with the very bytes that were to be written counts as ours.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from typing import NamedTuple, TypeAlias

from lickwright.core.digest import bytes_digest
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import NOT_OURS, UNWRITABLE
from lickwright.core.source import Span
from lickwright.export import Export, Length
from lickwright.store.manifest import OutputRow
from lickwright.store.ownership import LED_OUT, TOO_DEEP, UnsafePath, plain_folder, plain_name
from lickwright.store.recorded_sounds import Sounds, reuse_recording
from lickwright.store.spool import LargeData, Spool
from lickwright.store.storage import FileState, Storage, stored_digest
from lickwright.store.types import PathDiagnostic, WorkItem

LARGEST = 1 << 29  # bytes; nothing larger was written by us, and it is not read to find out


class Output(NamedTuple):
    """One file to be written."""

    name: str  # in its folder
    data: bytes | LargeData
    lick: str = ""  # the slug of its lick
    format: str = ""
    sound: bytes = b""  # the key of a recording's sound


class WrittenOutputs(NamedTuple):
    """What became of the outputs of one source."""

    made: tuple[OutputRow, ...]  # those that stand in their place
    written: int  # how many of them were not there before
    troubles: tuple[PathDiagnostic, ...]
    size: int = 0  # bytes of those that were written


Begins: TypeAlias = Callable[[str, Length], None]  # the output's name, and how much it is going to be


def _begins(name: str, length: Length) -> None:
    """Do nothing: the default for callers that need no announcement."""


class OutputWriter:
    """Writes the outputs of many sources into one output folder, for one process."""

    def __init__(self, storage: Storage, overwrite: bool) -> None:
        """`overwrite`: replace whatever file stands in the way."""
        self.storage = storage
        self.begins: Begins = _begins  # called before an output that takes long
        self.sounds: Sounds = {}  # recordings that stand here already
        self._journal = storage.journal()
        self._overwrite = overwrite

    def close(self) -> None:
        """Close the journal, which stays until the manifest holds what it says."""
        if self._journal is not None:
            self._journal.close()

    def note(self, folder: str, wanted: Iterable[tuple[str, bytes]]) -> None:
        """Note the names and hashes of files that are going to be in `folder`. Raises OSError."""
        if self._journal is not None:
            self._journal.note(folder, wanted)

    def stands(self, folder: str, name: str) -> bool:
        """Return True if something stands at a path; False also where that cannot be told."""
        try:
            return self.storage.state(folder, name) is not None
        except OSError:
            return False

    def content(self, name: str, emission: Export, spool: Spool) -> bytes | LargeData | None:
        """Return what the output of this name holds, None where there is none. Raises OSError where there is no room for it."""
        if not callable(emission.content):
            return emission.content
        if (kept := reuse_recording(emission, self.sounds, self.storage, spool)) is not None:
            return kept
        if emission.length is not None:
            self.begins(name, emission.length)
        return spool.take(emission.content)

    def put(self, item: WorkItem, outputs: Sequence[Output]) -> WrittenOutputs:
        """Write into the item's folder what is not there already, and return what became of it; the item says what there is ours."""
        target, storage = item.target, self.storage
        folder = storage.shown(target)
        if trouble := self._refusal(item, outputs):
            return WrittenOutputs((), 0, (trouble,))
        try:
            if outputs and storage.is_new(target):
                placed = self._write_new(target, outputs)
                if placed is not None:
                    return placed
            self._prepare(target)
        except UnsafePath as e:
            return WrittenOutputs((), 0, (refused_trouble(folder, str(e)),))
        except OSError as e:
            return WrittenOutputs((), 0, (unwritable_trouble(folder, e, storage.noun),))
        return self._put_each(item, outputs)

    def _refusal(self, item: WorkItem, outputs: Sequence[Output]) -> PathDiagnostic | None:
        """Return why nothing is written for this item, whatever stands there; None where there is no such reason."""
        folder = self.storage.shown(item.target)
        named = [output for output in outputs if not plain_name(output.name)]
        if named or not plain_folder(item.target):
            path = "/".join([folder, *(one.name for one in named[:1])])
            return refused_trouble(path, TOO_DEEP if item.target.count("/") >= 64 else LED_OUT)
        if item.taken and not self._overwrite:
            message = f"the folder holds the outputs of {item.taken}"
            hint = "name another folder with --out, or say --overwrite"
            return PathDiagnostic(folder, NOT_OURS.at(Span(0, 0), message, hint))
        return None

    def _put_each(self, item: WorkItem, outputs: Sequence[Output]) -> WrittenOutputs:
        target, known = item.target, {row.name: row for row in item.known}
        made: list[OutputRow] = []
        troubles: list[PathDiagnostic] = []
        todo: list[tuple[Output, bytes]] = []
        for output in outputs:
            hash = content_digest(output.data)
            path = self.storage.shown(target, output.name)
            row = known.get(output.name)
            try:
                sizes = () if item.claimed else (len(output.data), row.size if row else -1)
                standing = self._standing(target, output.name, row, sizes)
            except UnsafePath as e:
                troubles.append(PathDiagnostic(path, NOT_OURS.at(Span(0, 0), str(e), "move it away")))
                continue
            except OSError as e:  # what stands there, if anything, cannot be looked at, or not read
                troubles.append(unwritable_trouble(path, e, self.storage.noun))
                continue
            if standing is None:
                todo.append((output, hash))
            elif standing.hash == hash:
                made.append(standing._replace(lick=output.lick, format=output.format))
            elif self._overwrite or _ours(standing, row, item.claimed):
                todo.append((output, hash))
            else:
                troubles.append(in_the_way_trouble(path))
        return self._write(target, todo, made, troubles)

    def _standing(self, folder: str, name: str, row: OutputRow | None, sizes: Collection[int]) -> OutputRow | None:
        """Return the file of this name, None where there is none; its hash is empty where it cannot be ours.

        `row` is its row on record. It is read only if its size is one of `sizes`, or if there are none. Raises OSError where it cannot be
        read, unless it is overwritten in any case, and `UnsafePath` for anything but an ordinary file.
        """
        state = self.storage.state(folder, name)
        if state is None:
            return None
        if state.kind != "file":
            raise UnsafePath(f"a {state.kind} stands where the file would go")
        if row is not None and is_unaltered(row, state):
            return row
        hash = b""
        if state.size <= LARGEST and (not sizes or state.size in sizes):
            try:
                hash = stored_digest(self.storage, folder, name)
            except OSError as e:
                if isinstance(e, UnsafePath) or not self._overwrite:  # it changed into something else just now
                    raise
        return made_row(name, "", "", hash, state)

    def _write(
        self, target: str, todo: list[tuple[Output, bytes]], made: list[OutputRow], troubles: list[PathDiagnostic]
    ) -> WrittenOutputs:
        storage = self.storage
        written = size = 0
        if todo:
            try:
                self.note(target, [(output.name, hash) for output, hash in todo])
            except OSError as e:
                return WrittenOutputs(
                    tuple(made), 0, (*troubles, unwritable_trouble(storage.shown(target), e, storage.noun))
                )
        for output, hash in todo:
            path = storage.shown(target, output.name)
            try:
                storage.write(target, output.name, output.data)
            except OSError as e:
                troubles.append(unwritable_trouble(path, e, storage.noun))
                continue
            written += 1
            size += len(output.data)
            try:
                state = storage.state(target, output.name)
                if state is None:
                    raise OSError(0, "it is gone")
                made.append(made_row(output.name, output.lick, output.format, hash, state))
            except OSError as e:  # it is not on record then: the next run knows it by its bytes
                message = f"the file was written, and cannot be looked at: {error_reason(e)}"
                troubles.append(PathDiagnostic(path, UNWRITABLE.at(Span(0, 0), message, "run the command again")))
        return WrittenOutputs(tuple(made), written, tuple(troubles), size)

    def _prepare(self, target: str) -> None:
        self.storage.prepare(target)

    def _write_new(self, target: str, outputs: Sequence[Output]) -> WrittenOutputs | None:
        """Write the whole folder at once; return None where that does not work, whatever the reason."""
        hashes = [content_digest(output.data) for output in outputs]
        try:
            self.note(target, [(output.name, hash) for output, hash in zip(outputs, hashes, strict=True)])
            states = self.storage.write_folder(target, [(output.name, output.data) for output in outputs])
        except OSError:
            return None
        made = tuple(
            made_row(output.name, output.lick, output.format, hash, state)
            for output, hash, state in zip(outputs, hashes, states, strict=True)
        )
        return WrittenOutputs(made, len(made), (), sum(row.size for row in made))


def content_digest(data: bytes | LargeData) -> bytes:
    """Return the hash by which sources and outputs are known: 128 bits of BLAKE2b."""
    return data.hash if isinstance(data, LargeData) else bytes_digest(data)


def made_row(name: str, lick: str, format: str, hash: bytes, state: FileState) -> OutputRow:
    """Return the row of an output in its present state."""
    return OutputRow(name, lick, format, hash, state.size, state.mtime, state.ctime, state.inode)


def is_unaltered(row: OutputRow, state: FileState) -> bool:
    """Return True if a file is certainly as we left it: size, both times and inode, which no editor keeps all."""
    return row[4:] == state[1:]


def recorded_output(storage: Storage, folder: str, row: OutputRow) -> OutputRow | None:
    """Return the file that `row` is on record of, in its present state; None where there is none. Its hash is empty where it is surely another.

    Raises OSError where it cannot be read, `UnsafePath` for anything but an ordinary file.
    """
    state = storage.state(folder, row.name)
    if state is None:
        return None
    if state.kind != "file":
        raise UnsafePath(f"a {state.kind} stands where the file would be")
    if is_unaltered(row, state):
        return row
    hash = stored_digest(storage, folder, row.name) if state.size == row.size else b""
    return made_row(row.name, "", "", hash, state)


def is_unchanged(storage: Storage, folder: str, row: OutputRow) -> bool | None:
    """Return True if an output is as we left it, None where it is not there. Raises what `recorded_output` raises."""
    now = recorded_output(storage, folder, row)
    return None if now is None else now.hash == row.hash


def _ours(standing: OutputRow, row: OutputRow | None, claimed: Sequence[tuple[str, bytes]]) -> bool:
    """Return True if we wrote what stands there. A file on record that is empty is what a power cut leaves, and holds nothing of anybody's."""
    if row is not None and (standing.hash == row.hash or standing.size == 0):
        return True
    return (standing.name, standing.hash) in claimed


def refused_trouble(path: str, why: str) -> PathDiagnostic:
    """Return the finding that nothing is written at `path`, whatever the options."""
    return PathDiagnostic(path, NOT_OURS.at(Span(0, 0), why, "name another folder with --out"))


def not_removed_trouble(path: str, error: Exception) -> PathDiagnostic:
    """Return the finding that an output whose lick is gone could not be removed."""
    return PathDiagnostic(
        path, UNWRITABLE.at(Span(0, 0), f"not removed: {error_reason(error)}"[:180], "it is tried again with --prune")
    )


def unwritable_trouble(path: str, error: Exception, noun: str = "folder") -> PathDiagnostic:
    """Return the finding that nothing could be written at `path`; `noun` is what `--out` names."""
    message = f"nothing was written: {error_reason(error)}"[:180]
    return PathDiagnostic(path, UNWRITABLE.at(Span(0, 0), message, f"name another {noun} with --out"))


def in_the_way_trouble(path: str) -> PathDiagnostic:
    """Return the finding that a file at `path` is not replaced."""
    message = "the file was changed since it was made, or is not ours: not overwritten"
    return PathDiagnostic(path, NOT_OURS.at(Span(0, 0), message, "move it away, or say --overwrite"))
