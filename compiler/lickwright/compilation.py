"""What became of a source: values that `compiler.py` makes, and the outputs they give.

In: nothing of its own; a `Compilation` comes from `pipeline.compile_text` and its like. Out: findings, and of each
lick without errors the bytes of any format. Nothing here writes a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.checks.suppressions import apply_severities, apply_suppressions
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source
from lickwright.export import EXPORTS, Export, LoweredLick, Options
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.excerpt import NoBars, no_bars_finding
from lickwright.timeline.model import Timeline, techniques_used

if TYPE_CHECKING:
    from lickwright.export.timing import TimingRow


class LickHasErrors(ValueError):
    """A lick with errors has no outputs: whatever was written would not be what its writer meant."""


class CompiledLick(NamedTuple):
    """One lick, counted and checked; what it says, what is in it and its outputs are made when asked for.

    `tab`, `midi`, `timing`, `timing_json`, `emit` and `to_pretty_midi` raise `LickHasErrors` for a lick that is not `ok`.
    """

    title: str
    slug: str  # the name of its files, distinct within its source
    timeline: Timeline | None  # None where it cannot be counted
    diagnostics: tuple[Diagnostic, ...]  # what is wrong in it or in the fields that its file sets for it
    stages: LoweredLick | None  # None for a lick with errors
    house: ProjectRules | None = None  # by which it was compiled

    @property
    def ok(self) -> bool:
        """Whether it can be written."""
        return self.stages is not None

    # --- what the lick says of itself: "" or None where it says nothing, and of one that cannot be counted

    @property
    def key(self) -> str:
        """Its key: `A minor`."""
        return str(self._setting("key") or "")

    @property
    def scale(self) -> str:
        """Its scale, the key's usual one where none is written: `minor pentatonic`."""
        return str(self._setting("scale") or "")

    @property
    def box(self) -> str:
        """Its box or boxes as written, tidied: `1 2`, `E shape`, `frets 5-8`."""
        spec = self._setting("box")
        return "" if spec is None or spec.any else str(spec)

    @property
    def tempo(self) -> float | None:
        """Its tempo in beats a minute, of the note value that its tempo line names, else of the meter's beat."""
        return float(self.timeline.settings.tempo.bpm) if self.timeline else None

    @property
    def meter(self) -> str:
        """Its meter: `12/8`."""
        return str(self._setting("meter") or "")

    @property
    def feel(self) -> str:
        """Its feel: `straight`, `shuffle`, `swing 5:3`."""
        return str(self._setting("feel") or "")

    @property
    def by(self) -> str:
        """Who wrote it."""
        return str(self._setting("by") or "")

    @property
    def rights(self) -> str:
        """Whose it is."""
        return str(self._setting("rights") or "")

    @property
    def tags(self) -> tuple[str, ...]:
        """Its tags, one by one."""
        return tuple(tag for part in str(self._setting("tags") or "").split(",") if (tag := part.strip()))

    def _setting(self, name: str) -> Any:
        return getattr(self.timeline.settings, name) if self.timeline else None

    # --- what is in it

    @property
    def level(self) -> int | None:
        """How hard it is, 1 to 5: as declared, else as worked out; None for a lick with errors that declares none."""
        if self.timeline is None:
            return None
        declared = self.timeline.settings.level
        if declared is not None or not self.ok:
            return declared
        from lickwright.analysis.difficulty import profile

        return profile(self.timeline).level

    @property
    def duration(self) -> float | None:
        """How long it takes at its tempo, repeats played, in seconds."""
        if self.timeline is None:
            return None
        timeline = self.timeline
        if len(timeline.tempos) == 1 and not timeline.fermatas:  # swing moves no bar line
            return round(240 * timeline.end / (timeline.grain * float(timeline.tempos[0].qpm)), 3)
        from lickwright.performance.tempo_map import written_tempo_map

        return round(written_tempo_map(timeline).seconds(timeline.end), 3)

    @property
    def techniques(self) -> tuple[str, ...]:
        """The names of the techniques that it uses, sorted; that notes are picked goes without saying."""
        if self.timeline is None:
            return ()
        sounds = self.timeline.sounds
        rows, names = techniques_used(sounds)
        names.update(sound.kind for sound in sounds if sound.kind != "note")
        return tuple(sorted(names | {row.name for row in rows if row.sign}))

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """String (1 is the thinnest) and fret of every note, in playing order; notes without a fret are left out."""
        return tuple((s.string, s.fret) for s in self.timeline.sounds if s.fret is not None) if self.timeline else ()

    # --- its outputs

    def _need(self) -> LoweredLick:
        if self.stages is None:
            raise LickHasErrors(f'"{self.title}" has errors, so it has no outputs')
        return self.stages

    def emit(self, name: str, options: Options = Options()) -> Export:  # noqa: B008 (a frozen value)
        """The output of one format, and what it could not say (less what the lick says is meant)."""
        from importlib import import_module

        stages = self._need()
        row = next(row for row in EXPORTS if row.name == name)
        module = import_module(row.module)
        said: tuple[Diagnostic, ...] = ()
        if options.bars is not None and not row.whole:
            try:
                stages, said = stages.part(options.bars)
            except NoBars as e:
                return Export(None, (replace(no_bars_finding(stages.timeline, e), lick=self.title),))
        emission: Export = module.emit(stages, options)
        losses, _ = apply_suppressions((*said, *emission.losses), stages.timeline)
        return emission._replace(
            losses=tuple(replace(d, lick=self.title) for d in apply_severities(losses, self.house))
        )

    def tab(self, width: int = 80) -> str:
        """Its text tab."""
        return self.emit("tab", Options(width=width)).data.decode("utf-8")

    def midi(self) -> bytes:
        """Its Standard MIDI File."""
        return self.emit("midi").data

    def timing_json(self) -> str:
        """Its timing sheet as JSON."""
        return self.emit("timing-json").data.decode("utf-8")

    def timing(self, options: Options = Options()) -> tuple[TimingRow, ...]:  # noqa: B008 (a frozen value)
        """Its timing sheet: a row a note, and one for each bend and release."""
        from lickwright.export.timing import rows

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
    house: ProjectRules | None = None  # by which it was compiled

    @property
    def ok(self) -> bool:
        """Whether nothing in it is an error."""
        return not has_errors(self.diagnostics)
