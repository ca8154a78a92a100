"""Judges outputs as a real run would and writes nothing, for dry runs.

In: names and outputs, as for an `OutputWriter`. Out: what would stand there, and findings for what would be refused. A recording is not made; its size is
an estimate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.export import Export, Length
from lickwright.store.manifest import OutputRow
from lickwright.store.output_writer import Output, OutputWriter, WrittenOutputs, content_digest
from lickwright.store.recorded_sounds import sound_key
from lickwright.store.spool import LargeData, Spool
from lickwright.store.types import PathDiagnostic

_NO_HASH = b"not made"  # of a recording that was not made: equal to the hash of no file


class Unmade(LargeData):
    """A recording that is not made: it has an estimated length and no bytes."""

    def __init__(self, length: Length) -> None:
        self._length = length

    def __iter__(self) -> Iterator[bytes]:
        raise AssertionError("nothing was recorded")

    def __len__(self) -> int:
        return self._length.size

    @property
    def hash(self) -> bytes:
        return _NO_HASH


class Rehearsal(OutputWriter):
    """An `OutputWriter` that writes nothing."""

    def content(self, name: str, emission: Export, spool: Spool) -> bytes | LargeData | None:
        """Return the content of an output; of a recording only its size. `begins` is called for one that would be rendered."""
        if not callable(emission.content) or emission.length is None:
            return super().content(name, emission, spool)
        if sound_key(emission) not in self.sounds:
            self.begins(name, emission.length)
        return Unmade(emission.length)

    def _prepare(self, target: str) -> None:
        self.storage.check_writable(target)

    def _write_new(self, target: str, outputs: Sequence[Output]) -> WrittenOutputs | None:
        try:
            self.storage.check_writable(target)
        except OSError:
            return None  # the caller goes on and says why
        return self._write(target, [(output, content_digest(output.data)) for output in outputs], [], [])

    def _write(
        self, target: str, todo: list[tuple[Output, bytes]], made: list[OutputRow], troubles: list[PathDiagnostic]
    ) -> WrittenOutputs:
        new = [OutputRow(one.name, one.lick, one.format, hash, len(one.data), 0, 0, 0) for one, hash in todo]
        return WrittenOutputs((*made, *new), len(new), tuple(troubles), sum(one.size for one in new))
