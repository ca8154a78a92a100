"""Which name the files of each lick have: a lick keeps its own, whatever is written above it.

In: the licks of one source in their order, and the names on record of that source. Out: the names that are to be on record. Among licks of one
title each is known again by its music (`phrase.tab_code`); one whose music was changed by its place among the others. A name is
given to another lick only after its files were removed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from lickwright.core.slugs import distinct_names, slug

if TYPE_CHECKING:
    from lickwright.compiler.compilation import CompiledLick


class LickName(NamedTuple):
    """One lick's name: a row of the manifest's table `names`, without its folder."""

    name: str
    base: str  # what licks of one title have in common, the same on every machine
    code: int  # of its tab; 0 where it could never be counted
    place: int  # among the licks of its source, from 0
    gone: bool = False  # its lick is no more in the source


def music_code(lick: CompiledLick) -> int:
    """The code by which a lick's music is known again; 0 for one that cannot be counted, or has no notes."""
    if lick.timeline is None or not lick.timeline.sounds:
        return 0
    from lickwright.analysis.fingerprint import tab_code

    return tab_code(lick.timeline)


def assign_names(licks: Sequence[tuple[str, int]], known: Sequence[LickName], whole: bool) -> tuple[LickName, ...]:
    """The names of licks, given as title and code, in their order; after them the names of licks that are not there.

    `whole`: all licks of the source could be read, so that those which are not there are gone.
    """
    bases = [slug(title, readable=False) for title, _ in licks]
    groups: dict[str, list[int]] = {}
    for number, base in enumerate(bases):
        groups.setdefault(base, []).append(number)
    rows: dict[str, list[LickName]] = {}
    for row in sorted(known, key=lambda row: row.place):
        rows.setdefault(row.base, []).append(row)
    kept: dict[int, LickName] = {}
    for base, numbers in groups.items():
        found = _paired([licks[number][1] for number in numbers], rows.get(base, ()))
        kept.update((numbers[at], row) for at, row in found.items())
    fresh = [number for number in range(len(licks)) if number not in kept]
    given = distinct_names([slug(licks[number][0]) for number in fresh], (row.name for row in known))
    name = {number: row.name for number, row in kept.items()} | dict(zip(fresh, given, strict=True))
    there = tuple(
        LickName(name[number], bases[number], code or (kept[number].code if number in kept else 0), number)
        for number, (_, code) in enumerate(licks)
    )
    used = set(name.values())
    return there + tuple(row._replace(gone=row.gone or whole) for row in known if row.name not in used)


def _paired(codes: Sequence[int], rows: Sequence[LickName]) -> dict[int, LickName]:
    """Which row is whose, of licks of one title and the rows of that title, both in their order."""
    by_code: dict[int, list[LickName]] = {}
    for row in sorted(rows, key=lambda row: row.gone):
        by_code.setdefault(row.code, []).append(row)
    found: dict[int, LickName] = {}
    for at, code in enumerate(codes):
        if code and by_code.get(code):
            found[at] = by_code[code].pop(0)
    live = [row for row in rows if not row.gone] or list(rows)
    at_row = {row.name: n for n, row in enumerate(live)}
    at_lick = {at: at_row[row.name] for at, row in found.items() if row.name in at_row}
    free = set(range(len(live))) - set(at_lick.values())
    for at in _unpaired(codes, found):  # the next of the lick above is this one, its music changed
        after = at_lick.get(at - 1) if at else -1
        if after is not None and after + 1 in free:
            at_lick[at] = after + 1
            free.remove(after + 1)
            found[at] = live[after + 1]
    for at in reversed(_unpaired(codes, found)):  # or the one before that of the lick below
        before = at_lick.get(at + 1) if at + 1 < len(codes) else len(live)
        if before is not None and before - 1 in free:
            at_lick[at] = before - 1
            free.remove(before - 1)
            found[at] = live[before - 1]
    return found


def _unpaired(codes: Sequence[int], found: dict[int, LickName]) -> list[int]:
    return [at for at in range(len(codes)) if at not in found]
