"""`lickwright find`: the licks of a library that answer a question, or that are like a lick."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, TypeAlias

import click

from lickwright.cli import option_types, terminal
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.index.query_parser import QueryError, QueryTerm
    from lickwright.index.reader import Shelf
    from lickwright.index.search import SearchHit, SearchResult
    from lickwright.index.similarity_search import Like
    from lickwright.store.features import LickFacts

_SHOWN = 50  # licks in a table, where no other number is said
_LIKE = 20  # licks that are like one

_HELP = """Find licks in LIBRARY: an output folder of lickwright make, a folder of licks, or a file.

\b
  lickwright find out bend                              every lick with a bend in it
  lickwright find out 'bend box:2 key:"A minor" level<=3'
  lickwright find out 'technique:slide,tapped not tempo>100'
  lickwright find out rights:none --paths               files whose licks say nothing of rights
  lickwright find out 'figure:double stop sort:level'
  lickwright find out --like porch.lick                 the same phrase in any key or box, and near ones
  lickwright find out --like porch.lick 'level<3'       the same, but easier

Every term has to match. A bare word is looked for in titles, tags, style, by, source, notes and the names of
techniques and figures, and may be the beginning of one: turn finds turnaround. "In quotes" it is a whole word, or several in
a row. The name of a technique is only looked for in titles and techniques: bend finds bends, tags:bend what is tagged so.
FIELD:VALUE asks for one thing, FIELD:VALUE,VALUE for one of several; numbers can be compared (level<=3, tempo>100) or
lie between two (tempo:80-100). Names that Lickwright knows need no quotes: key:A minor, technique:palm mute. none is a
value too: it finds what does not say. not reverses the term after it. sort:level puts the easiest first, sort:-tempo the
fastest.
"""


class _Find(click.Command):
    """Lists the fields at the end of its help."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from lickwright.index.query_fields import FIELDS  # not for every `lickwright --help`

        with formatter.section("Fields"):
            formatter.write_dl([(field.name, field.meaning) for field in FIELDS])


@click.command(cls=_Find, short_help="Find licks in a library.", help=_HELP)
@click.argument("library", metavar="LIBRARY")
@click.argument("question", nargs=-1, metavar="[QUESTION]")
@click.option(
    "--like", "path", metavar="FILE", help="Licks like the one in FILE: same intervals and rhythm, then near ones."
)
@click.option("--title", metavar="TITLE", help="Which lick of FILE, where there are several.")
@option_types.format_option(
    "csv", "json", help="A table for a person, rows for a spreadsheet, or everything for a program."
)
@click.option("--paths", is_flag=True, help="Only the files, each once.")
@option_types.limit_option(f"At most N licks; a table shows {_SHOWN} by default.")
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
    if paths and form != "text":
        raise click.UsageError(f"--paths or --format {form}, not both")
    if title is not None and path is None:
        raise click.UsageError("--title goes with --like; to find a title, ask for title:words")
    if path == library == "-":
        raise click.UsageError("only one of the two can be standard input")
    from lickwright.cli.index_source import index_of, unusable
    from lickwright.index.query_parser import QueryError
    from lickwright.index.reader import Unusable
    from lickwright.index.search import interpret_question

    text = " ".join(question)
    try:
        interpret_question(text)  # before a library is read for it
        wanted = _wanted(path, title) if path is not None else None
        if isinstance(wanted, int):
            return wanted
        shelf, code = index_of(library)
        with shelf:
            if wanted is not None:
                _print_like(shelf, library, text, wanted, form, paths, limit)
            else:
                _print(shelf, library, text, form, paths, limit)
    except QueryError as e:
        terminal.err(_complaint(text, e))
        return terminal.Exit.USAGE
    except Unusable as e:
        return unusable(library, e)
    return code


def _complaint(text: str, unclear: QueryError) -> str:
    """What cannot be read, with a caret under it."""
    from lickwright.core.source import Source, Span

    line = Source("", "".join(" " if char.isspace() else char for char in text))
    shown, carets = console.source_excerpt(line, Span(unclear.start, unclear.end), 90)
    hint = f"    help: {console.safe_text(unclear.hint)}\n" if unclear.hint else ""
    return f"error: {console.safe_text(str(unclear))}\n    {shown}\n    {carets}\n{hint}"


# --- a question ------------------------------------------------------------------------------------------------------


