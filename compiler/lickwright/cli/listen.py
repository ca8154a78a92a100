"""`lickwright listen`: a recording of a student against a lick."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.audio_options import require_sound
from lickwright.cli.option_pairs import refuse
from lickwright.music.practice import parse_bars
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compiler import Compilation, CompiledLick
    from lickwright.export import LoweredLick
    from lickwright.listen.model import Judgement
    from lickwright.listen.sound_file import ReadRecording

_MOST_INPUT = 1 << 30  # bytes that are taken from standard input


@click.command()
@click.argument("path", metavar="LICK")
@click.argument("recording", metavar="RECORDING")
@click.option("--lick", "title", metavar="TITLE", help="The lick of this title, where the file has several.")
@click.option(
    "--bars",
    callback=option_types.parsed_by(parse_bars),
    metavar="FIRST-LAST",
    help="Only a part of the lick was recorded: 1-2, or 3 alone; a pick-up is 0.",
)
@option_types.format_option("json", help="For a person, or for a program.")
@option_types.all_option("List every remark.")
@option_types.width_option(least=40)
def command(
    path: str,
    recording: str,
    title: str | None,
    bars: tuple[int, int] | None,
    form: str,
    everything: bool,
    width: int | None,
) -> int:
    """Listen to a RECORDING of a LICK: which notes, how late, how high the bends, and what to practice.

    One guitar alone, as WAV, FLAC, MP3 or Ogg, or - for standard input. Any tempo will do, and any tuning; several times through the
    lick are each judged, and the best is shown. Nothing leaves this machine. Exits with 0 when every note that can be judged is
    right, 1 when something differs.
    """
    require_sound()
    refuse(path == recording == "-", "only one of the two can be standard input")
    from lickwright.cli.select_lick import choose_licks, report_errors

    chosen, verdict = choose_licks(path, title)
    for c, lick in chosen:
        if not lick.ok:
            report_errors(c, lick.diagnostics, verdict)
    playable = [(c, lick) for c, lick in chosen if lick.ok]
    if not playable:
        verdict.add(terminal.Exit.MUSIC_ERRORS)
        return verdict.code
    if len(playable) > 1:
        from lickwright.cli.select_lick import quote_titles

        raise click.UsageError(
            f"there are several licks in {console.safe_text(path)}: name one with --lick, of {quote_titles([k.title for _, k in playable])}"
        )
    found = _judged(*playable[0], recording, bars, verdict)
    if found is not None:
        _print(found, recording, form, everything, width or terminal.columns(sys.stdout, 80, most=160))
        verdict.add(terminal.Exit.MUSIC_ERRORS if is_any_wrong(found) else terminal.Exit.FINE)
    return verdict.code


def is_any_wrong(judgement: Judgement) -> bool:
    """Return whether a recording was not recognized, or something in its best pass differs from the lick."""
    if judgement.refusal:
        return True
    one = judgement.passes[judgement.best]
    return bool(one.extras) or any(note.kinds for note in one.notes)


def _judged(
    c: Compilation, lick: CompiledLick, recording: str, bars: tuple[int, int] | None, verdict: Verdict
) -> Judgement | None:
    """Return what was heard; None, and what is wrong is shown, where the bars or the recording cannot be had."""
    from lickwright.cli.findings_view import show_findings
    from lickwright.cli.select_lick import report_findings
    from lickwright.core.source import Source
    from lickwright.export import Options
    from lickwright.listen.judge import judge_recording
    from lickwright.listen.sound_file import UnreadableRecording
    from lickwright.timeline.excerpt import NoBars, no_bars_finding

    assert lick.lowered is not None  # or it had errors
    lowered: LoweredLick = lick.lowered
    if bars is not None:
        try:
            lowered, said = lowered.excerpt(bars)
        except NoBars as e:
            report_findings(c, [no_bars_finding(lowered.timeline, e)], verdict)
            return None
        report_findings(c, said, verdict)
    try:
        read = _read(recording)
    except UnreadableRecording as e:
        verdict.add_findings([e.finding])
        show_findings(Source(recording, ""), [e.finding])
        return None
    for words in read.notes:
        terminal.err(f"{console.safe_text(recording)}: {words}\n")
    return judge_recording(lowered.timeline, lowered.performance(Options()), read.recording)


def _read(path: str) -> ReadRecording:
    from lickwright.listen.sound_file import UnreadableRecording, decode_recording, read_recording

    if path != "-":
        return read_recording(path)
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


def _print(judgement: Judgement, recording: str, form: str, everything: bool, columns: int) -> None:
    if form == "json":
        from json import dumps

        from lickwright.listen.report_json import judgement_as_json

        terminal.out(
            dumps(judgement_as_json(judgement, os.path.basename(recording)), indent=1, ensure_ascii=False) + "\n"
        )
        return
    from lickwright.listen.report import judgement_text

    terminal.out("".join(console.safe_text(line) + "\n" for line in judgement_text(judgement, columns, everything)))
