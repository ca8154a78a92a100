"""`lickwright library`: what a library has and lacks, for a person or as JSON.

In: an open index. Out: text on standard output. What is counted is `index/statistics.py`, what is missing `index/coverage_gaps.py`.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from json import dumps
from textwrap import wrap

from lickwright.cli import terminal
from lickwright.cli.index_source import stale_line
from lickwright.core.diagnostics import Severity
from lickwright.index.coverage_gaps import Gap, find_gaps
from lickwright.index.reader import LibraryIndex
from lickwright.index.statistics import LibraryStatistics, library_statistics
from lickwright.report import console

_NAMES, _HINTS = 15, 4  # names in a line and hints of a kind, without --limit
_INDENT = 12


def show_statistics(index: LibraryIndex, library: str, form: str, limit: int | None) -> None:
    """Print what a library has and lacks as `form` says, "text" or "json"; at most `limit` of each list."""
    with index.one_state():
        found, missing = library_statistics(index.connection), find_gaps(index.connection)
    if form == "json":
        terminal.out(_json(index, library, found, missing, limit))
        return
    lines = [_size(found), ""]
    for name, counts in found.counts.items():
        lines += _list(_PLURALS[name], counts, limit or _NAMES)
    lines += ["", *_wrong(found, library)]
    if line := stale_line(index, library, index.stale()):
        lines.append(f"{'stale':{_INDENT}}{line.rstrip()}")
    lines += _hints("perhaps missing:", [gap for gap in missing if gap.kind != "order"], limit or _HINTS)
    lines += _hints("in the order of the files:", [gap for gap in missing if gap.kind == "order"], limit or _HINTS)
    terminal.out("".join(console.safe_text(line) + "\n" for line in lines))


def _json(
    index: LibraryIndex, library: str, found: LibraryStatistics, missing: Sequence[Gap], limit: int | None
) -> str:
    value = {
        "library": library,
        **found.as_value(),
        "counts": {name: dict(_first(counts, limit)) for name, counts in found.counts.items()},
        "stale": index.stale(),
        "missing": [gap._asdict() for gap in _few(missing, limit)],
    }
    return dumps(value, indent=2) + "\n"


def _size(found: LibraryStatistics) -> str:
    time = f"{found.seconds / 60:.0f} minutes" if found.seconds >= 90 else f"{found.seconds:.0f} seconds"
    good = console.counted_noun(found.licks - found.broken, "lick")
    broken = f" ({found.broken:,} more with errors, not counted here)" if found.broken else ""
    return f"{good} in {console.counted_noun(found.files, 'file')}, {time} of music{broken}"


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
    """Return the first gaps of each kind."""
    seen: Counter[str] = Counter()
    few = []
    for gap in found:
        seen[gap.kind] += 1
        if most is None or seen[gap.kind] <= most:
            few.append(gap)
    return few


def _first(counts: Mapping[str, int], most: int | None) -> list[tuple[str, int]]:
    return list(counts.items())[:most]


def _list(name: str, counts: Mapping[str, int], most: int) -> list[str]:
    """Return a line of names and numbers, wrapped, aligned below one another; none without names."""
    parts = [f"{value}: {n:,}" for value, n in _first(counts, most)]
    if len(counts) > most:
        parts.append(f"and {len(counts) - most:,} more")
    text = ", ".join(part.replace(" ", "\0") for part in parts)  # no part is broken in two
    columns = max(40, terminal.columns(sys.stdout, 100, most=120))
    lines = wrap(text, columns - _INDENT, break_long_words=False, break_on_hyphens=False)
    return [
        (f"{name:{_INDENT}}" if n == 0 else " " * _INDENT) + line.replace("\0", " ") for n, line in enumerate(lines)
    ]


def _wrong(found: LibraryStatistics, library: str) -> Iterator[str]:
    """Yield lines about findings, missing fields and phrases that come twice, each with the command that shows more."""
    place = console.safe_text(library)
    if found.codes:
        tally = ", ".join(
            console.counted_noun(found.severities[severity], severity.word)
            for severity in Severity
            if severity in found.severities
        )
        codes = ", ".join(f"{code} {n:,}" for code, n in _first(found.codes, _NAMES))
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
