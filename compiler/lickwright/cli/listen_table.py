"""What was heard of many recordings, as text: a line for each, and with `--all` what there is to say of each.

In: the entries of a report on many recordings. Out: text no wider than asked, to be read on a screen or printed for a class.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from lickwright.cli.table import format_table
from lickwright.export.tab.lanes import wrap_words
from lickwright.listen.bar_runs import listed_bars
from lickwright.listen.summary import NEVER_JUDGED
from lickwright.report import console

_ABOUT = {"note": "notes", "time": "time", "bend": "bends", "release": "releases", "vibrato": "vibrato"}


def recordings_text(entries: Sequence[Mapping[str, Any]], width: int, everything: bool) -> str:
    """Return the table, with `everything` what there is to say of each recording and what is never judged, and the cautions."""
    heads = ("lick", "score", "tempo", "look at", "recording")
    rows = [(*_cells(entry), entry["file"]) for entry in entries]
    lines = [*(_details(entries, width) if everything else ()), *_cautions(entries, width)]
    if everything and any(map(_is_judged, entries)):
        lines += ["", *_wrapped(f"never judged: {'; '.join(NEVER_JUDGED)}", width)]
    return (
        format_table(heads, rows, width, least="look at") + _summary(entries) + "".join(f"{line}\n" for line in lines)
    )


def is_unheard(entry: Mapping[str, Any]) -> bool:
    """Return whether a recording could not be heard; it is tried again next time."""
    return bool(entry["error"]) and not entry["state"]


def _cells(entry: Mapping[str, Any]) -> tuple[str, str, str, str]:
    """Return lick, score, tempo, and what to look at or why nothing is judged."""
    report = entry["report"]
    if report is None:
        return "", "", "", f"not heard: {entry['error'].partition('; ')[0]}" if is_unheard(entry) else entry["error"]
    if report["refusal"]:
        return entry["lick"], "", "", entry["error"] or report["refusal"]
    one = report["passes"][report["best"]]
    look_at = "; ".join(_differences(one)) or next((step["short"] for step in report["practice_steps"]), "")
    return entry["lick"], str(one["score"]["of_100"]), f"{one['tempo_percent']:.0f}%", look_at


def _differences(one: Mapping[str, Any]) -> Iterator[str]:
    """Yield what differs in a pass, each kind with its bars."""
    if one["breaks_off"]:
        last = [row["bar"] for row in one["bars"]][-1:]
        yield f"breaks off in {listed_bars(last)}" if last else "breaks off"
    bars: dict[str, set[int]] = {}
    for remark in one["remarks"]:
        bars.setdefault(f"{_ABOUT.get(remark['about'], remark['about'])} in", set()).add(remark["bar"])
    for what, jumps in (("a pause before", one["pauses"]), ("a leap to", one["skips"])):
        for jump in jumps:
            bars.setdefault(what, set()).add(jump["bar"])
    yield from (f"{what} {listed_bars(sorted(numbers))}" for what, numbers in bars.items())
    if one["begun_again"]:
        yield "begun again"


def _summary(entries: Sequence[Mapping[str, Any]]) -> str:
    """Return how many recordings are right, differ, and could not be judged."""
    judged = [entry for entry in entries if _is_judged(entry)]
    right = sum(not entry["differs"] for entry in judged)
    counts = [(right, "right"), (len(judged) - right, "to practice"), (len(entries) - len(judged), "not judged")]
    words = ", ".join(f"{count} {what}" for count, what in counts if count)
    return f"{console.counted_noun(len(entries), 'recording')}: {words}\n"


def _is_judged(entry: Mapping[str, Any]) -> bool:
    return entry["report"] is not None and not entry["report"]["refusal"]


def _details(entries: Sequence[Mapping[str, Any]], width: int) -> Iterator[str]:
    """Yield for each recording that is judged its facts, its remarks and what to practice."""
    for entry in filter(_is_judged, entries):
        report = entry["report"]
        one = report["passes"][report["best"]]
        yield ""
        yield from _wrapped(
            f'{entry["file"]}: "{entry["lick"]}", {report["headline"]}, {one["score"]["of_100"]} of 100', width
        )
        for words in (*entry["notes"], *report["facts"]):
            yield from _wrapped(words, width, "   ")
        for number, remark in enumerate(one["remarks"], 1):
            yield from _wrapped(f"{remark['place']}: {remark['words']}", width, f"{number:4}. ")
        if report["practice"]:
            yield "   to practice:"
        for number, words in enumerate(report["practice"], 1):
            yield from _wrapped(words, width, f"{number:4}. ")


def _cautions(entries: Sequence[Mapping[str, Any]], width: int) -> Iterator[str]:
    """Yield each caution, with the licks that it is about."""
    about: dict[str, list[str]] = {}
    for entry in entries:
        caution = entry["report"]["caution"] if entry["report"] is not None else ""
        if caution and entry["lick"] not in about.setdefault(caution, []):
            about[caution].append(entry["lick"])
    for caution, titles in about.items():
        yield ""
        yield from _wrapped(f"{', '.join(titles)}: {caution}", width)


def _wrapped(words: str, width: int, head: str = "") -> Iterator[str]:
    """Yield words behind a head, in lines that fit, the following ones hung under the first."""
    for n, line in enumerate(wrap_words(console.safe_text(words), width - len(head))):
        yield (" " * len(head) if n else head) + line
