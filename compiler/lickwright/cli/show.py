"""`lickwright show`: the text tab of a file's licks, on the screen."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compiler import Compilation, CompiledLick
    from lickwright.export import Export, Options


@click.command()
@click.argument("path", metavar="PATH")
@option_types.title_argument()
@option_types.width_option()
@click.option("--fingers", is_flag=True, help="Suggest a finger for every note that has none written.")
@option_types.chord_tones_option()
def command(path: str, title: str | None, width: int | None, fingers: bool, chord_tones: bool) -> int:
    """Print the text tab of every lick in a file, or of the one called TITLE.

    PATH is a .lick file, a folder of them, or - for standard input. Errors go to standard error; a lick that has some
    is not shown.
    """
    from lickwright.cli.select_lick import choose_licks
    from lickwright.export import Options

    chosen, verdict = choose_licks(path, title)
    columns = width or terminal.columns(sys.stdout, 80, most=160)
    options, between = Options(width=columns, chord_tones=chord_tones), ""
    for c, lick in chosen:
        text = _tab(c, lick, options, verdict, fingers)
        terminal.out(between + text if text else "")
        between = "\n" if text else between
    return verdict.code


def _tab(c: Compilation, lick: CompiledLick, options: Options, verdict: Verdict, fingers: bool) -> str:
    """Return the tab; "" for a lick with errors, which are shown instead."""
    from lickwright.cli.select_lick import report_errors, report_findings

    if not lick.ok:
        report_errors(c, lick.diagnostics, verdict)
        return ""
    try:
        export = _fingered(lick, options) if fingers else lick.emit("tab", options)
    except Exception as e:  # a bug of ours costs only this lick
        terminal.err(terminal.apology(e, f'{c.source.name}, "{lick.title}"'))
        verdict.add(terminal.Exit.INTERNAL)
        return ""
    report_findings(c, export.losses, verdict)
    return "".join(
        console.safe_text(line) + "\n" for line in export.data.decode("utf-8").removesuffix("\n").split("\n")
    )


def _fingered(lick: CompiledLick, options: Options) -> Export:
    """Return the tab with suggested fingers; those that are written stay, and a line says which are which."""
    from lickwright.core.fast_dataclass import replace
    from lickwright.export import Export, LoweredLick, tab
    from lickwright.export.tab.lanes import wrap_words
    from lickwright.hand.fingering import suggest_fingers

    timeline = lick.timeline
    assert timeline is not None  # or the lick had errors
    own = any(sound.finger for sound in timeline.sounds)
    sounds = (replace(s, finger=f) for s, f in zip(timeline.sounds, suggest_fingers(timeline), strict=True))
    export = tab.emit(LoweredLick(replace(timeline, sounds=tuple(sounds))), options)
    words = "fingers: the writer's where they are written, else a suggestion" if own else "fingers: a suggestion"
    said = "\n".join(wrap_words(words, options.width))
    return Export(export.data + f"\n{said}\n".encode(), export.losses)
