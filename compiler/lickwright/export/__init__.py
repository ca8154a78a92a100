"""The formats that a lick is exported to: one module or package a target, one row in `EXPORTS`.

In: a counted lick and what a user asks. Out: the values that all exports share: `Options`, `LoweredLick`, `Export`, and the table.
Writes no format itself, and loads none: a row's module is imported where its output is wanted.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, BinaryIO, NamedTuple, TypeAlias

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.fast_dataclass import field, record, replace
from lickwright.music.practice import PRACTICE_PERCENTS, Ladder

if TYPE_CHECKING:
    from lickwright.layout.grid import Grid
    from lickwright.music.instruments import InstrumentRow
    from lickwright.performance.note_events import Performance
    from lickwright.timeline.model import Timeline


SOUND_FORMATS = ("wav", "flac", "mp3", "ogg")
PRACTICE = (*PRACTICE_PERCENTS, "ladder")  # the recordings of a practice set
LONG = 300  # seconds of a recording from which its length is said before it is begun; an estimate
_TEMPO_WORD = re.compile(rf"\.({'|'.join(PRACTICE)})-[0-9]+(?:-to-[0-9]+)?-bpm(?=\.)")


@record
class RecordingRequest:
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
    sound: InstrumentRow | None = None  # what it is played on; None: what the lick says

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
    """What a project says of all its recordings, for their tags."""

    title: str = ""
    genre: str = ""
    year: str = ""
    cover: Cover | None = None


PAPERS = ("a4", "letter")
PRINT_SIZES = ("small", "normal", "large")
SHEET_FORMATS = ("pdf", "svg", "png")


@record
class SheetRequest:
    """What a user asks of a printed sheet."""

    formats: tuple[str, ...] = ("pdf",)  # of SHEET_FORMATS
    paper: str = "a4"  # one of PAPERS
    size: str = "normal"  # one of PRINT_SIZES
    left_handed: bool = False  # diagrams mirrored
    black: bool = False  # no color
    count: bool = False  # the count below the strings
    staff: bool = False  # a staff of notes above the strings
    chord_shapes: bool = False  # how each chord is held, over its symbol


@record
class Options:
    """What a user asks of the exports; each reads what concerns it."""

    width: int = 80  # columns of a text tab
    tempo_percent: Fraction | None = None  # `--tempo 60%`
    tempo_bpm: Fraction | None = None  # `--tempo 72`: the opening tempo, later changes in proportion
    single_channel: bool = False  # MIDI for old gear: all strings on one channel
    recording: RecordingRequest = RecordingRequest()
    chord_tones: bool = False  # a text tab with what each note is in its chord over the strings
    album: Album = Album()  # for tags of recordings
    track: int = 0  # the lick's number in the album, from 1; 0: none
    sheet: SheetRequest = SheetRequest()
    bars: tuple[int, int] | None = None  # the first and the last bar of the part that is wanted; None: all of it
    compressed: bool = False  # a MusicXML file as an archive, `.mxl`
    page_sound: bool = False  # a lesson page holds recordings, where `lickwright[audio]` is installed

    @property
    def tempo_words(self) -> str:
        """The tempo asked for, as a word of a recording's file name, so that a slow one does not take the full one's place: `60-percent`."""
        if self.tempo_bpm is not None:
            return f"{float(self.tempo_bpm):g}-bpm".replace(".", "-")
        return "" if self.tempo_percent is None else f"{float(self.tempo_percent):g}-percent".replace(".", "-")

    def opening_tempo(self, timeline: Timeline) -> Fraction:
        """Return the beats a minute at which a lick begins, as it is asked for."""
        return timeline.opening_tempo(self.tempo_percent, self.tempo_bpm)

    def ladder_rungs(self, timeline: Timeline) -> tuple[Fraction, ...]:
        """Return the beats a minute of each rung of the practice ladder of a lick, in beats of its own tempo."""
        return self.recording.ladder.rungs(self.opening_tempo(timeline))

    @property
    def bars_words(self) -> str:
        """The bars asked for, as a word of a file name, so that they do not take the whole lick's place: `bars-1-2`."""
        if self.bars is None:
            return ""
        first, last = self.bars
        return f"bars-{first}-{last}" if last > first else f"bar-{first}"


# Writes a whole output into the first file, which can be sought in; the second is for what the work has to put aside.
Writer: TypeAlias = Callable[[BinaryIO, BinaryIO], None]

# Writes an output into the second file from an earlier recording with the same sound, the first. Raises `ValueError` where that is no such file.
Retag: TypeAlias = Callable[[BinaryIO, BinaryIO], None]


class Length(NamedTuple):
    """The length of a recording and the size of its file, about."""

    seconds: float
    size: int  # bytes

    @property
    def is_long(self) -> bool:
        """Whether it should be said before the recording is begun."""
        return self.seconds > LONG

    def __str__(self) -> str:
        """Return `31 minutes, about 360 MB`."""
        megabytes = round(self.size, -7 if self.size >= 10**8 else -6) // 10**6
        return f"{duration_in_words(self.seconds)}, about {max(1, megabytes)} MB"


