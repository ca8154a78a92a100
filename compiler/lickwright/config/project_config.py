"""The values of a `lickwright.toml`, as read.

`reading.py` makes them, `keys.py` is the table of the settings, `discovery.py` finds the file that holds for a source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.fast_dataclass import field, record
from lickwright.settings.project_rules import ProjectRules

if TYPE_CHECKING:
    from lickwright.export import Album

FILE = "lickwright.toml"


@record
class ProjectConfig(ProjectRules):
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
        """True if all of the file could be read; else nothing should be made by it."""
        return not has_errors(self.findings)
