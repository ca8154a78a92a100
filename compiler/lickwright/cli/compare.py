"""`lickwright compare`: a student's lick beside a teacher's."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, TypeAlias

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import first_given, refuse
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compare import Comparison
    from lickwright.compiler import Compilation, CompiledLick

    Pair: TypeAlias = tuple[CompiledLick, CompiledLick]  # the student's, the teacher's


@click.command()
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
    refuse(mine == theirs == "-", "only one of the two can be standard input")
    if form == "json" and (option := first_given("everything", "width")):
        raise click.UsageError(f"{option} is about the text: JSON has every difference anyway")
    from lickwright.cli.select_lick import report_errors
    from lickwright.cli.sources import FoundSource, Verdict, compile_sources

    verdict = Verdict()
    files = [
        c
        for path in (mine, theirs)
        for _, c in compile_sources([FoundSource(path)], verdict, judge=False, importing=True)
    ]
    if len(files) < 2:  # a bug of ours, which was said
        return verdict.code
    one, other = files
    if not (one.licks and other.licks):
        for c in files:
            report_errors(c, c.diagnostics, verdict)
        verdict.add(terminal.Exit.MUSIC_ERRORS)
        return verdict.code
    pairs = _matched(one, other, title)
    done = [found for a, b in pairs if (found := _compared((one, a), (other, b), verdict)) is not None]
    _print(done, form, width or terminal.columns(sys.stdout, 80, most=160), everything)
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


def _matched(mine: Compilation, theirs: Compilation, title: str | None) -> list[Pair]:
    """Return which lick is compared with which, in the teacher's order. Raises UsageError if there is no pair."""
    if title is not None:
        return [_named_pair(mine, theirs, title)]
    if len(mine.licks) == 1 == len(theirs.licks):
        return [(mine.licks[0], theirs.licks[0])]
    pairs = [(a, b) for b in theirs.licks if (a := _called(mine, b.title)) is not None]
    if not pairs:
        raise click.UsageError(
            "no lick has the same title in both: "
            f"yours are {_titles(mine)}, the teacher's {_titles(theirs)}; name a TITLE"
        )
    return pairs


def _named_pair(mine: Compilation, theirs: Compilation, title: str) -> Pair:
    """Return the teacher's lick of this title and the student's, whose only lick may have another. Raises UsageError."""
    from lickwright.cli.select_lick import no_such_lick

    b = _called(theirs, title)
    a = mine.licks[0] if len(mine.licks) == 1 else _called(mine, title)
    if a is None or b is None:
        c = theirs if b is None else mine
        raise no_such_lick(title, c.source.name, [lick.title for lick in c.licks])
    return a, b


def _called(c: Compilation, title: str) -> CompiledLick | None:
    from lickwright.core.slugs import same_title

    return next((lick for lick in c.licks if same_title(lick.title, title)), None)


def _titles(c: Compilation) -> str:
    from lickwright.cli.select_lick import quote_titles

    return quote_titles([lick.title for lick in c.licks])


def _compared(
    mine: tuple[Compilation, CompiledLick], theirs: tuple[Compilation, CompiledLick], verdict: Verdict
) -> Comparison | None:
    """Compare two licks, with errors in them too; None if one cannot be read. The verdict learns of errors and differences."""
    from lickwright.cli.select_lick import report_errors
    from lickwright.compare import compare

    one, other = mine[1].timeline, theirs[1].timeline
    for c, lick in (mine, theirs):
        if not lick.ok:
            report_errors(c, lick.diagnostics, verdict)
    if one is None or other is None or one.unknown or other.unknown:
        return None
    found = compare(one, other)
    verdict.add(terminal.Exit.FINE if found.alike else terminal.Exit.MUSIC_ERRORS)
    return found
