"""Writes a release as one file: a ZIP archive with the files of every lick, and a page of contents.

In: the output folder and the licks of `release.py`. Out: the archive in parts, up to its seal; the same files give the same bytes, since times and
permissions are fixed and entries sorted. Only a file that is as it was made goes in; what is left out is a `PathDiagnostic`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from lickwright.build.release import ReleasedFile, ReleasedLick
from lickwright.core.destination import Seal
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.digest import blake2b
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import NOT_OURS, UNREADABLE
from lickwright.core.slugs import slug
from lickwright.core.source import Span
from lickwright.store.output_writer import recorded_output
from lickwright.store.storage import Storage, read_output
from lickwright.store.types import PathDiagnostic

_BEFORE = b"lickwright archive "
SEAL = Seal(_BEFORE, b"")  # the archive's comment, which ends it
_HEX = 32  # digits of a seal
CONTENTS = "contents.txt"
_PACKED = ("audio",)  # formats that packing makes little smaller, and takes long


class _Sink:
    """A write-only file for `zipfile`, whose contents are taken out as they are written."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: bytes) -> int:
        """Append some bytes."""
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Do nothing: nothing is buffered."""

    def close(self) -> None:
        """Do nothing: there is nothing to close."""

    def take(self) -> bytes:
        """Return the bytes written since the last call."""
        data = b"".join(self._parts)
        self._parts.clear()
        return data


def check_files(
    storage: Storage, book: Sequence[ReleasedLick], place: str = "the archive"
) -> tuple[list[ReleasedLick], list[PathDiagnostic]]:
    """Return the licks that have files as they were made, with those files; and a finding for each other file.

    `place`: what those are left out of, for the message.
    """
    storage.refresh()
    kept: list[ReleasedLick] = []
    troubles: list[PathDiagnostic] = []
    for lick in book:
        files: list[ReleasedFile] = []
        for filed in lick.files:
            try:
                now = recorded_output(storage, lick.target, filed.row)
                found = None if now is not None and now.hash == filed.row.hash else _left_out(now is None, place)
            except OSError as e:
                found = UNREADABLE.at(Span(0, 0), f"left out of {place}: {error_reason(e)}"[:180], "make it again")
            if found is None:
                files.append(filed)
            else:
                troubles.append(PathDiagnostic(storage.shown(lick.target, filed.row.name), found))
        if files:
            kept.append(lick._replace(files=tuple(files)))
    return kept, troubles


def _left_out(missing: bool, place: str) -> Diagnostic:
    if missing:
        return UNREADABLE.at(Span(0, 0), "the file is gone", "make it again")
    message = f"the file was changed since it was made: left out of {place}"
    return NOT_OURS.at(Span(0, 0), message, f"make it again with --overwrite, or add it to {place} yourself")


def archive_parts(name: str, storage: Storage, book: Sequence[ReleasedLick]) -> Iterator[bytes]:
    """Yield the archive up to its seal; `name` is its file's name. Raises OSError, also for a file that is changed meanwhile."""
    top = slug(name)
    entries = sorted((filed.at, lick.target, filed) for lick in book for filed in lick.files)
    sink = _Sink()
    with ZipFile(sink, "w") as archive:
        pages = {CONTENTS: contents_page(name, book).encode("utf-8"), **_site(name, book, {at for at, _, _ in entries})}
        for at, data in pages.items():
            with archive.open(_entry(f"{top}/{at}", len(data), ZIP_DEFLATED), "w") as entry:
                entry.write(data)
            yield sink.take()
        for at, target, filed in entries:
            method = ZIP_STORED if filed.row.format in _PACKED else ZIP_DEFLATED
            hash = blake2b(digest_size=16)
            with archive.open(_entry(f"{top}/{at}", filed.row.size, method), "w") as entry:
                for piece in read_output(storage, target, filed.row.name):
                    hash.update(piece)
                    entry.write(piece)
                    yield sink.take()
            if hash.digest() != filed.row.hash:
                raise OSError(0, f"{storage.shown(target, filed.row.name)} was changed meanwhile")
        archive.comment = _BEFORE + b"0" * _HEX
    yield sink.take()[: -len(_BEFORE) - _HEX]


def _site(name: str, book: Sequence[ReleasedLick], taken: Collection[str]) -> dict[str, bytes]:
    """The index of the lesson pages, in the book's order, where there are two or more and no file has its name."""
    pages = [(lick.said, filed.at) for lick in book for filed in lick.files if filed.row.format == "page"]
    if len(pages) < 2:
        return {}
    from lickwright.export.page.index_page import FILE_NAME, IndexEntry, index_page

    if FILE_NAME in taken:
        return {}

    numbers = {"level": int, "tempo": float}

    def value(said: dict[str, Any], name: str) -> Any:
        if name not in numbers:
            return str(said[name] or "")
        return None if said[name] is None else numbers[name](said[name])

    entries = [IndexEntry(at, *(value(said, name) for name in IndexEntry._fields[1:])) for said, at in pages]
    return {FILE_NAME: index_page(name, entries).encode("utf-8")}


def _entry(path: str, size: int, method: int) -> ZipInfo:
    """Return the entry of an ordinary file that all may read, with a fixed time."""
    entry = ZipInfo(path, (1980, 1, 1, 0, 0, 0))
    entry.create_system = 3  # Unix, whose permissions these are
    entry.external_attr = 0o100644 << 16
    entry.compress_type = method
    entry.file_size = size
    return entry


def contents_page(name: str, book: Sequence[ReleasedLick]) -> str:
    """Return the page of contents: every lick in the book's order, with its files."""
    files = sum(len(lick.files) for lick in book)
    lines = [
        f"{name}: {len(book)} {'lick' if len(book) == 1 else 'licks'}, {files} {'file' if files == 1 else 'files'}"
    ]
    last = ""
    for lick in book:
        if lick.target != last:
            last = lick.target
            lines += ["", last]
        lines.append(f"  {lick.number}. {_line(lick)}")
        lines += [f"       {filed.at}" for filed in lick.files]
    return "\n".join(lines) + "\n"


def _line(lick: ReleasedLick) -> str:
    """Return the line of one lick: `Porch light: A minor, box 1, level 2, 92 beats a minute, by Mara Quill`."""
    said = lick.said
    tempo = said["tempo"]
    words = [
        str(said["key"]),
        _box(str(said["box"])),
        "" if said["level"] is None else f"level {said['level']}",
        f"{float(tempo):g} beats a minute" if tempo else "",
        f"by {said['by']}" if said["by"] else "",
        str(said["rights"]),
    ]
    told = ", ".join(word for word in words if word)
    title = " ".join(str(said["title"]).split())
    return f"{title}: {told}" if told else title


def _box(box: str) -> str:
    return f"box {box}" if box[:1].isdigit() else box
