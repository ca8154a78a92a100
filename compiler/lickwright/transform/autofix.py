"""Applying the fixes of findings to a source, in rounds, as long as they make it better.

In: a compilation. Out: the fixes that were taken, the text with them and its compilation. A fix that would bring an error of a kind
that was not there as often before is left out, and reported with that error. Nothing is written here.
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from lickwright.compiler import Compilation, compile_text
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.fast_dataclass import record
from lickwright.core.source import Source, decode_source
from lickwright.core.text_edits import apply_fixes, compatible_fixes, rewrite_bytes

ROUNDS = 20  # a fix may uncover the next; the number is an estimate


class RefusedFix(NamedTuple):
    """A fix that was not taken."""

    finding: Diagnostic  # the finding whose fix it is
    source: Source  # the text that the finding is about
    because: Diagnostic  # an error that it would bring


class FixRound(NamedTuple):
    """The fixes that go into one text at once."""

    source: Source
    findings: tuple[Diagnostic, ...]


@record
class AutofixResult:
    """A source before and after its fixes, with what was taken and what was refused."""

    before: Compilation
    after: Compilation  # of the text with the fixes; `before` itself where there were none
    rounds: tuple[FixRound, ...]
    refused: tuple[RefusedFix, ...]

    @property
    def count(self) -> int:
        """The number of fixes that were taken."""
        return sum(len(taken.findings) for taken in self.rounds)

    def rewrite(self, data: bytes) -> bytes:
        """Return the bytes of a file with all fixes. Raises `ValueError` where the result is not exactly the text that was compiled."""
        for taken in self.rounds:
            data = rewrite_bytes(data, taken.source, [d.fix for d in taken.findings if d.fix])
        if decode_source(self.after.source.name, data).text != self.after.source.text:
            raise ValueError("the fixes do not fit the file's bytes")
        return data


def autofix(before: Compilation) -> AutofixResult:
    """Take fixes until none is left that makes the text better.

    One mistake may hide another that has its own sure fix; such an error does not count against the first fix. Where the second fix
    turns out not to be possible, everything is done again without that allowance: the text never ends with an error that it did not have.
    """
    lenient = _in_rounds(before, allow_fixable=True)
    if _new_error(before, lenient.after, allow_fixable=False) is None:
        return lenient
    return _in_rounds(before, allow_fixable=False)


def _in_rounds(before: Compilation, allow_fixable: bool) -> AutofixResult:
    now = before
    rounds: list[FixRound] = []
    refused: dict[tuple[str, str], RefusedFix] = {}  # by rule and title of the fix: none is tried again
    for _ in range(ROUNDS):
        wanted = [d for d in now.diagnostics if d.fix and _key(d) not in refused]
        fixes = compatible_fixes(now.source, [d.fix for d in wanted if d.fix])
        wanted = [next(d for d in wanted if d.fix == fix) for fix in fixes]
        taken, after = _better(now, wanted, [], refused, allow_fixable)
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
    allow_fixable: bool,
) -> tuple[list[Diagnostic], Compilation]:
    """Return `sure` and as many of `wanted` as bring no new error, and the compilation with them.

    Where all together bring one, each half is tried, so that one bad fix costs few compilations.
    """
    if not wanted:
        return sure, _with(now, sure)
    after = _with(now, sure + wanted)
    because = _new_error(now, after, allow_fixable)
    if because is None:
        return sure + wanted, after
    if len(wanted) == 1:
        refused[_key(wanted[0])] = RefusedFix(wanted[0], now.source, because)
        return sure, _with(now, sure)
    middle = len(wanted) // 2
    sure, _ = _better(now, wanted[:middle], sure, refused, allow_fixable)
    return _better(now, wanted[middle:], sure, refused, allow_fixable)


def _with(now: Compilation, findings: list[Diagnostic]) -> Compilation:
    if not findings:
        return now
    return compile_text(apply_fixes(now.source, [d.fix for d in findings if d.fix]), now.source.name, now.project)


def _new_error(before: Compilation, after: Compilation, allow_fixable: bool) -> Diagnostic | None:
    """Return an error of a kind that its lick has more of than before; with `allow_fixable`, only one that has no fix itself."""
    counted = Counter((d.lick, d.code) for d in before.diagnostics if d.severity is Severity.ERROR)
    for d in after.diagnostics:
        if d.severity is Severity.ERROR and not (allow_fixable and d.fix):
            counted[d.lick, d.code] -= 1
            if counted[d.lick, d.code] < 0:
                return d
    return None
