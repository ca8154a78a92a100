"""The formats a lick is written in: one module a target, one row in `EXPORTS`."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, BinaryIO, NamedTuple, TypeAlias

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.fast_dataclass import field, record, replace
from lickwright.music.practice import SHARES, Ladder

if TYPE_CHECKING:
    from lickwright.layout.columns import Grid
    from lickwright.performance.note_events import Performance
    from lickwright.timeline.model import Timeline


SOUND_FORMATS = ("wav", "flac", "mp3", "ogg")
PRACTICE = (*SHARES, "ladder")  # the recordings of a practice set
_PACE = re.compile(rf"\.({'|'.join(PRACTICE)})-[0-9]+(?:-to-[0-9]+)?-bpm(?=\.)")


@record
class Recording:
    """What a user asks of a recording."""

    format: str = "wav"  # one of SOUND_FORMATS
    part: str = ""  # one of PRACTICE; "" for the lick at its tempo
    practice: bool = False  # the whole practice set instead of one recording
    count_in: int = 0  # bars
    click: bool = False  # goes on under the lick
    repeat: int | None = None  # times through the lick, at each tempo; None: see `times`
    answer: bool = False  # a silence as long after each time through, to answer in
    backing: bool = False  # chords held under the lick
    ladder: Ladder = Ladder()
    vary: int | None = None  # seed of small variations from stroke to stroke; None: none
    longest: int | None = None  # seconds that a recording may last; None: as long as any

    @property
    def times(self) -> int:
        """Times through the lick at each tempo: as asked for, else twice on each rung of a ladder, else once."""
        return self.repeat or (2 if self.part == "ladder" else 1)


@record
class Cover:
    """A picture for recordings: a PNG or JPEG file."""

    mime: str
    width: int  # pixels
    height: int
    digest: str  # of its bytes, for comparing
    data: bytes = field(repr=False, compare=False)


@record
class Album:
    """What a house says of all its recordings."""

    title: str = ""
    genre: str = ""
    year: str = ""
    cover: Cover | None = None


@record
class Options:
    """What a user asks of every back end."""

    width: int = 80  # columns of a text tab
    tempo_percent: Fraction | None = None  # `--tempo 60%`
    tempo_bpm: Fraction | None = None  # `--tempo 72`: the opening tempo, later changes in proportion
    single_channel: bool = False  # MIDI for old gear: all strings on one channel
    recording: Recording = Recording()
    chord_tones: bool = False  # a text tab with what each note is in its chord over the strings
    album: Album = Album()  # for tags of recordings
    track: int = 0  # the lick's number in the album, from 1; 0: none
    bars: tuple[int, int] | None = None  # the first and the last bar of the part that is wanted; None: all of it

    @property
    def tempo_words(self) -> str:
        """The tempo asked for, to name a recording with, so that a slow one does not take the full one's place: `60-percent`."""
        if self.tempo_bpm is not None:
            return f"{float(self.tempo_bpm):g}-bpm".replace(".", "-")
        return "" if self.tempo_percent is None else f"{float(self.tempo_percent):g}-percent".replace(".", "-")

    @property
    def bars_words(self) -> str:
        """The part that is asked for, to name a file with, so that it does not take the whole lick's place: `bars-1-2`."""
        if self.bars is None:
            return ""
        first, last = self.bars
        return f"bars-{first}-{last}" if last > first else f"bar-{first}"


# Writes a whole output into the first file, which can be sought in; the second is for whatever the work has to put aside.
Writer: TypeAlias = Callable[[BinaryIO, BinaryIO], None]


# Writes an output into the second file, of an earlier one with the same sound, the first; ValueError where that is no such file.
Retag: TypeAlias = Callable[[BinaryIO, BinaryIO], None]


class Length(NamedTuple):
    """How long a recording lasts, and how large its file will be, about."""

    seconds: float
    size: int  # bytes

    @property
    def much(self) -> bool:
        """Whether to say so before it is begun."""
        return self.seconds > 300

    def __str__(self) -> str:
        """`31 minutes, about 360 MB`."""
        return (
            f"{lasting(self.seconds)}, about {max(1, round(self.size, -7 if self.size >= 10**8 else -6) // 10**6)} MB"
        )


def lasting(seconds: float) -> str:
    """`31 minutes`; of less than two the seconds."""
    return f"{seconds / 60:.0f} minutes" if seconds >= 120 else f"{seconds:.0f} seconds"


