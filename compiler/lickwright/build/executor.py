"""The interface of executors, which do the work of a build, and the one that works in this process.

In: chunks of items. Out: the chunks with their results, in the order in which they become ready. The other executors are `process_pool.py` and
`dask_executor.py`; which one is used does not depend on the storage of the outputs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from types import TracebackType
from typing import NamedTuple, Protocol

from lickwright.build.stage_runner import Turns, run_sources
from lickwright.build.task import crashed_result
from lickwright.build.worker import Setup, output_writer
from lickwright.store.output_writer import Begins
from lickwright.store.storage import Storage
from lickwright.store.types import WorkItem, WorkResult

CHUNK = 32  # sources; handing over a chunk costs about a hundredth of the work on one source


class Chunk(NamedTuple):
    """Sources that are handed over together."""

    number: int  # counted from 0 without a gap
    items: tuple[WorkItem, ...]
    alone: int = 0  # how often its only source was tried by itself, after its chunk crashed a worker


class Executor(Protocol):
    """Works on chunks. Use it in a `with`: at its end, however it comes, no work goes on."""

    died: bool  # a worker crashed, maybe in the middle of writing

    def __enter__(self) -> Executor: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def run(self, chunks: Iterable[Chunk]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield every chunk with the results of its items."""


class SerialExecutor:
    """Works in this process, one source after the other."""

    died = False

    def __init__(self, setup: Setup, storage: Storage, begins: Begins) -> None:
        self._setup = setup
        self._writer = output_writer(setup, storage)
        self._writer.begins = begins

    def __enter__(self) -> SerialExecutor:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._writer.close()

    def run(self, chunks: Iterable[Chunk]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield every chunk with the results of its items."""
        for chunk in chunks:
            yield chunk, self._results(chunk.items)

    def _results(self, items: Sequence[WorkItem]) -> list[WorkResult]:
        try:
            return list(run_sources(self._setup.work, items, self._setup.option_sets, self._writer, Turns()))
        except MemoryError:
            if len(items) > 1:  # then one by one, of which most may have enough
                return [result for item in items for result in self._results((item,))]
            return [crashed_result(items[0], "it needs more memory than there is")]
