"""Recording of a lick as a guitar plays it, as WAV, FLAC, MP3 or Ogg Vorbis.

In: a lick as counted and as sounded. Out: a file of two channels at 48,000 samples a second, −16 LUFS, with title, tempo and the places of its
bars. Wants the extra `lickwright[audio]`. A recording lasts half an hour at most, or as long as the project
allows; what would be longer ends earlier or is not made, and that is said.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby
from math import inf
from typing import TYPE_CHECKING, BinaryIO

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.digest import blake2b
from lickwright.core.fast_dataclass import replace
from lickwright.export import EXPORTS, PRACTICE, Export, Length, LoweredLick, Options, duration_in_words, join_suffix
from lickwright.hand.hand_shifts import hand_shifts
from lickwright.music.instruments import InstrumentRow
from lickwright.music.practice import MINUTES, PRACTICE_PERCENTS
from lickwright.performance.note_events import Performance
from lickwright.synth.arrangement import RATE, PlannedRound, RecordingPlan, arrange

if TYPE_CHECKING:
    from lickwright.synth.wave import Wave

TOO_LONG = Rule(
    "L507",
    "too long for a recording",
    Severity.WARNING,
    f"a recording is {MINUTES} minutes long at most",
    f"A recording that would last longer than {MINUTES} minutes, or than `longest` in lickwright.toml, ends earlier, "
    "whole times through the lick if it can. Ask for fewer repeats, or for a ladder with fewer rungs.",
    "",
    "",
)
NO_HARMONY = Rule(
    "L508",
    "nothing to hold under the lick",
    Severity.INFO,
    "a backing needs chords, or at least a key",
    "With `--backing` the chords of the `chords` field are held under the lick, or, where there are none, tonic and fifth of its `key`. "
    "A lick with neither is recorded alone.",
    "",
    "",
)
OVER = Rule(
    "L509",
    "longer than recordings may be here",
    Severity.ERROR,
    "a single time through the lick lasts longer than `longest` allows",
    "`longest` in the `[make]` section of lickwright.toml, or `--longest` on the command line, says how many seconds a recording may "
    "last, so that nobody fills a disk by mistake. A lick that is longer than that by itself is not recorded; everything else is made of it.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (TOO_LONG, NO_HARMONY, OVER)
# Bytes a second, measured over the samples.
_SIZES = {"wav": 4 * RATE, "flac": 52_000, "mp3": 16_000, "ogg": 15_000}


def emit(stages: LoweredLick, options: Options) -> Export:
    """Return the file that `options.recording` asks for; it is recorded while it is written."""
    from lickwright.export.audio.encoding import SoundFormat, write_audio, write_tagged
    from lickwright.export.audio.tags import Tags

    plan = plan_recording(stages, options)
    found = audio_losses(stages, options, plan)
    if any(loss.code == OVER.code for loss in found):
        return Export(None, found)
    settings = stages.timeline.settings
    tags = Tags(
        _title(stages, options, plan), settings.by, settings.rights, _tempo_words(stages, plan), plan.marks,
        options.album, _track(options),
    )  # fmt: skip
    form = SoundFormat(options.recording.format, round(plan.end * RATE), RATE)

    def write(file: BinaryIO, scratch: BinaryIO) -> None:
        wave = render_samples(stages, options, plan, scratch)
        write_audio(file, scratch, wave.pieces(), form, tags)

    suffix = _suffix(stages, options, plan) if options.recording.part else ""
    expected = expected_length(plan, options.recording.format)
    return Export(
        write, found, expected, suffix, _sound(stages, options, plan),
        lambda old, file: write_tagged(file, old, form, tags),
    )  # fmt: skip


def _sound(stages: LoweredLick, options: Options, plan: RecordingPlan) -> bytes:
    """Return a hash of everything that samples and encoding depend on: all but the tags."""
    import numpy

    settings, recording = stages.timeline.settings, options.recording
    parts = (
        plan.notes, plan.clicks, plan.chords, plan.end, settings.tuning.sounding, _instrument(stages, options),
        recording.vary, recording.format, RATE, numpy.__version__, _encoder(recording.format),
    )  # fmt: skip
    return blake2b(repr(parts).encode(), digest_size=16).digest()


def _encoder(kind: str) -> str:
    """Return what encodes a format, with its version; "" for WAV, which is written without it."""
    if kind == "wav":
        return ""
    import soundfile

    return str(soundfile.__libsndfile_version__)


def _instrument(stages: LoweredLick, options: Options) -> InstrumentRow:
    """Return what the lick is played on."""
    return options.recording.sound or stages.timeline.settings.instrument


def expected_length(plan: RecordingPlan, kind: str) -> Length:
    """Return how long a recording lasts, and how large it will be in a format, an estimate."""
    return Length(plan.end, round(plan.end * _SIZES[kind]))


def render_samples(stages: LoweredLick, options: Options, plan: RecordingPlan, file: BinaryIO) -> Wave:
    """Return the samples of a recording; `file`, which is empty, holds those that are too many for the memory. Raises OSError where it does."""
    from lickwright.synth.humanizer import Humanizer
    from lickwright.synth.mixdown import mix_down

    settings, vary = stages.timeline.settings, options.recording.vary
    feel = None if vary is None else Humanizer(vary)
    return mix_down(plan, settings.tuning.sounding, _instrument(stages, options).guitar, file, RATE, feel)


def audio_losses(stages: LoweredLick, options: Options, plan: RecordingPlan) -> tuple[Diagnostic, ...]:
    """Return what was asked for and is not in the recording."""
    span, found = stages.timeline.span, []
    longest = _longest(options)
    last = plan.rounds[-1]
    ends = last.at + last.performance.end
    if options.recording.answer:
        ends += last.performance.end - last.performance.bars[0]
    if ends > longest and options.recording.longest is not None:
        why = f"the recording would last {duration_in_words(ends)}, and {duration_in_words(longest)} are allowed here: it is not made"
        return (
            OVER.at(span, why, "make it shorter or faster, or allow more: `longest` in lickwright.toml, or --longest"),
        )
    if plan.left_out or ends > longest:
        why = f"the recording would last longer than {duration_in_words(longest)}: it ends earlier"
        found.append(TOO_LONG.at(span, why, "ask for fewer repeats or a ladder with fewer rungs"))
    if options.recording.backing and not plan.chords:
        why = "there are no chords and no key to hold under the lick: it is recorded alone"
        found.append(NO_HARMONY.at(span, why, "write chords A7 | D7 above the lick"))
    return tuple(found)


def plan_recording(stages: LoweredLick, options: Options) -> RecordingPlan:
    """Return what the recording plays, and when."""
    recording = options.recording
    return arrange(
        stages.timeline,
        _performances(stages, options),
        repeat=recording.times,
        count_in=recording.count_in,
        click=recording.click,
        backing=recording.backing,
        answer=recording.answer,
        longest=_longest(options),
        shifts=hand_shifts(stages.timeline),
    )


def _longest(options: Options) -> float:
    """Return the seconds that a recording may last."""
    return min(60.0 * MINUTES, options.recording.longest or inf)


def _performances(stages: LoweredLick, options: Options) -> list[tuple[Fraction | None, Performance]]:
    """Return the lick at the tempo, or the tempos, of the part that is asked for."""
    part = options.recording.part
    if part == "ladder":
        return [(bpm, stages.performance(Options(tempo_bpm=bpm))) for bpm in options.ladder_rungs(stages.timeline)]
    share = PRACTICE_PERCENTS.get(part, Fraction(100)) / 100
    if options.tempo_bpm is not None:
        return [(None, stages.performance(Options(tempo_bpm=options.tempo_bpm * share)))]
    percent = (options.tempo_percent or Fraction(100)) * share
    return [(None, stages.performance(Options(tempo_percent=None if percent == 100 else percent)))]


def ladder_rounds(stages: LoweredLick, options: Options) -> list[PlannedRound]:
    """Return the first round on each rung of the practice ladder, as its recording has them."""
    row = next(row for row in EXPORTS if row.is_audio)
    asked = row.files(replace(options, recording=replace(options.recording, practice=True)))[-1][1]
    return [next(same) for _, same in groupby(plan_recording(stages, asked).rounds, key=lambda one: one.bpm)]


def _tempi(stages: LoweredLick, plan: RecordingPlan) -> list[float]:
    """Return the beats a minute of each tempo of the recording, in beats of the lick's own tempo."""
    settings = stages.timeline.settings
    value = settings.tempo.unit or settings.meter.beat
    return [bpm for bpm, _ in groupby(float(one.performance.opening_qpm / (4 * value)) for one in plan.rounds)]


