"""Findings about many files on one screen: in full if they are few, else causes, errors and counts.

In: findings, file by file. Out: text. What is left out is counted, and the command that shows it is named. Memory is bounded: no text is kept of
a finding that is only counted.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TextIO

from lickwright.cli import terminal
from lickwright.cli.table import truncate
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Severity
from lickwright.core.source import Source
from lickwright.report import console

LINES = 40  # of findings in full; of more there is a digest, which takes fewer lines than these and 20 more
ERRORS, ERROR_LINES = 5, 15  # findings shown in full before the digest, and the lines that they may take
CAUSES = 3  # settings of a lickwright.toml that are named as what many findings go back to
LEAST = 10  # findings that one setting must have caused to be named so
CODES, PLACES, WORST = 14, 3, 10  # rows of the digest, places in a row, files and folders named

_RANK = tuple(Severity)


def findings_columns(stream: TextIO) -> int:
    """Return the columns in which findings are shown on a stream: 100 in a pipe, at most 160."""
    return terminal.columns(stream, 100, most=160)


def show_findings(source: Source, found: Sequence[Diagnostic]) -> None:
    """Print the findings about one text in full on standard error."""
    columns = findings_columns(sys.stderr)
    terminal.err(console.format_findings(source, found, terminal.wants_color(sys.stderr), columns))


class _Code:
    """The counts of one code."""

    def __init__(self, severity: Severity) -> None:
        self.severity = severity
        self.number = 0
        self.files = 0
        self.last = ""  # the file that was counted last


class _Cause:
    """One setting that findings go back to, with their counts."""

    def __init__(self, note: RelatedInformation, columns: int) -> None:
        assert note.source is not None
        place = note.source.position(note.span.start)
        shown, carets = console.source_excerpt(note.source, note.span, columns - 4)
        self.where = f"{console.safe_text(note.source.name)}:{place.line}:{place.column}"
        self.excerpt = f"    {shown}\n    {carets}\n"
        self.message = console.safe_text(note.message)
        self.codes: Counter[str] = Counter()
        self.licks: set[tuple[str, str | None]] = set()


class _First:
    """The first findings of some sources: their text in full, the first errors, and the first places of each code."""

    def __init__(self) -> None:
        self.full: list[str] = []
        self.errors: list[str] = []
        self.places: dict[str, list[str]] = {}


class FindingsView:
    """Collects findings, and shows them once, at the end. Those of unchanged sources come after the others."""

    def __init__(self, colour: bool, columns: int, everything: bool = False) -> None:
        """`everything`: show all in full, however many there are."""
        self._colour, self._columns, self._everything = colour, columns, everything
        self._changed, self._unchanged = _First(), _First()
        self._is_digest = False  # True once there are too many lines
        self._lines = 0
        self._codes: dict[str, _Code] = {}
        self._causes: dict[tuple[str, int], _Cause] = {}
        self._worst_files: Counter[str] = Counter()
        self._worst_folders: Counter[str] = Counter()
        self._sources: set[str] = set()
        self.severities: Counter[Severity] = Counter()
        self._fixes = 0

    @property
    def is_digest(self) -> bool:
        """True if there are too many findings to be shown in full."""
        return self._is_digest

    def add(self, source: Source, found: Sequence[Diagnostic], unchanged: bool = False) -> None:
        """Take the findings about one text; `unchanged`: a build before has shown them already."""
        if not found:
            return
        self._sources.add(source.name)
        self.severities.update(d.severity for d in found)
        first = self._unchanged if unchanged else self._changed
        if not self._is_digest:
            text = console.format_findings(source, found, self._colour, self._columns)
            first.full.append(text)
            self._lines += text.count("\n")
        for d in found:
            self._count(source, d)
            self._keep(first, source, d)
        if self._lines > LINES and len(self._sources) > 1 and not self._everything:
            self._is_digest = True
            self._changed.full, self._unchanged.full = [], []

    def _keep(self, first: _First, source: Source, d: Diagnostic) -> None:
        """Keep the text of the first findings, which a digest shows."""
        places = first.places.setdefault(d.code, [])
        if len(places) < PLACES:
            places.append(console.format_location(source, d))
        if d.severity is Severity.ERROR and len(first.errors) < ERRORS and not self._everything:
            first.errors.append(console.format_finding(source, d, self._colour, self._columns))

    def _count(self, source: Source, d: Diagnostic) -> None:
        code = self._codes.setdefault(d.code, _Code(d.severity))
        code.severity = min(code.severity, d.severity, key=_RANK.index)
        code.number += 1
        code.files += code.last != source.name
        code.last = source.name
        self._fixes += d.fix is not None
        self._worst_files[source.name] += 1
        self._worst_folders[os.path.dirname(source.name)] += 1
        for note in d.notes:
            if note.source is not None:
                key = (note.source.name, note.span.start)
                cause = self._causes.setdefault(key, _Cause(note, self._columns)) if len(self._causes) < 1000 else None
                if cause is not None:
                    cause.codes[d.code] += 1
                    cause.licks.add((source.name, d.lick))

    def text(self, commands: Sequence[tuple[str, str]] = ()) -> str:
        """Return all findings in full, or a digest with what to say next: pairs of a command and what it does."""
        if not self._is_digest:
            return "".join([*self._changed.full, *self._unchanged.full])
        return "".join(self._digest(commands))

    def drained(self) -> str:
        """Return the findings that were added since the last call, in full, of a view of everything."""
        text = self.text()
        self._changed.full, self._unchanged.full = [], []
        return text

    @property
    def fixes(self) -> int:
        """The number of findings that have a fix."""
        return self._fixes

    def _digest(self, commands: Sequence[tuple[str, str]]) -> Iterator[str]:
        yield from self._cause_lines()
        yield from self._errors()
        yield from self._code_lines()
        yield from _listed("worst files", self._worst_files, self._columns)
        if len(self._worst_folders) > 1:
            yield from _listed("worst folders", self._worst_folders, self._columns)
        wide = max((len(command) for command, _ in commands), default=0)
        for command, does in commands:
            yield f"  {command:{wide}}  {does}\n"

    def _errors(self) -> Iterator[str]:
        """Yield the first errors in full, as many as fit, and an empty line after them."""
        left = ERROR_LINES
        for text in [*self._changed.errors, *self._unchanged.errors][:ERRORS]:
            if text.count("\n") <= left:
                left -= text.count("\n")
                yield text
        if left < ERROR_LINES:
            yield "\n"

    def _cause_lines(self) -> Iterator[str]:
        many = [cause for cause in self._causes.values() if cause.codes.total() >= LEAST]
        for cause in sorted(many, key=lambda cause: -cause.codes.total())[:CAUSES]:
            number = console.counted_noun(cause.codes.total(), "finding")
            codes = ", ".join(f"{code} {n:,}" for code, n in cause.codes.most_common(3))
            yield f"{cause.where}: {cause.message}: {number} in {console.counted_noun(len(cause.licks), 'lick')} go back to it ({codes})\n"
            yield cause.excerpt
        if many:
            yield "\n"

    def _code_lines(self) -> Iterator[str]:
        from lickwright.core.kept_rules import kept_rules  # a build with nothing to do loads no stage for it

        rule_names = {rule.code: rule.name for rule in kept_rules()}
        rows = sorted(self._codes.items(), key=lambda one: (_RANK.index(one[1].severity), -one[1].number, one[0]))
        wide = max(len(f"{code.number:,}") for _, code in rows)
        for name, code in rows[:CODES]:
            first = [*self._changed.places.get(name, []), *self._unchanged.places.get(name, [])][:PLACES]
            more = code.number - len(first)
            places = ", ".join(first) + (f" and {more:,} more" if more > 0 else "")
            word = code.severity.word
            line = f"{word:7} {name} {code.number:{wide},}  {rule_names.get(name, '')}: {places}"
            yield truncate(line, self._columns) + "\n"
        if len(rows) > CODES:
            rest = sum(code.number for _, code in rows[CODES:])
            yield f"and {console.counted_noun(len(rows) - CODES, 'more kind')} with {console.counted_noun(rest, 'finding')}\n"


def next_commands(view: FindingsView, paths: Sequence[str]) -> list[tuple[str, str]]:
    """Return what to say next about these paths: pairs of a command and what it does."""
    from shlex import quote

    what = " ".join(quote(console.safe_text(path)) for path in paths[:3])
    commands = [
        (f"lickwright check --all {what}", f"shows all {console.counted_noun(view.severities.total(), 'finding')}")
    ]
    if view.fixes:
        commands.append(
            (f"lickwright check --fix {what}", f"shows how {view.fixes:,} of them can be fixed automatically")
        )
    return commands


def _listed(name: str, counts: Counter[str], columns: int) -> Iterator[str]:
    most = counts.most_common(WORST)
    if len(counts) < 2:
        return
    parts = [f"{console.safe_text(path) or '.'}\0{number:,}" for path, number in most]
    from textwrap import wrap

    lines = wrap(", ".join(parts), max(20, columns - 15), break_long_words=False, break_on_hyphens=False)
    for n, line in enumerate(lines[:5]):
        shown = line.replace("\0", " ")
        yield f"{name if n == 0 else '':13}  {shown}\n"
