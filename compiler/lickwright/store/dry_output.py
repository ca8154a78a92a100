"""An output folder as a dry run puts outputs into it: everything is judged as it would be, and nothing is written.

In: names and outputs, as for a `OutputWriter`. Out: what would stand there, and findings for what would be refused. A recording is not made; its size is
an estimate.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from lickwright.export import Export, Length
from lickwright.store.manifest import Made
from lickwright.store.output_writer import Output, OutputWriter, Placed, content_digest
from lickwright.store.recorded_sounds import sound_key as sound_key
from lickwright.store.spool import Large, Spool
from lickwright.store.types import Trouble

_NO_HASH = b"not made"  # of a recording that nobody made: equal to that of no file


class Unmade(Large):
    """A recording that is not made."""

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
    """A `OutputWriter` that writes nothing."""

    def __init__(self, out: str, overwrite: bool) -> None:
        super().__init__(out, overwrite)
        self._may: set[str] = set()  # folders that may be written into

    def content(self, name: str, emission: Export, spool: Spool) -> bytes | Large | None:
        """What an output holds; of a recording only how much, and whether it would be played."""
        if not callable(emission.content) or emission.length is None:
            return super().content(name, emission, spool)
        if sound_key(emission) not in self.sounds:
            self.begins(name, emission.length)
        return Unmade(emission.length)

    def _prepare(self, folder: str) -> None:
        writable(folder, self._may)

    def _write_new(self, target: str, folder: str, outputs: Sequence[Output]) -> Placed | None:
        try:
            writable(folder, self._may)
        except OSError:
            return None  # the caller goes on and says why
        return self._write(target, folder, [(output, content_digest(output.data)) for output in outputs], [], [])

    def _write(
        self, target: str, folder: str, todo: list[tuple[Output, bytes]], made: list[Made], troubles: list[Trouble]
    ) -> Placed:
        new = [Made(one.name, one.lick, one.format, hash, len(one.data), 0, 0, 0) for one, hash in todo]
        return Placed((*made, *new), len(new), tuple(troubles), sum(one.size for one in new))


def writable(folder: str, known: set[str] | None = None) -> None:
    """Sees that a folder could be made or written into. Raises OSError; `known` keeps the folders that can."""
    here = folder
    while known is None or here not in known:
        if os.path.lexists(here):
            if not os.path.isdir(here):
                raise NotADirectoryError(20, os.strerror(20))
            if not os.access(here or ".", os.W_OK | os.X_OK):
                raise PermissionError(13, os.strerror(13))
            break
        above = os.path.dirname(here) or "."
        if above == here:
            break
        here = above
    if known is not None:
        known.add(folder)
