"""The record of the last build into an output folder: its options, and how far it came. A row of the manifest's table `about`.

In: the scan, the compile options and the share of a build. Out: `BuildRecord`, from which a merge knows whether its shares belong together and none is
missing, and `library --ready` what there should be.
"""

from __future__ import annotations

import dataclasses
import os
import sqlite3
from collections.abc import Iterable, Sequence
from json import dumps, loads
from typing import Any, NamedTuple

from lickwright.core.digest import blake2b
from lickwright.store.guarded_database import Unusable
from lickwright.store.manifest import Manifest
from lickwright.store.output_keys import album_key, program_key
from lickwright.store.source_paths import slashed
from lickwright.store.types import CompileOptions

_NAME = "build"  # of the row


class RecordedOptions(NamedTuple):
    """The compile options of a build, in values that can be stored."""

    key: str  # of the compile options, in hexadecimal: the one that the sources made with them have on record
    formats: tuple[str, ...]
    suffixes: tuple[str, ...]  # how the names of all outputs of a lick end
    options: dict[str, str]  # by the option of `make` that sets each
    project_key: str  # the key of the house rules; "" for none
    album: str = ""  # the key of the project's album, where recordings are made; "" for none


class BuildRecord(NamedTuple):
    """What is on record of one build; of a merge, what its shares have in common."""

    paths: tuple[str, ...]  # that were named, as seen from the output folder
    of: int  # shares that the library was cut into
    begun: tuple[int, ...]  # shares that were begun in this folder
    done: tuple[int, ...]  # those of them that were built to the end, with or without failures
    sources: int  # in the whole library
    library: str  # a hash of their paths below the library's folder
    program: str  # a hash of the program
    asked: tuple[RecordedOptions, ...]
    unread: tuple[str, ...] = ()  # sources that could not be read, as seen from the output folder
    gone: tuple[str, ...] = ()  # sources that are still on record and were not there any more

    @property
    def missing(self) -> list[int]:
        """The numbers of the shares that were not built to the end."""
        return [number for number in range(1, self.of + 1) if number not in self.done]


def load_build_record(connection: sqlite3.Connection) -> BuildRecord | None:
    """Return the record of the last build, None where there was none. Raises `Unusable`."""
    row = connection.execute("SELECT value FROM about WHERE name = ?", (_NAME,)).fetchone()
    if row is None:
        return None
    try:
        return _read(loads(row[0]))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise Unusable("it is damaged") from None


def _read(value: Any) -> BuildRecord:
    asked = tuple(
        RecordedOptions(
            str(key),
            _texts(formats),
            _texts(suffixes),
            {str(k): str(v) for k, v in options.items()},
            str(project_key),
            "".join(album),
        )
        for key, formats, suffixes, options, project_key, *album in value["asked"]
    )
    of, sources = int(value["of"]), int(value["sources"])
    if not 1 <= of <= _MOST:
        raise ValueError
    return BuildRecord(
        _texts(value["paths"]), of, _numbers(value["begun"], of), _numbers(value["done"], of), sources,
        str(value["library"]), str(value["program"]), asked, _texts(value["unread"]), _texts(value["gone"]),
    )  # fmt: skip


_MOST = 10**12  # shares, as `--shard` takes them


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise TypeError
    return tuple(value)


def _numbers(value: Any, most: int) -> tuple[int, ...]:
    if not isinstance(value, list) or not all(type(one) is int and 1 <= one <= most for one in value):
        raise TypeError
    return tuple(value)


def save_build_record(manifest: Manifest, record: BuildRecord) -> None:
    """Enter the record, if it is not there as it is; the caller commits."""
    text = dumps({**record._asdict(), "asked": record.asked}, separators=(",", ":"))
    row = manifest.db.execute("SELECT value FROM about WHERE name = ?", (_NAME,)).fetchone()
    if row is None or row[0] != text:
        manifest.begin()
        manifest.db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (_NAME, text))


def record_of_scan(
    manifest: Manifest, paths: Iterable[str], option_sets: Sequence[CompileOptions], share: tuple[int, int]
) -> BuildRecord:
    """Return the record of a build whose scan is filled, with nothing done yet. `share`: its number, and how many there are."""
    db = manifest.db
    first, last, sources = db.execute("SELECT min(path), max(path), count(path) FROM scan WHERE path <> '-'").fetchone()
    same = next((n for n, (a, b) in enumerate(zip(first or "", last or "", strict=False)) if a != b), 0)
    cut = (first or "").rfind("/", 0, same or None) + 1  # the folder above all, which is another on every machine
    hash = blake2b(digest_size=16)
    for (below,) in db.execute("SELECT substr(path, ?) FROM scan WHERE path <> '-' ORDER BY path", (cut + 1,)):
        hash.update(f"{below}\n".encode("utf-8", "surrogatepass"))
    asked = tuple(sorted(map(_asked, option_sets), key=lambda one: (one.project_key, one.formats, one.key)))
    return BuildRecord(tuple(paths), share[1], (share[0],), (), sources, hash.hexdigest(), program_key(), asked)


