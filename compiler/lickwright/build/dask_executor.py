"""An executor that hands the chunks of a build to a running Dask cluster, by joblib.

In: the scheduler's address, and chunks as for `process_pool.py`. Out: the same results. Every machine must have this very Lickwright and reach sources and
outputs under the same names, which is looked at before anything is begun. Dask gives the chunks of a worker that dies to another one. A source over
which Lickwright breaks down there is tried once more here, and the others of its chunk are not. What the cluster does not bring back, since a source
kills one worker after another, nothing moves any more, or the scheduler is gone, is done here by a pool of our own: so nothing is lost, and a source
that cannot be compiled costs only itself.
"""

from __future__ import annotations

import logging
import os
import re
import socket
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from importlib import import_module
from importlib.util import find_spec
from itertools import islice
from queue import Empty, SimpleQueue
from typing import Any, TypeAlias

from lickwright.build.executor import Chunk
from lickwright.build.process_pool import Pool
from lickwright.build.stage_runner import Turns, run_sources
from lickwright.build.worker import Setup, output_writer
from lickwright.core.extras import install_command
from lickwright.export import Options
from lickwright.store.addresses import absolute_name, is_reachable, parse_address, put_remote
from lickwright.store.output_keys import options_key
from lickwright.store.types import WorkItem, WorkResult

ANSWER = 5.0  # seconds that the scheduler has to answer, and then its first worker to be there
PATIENCE = 120.0  # seconds in which not one chunk comes back, though they take tenths: nothing moves any more
_AHEAD = 32  # chunks a worker that are handed over at a time: joblib asks for more on threads that our manifest does not know
_LOOK = 0.25  # seconds between two looks at how the cluster is
_QUIET = 8  # polls in a row with results missing and no work under way
_ADDRESS = re.compile(r"(?:[a-z]+://)?(?:\[[0-9A-Fa-f:.]+\]|[^\s/:\[\]]+):[0-9]{1,5}|inproc://\S+")


class NoCluster(Exception):
    """There is no cluster to work on; the message says why in a user's words."""


