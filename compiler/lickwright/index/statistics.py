"""Statistics of a library: licks of each key, scale, box, level, technique, tag and style, and their findings.

In: the index. Out: `LibraryStatistics`. What is missing is counted in `coverage_gaps.py`.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable
from typing import Any, NamedTuple

from lickwright.analysis.fingerprint import FEWEST
from lickwright.index.families import Lineage, without_moved_copies
from lickwright.music.boxspec import SHAPES
from lickwright.store.features import NUMBERED

# Fields that an author wants on every lick, in the order in which they are told.
WANTED = ("rights", "by", "key", "declared", "tags", "style")


class LibraryStatistics(NamedTuple):
    """A library in numbers."""

    licks: int
    files: int
    broken: int  # licks with errors
    seconds: float  # of those without errors, together
    counts: dict[
        str, dict[str, int]
    ]  # by what is counted ("key", "box" …), the commonest first; levels and boxes in order
    severities: dict[str, int]  # findings by severity
    codes: dict[str, int]  # findings by code, the commonest first
    without: dict[str, int]  # licks that do not say: by the field, of `WANTED`
    repeated: int  # phrases that more than one lick has

    def as_value(self) -> dict[str, Any]:
        """Return the values for JSON."""
        return self._asdict()


def library_statistics(connection: sqlite3.Connection) -> LibraryStatistics:
    """Return the statistics of all licks in the index."""
    licks, files, broken, seconds = connection.execute(
        "SELECT count(*), count(DISTINCT source_id), coalesce(sum(NOT ok), 0), coalesce(sum(seconds * ok), 0) FROM licks"
    ).fetchone()
    counts = {
        "key": _commonest(_grouped(connection, "key")),
        "scale": _commonest(_grouped(connection, "scale")),
        "box": count_boxes(connection),
        "level": dict(sorted(_grouped(connection, "level"))),
        "technique": _commonest(_split(_grouped(connection, "techniques"))),
        "tag": _commonest(_split(_grouped(connection, "tags"))),
        "style": _commonest(_grouped(connection, "style")),
    }
    severities = dict(connection.execute("SELECT severity, count(*) FROM findings GROUP BY severity"))
    codes = _commonest(connection.execute("SELECT code, count(*) FROM findings GROUP BY code"))
    columns = ", ".join(f"coalesce(sum(coalesce(\"{name}\", '') = ''), 0)" for name in WANTED)
    without = dict(zip(WANTED, connection.execute(f"SELECT {columns} FROM licks WHERE ok").fetchone(), strict=True))
    return LibraryStatistics(
        licks, files, broken, round(seconds, 1), counts, severities, codes,
        {"level" if name == "declared" else name: n for name, n in without.items()}, _repeated(connection),
    )  # fmt: skip


def _grouped(connection: sqlite3.Connection, column: str) -> list[tuple[str, int]]:
    rows = connection.execute(f'SELECT "{column}", count(*) FROM licks WHERE ok GROUP BY 1')
    return [(str(value), n) for value, n in rows if value not in ("", None)]


def _split(rows: Iterable[tuple[str, int]]) -> Iterable[tuple[str, int]]:
    """Yield each of the values between commas with its count."""
    for value, n in rows:
        for one in {part.strip() for part in value.split(",")} - {""}:
            yield one, n


def _commonest(rows: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return the counts, the commonest first. Values that differ only in capitals are one, under the commoner spelling."""
    of: dict[str, Counter[str]] = {}
    for value, n in rows:
        of.setdefault(value.casefold(), Counter())[value] += n
    whole = [(min(names, key=lambda name: (-names[name], name)), sum(names.values())) for names in of.values()]
    return dict(sorted(whole, key=lambda one: (-one[1], one[0])))


def count_boxes(connection: sqlite3.Connection) -> dict[str, int]:
    """Return the boxes by number; if a lick names none by number its shapes, or the frets it names. A lick in two boxes counts in both."""
    found: Counter[str] = Counter()
    for box, bits, n in connection.execute(
        "SELECT box, boxes, count(*) FROM licks WHERE ok AND box != '' GROUP BY 1, 2"
    ):
        numbers = [str(number + 1) for number in range(NUMBERED) if bits >> number & 1]
        shapes = [f"{name} shape" for at, name in enumerate(SHAPES) if bits >> NUMBERED + at & 1]
        for name in numbers or shapes or [box]:
            found[name] += n
    return dict(sorted(found.items(), key=lambda one: (not one[0].isdigit(), one[0])))


def _repeated(connection: sqlite3.Connection) -> int:
    """Return how many phrases more than one lick has, families aside."""
    rows = connection.execute(
        "SELECT phrase, title, origin FROM licks WHERE ok AND phrase IN ("
        "SELECT l.phrase FROM licks l JOIN phrases p ON p.code = l.phrase WHERE l.ok AND p.notes >= ? "
        "GROUP BY l.phrase HAVING count(*) > 1)",
        (FEWEST,),
    )
    of_phrase: dict[int, list[Lineage]] = {}
    for phrase, *origin in rows:
        of_phrase.setdefault(phrase, []).append(Lineage(*origin))
    return sum(len(without_moved_copies((origin, origin) for origin in found)) > 1 for found in of_phrase.values())
