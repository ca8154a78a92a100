"""What a run is about to write, noted before it is written, so that a run that is killed leaves nothing that the next does not know.

In: names and hashes of outputs. Out: lines in a file of this process's own in `.lickwright.journal/`, below the output folder. A journal
is taken away once the manifest says all that stands in it; one that is still there belongs to a run that died: `recover` makes its
lines claims in the manifest and sweeps up the temporary files of that run.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

from lickwright.files import TEMPORARY
from lickwright.library.fresh import take_away
from lickwright.library.manifest import Manifest

FOLDER = ".lickwright.journal"


class Journal:
    """One process's notes."""

    def __init__(self, out: str) -> None:
        """Begins when the first line is noted."""
        self._folder = os.path.join(out, FOLDER)
        self._handle = -1

    def note(self, folder: str, wanted: Iterable[tuple[str, bytes]]) -> None:
        """Notes names and hashes of the files that are going to be in `folder`."""
        if self._handle < 0:
            os.makedirs(self._folder, exist_ok=True)
            path = os.path.join(self._folder, f"{os.getpid()}-{os.urandom(4).hex()}")
            self._handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o666)
        text = "".join(f"{hash.hex()} {folder}/{name}\n" for name, hash in wanted).encode("ascii")
        if os.write(self._handle, text) != len(text):
            raise OSError(28, "no space left on device")  # ENOSPC: what is half noted would not be known

    def close(self) -> None:
        """Lets go of the file, which stays until `clear`."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1


def left(out: str) -> bool:
    """Whether a run died here."""
    return os.path.isdir(os.path.join(out, FOLDER))


def recover(out: str, manifest: Manifest) -> None:
    """Takes over what runs that died have noted. Nobody else may be at work in `out`."""
    folders: set[str] = set()
    manifest.begin()
    for folder, name, hash in _lines(out):
        folders.add(folder)
        manifest.db.execute("INSERT OR IGNORE INTO claims VALUES (?, ?, ?)", (folder, name, hash))
    manifest.keep()
    sweep(out, folders)
    clear(out)


def clear(out: str) -> None:
    """Takes the journals away: the manifest says all that stands in them."""
    here = os.path.join(out, FOLDER)
    try:
        for name in os.listdir(here):
            os.unlink(os.path.join(here, name))
        os.rmdir(here)
    except FileNotFoundError:
        pass


def sweep(out: str, folders: Iterable[str]) -> None:
    """Takes away temporary files and folders."""
    for folder in {*folders, *map(os.path.dirname, folders)}:  # a new folder is filled beside its place
        here = os.path.join(out, folder)
        try:
            names = os.listdir(here)
        except OSError:  # it was never made
            continue
        for name in names:
            if name.startswith(TEMPORARY) and name.endswith(".tmp"):
                take_away(os.path.join(here, name))


def _lines(out: str) -> Iterator[tuple[str, str, bytes]]:
    here = os.path.join(out, FOLDER)
    try:
        names = os.listdir(here)
    except (FileNotFoundError, NotADirectoryError):
        return
    for journal in names:
        with open(os.path.join(here, journal), "rb") as file:
            for line in file:
                hash, _, place = line.rstrip(b"\n").partition(b" ")
                folder, slash, name = place.decode("ascii", "replace").rpartition("/")
                if line.endswith(b"\n") and len(hash) == 32 and slash and _inside(folder):
                    try:
                        yield folder, name, bytes.fromhex(hash.decode("ascii"))
                    except ValueError:  # a damaged line claims nothing
                        continue


def _inside(folder: str) -> bool:
    """Whether a folder of a journal lies below the output folder: anybody could have written one."""
    return not os.path.isabs(folder) and ".." not in folder.split("/")