def _asked(compile_options: CompileOptions) -> RecordedOptions:
    project_key = getattr(compile_options.project, "key", "")
    return RecordedOptions(
        compile_options.key.hex(),
        compile_options.formats,
        tuple(sorted(compile_options.suffixes())),
        _options(compile_options.options),
        project_key,
        album_key(compile_options.options.album),
    )


def _options(options: Any) -> dict[str, str]:
    """Return the options that differ from the defaults, by name."""
    found: dict[str, str] = {}
    for field in dataclasses.fields(options):
        value = getattr(options, field.name)
        if dataclasses.is_dataclass(value) and field.name == "recording":
            found |= _options(value)
        elif field.name != "album" and value != getattr(type(options)(), field.name):  # which is the project config's
            name = "tempo" if field.name.startswith("tempo_") else field.name.replace("_", "-")
            found[f"--{name}"] = f"{value}%" if field.name == "tempo_percent" else str(value)
    return found


def continue_record(before: BuildRecord | None, now: BuildRecord) -> BuildRecord:
    """Return the record of the build `now` in a folder that holds `before`: shares of the same build, begun earlier, stay on record."""
    if before is None or _alike(before) != _alike(now):
        return now
    begun = tuple(sorted({*before.begun, *now.begun}))
    done = tuple(number for number in before.done if number not in now.begun)
    return now._replace(begun=begun, done=done)


def _alike(record: BuildRecord) -> tuple[object, ...]:
    return record.of, record.library, record.program, record.asked


def describe_differences(one: BuildRecord, other: BuildRecord) -> str:
    """Return in words how two records differ that should be shares of one build; "" where they belong together."""
    if one.of != other.of:
        return f"one is a share of {one.of:,}, the other of {other.of:,}"
    if one.library != other.library:
        if one.sources != other.sources:
            return f"they are shares of different libraries: of {one.sources:,} and of {other.sources:,} sources"
        return "they are shares of different libraries"
    if one.program != other.program:
        return "they were made by different versions of lickwright"
    for a, b in zip(one.asked, other.asked, strict=False):
        if words := _describe_options(a, b):
            return words
    return "" if one.asked == other.asked else "they were made with different house rules"


def _describe_options(a: RecordedOptions, b: RecordedOptions) -> str:
    if a.formats != b.formats:
        return f"they were made in different formats: {','.join(a.formats)} and {','.join(b.formats)}"
    for name in sorted({*a.options, *b.options}):
        if a.options.get(name) != b.options.get(name):
            words = [f"with {name} {one[name]}" if name in one else f"without {name}" for one in (a.options, b.options)]
            return f"they were made with different options: {words[0]} and {words[1]}"
    if a.project_key != b.project_key:
        return "they were made with different house rules: their lickwright.toml is not the same"
    if a.album != b.album:
        return "they were made for different albums: [album] in their lickwright.toml is not the same"
    return ""


class BuildLog:
    """Maintains the record of one build while it goes on."""

    def __init__(
        self,
        manifest: Manifest,
        paths: Sequence[str],
        option_sets: Sequence[CompileOptions],
        share: tuple[int, int],
        whole: bool,
    ) -> None:
        """`paths` are what was named, as seen from the output folder; `whole`: a folder is among them."""
        self._manifest = manifest
        before, now = load_build_record(manifest.db), record_of_scan(manifest, paths, option_sets, share)
        part = whole and before is not None and all(_below(path, before.paths) for path in paths)
        # What is about a part of a library, or about single files, leaves the record of the whole as it is.
        other = before is not None and before.paths != now.paths and now.of == 1
        self._stays = other and (part or not whole)
        self._before = () if before is None else before.unread
        self._record = continue_record(before, now)
        self._share = share[0]
        self._begun = False  # and entered as such

    @property
    def partial(self) -> bool:
        """True if the build is about a part of the library that the folder is on record of."""
        return self._stays

    def begin(self) -> None:
        """Enter that the build is under way; the next `keep` of the manifest commits it."""
        if not self._stays and not self._begun:
            self._begun = True
            save_build_record(self._manifest, self._record)

    def end(self, unread: Iterable[int]) -> None:
        """Enter that the build came to its end, and which sources, by their numbers in the scan, could not be read. Raises what SQLite raises."""
        if self._stays:
            return
        db = self._manifest.db
        paths = [db.execute("SELECT path, shown FROM scan WHERE id = ?", (id,)).fetchone() for id in unread]
        kept = [
            path for path in self._before
            if db.execute("SELECT 1 FROM scan WHERE path = ? AND state = 'skipped'", (path,)).fetchone()
        ]  # fmt: skip
        names = {path or slashed(os.fsdecode(shown)) for path, shown in paths}
        done = tuple(sorted({*self._record.done, self._share}))
        gone = db.execute("SELECT path FROM sources WHERE id IN (SELECT id FROM temp.lost) ORDER BY path")
        record = self._record._replace(
            done=done, unread=tuple(sorted({*kept, *names})), gone=tuple(path for (path,) in gone)
        )
        try:
            save_build_record(self._manifest, record)
        except sqlite3.OperationalError as e:
            if self._begun or "readonly" not in str(e):  # else nothing was entered, and nothing has to be
                raise


def _below(path: str, folders: Sequence[str]) -> bool:
    return any(path == one or path.startswith(f"{one.rstrip('/')}/") for one in folders)
