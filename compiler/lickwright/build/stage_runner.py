"""Runs the work on several small sources a stage at a time: all are compiled, then all tabs are made, and so on.

In: items, and the work on one source, which may stop after each of its stages. Out: the results, in the order of the items. A stage that goes from
source to source finds its code and its tables in the processor's caches, which saves an eighth of a build. What a source raises costs that source alone,
as if each were worked on by itself.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator, Sequence
from typing import TypeAlias

from lickwright.export import EXPORTS
from lickwright.report.console import describe_crash
from lickwright.store.output_writer import OutputWriter
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

# The work on one source; it yields between its stages, so that the same stage of other sources can come first.
Steps: TypeAlias = Generator[None, None, WorkResult]
Work: TypeAlias = Callable[[WorkItem, CompileOptions, OutputWriter], WorkResult | Steps]

# Bytes of the sources that are worked on together, whose licks and outputs are all in memory at a time: some 3 MB of it.
_LARGEST = 1 << 16
# Formats whose outputs are large, and whose own work is far more than what is saved.
_LARGE = frozenset(row.name for row in EXPORTS if row.is_audio or row.is_paper or row.name == "page")


class Turns:
    """What is told whose turn it is; this one does nothing about it."""

    def begin(self, item: WorkItem) -> None:
        """Note that the work on a source begins or goes on."""

    def end(self, item: WorkItem) -> None:
        """Note that it stops for now, or has ended."""


def run_sources(
    work: Work, items: Sequence[WorkItem], option_sets: Sequence[CompileOptions], writer: OutputWriter, turns: Turns
) -> Iterator[WorkResult]:
    """Yield the result of each source; an unexpected exception fails only its source. Raises MemoryError."""
    for some in _batches(items, option_sets):
        yield from _run_batch(work, some, option_sets, writer, turns)


def _run_batch(
    work: Work, items: Sequence[WorkItem], option_sets: Sequence[CompileOptions], writer: OutputWriter, turns: Turns
) -> list[WorkResult]:
    under_way = [_steps(work, item, option_sets[item.option_set], writer) for item in items]
    results: dict[int, WorkResult] = {}
    while len(results) < len(items):
        for n, (item, steps) in enumerate(zip(items, under_way, strict=True)):
            if n not in results:
                turns.begin(item)
                result = _next_stage(item, steps)
                turns.end(item)
                if result is not None:
                    results[n] = result
    return [results[n] for n in range(len(items))]


def _steps(work: Work, item: WorkItem, compile_options: CompileOptions, writer: OutputWriter) -> Steps:
    """Run the work on one source in steps, whether it has several or not."""
    made = work(item, compile_options, writer)
    if isinstance(made, WorkResult):
        return made
    return (yield from made)


def _next_stage(item: WorkItem, steps: Steps) -> WorkResult | None:
    """Run one stage; return the result if it was the last, which it is if it raises anything. Raises MemoryError."""
    try:
        next(steps)
    except StopIteration as e:
        result: WorkResult = e.value
        return result
    except MemoryError:
        raise
    except Exception as e:
        return WorkResult(item.id, bugs=((item.path, describe_crash(e)),))
    return None


def _batches(items: Sequence[WorkItem], option_sets: Sequence[CompileOptions]) -> Iterator[list[WorkItem]]:
    """Yield the items in their order, those together whose stages may alternate."""
    batch: list[WorkItem] = []
    room = _LARGEST
    for item in items:
        cost = source_size(item) if _is_light(item, option_sets[item.option_set]) else _LARGEST
        if batch and cost > room:
            yield batch
            batch, room = [], _LARGEST
        batch.append(item)
        room -= cost
    if batch:
        yield batch


def _is_light(item: WorkItem, compile_options: CompileOptions) -> bool:
    """Return True for a source that is not suspected of crashing, and whose outputs are small."""
    return item.only is None and not item.without and _LARGE.isdisjoint(compile_options.formats)


def source_size(item: WorkItem) -> int:
    """Return the bytes of a source; 0 where that cannot be told, since it cannot be read either."""
    if item.data is not None:
        return len(item.data)
    try:
        return os.stat(item.path).st_size
    except (OSError, ValueError):
        return 0
