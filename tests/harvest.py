"""What was found of planted mistakes: each in its place with a right code, and what belongs to none.

In: a page with mistakes in it and the list of them, from `planting.py`. Out: a `Measured`, and its table.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from lickwright.compiler import compile_text
from lickwright.core.diagnostics import Diagnostic, Severity
from planting import Page, Planted

HANDS = ("L43", "L44", "L46")


@dataclass
class Tally:
    """What became of the mistakes of one kind."""

    planted: int = 0
    found: int = 0
    exact: int = 0  # the caret begins within the piece that was changed
    missed: list[str] = field(default_factory=list)  # a few texts


@dataclass
class Measured:
    """All of it."""

    kinds: dict[str, Tally] = field(default_factory=dict)
    findings: int = 0
    false: list[tuple[Diagnostic, str]] = field(default_factory=list)  # with the line where it stands

    @property
    def planted(self) -> int:
        return sum(tally.planted for tally in self.kinds.values())

    @property
    def found(self) -> int:
        return sum(tally.found for tally in self.kinds.values())


def worries(text: str) -> list[Diagnostic]:
    """Errors and warnings, but for those about hands: made-up licks do not heed how far a finger reaches or how fast it is."""
    found = compile_text(text).diagnostics
    return [d for d in found if d.severity is not Severity.INFO and not d.code.startswith(HANDS)]


def measure(page: Page, planted: Sequence[Planted], into: Measured) -> list[Diagnostic]:
    """Compiles the page and adds up what was found."""
    text = "".join(piece.text for piece in page)
    starts = [0]
    for piece in page:
        starts.append(starts[-1] + len(piece.text))
    extent: dict[int, tuple[int, int]] = {}
    for n, piece in enumerate(page):
        extent[piece.bar] = (extent.get(piece.bar, (starts[n], 0))[0], starts[n + 1])
    found = worries(text)
    mine: set[int] = set()
    spoilt = {(one.lick, one.breaks) for one in planted}
    for one in planted:
        if spoilt & {(lick, need) for lick in (0, one.lick) for need in one.needs}:
            continue  # hidden by another, as it should be
        begin, end = extent[one.bar]
        tally = into.kinds.setdefault(one.kind, Tally())
        tally.planted += 1
        here = [n for n, d in enumerate(found) if begin <= d.span.start <= end]
        right = [n for n in here if found[n].code in one.codes]
        exact = any(starts[one.piece] <= found[n].span.start <= starts[one.piece + 1] for n in right)
        tally.found += bool(right)
        tally.exact += exact
        if not right:
            tally.missed.append(f"{text[begin:end].strip()} -> {[found[n].code for n in here]}")
        mine.update(right, (n for n in here if found[n].code.startswith(one.also)) if one.also else ())
    into.findings += len(found)
    for n, d in enumerate(found):
        if n not in mine:
            line = text.count("\n", 0, d.span.start)
            into.false.append((d, text.split("\n")[line]))
    return found


def table(measured: Measured) -> str:
    """By kind, and in all."""
    rows = [f"{'mistake':30} planted  found  exact"]
    for name, tally in sorted(measured.kinds.items(), key=lambda kv: (kv[1].found / kv[1].planted, kv[0])):
        rows.append(f"{name:30} {tally.planted:7} {tally.found:6} {tally.exact:6}")
    share = measured.found / max(1, measured.planted)
    false = len(measured.false) / max(1, measured.findings)
    codes = Counter(d.code for d, _ in measured.false).most_common(8)
    rows.append(f"found {measured.found} of {measured.planted} ({share:.1%}); {len(measured.false)} of {measured.findings} findings "
                f"belong to none ({false:.1%}): {codes}")  # fmt: skip
    return "\n".join(rows)