def duration_in_words(seconds: float) -> str:
    """Return `31 minutes`, or under two minutes `90 seconds`."""
    return f"{seconds / 60:.0f} minutes" if seconds >= 120 else f"{seconds:.0f} seconds"


class Export(NamedTuple):
    """One output, and what the format could not say."""

    content: bytes | Writer | None  # a `Writer` for what can be too large for the memory; None: there is no output
    losses: tuple[Diagnostic, ...] = ()
    length: Length | None = None  # of a recording
    suffix: str = ""  # of its file, where its name says more than `ExportFormat.files` can know: the tempo
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
    """One row of the table: where an export is and what it makes.

    Its module has `emit(lowered: LoweredLick, options: Options) -> Export` and `RULES: tuple[Rule, ...]`
    (its L5xx losses), and is imported on use.
    """

    name: str  # as in `--to`
    module: str
    suffix: str  # of its files
    summary: str  # one line for help and README
    is_audio: bool = False  # needs the extra `lickwright[audio]`, and can be several files
    is_paper: bool = False  # a printed sheet, which can be several files
    compressed_suffix: str = ""  # of its files where `Options.compressed` is asked for; "": they stay as they are

    def files(self, options: Options) -> tuple[tuple[str, Options], ...]:
        """Return the suffix of each file that it makes of a lick, and the options to emit it with.

        The recordings of a practice set have their tempo in their names too, which only the lick knows: `Export.suffix`.
        """
        if self.is_paper:
            sheets = (replace(options.sheet, formats=(name,)) for name in options.sheet.formats)
            return tuple((join_suffix(options.bars_words, *one.formats), replace(options, sheet=one)) for one in sheets)
        if not self.is_audio:
            suffix = self.compressed_suffix if options.compressed and self.compressed_suffix else self.suffix
            return ((join_suffix(options.bars_words) + suffix, options),)
        recording = options.recording
        parts = PRACTICE if recording.practice else (recording.part,)
        count_in = max(1, recording.count_in) if recording.practice else recording.count_in
        made = (replace(recording, part=part, practice=False, count_in=count_in) for part in parts)
        return tuple(
            (
                join_suffix(options.bars_words, one.part or options.tempo_words, one.format),
                replace(options, recording=one),
            )
            for one in made
        )


def join_suffix(*words: str) -> str:
    """Return a suffix made of words, without the empty ones: `.slow.wav`."""
    return "".join(f".{word}" for word in words if word)


def suffix_without_tempo(suffix: str) -> str:
    """Return a suffix as `ExportFormat.files` has it: without the tempo in the name of a practice set's recording."""
    return _TEMPO_WORD.sub(r".\1", suffix)


EXPORTS: tuple[ExportFormat, ...] = (
    ExportFormat("tab", "lickwright.export.tab", ".tab.txt", "text tab, for reading and mailing"),
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
        "musicxml",
        "lickwright.export.musicxml",
        ".musicxml",
        "MusicXML, notes and tab, for programs that read scores; --compressed makes it `.mxl`",
        compressed_suffix=".mxl",
    ),
    ExportFormat(
        "sheet",
        "lickwright.export.sheet",
        ".pdf",
        "printed sheet: engraved tab, box, practice ladder, legend",
        is_paper=True,
    ),
    ExportFormat(
        "audio",
        "lickwright.export.audio",
        ".wav",
        "the sound of it, as a guitar plays it; other --format, other suffix",
        is_audio=True,
    ),
    ExportFormat("page", "lickwright.export.page", ".html", "lesson page, to read, hear and practice in any browser"),
)


def find_format(name: str) -> ExportFormat:
    """Return the row of a name. Raises `ValueError` that lists the names where there is none."""
    for row in EXPORTS:
        if row.name == name:
            return row
    raise ValueError(f"there is no format {name!r}; there are {', '.join(row.name for row in EXPORTS)}")


class LoweredLick:
    """A counted lick and what is lowered from it, each part made once, when first asked for."""

    def __init__(self, timeline: Timeline) -> None:
        self.timeline = timeline
        self._grid: Grid | None = None
        self._excerpts: dict[tuple[int, int], tuple[LoweredLick, tuple[Diagnostic, ...]]] = {}
        self._performances: dict[tuple[Fraction | None, Fraction | None], Performance] = {}

    def grid(self) -> Grid:
        """Return the lick as drawn."""
        if self._grid is None:
            from lickwright.layout.columns import lay_out_bars

            self._grid = lay_out_bars(self.timeline)
        return self._grid

    def excerpt(self, bars: tuple[int, int]) -> tuple[LoweredLick, tuple[Diagnostic, ...]]:
        """Return the bars from the first to the last number, and what is to be said of them. Raises `excerpt.NoBars`."""
        if bars not in self._excerpts:
            from lickwright.timeline.excerpt import cut_bars

            timeline, said = cut_bars(self.timeline, *bars)
            self._excerpts[bars] = LoweredLick(timeline), said
        return self._excerpts[bars]

    def performance(self, options: Options) -> Performance:
        """Return the lick as sounded, at the tempo that `options` ask for."""
        tempo = (options.tempo_percent, options.tempo_bpm)
        if tempo not in self._performances:
            from lickwright.performance.note_events import perform

            self._performances[tempo] = perform(self.timeline, *tempo)
        return self._performances[tempo]
