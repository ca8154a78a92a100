"""A build on the screen: findings as they are found, progress, and what the build came to.

In: the calls of a build (`build/summary.py`). Out: text on both streams, and the exit code. Nothing here decides what is built.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from lickwright.build.report import SEAL
from lickwright.build.summary import LISTED, BuildSummary, SourceReport
from lickwright.cli import single_output, terminal
from lickwright.cli.exit_code import exit_code
from lickwright.cli.findings_view import FindingsView, next_commands
from lickwright.cli.report_paths import report_path
from lickwright.config.project_config import ProjectConfig
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source
from lickwright.export import duration_in_words
from lickwright.report import console
from lickwright.report.annotations import annotation_commands

if TYPE_CHECKING:
    from lickwright.config.name_pattern import Arrangement
    from lickwright.store.build_speed import Estimate
    from lickwright.store.types import SkippedLick

FEW = 5  # skipped licks that are named where findings are many
APOLOGIES = 5  # bugs of ours that are shown, since one may break every file


class BuildView:
    """Shows one build to a user."""

    def __init__(
        self,
        print: Callable[[str], None] = terminal.out,
        everything: bool = False,
        strict: bool = False,
        annotate: bool = False,
    ) -> None:
        """`print` takes what the build came to; findings go to standard error. `everything`: show all findings in full, however
        many; `strict`: warnings fail too; `annotate`: print findings as they are found, as GitHub's annotations.
        """
        self.code = terminal.Exit.FINE
        self.print = print
        self._colour = terminal.wants_color(sys.stderr)
        self._columns = min(terminal.columns(sys.stderr, 100), 160)
        self._strict = strict
        self._annotate = annotate
        self._view = FindingsView(self._colour, self._columns, everything)
        self._everything = everything
        self._would: Counter[str] = Counter()  # things that a dry run would do, by their verb
        self._sorry = 0
        self._skipped: list[tuple[str, SkippedLick]] = []  # licks that were not made, with their source

    def say(self, line: str) -> None:
        """Show one line about the build as a whole."""
        terminal.err(console.safe_text(line) + "\n")

    def would(self, line: str) -> None:
        """Show one thing that a dry run would do."""
        kind = line.partition(" ")[0]
        self._would[kind] += 1
        if self._everything or self._would[kind] <= LISTED:
            self.print(f"would {console.safe_text(line)}\n")

    def source(self, report: SourceReport) -> None:
        """Take what is wrong with one source, and keep the exit code."""
        self._complain(Source(report.path, report.text), report.findings, report.unchanged)
        for trouble in report.troubles:
            self._complain(Source(trouble.path, ""), (trouble.finding,))
        for during, which in report.bugs:
            self.code = max(self.code, terminal.Exit.INTERNAL)
            self._sorry += 1
            if self._sorry <= APOLOGIES:
                terminal.err(terminal.apology(which, during))
        room = LISTED + 1 - len(self._skipped)
        self._skipped += [(report.path, one) for one in report.refused[:room]]

    def findings(self, paths: Sequence[str]) -> str:
        """Return the findings about the sources at these paths: in full, or a digest if they are many."""
        return self._view.text(next_commands(self._view, paths))

    def _complain(self, source: Source, found: tuple[Diagnostic, ...], unchanged: bool = False) -> None:
        self.code = max(self.code, exit_code(found, self._strict))
        if self._annotate and found:
            terminal.out(annotation_commands([(report_path(source), found)]))
        else:
            self._view.add(source, found, unchanged)

    def project(self, project: ProjectConfig) -> None:
        """Show what is wrong with a `lickwright.toml`, and keep the exit code."""
        if not project.ok:
            self.code = max(self.code, terminal.Exit.FILE_ERRORS)
        terminal.err(console.format_findings(project.source, project.findings, self._colour, self._columns))

    def progress(self, done: int, total: int, licks: int) -> None:
        """Show how far the build is."""
        terminal.progress.rate(done, total, licks)

    def dry_summary(self, summary: BuildSummary, out: str, library: bool) -> str:
        """Return what the real run would do: files, bytes and time, and what it would leave out; of a library also the counts of its sources."""
        text = ""
        for kind, number in self._would.items():
            if number > LISTED and not self._everything:
                text += f"would {kind} {number - LISTED:,} more: --all names them\n"
        written = f"{console.counted_noun(summary.written, 'file')} into {console.safe_text(out)}"
        if summary.written:
            size = f"{'about ' if summary.sound else ''}{console.format_bytes(summary.size)}"
            sound = f", {duration_in_words(summary.sound)} of sound" if summary.sound else ""
            text += f"would write {written}: {size}{sound}; {_expected(summary.estimate)}\n"
        else:
            text += f"would write {written}\n"
        return text + self._left_out(summary, library, True)

    def summary(self, summary: BuildSummary, out: str, library: bool) -> str:
        """Return `6 files of 2 licks in out`, and what was left out; of a library also the counts of its sources."""
        text = f"{console.counted_noun(summary.files, 'file')} of {console.counted_noun(summary.licks, 'lick')} in {console.safe_text(out)}\n"
        return text + self._left_out(summary, library, False)

    def _left_out(self, summary: BuildSummary, library: bool, dry: bool) -> str:
        text = ""
        named = FEW if self._view.is_digest else LISTED
        text += "".join(_skipped(path, one, summary.older > 0) for path, one in self._skipped[:named])
        if summary.refused > named:
            text += f"  and {console.counted_noun(summary.refused - named, 'more lick')} skipped\n"
        if summary.unread:
            older = f"; {_still_there(summary.unread_older, summary.unread)}" if summary.unread_older else ""
            text += f"  {console.counted_noun(summary.unread, 'source')} could not be read{older}\n"
        return text + (f"  {source_counts(summary, dry)}\n" if library else "") + _left(summary)


class ReportFile:
    """The file that `--report` names, or standard output."""

    def __init__(self, path: str, overwrite: bool, sources: Sequence[str]) -> None:
        self.code = terminal.Exit.FINE
        self.printed = path == single_output.STDOUT
        self._path = path
        self._overwrite = overwrite
        self._sources = sources

    def report_obstacle(self) -> terminal.Exit:
        """Show why the report will not be written, before anything is made; return the exit code, FINE if it may be."""
        return single_output.report_obstacle(self._path, SEAL, self._overwrite, self._sources)

    def write(self, parts: Iterable[bytes]) -> None:
        """Write the report, and keep the exit code."""
        self.code = single_output.save_output(self._path, parts, SEAL, self._overwrite, self._sources)


def _expected(estimate: Estimate | None) -> str:
    """`about 20 seconds, as fast as the last build here`."""
    if estimate is None:
        return "it would take no time"
    time = "about a second" if estimate.seconds < 1.5 else f"about {duration_in_words(estimate.seconds)}"
    return (
        f"{time}, as fast as the last build here"
        if estimate.measured
        else f"{time}, at a guess: nothing was made here before"
    )


def source_counts(summary: BuildSummary, dry: bool = False) -> str:
    """Return `3 sources: 1 made, 2 unchanged; 0.1 s`; `dry`: what would become of them."""
    parts = {
        "to make" if dry else "made": summary.built,
        "unchanged": summary.unchanged,
        "failing" if dry else "failed": summary.failed,
        "left out": summary.skipped,
    }
    told = ", ".join(f"{number:,} {word}" for word, number in parts.items() if number) or (
        "nothing was looked at" if summary.lost else "nothing to do"
    )
    return f"{console.counted_noun(summary.found, 'source')}: {told}; {summary.seconds:.1f} s"


def _skipped(path: str, one: SkippedLick, left: bool) -> str:
    """Return the line about a lick that was not made; `left`: older files of skipped licks are still there."""
    older = f"; {_still_there(one.older)}" if left and one.older else ""
    return f'  skipped "{console.safe_text(one.title)}" in {console.safe_text(path)}: {one.why}{older}\n'


def _still_there(files: int, owners: int = 1) -> str:
    """`3 older files of it are still there`."""
    return f"{console.counted_noun(files, 'older file')} of {'it' if owners == 1 else 'them'} {'is' if files == 1 else 'are'} still there"


def _left(summary: BuildSummary) -> str:
    """Return lines about files that no lick answers for, and about those that were removed for it."""
    text = ""
    for line in summary.release[: LISTED + 1]:
        text += f"  {console.safe_text(line)}\n"
    for path in summary.removed[:LISTED]:
        text += f"  removed {console.safe_text(path)}\n"
    if len(summary.removed) > LISTED:
        text += f"  and {console.counted_noun(len(summary.removed) - LISTED, 'more file')} removed\n"
    for path in summary.kept[:LISTED]:
        text += f"  kept {console.safe_text(path)}: its lick is gone or was skipped, but it was changed by hand\n"
    if summary.gone:
        text += f"  {console.counted_noun(summary.gone, 'file')} of licks that are gone: --prune takes them away\n"
    if summary.older:
        text += f"  {console.counted_noun(summary.older, 'older file')} of licks that were skipped: --prune takes them away\n"
    return text


def run_merge(
    folders: Sequence[str],
    out: str,
    options: Mapping[str, Any],
    view: BuildView,
    reported: ReportFile | None,
    arrangement_of: Callable[[str], Arrangement | None],
    title_of: Callable[[str], str],
) -> int:
    """Merge the output folders of shards; return the exit code.

    `arrangement_of` and `title_of` tell how the release of a library at a path is arranged, and what the library is called.

    Raises UsageError for folders that are not all the shares of one build, `NoAddress` for an address that cannot be used.
    """
    from lickwright.build.merge import MergeConfig, merge_shards
    from lickwright.build.shares import UnfitShares, library_path, load_shares
    from lickwright.store.output_writer import unwritable_trouble

    try:
        parts, troubles = load_shares(folders, out)
    except UnfitShares as e:
        raise click.UsageError(f"{e}: {e.hint}") from None
    if troubles:
        view.source(SourceReport(out, "", (), troubles=tuple(troubles)))
        terminal.err(view.findings(folders) + "nothing was brought together\n")
        return view.code
    report = None if reported is None else reported.write
    library = library_path(parts[0])
    release, title = arrangement_of(library), title_of(library)
    config = MergeConfig(parts, out, options["overwrite"], options["prune"], options["dry_run"], report, release, title)
    try:
        summary = merge_shards(config, view)
    except OSError as e:
        view.source(SourceReport(out, "", (), troubles=(unwritable_trouble(out, e),)))
        terminal.err(view.findings(folders))
        return view.code
    terminal.err(view.findings(folders))
    view.print(view.dry_summary(summary, out, True) if config.dry else view.summary(summary, out, True))
    return max(view.code, reported.code if reported is not None else terminal.Exit.FINE)
