"""Which `lickwright.toml` holds for a source: the nearest one upwards, alone. Two are never mixed.

In: the path of a source. Out: its `ProjectConfig`, or None. The reader is loaded only if there is such a file, and each folder is looked at
once in a run.
"""

from __future__ import annotations

import os

from lickwright.config.project_config import FILE, ProjectConfig

__all__ = ["FILE", "ProjectConfig", "ProjectConfigs", "find_house"]


class ProjectConfigs:
    """The project configs of one run, each read once."""

    def __init__(self) -> None:
        self._at: dict[str, ProjectConfig | None] = {}  # by absolute folder

    def of(self, path: str) -> ProjectConfig | None:
        """Return the config of a source, by the path as the user typed it; standard input (`-`) belongs to the current folder."""
        if "://" in path:
            return self._far(path.rpartition("/")[0])
        return self.find("" if path == "-" else os.path.dirname(path))

    def named(self, path: str) -> ProjectConfig | None:
        """Return the config of what a user named: that of a folder, or of a source."""
        if "://" in path:
            return self._far(path.rstrip("/"))
        return self.find(path) if os.path.isdir(path) else self.of(path)

    def find(self, folder: str) -> ProjectConfig | None:
        """Return the config of a folder: its own `lickwright.toml`, else the nearest above it; None if there is none."""
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

    def _far(self, folder: str) -> ProjectConfig | None:
        """The same at an address of somewhere else."""
        from lickwright.store.addresses import is_reachable, read_remote

        passed: list[str] = []
        found: ProjectConfig | None = None
        while "://" in folder:
            if folder in self._at:
                found = self._at[folder]
                break
            passed.append(folder)
            path = f"{folder}/{FILE}"
            if is_reachable(path):
                from lickwright.config.reading import read_project_config

                found = read_project_config(path, path, read_remote)
                break
            folder = folder.rpartition("/")[0]
        self._at.update(dict.fromkeys(passed, found))
        return found

    def all(self) -> tuple[ProjectConfig, ...]:
        """Return the configs found so far, by path, each once."""
        found = {config.path: config for config in self._at.values() if config is not None}
        return tuple(found[path] for path in sorted(found))


def find_house(folder: str = "") -> ProjectConfig | None:
    """Return the config that holds in a folder, by default the current one, or None. For use from Python: `compile_file(path, find_house(folder))`."""
    return ProjectConfigs().find(folder)


def _stands(path: str) -> bool:
    """True if something of that name is there; a folder that may not be read counts as having none."""
    try:
        os.stat(path)
    except (FileNotFoundError, NotADirectoryError, PermissionError, ValueError):
        return False
    except OSError:  # a link in a circle, a broken disk: there is something, and reading it says what
        return True
    return True


def _read(path: str, folder: str) -> ProjectConfig:
    from lickwright.config.reading import read_project_config

    return read_project_config(path, path if os.path.isabs(folder) else os.path.relpath(path))
