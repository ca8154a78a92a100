"""`lickwright assign`: a folder for one pupil, with a page of what to practice and the lesson pages and sheets that it leads to.

In: the command line. Out: what `assign_folder.py` writes, and its exit code.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, sheet_options, terminal
from lickwright.cli.option_pairs import first_given, refuse
from lickwright.core.slugs import slug
from lickwright.export.option_parsing import TempoRequest, parse_tempo_request
from lickwright.report import console

if TYPE_CHECKING:
    from datetime import date

    from lickwright.cli.sources import Verdict
    from lickwright.compiler.compilation import Compilation, CompiledLick
    from lickwright.music.practice import Ladder

_SHARES = (20, 200)  # per cent of the tempo that a ladder may begin with and end at

_HELP = """Give a pupil something to practice.

Writes a folder, named after PUPIL: a page that says which licks, from which tempo to
which, until when, with a box to tick for each tempo; and the lesson page and printed
sheet of each lick beside it. The folder can be mailed, or put on any web server.

An assignment that is there already is not replaced by another one: with --by the new
one gets a folder of its own, named after PUPIL and the date.

\b
  lickwright assign Mara songs/blues.lick
  lickwright assign Mara songs --lick "Porch light" --lick Attic
  lickwright assign Mara porch.lick --from 50% --to 90% --by 2026-12-05
  lickwright assign Mara porch.lick --from 60 --to 96     beats a minute
"""


def _day(text: str) -> date:
    from datetime import date

    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"{console.safe_text(text)} is no day: write year, month and day, as in 2026-12-05") from None


def _tempo_option(
    name: str, parameter: str, default: str, help: str
) -> Callable[[option_types.Command], option_types.Command]:
    return click.option(
        name,
        parameter,
        default=default,
        show_default=True,
        metavar="TEMPO",
        callback=option_types.parsed_by(parse_tempo_request),
        help=f"{help}, as a share of the lick's tempo (60%) or in beats a minute (72).",
    )


@click.command(help=_HELP)
@click.argument("pupil", metavar="PUPIL")
@click.argument("paths", nargs=-1, required=True, metavar="LICKS...")
@click.option(
    "--lick", "titles", multiple=True, metavar="TITLE", help="Only the lick of this title; can be given several times."
)
@_tempo_option("--from", "start", "60%", "Where to begin")
@_tempo_option("--to", "top", "100%", "What to reach")
@click.option(
    "--step",
    type=click.IntRange(1, 50),
    default=5,
    show_default=True,
    help="Beats a minute from one tempo to the next.",
)
@click.option("--by", "due", metavar="DATE", callback=option_types.parsed_by(_day), help="Until when: 2026-12-05.")
@click.option("--note", "words", default="", metavar="WORDS", help="Words of yours, over the licks.")
@option_types.out_option("DIR", "The folder to write into; default: one named after PUPIL.")
@click.option(
    "--silent-page", is_flag=True, help="Lesson pages without a recording: small, and they play plain plucked tones."
)
@click.option(
    "--sheet/--no-sheet", "with_sheets", default=True, help="A printed sheet of each lick too, as PDF; default: yes."
)
@sheet_options.music_options
@option_types.overwrite_option("Replace files that are in the way and not Lickwright's own, and another assignment.")
def command(
    pupil: str, paths: tuple[str, ...], titles: tuple[str, ...], start: TempoRequest, top: TempoRequest, step: int,
    due: date | None, words: str, out: str | None, silent_page: bool, with_sheets: bool, paper: str,
    left_handed: bool, count: bool, staff: bool, chord_shapes: bool, overwrite: bool,
) -> int:  # fmt: skip
    """Its help is `_HELP`, since it shows examples."""
    from lickwright.cli.assign_folder import Assignment, write_assignment
    from lickwright.cli.audio_options import keep_numpy_single
    from lickwright.export import SheetRequest

    refuse(not pupil.strip(), "the pupil has no name")
    refuse(out == "-", "--out names a folder, and - is none")
    refuse(first_given("paper") and not with_sheets, "--paper is about printed sheets: leave out --no-sheet")
    _refuse_turned_round(pupil, paths)
    keep_numpy_single()
    files, verdict = _compile_paths(paths)
    chosen = _sound_licks(files, paths, titles, verdict)
    refuse(len(chosen) > 200, "more than 200 licks are no assignment: name some of them with --lick")
    if not chosen:
        terminal.err("nothing was assigned: there is no lick without errors\n")
        return verdict.code
    licks = tuple((lick, _ladder(lick, start, step, top)) for lick in chosen)
    day = f"{due:%A, %B} {due.day}, {due.year}" if due else ""
    folders = [out] if out else [slug(pupil)] + ([f"{slug(pupil)}-{due.isoformat()}"] if due else [])
    assignment = Assignment(
        " ".join(pupil.split()), day, " ".join(words.split()), licks, not silent_page, with_sheets,
        SheetRequest(paper=paper, left_handed=left_handed, count=count, staff=staff, chord_shapes=chord_shapes),
        overwrite, paths,
    )  # fmt: skip
    with terminal.handle_interrupts() as ended:
        try:
            return max(verdict.code, write_assignment(assignment, folders))
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()


def _refuse_turned_round(pupil: str, paths: Sequence[str]) -> None:
    """Raise UsageError where the first word is a file or folder and the others are none."""
    is_lick = os.path.isfile(pupil) or (os.path.isdir(pupil) and not any(map(os.path.exists, paths)))
    said = f'the pupil comes first: lickwright assign "{paths[0]}" {pupil}'
    refuse(is_lick and not os.path.exists(paths[0]), said)


def _ladder(lick: CompiledLick, start: TempoRequest, step: int, top: TempoRequest) -> Ladder:
    """Return the practice ladder of a lick. Raises UsageError for one that does not climb, or goes too far from the lick's tempo."""
    from lickwright.cli.assign_folder import beats_of
    from lickwright.music.practice import Ladder

    bpm = beats_of(lick)
    low, high = _share("--from", start, lick.title, bpm), _share("--to", top, lick.title, bpm)
    said = f"--from {_written(start)} is above --to {_written(top)}"
    where = "" if start.bpm is None and top.bpm is None else f' for "{lick.title}", written at {float(bpm):g}'
    refuse(low > high, f"{said}{where}: practice goes up")
    return Ladder(low, step, high)


