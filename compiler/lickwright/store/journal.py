"""A write-ahead journal of output files, for recovery after a crash: what a killed build wrote is known to the next.

In: names and hashes of outputs. Out: lines in a file of this process's own in `.lickwright.journal/`, below the output folder. A journal
is removed once the manifest says all that stands in it; one that is still there belongs to a build that was killed: `recover_journals` makes its
lines claims in the manifest and removes the temporary files of that build. A file in that folder whose name or first line is not that of a journal
is left alone. Everything raises `UnsafePath` where something else stands in the folder's place.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator

from lickwright.core.atomic_files import remove_stale_files, write_all
from lickwright.store.manifest import Manifest
from lickwright.store.ownership import OutputPaths, UnsafePath, open_ordinary, plain_folder, plain_name, state_of_kind

FOLDER = ".lickwright.journal"
_HEADER = b"lickwright journal 1\n"  # by which a file there is known as ours
_FORM = re.compile(r"[0-9]{1,10}-[0-9a-f]{8}")  # of its name
_LONGEST = 16384  # bytes of a line; a longer one is none of ours, and nothing after it is read


class Journal:
    """The journal of one process."""

    def __init__(self, out: str) -> None:
        """The file is created when the first line is noted."""
        self._folder = os.path.join(out, FOLDER)
        self._handle = -1

    def note(self, folder: str, wanted: Iterable[tuple[str, bytes]]) -> None:
        """Note names and hashes of the files that are going to be in `folder`. Raises OSError."""
        if self._handle < 0:
            if state_of_kind(self._folder, "folder") is None:
                os.makedirs(self._folder, exist_ok=True)
            path = os.path.join(self._folder, f"{os.getpid()}-{os.urandom(4).hex()}")
            self._handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o666)
            self._write(_HEADER)
        self._write("".join(f"{hash.hex()} {folder}/{name}\n" for name, hash in wanted).encode("ascii"))

    def _write(self, text: bytes) -> None:
        try:
            write_all(self._handle, text)
        except BaseException:
            self.close()  # lines after a half-written one cannot be read: the next line begins another journal
            raise

    def close(self) -> None:
        """Close the file, which stays until `clear_journals`."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1


def has_unfinished_journal(out: str) -> bool:
    """Return True if an unfinished journal exists: a build was killed here."""
    return state_of_kind(os.path.join(out, FOLDER), "folder") is not None


def recover_journals(out: str, manifest: Manifest) -> None:
    """Enter what killed builds have noted as claims, and remove their journals. Nobody else may be writing in `out`. Raises OSError."""
    manifest.begin()
    manifest.db.executemany("INSERT OR IGNORE INTO claims VALUES (?, ?, ?)", _lines(out))
    manifest.keep()
    clear_journals(out, sweeping=True)


def clear_journals(out: str, sweeping: bool = False) -> None:
    """Remove the journals: the manifest says all that stands in them. Raises OSError.

    `sweeping`: some of those who wrote them crashed, and their temporary files are removed as well.
    """
    here = os.path.join(out, FOLDER)
    if not has_unfinished_journal(out):
        return
    if sweeping:
        remove_temporaries(out, (folder for folder, _, _ in _lines(out)))
    for path in _journals(out):
        os.unlink(path)
    try:
        os.rmdir(here)
    except OSError:  # something else lies in it
        pass


def remove_temporaries(out: str, folders: Iterable[str]) -> None:
    """Remove temporary files and folders in `folders`, which come in any number, and in those above them. Nobody may be writing there."""
    inside = OutputPaths(out)
    last = above = None
    for folder in folders:
        if folder == last:  # as the lines of one source are
            continue
        last = folder
        _sweep(inside, folder)
        if os.path.dirname(folder) != above:  # a new folder is filled beside its place
            above = os.path.dirname(folder)
            _sweep(inside, above)


def _sweep(inside: OutputPaths, folder: str) -> None:
    try:
        remove_stale_files(inside.folder(folder), folders=True)
    except OSError:  # it leads to another place
        return


def _journals(out: str) -> Iterator[str]:
    """Yield the paths of the journals: known by name, by type and by their first line, which a full disk may have cut off."""
    here = os.path.join(out, FOLDER)
    for name in os.listdir(here) if has_unfinished_journal(out) else ():
        path = os.path.join(here, name)
        try:
            if _FORM.fullmatch(name) is None:
                continue
            handle = open_ordinary(path)
            try:
                if _HEADER.startswith(os.read(handle, len(_HEADER))):
                    yield path
            finally:
                os.close(handle)
        except OSError:
            continue


def _lines(out: str) -> Iterator[tuple[str, str, bytes]]:
    for journal in _journals(out):
        try:
            handle = open_ordinary(journal)
        except UnsafePath:  # it changed into something else just now
            continue
        with open(handle, "rb") as file:
            file.readline(_LONGEST)
            while line := file.readline(_LONGEST):
                if not line.endswith(b"\n"):  # cut off, or endless
                    break
                hash, _, place = line[:-1].partition(b" ")
                folder, _, name = place.decode("ascii", "replace").rpartition("/")
                if len(hash) == 32 and plain_folder(folder) and plain_name(name):
                    try:
                        yield folder, name, bytes.fromhex(hash.decode("ascii"))
                    except ValueError:  # a damaged line claims nothing
                        continue
