"""`lickwright make`: every output of every lick, into a tree like that of the sources."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from lickwright.cli import archive_options, audio_options, option_types, terminal
from lickwright.cli.option_pairs import given, given_but
from lickwright.export import EXPORTS, ExportFormat, Options, Recording, option_parsing

if TYPE_CHECKING:
    from lickwright.build.engine import BuildConfig
    from lickwright.build.planner import Share
    from lickwright.build.summary import BuildSummary
    from lickwright.cli.build_view import Screen
    from lickwright.config.discovery import ProjectConfigs
    from lickwright.store.types import CompileOptions

_HELP = f"""Write text tab, MIDI and timing sheet of every lick.

PATH is a .lick file, a folder of them, or - for standard input. The files of
songs/blues.lick go to OUT/blues/, named after their licks: porch-light.mid.
Of a folder the tree below it is kept: with songs, those of
songs/slow/blues.lick go to OUT/slow/blues/.

Only what changed is made again. A lick with errors is skipped, the others are
made. A file that is not Lickwright's own, or that you changed by hand, is
never overwritten unless you say --overwrite.

\b
Formats for --to:
{chr(10).join(f"  {row.name:12} {row.summary}" for row in EXPORTS)}
"""


def _share(context: click.Context, parameter: click.Parameter, value: str | None) -> Share | None:
    """`2/8`: the second of eight shares."""
    from lickwright.build.planner import Share

    if value is None:
        return None
    number, _, of = value.partition("/")
    if not (number.isascii() and number.isdigit() and of.isascii() and of.isdigit() and len(value) < 12):
        raise click.BadParameter("write the share and how many there are: 2/8")
    if not 1 <= int(number) <= int(of):
        raise click.BadParameter(f"there is no share {int(number)} of {int(of)}")
    return Share(int(number), int(of))


class _Make(click.Command):
    """Takes `--format github`, as `lickwright check` has it, for `--findings github`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        words: list[str] = []
        for word in args:
            if word == "--format=github" or (word == "github" and words[-1:] == ["--format"]):
                words = [*words[:-1], "--findings", "github"] if word == "github" else [*words, "--findings=github"]
            else:
                words.append(word)
        return super().parse_args(ctx, words)


