"""The compile options of the sources of a build, each once.

In: the path of a source. Out: the number of its options.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lickwright.store.types import CompileOptions


class OptionSets:
    """The compile options of a build, each once."""

    def __init__(self, options_of: Callable[[str], CompileOptions]) -> None:
        self.all: list[CompileOptions] = []
        self._options_of = options_of
        self._at: dict[tuple[str | None, bytes, tuple[str, ...]], int] = {}  # by project file, key and formats

    def of(self, path: str) -> int:
        """Return the number of the options that hold for a source.

        Two project files of one key are kept apart: their findings name their own file, and one may have errors.
        """
        one = self._options_of(path)
        file = one.project.source.name if one.project else None
        number = self._at.setdefault((file, one.key, one.formats), len(self.all))
        if number == len(self.all):
            self.all.append(one)
        return number

    def indexed(self, number: int) -> int:
        """Return the number of the same options under which licks are entered into the index."""
        self.all.append(self.all[number]._replace(facts=True))
        return len(self.all) - 1
