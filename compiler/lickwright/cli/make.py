"""`lickwright make`: every output of every lick, into a folder a source."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from lickwright import report
from lickwright.backends import BACKENDS, Backend, Options
from lickwright.cli import choices, screen
from lickwright.names import distinct, slug

if TYPE_CHECKING:
    from lickwright.cli.sources import Found, Verdict
    from lickwright.cli.writing import Output
    from lickwright.diagnostics import Diagnostic
    from lickwright.pipeline import Compilation, CompiledLick
    from lickwright.source import Source

_HELP = f"""Write text tab, MIDI and timing sheet of every lick.

PATH is a .lick file, a folder of them, or - for standard input. The files of
songs/blues.lick go to OUT/blues/, named after their licks: porch-light.mid.

A lick with errors is skipped, the others are made. A file that is not
Lickwright's own, or that you changed by hand, is never overwritten unless you
say --overwrite.

\b
Formats for --to:
{chr(10).join(f"  {row.name:12} {row.summary}" for row in BACKENDS)}
"""


@click.command(short_help="Write text tab, MIDI, timing sheet.", help=_HELP)
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@click.option(
    "--to",
    "rows",
    default=choices.DEFAULT_FORMATS,
    show_default=True,
    callback=choices.formats,
    metavar="LIST",
    help="Formats, with commas between.",
)
@click.option("--out", default="out", show_default=True, metavar="DIR", help="The folder to write into.")
@click.option(
    "--tempo",
    callback=choices.tempo,
    metavar="TEMPO",
    help="For practice: 60% of the written tempo, or 72 beats a minute.",
)
@click.option("--width", type=click.IntRange(20, 10000), default=80, show_default=True, help="Columns of a text tab.")
@click.option("--single-channel", is_flag=True, help="MIDI with all strings on one channel, for old gear.")
@click.option("--overwrite", is_flag=True, help="Replace files in the way that are not Lickwright's own.")
def command(
    paths: tuple[str, ...],
    rows: tuple[Backend, ...],
    out: str,
    tempo: choices.TempoWish,
    width: int,
    single_channel: bool,
    overwrite: bool,
) -> int:
    """Its help is `_HELP`, since it lists the formats."""
    from lickwright.cli.sources import Verdict, compiled, find

    found = find(paths)
    folders = dict(zip((one.path for one in found), folder_names([one.path for one in found]), strict=True))
    run = _Run(rows, out, Options(width, tempo.percent, tempo.bpm, single_channel), overwrite, Verdict())
    for one, compilation in compiled(found, run.verdict):
        run.make(one, compilation, folders[one.path])
    screen.out(run.summary())
    return run.verdict.code


def folder_names(paths: Sequence[str]) -> tuple[str, ...]:
    """A folder a source, named after its file; sources of the same name get the name of the folder they lie in before
    it:

    `easy-blues`, `hard-blues`.
    """
    stems = [_stem(path) for path in paths]
    full = [
        slug(f"{os.path.basename(os.path.dirname(os.path.abspath(p)))} {s}") for p, s in zip(paths, stems, strict=True)
    ]
    return distinct([f if stems.count(s) > 1 else s for s, f in zip(stems, full, strict=True)])


def _stem(path: str) -> str:
    return "stdin" if path == "-" else slug(os.path.splitext(os.path.basename(path))[0])


class _Run:
    """What one call of `make` has done so far."""

    def __init__(self, rows: Sequence[Backend], out: str, options: Options, overwrite: bool, verdict: Verdict) -> None:
        self.verdict = verdict
        self._rows = rows
        self._out = out
        self._options = options
        self._overwrite = overwrite
        self._files = 0  # outputs that stand in their place now
        self._licks = 0  # licks whose outputs do
        self._skipped: list[str] = []  # one line a lick that was not made
        self._unread = 0  # sources of which nothing is known

    def make(self, one: Found, compilation: Compilation, folder: str) -> None:
        """Writes one source's outputs, and says what is wrong with it."""
        from lickwright.cli.writing import Folder
        from lickwright.source import Source

        self._complain(compilation.source, [d for d in compilation.diagnostics if d.severity != "info"])
        self._unread += any(d.code.startswith("L6") for d in compilation.diagnostics)
        outputs: list[Output] = []
        for lick in compilation.licks:
            outputs += self._emitted(compilation, lick)
        if not outputs:
            return
        place = Folder(self._out, folder, one.path, self._overwrite)
        troubles = place.write(outputs)
        self._files += place.done
        for trouble in troubles:
            self._complain(Source(trouble.path, ""), [trouble.finding])

    def _emitted(self, compilation: Compilation, lick: CompiledLick) -> list[Output]:
        from lickwright.cli.writing import Output

        if not lick.ok:
            errors = sum(d.severity == "error" for d in lick.diagnostics)
            self._skip(compilation, lick, report.count(errors, "error"))
            return []
        try:
            emissions = [(row, lick.emit(row.name, self._options)) for row in self._rows]
        except Exception as e:  # a bug of ours costs only this lick
            screen.err(screen.apology(e, f'{compilation.source.name}, "{lick.title}"'))
            self.verdict.add(screen.Exit.INTERNAL)
            self._skip(compilation, lick, "a mistake of lickwright's own")
            return []
        self._licks += 1
        self._complain(compilation.source, list(dict.fromkeys(d for _, emission in emissions for d in emission.losses)))
        return [Output(lick.slug + row.suffix, emission.data) for row, emission in emissions]

    def _skip(self, compilation: Compilation, lick: CompiledLick, why: str) -> None:
        self._skipped.append(
            f'  skipped "{report.safe(lick.title)}" in {report.safe(compilation.source.name)}: {why}\n'
        )

    def _complain(self, source: Source, found: Sequence[Diagnostic]) -> None:
        self.verdict.judge(found)
        columns = min(screen.columns(sys.stderr, 100), 160)
        screen.err(report.findings(source, found, screen.colour(sys.stderr), columns))

    def summary(self) -> str:
        """`6 files of 2 licks in out`, and what was left out."""
        text = (
            f"{report.count(self._files, 'file')} of {report.count(self._licks, 'lick')} in {report.safe(self._out)}\n"
        )
        text += "".join(self._skipped[:20])
        if len(self._skipped) > 20:
            text += f"  and {report.count(len(self._skipped) - 20, 'more lick')} skipped\n"
        if self._unread:
            text += f"  {report.count(self._unread, 'source')} could not be read\n"
        return text