@click.command(cls=_Make, short_help="Write text tab, MIDI, timing sheet.", help=_HELP)
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@click.option(
    "--to",
    "rows",
    default=option_types.DEFAULT_FORMATS,
    show_default=True,
    callback=option_types.formats_option,
    metavar="LIST",
    help="Formats, separated by commas.",
)
@click.option("--out", default="out", show_default=True, metavar="DIR", help="The folder to write into.")
@click.option(
    "--tempo",
    callback=option_types.tempo_option,
    metavar="TEMPO",
    help="For practice: 60% of the written tempo, or 72 beats a minute.",
)
@click.option(
    "--width", type=click.IntRange(*option_parsing.WIDTHS), default=80, show_default=True, help="Columns of a text tab."
)
@click.option(
    "--chord-tones/--no-chord-tones", help="In a text tab, say over each note what it is in its chord: 1, b3, 5."
)
@click.option("--single-channel/--no-single-channel", help="MIDI with all strings on one channel, for old gear.")
@audio_options.making
@click.option("--overwrite", is_flag=True, help="Replace files that are in the way and not Lickwright's own.")
@click.option(
    "--jobs",
    type=click.IntRange(*option_parsing.JOBS),
    metavar="N",
    help="Processes to work in; default: one per core.",
)
@click.option(
    "--prune",
    is_flag=True,
    help="Remove files of licks that are gone, if Lickwright made them and nobody changed them.",
)
@click.option("--strict", is_flag=True, help="Exit with 1 for warnings too.")
@click.option("--all", "everything", is_flag=True, help="Show every finding in full, however many there are.")
@click.option(
    "--findings",
    type=click.Choice(["text", "github"]),
    default="text",
    show_default=True,
    help="Findings for a person, or as annotations on GitHub; --format github says the same.",
)
@click.option("--dry-run", is_flag=True, help="Only say what would be made and removed.")
@click.option("--watch", is_flag=True, help="Keep running, and remake what changes, until Ctrl-C.")
@click.option("--report", metavar="FILE", help="Write what was done as JSON; - for standard output.")
@archive_options.options
@click.option("--no-sync", is_flag=True, help="Do not wait for the disk: faster, but a power cut may cost outputs.")
@click.option("--shard", callback=_share, metavar="K/N", help="Make only one of N equal shares, for several machines.")
@click.option("--merge", is_flag=True, help="PATHs are output folders of shards: bring them together in --out.")
@click.option(
    "--cluster", metavar="ADDRESS", help="Work on the Dask cluster whose scheduler is there: tcp://name:8786."
)
@click.pass_context
def command(context: click.Context, /, paths: tuple[str, ...], out: str, overwrite: bool, **more: Any) -> int:
    """Its help is `_HELP`, since it lists the formats."""
    from lickwright.cli.build_view import ReportFile
    from lickwright.cli.project_options import preferred

    if out == "-":
        raise click.UsageError(
            "--out names a folder, and - is none: lickwright show prints a tab; for a folder called -, say ./-"
        )
    if more["merge"]:
        return _merge(context, paths, out)
    if more["watch"] and (more["dry_run"] or more["report"] or "-" in paths):
        raise click.UsageError("--watch goes with files and folders, and neither with --dry-run nor --report")
    if more["cluster"] and (more["watch"] or more["dry_run"]):
        raise click.UsageError("--cluster goes neither with --watch nor with --dry-run")
    if more["findings"] != "text" and (more["everything"] or more["watch"]):
        raise click.UsageError("--all and --watch are for a screen: leave --findings out")
    from lickwright.build.engine import BuildConfig, build_library
    from lickwright.build.planner import Share
    from lickwright.config.discovery import ProjectConfigs
    from lickwright.store.addresses import far

    houses = ProjectConfigs()
    paths = tuple(map(_here, paths))
    chosen = preferred(context, houses.named(paths[0]))  # for what holds for the whole run
    out = _here(chosen["out"])
    usual = context.get_parameter_source("out") is click.core.ParameterSource.DEFAULT and out == context.params["out"]
    if usual and os.path.islink(out):  # where a house's own `out` leads was looked at when it was read
        raise click.UsageError(f"{out} is a link to another place: say --out {out} to write there")
    library = any(os.path.isdir(path) for path in paths)
    if any(map(far, (*paths, out))):
        return _far(context, paths, out, houses, chosen["jobs"] or _cores())
    archive = archive_options.requested_archive(more | {"paths": paths, "overwrite": overwrite}, chosen, out)
    arranged = archive_options.arranged(more, chosen)
    library = library or archive is not None or arranged is not None  # whose names want the fields of every lick
    wish = BuildConfig(
        paths,
        out,
        _orders(context, houses, library),
        chosen["jobs"] or _cores(),
        overwrite,
        more["shard"] or Share(),
        prune=more["prune"],
        dry=more["dry_run"],
        stdin=_stdin,
        sync=not more["no_sync"],
        release=arranged,
    )
    reported = None if more["report"] is None else ReportFile(more["report"], overwrite, paths)
    if reported is not None:
        if refused := reported.refusal():
            return refused
        wish = wish._replace(report=reported.write)
    if archive is not None:
        if refused := archive.refusal():
            return refused
        wish = wish._replace(archive=archive.write)
    with terminal.endings() as ended, _cluster(more["cluster"], wish) as wish:
        try:
            if more["watch"]:
                from lickwright.cli.watch import watch

                def wishes() -> Any:  # a `BuildConfig`, anew, since a lickwright.toml may change too
                    houses = ProjectConfigs()
                    release = archive_options.arranged(more, preferred(context, houses.named(paths[0])))
                    orders = _orders(context, houses, library or release is not None)
                    return wish._replace(order_of=orders, release=release)

                return watch(wishes, ended, more["everything"], more["strict"])
            teller = _teller(more, terminal.err if reported is not None and reported.printed else terminal.out)
            account = build_library(wish, teller)
            teller.code = max(teller.code, reported.code if reported is not None else terminal.Exit.FINE)
            code = _end(teller, account, wish, houses, ended())
            return code if archive is None or account.stopped else max(code, archive.told(teller.print, wish.dry))
        except KeyboardInterrupt:  # before there was anything to tidy up
            terminal.err("stopped\n")
            return ended()


_OF_MERGE = (
    "merge",
    "paths",
    "out",
    "overwrite",
    "prune",
    "strict",
    "everything",
    "findings",
    "dry_run",
    "report",
    "jobs",
)


def _merge(context: click.Context, paths: tuple[str, ...], out: str) -> int:
    """The output folders of shards into one; what only a build can do is refused."""
    from lickwright.cli.build_view import ReportFile, run_merge
    from lickwright.store.addresses import far

    params = context.params
    if option := given_but(_OF_MERGE):
        raise click.UsageError(f"--merge takes over what the shares hold: leave {option} out")
    if "-" in paths:
        raise click.UsageError("--merge needs the output folders of shares, not standard input")
    paths, out = tuple(map(_here, paths)), _here(out)
    if any(map(far, (*paths, out))):
        raise click.UsageError("--merge goes with files of this machine: name folders here")
    reported = None if params["report"] is None else ReportFile(params["report"], params["overwrite"], paths)
    if reported is not None and (refused := reported.refusal()):
        return refused
    teller = _teller(params, terminal.err if reported is not None and reported.printed else terminal.out)
    return run_merge(paths, out, params, teller, reported)


