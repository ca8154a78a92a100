"""Many recordings of `lickwright listen FOLDER --licks LIBRARY`: each is matched to its lick, and all are in one report.

In: a folder of recordings, which lie in it or below it, and the licks. Out: a line for each recording, or JSON, and the exit code. The lick of a
recording is the one whose name its own begins with, else the one that fits best. Several processes share the work. With --report, what was heard before
is not heard again unless the recording or the licks changed; the report is written every few recordings, so that a run that was stopped goes on where it
was.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from json import dumps, loads
from typing import Any, NamedTuple

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.findings_view import show_findings
from lickwright.cli.listen_take import REPORT_SEAL
from lickwright.cli.single_output import STDOUT, report_obstacle, save_output
from lickwright.cli.sources import compile_sources, find_sources
from lickwright.cli.table import format_table
from lickwright.core.digest import blake2b
from lickwright.core.files import UNREADABLE
from lickwright.core.slugs import slug
from lickwright.core.source import Source
from lickwright.core.source_discovery import walk_sources
from lickwright.core.version import __version__
from lickwright.export import LoweredLick, Options
from lickwright.report import console

FORMAT = "lickwright listening reports 1"
SUFFIXES = (".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".au", ".caf", ".w64")
_ENDED = "listening to it was ended from outside, as happens where memory is short"
_EVERY = 8  # recordings after which the report is written
_LONGEST_REPORT = 256 << 20  # bytes of an earlier report that are read


class KnownLick(NamedTuple):
    """A lick that recordings may be of."""

    title: str
    slug: str
    lowered: LoweredLick


def listen_to_folder(folder: str, library: str, form: str, report: str | None, overwrite: bool) -> int:
    """Listen to every recording of a folder; return the exit code."""
    verdict = Verdict()
    if report is not None:
        verdict.add(report_obstacle(report, REPORT_SEAL, overwrite, (folder, library)))
    licks, key = _licks(library, verdict)
    if verdict.code > terminal.Exit.MUSIC_ERRORS or not licks:
        if not licks and verdict.code <= terminal.Exit.MUSIC_ERRORS:
            terminal.err(f"error: there is no lick without errors in {console.safe_text(library)}\n")
            verdict.add(terminal.Exit.MUSIC_ERRORS)
        return int(verdict.code)
    recordings = _recordings(folder, verdict)
    if not recordings:
        terminal.err(
            f"error: there is no recording in {console.safe_text(folder)} or below it: {', '.join(SUFFIXES[:4])} are\n"
        )
        return int(terminal.Exit.FILE_ERRORS)
    entries = _heard(recordings, licks, key, report, overwrite)
    for done in entries:
        verdict.add(
            terminal.Exit.FILE_ERRORS
            if done["error"]
            else terminal.Exit.MUSIC_ERRORS
            if done["differs"]
            else terminal.Exit.FINE
        )
    if report is not None:
        verdict.add(_save(report, entries, overwrite))
    if form == "json":
        terminal.out(dumps({"format": FORMAT, "recordings": entries}, indent=1, ensure_ascii=False) + "\n")
    else:
        (terminal.err if report == STDOUT else terminal.out)(_table(entries))
    return int(verdict.code)


def _licks(library: str, verdict: Verdict) -> tuple[list[KnownLick], str]:
    """Return the licks without errors of a file or folder, and a key that changes with them and with this program."""
    found: list[KnownLick] = []
    hash = blake2b(__version__.encode(), digest_size=16)
    for _, c in compile_sources(find_sources([library]), verdict, judge=False):
        unread = [d for d in c.diagnostics if d.code.startswith("L6")]
        verdict.add_findings(unread)
        show_findings(c.source, unread)
        hash.update(c.source.text.encode("utf-8", "surrogatepass"))
        found += [KnownLick(lick.title, slug(lick.title), lick.lowered) for lick in c.licks if lick.lowered is not None]
    return found, hash.hexdigest()


def _recordings(folder: str, verdict: Verdict) -> dict[str, str]:
    """Return the recordings in a folder and below it, in order: the path of each by its name as seen from the folder, with `/`.

    A folder below that cannot be read is shown and counted in `verdict`.
    """
    found = {}
    for one in walk_sources([folder], suffixes=SUFFIXES):
        if one.trouble is not None:
            if one.trouble.code == UNREADABLE.code:
                verdict.add_findings([one.trouble])
                show_findings(Source(one.path, ""), [one.trouble])
        elif os.path.isfile(one.path):
            name = os.path.basename(one.path)
            found[f"{one.below}/{name}" if one.below else name] = one.path
    return found


def _heard(
    recordings: Mapping[str, str], licks: Sequence[KnownLick], key: str, report: str | None, overwrite: bool
) -> list[dict[str, Any]]:
    """Return an entry for each recording, in order; what an earlier report has of one that did not change is taken from there."""
    known = _known(report) if report is not None else {}
    found: dict[str, dict[str, Any]] = {}
    for name, path in recordings.items():
        old = known.get(name)
        if old is not None and old.get("state") == _state(path, key):
            found[name] = old
    left = [name for name in recordings if name not in found]
    heard = _listened([recordings[name] for name in left], licks, key)
    for n, (name, entry) in enumerate(zip(left, heard, strict=True), 1):
        found[name] = entry | {"file": name}
        terminal.progress.show(len(found), len(recordings))
        if report not in (None, STDOUT) and n % _EVERY == 0 and n < len(left):
            _save(report, [found[one] for one in recordings if one in found], overwrite)
    terminal.progress.clear()
    return [found[name] for name in recordings]


def _known(report: str) -> dict[str, dict[str, Any]]:
    """Return the entries of a report of ours, by the name of the recording as seen from its folder."""
    try:
        if (
            not os.path.isfile(report)
            or os.path.getsize(report) > _LONGEST_REPORT
            or not REPORT_SEAL.matches_file(report)
        ):
            return {}
        with open(report, encoding="utf-8") as file:
            value = loads(file.read())
        return {e["file"]: e for e in value["recordings"]} if value.get("format") == FORMAT else {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _state(path: str, key: str) -> str:
    try:
        status = os.stat(path)
    except OSError:
        return ""
    return f"{status.st_size} {status.st_mtime_ns} {key}"


def _listened(paths: Sequence[str], licks: Sequence[KnownLick], key: str) -> Iterator[dict[str, Any]]:
    """Yield the entry of each recording, in order, as processes come to it."""
    cores = os.cpu_count() or 1
    if len(paths) < 3 or cores < 2:
        for path in paths:
            yield _entry(path, licks, key)
        return
    done = 0
    try:
        for entry in _listened_in_processes(paths, licks, key, min(cores, len(paths))):
            done += 1
            yield entry
    except BrokenProcessPool:
        for path in paths[done:]:  # one by one, since only so it is known which one ends its process
            try:
                yield from _listened_in_processes([path], licks, key, 1)
            except BrokenProcessPool:
                yield _empty_entry(path, "") | {"error": _ENDED}


def _listened_in_processes(
    paths: Sequence[str], licks: Sequence[KnownLick], key: str, count: int
) -> Iterator[dict[str, Any]]:
    """Yield the entry of each recording, in order. Raises BrokenProcessPool where a process is ended from outside."""
    with ProcessPoolExecutor(count, initializer=_begin, initargs=(licks, key)) as pool:
        try:
            yield from pool.map(_entry_in_process, paths)
        except KeyboardInterrupt:
            pool.shutdown(cancel_futures=True)
            raise


_SHARED: list[tuple[Sequence[KnownLick], str]] = []  # what a process works with


def _begin(licks: Sequence[KnownLick], key: str) -> None:
    _SHARED[:] = [(licks, key)]


def _entry_in_process(path: str) -> dict[str, Any]:
    return _entry(path, *_SHARED[0])


def _empty_entry(path: str, state: str) -> dict[str, Any]:
    """Return the entry of a recording of which nothing was heard yet."""
    return {
        "file": os.path.basename(path), "state": state, "lick": None, "matched_by": "", "error": "", "differs": True, "report": None,
    }  # fmt: skip


def _entry(path: str, licks: Sequence[KnownLick], key: str) -> dict[str, Any]:
    """Return what was heard of one recording."""
    from lickwright.cli.listen_take import differs_anywhere
    from lickwright.listen.best_fit import best_fit
    from lickwright.listen.expected import expected_groups
    from lickwright.listen.judge import judge_hearing
    from lickwright.listen.report_json import judgement_as_json
    from lickwright.listen.sound_file import UnreadableRecording, read_recording
    from lickwright.listen.stretches import hear_recording

    entry = _empty_entry(path, _state(path, key))
    try:
        hearing = hear_recording(read_recording(path).recording)
    except UnreadableRecording as e:
        return entry | {"error": str(e)}
    lick, how = _named(entry["file"], licks), "name"
    if lick is None:
        groups = [expected_groups(k.lowered.timeline, k.lowered.performance(Options())) for k in licks]
        index, how = best_fit(hearing, groups), "fit"
        lick = None if index is None else licks[index]
    if lick is None:
        return entry | {"error": "nothing was heard that sounds like a guitar"}
    judgement = judge_hearing(lick.lowered.timeline, lick.lowered.performance(Options()), hearing)
    if judgement.refusal and how == "fit":
        return entry | {"error": "this sounds like none of the licks"}
    report = judgement_as_json(judgement, entry["file"])
    return entry | {"lick": lick.title, "matched_by": how, "differs": differs_anywhere(judgement), "report": report}


def _named(name: str, licks: Sequence[KnownLick]) -> KnownLick | None:
    """Return the lick with the longest name with which that of a recording begins: `porch-light-mara.wav`."""
    stem = slug(os.path.splitext(name)[0])
    fits = [lick for lick in licks if stem == lick.slug or stem.startswith(lick.slug + "-")]
    return max(fits, key=lambda lick: len(lick.slug), default=None)


def _save(report: str, entries: Sequence[dict[str, Any]], overwrite: bool) -> terminal.Exit:
    data = dumps({"format": FORMAT, "recordings": list(entries)}, indent=1, ensure_ascii=False)[:-2].encode("utf-8")
    return save_output(report, data, REPORT_SEAL, overwrite, ())


def _table(entries: Sequence[dict[str, Any]]) -> str:
    rows = []
    for entry in entries:
        report = entry["report"]
        if report is None:
            rows.append(("", "", "", entry["error"], entry["file"]))
        elif report["refusal"]:
            rows.append((entry["lick"], "", "", report["refusal"], entry["file"]))
        else:
            one = report["passes"][report["best"]]
            practice = report["practice"][0] if report["practice"] else report["praise"]
            rows.append(
                (entry["lick"], str(one["score"]["of_100"]), f"{one['tempo_percent']:.0f}%", practice, entry["file"])
            )
    shown = [tuple(console.safe_text(cell) for cell in row) for row in rows]
    heads = ("lick", "score", "tempo", "to practice", "recording")
    return format_table(heads, shown, terminal.columns(sys.stdout, 100, most=160))
