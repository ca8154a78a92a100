"""Assigns names to the files of each lick: a lick keeps its name, whatever is written above it.

In: the licks of one source in their order, and the names on record of that source. Out: the names that are to be on record. Among licks of one
title each is known again by its music (`fingerprint.tab_code`); one whose music was changed by its place among the others. A name is
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
    """Return the code by which a lick's music is known again; 0 for one that cannot be counted, or has no notes."""
    if lick.timeline is None or not lick.timeline.sounds:
        return 0
    from lickwright.analysis.fingerprint import tab_code

    return tab_code(lick.timeline)


def assign_names(licks: Sequence[tuple[str, int]], known: Sequence[LickName], whole: bool) -> tuple[LickName, ...]:
    """Return the names of licks, given as title and code, in their order; after them the names on record of licks that are not there.

    `whole`: all licks of the source could be read, so that those which are not there are gone.
    """
    bases = [slug(title, readable=False) for title, _ in licks]
    rows = _rows_of_licks(licks, bases, known)
    there = tuple(
        LickName(rows[number].name, bases[number], code or rows[number].code, number)
        for number, (_, code) in enumerate(licks)
    )
    used = {row.name for row in there}
    return there + tuple(row._replace(gone=row.gone or whole) for row in known if row.name not in used)


def _rows_of_licks(
    licks: Sequence[tuple[str, int]], bases: Sequence[str], known: Sequence[LickName]
) -> dict[int, LickName]:
    """Return the row on record of each lick that has one, and a new one for each other, by the number of the lick."""
    kept = _kept_names(bases, [code for _, code in licks], known)
    fresh = [number for number in range(len(licks)) if number not in kept]
    given = distinct_names([slug(licks[number][0]) for number in fresh], (row.name for row in known))
    return {number: LickName(name, bases[number], 0, number) for number, name in zip(fresh, given, strict=True)} | kept


def _kept_names(bases: Sequence[str], codes: Sequence[int], known: Sequence[LickName]) -> dict[int, LickName]:
    """Return the names on record that licks keep, by the number of the lick."""
    groups: dict[str, list[int]] = {}
    for number, base in enumerate(bases):
        groups.setdefault(base, []).append(number)
    rows: dict[str, list[LickName]] = {}
    for row in sorted(known, key=lambda row: row.place):
        rows.setdefault(row.base, []).append(row)
    kept: dict[int, LickName] = {}
    for base, numbers in groups.items():
        found = _paired([codes[number] for number in numbers], rows.get(base, ()))
        kept.update((numbers[at], row) for at, row in found.items())
    return kept


def _paired(codes: Sequence[int], rows: Sequence[LickName]) -> dict[int, LickName]:
    """Return which row belongs to which of the licks of one title, both in their order: by music, then by the licks beside it."""
    found = _paired_by_music(codes, rows)
    live = [row for row in rows if not row.gone] or list(rows)
    at_row = {row.name: n for n, row in enumerate(live)}
    at_lick = {at: at_row[row.name] for at, row in found.items() if row.name in at_row}
    at_lick[-1], at_lick[len(codes)] = (
        -1,
        len(live),
    )  # the licks and rows that would stand before the first and after the last
    free = set(range(len(live))) - set(at_lick.values())

    def pair(at: int, neighbor: int, step: int) -> None:
        beside = at_lick.get(neighbor)
        if beside is not None and beside + step in free:
            at_lick[at] = beside + step
            free.remove(beside + step)
            found[at] = live[beside + step]

    for at in _unpaired(codes, found):  # the row after that of the lick above is this one's, its music changed
        pair(at, at - 1, 1)
    for at in reversed(_unpaired(codes, found)):  # or the one before that of the lick below
        pair(at, at + 1, -1)
    return found


def _paired_by_music(codes: Sequence[int], rows: Sequence[LickName]) -> dict[int, LickName]:
    by_code: dict[int, list[LickName]] = {}
    for row in sorted(rows, key=lambda row: row.gone):
        by_code.setdefault(row.code, []).append(row)
    found: dict[int, LickName] = {}
    for at, code in enumerate(codes):
        if code and by_code.get(code):
            found[at] = by_code[code].pop(0)
    return found


def _unpaired(codes: Sequence[int], found: dict[int, LickName]) -> list[int]:
    return [at for at in range(len(codes)) if at not in found]
