"""A build on the screen: what is wrong as it is found, how far it is, and what came of it.

In: the calls of a build (`library/account.py`). Out: text on both streams, and the exit code. Nothing here decides what is built.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from lickwright import report
from lickwright.cli import saving, screen
from lickwright.cli.findings_view import FindingsView, next_commands
from lickwright.cli.near import near
from lickwright.cli.verdict import code_of
from lickwright.diagnostics import Diagnostic
from lickwright.github import commands
from lickwright.library.account import LISTED, Account, Told
from lickwright.library.build_report import SEAL
from lickwright.library.house import House
from lickwright.source import Source

if TYPE_CHECKING:
    pass

FEW = 5  # skipped licks that are named where findings are many
APOLOGIES = 5  # mistakes of ours that are shown: what breaks every file is said often enough


class Screen:
    """Tells a user about one build."""

    def __init__(
        self,
        print: Callable[[str], None] = screen.out,
        everything: bool = False,
        strict: bool = False,
        annotate: bool = False,
    ) -> None:
        """`print` takes what the build came to; what is wrong goes to standard error. `everything`: show all findings in full, however
        many; `strict`: warnings fail too; `annotate`: print findings as they are found, as GitHub's annotations.
        """
        self.code = screen.Exit.FINE
        self.print = print
        self._colour = screen.colour(sys.stderr)
        self._columns = min(screen.columns(sys.stderr, 100), 160)
        self._strict = strict
        self._annotate = annotate
        self._view = FindingsView(self._colour, self._columns, everything)
        self._would = 0  # things that a dry run would do
        self._sorry = 0
        self._skipped: list[str] = []  # one line a lick that was not made

    def say(self, line: str) -> None:
        """One line about the build as a whole."""
        screen.err(report.safe(line) + "\n")

    def would(self, line: str) -> None:
        """One thing that a dry run would do."""
        self._would += 1
        self.print(f"would {report.safe(line)}\n")

    def source(self, told: Told) -> None:
        """What is wrong with one source."""
        self._complain(Source(told.path, told.text), told.findings)
        for trouble in told.troubles:
            self._complain(Source(trouble.path, ""), (trouble.finding,))
        for during, which in told.bugs:
            self.code = max(self.code, screen.Exit.INTERNAL)
            self._sorry += 1
            if self._sorry <= APOLOGIES:
                screen.err(screen.apology(which, during))
        for title, why in told.refused[: LISTED + 1 - len(self._skipped)]:
            self._skipped.append(f'  skipped "{report.safe(title)}" in {report.safe(told.path)}: {why}\n')

    def findings(self, paths: Sequence[str]) -> str:
        """What is wrong with the sources at these paths: in full, or a digest where it is much."""
        return self._view.text(next_commands(self._view, paths))

    def _complain(self, source: Source, found: tuple[Diagnostic, ...]) -> None:
        self.code = max(self.code, code_of(found, self._strict))
        if self._annotate and found:
            screen.out(commands([(near(source), found)]))
        else:
            self._view.add(source, found)

    def house(self, house: House) -> None:
        """What is wrong with a `lickwright.toml`."""
        if not house.ok:
            self.code = max(self.code, screen.Exit.FILE)
        screen.err(report.findings(house.source, house.findings, self._colour, self._columns))

    def progress(self, done: int, total: int, licks: int) -> None:
        """How far the build is."""
        screen.progress.rate(done, total, licks)

    def dry_summary(self, account: Account) -> str:
        """What a dry run would do, in one line."""
        return f"{report.count(self._would, 'thing')} to do, {report.count(account.unchanged, 'source')} unchanged\n"

    def summary(self, account: Account, out: str, library: bool) -> str:
        """`6 files of 2 licks in out`, and what was left out; of a library also how its sources fared."""
        text = f"{report.count(account.files, 'file')} of {report.count(account.licks, 'lick')} in {report.safe(out)}\n"
        named = FEW if self._view.is_digest else LISTED
        text += "".join(self._skipped[:named])
        if account.refused > named:
            text += f"  and {report.count(account.refused - named, 'more lick')} skipped\n"
        if account.unread:
            text += f"  {report.count(account.unread, 'source')} could not be read\n"
        return text + (_of_library(account) if library else "")


class Report:
    """The file that `--report` names, or standard output."""

    def __init__(self, path: str, overwrite: bool, sources: Sequence[str]) -> None:
        self.code = screen.Exit.FINE
        self.printed = path == saving.STDOUT
        self._path = path
        self._overwrite = overwrite
        self._sources = sources

    def refusal(self) -> screen.Exit:
        """Says why it will not be written, before anything is made; FINE if it may be."""
        return saving.refusal(self._path, SEAL, self._overwrite, self._sources)

    def write(self, parts: Iterable[bytes]) -> None:
        """Writes it, and keeps the exit code."""
        self.code = saving.saved(self._path, parts, SEAL, self._overwrite, self._sources)


def shares(account: Account) -> str:
    """`3 sources: 1 made, 2 unchanged; 0.1 s`."""
    parts = {
        "made": account.built,
        "unchanged": account.unchanged,
        "failed": account.failed,
        "left out": account.skipped,
    }
    told = ", ".join(f"{number:,} {word}" for word, number in parts.items() if number) or (
        "nothing was looked at" if account.lost else "nothing to do"
    )
    return f"{report.count(account.found, 'source')}: {told}; {account.seconds:.1f} s"


def _of_library(account: Account) -> str:
    """The sources by what became of them, and the findings by code."""
    text = f"  {shares(account)}\n"
    for path in account.removed[:LISTED]:
        text += f"  removed {report.safe(path)}\n"
    if len(account.removed) > LISTED:
        text += f"  and {report.count(len(account.removed) - LISTED, 'more file')} removed\n"
    for path in account.kept[:LISTED]:
        text += f"  kept {report.safe(path)}: its lick is gone, but it was changed by hand\n"
    if account.gone:
        text += f"  {report.count(account.gone, 'file')} of licks that are gone: --prune takes them away\n"
    return text


def merge(parts: Sequence[str], out: str, overwrite: bool) -> int:
    """Brings the output folders of shards together."""
    from lickwright.library.merge import merge as bring_together
    from lickwright.library.outputs import unwritable

    teller = Screen()
    try:
        merged = bring_together(parts, out, overwrite, teller.say)
    except OSError as e:
        teller.source(Told(out, "", (), troubles=(unwritable(out, e),)))
        screen.err(teller.findings(parts))
        return teller.code
    for trouble in merged.troubles:
        teller.source(Told(trouble.path, "", (), troubles=(trouble,)))
    screen.err(teller.findings(parts))
    files, sources = report.count(merged.files, "file"), report.count(merged.sources, "source")
    screen.out(f"{files} of {sources} in {report.safe(out)}\n")
    return teller.code
