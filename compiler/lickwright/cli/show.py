"""`lickwright show`: the text tab of a file's licks, on the screen."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from lickwright import report
from lickwright.cli import choices, screen

if TYPE_CHECKING:
    from lickwright.backends import Emission, Options
    from lickwright.cli.sources import Verdict
    from lickwright.pipeline import Compilation, CompiledLick


@click.command(short_help="Print the text tab.")
@click.argument("path", metavar="PATH")
@click.argument("title", required=False, metavar="[TITLE]")
@choices.width()
@click.option("--fingers", is_flag=True, help="Suggest a finger for every note that has none written.")
@click.option("--chord-tones", is_flag=True, help="Say over each note what it is in its chord: 1, b3, 5.")
def command(path: str, title: str | None, width: int | None, fingers: bool, chord_tones: bool) -> int:
    """Print the text tab of every lick in a file, or of the one called TITLE.

    PATH is a .lick file, a folder of them, or - for standard input. Errors go to standard error; a lick that has some
    is not shown.
    """
    from lickwright.backends import Options
    from lickwright.cli.choosing import choose

    chosen, verdict = choose(path, title)
    columns = width or min(screen.columns(sys.stdout, 80), 160)
    options, between = Options(width=columns, chord_tones=chord_tones), ""
    for c, lick in chosen:
        text = _tab(c, lick, options, verdict, fingers)
        screen.out(between + text if text else "")
        between = "\n" if text else between
    return verdict.code


def _tab(c: Compilation, lick: CompiledLick, options: Options, verdict: Verdict, fingers: bool) -> str:
    """The tab, or "" for a lick with errors, which are shown instead."""
    from lickwright.cli.choosing import complain

    if not lick.ok:
        complain(c, [d for d in lick.diagnostics if d.severity == "error"], verdict)
        return ""
    try:
        emission = _fingered(lick, options) if fingers else lick.emit("tab", options)
    except Exception as e:  # a bug of ours costs only this lick
        screen.err(screen.apology(e, f'{c.source.name}, "{lick.title}"'))
        verdict.add(screen.Exit.INTERNAL)
        return ""
    complain(c, list(emission.losses), verdict)
    return "".join(report.safe(line) + "\n" for line in emission.data.decode("utf-8").removesuffix("\n").split("\n"))


def _fingered(lick: CompiledLick, options: Options) -> Emission:
    """The tab with suggested fingers above the notes; those that the writer gave stay, and it is said which are which."""
    from dataclasses import replace

    from lickwright.backends import Emission, Stages, tab
    from lickwright.backends.tab_draw import wrapped
    from lickwright.fingering import fingers

    timeline = lick.timeline
    assert timeline is not None  # or the lick had errors
    own = any(sound.finger for sound in timeline.sounds)
    sounds = (replace(s, finger=f) for s, f in zip(timeline.sounds, fingers(timeline), strict=True))
    emission = tab.emit(Stages(replace(timeline, sounds=tuple(sounds))), options)
    words = "fingers: the writer's where they are written, else a suggestion" if own else "fingers: a suggestion"
    said = "\n".join(wrapped(words, options.width))
    return Emission(emission.data + f"\n{said}\n".encode(), emission.losses)