def _share(option: str, tempo: TempoRequest, title: str, bpm: Fraction) -> Fraction:
    """Return a tempo in per cent of `bpm`. Raises UsageError for one out of `_SHARES`."""
    share = tempo.percent if tempo.percent is not None else 100 * (tempo.bpm or bpm) / bpm
    lowest, highest = _SHARES
    if not lowest <= share <= highest:
        about = f': "{title}" is written at {float(bpm):g} beats a minute; write {_written(tempo)}% for a share of that'
        raise click.UsageError(
            f"{option} {_written(tempo)} is out of reach: it goes from {lowest}% to {highest}%"
            + (about if tempo.bpm is not None else "")
        )
    return share


def _written(tempo: TempoRequest) -> str:
    return f"{float(tempo.bpm):g}" if tempo.bpm is not None else f"{float(tempo.percent or 0):g}%"


def _compile_paths(paths: Sequence[str]) -> tuple[list[Compilation], Verdict]:
    """Return the files at `paths` compiled, and the verdict so far."""
    from lickwright.cli.sources import Verdict, compile_sources, find_sources

    verdict = Verdict()
    return [c for _, c in compile_sources(find_sources(list(paths)), verdict)], verdict


def _sound_licks(
    files: Sequence[Compilation], paths: Sequence[str], titles: Sequence[str], verdict: Verdict
) -> list[CompiledLick]:
    """Return the licks without errors that are meant, in the order of their titles; show the errors of the others.

    Raises UsageError for a title that none has.
    """
    from lickwright.cli.select_lick import quote_titles, report_errors

    meant = _licks_meant(files, paths, titles)
    for c in files:
        if not c.licks:
            report_errors(c, c.diagnostics, verdict)
    for c, lick in meant:
        report_errors(c, lick.diagnostics, verdict)
    left_out = [lick.title for _, lick in meant if not lick.ok]
    if left_out:
        terminal.err(f"left out, since it has errors: {quote_titles(left_out)}\n")
    return [lick for _, lick in meant if lick.ok]


def _licks_meant(
    files: Sequence[Compilation], paths: Sequence[str], titles: Sequence[str]
) -> list[tuple[Compilation, CompiledLick]]:
    """Return the licks of these titles, or all where none is given, each once. Raises UsageError for a title that none has."""
    from lickwright.cli.select_lick import licks_called

    if not titles:
        return licks_called(files, paths[0], None)
    where = paths[0] if len(paths) == 1 else "these files"
    called = [one for title in titles for one in licks_called(files, where, title)]
    return list({id(lick): (c, lick) for c, lick in called}.values())
