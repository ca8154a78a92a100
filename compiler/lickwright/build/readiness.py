"""Checks whether an output folder is complete and up to date, before it is released.

In: an output folder, open to be asked. Out: `ReadinessProblem` values, in a fixed order; none if all is there. Writes nothing.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from json import loads
from typing import Any, NamedTuple

from lickwright.build.tracks import Tracks
from lickwright.config.discovery import ProjectConfig, ProjectConfigs
from lickwright.core.file_bytes import error_reason
from lickwright.core.slugs import fold_title
from lickwright.core.source_discovery import walk_sources
from lickwright.export import EXPORTS, Album
from lickwright.index.families import Lineage, without_moved_copies
from lickwright.index.reader import LibraryIndex
from lickwright.store.addresses import is_remote
from lickwright.store.build_record import BuildRecord, RecordedOptions, load_build_record
from lickwright.store.guarded_database import stored_values
from lickwright.store.local_storage import LocalStorage
from lickwright.store.manifest import OutputRow
from lickwright.store.manifest_schema import GONE, RELEASE
from lickwright.store.output_keys import KEY, album_key, licks_before, program_key, sounds_named, source_key
from lickwright.store.output_writer import is_unchanged
from lickwright.store.source_paths import STDIN, folder_from_output, path_from_here
from lickwright.store.source_state import CHANGED, UNFINISHED, UNREAD, state_of
from lickwright.store.source_state import GONE as SOURCE_GONE

BUILD, UNMADE, STALE, FILES, TITLES, RIGHTS, AUTHOR = "build", "unmade", "stale", "files", "titles", "rights", "by"
# The kinds of problems, in the order of the checks, with the heading of each list.
KINDS = {
    BUILD: "the build",
    UNMADE: "not made",
    STALE: "out of date",
    FILES: "files that are not as they were made",
    TITLES: "titles that come more than once",
    RIGHTS: "licks that do not say their rights",
    AUTHOR: "licks that do not say who made them",
}
_LOST, _BY_HAND = "it is gone", "it was changed by hand"
_EARLIER = "it is of an earlier version of its lick"
_STATES = {
    SOURCE_GONE: "the source is gone",
    CHANGED: "the source changed since",
    UNREAD: "the source cannot be read",
    UNFINISHED: "not all of it was made",
}


class ReadinessProblem(NamedTuple):
    """One thing that is not as it should be for a release."""

    kind: str  # a key of `KINDS`
    path: str  # of a source or an output, as seen from here; "" for the whole
    title: str  # of a lick; "" for none
    message: str


class _Row(NamedTuple):
    """A row of `sources` in the manifest."""

    id: int
    path: str
    target: str
    hash: bytes | None
    key: bytes | None
    formats: str
    refused: str


_SOURCES = "SELECT id, path, target, hash, key, formats, refused FROM sources ORDER BY path"
_OUTPUTS = """
SELECT o.folder, o.gone, s.id, o.name, o.lick, o.format, o.hash, o.size, o.mtime, o.ctime, o.inode
FROM outputs o LEFT JOIN sources s ON s.target = o.folder ORDER BY o.folder, o.name
"""
_RELEASED = """
SELECT r.folder, o.hash, r.name, '', '', r.hash, r.size, r.mtime, r.ctime, r.inode
FROM released r LEFT JOIN outputs o ON o.folder = r.target AND o.name = r.output AND o.gone = 0 ORDER BY r.folder, r.name
"""
_UNRELEASED = """
SELECT folder, name FROM outputs WHERE gone = 0 AND EXISTS (SELECT 1 FROM released)
AND (folder, name) NOT IN (SELECT target, output FROM released) ORDER BY folder, name
"""


def find_lacks(shelf: LibraryIndex, out: str) -> list[ReadinessProblem]:
    """Return everything that is not as it should be in `out`, which `shelf` is open on. Raises `Unusable`."""
    order = list(KINDS)
    with stored_values():
        return sorted(_ReadinessCheck(shelf, out).all(), key=lambda one: order.index(one.kind))


class _ReadinessCheck:
    """One check of an output folder."""

    def __init__(self, shelf: LibraryIndex, out: str) -> None:
        self._db: sqlite3.Connection = shelf.connection
        self._shelf = shelf
        self._out = out
        self._storage = LocalStorage(out)  # one for all files, since it keeps which folders lie inside
        self._record = load_build_record(self._db)
        self._asked = {one.key: one for one in self._record.asked} if self._record else {}
        self._projects = ProjectConfigs()
        self._tracks = Tracks(os.path.realpath(out))
        self._changed: set[str] = set()  # folders of outputs in which a file was changed by hand
        self._rows = [_Row._make(row) for row in self._db.execute(_SOURCES)]

    def all(self) -> Iterator[ReadinessProblem]:
        """Yield every lack, as they are found."""
        if self._record is None:
            yield ReadinessProblem(BUILD, "", "", "no build of a library is on record")
        else:
            yield from _of_build(self._record)
            for path in self._record.unread:
                yield ReadinessProblem(UNMADE, self._shelf.path(path), "", "it could not be read")
            yield from self._unknown(self._record)
        yield from self._of_outputs()
        for row in self._rows:
            yield from self._of_source(row)
        yield from self._of_release()
        yield from self._of_licks()

    def _unknown(self, record: BuildRecord) -> Iterator[ReadinessProblem]:
        """Yield the sources that stand in the library and that no build has made."""
        known = {*record.unread, *(row.path for row in self._rows)}
        real = os.path.realpath(self._out)
        places = []
        for path in record.paths:
            if path == STDIN or is_remote(path):
                continue
            place = path_from_here(self._out, path)
            if place is None:
                yield ReadinessProblem(STALE, self._shelf.path(path), "", "it is not there any more")
            else:
                places.append(place)
        for found in walk_sources(places, leave_out=real):
            path = folder_from_output(real, found.real or os.path.realpath(found.path))
            if path not in known:
                why = "it was never made" if found.trouble is None else found.trouble.message
                yield ReadinessProblem(UNMADE, self._shelf.path(path), "", why)

    def _of_source(self, row: _Row) -> Iterator[ReadinessProblem]:
        shown = self._shelf.path(row.path)
        state = state_of(self._out, row.path, row.hash)
        asked = self._asked.get((row.key or b"")[:KEY].hex())
        if state == UNFINISHED and row.target in self._changed:
            pass  # the file that was changed by hand is named, and is why
        elif state:
            yield ReadinessProblem(UNMADE if state == UNFINISHED else STALE, shown, "", _STATES[state])
        elif why := self._made_otherwise(row, asked):
            yield ReadinessProblem(STALE, shown, "", why)
        for title, why, *_ in loads(row.refused) if row.refused else ():
            yield ReadinessProblem(UNMADE, shown, str(title), str(why))
        if asked is not None and state != SOURCE_GONE:
            yield from self._unmade_formats(row, asked, shown)

    def _made_otherwise(self, row: _Row, asked: RecordedOptions | None) -> str:
        """Return why a source would be made again although it did not change; "" if it would not."""
        if self._record is None:
            return ""
        if asked is None:
            return "it was made with other options than the last build"
        place = path_from_here(self._out, row.path)
        project = self._projects.of(place) if place is not None else None
        if project is not None and not project.ok:
            return f"{project.path} has errors"
        if (project.key if project else "") != asked.project_key:
            return "its lickwright.toml changed since"
        key = row.key or b""
        if key != source_key(key[:KEY], licks_before(key), sounds_named(key), project.sounds if project else None):
            return "a sound of its lickwright.toml changed since"
        return self._of_album(row, asked, project, place) if project is not None and place is not None else ""

    def _of_album(self, row: _Row, asked: RecordedOptions, project: ProjectConfig, place: str) -> str:
        """Return why its recordings would have other tags; "" where they would not, or there are none."""
        if not any(one.is_audio and one.name in asked.formats for one in EXPORTS):
            return ""
        album = project.album or Album()
        if album_key(album) != asked.album:
            return "its album changed since"
        before = self._tracks.before(project, os.path.realpath(place)) if album.title else 0
        return "" if before == licks_before(row.key or b"") else "its number in the album changed since"

    def _unmade_formats(self, row: _Row, asked: RecordedOptions, shown: str) -> Iterator[ReadinessProblem]:
        lost = [name for name in asked.formats if name not in row.formats.split(",")]
        if lost:
            yield ReadinessProblem(UNMADE, shown, "", f"not made as {', '.join(lost)}")
            return
        rows = self._db.execute(
            f"SELECT {', '.join(OutputRow._fields)} FROM outputs WHERE folder = ? AND gone = 0", (row.target,)
        )
        made = {(output.lick, output.suffix) for output in map(OutputRow._make, rows)}
        licks = self._db.execute("SELECT title, slug FROM licks WHERE source_id = ? AND ok ORDER BY id", (row.id,))
        for title, slug in licks.fetchall():
            if lost := [slug + suffix for suffix in asked.suffixes if (slug, suffix) not in made]:
                yield ReadinessProblem(
                    UNMADE, shown, title, f"{', '.join(lost)} {'is' if len(lost) == 1 else 'are'} missing"
                )

    def _of_outputs(self) -> Iterator[ReadinessProblem]:
        rows = {row.id: row for row in self._rows}
        for folder, gone, source, *made in self._set_aside("ready_outputs", _OUTPUTS):
            output = OutputRow._make(made)
            if source is None or gone == GONE:
                expired = "its lick is gone"
            else:
                expired = _EARLIER if gone else ""
            why = self._what_is_wrong(folder, output, expired)
            if why == _LOST and expired:
                continue
            if why == _BY_HAND:
                self._changed.add(folder)
            if not why and self._of_another(rows[source], output):
                why = "the last build did not make it: it may be out of date"
            if why:
                yield ReadinessProblem(FILES, self._path(folder, output.name), "", why)

    def _of_release(self) -> Iterator[ReadinessProblem]:
        """Yield the copies in the release that are not those of the present outputs, and outputs that have none."""
        if not self._shelf.has_released:
            return
        for folder, now, *made in self._set_aside("ready_copies", _RELEASED):
            copy = OutputRow._make(made)
            if now is None:
                expired = "its lick is gone or could not be made"
            else:
                expired = "" if now == copy.hash else _EARLIER
            if why := self._what_is_wrong(folder, copy, expired):
                yield ReadinessProblem(FILES, self._path(folder, copy.name), "", why)
        for folder, name in self._db.execute(_UNRELEASED):
            yield ReadinessProblem(FILES, self._path(folder, name), "", f"it is not in {RELEASE}")

    def _set_aside(self, table: str, question: str) -> Iterator[Any]:
        """Yield the rows that answer a question from a temporary table: a look at a file each takes long, and a build would have to wait."""
        self._db.execute(f"CREATE TEMP TABLE {table} AS {question}")
        yield from self._db.execute(f"SELECT * FROM temp.{table} ORDER BY rowid")
        self._db.execute(f"DROP TABLE temp.{table}")

    def _path(self, folder: str, name: str) -> str:
        return os.path.normpath(os.path.join(self._out, folder, name))

    def _what_is_wrong(self, folder: str, output: OutputRow, expired: str) -> str:
        """Return what is wrong with a file, "" for nothing; `expired` is why it should not be there, "" if it should."""
        try:
            ours = is_unchanged(self._storage, folder, output)
        except OSError as e:
            return error_reason(e)
        if ours is None:
            return _LOST
        return expired or ("" if ours else _BY_HAND)

    def _of_another(self, row: _Row, output: OutputRow) -> bool:
        """Return True if an output is of other formats or options than those of the last build of its source."""
        asked = self._asked.get((row.key or b"")[:KEY].hex())
        if output.format not in row.formats.split(","):
            return True
        return asked is not None and output.format in asked.formats and output.suffix not in asked.suffixes

    def _of_licks(self) -> Iterator[ReadinessProblem]:
        rows = self._db.execute(
            'SELECT l.title, l.origin, s.path, l.line, l.rights, l."by" FROM licks l JOIN sources s ON s.id = l.source_id '
            "WHERE l.ok ORDER BY s.path, l.line, l.id"
        )
        titles: dict[str, list[tuple[Lineage, tuple[str, str]]]] = {}
        for title, origin, kept, line, rights, by in rows.fetchall():
            place = f"{self._shelf.path(kept)}:{line}"
            if not rights:
                yield ReadinessProblem(RIGHTS, place, title, "no rights")
            if not by:
                yield ReadinessProblem(AUTHOR, place, title, "no author")
            titles.setdefault(fold_title(title), []).append((Lineage(title, origin), (title, place)))
        for same in titles.values():
            (title, first), *more = without_moved_copies(same) or [same[0][1]]
            for _, place in more:
                yield ReadinessProblem(TITLES, place, title, f"the title is that of {first} too")


def _of_build(record: BuildRecord) -> Iterator[ReadinessProblem]:
    for number in record.missing[:_NAMED]:
        what = f"share {number} of {record.of}" if record.of > 1 else "it"
        ended = f"{what} was stopped before it was done" if number in record.begun else f"{what} is missing"
        yield ReadinessProblem(BUILD, "", "", ended)
    if len(record.missing) > _NAMED:
        yield ReadinessProblem(
            BUILD, "", "", f"{len(record.missing) - _NAMED:,} more shares of {record.of:,} are missing"
        )
    if record.program != program_key():
        yield ReadinessProblem(BUILD, "", "", "it was made by another version of lickwright")


_NAMED = 20  # shares that are missing


def count_by_kind(found: Sequence[ReadinessProblem]) -> dict[str, int]:
    """Return how many there are of each kind, in order."""
    return {kind: n for kind in KINDS if (n := sum(one.kind == kind for one in found))}
