"""What became of a source: values that `pipeline.py` makes, and the outputs they give.

In: nothing of its own; a `Compilation` comes from `pipeline.compile_text` and its like. Out: findings, and of each
lick without errors the bytes of any format. Nothing here writes a file.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.backends import BACKENDS, Emission, Options, Stages
from lickwright.diagnostics import Diagnostic, has_errors
from lickwright.meant import kept, weighed
from lickwright.source import Source
from lickwright.style import Style

if TYPE_CHECKING:
    from lickwright.backends.timing import Row
    from lickwright.timeline import Timeline


class LickHasErrors(ValueError):
    """A lick with errors has no outputs: whatever was written would not be what its writer meant."""


class CompiledLick(NamedTuple):
    """One lick, counted and checked; its outputs are made when asked for."""

    title: str
    slug: str  # the name of its files, distinct within its source
    timeline: Timeline | None  # None where it cannot be counted
    diagnostics: tuple[Diagnostic, ...]  # what is wrong in it or in the fields that its file sets for it
    stages: Stages | None  # None for a lick with errors
    house: Style | None = None  # by which it was compiled

    @property
    def ok(self) -> bool:
        """Whether it can be written."""
        return self.stages is not None

    def _need(self) -> Stages:
        if self.stages is None:
            raise LickHasErrors(f'"{self.title}" has errors, so it has no outputs')
        return self.stages

    def emit(self, name: str, options: Options = Options()) -> Emission:  # noqa: B008 (a frozen value)
        """The bytes of one format, and what it could not say (less what the lick says is meant)."""
        from importlib import import_module

        stages = self._need()
        module = import_module(next(row.module for row in BACKENDS if row.name == name))
        emission: Emission = module.emit(stages, options)
        losses, _ = kept(emission.losses, stages.timeline)
        return Emission(emission.data, tuple(replace(d, lick=self.title) for d in weighed(losses, self.house)))

    def tab(self, width: int = 80) -> str:
        """Its text tab."""
        return self.emit("tab", Options(width=width)).data.decode("utf-8")

    def midi(self) -> bytes:
        """Its Standard MIDI File."""
        return self.emit("midi").data

    def timing(self, options: Options = Options()) -> tuple[Row, ...]:  # noqa: B008 (a frozen value)
        """Its timing sheet, a row a note."""
        from lickwright.backends.timing import rows

        stages = self._need()
        return rows(stages.timeline, stages.performance(options))

    def to_pretty_midi(self) -> Any:
        """Its MIDI file as a `pretty_midi.PrettyMIDI`, for analysis in Python; wants the extra `lickwright[midi]`."""
        from io import BytesIO

        from pretty_midi import PrettyMIDI  # half a second, and not installed by default

        return PrettyMIDI(BytesIO(self.midi()))


class Compilation(NamedTuple):
    """What became of one source."""

    source: Source
    licks: tuple[CompiledLick, ...]
    diagnostics: tuple[Diagnostic, ...]  # of the file and all its licks, by place, each finding once
    house: Style | None = None  # by which it was compiled

    @property
    def ok(self) -> bool:
        """Whether nothing in it is an error."""
        return not has_errors(self.diagnostics)
