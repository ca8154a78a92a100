"""Updates the release in the output folder: copies of outputs below `release_files/`, named and laid out as the project config says.

In: the licks of `release.py` after a build, and what is on record of the copies (the manifest's table `released`). Out: the copies brought up to date,
and what was done. The outputs themselves stay where they are. A copy is written whole or not at all, after its hash is noted in the journal, so that a
run that is killed leaves nothing that the next one does not know. A copy that only has another place now is moved there. A copy that somebody
changed is neither replaced nor removed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

from lickwright.build.archive import check_files
from lickwright.build.release import ReleasedLick, released_licks
from lickwright.build.summary import BuildSummary
from lickwright.config.name_pattern import Arrangement
from lickwright.core.digest import blake2b
from lickwright.core.files import NOT_OURS
from lickwright.core.source import Span
from lickwright.report.console import counted_noun
from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.manifest_schema import RELEASE
from lickwright.store.output_writer import Output, OutputWriter, is_unchanged, made_row, not_removed_trouble
from lickwright.store.recovery import claimed_file
from lickwright.store.spool import LargeData
from lickwright.store.storage import Storage, read_output
from lickwright.store.types import PathDiagnostic, WorkItem

MOST = 100_000  # files in one folder; more than that neither a file browser nor the record of a killed run can take
_BATCH = 1000  # files between two commits
_BELOW = (RELEASE, f"{RELEASE}/*")
_ROWS = "SELECT folder, name, target, output, hash, size, mtime, ctime, inode FROM released"
_CLAIMS = "SELECT folder, name, hash FROM claims WHERE folder = ? OR folder GLOB ?"


class Origin(NamedTuple):
    """The output that a file is a copy of; both are empty for a file of a build that was killed."""

    target: str
    output: str


_At = tuple[str, str]  # the folder and the name of a copy


class ReleaseChanges(NamedTuple):
    """What was done to the copies."""

    removed: list[str]  # paths, removed by --prune
    kept: list[str]  # paths of those that are no more in the release, and were changed by hand
    troubles: list[PathDiagnostic]
    files: int = 0  # in the release now
    written: int = 0
    renamed: int = 0
    gone: int = 0  # that are no more in the release, and still there


class _Copy(LargeData):
    """The bytes of an output. Reading them raises OSError where the output is not as it was made."""

    def __init__(self, storage: Storage, folder: str, row: OutputRow) -> None:
        self._storage, self._folder, self._name = storage, folder, row.name
        self._hash, self._size = row.hash, row.size

    def __iter__(self) -> Iterator[bytes]:
        hash = blake2b(digest_size=16)
        for piece in read_output(self._storage, self._folder, self._name):
            hash.update(piece)
            yield piece
        if hash.digest() != self._hash:
            raise OSError(0, f"{self._storage.shown(self._folder, self._name)} was changed meanwhile")


def update_release(
    manifest: Manifest,
    suffixes: Sequence[Collection[str]],
    writer: OutputWriter,
    wanted: Arrangement | None,
    summary: BuildSummary,
    partial: bool,
    prune: bool,
) -> None:
    """Bring the copies up to date, and add to the summary what was done, or why nothing was. `partial`: not all of the library was built."""
    path = writer.storage.shown(RELEASE)
    if why := _left(wanted, summary, partial, prune):
        summary.release.append(f"{path} is left as it was: {why}")
        return
    laid = update_release_files(manifest, suffixes, writer, wanted, prune)
    summary.left_out(laid.troubles)
    summary.removed = [*summary.removed, *laid.removed]
    summary.release += _told(path, laid)


def _left(wanted: Arrangement | None, summary: BuildSummary, partial: bool, prune: bool) -> str:
    """Return why the copies are left as they were; "" where they are not."""
    if partial:
        return "make the whole library to bring it up to date"
    if summary.incomplete:
        return "something could not be read or made"
    if wanted is None and not prune:
        return "say --names or --layout to bring it up to date, or --prune to take it away"
    return ""


def _told(path: str, laid: ReleaseChanges) -> Iterator[str]:
    """Yield the lines of the summary about the copies."""
    done = [f"{number:,} {word}" for number, word in ((laid.written, "written"), (laid.renamed, "renamed")) if number]
    yield f"{counted_noun(laid.files, 'file')} in {path}" + (f": {', '.join(done)}" if done else "")
    for one in laid.kept:
        yield f"kept {one}: it is no more in the release, but it was changed by hand"
    if laid.gone:
        single = laid.gone == 1
        said = f"{counted_noun(laid.gone, 'file')} there {'is' if single else 'are'} no more in the release"
        yield f"{said}: --prune takes {'it' if single else 'them'} away"


def update_release_files(
    manifest: Manifest,
    suffixes: Sequence[Collection[str]],
    writer: OutputWriter,
    wanted: Arrangement | None,
    prune: bool,
) -> ReleaseChanges:
    """Bring the copies up to date with what was built, and return what was done. Without an arrangement none is wanted, and only `prune` does anything.

    Needs the tables `scan` and `unread` of a build. Raises `Unusable` for a manifest that no program of ours has made.
    """
    troubles: list[PathDiagnostic] = []
    licks: list[ReleasedLick] = []
    if wanted is not None:
        manifest.with_index()
        licks, troubles = check_files(
            writer.storage, released_licks(manifest, suffixes, wanted.pattern, wanted.layout), "the release"
        )
    manifest.with_released()
    tree = _Tree(manifest, writer, troubles)
    copies: dict[_At, tuple[Origin, _Copy]] = {}
    for lick in licks:
        for filed in lick.files:
            above, _, name = filed.at.rpartition("/")
            at = (f"{RELEASE}/{above}" if above else RELEASE, name)
            copies[at] = Origin(lick.target, filed.row.name), _Copy(writer.storage, lick.target, filed.row)
    folder, most = max(Counter(folder for folder, _ in copies).items(), key=lambda one: one[1], default=("", 0))
    if most > MOST:
        path, why = writer.storage.shown(folder), f"{most:,} files are too many for one folder"
        return ReleaseChanges([], [], [PathDiagnostic(path, NOT_OURS.at(Span(0, 0), why, "say --layout by-source"))])
    held = {trouble.path for trouble in troubles}
    tree.recover()
    tree.rename(copies)
    tree.write(copies)
    return tree.clear(copies, held, prune)


class _Tree:
    """The copies on record, with the methods that write and remove them."""

    def __init__(self, manifest: Manifest, writer: OutputWriter, troubles: list[PathDiagnostic]) -> None:
        self._manifest = manifest
        self._writer = writer
        self._storage = writer.storage
        self._troubles = troubles
        self._rows: dict[_At, tuple[Origin, OutputRow]] = {
            (folder, name): (Origin(target, output), OutputRow(name, "", "", *state))
            for folder, name, target, output, *state in manifest.db.execute(_ROWS)
        }
        self._moved: set[_At] = set()  # where copies were moved to just now
        self._written = 0

    def recover(self) -> None:
        """Enter the files that a killed build has written."""
        claims = self._manifest.db.execute(_CLAIMS, _BELOW).fetchall()
        for folder, name, hash in claims:
            row = self._rows.get((folder, name))
            try:
                known = row is not None and is_unchanged(self._storage, folder, row[1])
            except OSError:  # what cannot be read is not known to be ours
                continue
            now = None if known else claimed_file(self._storage, folder, name, hash)
            if now is not None:
                self._enter((folder, name), Origin("", ""), now)
        if claims:
            self._manifest.db.execute("DELETE FROM claims WHERE folder = ? OR folder GLOB ?", _BELOW)
            self._manifest.keep()
            self._manifest.begin()

    def rename(self, copies: dict[_At, tuple[Origin, _Copy]]) -> None:
        """Move copies whose bytes stay the same to the paths where they are wanted now."""
        places = {origin: at for at, (origin, _) in copies.items()}
        for at, (origin, made) in list(self._rows.items()):
            new = places.get(origin)
            if at in copies or new is None or new in self._rows or copies[new][1].hash != made.hash:
                continue
            try:
                self._move(at, made, new)
            except OSError:  # then it is written at its new place, or that failure is reported
                continue

    def _move(self, at: _At, made: OutputRow, new: _At) -> None:
        if not is_unchanged(self._storage, at[0], made):
            return
        self._writer.note(new[0], [(new[1], made.hash)])
        if not self._storage.move(at, new):
            return
        self._enter(new, self._rows[at][0], self._moved_row(new, made))
        self._moved.add(new)
        self._forget(at)
        self._synced(new[0], [new[1]])
        self._storage.remove_empty(at[0])

    def _moved_row(self, at: _At, made: OutputRow) -> OutputRow:
        """Return the row of a file that was moved, in its present state; one that cannot be looked at is read again in the next run."""
        try:
            state = self._storage.state(*at)
        except OSError:
            state = None
        if state is None:
            return made._replace(name=at[1], mtime=0, ctime=0, inode=0)
        return made_row(at[1], "", "", made.hash, state)

    def write(self, copies: dict[_At, tuple[Origin, _Copy]]) -> None:
        """Write the missing copies, folder by folder."""
        folders: dict[str, list[Output]] = {}
        for (folder, name), (_, copy) in copies.items():
            if (folder, name) not in self._moved:
                folders.setdefault(folder, []).append(Output(name, copy))
        known: dict[str, list[OutputRow]] = {}
        for (folder, _), (_, made) in self._rows.items():
            known.setdefault(folder, []).append(made)
        for folder, outputs in sorted(folders.items()):
            for first in range(0, len(outputs), _BATCH):
                some = outputs[first : first + _BATCH]
                self._put(folder, some, known.get(folder, ()), copies)

    def _put(
        self,
        folder: str,
        outputs: Sequence[Output],
        known: Sequence[OutputRow],
        copies: dict[_At, tuple[Origin, _Copy]],
    ) -> None:
        placed = self._writer.put(WorkItem(0, "", folder, 0, tuple(known)), outputs)
        self._troubles += placed.troubles
        self._written += placed.written
        fresh = []
        for made in placed.made:
            at, bare = (folder, made.name), made._replace(lick="", format="")
            if self._rows.get(at) != (copies[at][0], bare):
                self._enter(at, copies[at][0], bare)
                fresh.append(made.name)
        if fresh:
            self._synced(folder, fresh)
            self._manifest.keep()
            self._manifest.begin()

    def clear(self, copies: dict[_At, tuple[Origin, _Copy]], held: set[str], prune: bool) -> ReleaseChanges:
        """Remove what has a new path or was of a killed build; with `prune` also what is no more in the release."""
        changes = ReleaseChanges([], [], self._troubles)
        places = {origin: at for at, (origin, _) in copies.items()}
        gone = 0
        for at, (origin, _) in list(self._rows.items()):
            if at in copies or self._storage.shown(*origin) in held:
                continue
            moved = not origin.output or (origin in places and places[origin] in self._rows)
            if origin in places and not moved:  # its new path could not be written: this is all there is of it
                continue
            if moved or prune:
                self._remove(at, changes, moved)
            else:
                gone += 1
        self._manifest.keep()
        files = sum(at in self._rows for at in copies)
        return changes._replace(files=files, written=self._written, renamed=len(self._moved), gone=gone)

    def _remove(self, at: _At, changes: ReleaseChanges, moved: bool) -> None:
        """Remove one copy from the disk and the record, unless it was changed by hand: then from the record only."""
        path = self._storage.shown(*at)
        try:
            ours = is_unchanged(self._storage, at[0], self._rows[at][1])
            if ours:
                self._storage.remove(*at)
                self._storage.remove_empty(at[0])
        except OSError as e:
            self._troubles.append(not_removed_trouble(path, e))
            return
        self._forget(at)
        if ours is False:
            changes.kept.append(path)
        elif ours and not moved:
            changes.removed.append(path)

    def _enter(self, at: _At, origin: Origin, made: OutputRow) -> None:
        self._rows[at] = origin, made
        self._manifest.db.execute(
            "INSERT OR REPLACE INTO released VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", (*at, *origin, *made[3:])
        )

    def _forget(self, at: _At) -> None:
        del self._rows[at]
        self._manifest.db.execute("DELETE FROM released WHERE folder = ? AND name = ?", at)

    def _synced(self, folder: str, names: Sequence[str]) -> None:
        if self._manifest.written is not None:
            self._manifest.written.note(folder, names)