def _print(shelf: Shelf, library: str, text: str, form: str, paths: bool, limit: int | None) -> None:
    from lickwright.index.search import search_index

    found = search_index(shelf.connection, text, limit or (_SHOWN if form == "text" and not paths else None))
    if form == "json":
        _json(shelf, library, text, found.total, ((hit, {}) for hit in found.hits))
    elif form == "csv":
        _csv(shelf, (), ((hit, {}) for hit in found.hits))
    elif paths:
        _paths(shelf, found.hits)
    elif found.hits:
        from lickwright.cli.index_source import lick_place
        from lickwright.cli.table import format_table

        reasons = _reasons(text, found.hits)
        states = _states(shelf, found.hits)
        rows = [
            (*_row(hit), *reason, *state, lick_place(shelf, hit))
            for hit, reason, state in zip(found.hits, reasons, states, strict=True)
        ]
        heads = (*_HEADS, *(("found in",) if any(reasons) else ()), *(("state",) if any(states) else ()), "where")
        terminal.out(format_table(heads, rows, _columns(), least="techniques"))
        more = found.total - len(found.hits)
        terminal.out(
            console.counted_noun(found.total, "lick")
            + (f"; {more:,} not shown: --limit shows more\n" if more else "\n")
        )
    if form != "json":
        _say_stale(shelf, library, found.hits, terminal.out if form == "text" and not paths else terminal.err)
    if not found.hits and shelf.licks:
        terminal.err(_nothing(text, found))


_HEADS = ("title", "key", "box", "level", "tempo", "bars", "techniques")


def _row(hit: SearchHit) -> tuple[str, ...]:
    known = hit.facts
    frets = f"frets {known['lowest']}-{known['highest']}" if known["lowest"] is not None else ""
    numbers = (known["level"], f"{known['tempo']:g}" if known["tempo"] else None, known["bars"] or None)
    return (
        known["title"], known["key"], known["box"] or frets,
        *("" if number is None else str(number) for number in numbers), known["techniques"],
    )  # fmt: skip


def _reasons(text: str, hits: Sequence[SearchHit]) -> list[tuple[str, ...]]:
    """For each lick where its words were found; of nothing where all stand in titles and techniques, which the table shows."""
    from lickwright.index.reasons import found_in
    from lickwright.index.search import interpret_question

    terms = [term for term, _ in interpret_question(text).terms]
    found = [found_in(terms, hit.facts) for hit in hits]
    if all(set(names) & {"title", "techniques"} or not names for names in found):
        return [()] * len(hits)
    return [(", ".join(names),) for names in found]


def _states(shelf: Shelf, hits: Sequence[SearchHit]) -> list[tuple[str, ...]]:
    """For each lick a cell that says what became of it; of nothing where nothing did."""
    from lickwright.cli.index_source import state

    found = [state(shelf, hit) for hit in hits]
    return [()] * len(hits) if not any(found) else [(one,) for one in found]


def _say_stale(shelf: Shelf, library: str, hits: Sequence[SearchHit], print: Callable[[str], None]) -> None:
    """Says how many of the licks shown are of sources that are gone or changed."""
    from collections import Counter

    from lickwright.cli.index_source import stale_line

    if line := stale_line(shelf, library, Counter(shelf.state(hit.path) for hit in hits)):
        print(line)


def _columns() -> int:
    """Those of COLUMNS or the screen; in a pipe that is told nothing, no cell is cut."""
    return terminal.columns(sys.stdout, 10_000)


def _nothing(text: str, found: SearchResult) -> str:
    """That nothing was found, and which part of the question alone finds nothing."""
    parts = [f"`{console.safe_text(text[term.start : term.end])}`" for term in found.none]
    if not parts:
        return "no lick holds all of that\n"
    hint = next((f"; did you mean {near}?" for term in found.none if (near := _near(term))), "")
    return f"no lick has {', nor '.join(parts)}{hint}\n"


def _near(term: QueryTerm) -> str | None:
    """The technique, or the field, that a bare word may have meant."""
    from lickwright.core.diagnostics import nearest_name
    from lickwright.index.query_fields import FIELDS, OLD_NAMES, technique_names

    if term.field:
        return None
    word = term.values[0].text
    if word.lower() in [field.name for field in FIELDS]:
        return f"{word.lower()}:…"
    return OLD_NAMES.get(word.lower()) or nearest_name(word, technique_names())


_More: TypeAlias = "Iterable[tuple[SearchHit, dict[str, object]]]"  # licks, and what else is said of each


def _json(shelf: Shelf, library: str, text: str, total: int, hits: _More) -> None:
    """One object, written lick by lick."""
    from json import dumps

    from lickwright.cli.index_source import lick_as_json

    head = dumps({"library": library, "question": text, "total": total, "licks": []}, indent=2)
    terminal.out(head.removesuffix("]\n}"))
    between = ""
    for hit, more in hits:
        value = dumps({**lick_as_json(shelf, hit), **more}, indent=2).replace("\n", "\n    ")
        terminal.out(f"{between}\n    {value}")
        between = ","
    terminal.out("\n  ]\n}\n" if between else "]\n}\n")


