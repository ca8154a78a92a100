"""The findings of a source as they are shown: sorted, each once, and no more than a screen could ever show.

In: findings, or licks with theirs. Out: the same, fewer. Judges nothing and hides no kind of finding.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lickwright.compiler.compilation import CompiledLick
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.source import Span
from lickwright.notation.rules import LIMIT
from lickwright.timeline.build import MAX_REPEATED_FINDINGS

MOST = 10_000  # findings of one file (estimate); of each lick after them the first `MAX_REPEATED_FINDINGS` are kept, errors before others
_RANK = tuple(Severity)  # most severe first


def sorted_findings(found: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """Return the findings by place, one of a kind at one written place.

    A repeat plays a place twice and a file's field counts for every lick, so that the same finding comes several times.
    """
    first: dict[tuple[str, Span], Diagnostic] = {}
    for d in sorted(found, key=lambda d: (d.span, _RANK.index(d.severity), d.code)):
        first.setdefault((d.code, d.span), d)
    return tuple(first.values())


def limit_findings(licks: Iterable[CompiledLick]) -> Iterator[CompiledLick]:
    """Yield the licks with at most `MOST` findings and a few more: a file of 1 MiB can hold 260,000, which would fill the memory.

    The first lick whose findings are cut has a warning that says so.
    """
    total, said = 0, False
    for lick in licks:
        total += len(lick.diagnostics)
        if total > MOST and len(lick.diagnostics) > MAX_REPEATED_FINDINGS:
            lick = lick._replace(diagnostics=_worst(lick.diagnostics, said))
            said = True
        yield lick


def _worst(found: tuple[Diagnostic, ...], said: bool) -> tuple[Diagnostic, ...]:
    worst = sorted(found, key=lambda d: _RANK.index(d.severity))[:MAX_REPEATED_FINDINGS]
    if not said:
        message = (
            f"more than {MOST:,} findings in this file: of each lick from here on {MAX_REPEATED_FINDINGS} are kept"
        )
        worst.append(LIMIT.at(found[0].span, message, "fix these first", severity=Severity.WARNING))
    return sorted_findings(worst)
