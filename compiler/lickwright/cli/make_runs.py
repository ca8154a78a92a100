"""The ways in which `lickwright make` runs: a build, a watch, and a merge of shares.

In: a `MakeRequest`. Out: what the build says, on both streams, and the exit code. What is built is decided in `build/`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from lickwright.build.build_config import BuildConfig
from lickwright.build.engine import build_library
from lickwright.build.summary import BuildSummary
from lickwright.cli import archive_options, terminal
from lickwright.cli.build_view import BuildView, ReportFile, run_merge
from lickwright.cli.make_request import MakeRequest, Values, library_title, local_name
from lickwright.cli.option_pairs import first_given_except, refuse
from lickwright.cli.project_options import preferred_values
from lickwright.config.discovery import ProjectConfigs
from lickwright.config.name_pattern import Arrangement
from lickwright.report import console
from lickwright.store.addresses import NoAddress

if TYPE_CHECKING:
    from lickwright.cli.archive import Archive
    from lickwright.cli.sheet_book import SheetBook

_OF_MERGE = (
    "merge", "paths", "out", "overwrite", "prune", "strict", "everything", "findings", "dry_run", "report", "jobs",
    "names", "layout",
)  # fmt: skip


class _Files(NamedTuple):
    """The single files that a build writes besides its outputs; None for those that are not wanted."""

    archive: Archive | None
    book: SheetBook | None
    report: ReportFile | None

    def report_obstacle(self) -> terminal.Exit:
        """Show why one of them will not be written, before anything is made; return the exit code, FINE if all may be."""
        wanted = (self.report, self.archive, self.book)
        codes = (output.report_obstacle() for output in wanted if output is not None)
        return next(filter(None, codes), terminal.Exit.FINE)


def run_build(request: MakeRequest) -> int:
    """Build, or watch; return the exit code. Raises UsageError, also for an address that cannot be used at all."""
    archive, book = request.archive(), request.book()
    build = request.build_config()
    files = _Files(archive, book, _report_file(request.params, request.paths))
    if refused := files.report_obstacle():
        return int(refused)
    with terminal.handle_interrupts() as ended, _on_cluster(request.params["cluster"], build) as build:
        try:
            if request.params["watch"]:
                return _watch(request, build, ended)
            return _build_once(request, build, files, ended)
        except NoAddress as e:
            raise click.UsageError(str(e)) from None
        except KeyboardInterrupt:  # before there was anything to tidy up
            terminal.err("stopped\n")
            return ended()


def _build_once(
    request: MakeRequest, build: BuildConfig, files: _Files, ended: Callable[[], terminal.Exit]
) -> terminal.Exit:
    """Build, write the single files, and show what the build came to; return the exit code."""
    report, archive = files.report, files.archive
    build = build._replace(
        report=None if report is None else report.write, archive=None if archive is None else archive.write
    )
    view = _view(request.params, report)
    summary = build_library(build, view)
    if report is not None:
        view.code = max(view.code, report.code)
    code = _end(view, summary, build, request, ended())
    if summary.stopped:
        return code
    code = max(code, _write_book(files.book, request, view, build.dry))
    return code if archive is None else max(code, archive.finish(view.print, build.dry))


def _write_book(book: SheetBook | None, request: MakeRequest, view: BuildView, dry: bool) -> terminal.Exit:
    """Write the book of a build that ended, if there is to be one; return the exit code."""
    if book is None:
        return terminal.Exit.FINE
    if dry:
        view.print(f"would write {console.safe_text(book.path)}\n")
        return terminal.Exit.FINE
    return book.write(request.projects, request.options_by_source(False), view.print)


def _watch(request: MakeRequest, build: BuildConfig, ended: Callable[[], terminal.Exit]) -> int:
    from lickwright.cli.watch import watch

    def next_build() -> BuildConfig:
        fresh = request.read_again().build_config()
        return build._replace(options_of=fresh.options_of, release=fresh.release)

    return watch(next_build, ended, request.params["everything"], request.params["strict"])


def _end(
    view: BuildView, summary: BuildSummary, build: BuildConfig, request: MakeRequest, code: terminal.Exit
) -> terminal.Exit:
    """Show what the build came to; return the exit code, which is `code` for a build that was stopped."""
    _show_findings(view, request)
    told = view.dry_summary if build.dry else view.summary
    view.print(told(summary, build.out, request.is_library))
    if summary.stopped:
        terminal.err("stopped: run the same command to go on from there\n")
        return code
    return view.code


def merge_shares(context: click.Context) -> int:
    """Merge the output folders of shards into one; return the exit code. Raises UsageError for what only a build can do."""
    params = context.params
    if option := first_given_except(_OF_MERGE):
        raise click.UsageError(f"--merge takes over what the shares hold: leave {option} out")
    refuse("-" in params["paths"], "--merge needs the output folders of shares, not standard input")
    paths, out = tuple(map(local_name, params["paths"])), local_name(params["out"])
    report = _report_file(params, paths)
    if report is not None and (refused := report.report_obstacle()):
        return int(refused)

    def arrangement_of(library: str) -> Arrangement | None:
        project = ProjectConfigs().named(library) if library else None
        return archive_options.requested_arrangement(params, preferred_values(context, project))

    def title_of(library: str) -> str:
        return library_title(ProjectConfigs().named(library) if library else None)

    try:
        return run_merge(paths, out, params, _view(params, report), report, arrangement_of, title_of)
    except NoAddress as e:
        raise click.UsageError(str(e)) from None


def _report_file(params: Values, sources: tuple[str, ...]) -> ReportFile | None:
    return None if params["report"] is None else ReportFile(params["report"], params["overwrite"], sources)


def _view(params: Values, report: ReportFile | None = None) -> BuildView:
    """Return the view of a build; its summary goes to standard error if the report is on standard output."""
    print = terminal.err if report is not None and report.printed else terminal.out
    return BuildView(print, params["everything"], params["strict"], params["findings"] == "github")


def _show_findings(view: BuildView, request: MakeRequest) -> None:
    terminal.err(view.findings(request.paths))
    for project in request.projects.all():
        view.project(project)


@contextmanager
def _on_cluster(address: str | None, build: Any) -> Iterator[Any]:
    """Give the build as it is, or with the workers of the cluster at this address. Raises UsageError."""
    if address is None:
        yield build
        return
    from lickwright.build.dask_executor import Cluster, NoCluster

    try:
        with Cluster(address, lambda line: terminal.err(line + "\n"), build.jobs) as cluster:
            cluster.check(build.out)
            yield build._replace(workers=cluster.workers)
    except NoCluster as e:
        raise click.UsageError(str(e)) from None
