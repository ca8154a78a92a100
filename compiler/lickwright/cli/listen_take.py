"""One take of `lickwright listen`: reads or records it, listens to it, prints the report and writes what was asked for.

In: a lick without errors and what the command line asks. Out: text or JSON on the screen, files, and the exit code.
"""

from __future__ import annotations

import os
import sys
import time
from json import dumps
from typing import NamedTuple

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.findings_view import show_findings
from lickwright.cli.select_lick import report_findings
from lickwright.cli.single_output import STDOUT, report_obstacle, save_output
from lickwright.compiler import Compilation, CompiledLick
from lickwright.core.destination import Seal
from lickwright.core.source import Source
from lickwright.export import LoweredLick, Options
from lickwright.listen.judge import judge_hearing
from lickwright.listen.model import Judgement, TakeContext
from lickwright.listen.sound_file import (
    ReadRecording,
    UnreadableRecording,
    decode_recording,
    read_recording,
)
from lickwright.listen.stretches import hear_recording
from lickwright.music.practice import Ladder
from lickwright.report import console
from lickwright.timeline.excerpt import NoBars, no_bars_finding

REPORT_SEAL = Seal(b',\n "seal": "', b'"\n}\n')  # the last member of the object
PICTURE_SEAL = Seal(b"<!-- lickwright listen ", b" -->\n")
_FIRST_YEAR, _LAST_YEAR = 1981, 9999  # a clock that was never set says 1970 or 1980
_MOST_INPUT = 1 << 30  # bytes that are taken from standard input


class TakeRequest(NamedTuple):
    """What is asked of one take."""

    recording: str  # a path, or - ; "" where it is to be recorded
    seconds: int  # to record
    percent: float  # of the tempo, for the click of a recording
    ladder: Ladder  # on which it is practiced
    bars: tuple[int, int] | None
    form: str
    everything: bool
    width: int
    report: str | None
    picture: str | None
    keep: str | None  # where a take that is recorded is kept
    overwrite: bool
    sources: tuple[str, ...]

    @property
    def name(self) -> str:
        """The file name of the take in reports; "" for one that is recorded and not kept."""
        return os.path.basename(self.recording or self.keep or "")

    @property
    def day(self) -> str:
        """When the take was recorded, as `2026-12-05`; "" where that is not known."""
        return recording_day(self.recording) if self.recording else time.strftime("%Y-%m-%d")


def recording_day(path: str) -> str:
    """Return the day on which a recording was written, in local time, as `2026-12-05`; "" where that cannot be told, as of standard input."""
    try:
        day = time.localtime(os.stat(path).st_mtime)
    except (OSError, ValueError, OverflowError):
        return ""
    return time.strftime("%Y-%m-%d", day) if _FIRST_YEAR <= day.tm_year <= _LAST_YEAR else ""


def listen_to_take(c: Compilation, lick: CompiledLick, asked: TakeRequest) -> int:
    """Listen to one take of a lick without errors; return the exit code."""
    verdict = Verdict()
    for path, seal in ((asked.report, REPORT_SEAL), (asked.picture, PICTURE_SEAL), (asked.keep, None)):
        if path is not None:
            verdict.add(report_obstacle(path, seal, asked.overwrite, asked.sources))
    lowered = _part(c, lick, asked.bars, verdict)
    if lowered is None or verdict.code:
        return verdict.code
    read = _taken(lowered, asked, verdict)
    if read is None:
        return verdict.code
    performance = lowered.performance(Options())
    hearing = hear_recording(read.recording)
    judgement = judge_hearing(lowered.timeline, performance, hearing)
    context = _context(lick, lowered, asked, read)
    _print(judgement, asked, context)
    if asked.report is not None:
        data = report_bytes(judgement, context)
        verdict.add(save_output(asked.report, data, REPORT_SEAL, asked.overwrite, asked.sources))
    if asked.picture is not None:
        from lickwright.listen.picture import draw_take

        data = draw_take(judgement, hearing, performance).encode("utf-8")
        verdict.add(save_output(asked.picture, data, PICTURE_SEAL, asked.overwrite, asked.sources))
    verdict.add(terminal.Exit.MUSIC_ERRORS if judgement.differs else terminal.Exit.FINE)
    return verdict.code


def report_bytes(judgement: Judgement, context: TakeContext) -> bytes:
    """Return the report as JSON, up to its seal."""
    from lickwright.listen.report_json import judgement_as_json

    value = judgement_as_json(judgement, context)
    text = dumps(value, indent=1, ensure_ascii=False, allow_nan=False)[:-2]
    # A file name that is not UTF-8 is escaped, as JSON does.
    return text.encode("utf-8", "backslashreplace")


def _part(c: Compilation, lick: CompiledLick, bars: tuple[int, int] | None, verdict: Verdict) -> LoweredLick | None:
    """Return the lick, or its bars that are asked for; None, and what is wrong is shown, if it has none of them."""
    assert lick.lowered is not None  # or it had errors
    if bars is None:
        return lick.lowered
    try:
        lowered, said = lick.lowered.excerpt(bars)
    except NoBars as e:
        report_findings(c, [no_bars_finding(lick.lowered.timeline, e)], verdict)
        return None
    report_findings(c, said, verdict)
    return lowered


def _context(lick: CompiledLick, lowered: LoweredLick, asked: TakeRequest, read: ReadRecording) -> TakeContext:
    """Return what is known of a take besides its sound. Bars that are all that the lick has are no part of it."""
    is_part = lick.timeline is not None and len(lowered.timeline.bars) < len(lick.timeline.bars)
    return TakeContext(lick.title, is_part, asked.name, asked.day, read.notes, asked.ladder)


def _taken(lowered: LoweredLick, asked: TakeRequest, verdict: Verdict) -> ReadRecording | None:
    """Return the take, from a file or the sound device; None, and what is wrong is shown, where it cannot be had."""
    if not asked.recording:
        from lickwright.cli.listen_record import record_take

        taken = record_take(lowered.timeline, asked.seconds, asked.percent, asked.keep is not None)
        for words in taken.notes:
            terminal.err(f"{words}\n")
        if asked.keep is not None:
            verdict.add(save_output(asked.keep, taken.wave, None, asked.overwrite, asked.sources))
        return ReadRecording(taken.recording, taken.notes)
    try:
        read = _standard_input() if asked.recording == "-" else read_recording(asked.recording)
    except UnreadableRecording as e:
        verdict.add_findings([e.finding])
        show_findings(Source(asked.recording, ""), [e.finding])
        return None
    for words in read.notes:
        terminal.err(f"{console.safe_text(asked.recording)}: {words}\n")
    return read


def _standard_input() -> ReadRecording:
    from tempfile import TemporaryFile

    with TemporaryFile() as file:
        count = 0
        try:
            while count < _MOST_INPUT and (part := sys.stdin.buffer.read(1 << 20)):
                file.write(part)
                count += len(part)
        except (OSError, AttributeError, ValueError):
            raise UnreadableRecording("standard input cannot be read", "name a file, or send one with <") from None
        return decode_recording(file)


def _print(judgement: Judgement, asked: TakeRequest, context: TakeContext) -> None:
    if asked.form == "json":
        terminal.out(report_bytes(judgement, context).decode("utf-8") + "\n}\n")
        return
    from lickwright.listen.report import judgement_text

    lines = judgement_text(judgement, asked.width, asked.everything, context)
    say = terminal.err if STDOUT in (asked.report, asked.picture) else terminal.out
    say("".join(console.safe_text(line) + "\n" for line in lines))