def _here(text: str) -> str:
    """A name as `addresses.here` understands it."""
    from lickwright.store.addresses import NoAddress, here

    try:
        return here(text)
    except (NoAddress, ValueError) as e:
        raise click.UsageError(str(e)) from None


def _far(context: click.Context, paths: tuple[str, ...], out: str, houses: ProjectConfigs, jobs: int) -> int:
    """Sources or outputs that are not on this machine."""
    from lickwright.build.remote import Far, build_at_address
    from lickwright.store.addresses import NoAddress

    params = context.params
    refused = given("prune", "dry_run", "watch", "report", "shard", "merge", "archive", "names", "layout")
    if refused or "-" in paths:
        what = refused or "standard input"
        raise click.UsageError(f"{what} goes with files of this machine: leave it out, or name folders here")
    wish = Far(paths, out, _orders(context, houses, True), jobs, params["overwrite"])
    try:
        with terminal.endings() as ended, _cluster(params["cluster"], wish) as wish:
            teller = _teller(params)
            account = build_at_address(wish, teller)
            terminal.err(teller.findings(paths))
            for house in houses.all():
                teller.house(house)
            terminal.out(teller.summary(account, out, True))
            return ended() if account.stopped else teller.code
    except NoAddress as e:
        raise click.UsageError(str(e)) from None


def _teller(params: Mapping[str, Any], print: Callable[[str], None] = terminal.out) -> Screen:
    from lickwright.cli.build_view import Screen

    return Screen(print, params["everything"], params["strict"], params["findings"] == "github")


@contextmanager
def _cluster(address: str | None, wish: Any) -> Iterator[Any]:
    """The wish, to be done by a cluster if there is an address of one."""
    if address is None:
        yield wish
        return
    from lickwright.build.dask_executor import Cluster, NoCluster

    try:
        with Cluster(address, lambda line: terminal.err(line + "\n"), wish.jobs) as cluster:
            cluster.check(wish.out)
            yield wish._replace(workers=cluster.workers)
    except NoCluster as e:
        raise click.UsageError(str(e)) from None


def _end(teller: Screen, account: BuildSummary, wish: BuildConfig, houses: ProjectConfigs, code: terminal.Exit) -> int:
    terminal.err(teller.findings(wish.paths))
    for house in houses.all():
        teller.house(house)
    library = any(os.path.isdir(path) for path in wish.paths)
    teller.print(
        teller.dry_summary(account, wish.out, library) if wish.dry else teller.summary(account, wish.out, library)
    )
    if account.stopped:
        terminal.err("stopped: run the same command to go on from there\n")
        return code
    return teller.code


def _orders(context: click.Context, houses: ProjectConfigs, facts: bool) -> Callable[[str], CompileOptions]:
    """What is wanted of a source: what the command line says, else what its house says, else the usual."""
    from lickwright.cli.project_options import preferred
    from lickwright.store.output_keys import options_key
    from lickwright.store.types import CompileOptions

    def order(path: str) -> CompileOptions:
        house = houses.of(path)
        chosen = preferred(context, house)
        rows: tuple[ExportFormat, ...] = chosen["rows"]
        tempo: option_types.TempoWish = chosen["tempo"]
        sound = audio_options.requested_audio(chosen.get)
        if replace(sound, longest=None) != Recording() and not any(row.recorded for row in rows):
            rows += tuple(row for row in EXPORTS if row.recorded)  # who asks for a click wants to hear it
        if chosen["bars"] and all(row.whole for row in rows):
            raise click.UsageError(
                "--bars goes with audio, midi and timing sheets: a text tab is always of the whole lick"
            )
        if any(row.recorded for row in rows):
            audio_options.need_sound()
        options = Options(
            chosen["width"],
            tempo.percent,
            tempo.bpm,
            chosen["single_channel"],
            sound,
            chosen["chord_tones"],
            bars=chosen["bars"],
        )
        if house is not None and house.album is not None and any(row.recorded for row in rows):
            options = replace(options, album=house.album)
        names = tuple(row.name for row in rows)
        return CompileOptions(
            names, options, house, options_key(options, house.key if house else ""), facts, bool(house and not house.ok)
        )

    return order


def _cores() -> int:
    """Processors that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def _stdin() -> bytes | None:
    from lickwright.core.source import MAX_BYTES

    try:
        return sys.stdin.buffer.read(MAX_BYTES + 1)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        return None
