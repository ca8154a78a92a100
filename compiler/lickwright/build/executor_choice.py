"""Chooses the executor of a build: worker processes are started only if they save time and can reach the output folder.

In: the config, the storage and the manifest of a build, with its scan filled. Out: an `Executor`, and how many sources to hand over at a time.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from lickwright.build import task
from lickwright.build.build_config import BuildConfig
from lickwright.build.executor import CHUNK, Executor, SerialExecutor
from lickwright.build.worker import Limits, Setup
from lickwright.export import EXPORTS
from lickwright.store import recorded_sounds
from lickwright.store.manifest import Manifest
from lickwright.store.output_writer import Begins
from lickwright.store.sources import is_shared
from lickwright.store.storage import Storage
from lickwright.store.types import CompileOptions

SERIAL = 150  # sources; for fewer, workers would take longer to start than they save (estimate)
_USUAL = 400  # bytes of a source with one lick (estimate)

_TODO = "SELECT shown FROM scan WHERE state = ''"
_SUSPECT = "SELECT 1 FROM scan JOIN sources s ON s.path = scan.path WHERE state = '' AND alone LIMIT 1"


def choose_executor(
    config: BuildConfig,
    storage: Storage,
    manifest: Manifest,
    option_sets: Sequence[CompileOptions],
    todo: int,
    begins: Begins,
) -> tuple[int, Executor]:
    """Return how many sources to hand over at a time, and the executor to hand them to. Raises OSError if no process can be started."""
    audible = _is_audible(option_sets)
    sounds = recorded_sounds.load_sounds(manifest) if audible else {}
    setup = Setup(
        config.out, config.overwrite, tuple(option_sets), config.limits or Limits(), config.work or task.compile_source, config.dry, sounds,
    )  # fmt: skip
    slow = audible and not config.dry  # a recording takes a hundred times as long as the other formats
    size = 1 if slow else max(1, min(CHUNK, todo // (4 * config.jobs)))
    if config.workers is not None:
        return size, config.workers(setup)
    if not (_is_worth_workers(config, storage, manifest, todo, slow) or _has_suspect(manifest)):
        return size, SerialExecutor(setup, storage, begins)
    from lickwright.build.process_pool import Pool

    return size, Pool(setup, min(config.jobs, -(-todo // size)), begins)


def _is_worth_workers(config: BuildConfig, storage: Storage, manifest: Manifest, todo: int, slow: bool) -> bool:
    """Return True if several processes would be faster than this one."""
    if config.jobs < 2 or todo < 2 or not (storage.is_shared and all(map(is_shared, config.paths))):
        return False
    if todo >= SERIAL or slow:
        return True
    paths = manifest.db.execute(_TODO).fetchall()
    return sum(os.path.getsize(path) for (path,) in paths if os.path.isfile(path)) >= SERIAL * _USUAL


def _is_audible(option_sets: Sequence[CompileOptions]) -> bool:
    """Return True if recordings are wanted, of their own or in lesson pages."""
    if any(compile_options.options.page_sound for compile_options in option_sets):
        return True
    wanted = {name for compile_options in option_sets for name in compile_options.formats}
    return any(row.is_audio for row in EXPORTS if row.name in wanted)


def _has_suspect(manifest: Manifest) -> bool:
    """Return True if a source that crashed a worker is to be tried again: never in this process."""
    return manifest.db.execute(_SUSPECT).fetchone() is not None
