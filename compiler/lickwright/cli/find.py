"""`lickwright find`: the licks of a library that answer a question, or that are like a lick."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types
from lickwright.cli.find_licks import SHOWN, find_licks
from lickwright.cli.option_pairs import refuse
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.find_licks import Search
    from lickwright.cli.listing_view import Listing
    from lickwright.compiler import Compilation, CompiledLick
    from lickwright.index.reader import LibraryIndex
    from lickwright.index.similarity_search import SimilarLick
    from lickwright.store.features import LickFacts

_LIKE = 20  # licks that are like one

_HELP = """Find licks in LIBRARY: an output folder of lickwright make, a folder of licks, or a file.

\b
  lickwright find out bend                              every lick with a bend in it
  lickwright find out 'bend box:2 key:"A minor" level<=3'
  lickwright find out 'technique:slide,tapped not tempo>100'
  lickwright find out rights:none --paths               files with licks that do not state their rights
  lickwright find out 'figure:double stop sort:level'
  lickwright find out --like porch.lick                 the same phrase in any key or box, and near ones
  lickwright find out --like porch.lick 'level<3'       the same, but easier

Every term has to match. A bare word is looked for in titles, tags, style, by, source, notes and the names of
techniques and figures, and may be the beginning of one: turn finds turnaround. "In quotes" it is a whole word, or several in
a row. The name of a technique is only looked for in titles and techniques: bend finds licks with bends, tags:bend those tagged bend.
FIELD:VALUE asks for one thing, FIELD:VALUE,VALUE for one of several; numbers can be compared (level<=3, tempo>100) or
lie between two (tempo:80-100). Names that Lickwright knows need no quotes: key:A minor, technique:palm mute. none is a
value too: tags:none finds licks without tags. not excludes what the next term finds. sort:level puts the easiest first, sort:-tempo the
fastest.
"""


class _Find(click.Command):
    """Lists the fields at the end of its help."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from lickwright.index.query_fields import QUERY_FIELDS  # not for every `lickwright --help`

        with formatter.section("Fields"):
            formatter.write_dl([(field.name, field.meaning) for field in QUERY_FIELDS])


@click.command(cls=_Find, help=_HELP)
@click.argument("library", metavar="LIBRARY")
@click.argument("question", nargs=-1, metavar="[QUESTION]")
@click.option(
    "--like", "path", metavar="FILE", help="Licks like the one in FILE: same intervals and rhythm, then near ones."
)
@click.option("--title", metavar="TITLE", help="Which lick of FILE, if there are several.")
@option_types.format_option(
    "csv", "json", help="A table for a person, rows for a spreadsheet, or everything for a program."
)
@click.option("--paths", is_flag=True, help="Only the files, each once.")
@option_types.limit_option(f"At most N licks; a table shows {SHOWN} by default.")
def command(
    library: str,
    question: tuple[str, ...],
    path: str | None,
    title: str | None,
    form: str,
    paths: bool,
    limit: int | None,
) -> int:
    """Its help is `_HELP`, since it shows examples."""
    refuse(paths and form != "text", f"--paths or --format {form}, not both")
    refuse(title is not None and path is None, "--title goes with --like; to find a title, ask for title:words")
    refuse(path == library == "-", "only one of the two can be standard input")
    like = None if path is None else lambda text: _like(path, title, text, limit)
    return find_licks(library, question, "paths" if paths else form, limit, like)


def _like(path: str, title: str | None, text: str, limit: int | None) -> Search | int:
    """Return the search for licks that are like the one in a file, or an exit code if that cannot be read. Raises UsageError."""
    wanted = _wanted(path, title)
    return wanted if isinstance(wanted, int) else lambda index: _similar(index, text, wanted, limit)


def _wanted(path: str, title: str | None) -> LickFacts | int:
    """Return the lick that others are to be like; an exit code if it cannot be read, after its errors are shown. Raises UsageError."""
    from lickwright.cli.findings_view import show_findings
    from lickwright.cli.sources import FoundSource, Verdict, compile_sources
    from lickwright.store.features import lick_facts

    verdict = Verdict()
    for _, c in compile_sources([FoundSource(path)], verdict, importing=True):
        lick = _only_lick(c, path, title)
        if lick is None or not lick.ok:
            found = c.diagnostics if lick is None else lick.diagnostics
            show_findings(c.source, [d for d in found if d.severity == "error"])
        if lick is not None and lick.timeline is not None and not lick.timeline.unknown:
            return lick_facts(lick, c.source, measure=False)
    return verdict.code


def _only_lick(c: Compilation, path: str, title: str | None) -> CompiledLick | None:
    """Return the only lick of a file, or the only one of this title; None if the file has no lick. Raises UsageError."""
    from lickwright.cli.select_lick import licks_called, quote_titles

    licks = licks_called([c], path, title)
    if len(licks) > 1:
        raise click.UsageError(f"which one? --title names one of {quote_titles([lick.title for lick in c.licks])}")
    return licks[0][1] if licks else None


def _similar(index: LibraryIndex, text: str, wanted: LickFacts, limit: int | None) -> Listing:
    """Return the licks that are like `wanted` and answer the question. Raises QueryError, and UsageError for too few notes."""
    from lickwright.analysis.fingerprint import FEWEST
    from lickwright.cli.listing_view import Listing
    from lickwright.index.search import interpret_question, matching_ids
    from lickwright.index.similarity_search import find_similar
    from lickwright.index.sort_order import sorted_by

    title = console.safe_text(wanted.title)
    if wanted.phrase_notes < FEWEST:
        raise click.UsageError(f'"{title}" has fewer than {FEWEST} notes: too few to look for')
    found = find_similar(index.connection, wanted, limit or _LIKE, matching_ids(index.connection, text))
    found = sorted_by(interpret_question(text).order, found, lambda one, column: one.hit.facts[column])
    heads: tuple[str, ...] = ("alike", "title", "how it differs")
    rows: list[tuple[str, ...]] = [(f"{one.share:.0%}", one.hit.facts["title"], _how(one)) for one in found]
    return Listing(
        len(found),
        [one.hit for one in found],
        ("kind", "alike", "differs"),
        [{"kind": one.kind, "alike": round(one.share, 3), "differs": list(one.how)} for one in found],
        table=lambda: (heads, rows),
        nothing="" if found else f'no lick is like "{title}"\n',
    )


def _how(one: SimilarLick) -> str:
    alike = "nothing: the same tab" if one.kind == "same tab" else "the same phrase"
    return ", ".join(one.how) or alike
