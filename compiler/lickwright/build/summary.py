"""Counts the results of a build, and passes them to an observer.

In: sources as they are done, in any order. Out: counts that add up, and calls of a `BuildObserver` in the order of the scan, whatever the order in which
workers were ready. Draws nothing: the screen is `cli/`'s.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple, Protocol

from lickwright.build.remembered import Remembered
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.files import NO_LICKS, NOT_TEXT, SKIPPED, UNREADABLE, UNWRITABLE
from lickwright.core.unreadable import Unreadable
from lickwright.export import Length
from lickwright.store import diagnostics_json
from lickwright.store.guarded_database import Unusable
from lickwright.store.sources import read_source
from lickwright.store.types import CompileOptions, PathDiagnostic, SkippedLick, WorkResult

if TYPE_CHECKING:
    from lickwright.store.build_speed import Estimate

_UNREAD = (UNREADABLE.code, NOT_TEXT.code, NO_LICKS.code)
LISTED = 20  # sources and licks that a summary names; the rest is counted


class SourceReport(NamedTuple):
    """What there is to say about one source."""

    path: str
    text: str  # of the source, where there are findings
    findings: tuple[Diagnostic, ...]
    refused: tuple[SkippedLick, ...] = ()  # licks that were not made
    troubles: tuple[PathDiagnostic, ...] = ()
    bugs: tuple[tuple[str, str], ...] = ()  # mistakes of ours: during what, which
    unchanged: bool = False  # as the build before has found it


class BuildObserver(Protocol):
    """Receives the events of a build, such as the terminal view or a test."""

    def say(self, line: str) -> None:
        """Show one line about the build as a whole."""

    def would(self, line: str) -> None:
        """Show one action that the real run would take (dry runs only)."""

    def source(self, told: SourceReport) -> None:
        """Show the result of one source."""

    def progress(self, done: int, total: int, licks: int) -> None:
        """Show progress: sources done, sources in all, licks made."""


class BuildSummary:
    """The counts of one build. `found` is the sum of the four below it."""

    def __init__(self, observer: BuildObserver) -> None:
        self.found = 0  # sources that were meant, those of other shards too
        self.built = 0
        self.unchanged = 0
        self.failed = 0  # with an error in them, or not written; the licks without errors were still made
        self.skipped = 0  # another shard's, or not come to before the build was stopped
        self.licks = 0  # whose outputs stand in their place
        self.refused = 0  # licks that were not made
        self.files = 0  # outputs that stand in their place
        self.written = 0  # those of them that are new or changed
        self.size = 0  # bytes of these
        self.estimate: Estimate | None = None  # of a dry run: how long the real one would take
        self.sound = 0.0  # seconds of recordings that were made
        self.gone = 0  # outputs of licks that are no more, still there
        self.older = 0  # outputs of licks that were skipped, made of an earlier version and still there
        self.unread_older = 0  # outputs of sources that could not be read
        self.removed: list[str] = []  # outputs of licks that are gone or were skipped that `--prune` took away
        self.kept: list[str] = []  # those that it did not, since they were changed by hand
        self.release: list[str] = []  # messages about the release in the output folder
        self.unread = 0  # sources that could not be read
        self.codes: Counter[str] = Counter()  # findings
        self.bad: list[tuple[str, str]] = []  # the first sources that failed, and the codes of their errors
        self.lost: list[PathDiagnostic] = []  # what went wrong with the output folder as a whole
        self.blocked = 0  # sources among the failed that were not looked at, since their lickwright.toml has errors
        self.stopped = False
        self._began = time.monotonic()
        self._observer = observer
        self._troubled: set[str] = set()  # paths of outputs that a message was shown for
        self._waiting: dict[int, list[SourceReport]] = {}  # by chunk: ready before its turn
        self._turn = 0

    def remember(self, one: Remembered, compile_options: CompileOptions, report: bool) -> tuple[str, str]:
        """Count an unchanged source with findings; return its state, and its findings for the report. Raises `Unusable`."""
        found = diagnostics_json.diagnostics_from_json(
            one.findings, compile_options.project.source if compile_options.project else None
        )
        if found is None:
            raise Unusable("it is damaged")
        bad = has_errors(found)
        self.failed += bad
        self.unchanged -= bad  # it was counted as unchanged before its findings were read
        self.refused += len(one.refused)
        try:
            text = read_source(one.path).decode("utf-8", "replace") if found else ""
        except Unreadable:  # it was there a moment ago
            text = ""
        told = SourceReport(one.path, text, found, one.refused, unchanged=True)
        self._tell(told)
        return "failed" if bad else "unchanged", _for_report(told) if report else ""

    def trouble(self, path: str, findings: str) -> None:
        """Count something that is no source, such as a folder that cannot be read."""
        self.failed += 1
        self._tell(SourceReport(path, "", diagnostics_json.diagnostics_from_json(findings, None) or ()))

    def chunk(
        self, number: int, results: Sequence[tuple[str, WorkResult, CompileOptions]], report: bool
    ) -> list[tuple[str, str]]:
        """Count sources that were worked on together; return the state of each, and its findings for the report.

        Chunks are numbered from 0 without a gap, and passed on in that order.
        """
        states = []
        tell = []
        for path, result, compile_options in results:
            project = compile_options.project.source if compile_options.project else None
            found = diagnostics_json.diagnostics_from_json(result.findings, project) or ()
            told = SourceReport(path, result.text, found, result.refused, result.troubles, result.bugs)
            bad = not result.done or has_errors(found)
            self._count_result(result, bad)
            some = any((found, result.refused, result.troubles, result.bugs))
            states.append(("failed" if bad else "built", _for_report(told) if report and some else ""))
            if some:
                tell.append(told)
        self._waiting[number] = tell
        while self._turn in self._waiting:
            for told in self._waiting.pop(self._turn):
                self._tell(told)
            self._turn += 1
        return states

    def _count_result(self, result: WorkResult, bad: bool) -> None:
        self.failed += bad
        self.built += not bad
        self.licks += result.made
        self.refused += len(result.refused)
        self.files += len(result.outputs)
        self.written += result.written
        self.size += result.size

    def pruned(self, removed: list[str], kept: list[str], troubles: list[PathDiagnostic]) -> None:
        """Count outputs whose licks are gone: removed, kept since they were changed by hand, and those that could not be removed."""
        self.removed, self.kept = removed, kept
        for trouble in troubles:
            self._tell(SourceReport(trouble.path, "", (), troubles=(trouble,)))

    def left_out(self, troubles: Sequence[PathDiagnostic]) -> None:
        """Tell files that did not go into a release, once each."""
        for trouble in (one for one in troubles if one.path not in self._troubled):
            self._tell(SourceReport(trouble.path, "", (), troubles=(trouble,)))

    def begins(self, name: str, length: Length) -> None:
        """Count a recording that is begun, and announce a long one."""
        self.sound += length.seconds
        if length.is_long:
            self._observer.say(f"{name}: {length}")

    def fail_build(self, trouble: PathDiagnostic) -> None:
        """Note that the output folder as a whole cannot be written into: nothing more is done."""
        self.lost.append(trouble)
        self.skipped = self.found - self.built - self.unchanged - self.failed
        self._tell(SourceReport(trouble.path, "", (), troubles=(trouble,)))

    def stop(self) -> None:
        """Note that the build was stopped, and pass on the results that still waited for their turn."""
        self.stopped = True
        self.skipped = self.found - self.built - self.unchanged - self.failed
        for number in sorted(self._waiting):
            for told in self._waiting.pop(number):
                self._tell(told)

    @property
    def incomplete(self) -> bool:
        """True if something that a release should hold could not be read or made, other than by a lick's own errors."""
        rules = (UNREADABLE, UNWRITABLE, SKIPPED)
        return bool(self.unread or self.lost or self.blocked or any(self.codes[rule.code] for rule in rules))

    @property
    def seconds(self) -> float:
        """Seconds since the build began."""
        return time.monotonic() - self._began

    def _tell(self, told: SourceReport) -> None:
        self._count(told)
        self._troubled.update(trouble.path for trouble in told.troubles)
        self._observer.source(told)

    def _count(self, told: SourceReport) -> None:
        found = [*told.findings, *(trouble.finding for trouble in told.troubles)]
        self.codes.update(d.code for d in found)
        self.unread += any(d.code in _UNREAD for d in told.findings)
        errors = [d.code for d in found if d.severity == "error"]
        if (errors or told.bugs) and len(self.bad) < LISTED:
            self.bad.append((told.path, ", ".join(dict.fromkeys(errors)) or "a mistake of lickwright's own"))


def _for_report(told: SourceReport) -> str:
    """Return the findings of a source as JSON, those about its outputs included."""
    from json import dumps

    from lickwright.core.source import Source
    from lickwright.report.console import findings_json

    values = findings_json(Source(told.path, told.text), told.findings)
    for trouble in told.troubles:
        (value,) = findings_json(Source(trouble.path, ""), [trouble.finding])
        values.append({**value, "output": trouble.path})
    for during, which in told.bugs:
        values.append(
            {"code": None, "severity": "error", "message": f"a mistake of lickwright's own: {which}", "lick": during}
        )
    return dumps(values)
