"""Segno, coda, Fine and jumps that a lick can have, of those that were read.

In: bars with their marks. Out: the marks that are kept of each bar, and the names of those that lead nowhere. A lick has one jump, each mark once, and no
mark that nothing goes to: other formats print more.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.importers.draft import DraftBar
from lickwright.notation.navigation import BY_SIGN, NavigationMark


def kept_marks(bars: Sequence[DraftBar]) -> tuple[list[tuple[NavigationMark, ...]], list[str]]:
    """Return the marks kept of each bar, and what the others are called in print."""
    every = [mark for bar in bars for mark in bar.marks]
    if not every:
        return [() for _ in bars], []
    wanted = _wanted({mark.sign for mark in every}, next((mark for mark in every if mark.target), None))
    kept: list[tuple[NavigationMark, ...]] = []
    lost: list[str] = []
    for bar in bars:
        own = []
        for mark in bar.marks:
            if mark.sign in wanted:
                own.append(wanted.pop(mark.sign))
            else:
                lost.append(mark.printed)
        kept.append(tuple(own))
    return kept, list(dict.fromkeys(lost))


def _wanted(signs: set[str], jump: NavigationMark | None) -> dict[str, NavigationMark]:
    """Return what each sign that is kept becomes: a jump past what is not there becomes a plain one."""
    if jump is None or (jump.target == "segno" and "segno" not in signs):
        return {}
    found = {}
    plain = "ds" if jump.target == "segno" else "dc"
    if jump.target == "segno":
        found["segno"] = BY_SIGN["segno"]
    whole = {"fine": {"fine"}, "to-coda": {"to-coda", "coda"}}.get(jump.until, set())
    if whole <= signs:
        found |= {sign: BY_SIGN[sign] for sign in whole}
        if not whole and "fine" in signs:
            found["fine"] = BY_SIGN["fine"]
        found[jump.sign] = jump
    else:
        found[jump.sign] = BY_SIGN[plain]
    return found
