"""`lickwright library`: what a library holds, what it lacks, and which licks in it are alike."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.core.diagnostics import Severity
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.index.coverage_gaps import Gap
    from lickwright.index.duplicates import Group
    from lickwright.index.reader import Shelf
    from lickwright.index.search import SearchHit
    from lickwright.index.statistics import Overview

_SHOWN = 15  # names in a line of the overview, where no other number is said
_HINTS, _GROUPS, _MEMBERS = (
    4,
    9,
    3,
)  # the same for hints of a kind, groups of licks, and licks in a group: together one screen
_INDENT = 12

_HELP = """Show what LIBRARY has and lacks: an output folder of lickwright make, a folder of licks, or a file.

\b
  lickwright library out                  keys, boxes, levels, techniques; what is missing
  lickwright library out --duplicates     licks that are alike, in groups
  lickwright library out --ready          what is missing or out of date in an output folder

Licks are alike when they are the same tab; when they are the same phrase, note for note, in another key or box; and when
they nearly are: a note in eight may differ. What lickwright move made of a lick is not a duplicate of it.

An output folder is ready when every lick of the library was made in every format that was asked for, nothing changed since, no
file was changed by hand, no share is missing, no title is used twice, and every lick says its rights and who made it. Exits with
0 if so, 1 if not.
"""


@click.command(help=_HELP)
@click.argument("library", metavar="LIBRARY")
@click.option("--duplicates", is_flag=True, help="Licks that are alike, in groups.")
@click.option(
    "--families", is_flag=True, help="With --duplicates: also licks that `lickwright move` made of one another.",
)  # fmt: skip
@click.option(
    "--ready", is_flag=True, help="What is missing or out of date in an output folder; to check before a release."
)
@option_types.format_option("json", help="For a person, or everything for a program.")
@option_types.limit_option("At most N of each list; by default what fits one screen.")
def command(library: str, duplicates: bool, families: bool, ready: bool, form: str, limit: int | None) -> int:
    """Its help is `_HELP`, since it shows examples."""
    from lickwright.cli.index_source import library_index, report_unusable
    from lickwright.index.reader import Unusable

    if families and not duplicates:
        raise click.UsageError("--families goes with --duplicates")
    if ready:
        if duplicates:
            raise click.UsageError("--ready or --duplicates, not both")
        from lickwright.cli.readiness import readiness

        return readiness(library, form, limit)
    try:
        shelf, code = library_index(library)
        with shelf:
            if duplicates:
                _duplicates(shelf, library, form, limit, families)
            else:
                _overview(shelf, library, form, limit)
    except Unusable as e:
        return report_unusable(library, e)
    return code


# --- the overview ----------------------------------------------------------------------------------------------------


def _overview(shelf: Shelf, library: str, form: str, limit: int | None) -> None:
    from lickwright.cli.index_source import stale_line
    from lickwright.index.coverage_gaps import gaps
    from lickwright.index.statistics import overview

    found, missing = overview(shelf.connection), gaps(shelf.connection)
    if form == "json":
        from json import dumps

        value = {
            "library": library,
            **found.as_value(),
            "counts": {name: dict(_first(counts, limit)) for name, counts in found.counts.items()},
            "stale": shelf.stale(),
            "missing": [gap._asdict() for gap in _few(missing, limit)],
        }
        terminal.out(dumps(value, indent=2) + "\n")
        return
    minutes = f"{found.seconds / 60:.0f} minutes" if found.seconds >= 90 else f"{found.seconds:.0f} seconds"
    good = console.counted_noun(found.licks - found.broken, "lick")
    broken = f" ({found.broken:,} more with errors, not counted here)" if found.broken else ""
    lines = [f"{good} in {console.counted_noun(found.files, 'file')}, {minutes} of music{broken}", ""]
    for name, counts in found.counts.items():
        if counts:
            lines += _list(
                _PLURALS[name], [f"{value}: {n:,}" for value, n in _first(counts, limit or _SHOWN)], len(counts)
            )
    lines += ["", *_wrong(found, library)]
    if line := stale_line(shelf, library, shelf.stale()):
        lines.append(f"{'stale':{_INDENT}}{line.rstrip()}")
    lines += _hints("perhaps missing:", [gap for gap in missing if gap.kind != "order"], limit or _HINTS)
    lines += _hints("in the order of the files:", [gap for gap in missing if gap.kind == "order"], limit or _HINTS)
    terminal.out("".join(console.safe_text(line) + "\n" for line in lines))


_PLURALS = {
    "key": "keys", "scale": "scales", "box": "boxes", "level": "levels", "technique": "techniques", "tag": "tags",
    "style": "styles",
}  # fmt: skip


def _hints(head: str, found: Sequence[Gap], most: int | None) -> Iterator[str]:
    if found:
        yield from ("", head)
    for kind in dict.fromkeys(gap.kind for gap in found):
        own = [gap for gap in found if gap.kind == kind]
        yield from (f"  {gap.message}" for gap in _few(own, most))
        if most is not None and len(own) > most:
            yield f"  and {len(own) - most:,} more like these"


def _few(found: Sequence[Gap], most: int | None) -> list[Gap]:
    """The first of each kind."""
    seen: Counter[str] = Counter()
    few = []
    for gap in found:
        seen[gap.kind] += 1
        if most is None or seen[gap.kind] <= most:
            few.append(gap)
    return few


def _first(counts: Mapping[str, int], most: int | None) -> list[tuple[str, int]]:
    return list(counts.items())[:most]


def _list(name: str, parts: list[str], total: int) -> list[str]:
    """A line of names and numbers, wrapped, under one another."""
    from textwrap import wrap

    more = [f"and {total - len(parts):,} more"] if total > len(parts) else []
    text = ", ".join([*(part.replace(" ", "\0") for part in parts), *(word.replace(" ", "\0") for word in more)])
    columns = max(40, min(terminal.columns(sys.stdout, 100), 120))
    lines = wrap(text, columns - _INDENT, break_long_words=False, break_on_hyphens=False)
    return [
        (f"{name:{_INDENT}}" if n == 0 else " " * _INDENT) + line.replace("\0", " ") for n, line in enumerate(lines)
    ]


def _wrong(found: Overview, library: str) -> Iterator[str]:
    """Findings, fields that are not said, phrases that come twice; each with what shows more of it."""
    place = console.safe_text(library)
    if found.codes:
        tally = ", ".join(
            console.counted_noun(found.severities[severity], severity.word)
            for severity in Severity
            if severity in found.severities
        )
        codes = ", ".join(f"{code} {n:,}" for code, n in _first(found.codes, _SHOWN))
        yield f"{'findings':{_INDENT}}{tally} ({codes})"
    else:
        yield f"{'findings':{_INDENT}}none"
    if found.broken:
        yield f"{'':{_INDENT}}{console.counted_noun(found.broken, 'lick')} with errors: lickwright find {place} finding:error"
    for name, n in found.without.items():
        if n:
            yield f"{'without':{_INDENT}}{name}: {console.counted_noun(n, 'lick')}; lickwright find {place} {name}:none"
    if found.repeated:
        words = "phrase comes" if found.repeated == 1 else "phrases come"
        yield f"{'repeated':{_INDENT}}{found.repeated:,} {words} more than once: lickwright library {place} --duplicates"


# --- duplicates ------------------------------------------------------------------------------------------------------


def _duplicates(shelf: Shelf, library: str, form: str, limit: int | None, families: bool) -> None:
    from lickwright.cli.index_source import stale_line
    from lickwright.index.duplicates import duplicate_groups
    from lickwright.index.search import fetched

    found = duplicate_groups(shelf.connection, families)
    if form == "json":
        from json import dumps

        terminal.out(
            dumps({"library": library, "groups": [_as_value(shelf, group, limit) for group in found]}, indent=2) + "\n"
        )
        return
    kind, most = "", limit or _GROUPS
    for group in found[:most]:
        if group.kind != kind:
            kind = group.kind
            terminal.out(f"{_KINDS[kind]}\n\n")
        terminal.out(_group(shelf, group, limit or _MEMBERS) + "\n")
    if len(found) > most:
        terminal.out(
            f"and {console.counted_noun(len(found) - most, 'more group')}: --limit N shows more, --format json all\n\n"
        )
    licks = sum(len(group.licks) for group in found)
    ids = [lick for group in found for lick in group.licks]
    terminal.out(stale_line(shelf, library, Counter(shelf.state(hit.path) for hit in fetched(shelf.connection, ids))))
    counted = (
        f"{console.counted_noun(len(found), 'group')} of {console.counted_noun(licks, 'lick')}"
        if found
        else "no licks are alike"
    )
    terminal.out(f"{counted}\n")


_KINDS = {
    "same tab": "The same tab:",
    "same phrase": "The same phrase, in another key or box, or played otherwise:",
    "near": "Nearly the same phrase:",
}


def _group(shelf: Shelf, group: Group, most: int | None) -> str:
    from lickwright.cli.index_source import lick_place
    from lickwright.cli.table import format_table
    from lickwright.index.describe_difference import box_said
    from lickwright.index.duplicates import described

    rows = []
    for n, member in enumerate(described(shelf.connection, group, most)):
        known = member.hit.facts
        first = ", ".join(filter(None, (known["key"], box_said(known["box"])))) or "no key"
        rows.append(
            (
                known["title"],
                (first if n == 0 else ", ".join(member.how) or "the same") + _marked(shelf, member.hit),
                lick_place(shelf, member.hit),
            )
        )
    more = len(group.licks) - len(rows)
    text = format_table((), rows, min(terminal.columns(sys.stdout, 120), 200) - 2)
    return "".join(f"  {line}\n" for line in text.splitlines()) + (f"  and {more:,} more\n" if more else "")


def _marked(shelf: Shelf, hit: SearchHit) -> str:
    """What became of a lick's source, in brackets."""
    state = shelf.state(hit.path)
    return f" ({state})" if state else ""


def _as_value(shelf: Shelf, group: Group, most: int | None) -> dict[str, object]:
    from lickwright.index.duplicates import described

    members = [
        {
            "title": member.hit.facts["title"],
            "path": shelf.path(member.hit.path),
            "line": member.hit.facts["line"],
            "key": member.hit.facts["key"] or None,
            "box": member.hit.facts["box"] or None,
            "differs": list(member.how),
            "stale": bool(shelf.state(member.hit.path)),
        }
        for member in described(shelf.connection, group, most)
    ]
    return {"kind": group.kind, "licks": members}
