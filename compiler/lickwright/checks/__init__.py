"""The checks: what is wrong with a lick that could be counted.

In: a Timeline. Out: findings, L2xx scale and box, L3xx rhythm, L4xx hands and techniques. A family is a module with its
`RULES` and a function for each kind of finding. Nothing is changed or hidden: `meant` lines are applied later.
"""

from __future__ import annotations

from lickwright.checks import box, hands, rhythm, techniques
from lickwright.diagnostics import Diagnostic, Rule
from lickwright.timeline import Timeline

RULES: tuple[Rule, ...] = (*box.RULES, *rhythm.RULES, *techniques.RULES, *hands.RULES)


def check(timeline: Timeline) -> list[Diagnostic]:
    """Everything found, each finding once for each written place, however often it is played."""
    found = [
        *rhythm.check_rhythm(timeline),
        *box.check_box(timeline),
        *techniques.check_techniques(timeline),
        *hands.check_hands(timeline),
    ]
    if len(found) > 1:
        found = list({(d.code, d.span): d for d in reversed(found)}.values())[::-1]
    return found
