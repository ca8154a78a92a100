"""What one build is to do, as a plain value.

In: nothing. Out: `BuildConfig` and the `Share` of a library in it, which the command line makes and `engine.py` follows.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from lickwright.core.digest import blake2b
from lickwright.core.source_discovery import SUFFIX
from lickwright.store.source_paths import slashed

if TYPE_CHECKING:
    from lickwright.build.executor import Executor
    from lickwright.build.stage_runner import Work
    from lickwright.build.summary import BuildSummary
    from lickwright.build.worker import Limits, Setup
    from lickwright.config.name_pattern import Arrangement
    from lickwright.store.manifest import Manifest
    from lickwright.store.storage import Storage
    from lickwright.store.types import CompileOptions


class Share(NamedTuple):
    """One of several equal shares of a library, for `--shard`."""

    number: int = 1  # from 1
    of: int = 1

    def holds(self, below: str) -> bool:
        """Return True if a source is in this share, by its path as seen from the folder that was named: the same on every machine."""
        if self.of == 1:
            return True
        whole = blake2b(slashed(below).encode("utf-8"), digest_size=8).digest()
        return int.from_bytes(whole, "big") % self.of == self.number - 1


class BuildConfig(NamedTuple):
    """What one build is to do."""

    paths: Sequence[str]  # files, folders, addresses; `-` is standard input
    out: str  # the output folder: a path or an address
    options_of: Callable[[str], CompileOptions]  # the compile options of the source at a path
    jobs: int = 1  # processes to work in; 1: in this one alone
    overwrite: bool = False
    share: Share = Share()
    prune: bool = False
    dry: bool = False  # only say what would be done
    stdin: Callable[[], bytes | None] | None = (
        None  # reads standard input, if `-` is among the paths; None: it cannot be read
    )
    report: Callable[[Iterator[bytes]], None] | None = None  # takes the parts of the machine report
    archive: Callable[[Storage, Manifest, Sequence[Collection[str]], BuildSummary], None] | None = (
        None  # writes the archive of a release; may add to the summary
    )
    release: Arrangement | None = None  # of the copies that are kept in the output folder; None: none are wanted
    title: str = ""  # of the library, for the index of its lesson pages
    limits: Limits | None = None  # of workers; None: the usual ones
    workers: Callable[[Setup], Executor] | None = None  # makes the executor, in place of processes of our own
    sync: bool = True  # wait until outputs are on the disk before they are entered
    check_contents: bool = False  # read every source to see whether it changed, even if size and times did not
    work: Work | None = None  # what is done for one source; None: it is compiled
    suffixes: tuple[str, ...] = (SUFFIX,)  # of the sources in folders
