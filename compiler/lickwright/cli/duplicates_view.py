"""`lickwright library --duplicates`: the licks of a library that are alike, in groups, for a person or as JSON.

In: an open index. Out: text on standard output. Which licks are alike is decided in `index/duplicates.py`.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from json import dumps

from lickwright.cli import terminal
from lickwright.cli.index_source import lick_place, stale_line
from lickwright.cli.table import format_table
from lickwright.index.describe_difference import box_in_words
from lickwright.index.duplicates import DuplicateGroup, Duplicates, describe_group, find_duplicates
from lickwright.index.reader import LibraryIndex
from lickwright.index.search import SearchHit, fetch_hits
from lickwright.report import console

_GROUPS, _MEMBERS = 9, 3  # groups, and licks in a group, without --limit: together one screen
_INCOMPLETE = (
    "so many phrases here are nearly the same that not every pair was compared: some groups may belong together\n"
)


def show_duplicates(index: LibraryIndex, library: str, form: str, limit: int | None, families: bool) -> None:
    """Print groups of licks that are alike as `form` says, "text" or "json"; at most `limit` groups, and licks in each."""
    with index.one_state(hold=False):  # to compare all of them takes long
        found = find_duplicates(index.connection, families)
        text = _json(index, library, found, limit) if form == "json" else "".join(_text(index, library, found, limit))
    terminal.out(text)


def _json(index: LibraryIndex, library: str, found: Duplicates, limit: int | None) -> str:
    groups = [_as_value(index, group, limit) for group in found.groups]
    return dumps({"library": library, "complete": found.is_complete, "groups": groups}, indent=2) + "\n"


def _text(index: LibraryIndex, library: str, found: Duplicates, limit: int | None) -> Iterator[str]:
    yield from _groups(index, found, limit)
    ids = [lick for group in found.groups for lick in group.licks]
    yield stale_line(index, library, Counter(index.state(hit.path) for hit in fetch_hits(index.connection, ids)))
    yield "" if found.is_complete else _INCOMPLETE
    groups_of_licks = f"{console.counted_noun(len(found.groups), 'group')} of {console.counted_noun(len(ids), 'lick')}"
    yield (groups_of_licks if found.groups else "no licks are alike") + "\n"


def _groups(index: LibraryIndex, found: Duplicates, limit: int | None) -> Iterator[str]:
    kind, most = "", limit or _GROUPS
    for group in found.groups[:most]:
        if group.kind != kind:
            kind = group.kind
            yield f"{_KINDS[kind]}\n\n"
        yield _group(index, group, limit or _MEMBERS) + "\n"
    more = len(found.groups) - most
    if more > 0:
        yield f"and {console.counted_noun(more, 'more group')}: --limit N shows more, --format json all\n\n"


_KINDS = {
    "same tab": "The same tab:",
    "same phrase": "The same phrase, in another key or box, or played otherwise:",
    "near": "Nearly the same phrase:",
}


def _group(index: LibraryIndex, group: DuplicateGroup, most: int | None) -> str:
    rows = []
    for n, member in enumerate(describe_group(index.connection, group, most)):
        known = member.hit.facts
        first = ", ".join(filter(None, (known["key"], box_in_words(known["box"])))) or "no key"
        rows.append(
            (
                known["title"],
                (first if n == 0 else ", ".join(member.how) or "the same") + _marked(index, member.hit),
                lick_place(index, member.hit),
            )
        )
    more = len(group.licks) - len(rows)
    text = format_table((), rows, terminal.columns(sys.stdout, 120, most=200) - 2)
    return "".join(f"  {line}\n" for line in text.splitlines()) + (f"  and {more:,} more\n" if more else "")


def _marked(index: LibraryIndex, hit: SearchHit) -> str:
    """Return what became of a lick's source, in brackets; "" for nothing."""
    state = index.state(hit.path)
    return f" ({state})" if state else ""


def _as_value(index: LibraryIndex, group: DuplicateGroup, most: int | None) -> dict[str, object]:
    members = [
        {
            "title": member.hit.facts["title"],
            "path": index.path(member.hit.path),
            "line": member.hit.facts["line"],
            "key": member.hit.facts["key"] or None,
            "box": member.hit.facts["box"] or None,
            "differs": list(member.how),
            "stale": bool(index.state(member.hit.path)),
        }
        for member in describe_group(index.connection, group, most)
    ]
    return {"kind": group.kind, "licks": members}
