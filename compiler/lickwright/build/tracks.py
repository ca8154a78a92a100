"""Track numbers: the place of each lick in the album of its project, in the order of the book.

In: a project config, and a source. Out: how many licks come before it. The book is everything below the folder of the `lickwright.toml` that no nearer
one holds for, in the order of a scan, whichever part of it a build was asked for: so a number is the same for one file, a folder or a share.
"""

from __future__ import annotations

import os
import re

from lickwright.config.discovery import ProjectConfig, ProjectConfigs
from lickwright.core.unreadable import Unreadable
from lickwright.settings.project_rules import ProjectRules
from lickwright.store.addresses import is_remote
from lickwright.store.source_paths import real_path
from lickwright.store.sources import read_source, walk_paths_and_addresses

_LICK = re.compile(rb"^(?:\xef\xbb\xbf)?lick(?![\w-])", re.MULTILINE | re.IGNORECASE)  # as in the grammar


class Tracks:
    """The track numbers of one build; each book is gone through once."""

    def __init__(self, leave_out: str) -> None:
        """`leave_out` is the real folder of the outputs, which is not looked into."""
        self._leave_out = leave_out
        self._houses = ProjectConfigs()
        self._books: dict[
            str, dict[str, int]
        ] = {}  # by the path of the `lickwright.toml`: licks before each source, by its real path

    def before(self, project: ProjectRules | None, real: str) -> int:
        """Return how many licks come before the source whose real path is `real`; 0 for one outside the book."""
        if not isinstance(project, ProjectConfig):
            return 0
        if project.path not in self._books:
            self._books[project.path] = self._book(_folder(project.path))
        return self._books[project.path].get(real, 0)

    def _book(self, home: str) -> dict[str, int]:
        found: dict[str, int] = {}
        licks = 0
        top = real_path(home)
        for one in walk_paths_and_addresses([home], leave_out=self._leave_out):
            nearest = self._houses.of(one.path)
            if one.trouble is not None or nearest is None or real_path(_folder(nearest.path)) != top:
                continue
            found.setdefault(one.real, licks)
            licks += _count(one.path)
        return found


def _folder(path: str) -> str:
    """Return the folder that a `lickwright.toml` lies in."""
    return path.rpartition("/")[0] if is_remote(path) else os.path.dirname(path) or "."


def _count(path: str) -> int:
    """Return how many licks a source has; 0 for one that cannot be read."""
    try:
        return len(_LICK.findall(read_source(path)))
    except Unreadable:
        return 0
