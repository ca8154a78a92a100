"""Bad licks: every finding is claimed on its line, every claim is met, and the report reads as it did.

A file of `tests/bad` says on each line what is wrong there: `# error: L301, warning: L203`. Beside it lies the report
that a user sees. After a wanted change of words, `python tests/test_bad.py` writes the reports anew: read them before
they are committed.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from lickwright import checks, compile_text
from lickwright.compiler.compilation import Compilation
from lickwright.report.console import format_findings

BAD = Path(__file__).parent / "bad"
FILES = sorted(BAD.rglob("*.lick"))
CLAIM = re.compile(r"\b(error|warning|info): (L[1-7][0-9]{2})\b")


def compiled(path: Path) -> Compilation:
    return compile_text(path.read_text("utf-8"), path.name)


def claimed(path: Path) -> Counter[tuple[int, str, str]]:
    lines = path.read_text("utf-8").splitlines()
    return Counter(
        (number, *claim) for number, line in enumerate(lines, 1) for claim in CLAIM.findall(line.partition("# ")[2])
    )


def met(path: Path) -> Counter[tuple[int, str, str]]:
    compilation = compiled(path)
    return Counter(
        (compilation.source.position(d.span.start).line, d.severity.value, d.code) for d in compilation.diagnostics
    )


def report(path: Path) -> str:
    compilation = compiled(path)
    return format_findings(compilation.source, compilation.diagnostics)


def beside(path: Path) -> Path:
    return path.with_suffix(".report.txt")


def test_there_are_bad_licks() -> None:
    assert FILES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_all_claimed_all_met(path: Path) -> None:
    assert claimed(path)
    assert met(path) - claimed(path) == Counter(), "found, but not claimed"
    assert claimed(path) - met(path) == Counter(), "claimed, but not found"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_report_reads_as_it_did(path: Path) -> None:
    assert report(path) == beside(path).read_text("utf-8")


def test_no_report_without_its_lick() -> None:
    assert sorted(BAD.rglob("*.report.txt")) == sorted(map(beside, FILES))


def test_every_rule_of_the_checks_has_a_bad_lick() -> None:
    shown = {code for path in FILES for _, _, code in claimed(path)}
    assert {rule.code for rule in checks.RULES} <= shown


if __name__ == "__main__":
    for one in FILES:
        beside(one).write_text(report(one), "utf-8")
