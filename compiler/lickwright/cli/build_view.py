"""A build on the screen: what is wrong as it is found, how far it is, and what came of it.

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
    from lickwright.store.types import Skipped

FEW = 5  # skipped licks that are named where findings are many
APOLOGIES = 5  # mistakes of ours that are shown: what breaks every file is said often enough


class BuildView:
    """Tells a user about one build."""

    def __init__(
        self,
        print: Callable[[str], None] = terminal.out,
        everything: bool = False,
        strict: bool = False,
        annotate: bool = False,
    ) -> None:
        """`print` takes what the build came to; what is wrong goes to standard error. `everything`: show all findings in full, however
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
        self._skipped: list[tuple[str, Skipped]] = []  # licks that were not made, with their source

    def say(self, line: str) -> None:
        """One line about the build as a whole."""
        terminal.err(console.safe_text(line) + "\n")

    def would(self, line: str) -> None:
        """One thing that a dry run would do."""
        kind = line.partition(" ")[0]
        self._would[kind] += 1
        if self._everything or self._would[kind] <= LISTED:
            self.print(f"would {console.safe_text(line)}\n")

    def source(self, told: SourceReport) -> None:
        """What is wrong with one source."""
        self._complain(Source(told.path, told.text), told.findings, told.unchanged)
        for trouble in told.troubles:
            self._complain(Source(trouble.path, ""), (trouble.finding,))
        for during, which in told.bugs:
            self.code = max(self.code, terminal.Exit.INTERNAL)
            self._sorry += 1
            if self._sorry <= APOLOGIES:
                terminal.err(terminal.apology(which, during))
        room = LISTED + 1 - len(self._skipped)
        self._skipped += [(told.path, one) for one in told.refused[:room]]

    def findings(self, paths: Sequence[str]) -> str:
        """What is wrong with the sources at these paths: in full, or a digest where it is much."""
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
            self.code = max(self.code, terminal.Exit.FILE)
        terminal.err(console.format_findings(project.source, project.findings, self._colour, self._columns))

    def progress(self, done: int, total: int, licks: int) -> None:
        """How far the build is."""
        terminal.progress.rate(done, total, licks)

    def dry_summary(self, account: BuildSummary, out: str, library: bool) -> str:
        """What the real run would do: files, bytes and time; what it would leave out; of a library also how its sources would fare."""
        text = ""
        for kind, number in self._would.items():
            if number > LISTED and not self._everything:
                text += f"would {kind} {number - LISTED:,} more: --all names them\n"
        written = f"{console.counted_noun(account.written, 'file')} into {console.safe_text(out)}"
        if account.written:
            size = f"{'about ' if account.sound else ''}{console.format_bytes(account.size)}"
            sound = f", {duration_in_words(account.sound)} of sound" if account.sound else ""
            text += f"would write {written}: {size}{sound}; {_expected(account.estimate)}\n"
        else:
            text += f"would write {written}\n"
        return text + self._left_out(account, library, True)

    def summary(self, account: BuildSummary, out: str, library: bool) -> str:
        """`6 files of 2 licks in out`, and what was left out; of a library also how its sources fared."""
        text = f"{console.counted_noun(account.files, 'file')} of {console.counted_noun(account.licks, 'lick')} in {console.safe_text(out)}\n"
        return text + self._left_out(account, library, False)

    def _left_out(self, account: BuildSummary, library: bool, dry: bool) -> str:
        text = ""
        named = FEW if self._view.is_digest else LISTED
        text += "".join(_skipped(path, one, account.older > 0) for path, one in self._skipped[:named])
        if account.refused > named:
            text += f"  and {console.counted_noun(account.refused - named, 'more lick')} skipped\n"
        if account.unread:
            older = f"; {_still_there(account.unread_older, account.unread)}" if account.unread_older else ""
            text += f"  {console.counted_noun(account.unread, 'source')} could not be read{older}\n"
        return text + (f"  {source_counts(account, dry)}\n" if library else "") + _left(account)


class ReportFile:
    """The file that `--report` names, or standard output."""

    def __init__(self, path: str, overwrite: bool, sources: Sequence[str]) -> None:
        self.code = terminal.Exit.FINE
        self.printed = path == single_output.STDOUT
        self._path = path
        self._overwrite = overwrite
        self._sources = sources

    def report_obstacle(self) -> terminal.Exit:
        """Says why it will not be written, before anything is made; FINE if it may be."""
        return single_output.report_obstacle(self._path, SEAL, self._overwrite, self._sources)

    def write(self, parts: Iterable[bytes]) -> None:
        """Writes it, and keeps the exit code."""
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


def source_counts(account: BuildSummary, dry: bool = False) -> str:
    """`3 sources: 1 made, 2 unchanged; 0.1 s`; `dry`: what would become of them."""
    parts = {
        "to make" if dry else "made": account.built,
        "unchanged": account.unchanged,
        "failing" if dry else "failed": account.failed,
        "left out": account.skipped,
    }
    told = ", ".join(f"{number:,} {word}" for word, number in parts.items() if number) or (
        "nothing was looked at" if account.lost else "nothing to do"
    )
    return f"{console.counted_noun(account.found, 'source')}: {told}; {account.seconds:.1f} s"


def _skipped(path: str, one: Skipped, left: bool) -> str:
    """The line about a lick that was not made; `left`: older files of skipped licks are still there."""
    older = f"; {_still_there(one.older)}" if left and one.older else ""
    return f'  skipped "{console.safe_text(one.title)}" in {console.safe_text(path)}: {one.why}{older}\n'


def _still_there(files: int, owners: int = 1) -> str:
    """`3 older files of it are still there`."""
    return f"{console.counted_noun(files, 'older file')} of {'it' if owners == 1 else 'them'} {'is' if files == 1 else 'are'} still there"


def _left(account: BuildSummary) -> str:
    """What stands in the output folder that no lick answers for, or was taken away since none does."""
    text = ""
    for line in account.release[: LISTED + 1]:
        text += f"  {console.safe_text(line)}\n"
    for path in account.removed[:LISTED]:
        text += f"  removed {console.safe_text(path)}\n"
    if len(account.removed) > LISTED:
        text += f"  and {console.counted_noun(len(account.removed) - LISTED, 'more file')} removed\n"
    for path in account.kept[:LISTED]:
        text += f"  kept {console.safe_text(path)}: its lick is gone or was skipped, but it was changed by hand\n"
    if account.gone:
        text += f"  {console.counted_noun(account.gone, 'file')} of licks that are gone: --prune takes them away\n"
    if account.older:
        text += f"  {console.counted_noun(account.older, 'older file')} of licks that were skipped: --prune takes them away\n"
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
