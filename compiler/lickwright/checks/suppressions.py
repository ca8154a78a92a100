"""Suppressions (`meant` fields) and the severities that a project gives to findings.

In: the findings of a lick and the lick as counted. Out: those that remain, and the `meant` lines that hid nothing. Errors
are never hidden, since a `meant` line does not make a lick readable or playable. What a format cannot express (L5xx) is known only when the
format is written, so a `meant` line about it is never reported as unused. A lick's own `meant` line overrides the severity that the
project gives.
"""

from __future__ import annotations

from collections.abc import Iterable

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.settings.fields import Suppression
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.model import Timeline

IDLE = Rule(
    "L191",
    "meant hides nothing",
    Severity.WARNING,
    "a `meant` line names a finding that is not there",
    "`meant` says that a finding is intended, and why. Where there is no such finding (any more), the line "
    "would hide the next one by accident: delete it, or fix its code or bar. "
    "Errors are never hidden.",
    'lick "Plain"\nmeant L301 "leaves the last beat to the band"\n| B5 B5 B5 B5 B5 B5 B5 B5 ||\n',
    'lick "Plain"\n| B5 B5 B5 B5 B5 B5 B5 B5 ||\n',
)

RULES: tuple[Rule, ...] = (IDLE,)


def apply_suppressions(found: Iterable[Diagnostic], timeline: Timeline | None) -> tuple[list[Diagnostic], set[Span]]:
    """Return the findings that no `meant` line of the lick hides, and the places of the lines that hid some."""
    meant = timeline.settings.meant if timeline is not None else ()
    if not meant:
        return list(found), set()
    rest: list[Diagnostic] = []
    used: set[Span] = set()
    for d in found:
        hiding = [m.span for m in meant if _hides(m, d)]
        used.update(hiding)
        if not hiding:
            rest.append(d)
    return rest, used


def _hides(meant: Suppression, d: Diagnostic) -> bool:
    return d.severity is not Severity.ERROR and meant.code == d.code and meant.bar in (None, d.bar)


def apply_severities(found: list[Diagnostic], project: ProjectRules | None) -> list[Diagnostic]:
    """Return the findings with the severities that the project gives them, less those that it hides. An error stays one."""
    if project is None or not project.severities:
        return found
    rest: list[Diagnostic] = []
    for d in found:
        severity = d.severity if d.severity is Severity.ERROR else project.severities.get(d.code, d.severity)
        if severity is not None:
            rest.append(d if severity is d.severity else replace(d, severity=severity))
    return rest


def unused_suppressions(meant: Iterable[Suppression], used: set[Span], found: list[Diagnostic]) -> list[Diagnostic]:
    """Return a warning for each `meant` line that is not among `used`; `found` are the findings that remain, to say what is there instead."""
    return [
        _idle(m, found)
        for m in {m.span: m for m in meant}.values()
        if m.span not in used and not m.code.startswith("L5")
    ]


def _idle(meant: Suppression, found: list[Diagnostic]) -> Diagnostic:
    where = "here" if meant.bar is None else f"in bar {meant.bar}"
    bars = sorted({d.bar for d in found if d.code == meant.code and d.bar is not None})
    hint = "delete the line, or fix its code or bar"
    if bars:
        hint = f"{meant.code} is in bar " + ", ".join(map(str, bars))
    return IDLE.at(meant.span, f"meant {meant.code} hides nothing: there is no such finding {where}", hint)