class Export(NamedTuple):
    """One output, and what the format could not say."""

    content: bytes | Writer | None  # a `Writer` for what can be too large for the memory; None: there is no output
    losses: tuple[Diagnostic, ...] = ()
    length: Length | None = None  # of a recording
    suffix: str = ""  # of its file, where its name says more than `Backend.files` can know: the tempo
    sound: bytes = b""  # of a recording: the same for the same samples, encoded in the same way; its tags do not count
    retag: Retag | None = None  # of a recording

    @property
    def data(self) -> bytes:
        """The whole output in memory; empty where there is none."""
        if not callable(self.content):
            return self.content or b""
        file = BytesIO()
        self.content(file, BytesIO())
        return file.getvalue()


class ExportFormat(NamedTuple):
    """One row: where a back end is and what it makes.

    Its module has `emit(stages: Stages, options: Options) -> Emission` and `RULES: tuple[Rule, ...]`
    (its L5xx losses), and is imported on use.
    """

    name: str  # as in `--to`
    module: str
    suffix: str  # of its files
    summary: str  # one line for help and README
    recorded: bool = False  # sound: wants the extra `lickwright[audio]`, and can be several files
    whole: bool = False  # is made of the whole lick, whatever part is asked for

    def files(self, options: Options) -> tuple[tuple[str, Options], ...]:
        """Suffix of each file that it makes of a lick, and the options to emit it with.

        The recordings of a practice set have their tempo in their names too, which only the lick knows: `Emission.suffix`.
        """
        if not self.recorded:
            return ((("" if self.whole else dotted(options.bars_words)) + self.suffix, options),)
        recording = options.recording
        parts = PRACTICE if recording.practice else (recording.part,)
        count_in = max(1, recording.count_in) if recording.practice else recording.count_in
        made = (replace(recording, part=part, practice=False, count_in=count_in) for part in parts)
        return tuple(
            (dotted(options.bars_words, one.part or options.tempo_words, one.format), replace(options, recording=one))
            for one in made
        )


def dotted(*words: str) -> str:
    """A suffix of words, without the empty ones: `.slow.wav`."""
    return "".join(f".{word}" for word in words if word)


def kind_of(suffix: str) -> str:
    """A suffix as `Backend.files` has it: without the tempo that the name of a practice set's recording carries."""
    return _PACE.sub(r".\1", suffix)


EXPORTS: tuple[ExportFormat, ...] = (
    ExportFormat("tab", "lickwright.export.tab", ".tab.txt", "text tab, for reading and mailing", whole=True),
    ExportFormat(
        "midi", "lickwright.export.midi", ".mid", "Standard MIDI File, one track and channel per string, with bends"
    ),
    ExportFormat(
        "timing",
        "lickwright.export.timing",
        ".timing.csv",
        "timing sheet, a row for each note, bend and release, for a spreadsheet",
    ),
    ExportFormat("timing-json", "lickwright.export.timing.timing_json", ".timing.json", "timing sheet as JSON"),
    ExportFormat(
        "timing-text", "lickwright.export.timing.timing_text", ".timing.txt", "timing sheet as an aligned table"
    ),
    ExportFormat(
        "audio",
        "lickwright.export.audio",
        ".wav",
        "the sound of it, as a guitar plays it; other --format, other suffix",
        True,
    ),
)


class LoweredLick:
    """A counted lick and what is lowered from it, each made once, when first asked for."""

    def __init__(self, timeline: Timeline) -> None:
        self.timeline = timeline
        self._grid: Grid | None = None
        self._parts: dict[tuple[int, int], tuple[LoweredLick, tuple[Diagnostic, ...]]] = {}
        self._performances: dict[tuple[Fraction | None, Fraction | None], Performance] = {}

    def grid(self) -> Grid:
        """The lick as drawn."""
        if self._grid is None:
            from lickwright.layout.columns import lay_out_bars

            self._grid = lay_out_bars(self.timeline)
        return self._grid

    def part(self, bars: tuple[int, int]) -> tuple[LoweredLick, tuple[Diagnostic, ...]]:
        """The part from one bar to another, and what is to be said of it. Raises `excerpt.NoBars`."""
        if bars not in self._parts:
            from lickwright.timeline.excerpt import cut_bars

            timeline, said = cut_bars(self.timeline, *bars)
            self._parts[bars] = LoweredLick(timeline), said
        return self._parts[bars]

    def performance(self, options: Options) -> Performance:
        """The lick as sounded, at the tempo that `options` ask for."""
        asked = (options.tempo_percent, options.tempo_bpm)
        if asked not in self._performances:
            from lickwright.performance.note_events import perform

            self._performances[asked] = perform(self.timeline, *asked)
        return self._performances[asked]
