"""Recordings heard by several processes, each recording on its own, so that one that cannot be heard costs nothing but itself.

In: recordings, each with the lick that its name says or none, and all licks. Out: an entry for each recording, in order: what was heard, or why nothing was.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from functools import cached_property, partial
from typing import Any, NamedTuple

from lickwright.build.isolated_calls import Ended, call_isolated
from lickwright.cli.listen_licks import KnownLick
from lickwright.cli.listen_take import recording_day
from lickwright.export import Options
from lickwright.listen.best_fit import LickLibrary
from lickwright.listen.expected import expected_groups
from lickwright.listen.judge import judge_hearing
from lickwright.listen.model import Judgement, TakeContext
from lickwright.listen.report_json import judgement_as_json
from lickwright.listen.sound_file import UnreadableRecording, read_recording
from lickwright.listen.stretches import Hearing, hear_recording
from lickwright.report.console import describe_crash

_ENDED = "listening to it was ended from outside, as happens where memory is short"
_SHORT = "there is not enough memory to hear it"
_FEWEST = 3  # recordings for which processes are started
_HEARD = 3  # licks that fit best, of which the first that is not refused is the one


class Task(NamedTuple):
    """One recording to hear."""

    name: str  # as seen from the folder, with `/`
    path: str
    licks_key: str  # of all licks
    lick: KnownLick | None  # that its name says


def recording_states(task: Task) -> tuple[str, str]:
    """Return what changes with a recording and the lick that its name says, and what changes with it and any of the licks.

    Both are equal where its name says none, and "" for a file that cannot be looked at.
    """
    try:
        status = os.stat(task.path)
    except OSError:
        return "", ""
    recording = f"{status.st_size} {status.st_mtime_ns}"
    key = task.licks_key if task.lick is None else task.lick.key
    return f"{recording} {key}", f"{recording} {task.licks_key}"


def hear_tasks(tasks: Sequence[Task], licks: Sequence[KnownLick]) -> Iterator[dict[str, Any]]:
    """Yield the entry of each recording, in order. An interrupt goes through."""
    listen = partial(_entry, _Choice(licks))
    cores = os.cpu_count() or 1
    if len(tasks) < _FEWEST or cores < 2:
        yield from map(listen, tasks)
        return
    for task, entry in zip(tasks, call_isolated(listen, tasks, min(cores, len(tasks))), strict=True):
        yield _empty_entry(task, "") | {"error": _ENDED} if isinstance(entry, Ended) else entry


class _Choice:
    """The licks that recordings are told apart by ear from."""

    def __init__(self, licks: Sequence[KnownLick]) -> None:
        self._licks = licks

    def fitting_licks(self, hearing: Hearing) -> list[KnownLick]:
        """Return the licks that fit best to what was heard, the best first; none where nothing was heard that sounds like a guitar."""
        return [self._licks[index] for index in self._library.best_fits(hearing, _HEARD)]

    @cached_property
    def _library(self) -> LickLibrary:
        """Every lick as it should sound, made once for a process, and only where it is needed."""
        return LickLibrary(
            [expected_groups(one.lowered.timeline, one.lowered.performance(Options())) for one in self._licks]
        )


def _empty_entry(task: Task, state: str) -> dict[str, Any]:
    """Return the entry of a recording of which nothing was heard yet."""
    return {
        "file": task.name, "state": state, "lick": None, "matched_by": "", "error": "", "bug": False, "notes": [], "differs": True,
        "report": None,
    }  # fmt: skip


def _entry(choice: _Choice, task: Task) -> dict[str, Any]:
    """Return what was heard of one recording. A bug of ours in hearing it is its error."""
    state, state_of_all = recording_states(task)
    entry = _empty_entry(task, state)
    try:
        entry |= _heard(choice, task)
        if entry["report"] is not None and entry["report"]["refusal"]:
            entry["state"] = state_of_all  # the lick that it sounds like instead may be any of them
        return entry
    except UnreadableRecording as e:
        # Without a state it is tried again next time: a disk may be better then.
        return entry | {"error": f"{e}; {e.finding.hint}", "state": ""}
    except MemoryError:
        return entry | {"error": _SHORT, "state": ""}
    except Exception as e:
        return entry | {"error": describe_crash(e), "bug": True, "state": ""}


def _heard(choice: _Choice, task: Task) -> dict[str, Any]:
    """Return what an entry has of a recording that can be read. Raises UnreadableRecording."""
    read = read_recording(task.path)
    notes: dict[str, Any] = {"notes": list(read.notes)}
    hearing = hear_recording(read.recording)
    if task.lick is None:
        fits = choice.fitting_licks(hearing)
        if not fits:
            return notes | {"error": "nothing was heard that sounds like a guitar"}
        found = _recognized(fits, hearing)
        if found is None:
            return notes | {"error": "this sounds like none of the licks"}
        return notes | _judged_entry(task, read.notes, *found, "fit")
    judgement = _judged(task.lick, hearing)
    if judgement.refusal:
        others = [lick for lick in choice.fitting_licks(hearing) if lick.key != task.lick.key]
        if found := _recognized(others, hearing):
            notes["error"] = f'it sounds like "{found[0].title}"'
    return notes | _judged_entry(task, read.notes, task.lick, judgement, "name")


def _recognized(licks: Sequence[KnownLick], hearing: Hearing) -> tuple[KnownLick, Judgement] | None:
    """Return the first of some licks that is not refused, with its judgement; None where all are."""
    judged = ((lick, _judged(lick, hearing)) for lick in licks)
    return next(((lick, judgement) for lick, judgement in judged if not judgement.refusal), None)


def _judged_entry(task: Task, said: Sequence[str], lick: KnownLick, judgement: Judgement, how: str) -> dict[str, Any]:
    """Return what an entry has of a recording that is judged by a lick, which was found by its name or by its fit. `said`: what was noticed about the file."""
    context = TakeContext(
        lick.title, False, os.path.basename(task.path), recording_day(task.path), tuple(said), lick.ladder
    )
    report = judgement_as_json(judgement, context)
    return {"lick": lick.title, "matched_by": how, "differs": judgement.differs, "report": report}


def _judged(lick: KnownLick, hearing: Hearing) -> Judgement:
    return judge_hearing(lick.lowered.timeline, lick.lowered.performance(Options()), hearing)
