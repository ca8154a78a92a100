"""The checks of a counted lick: scale and box, rhythm, hands and techniques.

In: a Timeline. Out: findings, L2xx scale and box, L3xx rhythm, L4xx hands and techniques. A family is a module with its
`RULES` and a function for each kind of finding. Nothing is changed or hidden: `meant` lines are applied later.
"""

from __future__ import annotations

from lickwright.checks import box, hands, rhythm, techniques
from lickwright.core.diagnostics import Diagnostic, Rule
from lickwright.core.source import Span
from lickwright.timeline.model import Timeline

RULES: tuple[Rule, ...] = (*box.RULES, *rhythm.RULES, *techniques.RULES, *hands.RULES)


def check_timeline(timeline: Timeline) -> list[Diagnostic]:
    """Return the findings, each once for each written place, however often it is played."""
    found = [
        *rhythm.check_rhythm(timeline),
        *box.check_box(timeline),
        *techniques.check_techniques(timeline),
        *hands.check_hands(timeline),
    ]
    beyond = {d.span for d in found if d.code == techniques.BEYOND.code}
    if beyond:  # whatever else is said of a fret that does not exist has the same cause
        found = [d for d in found if d.code == techniques.BEYOND.code or not _about(d, beyond)]
    if len(found) > 1:
        found = list({(d.code, d.span): d for d in reversed(found)}.values())[::-1]
    return found


def _about(finding: Diagnostic, places: set[Span]) -> bool:
    """Return whether a finding is about one of these places, or about a note together with it."""
    return finding.span in places or any(note.span in places for note in finding.notes)