def _tempo_words(stages: LoweredLick, plan: RecordingPlan) -> str:
    """Return `1/4 = 72`; of a ladder all its rungs."""
    settings = stages.timeline.settings
    tempi = ", ".join(f"{bpm:.4g}" for bpm in _tempi(stages, plan))
    return f"{settings.tempo.counted_value(settings.meter)} = {tempi}"


def _pace(stages: LoweredLick, plan: RecordingPlan, to: str) -> str:
    """Return the tempo in whole beats a minute: `43`; of a ladder its first and its highest with `to` between them: `43 to 72`."""
    tempi = [round(bpm) for bpm in _tempi(stages, plan)]
    return f"{tempi[0]}{to}{max(tempi)}" if len(tempi) > 1 else str(tempi[0])


def _suffix(stages: LoweredLick, options: Options, plan: RecordingPlan) -> str:
    """Return the suffix of a practice set's recording: `.slow-43-bpm.wav`, `.ladder-43-to-72-bpm.wav`."""
    words = f"{options.recording.part}-{_pace(stages, plan, '-to-')}-bpm"
    return join_suffix(options.bars_words, words, options.recording.format)


def _track(options: Options) -> int:
    """Return the number of a recording in its album; each of a practice set has its own."""
    if options.track == 0 or not options.recording.part:
        return options.track
    return (options.track - 1) * len(PRACTICE) + PRACTICE.index(options.recording.part) + 1


def _title(stages: LoweredLick, options: Options, plan: RecordingPlan) -> str:
    """Return `Porch light (slow, 43 bpm)`; the lick's title alone for what is no part of a practice set."""
    part = options.recording.part
    return stages.timeline.title + (f" ({part}, {_pace(stages, plan, ' to ')} bpm)" if part else "")