class Cluster:
    """A connection to a scheduler, for use in a `with`; `workers` makes the executor of a build."""

    def __init__(self, address: str, say: Callable[[str], None], local_jobs: int = 1) -> None:
        """Connect. `say` gets a line if the build must go on without the cluster. Raises `NoCluster` where that cannot be done soon."""
        self.address = address
        self._say = say
        self._local_jobs = local_jobs
        self._client = _connected(address)
        try:
            self._client.wait_for_workers(1, timeout=ANSWER)
        except Exception as e:
            self.close()
            raise NoCluster(f"the cluster at {address} has no worker: start one with `dask worker {address}`") from e

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection; the cluster goes on without us."""
        try:
            self._client.close(timeout=ANSWER)
        except Exception:  # it is gone already
            pass

    def check(self, out: str) -> None:
        """Check that every worker has this Lickwright and reaches the output folder. Raises `NoCluster` if not."""
        name = f".lickwright.probe-{os.urandom(4).hex()}"
        probe, at = f"{absolute_name(out)}/{name}", parse_address(out)
        put_remote(at, f"{at.path}/{name}", b"")
        try:
            answers: dict[str, Any] = self._client.run(_look_at_output, probe, on_error="return")
        except Exception as e:
            raise NoCluster(f"the workers at {self.address} do not answer: {type(e).__name__}") from e
        finally:
            at.fs.rm_file(f"{at.path}/{name}")
        for worker, answer in answers.items():
            if isinstance(answer, BaseException):
                raise NoCluster(f"the worker {worker} cannot run lickwright: install this version there") from answer
            identity, reached = answer
            if identity != options_key(Options(), ""):
                raise NoCluster(f"the worker {worker} has another lickwright: install this version there")
            if not reached:
                raise NoCluster(
                    f"the worker {worker} does not reach {absolute_name(out)}: name a folder that all machines share"
                )

    def workers(self, setup: Setup) -> DaskExecutor:
        """Return the executor of one build."""
        return DaskExecutor(self._client, setup, self._say, self._local_jobs)


def _connected(address: str) -> Any:
    if _ADDRESS.fullmatch(address) is None:
        raise NoCluster(f"{address} is not an address of a scheduler: write it as tcp://name:8786")
    if not all(map(find_spec, ("joblib", "distributed"))):
        raise NoCluster(f"--cluster works with dask and joblib: {install_command('cluster')}")
    _somebody_there(address)
    distributed = import_module("distributed")
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # errors are reported by this program
    try:
        # A client that did not get as far as a connection waits for it once more when it is thrown away, and complains.
        quiet = type("Client", (distributed.Client,), {"__del__": lambda self: None})
        return quiet(address, timeout=ANSWER, set_as_default=False)
    except Exception as e:
        raise NoCluster(
            f"the cluster at {address} does not answer: is it the scheduler's address, such as tcp://name:8786?"
        ) from e


def _somebody_there(address: str) -> None:
    """Raise `NoCluster` where nothing answers in time, before anything slow is loaded."""
    host, _, port = address.rpartition("://")[2].rpartition(":")
    if not port.isdigit():  # it is in this process
        return
    found: list[bool] = []

    def ask() -> None:
        with (
            suppress(OSError, ValueError, OverflowError),
            socket.create_connection((host.strip("[]"), int(port)), ANSWER),
        ):
            found.append(True)

    asking = threading.Thread(target=ask, daemon=True)  # the search for a name cannot be broken off
    asking.start()
    asking.join(ANSWER)
    if not found:
        raise NoCluster(
            f"the cluster at {address} does not answer: is it the scheduler's address, such as tcp://name:8786?"
        )


def _executing(dask_worker: Any) -> int:
    """Return the number of tasks that a worker is executing, with those that were cancelled since, which the scheduler no longer knows."""
    return int(dask_worker.state.executing_count)


_Task: TypeAlias = tuple[Setup, int, tuple[WorkItem, ...]]  # the arguments of `compile_chunk`


class DaskExecutor:
    """An `Executor` on the workers of a cluster."""

    died = False  # others may still be writing, so nothing of theirs is swept

    def __init__(self, client: Any, setup: Setup, say: Callable[[str], None], local_jobs: int) -> None:
        self._client = client
        self._setup = setup
        self._say = say
        self._jobs = local_jobs
        self._there = setup._replace(out=absolute_name(setup.out))
        self._patience = max(PATIENCE, 2 * setup.limits.seconds)
        self._gone = False  # the cluster is no longer asked

    def __enter__(self) -> DaskExecutor:
        return self

    def __exit__(self, *_: object) -> None:
        """Wait a few seconds for running tasks, so that nobody else writes into the output folder afterwards."""
        until = time.monotonic() + ANSWER
        while not self._gone and time.monotonic() < until:
            try:
                self._client.cancel(list(self._client.futures), force=True)
                if not any(self._client.processing().values()) and not any(self._client.run(_executing).values()):
                    return
            except Exception:  # it is gone
                return
            time.sleep(_LOOK)

    def run(self, chunks: Iterable[Chunk]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield every chunk with the results of its items, in the order in which they become ready."""
        waiting = iter(chunks)
        while window := list(islice(waiting, _AHEAD * self._number())):
            missing = {chunk.number: chunk for chunk in window}
            found: dict[int, WorkResult] = {}  # of the sources in chunks of which not all is done, by the item's number
            for number, results in () if self._gone else self._tried(window):
                done = [_at_home(result, self._setup.out) for result in results if not _has_failed(result)]
                if len(done) == len(results):
                    yield missing.pop(number), done
                found.update((result.id, result) for result in done if number in missing)
            yield from self._done_here(missing, found)

    def _done_here(
        self, missing: Mapping[int, Chunk], found: Mapping[int, WorkResult]
    ) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield chunks with the results found and those of the other sources, which are worked on here."""
        if not missing:
            return
        left = [
            chunk._replace(items=tuple(item for item in chunk.items if item.id not in found))
            for chunk in missing.values()
        ]
        with Pool(self._setup, self._jobs) as pool:
            for part, results in pool.run(left):
                whole, own = missing[part.number], {result.id: result for result in results}
                yield whole, [own[item.id] if item.id in own else found[item.id] for item in whole.items]

    def _number(self) -> int:
        """Return how many chunks can be worked on at once."""
        if self._gone:
            return self._jobs
        try:
            return max(1, sum(int(threads) for threads in self._client.nthreads().values()))
        except Exception:
            return 1

    def _tried(self, window: list[Chunk]) -> Iterator[tuple[int, list[WorkResult]]]:
        """Yield the results that the cluster returns for some chunks; the others are missing in the end."""
        answers: SimpleQueue[tuple[int, list[WorkResult] | None]] = SimpleQueue()
        threading.Thread(target=self._hand_over, args=(window, answers), daemon=True).start()
        left = {chunk.number for chunk in window}
        quiet, moved = 0, time.monotonic()
        while left:
            try:
                number, results = answers.get(timeout=_LOOK)
            except Empty:
                quiet = quiet + 1 if self._idle() else 0
                if self._client.status != "running" or time.monotonic() - moved > self._patience or quiet >= _QUIET:
                    break
                continue
            quiet, moved = 0, time.monotonic()
            if number < 0:  # joblib has ended
                break
            if results is not None:
                left.discard(number)
                yield number, results
        if left:
            self._tell_why(left)

    def _idle(self) -> bool:
        """Return True if no task of ours is pending."""
        try:
            return not any(state.status == "pending" for state in list(self._client.futures.values()))
        except RuntimeError:  # it was changed while we looked
            return False

    def _tell_why(self, left: set[int]) -> None:
        """Tell why some chunks are done here."""
        if self._client.status != "running":
            self._gone = True
            self._say("the cluster no longer answers: the rest is done here")
        else:
            self._say("the cluster does not bring back all that it was given: that is done here, each source by itself")

    def _hand_over(self, window: list[Chunk], answers: SimpleQueue[tuple[int, list[WorkResult] | None]]) -> None:
        """Hand over chunks; runs on a thread of its own, since joblib waits for ever for a task that Dask has given up."""
        tasks = [(self._there, chunk.number, _abroad(chunk.items)) for chunk in window]
        try:
            for answer in self._answers_one_by_one(tasks) if self._number() == 1 else self._answers(tasks):
                answers.put(answer)
        except Exception:  # the scheduler is gone; who waits for the answers sees that
            pass
        answers.put((-1, None))

    def _answers(self, tasks: list[_Task]) -> Iterator[tuple[int, list[WorkResult] | None]]:
        """Yield what `compile_chunk` returns on the cluster, in the order in which that becomes ready."""
        joblib = import_module("joblib")
        with joblib.parallel_config(backend="dask", client=self._client):
            parallel = joblib.Parallel(return_as="generator_unordered", batch_size=1, pre_dispatch="all")
            yield from parallel(joblib.delayed(compile_chunk)(*task) for task in tasks)

    def _answers_one_by_one(self, tasks: list[_Task]) -> Iterator[tuple[int, list[WorkResult] | None]]:
        """Yield the same from a cluster of one thread, for which joblib would do the work in this process."""
        for future in [self._client.submit(compile_chunk, *task, pure=False) for task in tasks]:
            yield future.result()


def _has_failed(result: WorkResult) -> bool:
    """Return True for a source over which Lickwright broke down on a worker, which may lack what this machine has."""
    return bool(result.bugs and not result.hash)


def _abroad(items: tuple[WorkItem, ...]) -> tuple[WorkItem, ...]:
    """Return items for a process elsewhere, with absolute paths."""
    return tuple(item if item.data is not None else item._replace(path=absolute_name(item.path)) for item in items)


def _at_home(result: WorkResult, out: str) -> WorkResult:
    """Return a result with the output folder as the user names it."""
    if not result.troubles:
        return result
    there = absolute_name(out)
    return result._replace(
        troubles=tuple(
            t._replace(path=out + t.path[len(there) :] if t.path.startswith(there) else t.path) for t in result.troubles
        )
    )


# --- in the worker -----------------------------------------------------------------------------------------------------

_one = threading.Lock()  # a worker's threads gain nothing from compiling at once


def compile_chunk(setup: Setup, number: int, items: tuple[WorkItem, ...]) -> tuple[int, list[WorkResult] | None]:
    """Return the number and the results of one chunk; None where it cannot be done in a process that others use too."""
    with _one:
        writer = output_writer(setup)
        try:
            results = list(run_sources(setup.work, items, setup.option_sets, writer, Turns()))
            return number, results
        except (MemoryError, OSError):
            return number, None
        finally:
            writer.close()


def _look_at_output(probe: str) -> tuple[bytes, bool]:
    """Return a key of the Lickwright on this worker, and whether it sees a file of the builder's."""
    return options_key(Options(), ""), is_reachable(probe)
