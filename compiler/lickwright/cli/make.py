"""`lickwright make`: every output of every lick, into a tree like that of the sources.

In: the command line. Out: what `make_runs.py` does with it, and its exit code. The options are declared here; what they mean together
is in `make_request.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lickwright.cli import audio_options, option_types, sheet_options
from lickwright.cli.archive_options import release_options
from lickwright.export import EXPORTS, option_parsing

if TYPE_CHECKING:
    from lickwright.build.build_config import Share

_HELP = f"""Write text tab, MIDI and timing sheet of every lick.

PATH is a .lick file, a folder of them, or - for standard input. The files of
songs/blues.lick go to OUT/blues/, named after their licks: porch-light.mid.
The tree below a folder is kept: make songs puts the files of
songs/slow/blues.lick into OUT/slow/blues/.

Only what changed is made again. A lick with errors is skipped, and the others
are made. A file that is not Lickwright's own, or that you changed by hand, is
never overwritten unless you say --overwrite.

\b
Formats for --to:
{chr(10).join(f"  {row.name:12} {row.summary}" for row in EXPORTS)}
"""


def _parse_share(text: str) -> Share:
    """Return the share that `2/8` names: the second of eight. Raises ValueError."""
    from lickwright.build.build_config import Share

    number, _, of = text.partition("/")
    if not (number.isascii() and number.isdigit() and of.isascii() and of.isdigit() and len(text) < 12):
        raise ValueError("write the share and how many there are: 2/8")
    if not 1 <= int(number) <= int(of):
        raise ValueError(f"there is no share {int(number)} of {int(of)}")
    return Share(int(number), int(of))


class _Make(click.Command):
    """The command, which takes `--format github`, as `lickwright check` has it, for `--findings github`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        words: list[str] = []
        for word in args:
            if word == "--format=github" or (word == "github" and words[-1:] == ["--format"]):
                words = [*words[:-1], "--findings", "github"] if word == "github" else [*words, "--findings=github"]
            else:
                words.append(word)
        return super().parse_args(ctx, words)


@click.command(cls=_Make, help=_HELP)
@option_types.paths_argument()
@option_types.to_option()
@option_types.out_option("DIR", "The folder to write into.", default="out")
@option_types.tempo_option("For practice: 60% of the written tempo, or 72 beats a minute.")
@option_types.width_option(default=80)
@option_types.chord_tones_option(switch=True)
@click.option("--single-channel/--no-single-channel", help="MIDI with all strings on one channel, for old gear.")
@click.option("--compressed/--no-compressed", help="MusicXML as an archive, .mxl.")
@click.option(
    "--silent-page/--no-silent-page", help="Lesson pages without a recording: small, and they play plain plucked tones."
)
@sheet_options.sheet_options
@audio_options.recording_options
@option_types.overwrite_option("Replace files that are in the way and not Lickwright's own.")
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
@option_types.strict_option()
@option_types.all_option("Show every finding in full, however many there are.")
@click.option(
    "--findings",
    type=option_types.OneOf("text", "github"),
    default="text",
    show_default=True,
    help="Findings for a person, or as annotations on GitHub; --format github says the same.",
)
@click.option("--dry-run", is_flag=True, help="Only say what would be made and removed.")
@click.option("--watch", is_flag=True, help="Keep running, and remake what changes, until Ctrl-C.")
@click.option("--report", metavar="FILE", help="Write what was done as JSON; - for standard output.")
@release_options
@click.option(
    "--check-contents/--no-check-contents",
    help="Read every lick file, and look at every file made of it, to see whether one changed, whatever size and time say.",
)
@click.option("--no-sync", is_flag=True, help="Do not wait for the disk: faster, but a power cut may cost outputs.")
@click.option(
    "--shard",
    callback=option_types.parsed_by(_parse_share),
    metavar="K/N",
    help="Make only one of N equal shares, for several machines.",
)
@click.option("--merge", is_flag=True, help="PATHs are output folders of shards: merge them into --out.")
@click.option(
    "--cluster", metavar="ADDRESS", help="Work on the Dask cluster that has its scheduler at ADDRESS: tcp://name:8786."
)
@click.pass_context
def command(context: click.Context, /, **_: Any) -> int:
    """Its help is `_HELP`, since it lists the formats."""
    from lickwright.cli import make_request, make_runs

    make_request.refuse_contradictory_options(context.params)
    if context.params["merge"]:
        return make_runs.merge_shares(context)
    request = make_request.MakeRequest(context)
    return make_runs.run_build(request)
