"""`lickwright listen`: a recording of a student against a lick."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.audio_options import require_sound
from lickwright.cli.option_pairs import first_given, refuse
from lickwright.cli.project_options import preferred_ladder
from lickwright.music.practice import parse_bars, parse_ladder
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.compiler import Compilation, CompiledLick
    from lickwright.export.option_parsing import TempoRequest

_HELP = """Listen to a RECORDING of a LICK, as a teacher does.

Which notes are right, how late they are, how high the bends, and what to practice.
One guitar alone, as WAV, FLAC, MP3 or Ogg; - is standard input. Any tempo will do,
and any tuning. Several times through the lick are each judged: the best is shown,
and which bars are not sure yet. Nothing leaves this machine, and no recording is kept unless you say --keep.
Exits with 0 when all that can be judged is right and it was played through, else with 1.

\b
  lickwright listen porch.lick take.wav
  lickwright listen porch.lick take.wav --bars 1-2 --picture take.svg
  lickwright listen porch.lick --record 20 --tempo 60%
  lickwright listen takes/ --licks songs/       a folder and those in it, each recording with its lick
  lickwright listen take.wav --licks songs/     one recording, of whichever lick it is
"""


@click.command(help=_HELP)
@click.argument("path", metavar="LICK")
@click.argument("recording", metavar="[RECORDING]", required=False)
@click.option("--lick", "title", metavar="TITLE", help="The lick of this title, where the file has several.")
@click.option(
    "--bars",
    callback=option_types.parsed_by(parse_bars),
    metavar="FIRST-LAST",
    help="Only a part of the lick was recorded: 1-2, or 3 alone; a pick-up is 0.",
)
@click.option(
    "--record",
    type=click.IntRange(2, 600),
    metavar="SECONDS",
    help="Record it now, with a bar of clicks before it and a click in the headphones; needs lickwright[play].",
)
@option_types.tempo_option("Of the click of --record: 60% of the written tempo, or 72 beats a minute.")
@click.option("--keep", metavar="FILE", help="Keep what --record recorded, as WAV.")
@click.option(
    "--licks",
    "library",
    metavar="LIBRARY",
    help="LICK is a recording or a folder of them, of licks in this file, folder or output folder.",
)
@click.option(
    "--ladder",
    callback=option_types.parsed_by(parse_ladder),
    metavar="START,STEP,TOP",
    help="The practice ladder from which tempos to practice at are taken, as make has it: 60%,5,100%.",
)
@option_types.format_option("json", help="For a person, or for a program.")
@click.option("--report", metavar="FILE", help="Write the report as JSON too; - for standard output.")
@click.option("--picture", metavar="FILE", help="Draw what was played over the lick's notes, as SVG.")
@option_types.all_option("List every remark; of a folder, what to practice in each recording, too.")
@option_types.width_option(least=40)
@option_types.overwrite_option("Replace files that are in the way and not Lickwright's own.")
def command(path: str, recording: str | None, title: str | None, **more: Any) -> int:
    """Its help is `_HELP`, since it shows examples."""
    require_sound()
    outputs = [more["report"], more["picture"]]
    words = "only one of --report, --picture and --format json can go to standard output"
    refuse(outputs.count("-") + (more["form"] == "json") > 1, words)
    if more["library"] is not None:
        return _many(path, recording, more)
    _refuse_contradictions(path, recording, more)
    from lickwright.cli.listen_take import TakeRequest, listen_to_take

    chosen = _one_lick(path, title)
    if isinstance(chosen, int):
        return chosen
    c, lick = chosen
    asked = TakeRequest(
        recording or "", more["record"] or 0, _percent(lick, more["tempo"]),
        preferred_ladder(more["ladder"], lick.project), more["bars"], more["form"], more["everything"],
        more["width"] or terminal.columns(sys.stdout, 80, most=160), more["report"], more["picture"], more["keep"],
        more["overwrite"], tuple(p for p in (path, recording) if p and p != "-"),
    )  # fmt: skip
    with terminal.handle_interrupts() as ended:
        try:
            return listen_to_take(c, lick, asked)
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()


def _refuse_contradictions(path: str, recording: str | None, more: dict[str, Any]) -> None:
    """Raise UsageError where the command line asks for what does not go together."""
    if recording is None and more["record"] is None and os.path.isdir(path):
        raise click.UsageError("for a folder of recordings, name the licks with --licks; for one lick, a RECORDING")
    refuse(recording is None and more["record"] is None, "name a RECORDING, or record one with --record SECONDS")
    refuse(recording is not None and more["record"] is not None, "a RECORDING is named: leave out --record")
    refuse((recording or "").lower().endswith(".lick"), "the lick comes first, and then the recording of it")
    refuse(path == recording == "-", "only one of the two can be standard input")
    if more["record"] is None and (option := first_given("tempo", "keep")):
        raise click.UsageError(f"{option} is about --record: any tempo of a recording is understood")
    refuse(more["keep"] == "-", "--keep needs the name of a file")
    _refuse_text_options(more)


def _refuse_text_options(more: dict[str, Any]) -> None:
    if more["form"] == "json" and (option := first_given("everything", "width")):
        raise click.UsageError(f"{option} is about the text: JSON has every remark anyway")


def _one_lick(path: str, title: str | None) -> tuple[Compilation, CompiledLick] | int:
    """Return the lick that is meant, or the exit code where it has errors. Raises UsageError where there are several."""
    from lickwright.cli.select_lick import choose_licks, quote_titles, report_errors

    chosen, verdict = choose_licks(path, title)
    for c, lick in chosen:
        if not lick.ok:
            report_errors(c, lick.diagnostics, verdict)
    playable = [(c, lick) for c, lick in chosen if lick.ok]
    if not playable:
        verdict.add(terminal.Exit.MUSIC_ERRORS)
        return int(verdict.code)
    if len(playable) > 1:
        titles = quote_titles([lick.title for _, lick in playable])
        raise click.UsageError(
            f"there are several licks in {console.safe_text(path)}: name one with --lick, of {titles}"
        )
    return playable[0]


def _percent(lick: CompiledLick, tempo: TempoRequest) -> float:
    """Return the tempo of the click in per cent of the lick's."""
    if tempo.bpm is not None:
        from lickwright.cli.assign_folder import beats_of

        return 100 * float(tempo.bpm / beats_of(lick))
    return float(tempo.percent or 100)


def _many(folder: str, recording: str | None, more: dict[str, Any]) -> int:
    words = "with --licks the first word is a recording or a folder of them, and nothing comes after it"
    refuse(recording is not None or folder.lower().endswith(".lick"), words)
    refuse(not os.path.exists(folder), f"there is no recording and no folder {console.safe_text(folder)}")
    is_one = not os.path.isdir(folder)
    if option := first_given("title", "bars", "record", "tempo", "keep", "picture"):
        raise click.UsageError(f"{option} is about one recording: leave out --licks")
    _refuse_text_options(more)
    from lickwright.cli.listen_folder import listen_to_folder

    with terminal.handle_interrupts() as ended:
        try:
            return listen_to_folder(
                folder,
                more["library"],
                more["form"],
                more["report"],
                more["overwrite"],
                more["width"],
                more["everything"] or (is_one and more["form"] == "text"),
                more["ladder"],
            )
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()
