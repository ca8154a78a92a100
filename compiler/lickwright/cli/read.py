"""`lickwright read`: text tab and other formats written as licks, with a report of what is doubtful."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import refuse

if TYPE_CHECKING:
    from lickwright.core.diagnostics import Diagnostic
    from lickwright.importers import Imported
    from lickwright.importers.options import ReadOptions

_HELP = """Read text tab and other formats into .lick files.

\b
  lickwright read mail.txt                    writes mail.lick beside it
  lickwright read mail.txt --out porch.lick
  lickwright read - < mail.txt                to standard output
  lickwright read tabs/ --out licks/          a folder and those in it, what changed
  lickwright read porch.mid --box 1 --key "A minor"

What could not be understood, or was only guessed, is reported with its place in
the text, and prose is kept as comments. grammar/reading.md says what is decided
how. A file in which no tab is found gives an error and no lick.
"""

_SCORES = ("MIDI", "MusicXML")
# Of an option: the formats that it is about, and what is said where the file has another.
_FORMATS_OF = {
    "track": (_SCORES, "--track is about scores and MIDI files"),
    "tuning": (_SCORES, "--tuning is about scores and MIDI files: write it above the tab, as in `Tuning: drop D`"),
    "phrases": (_SCORES[:1], "--phrases is about MIDI files"),
}


@click.command(help=_HELP)
@option_types.paths_argument()
@click.option("--track", metavar="NAME", help="The part, track or channel of a score or MIDI file: its name or number.")
@click.option("--box", metavar="BOX", help="Where notes without strings and frets are played: 1, E shape, frets 5-8.")
@click.option("--key", metavar="KEY", help="The key, whatever the file says: A minor.")
@click.option("--tuning", metavar="TUNING", help="The tuning, where a score or MIDI file has none: drop D.")
@click.option("--phrases", is_flag=True, help="A lick for each phrase between rests, of a MIDI file.")
@option_types.out_option("PATH", "Write there: a file, for several sources a folder; - is standard output.")
@option_types.overwrite_option("Let --out, or the .lick file beside the source, be replaced.")
@option_types.format_option("json", help="The report: for a person, or for a program.")
@option_types.all_option("Report every finding in full.")
@option_types.strict_option()
@click.option(
    "--jobs", type=click.IntRange(1, 64), metavar="N", help="Processes for a folder; default: one a core, at most 8."
)
def command(
    paths: tuple[str, ...],
    out: str | None,
    overwrite: bool,
    form: str,
    everything: bool,
    strict: bool,
    phrases: bool,
    jobs: int | None,
    **wanted: str | None,
) -> int:
    """Its help is `_HELP`, since it shows examples."""
    from lickwright.importers.options import ReadOptions

    _refuse_unknown_music(wanted)
    options = ReadOptions(phrases=phrases, **{name: value or "" for name, value in wanted.items()})
    if len(paths) > 1 or os.path.isdir(paths[0]):
        refuse(out in (None, "-"), "several files: name a folder for the licks with --out")
        refuse(form == "json", "--format json is about one file")
        refuse(options != ReadOptions(), "--track, --box, --key, --tuning and --phrases are about one file")
        from lickwright.cli.read_folder import read_many

        assert out is not None
        return read_many(paths, out, overwrite, everything, strict, jobs or min(8, os.cpu_count() or 1))
    refuse(jobs is not None, "--jobs is about folders")
    return _read_one(paths[0], out, overwrite, form, everything, strict, options)


def _refuse_unknown_music(wanted: dict[str, str | None]) -> None:
    """Raise UsageError for a key, box or tuning that is none, which would only become a comment in the lick."""
    from lickwright.music.boxspec import parse_box
    from lickwright.music.pitch import parse_key
    from lickwright.music.tuning import parse_tuning

    for name, parse in (("key", parse_key), ("box", parse_box), ("tuning", parse_tuning)):
        if (text := wanted[name]) is not None:
            try:
                parse(text)
            except ValueError as e:
                raise click.UsageError(f"--{name}: {e}") from None


def _read_one(
    path: str, out: str | None, overwrite: bool, form: str, everything: bool, strict: bool, options: ReadOptions
) -> int:
    from lickwright.cli.exit_code import Verdict
    from lickwright.cli.single_output import STDOUT, save_output

    verdict = Verdict(strict)
    imported = import_path(path, options)
    for name, (formats, words) in _FORMATS_OF.items():
        refuse(imported.ok and bool(getattr(options, name)) and imported.reader not in formats, words)
    verdict.add_findings(imported.findings)
    target = out if out is not None else STDOUT if path == "-" else lick_path(path)
    refuse(form == "json" and target == STDOUT, "the lick and a report for a program cannot both go to standard output")
    if os.path.isdir(target) or target.endswith(("/", os.sep)):
        target = os.path.join(target, os.path.basename(lick_path(path)))
    written = False
    if imported.ok:
        if out is not None and out.endswith(("/", os.sep)):  # a folder, as that of several files, which is made too
            with suppress(OSError):  # it is said when the file is written
                os.makedirs(out, exist_ok=True)
        with terminal.handle_interrupts():
            code = save_output(target, imported.text.encode("utf-8"), None, overwrite, (path,))
        verdict.add(code)
        written = code == terminal.Exit.FINE
    _report(imported, target if written else "", form, everything)
    return verdict.code


def import_path(path: str, options: ReadOptions | None = None) -> Imported:
    """Return a file, or standard input for `-`, read into the notation; what cannot be read is a finding."""
    from lickwright.core.file_bytes import Unopened, read_file
    from lickwright.core.unreadable import Unreadable
    from lickwright.importers import MOST_BYTES, import_source, unread_source

    try:
        data = read_file(path) if path != "-" else sys.stdin.buffer.read(MOST_BYTES + 1)
    except Unreadable as e:
        return unread_source(path, e)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        return unread_source(path, Unopened("standard input cannot be read", "name a file, or send one with <"))
    return import_source(data, path, options)


def lick_path(path: str) -> str:
    """Return the path of the lick beside a source: `mail.lick` for `mail.txt`."""
    stem, suffix = os.path.splitext(path)
    return f"{stem if suffix.lower() != '.lick' else path}.lick"


def _report(imported: Imported, target: str, form: str, everything: bool) -> None:
    from lickwright.report.console import safe_text

    if form == "json":
        from json import dumps

        terminal.out(dumps({"files": [imported_json(imported, target)]}, indent=2) + "\n")
        return
    from lickwright.cli.findings_view import FindingsView, findings_columns

    view = FindingsView(terminal.wants_color(sys.stderr), findings_columns(sys.stderr), everything=True)
    shown = imported.findings if everything else brief_findings(imported)
    view.add(imported.source, shown)
    terminal.err(view.text())
    if imported.ok:
        left = len(imported.findings) - len(shown)
        more = f"; {left} more note{'s' * (left > 1)} with --all" if left else ""
        place = f" in {safe_text(target)}" if target and target != "-" else ""
        terminal.err(f"{summary_words(imported)}{place}{more}\n")


def brief_findings(imported: Imported) -> list[Diagnostic]:
    """Return the findings that are worth reading in full: all but the notes, of which the first of each kind."""
    from lickwright.core.diagnostics import Severity

    shown, kinds = [], set()
    for finding in imported.findings:
        if finding.severity is not Severity.INFO or finding.code not in kinds:
            shown.append(finding)
            kinds.add(finding.code)
    return shown


def summary_words(imported: Imported) -> str:
    """Return one line: `1 lick, 34 notes, 2 of them unsure; rhythm 70 % sure`."""
    from lickwright.report.console import counted_noun

    unsure = f", {imported.unsure} of them unsure" if imported.unsure else ""
    rhythm = "" if imported.confidence >= 1 else f"; rhythm {imported.confidence:.0%} sure".replace("%", " %")
    return f"{counted_noun(imported.licks, 'lick')}, {counted_noun(imported.notes, 'note')}{unsure}{rhythm}"


def imported_json(imported: Imported, target: str) -> dict[str, object]:
    """Return what became of a file as a value for JSON."""
    from lickwright.report.console import findings_json

    return {
        "path": imported.source.name,
        "format": imported.reader,
        "written": target or None,
        "licks": imported.licks,
        "notes": imported.notes,
        "unsure": imported.unsure,
        "rhythm": round(imported.confidence, 3),
        "diagnostics": findings_json(imported.source, imported.findings),
    }
