"""A compiled source: its licks, their findings and their outputs.

In: what `compile_text`, `compile_bytes` and `compile_file` put into it. Out: findings, the facts of each lick, and of a lick
without errors the bytes of any format. Nothing here writes a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from lickwright.checks.suppressions import apply_severities, apply_suppressions
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source
from lickwright.export import Export, LoweredLick, Options, find_format
from lickwright.music.custom_sound import NAME
from lickwright.music.instruments import INSTRUMENTS
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.excerpt import NoBars, no_bars_finding
from lickwright.timeline.model import Timeline, techniques_used

if TYPE_CHECKING:
    from lickwright.export.timing import TimingRow

NO_NAME = "?"


class LickHasErrors(ValueError):
    """An output was asked of a lick with errors: it has none, since it would not be what its writer meant."""


class CompiledLick(NamedTuple):
    """One lick, counted and checked. Its facts and its outputs are worked out when asked for.

    `tab`, `midi`, `timing`, `timing_json`, `emit` and `to_pretty_midi` raise `LickHasErrors` for a lick that is not `ok`.
    What the lick does not say of itself is "" or None, and so is everything of a lick that cannot be counted.
    """

    title: str
    slug: str  # the name of its files, distinct_names within its source
    timeline: Timeline | None  # None where it cannot be counted
    diagnostics: tuple[Diagnostic, ...]  # findings about the lick, and about the fields that its file sets for it
    lowered: LoweredLick | None  # None for a lick with errors
    project: ProjectRules | None = None  # by which it was compiled

    @property
    def ok(self) -> bool:
        """Whether it has no errors, so that it has outputs."""
        return self.lowered is not None

    # --- what the lick says of itself

    @property
    def key(self) -> str:
        """The key: `A minor`."""
        return self._text("key")

    @property
    def scale(self) -> str:
        """The scale, the key's usual one where none is written: `minor pentatonic`."""
        return self._text("scale")

    @property
    def box(self) -> str:
        """The box or boxes in their usual spelling: `1 2`, `E shape`, `frets 5-8`."""
        spec = self._setting("box")
        return "" if spec is None or spec.any else str(spec)

    @property
    def tempo(self) -> float | None:
        """The tempo in beats a minute, of the note value that the tempo line names, else of the meter's beat."""
        return float(self.timeline.settings.tempo.bpm) if self.timeline else None

    @property
    def meter(self) -> str:
        """The meter: `12/8`."""
        return self._text("meter")

    @property
    def feel(self) -> str:
        """The feel: `straight`, `shuffle`, `swing 5:3`."""
        return self._text("feel")

    @property
    def by(self) -> str:
        """The author."""
        return self._text("by")

    @property
    def rights(self) -> str:
        """The copyright line."""
        return self._text("rights")

    @property
    def tags(self) -> tuple[str, ...]:
        """The tags, one by one."""
        return tuple(tag for part in self._text("tags").split(",") if (tag := part.strip()))

    def _text(self, name: str) -> str:
        """Return the value of a field in its usual spelling; "" where there is none."""
        return str(self._setting(name) or "")

    def _setting(self, name: str) -> Any:
        return getattr(self.timeline.settings, name) if self.timeline else None

    # --- what is in it

    @property
    def level(self) -> int | None:
        """The difficulty, 1 to 5: as declared, else as worked out; None for a lick with errors that declares none."""
        if self.timeline is None:
            return None
        declared = self.timeline.settings.level
        if declared is not None or not self.ok:
            return declared
        from lickwright.analysis.difficulty import difficulty_profile

        return difficulty_profile(self.timeline).level

    @property
    def duration(self) -> float | None:
        """The length at the written tempo, repeats played, in seconds."""
        if self.timeline is None:
            return None
        timeline = self.timeline
        if len(timeline.tempos) == 1 and not timeline.fermatas:  # swing moves no bar line
            return round(240 * timeline.end / (timeline.grain * float(timeline.tempos[0].qpm)), 3)
        from lickwright.performance.tempo_map import written_tempo_map

        return round(written_tempo_map(timeline).seconds(timeline.end), 3)

    @property
    def techniques(self) -> tuple[str, ...]:
        """The names of the techniques in it, sorted; plain picking is not one of them."""
        if self.timeline is None:
            return ()
        sounds = self.timeline.sounds
        rows, names = techniques_used(sounds)
        names.update(sound.kind for sound in sounds if sound.kind != "note")
        return tuple(sorted(names | {row.name for row in rows if row.sign}))

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """The string (1 is the thinnest) and fret of every note, in playing order; notes without a fret are left out."""
        return tuple((s.string, s.fret) for s in self.timeline.sounds if s.fret is not None) if self.timeline else ()

    # --- its outputs

    def _lowered(self) -> LoweredLick:
        if self.lowered is None:
            raise LickHasErrors(f'"{self.title}" has errors, so it has no outputs')
        return self.lowered

    def emit(self, name: str, options: Options = Options()) -> Export:  # noqa: B008 (a frozen value)
        """Return the output of one format, with what it could not say less what the lick says is meant.

        An output of bars that the lick does not have is empty, and says so. Raises `ValueError` for a format that there is not.
        """
        from importlib import import_module

        lowered = self._lowered()
        row = find_format(name)
        module = import_module(row.module)
        said: tuple[Diagnostic, ...] = ()
        if options.bars is not None:
            try:
                lowered, said = lowered.excerpt(options.bars)
            except NoBars as e:
                return Export(None, (replace(no_bars_finding(lowered.timeline, e), lick=self.title),))
        export: Export = module.emit(lowered, options)
        losses, _ = apply_suppressions((*said, *export.losses), lowered.timeline)
        named = (replace(d, lick=self.title) for d in apply_severities(losses, self.project))
        return export._replace(losses=tuple(named))

    def tab(self, width: int = 80) -> str:
        """Return the text tab; `width` is in characters."""
        return self.emit("tab", Options(width=width)).data.decode("utf-8")

    def midi(self) -> bytes:
        """Return the Standard MIDI File."""
        return self.emit("midi").data

    def timing_json(self) -> str:
        """Return the timing sheet as JSON."""
        return self.emit("timing-json").data.decode("utf-8")

    def timing(self, options: Options = Options()) -> tuple[TimingRow, ...]:  # noqa: B008 (a frozen value)
        """Return the timing sheet: a row for each note, bend and release."""
        from lickwright.export.timing import timing_rows

        lowered = self._lowered()
        return timing_rows(lowered.timeline, lowered.performance(options))

    def to_pretty_midi(self) -> Any:
        """Return the MIDI file as a `pretty_midi.PrettyMIDI`, for analysis in Python.

        Raises `ImportError` where the extra `lickwright[midi]` is not installed.
        """
        from io import BytesIO

        from pretty_midi import PrettyMIDI  # half a second, and not installed by default

        return PrettyMIDI(BytesIO(self.midi()))


class Compilation(NamedTuple):
    """One compiled source."""

    source: Source
    licks: tuple[CompiledLick, ...]
    diagnostics: tuple[Diagnostic, ...]  # of the file and all its licks, by place, each finding once
    project: ProjectRules | None = None  # by which it was compiled
    sounds: frozenset[str] = frozenset()  # what its fields `sound` say, read or not

    @property
    def ok(self) -> bool:
        """Whether no finding is an error."""
        return not has_errors(self.diagnostics)

    @property
    def custom_sounds(self) -> tuple[str, ...]:
        """The sounds that its licks name and that are not of the table, whether the project has them or not, by name.

        `NO_NAME` stands for all that no sound can be called: the finding about it depends on the names that there are.
        """
        named = {name if NAME.fullmatch(name) else NO_NAME for name in self.sounds}
        used = {lick.timeline.settings.sound for lick in self.licks if lick.timeline is not None}
        return tuple(sorted((named | used).difference(INSTRUMENTS)))
