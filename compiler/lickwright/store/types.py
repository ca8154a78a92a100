"""The work that a build hands out and its results, as plain values that travel between processes.

In: nothing. Out: `CompileOptions` with the key that an output is valid for, `WorkItem` and `WorkResult`. Imports no compiler, since a build without
changes needs none.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, NamedTuple

from lickwright.export import EXPORTS, Options
from lickwright.store.output_keys import sounds_named, source_key, values_key

if TYPE_CHECKING:
    from lickwright.core.diagnostics import Diagnostic
    from lickwright.settings.project_rules import ProjectRules
    from lickwright.store.features import IndexedFinding, LickFacts
    from lickwright.store.manifest import OutputRow
    from lickwright.store.naming import LickName


class CompileOptions(NamedTuple):
    """How sources are compiled: formats, options, project rules."""

    formats: tuple[str, ...]  # names of back ends, in the table's order
    options: Options
    project: ProjectRules | None  # the rules of its `lickwright.toml`
    key: bytes  # `KEY` bytes; changes with options, project rules and program: outputs made under another key are made again
    facts: bool  # True if the licks are entered into the index
    blocked: bool = False  # nothing is made: the project config has errors

    @property
    def numbered(self) -> bool:
        """True if licks have numbers in an album."""
        return bool(self.options.album.title)

    def key_of_source(self, before: int, sounds: Collection[str] = ()) -> bytes:
        """Return the key for a source with `before` licks before it in its album, which names these sounds of the project."""
        return source_key(self.key, before, sounds, self.project.sounds if self.project else None)

    def key_of_all_sounds(self) -> bytes:
        """Return a key that differs for any other sound of the project too, whichever a source names."""
        return values_key(self.key, sorted(self.project.sounds.items()) if self.project else None)

    def still_holds(self, key: bytes | None, before: int) -> bool:
        """Return True if a source with this key on record would get it again. Raises ValueError for a key that no program of ours made."""
        return key is not None and key.startswith(self.key) and key == self.key_of_source(before, sounds_named(key))

    def suffixes(self) -> frozenset[str]:
        """Return how the names of all outputs of a lick end."""
        rows = [row for row in EXPORTS if row.name in self.formats]
        return frozenset(suffix for row in rows for suffix, _ in row.files(self.options))


class WorkItem(NamedTuple):
    """One source to work on."""

    id: int  # its place among the sources of this run, from 1
    path: str  # to read, and as the user knows it; `-` is standard input
    target: str  # the folder of its outputs, below the output folder
    option_set: int  # which of the options of the build hold for it, by number
    known: tuple[OutputRow, ...] = ()  # the rows on record of that folder
    claimed: tuple[tuple[str, bytes], ...] = ()  # what a run that died may have written there
    named: tuple[LickName, ...] = ()  # the names on record of its licks
    taken: str = ""  # whose its folder is, if somebody else's
    data: bytes | None = None  # its bytes, if read already; None: it is to be read
    before: int = 0  # licks that come before it in its album
    only: int | None = None  # the one lick (from 0) that is tried without writing; see `build/crash_isolation.py`
    without: tuple[tuple[int, str], ...] = ()  # licks that are left out, and why


class SkippedLick(NamedTuple):
    """One lick that was not made."""

    title: str
    why: str
    slug: str = ""  # by which its outputs would be named; "" where that is not known
    older: int = 0  # outputs of an earlier version of it that still stand in the folder


class PathDiagnostic(NamedTuple):
    """One path with a finding: an output that was not written, say."""

    path: str
    finding: Diagnostic


class WorkResult(NamedTuple):
    """The result of one source."""

    id: int
    done: bool = False  # whether there is nothing left to do, as long as neither source nor options change
    hash: bytes = b""  # of the bytes read; empty if they could not be
    made: int = 0  # licks written
    refused: tuple[SkippedLick, ...] = ()  # licks that were not
    slugs: tuple[str, ...] = ()  # of all licks of the source, by which their outputs are named
    findings: str = ""  # see `diagnostics_json.py`
    text: str = ""  # of the source, where there are findings to be shown
    outputs: tuple[OutputRow, ...] = ()  # that stand in their places
    written: int = 0  # how many of them are new or changed
    size: int = 0  # bytes of these
    troubles: tuple[PathDiagnostic, ...] = ()  # outputs that could not be written
    facts: tuple[LickFacts, ...] = ()  # of its licks, for the index
    loose: tuple[IndexedFinding, ...] = ()  # findings of a source without licks, for the index
    bugs: tuple[tuple[str, str], ...] = ()  # mistakes of ours: during what, which
    alone: bool = False  # it crashed a worker
    sounds: tuple[tuple[bytes, bytes], ...] = ()  # of recordings among the outputs: hash of the file, key of the sound
    ok: bool = False  # whether nothing in the source is an error: then all its licks are known
    named: tuple[LickName, ...] = ()  # the rows to be on record of its licks' names
    custom_sounds: tuple[str, ...] = ()  # names of sounds that are not of the table, known to the project or not
