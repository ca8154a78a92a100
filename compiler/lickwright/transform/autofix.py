"""All sure fixes of a source, one after another, as long as they make it better.

In: a compilation. Out: the fixes that were taken, the text with them and what became of it. A fix that would bring an error of a kind that was not
there as often before is left out, with that error: then the answer was not so sure. Nothing is written here.
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from lickwright.compiler import Compilation, compile_text
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.fast_dataclass import record
from lickwright.core.source import Source, decode_source
from lickwright.core.text_edits import apply_fixes, compatible_fixes, rewrite_bytes

ROUNDS = 20  # a fix may uncover the next; a text that needs more than this is better looked at in between


class RefusedFix(NamedTuple):
    """A fix that was not taken."""

    finding: Diagnostic  # the finding whose fix it is
    source: Source  # the text that the finding is about
    because: Diagnostic  # an error that it would bring


class FixRound(NamedTuple):
    """Fixes that go into one text at once."""

    source: Source
    findings: tuple[Diagnostic, ...]


@record
class AutofixResult:
    """What mending a source came to."""

    before: Compilation
    after: Compilation  # of the text with the fixes; `before` itself where there were none
    rounds: tuple[FixRound, ...]
    refused: tuple[RefusedFix, ...]

    @property
    def count(self) -> int:
        """How many fixes were taken."""
        return sum(len(taken.findings) for taken in self.rounds)

    def rewrite(self, data: bytes) -> bytes:
        """The bytes of the file with all fixes. Raises ValueError where the result is not exactly the text that was compiled."""
        for taken in self.rounds:
            data = rewrite_bytes(data, taken.source, [d.fix for d in taken.findings if d.fix])
        if decode_source(self.after.source.name, data).text != self.after.source.text:
            raise ValueError("the fixes do not fit the file's bytes")
        return data


def autofix(before: Compilation) -> AutofixResult:
    """Takes fixes until none is left that makes the text better.

    One mistake may hide another that has its own sure fix, which then does not count against the first. Should that fix turn
    out not to be takeable, all is done again without such hopes: the text never ends with an error that it did not have.
    """
    hopeful = _mend(before, hope=True)
    if _new_error(before, hopeful.after, hope=False) is None:
        return hopeful
    return _mend(before, hope=False)


def _mend(before: Compilation, hope: bool) -> AutofixResult:
    now = before
    rounds: list[FixRound] = []
    refused: dict[
        tuple[str, str], RefusedFix
    ] = {}  # by rule and title of the fix: one that was refused is not tried again
    for _ in range(ROUNDS):
        wanted = [d for d in now.diagnostics if d.fix and _key(d) not in refused]
        fixes = compatible_fixes(now.source, [d.fix for d in wanted if d.fix])
        wanted = [next(d for d in wanted if d.fix == fix) for fix in fixes]
        taken, after = _better(now, wanted, [], refused, hope)
        if not taken:
            break
        rounds.append(FixRound(now.source, tuple(taken)))
        now = after
    return AutofixResult(before, now, tuple(rounds), tuple(refused.values()))


def _key(d: Diagnostic) -> tuple[str, str]:
    assert d.fix is not None
    return d.code, d.fix.title + (f" in {d.lick}, bar {d.bar}" if d.lick else "")


def _better(
    now: Compilation,
    wanted: list[Diagnostic],
    sure: list[Diagnostic],
    refused: dict[tuple[str, str], RefusedFix],
    hope: bool,
) -> tuple[list[Diagnostic], Compilation]:
    """`sure` and as many of `wanted` as bring no new error; halves are tried where the whole does, so that one bad fix costs few tries."""
    if not wanted:
        return sure, _with(now, sure)
    after = _with(now, sure + wanted)
    because = _new_error(now, after, hope)
    if because is None:
        return sure + wanted, after
    if len(wanted) == 1:
        refused[_key(wanted[0])] = RefusedFix(wanted[0], now.source, because)
        return sure, _with(now, sure)
    middle = len(wanted) // 2
    sure, _ = _better(now, wanted[:middle], sure, refused, hope)
    return _better(now, wanted[middle:], sure, refused, hope)


def _with(now: Compilation, findings: list[Diagnostic]) -> Compilation:
    if not findings:
        return now
    return compile_text(apply_fixes(now.source, [d.fix for d in findings if d.fix]), now.source.name, now.project)


def _new_error(before: Compilation, after: Compilation, hope: bool) -> Diagnostic | None:
    """An error of a kind that there are more of than before, in the lick that has them; with hope, one that has no fix itself."""
    counted = Counter((d.lick, d.code) for d in before.diagnostics if d.severity is Severity.ERROR)
    for d in after.diagnostics:
        if d.severity is Severity.ERROR and not (hope and d.fix):
            counted[d.lick, d.code] -= 1
            if counted[d.lick, d.code] < 0:
                return d
    return None
