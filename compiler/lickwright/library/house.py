"""House rules: the `lickwright.toml` that holds for a folder of licks and all below it.

In: where a source lies. Out: the `House` that holds there, or None. The nearest file upwards counts, alone: two are never mixed. What stands in it
is `house_keys.py`, how it is read `house_reading.py`; both are loaded only where there is such a file, and looking for one costs a
look at each folder once.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from lickwright.diagnostics import Diagnostic, has_errors
from lickwright.style import Style

if TYPE_CHECKING:
    from lickwright.backends import Album

FILE = "lickwright.toml"


@dataclass(frozen=True, slots=True)
class House(Style):
    """A `lickwright.toml` as read. What could not be read is left out, and is a finding."""

    path: str = ""  # of the file, as it is shown to a user
    key: str = ""  # the same as long as licks come out the same: for a build that does only what changed. Options of `make` are not in it
    make: Mapping[str, Any] = field(
        default_factory=dict
    )  # options of `lickwright make` by name, as the command wants them
    album: Album | None = None  # what recordings say of the album that they belong to; None: of none
    findings: tuple[Diagnostic, ...] = ()  # about the file itself

    @property
    def ok(self) -> bool:
        """Whether all of it could be read: else nothing should be written by it."""
        return not has_errors(self.findings)


class Houses:
    """Finds houses for one run, and reads each once."""

    def __init__(self) -> None:
        self._at: dict[str, House | None] = {}  # by absolute folder

    def of(self, path: str) -> House | None:
        """The house of a source, by the name that the user has for it; standard input (`-`) belongs where the user is."""
        if "://" in path:
            return self._far(path.rpartition("/")[0])
        return self.find("" if path == "-" else os.path.dirname(path))

    def named(self, path: str) -> House | None:
        """The house of what a user named: a folder's own, or that of a source."""
        if "://" in path:
            return self._far(path.rstrip("/"))
        return self.find(path) if os.path.isdir(path) else self.of(path)

    def find(self, folder: str) -> House | None:
        """The house of a folder: its own `lickwright.toml`, else the nearest above."""
        try:
            here = os.path.abspath(folder)
        except OSError:  # the folder that the user is in was taken away
            return None
        passed: list[str] = []
        while here not in self._at:
            passed.append(here)
            path = os.path.join(here, FILE)
            if _stands(path):
                self._at[here] = _read(path, folder)
                break
            above = os.path.dirname(here)
            if above == here:
                self._at[here] = None
                break
            here = above
        found = self._at[here]
        for one in passed:
            self._at[one] = found
        return found

    def _far(self, folder: str) -> House | None:
        """The same at an address of somewhere else."""
        from lickwright.library.addresses import exists, read

        passed: list[str] = []
        found: House | None = None
        while "://" in folder:
            if folder in self._at:
                found = self._at[folder]
                break
            passed.append(folder)
            path = f"{folder}/{FILE}"
            if exists(path):
                from lickwright.library.house_reading import read_house

                found = read_house(path, path, read)
                break
            folder = folder.rpartition("/")[0]
        self._at.update(dict.fromkeys(passed, found))
        return found

    def all(self) -> tuple[House, ...]:
        """Those found so far, by path, each once."""
        found = {house.path: house for house in self._at.values() if house is not None}
        return tuple(found[path] for path in sorted(found))


def find_house(folder: str = "") -> House | None:
    """The house that holds in a folder (where the user is, if none is named), for use from Python: `compile_file(path, find_house(folder))`."""
    return Houses().find(folder)


def _stands(path: str) -> bool:
    """Whether something of that name is there; a folder that may not be looked into has none for us."""
    try:
        os.stat(path)
    except (FileNotFoundError, NotADirectoryError, PermissionError, ValueError):
        return False
    except OSError:  # a link in a circle, a broken disk: there is something, and reading it says what
        return True
    return True


def _read(path: str, folder: str) -> House:
    from lickwright.library.house_reading import read_house

    return read_house(path, path if os.path.isabs(folder) else os.path.relpath(path))
