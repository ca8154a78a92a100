"""Jumps back (D.C., D.S.) and what ends them (Fine, To Coda): the sections of a lick in the order in which they are played.

In: written bars with their marks, and their sections with repeats. Out: those sections, then the way from the jump on.
As in print, a jump is taken once, when its bar is played for the last time; after it nothing is repeated and last
endings are played.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.core.source import Span
from lickwright.notation.navigation import NavigationMark
from lickwright.notation.tree import Navigation
from lickwright.timeline import rules
from lickwright.timeline.model import Bar
from lickwright.timeline.repeats import Section
from lickwright.timeline.rules import Report


class _Found(NamedTuple):
    """A mark, and the bar in which it stands."""

    bar: int  # index
    node: Navigation

    @property
    def printed(self) -> str:
        return self.node.mark.printed


class _Marks(NamedTuple):
    """The marks of a lick."""

    by_sign: dict[str, _Found]
    jump: _Found | None
    doubled: bool  # a mark or the jump stands twice, which has been reported


_Fault = tuple[Span, str, str]  # place, message, hint


def sections_with_jumps(parts: list[Section], bars: tuple[Bar, ...], report: Report) -> list[Section]:
    """Return all sections as played; `parts` where nothing jumps, or where the marks do not fit together.

    The first thing that does not fit is reported.
    """
    marks = _collect_marks(bars, report)
    if not marks.by_sign and marks.jump is None:
        return parts
    if not all(bar.sure for bar in bars):
        return parts  # a mark may stand in what could not be read
    route = _Route(parts, len(bars), marks.by_sign)
    fault = next(route.faults(marks.jump), None)
    if fault is not None:
        report(rules.JUMP, *fault)
    if fault is not None or marks.doubled or marks.jump is None:
        return parts
    return route.sections(marks.jump)


def _collect_marks(bars: tuple[Bar, ...], report: Report) -> _Marks:
    """Return the first of each mark and the first jump; further ones are reported."""
    by_sign: dict[str, _Found] = {}
    jump: _Found | None = None
    doubled = False
    for found in (_Found(index, node) for index, bar in enumerate(bars) for node in bar.marks):
        jumps = bool(found.node.mark.target)
        before = jump if jumps else by_sign.get(found.node.mark.sign)
        if before is not None:
            message = f"a second {'jump back' if jumps else found.printed}: {found.printed} after {before.printed}"
            report(rules.JUMP, found.node.span, message, "a lick has one jump back, and each of its marks once")
            doubled = True
        elif jumps:
            jump = found
        else:
            by_sign[found.node.mark.sign] = found
    return _Marks(by_sign, jump, doubled)


class _Route:
    """The way from one jump on."""

    def __init__(self, parts: list[Section], end: int, marks: dict[str, _Found]) -> None:
        self.parts = parts
        self.end = end
        self.marks = marks

    def faults(self, jump: _Found | None) -> Iterator[_Fault]:
        """Yield what keeps the marks and the jump from making a way: missing, needless, misplaced, never reached."""
        if jump is None:
            yield self._no_jump()
            return
        yield from self._missing(jump)
        yield from self._needless(jump)
        yield from self._misplaced(jump)
        yield from self._unreached(jump)

    def _no_jump(self) -> _Fault:
        first = min(self.marks.values(), key=lambda found: found.bar)
        need = {"segno": "@ds", "fine": "@dc-al-fine"}.get(first.node.mark.sign, "@dc-al-coda")
        return _fault(first, f"{first.printed}, but nothing jumps back", f"end the bar that goes back with `{need}`")

    def _missing(self, jump: _Found) -> Iterator[_Fault]:
        for sign in sorted(_needed(jump.node.mark) - set(self.marks)):
            where = "at the start" if sign in ("segno", "coda") else "at the end"
            hint = f"write `@{sign}` {where} of its bar"
            yield _fault(jump, f"{jump.printed}, but there is no {_PRINTED[sign]}", hint)

    def _needless(self, jump: _Found) -> Iterator[_Fault]:
        mark = jump.node.mark
        usable = _needed(mark) | ({"fine"} if not mark.until else set())
        for sign, found in self.marks.items():
            if sign not in usable:
                hint = f"leave it out, or jump with `@{_jump_for(sign, mark.target)}`"
                yield _fault(found, f"{found.printed} is never needed: {jump.printed} does not use it", hint)

    def _misplaced(self, jump: _Found) -> Iterator[_Fault]:
        part = self._part(jump.bar)
        segno, leaves, coda = (self.marks.get(sign) for sign in ("segno", "to-coda", "coda"))
        if part.times > 1 and part.first_ending is not None and jump.bar >= part.first_ending:
            message = f"{jump.printed} in a first ending, which is left before it"
            yield _fault(jump, message, "jump from the last ending")
        if segno is not None and segno.bar > jump.bar:
            yield _fault(segno, f"Segno comes after {jump.printed}", "it stands in the bar that is gone back to")
        if leaves is not None and coda is not None and coda.bar <= leaves.bar:
            hint = "the coda stands after what leads to it, at the end of the lick"
            yield _fault(coda, "Coda comes before To Coda", hint)

    def _unreached(self, jump: _Found) -> Iterator[_Fault]:
        segno, fine, leaves, coda = (self.marks.get(sign) for sign in ("segno", "fine", "to-coda", "coda"))
        start = segno.bar if segno is not None else 0
        way = {n for part in self._once(start, self.end) for n in range(part.first, part.last)}
        for found in (segno, fine, leaves):
            if found is not None and found.bar not in way:
                hint = "it stands before the place gone back to, or in a first ending"
                yield _fault(found, f"{found.printed} is not reached after {jump.printed}", hint)
        last = self._once(coda.bar, self.end) if coda is not None else []
        if coda is not None and not any(part.first <= coda.bar < part.last for part in last):
            yield _fault(coda, "Coda stands in a first ending", "begin the coda at a bar of its own")

    def _part(self, bar: int) -> Section:
        return next(part for part in self.parts if part.first <= bar < part.last)

    def _once(self, first: int, last: int) -> list[Section]:
        """Return bars `first` to `last` (excluded) without repeats: first endings are left out."""
        cut = []
        for part in self.parts:
            until = part.last if part.first_ending is None else part.first_ending
            if max(first, part.first) < min(last, until):
                cut.append(Section(max(first, part.first), min(last, until), 1, None))
        return cut

    def sections(self, jump: _Found) -> list[Section]:
        """Return the sections as written up to the jump, then the way back and to the end."""
        played: list[Section] = []
        for part in self.parts:
            if part.first > jump.bar:
                break
            if part.last > jump.bar + 1 and part.times > 1:  # the jump is taken the last time through
                played.append(Section(part.first, part.last, part.times - 1, None))
            if part.last > jump.bar + 1:
                played.append(Section(part.first, jump.bar + 1, 1, None))
            else:
                played.append(part)
        segno, fine, leaves, coda = (self.marks.get(sign) for sign in ("segno", "fine", "to-coda", "coda"))
        stop = fine or leaves
        played += self._once(segno.bar if segno else 0, stop.bar + 1 if stop else self.end)
        return played + (self._once(coda.bar, self.end) if coda else [])


_PRINTED = {"segno": "Segno", "fine": "Fine", "to-coda": "To Coda", "coda": "Coda"}


def _jump_for(sign: str, target: str) -> str:
    """Return the jump that would use a mark."""
    if sign == "segno":
        return "ds"
    jump = "ds" if target == "segno" else "dc"
    return f"{jump}-al-fine" if sign == "fine" else f"{jump}-al-coda"


def _fault(found: _Found, message: str, hint: str) -> _Fault:
    return found.node.span, message, hint


def _needed(jump: NavigationMark) -> set[str]:
    """Return the signs of the marks that a jump cannot do without."""
    needed = {"segno"} if jump.target == "segno" else set()
    return needed | ({"to-coda", "coda"} if jump.until == "to-coda" else {jump.until} if jump.until else set())
