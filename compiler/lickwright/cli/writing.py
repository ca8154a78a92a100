"""Outputs into a folder: each whole or not at all, and never over a file that is not ours.

In: a folder, the source it belongs to, names and bytes. Out: what was written, and findings for what was not. The
rule: a file that stands in the way is replaced only if its bytes are what Lickwright itself wrote there, which a
record in the folder (`.lickwright`) tells by hash. So a tab that a teacher mended by hand is safe, and no lost record
costs a file.
"""

from __future__ import annotations

import json
import os
import stat
import time
from collections.abc import Sequence
from hashlib import blake2b
from typing import NamedTuple

from lickwright.diagnostics import Diagnostic
from lickwright.files import NOT_OURS, TEMPORARY, UNWRITABLE, reason, replace
from lickwright.source import Span

__all__ = ["RECORD", "Folder", "Output", "Trouble", "replace"]
RECORD = ".lickwright"
_LARGEST = 1 << 28  # bytes; nothing larger was written by us, and it is not read to find out


class Output(NamedTuple):
    """One file to be."""

    name: str  # in its folder
    data: bytes


class Trouble(NamedTuple):
    """One output that was not written, and why."""

    path: str
    finding: Diagnostic


class Folder:
    """One folder of outputs, `root/name`, that belongs to one source."""

    def __init__(self, root: str, name: str, source: str, overwrite: bool) -> None:
        self.path = os.path.join(root, name)
        self._root = root
        self._source = _from(source, self.path)
        self._overwrite = overwrite  # replace whatever file stands in the way
        self.done = 0  # outputs that stand in their place, those that already did included
        self._ours: dict[str, list[str]] = {}  # name of an output: the hashes of its bytes as we wrote them

    def write(self, outputs: Sequence[Output]) -> list[Trouble]:
        """Writes what is not there already; gives what could not be written."""
        try:
            os.makedirs(self.path, exist_ok=True)
            _sweep(self.path)
            recorded = self._read_record()
        except OSError as e:
            return [self._unwritable(self.path, e)]
        refusal = self._refusal(recorded)
        if refusal is not None and not self._overwrite:
            return [
                Trouble(
                    self.path, NOT_OURS.at(Span(0, 0), refusal, "name another folder with --out, or say --overwrite")
                )
            ]
        troubles: list[Trouble] = []
        todo = [output for output in outputs if self._wanted(output, troubles)]
        try:  # the record first, so that a run that is cut short leaves no file that the next one does not know
            self._save_record(recorded)
        except OSError as e:
            return [*troubles, self._unwritable(os.path.join(self.path, RECORD), e)]
        self.done = len(outputs) - len(troubles) - len(todo)
        for output in todo:
            try:
                replace(os.path.join(self.path, output.name), output.data)
                self.done += 1
            except OSError as e:
                troubles.append(self._unwritable(os.path.join(self.path, output.name), e))
        return troubles

    def _unwritable(self, path: str, error: OSError) -> Trouble:
        return Trouble(
            path, UNWRITABLE.at(Span(0, 0), f"nothing was written: {reason(error)}", "name another folder with --out")
        )

    def _read_record(self) -> dict[str, object]:
        """The record as it is;

        anything damaged counts as none, and then a file in the way is treated as someone else's.
        """
        try:
            with open(os.path.join(self.path, RECORD), "rb") as file:
                record = json.loads(file.read(1 << 24))
            files = {str(name): [str(h) for h in hashes] for name, hashes in record["files"].items()}
            self._ours = files
            return {"source": str(record["source"]), "files": dict(files)}
        except (FileNotFoundError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return {}

    def _refusal(self, recorded: dict[str, object]) -> str | None:
        """Why nothing at all may be written into the folder, or None."""
        inside = os.path.join(os.path.realpath(self._root), os.path.basename(self.path))
        if os.path.realpath(self.path) != inside:
            return "the folder is a link to another place"
        other = recorded.get("source", self._source)
        if other != self._source and (other == "-" or os.path.exists(os.path.join(self.path, str(other)))):
            return "the folder holds the outputs of " + (
                "standard input" if other == "-" else f"another source, {other}"
            )
        return None

    def _wanted(self, output: Output, troubles: list[Trouble]) -> bool:
        """Whether `output` is to be written: not where the same bytes stand already, nor over what is not ours."""
        path = os.path.join(self.path, output.name)
        new = _hash(output.data)
        known = self._ours.get(output.name, [])
        try:
            old = _standing(path)
        except ValueError as e:
            troubles.append(Trouble(path, NOT_OURS.at(Span(0, 0), str(e), "move it away")))
            return False
        if old == new:
            self._ours[output.name] = known if new in known else [new]
            return False
        if old is not None and old not in known and not self._overwrite:
            message = "the file was changed since it was made, or is not ours: not overwritten"
            troubles.append(Trouble(path, NOT_OURS.at(Span(0, 0), message, "move it away, or say --overwrite")))
            return False
        self._ours[output.name] = [new] if old is None else [old, new]
        return True

    def _save_record(self, recorded: dict[str, object]) -> None:
        record = {"source": self._source, "files": dict(sorted(self._ours.items()))}
        if self._ours and record != recorded:
            replace(os.path.join(self.path, RECORD), (json.dumps(record, indent=1) + "\n").encode("ascii"))


def _from(source: str, folder: str) -> str:
    """Where `source` lies as seen from `folder`: the record names no place on this machine, so both may move."""
    if source == "-":
        return source
    try:
        return os.path.relpath(os.path.realpath(source), os.path.realpath(folder))
    except ValueError:  # on another drive, where a system has such
        return os.path.realpath(source)


def _hash(data: bytes) -> str:
    return blake2b(data, digest_size=16).hexdigest()


def _standing(path: str) -> str | None:
    """The hash of the file at `path`,

    "" for one too large to be ours, None where there is none; ValueError where something else stands.
    """
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(status.st_mode):
        kind = (
            "link" if stat.S_ISLNK(status.st_mode) else "folder" if stat.S_ISDIR(status.st_mode) else "pipe or device"
        )
        raise ValueError(f"a {kind} stands where the file would go")
    if status.st_size > _LARGEST:
        return ""
    try:
        with open(path, "rb") as file:
            return _hash(file.read())
    except OSError:
        return ""  # may not be read, so cannot be told to be ours


def _sweep(folder: str) -> None:
    """Takes away what runs that were killed left behind; a younger file may be another run's at this moment."""
    for name in os.listdir(folder):
        if name.startswith(TEMPORARY) and name.endswith(".tmp"):
            path = os.path.join(folder, name)
            try:
                if time.time() - os.lstat(path).st_mtime > 600:
                    os.unlink(path)
            except OSError:  # it was the other run's, and is gone
                continue
