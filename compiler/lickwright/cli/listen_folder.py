"""Many recordings of `lickwright listen FOLDER --licks LIBRARY`: each is matched to its lick, and all are in one report.

In: a folder of recordings, which lie in it or below it, and the licks. Out: a line for each recording, or JSON, and the exit code. The lick of a
recording is the one whose name its own begins with, else the one that fits best; where a name is wrong, the one that fits is said. With --report, what
was heard before is not heard again unless the recording, its lick or this program changed, or any of the licks where it did not sound like its own. The
report is written now and then, and when the run is stopped, so that the next one goes on from there.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from typing import Any

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.findings_view import show_findings
from lickwright.cli.listen_entries import entry_parts, known_entries
from lickwright.cli.listen_licks import KnownLick, known_licks, licks_key, named_lick
from lickwright.cli.listen_table import is_unheard, recordings_text
from lickwright.cli.listen_take import REPORT_SEAL
from lickwright.cli.listen_workers import Task, hear_tasks, recording_states
from lickwright.cli.single_output import STDOUT, report_obstacle, save_output
from lickwright.core.files import UNREADABLE
from lickwright.core.source import Source
from lickwright.core.source_discovery import walk_sources
from lickwright.music.practice import Ladder
from lickwright.report import console

SUFFIXES = (
    ".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".au", ".caf", ".w64",
    ".m4a", ".mp4", ".aac", ".3gp", ".webm", ".wma", ".amr",  # which are named, since they cannot be read
)  # fmt: skip
_EVERY = 8  # recordings after which the report is written; of many it is written more seldom


def listen_to_folder(
    folder: str,
    library: str,
    form: str,
    report: str | None,
    overwrite: bool,
    width: int | None,
    everything: bool,
    ladder: Ladder | None,
) -> int:
    """Listen to every recording of a folder, or to the one that is named instead; return the exit code.

    An interrupt goes through, after what was heard is kept. `width` and `everything` are about the text, which has the remarks on each recording where
    everything is asked for. Without a `ladder` each lick has that of its project.
    """
    verdict = Verdict()
    if report is not None:
        verdict.add(report_obstacle(report, REPORT_SEAL, overwrite, (folder, library)))
    licks = known_licks(library, verdict, ladder)
    if not licks and verdict.code <= terminal.Exit.MUSIC_ERRORS:
        terminal.err(f"error: there is no lick without errors in {console.safe_text(library)}\n")
        verdict.add(terminal.Exit.MUSIC_ERRORS)
    if not licks or verdict.code > terminal.Exit.MUSIC_ERRORS:
        return int(verdict.code)
    recordings = _recordings(folder, verdict)
    if not recordings:
        place = console.safe_text(folder)
        terminal.err(f"error: there is no recording in {place} or below it: {', '.join(SUFFIXES[:4])} are\n")
        return int(terminal.Exit.FILE_ERRORS)
    entries = _heard(_tasks(recordings, licks), licks, report, overwrite)
    for entry in entries:
        _judge(entry, verdict)
    if report is not None:
        verdict.add(_save(report, entries, overwrite))
    if form == "json":
        terminal.out(b"".join(entry_parts(entries)).decode("utf-8") + "\n}\n")
    else:
        say = terminal.err if report == STDOUT else terminal.out
        say(recordings_text(entries, width or terminal.columns(sys.stdout, 100, most=160), everything))
    return int(verdict.code)


def _recordings(folder: str, verdict: Verdict) -> dict[str, str]:
    """Return the recordings in a folder and below it, in order: the path of each by its name as seen from the folder, with `/`.

    A folder below that cannot be read is shown and counted in `verdict`. What is no folder is one recording.
    """
    if not os.path.isdir(folder):
        return {os.path.basename(folder): folder}
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


def _tasks(recordings: Mapping[str, str], licks: Sequence[KnownLick]) -> list[Task]:
    """Return what there is to hear, each with the lick that its name says; of the others all licks have a say."""
    key = licks_key(licks)
    return [Task(name, path, key, named_lick(name, licks)) for name, path in recordings.items()]


def _heard(
    tasks: Sequence[Task], licks: Sequence[KnownLick], report: str | None, overwrite: bool
) -> list[dict[str, Any]]:
    """Return an entry for each recording, in order; what an earlier report has of one that did not change is taken from there."""
    kept = _KeptEntries(tasks, None if report == STDOUT else report, overwrite)
    try:
        for entry in hear_tasks(kept.left(), licks):
            kept.add(entry)
            terminal.progress.show(len(kept.found), len(tasks))
    except KeyboardInterrupt:
        kept.stop()
        raise
    terminal.progress.clear()
    return kept.in_order()


class _KeptEntries:
    """The entries that there are, and the report in which they are kept while a run goes on."""

    def __init__(self, tasks: Sequence[Task], report: str | None, overwrite: bool) -> None:
        known = known_entries(report) if report is not None else {}
        states = {task.name: set(recording_states(task)) - {""} for task in tasks if task.name in known}
        self.found = {name: known[name] for name, same in states.items() if known[name]["state"] in same}
        self._tasks, self._report, self._overwrite = tasks, report, overwrite
        self._saved = len(self.found)

    def left(self) -> list[Task]:
        """Return what has to be heard."""
        return [task for task in self._tasks if task.name not in self.found]

    def in_order(self) -> list[dict[str, Any]]:
        """Return the entries that there are, in the order of their recordings."""
        return [self.found[task.name] for task in self._tasks if task.name in self.found]

    def add(self, entry: dict[str, Any]) -> None:
        """Take an entry; now and then all are saved."""
        self.found[entry["file"]] = entry
        if self._saved + max(_EVERY, self._saved // 4) <= len(self.found) < len(self._tasks):
            self._save()

    def stop(self) -> None:
        """Save what there is, and say how the run goes on."""
        if len(self.found) > self._saved:
            self._save()
        if self._report is not None:
            count = f"{len(self.found)} of {console.counted_noun(len(self._tasks), 'recording')}"
            terminal.err(f"{count} heard: the same command goes on from there\n")

    def _save(self) -> None:
        if self._report is not None:
            _save(self._report, self.in_order(), self._overwrite)
        self._saved = len(self.found)


def _judge(entry: Mapping[str, Any], verdict: Verdict) -> None:
    """Show what was noticed about a recording, and add what it means for the exit code."""
    name = console.safe_text(entry["file"])
    for words in entry["notes"]:
        terminal.err(f"{name}: {console.safe_text(words)}\n")
    if entry["bug"]:
        terminal.err(terminal.apology(entry["error"], entry["file"]))
        verdict.add(terminal.Exit.INTERNAL)
    elif is_unheard(entry):
        terminal.err(f"{name}: error: {console.safe_text(entry['error'])}\n")
        verdict.add(terminal.Exit.FILE_ERRORS)
    elif entry["differs"]:
        verdict.add(terminal.Exit.MUSIC_ERRORS)


def _save(report: str, entries: Sequence[dict[str, Any]], overwrite: bool) -> terminal.Exit:
    return save_output(report, entry_parts(entries), REPORT_SEAL, overwrite, ())