_CSV = (
    "path", "line", "title", "key", "scale", "box", "level", "tempo", "meter", "feel", "bars", "notes", "seconds",
    "techniques", "figures", "tags", "style", "by", "rights", "origin", "state",
)  # fmt: skip


def _csv(shelf: Shelf, more: tuple[str, ...], hits: _More) -> None:
    """A row a lick, for a spreadsheet; `more` are the names of what else is said of each."""
    from lickwright.cli.index_source import state
    from lickwright.export.timing import csv_cell

    terminal.out(",".join((*_CSV, *more)) + "\r\n")
    for hit, extra in hits:
        values = {**hit.facts, "path": shelf.path(hit.path), "state": state(shelf, hit), **extra}
        said = ("" if values[name] is None else values[name] for name in (*_CSV, *more))
        terminal.out(",".join(csv_cell(", ".join(v) if isinstance(v, list) else str(v)) for v in said) + "\r\n")


def _paths(shelf: Shelf, hits: Iterable[SearchHit]) -> None:
    for path in dict.fromkeys(shelf.path(hit.path) for hit in hits):
        terminal.out((console.safe_text(path) if sys.stdout.isatty() else path) + "\n")


# --- a lick ----------------------------------------------------------------------------------------------------------


def _wanted(path: str, title: str | None) -> LickFacts | int:
    """The lick that others are to be like; an exit code where it cannot be read, which is then said."""
    from lickwright.cli.sources import FoundSource, Verdict, compiled
    from lickwright.core.slugs import same_title
    from lickwright.store.features import facts

    verdict = Verdict()
    for _, c in compiled([FoundSource(path)], verdict):
        licks = [lick for lick in c.licks if title is None or same_title(lick.title, title)]
        if len(licks) != 1 and c.licks:
            from lickwright.cli.select_lick import no_such_lick, quoted

            titles = [lick.title for lick in c.licks]
            if title is not None and not licks:
                raise no_such_lick(title, path, titles)
            raise click.UsageError(f"which one? --title names one of {quoted(titles)}")
        if not licks or not licks[0].ok:
            found = [d for d in (licks[0].diagnostics if licks else c.diagnostics) if d.severity == "error"]
            terminal.err(console.format_findings(c.source, found, terminal.colour(sys.stderr)))
        if licks and licks[0].timeline is not None and not licks[0].timeline.unknown:
            return facts(licks[0], c.source, measure=False)
    return verdict.code


def _print_like(
    shelf: Shelf, library: str, text: str, wanted: LickFacts, form: str, paths: bool, limit: int | None
) -> None:
    from lickwright.analysis.fingerprint import FEWEST
    from lickwright.index.order import sorted_by
    from lickwright.index.search import among, interpret_question
    from lickwright.index.similarity_search import like

    if wanted.phrase_notes < FEWEST:
        raise click.UsageError(
            f'"{console.safe_text(wanted.title)}" has fewer than {FEWEST} notes: too few to look for'
        )
    found = like(shelf.connection, wanted, limit or _LIKE, among(shelf.connection, text))
    found = sorted_by(interpret_question(text).order, found, lambda one, column: one.hit.facts[column])
    if form == "json":
        _json(shelf, library, text, len(found), ((one.hit, _likeness(one)) for one in found))
    elif form == "csv":
        _csv(shelf, ("kind", "alike", "differs"), ((one.hit, _likeness(one)) for one in found))
    elif paths:
        _paths(shelf, tuple(one.hit for one in found))
    elif found:
        from lickwright.cli.index_source import lick_place
        from lickwright.cli.table import format_table

        states = _states(shelf, [one.hit for one in found])
        rows = [
            (f"{one.share:.0%}", one.hit.facts["title"], _how(one), *state, lick_place(shelf, one.hit))
            for one, state in zip(found, states, strict=True)
        ]
        heads = ("alike", "title", "how it differs", *(("state",) if any(states) else ()), "where")
        terminal.out(format_table(heads, rows, _columns()))
    if form != "json":
        hits = [one.hit for one in found]
        _say_stale(shelf, library, hits, terminal.out if form == "text" and not paths else terminal.err)
    if not found:
        terminal.err(f'no lick is like "{console.safe_text(wanted.title)}"\n')


def _how(one: Like) -> str:
    return (
        ", ".join(one.how) or "nothing: the same tab"
        if one.kind == "same tab"
        else ", ".join(one.how) or "the same phrase"
    )


def _likeness(one: Like) -> dict[str, object]:
    return {"kind": one.kind, "alike": round(one.share, 3), "differs": list(one.how)}
