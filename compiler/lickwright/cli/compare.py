"""`lickwright compare`: a student's lick beside a teacher's."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import first_given
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compare import Comparison
    from lickwright.compiler import Compilation, CompiledLick


@click.command(short_help="Compare your version with the teacher's.")
@click.argument("mine", metavar="MINE")
@click.argument("theirs", metavar="THEIRS")
@option_types.title_argument()
@option_types.format_option("json", help="For a person, or for a program.")
@option_types.all_option("List every difference, and draw every line of the tabs.")
@option_types.width_option(least=40)
def command(mine: str, theirs: str, title: str | None, form: str, everything: bool, width: int | None) -> int:
    """Compare a lick of yours (MINE) with the teacher's (THEIRS).

    Both are .lick files, or one of them is - for standard input. Licks are matched by TITLE, or by their titles, or
    are the only ones. Another key, octave, tempo or spelling is mentioned once and costs no points; coming in late
    does. Exits with 0 when they are alike, 1 when something differs.
    """
    if mine == theirs == "-":
        raise click.UsageError("only one of the two can be standard input")
    if form == "json" and (option := first_given("everything", "width")):
        raise click.UsageError(f"{option} is about the text: JSON has every difference anyway")
    from lickwright.cli.sources import FoundSource, Verdict, compiled

    verdict = Verdict()
    files = [c for path in (mine, theirs) for _, c in compiled([FoundSource(path)], Verdict())]
    if len(files) < 2:
        return terminal.Exit.INTERNAL
    one, other = files
    if not (one.licks and other.licks):
        for c in files:
            _complain(c, None, verdict)
        verdict.add(terminal.Exit.MUSIC)
        return verdict.code
    columns = width or min(terminal.columns(sys.stdout, 80), 160)
    done: list[Comparison] = []
    for a, b in _matched(one, other, title):
        found = _compared((one, a), (other, b), verdict)
        if found is not None:
            verdict.add(terminal.Exit.FINE if found.alike else terminal.Exit.MUSIC)
            done.append(found)
    _print(done, form, columns, everything)
    return verdict.code


def _print(done: list[Comparison], form: str, columns: int, everything: bool) -> None:
    from lickwright.compare.report import comparison_as_json, comparison_text, score_explanation

    if form == "json":
        from json import dumps

        terminal.out(dumps({"licks": [comparison_as_json(c) for c in done]}, indent=2) + "\n")
        return
    parts = [comparison_text(c, columns, everything) for c in done]
    if not all(c.alike for c in done):
        parts.append(score_explanation(columns))
    terminal.out("\n".join("\n".join(map(console.safe_text, part)) + "\n" for part in parts))


def _matched(one: Compilation, other: Compilation, title: str | None) -> Iterator[tuple[CompiledLick, CompiledLick]]:
    """Which lick is compared with which; that there are none is wrong usage."""
    if title is None and len(one.licks) == 1 == len(other.licks):
        return iter([(one.licks[0], other.licks[0])])
    from lickwright.cli.select_lick import no_such_lick

    if title is not None:
        b = _called(other, title)
        mine = one.licks[0] if len(one.licks) == 1 else _called(one, title)
        if b is None or mine is None:
            where = other if b is None else one
            raise no_such_lick(title, where.source.name, [lick.title for lick in where.licks])
        return iter([(mine, b)])
    found = [(a, b) for b in other.licks if (a := _called(one, b.title)) is not None]
    if not found:
        raise click.UsageError(
            "no lick has the same title in both: "
            f"yours are {_titles(one)}, the teacher's {_titles(other)}; name a TITLE"
        )
    return iter(found)


def _called(c: Compilation, title: str) -> CompiledLick | None:
    from lickwright.core.slugs import same_title

    return next((lick for lick in c.licks if same_title(lick.title, title)), None)


def _titles(c: Compilation) -> str:
    from lickwright.cli.select_lick import quoted

    return quoted([lick.title for lick in c.licks])


def _compared(
    mine: tuple[Compilation, CompiledLick], theirs: tuple[Compilation, CompiledLick], verdict: Verdict
) -> Comparison | None:
    """None where a lick cannot be read. One with mistakes in it that can be read is compared all the same."""
    from lickwright.compare import compare

    one, other = mine[1].timeline, theirs[1].timeline
    for c, lick in (mine, theirs):
        if not lick.ok:
            _complain(c, lick, verdict)
    if one is None or other is None or one.unknown or other.unknown:
        return None
    return compare(one, other)


def _complain(c: Compilation, lick: CompiledLick | None, verdict: Verdict) -> None:
    """The errors of a file, or of one lick."""
    found = [d for d in (lick or c).diagnostics if d.severity == "error"]
    verdict.judge(found)
    terminal.err(
        console.format_findings(
            c.source, found, terminal.colour(sys.stderr), min(terminal.columns(sys.stderr, 100), 160)
        )
    )
