"""`lickwright assign`: a folder for one pupil, with a page of what to practice and the lesson pages that it leads to."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import refuse
from lickwright.core.destination import Seal
from lickwright.core.slugs import distinct_names, slug
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compiler.compilation import CompiledLick
    from lickwright.export.page.assignment import AssignedLick
    from lickwright.music.practice import Ladder

SEAL = Seal(b"<!-- lickwright assign ", b" -->\n")  # the last line of every page in the folder
NAME = "assignment"
_PERCENT = re.compile(r"([0-9]{1,3})\s*%?\Z")

_HELP = """Give a pupil something to practice.

Writes a folder, named after PUPIL: a page that says which licks, from which tempo to
which, until when, with a box to tick for each tempo; and the lesson page of each lick
beside it. The folder can be mailed, or put on any web server.

\b
  lickwright assign Mara songs/blues.lick
  lickwright assign Mara songs --lick "Porch light" --lick Attic
  lickwright assign Mara porch.lick --from 50% --to 90% --by 2026-12-05
"""


def _percent(text: str) -> int:
    match = _PERCENT.match(text.strip())
    if match is None or not 20 <= int(match[1]) <= 200:
        raise ValueError(f"{console.safe_text(text)} is no share of the tempo: write 60%; it goes from 20% to 200%")
    return int(match[1])


def _day(text: str) -> str:
    """`2026-12-05` in words: `Saturday, December 5, 2026`."""
    from datetime import date

    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"{console.safe_text(text)} is no day: write year, month and day, as in 2026-12-05") from None
    return f"{day:%A, %B} {day.day}, {day.year}"


def _share_option(
    name: str, parameter: str, default: str, help: str
) -> Callable[[option_types.Command], option_types.Command]:
    parse = option_types.parsed_by(_percent)
    return click.option(
        name, parameter, default=default, show_default=True, metavar="PERCENT", callback=parse, help=help
    )


@click.command(help=_HELP)
@click.argument("pupil", metavar="PUPIL")
@click.argument("paths", nargs=-1, required=True, metavar="LICKS...")
@click.option(
    "--lick", "titles", multiple=True, metavar="TITLE", help="Only the lick of this title; can be given several times."
)
@_share_option("--from", "start", "60%", "Of the tempo: where to begin.")
@_share_option("--to", "top", "100%", "Of the tempo: what to reach.")
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
@option_types.overwrite_option("Replace files that are in the way and not Lickwright's own.")
def command(
    pupil: str, paths: tuple[str, ...], titles: tuple[str, ...], start: int, top: int, step: int, due: str | None, words: str,
    out: str | None, silent_page: bool, overwrite: bool,
) -> int:  # fmt: skip
    """Its help is `_HELP`, since it shows examples."""
    from lickwright.cli.audio_options import keep_numpy_single
    from lickwright.music.practice import Ladder

    refuse(not pupil.strip(), "the pupil has no name")
    refuse(start > top, f"--from {start}% is above --to {top}%: practice goes up")
    refuse(out == "-", "--out names a folder, and - is none")
    keep_numpy_single()
    chosen, verdict = _chosen(paths, titles)
    refuse(len(chosen) > 200, "more than 200 licks are no assignment: name some of them with --lick")
    if not chosen:
        return verdict.code
    folder = out or slug(pupil)
    assignment = _Assignment(
        " ".join(pupil.split()), due or "", " ".join(words.split()), Ladder(start, step, top), not silent_page
    )
    with terminal.handle_interrupts() as ended:
        try:
            return max(verdict.code, _write(folder, assignment, chosen, overwrite, paths))
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()


class _Assignment(NamedTuple):
    """What is asked for."""

    pupil: str
    due: str
    words: str
    ladder: Ladder
    sound: bool


def _chosen(paths: Sequence[str], titles: Sequence[str]) -> tuple[list[CompiledLick], Verdict]:
    """The licks without errors that are meant, in the order of their titles, and the verdict so far; the errors of the others are shown.

    Raises UsageError for a title that none has.
    """
    from lickwright.cli.select_lick import licks_called, report_errors
    from lickwright.cli.sources import Verdict, compile_sources, find_sources

    verdict = Verdict()
    files = [c for _, c in compile_sources(find_sources(list(paths)), verdict)]
    where = paths[0] if len(paths) == 1 else "these files"
    called = [one for title in titles or (None,) for one in licks_called(files, where, title)]
    meant = {id(lick): (c, lick) for c, lick in called}.values()  # a lick that is named twice counts once
    for c in files:
        if not c.licks:
            report_errors(c, c.diagnostics, verdict)
    for c, lick in meant:
        report_errors(c, lick.diagnostics, verdict)
    return [lick for _, lick in meant if lick.ok], verdict


def _write(
    folder: str, assignment: _Assignment, licks: Sequence[CompiledLick], overwrite: bool, sources: Sequence[str]
) -> int:
    """Writes the lesson pages, then the assignment that leads to them; gives the exit code."""
    from lickwright.cli.single_output import save_output
    from lickwright.core.files import make_folder
    from lickwright.export.page.assignment import assignment_page
    from lickwright.store.output_writer import unwritable_trouble

    try:
        make_folder(folder)
    except OSError as e:
        from lickwright.cli.findings_view import show_findings
        from lickwright.core.source import Source

        show_findings(Source(folder, ""), [unwritable_trouble(folder, e).finding])
        return terminal.Exit.FILE_ERRORS
    names = [f"{name}.html" for name in distinct_names([NAME, *(slug(lick.title) for lick in licks)])][1:]
    code = 0
    for name, lick in zip(names, licks, strict=True):
        code = max(code, save_output(os.path.join(folder, name), _lesson(lick, assignment), SEAL, overwrite, sources))
    if code:
        return code
    assigned = list(_assigned(licks, names, assignment.ladder))
    page = assignment_page(assignment.pupil, assignment.due, assignment.words, assigned).encode("utf-8")
    path = os.path.join(folder, f"{NAME}.html")
    code = save_output(path, page, SEAL, overwrite, sources)
    if not code:
        terminal.out(
            f"{console.safe_text(path)}: {console.counted_noun(len(licks), 'lick')} for {console.safe_text(assignment.pupil)}\n"
        )
    return code


def _lesson(lick: CompiledLick, assignment: _Assignment) -> bytes:
    from lickwright.export import Options, RecordingRequest

    options = Options(recording=RecordingRequest(ladder=assignment.ladder), page_sound=assignment.sound)
    return lick.emit("page", options).data


def _assigned(licks: Sequence[CompiledLick], names: Sequence[str], ladder: Ladder) -> Iterator[AssignedLick]:
    from lickwright.export.page.assignment import AssignedLick
    from lickwright.export.tab.heading import heading_facts, tempo_words

    for lick, name in zip(licks, names, strict=True):
        timeline = lick.timeline
        assert timeline is not None  # or it had errors
        settings = timeline.settings
        bpm = settings.tempo.beats_per_minute(timeline.tempos[0].qpm, settings.meter)
        facts = heading_facts(timeline, tempo_words(timeline, None, None, note_names=True))
        shown = tuple((fact, value) for fact, value in facts if fact in ("key", "box", "tempo", "level"))
        yield AssignedLick(
            lick.title, name, shown, settings.tempo.counted_name(settings.meter), ladder.rungs(bpm), settings.notes
        )
