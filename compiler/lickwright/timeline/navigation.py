"""Jumps back (D.C., D.S.) and what ends them (Fine, To Coda): the sections of a lick in the order in which they are played.

In: written bars with their marks, and their sections with repeats. Out: those sections, then the way from the jump on. As in print, a
jump is taken once, when its bar is played for the last time; after it nothing is repeated and last endings are played.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.notation.tree import Navigation
from lickwright.timeline import rules
from lickwright.timeline.model import Bar
from lickwright.timeline.repeats import Section
from lickwright.timeline.rules import Report


class _Found(NamedTuple):
    """A mark and the bar that has it."""

    bar: int
    node: Navigation

    @property
    def printed(self) -> str:
        return self.node.mark.printed


def sections_with_jumps(parts: list[Section], bars: tuple[Bar, ...], report: Report) -> list[Section]:
    """All sections as played; those of `parts` where nothing jumps, or where the marks do not fit together, which is reported."""
    marks: dict[str, _Found] = {}
    jump: _Found | None = None
    whole = True
    for index, bar in enumerate(bars):
        for node in bar.marks:
            found = _Found(index, node)
            other = jump if node.mark.target else marks.get(node.mark.sign)
            if other is not None:
                message = f"a second {'jump back' if node.mark.target else found.printed}: {found.printed} after {other.printed}"
                report(rules.JUMP, node.span, message, "a lick has one jump back, and each of its marks once")
                whole = False
            elif node.mark.target:
                jump = found
            else:
                marks[node.mark.sign] = found
    if not marks and jump is None:
        return parts
    if not all(bar.sure for bar in bars):
        return parts  # a mark may stand in what could not be read
    route = _Route(parts, len(bars), marks, report)
    return route.after(jump) if route.fits(jump) and whole and jump else parts


class _Route:
    """The way from one jump on."""

    def __init__(self, parts: list[Section], end: int, marks: dict[str, _Found], report: Report) -> None:
        self.parts = parts
        self.end = end
        self.marks = marks
        self.report = report

    def fits(self, jump: _Found | None) -> bool:
        """Whether the marks and the jump make a way; says what is missing, too much or never reached."""
        if jump is None:
            first = min(self.marks.values(), key=lambda found: found.bar)
            need = {"segno": "@ds", "fine": "@dc-al-fine"}.get(first.node.mark.sign, "@dc-al-coda")
            return self._wrong(
                first, f"{first.printed}, but nothing jumps back", f"end the bar that goes back with `{need}`"
            )
        mark = jump.node.mark
        wanted = {"segno"} if mark.target == "segno" else set()
        wanted |= {"to-coda", "coda"} if mark.until == "to-coda" else {mark.until} if mark.until else set()
        for sign in sorted(wanted):
            if sign not in self.marks:
                where = "at the start" if sign in ("segno", "coda") else "at the end"
                return self._wrong(
                    jump, f"{jump.printed}, but there is no {_PRINTED[sign]}", f"write `@{sign}` {where} of its bar"
                )
        wanted |= {"fine"} if not mark.until else set()
        for sign, found in self.marks.items():
            if sign not in wanted:
                hint = f"leave it out, or jump with `@{_jump_for(sign, mark.target)}`"
                return self._wrong(found, f"{found.printed} is never needed: {jump.printed} does not use it", hint)
        return self._reached(jump)

    def _reached(self, jump: _Found) -> bool:
        part = self._part(jump.bar)
        if part.times > 1 and part.first_ending is not None and jump.bar >= part.first_ending:
            return self._wrong(
                jump, f"{jump.printed} in a first ending, which is left before it", "jump from the last ending"
            )
        segno, fine, leaves, coda = (self.marks.get(sign) for sign in ("segno", "fine", "to-coda", "coda"))
        if segno is not None and segno.bar > jump.bar:
            return self._wrong(segno, f"Segno comes after {jump.printed}", "it stands in the bar that is gone back to")
        if leaves is not None and coda is not None and coda.bar <= leaves.bar:
            return self._wrong(
                coda, "Coda comes before To Coda", "the coda stands after what leads to it, at the end of the lick"
            )
        start = segno.bar if segno is not None else 0
        way = [n for part in self._once(start, self.end) for n in range(part.first, part.last)]
        last = self._once(coda.bar, self.end) if coda is not None else []
        for found in (segno, fine, leaves):
            if found is not None and found.bar not in way:
                return self._wrong(
                    found,
                    f"{found.printed} is not reached after {jump.printed}",
                    "it stands before the place gone back to, or in a first ending",
                )
        if coda is not None and not any(part.first <= coda.bar < part.last for part in last):
            return self._wrong(coda, "Coda stands in a first ending", "begin the coda at a bar of its own")
        return True

    def _wrong(self, found: _Found, message: str, hint: str) -> bool:
        self.report(rules.JUMP, found.node.span, message, hint)
        return False

    def _part(self, bar: int) -> Section:
        return next(part for part in self.parts if part.first <= bar < part.last)

    def _once(self, first: int, last: int) -> list[Section]:
        """Bars `first` to `last` (excluded) without repeats: first endings are left out."""
        cut = []
        for part in self.parts:
            until = part.last if part.first_ending is None else part.first_ending
            if max(first, part.first) < min(last, until):
                cut.append(Section(max(first, part.first), min(last, until), 1, None))
        return cut

    def after(self, jump: _Found) -> list[Section]:
        """The sections as written up to the jump, then the way back and to the end."""
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
    """The jump that would use a mark."""
    if sign == "segno":
        return "ds"
    jump = "ds" if target == "segno" else "dc"
    return f"{jump}-al-fine" if sign == "fine" else f"{jump}-al-coda"
