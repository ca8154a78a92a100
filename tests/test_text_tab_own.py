"""Our own text tab read back: string, fret, instant, length and technique of every note, and the signs of every bar.

What a text tab cannot say is left out of the comparison, and is listed in grammar/reading.md: which note of a chord an accent or a dot
stands over, how a step is shared by a bend and the vibrato after it, a hammer-on or slide from nowhere on a string that still sounds, what
goes on into a `%`.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import pytest

from lickwright.compiler import compile_text
from lickwright.core.source import Source
from lickwright.export import LoweredLick, Options
from lickwright.export.tab import emit
from lickwright.importers import import_source
from lickwright.importers.draft import DraftGroup, DraftNote, GroupKind, LickDraft
from lickwright.importers.text_tab.reader import read_text_tab
from lickwright.importers.text_tab.text_lines import decode_text
from lickwright.importers.timeline_draft import draft_from_timeline
from lickwright.importers.write_lick import write_licks
from lickwright.notation.syntax import parse_source
from lickwright.notation.techniques import QUARTER_BEND, Curve
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import Timeline
from made_licks import made_lick

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
NOWHERE = {"hammered from nowhere": "hammer-on", "slide in from below": "slide up", "slide in from above": "slide down"}
OF_A_CHORD = {"accent", "short"}


def timelines(text: str) -> list[Timeline]:
    source = Source("-", text)
    book, _ = parse_source(source)
    found = [build_timeline(lick, book, source)[0] for lick in book.licks]
    return [timeline for timeline in found if timeline is not None]


def printed(timeline: Timeline, width: int) -> bytes:
    data = emit(LoweredLick(timeline), Options(width=width)).data
    assert isinstance(data, bytes)
    return data


def note_key(group: DraftGroup, note: DraftNote) -> tuple[Any, ...]:
    marks = {mark.name for mark in note.marks} - (OF_A_CHORD if len(group.notes) > 1 else set())
    shapes = tuple(
        (
            "bend" if shape.technique is QUARTER_BEND else shape.technique.name,
            Fraction(1, 2) if shape.technique is QUARTER_BEND else shape.by,
            shape.at if shape.technique.curve is not Curve.VIBRATO and shape.at >= Fraction(1, 8) else 0,
        )
        for shape in note.shapes
    )
    head = note.head.name if note.head is not None else ""
    begin = NOWHERE.get(note.begin.name, note.begin.name)
    return (note.string, note.fret, note.touch, head, note.length, begin, tuple(sorted(marks)), shapes, note.trill)


def keys(draft: LickDraft) -> list[tuple[Any, ...]]:
    found: list[tuple[Any, ...]] = []
    for n, bar in enumerate(draft.bars):
        found.append(
            (
                n,
                "bar",
                bar.length,
                bar.same,
                bar.repeat_start,
                bar.repeat_end,
                bar.ending,
                tuple(m.sign for m in bar.marks),
            )
        )
        order: Counter[Fraction] = Counter()
        for group in bar.groups:
            lead = order[group.at] if group.kind is not GroupKind.NOTE else -1
            order[group.at] += 1
            found += [(n, group.at, group.kind, lead, group.roll, *note_key(group, note)) for note in group.notes]
    return sorted(found, key=str)


def assert_reads_back(timeline: Timeline, width: int) -> None:
    drafts = read_text_tab(decode_text(printed(timeline, width), "tab.txt"))
    assert len(drafts) == 1
    assert keys(drafts[0]) == keys(draft_from_timeline(timeline))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_read_back(path: Path) -> None:
    for n, timeline in enumerate(timelines(path.read_text("utf-8"))):
        assert_reads_back(timeline, (80, 60, 120)[n % 3])


def test_a_file_of_several_licks_reads_back() -> None:
    every = timelines(SAMPLES[0].read_text("utf-8"))
    text = b"\n".join(printed(timeline, 80) for timeline in every)
    drafts = read_text_tab(decode_text(text, "tab.txt"))
    assert [draft.title for draft in drafts] == [timeline.title for timeline in every]
    assert [keys(draft) for draft in drafts] == [keys(draft_from_timeline(timeline)) for timeline in every]


def test_what_is_read_back_is_written_again() -> None:
    for path in SAMPLES[::6]:
        for timeline in timelines(path.read_text("utf-8")):
            drafts = read_text_tab(decode_text(printed(timeline, 80), "tab.txt"))
            written = write_licks(drafts)
            assert [doubt for doubt in written.doubts if doubt.rule.code.startswith("L80")] == [], timeline.title
            again = timelines(written.text)[0]
            assert keys(draft_from_timeline(again)) == keys(draft_from_timeline(timeline)), timeline.title
            assert again.settings.tuning == timeline.settings.tuning
            assert (again.settings.feel, again.settings.capo) == (timeline.settings.feel, timeline.settings.capo)
            assert [t.qpm for t in again.tempos] == [t.qpm for t in timeline.tempos]


def made_timelines(seeds: range) -> list[Timeline]:
    found = []
    for seed in seeds:
        music, fields = made_lick(Random(seed))
        if (
            "%" not in music or "- " not in music.split("%")[0].rsplit("|", 2)[-2][:4]
        ):  # what goes on into a `%` is not shown
            found += timelines("\n".join((*fields, f'lick "made {seed}"', music)))
    return found


def test_made_licks_read_back() -> None:
    for timeline in made_timelines(range(40)):
        assert_reads_back(timeline, 80)


@pytest.mark.slow
def test_many_made_licks_read_back() -> None:
    for n, timeline in enumerate(made_timelines(range(1000, 1500))):
        assert_reads_back(timeline, (60, 80, 120)[n % 3])


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("meter 4/4", "meter 0/4"),
        ("meter 4/4", "meter 4/drop D"),
        ("meter 4/4", "meter none"),
        ("meter 4/4", "meter 4/4 2+"),
        ("meter 4/4", "meter 4/4, with a pick-up of 1/7"),
        ("meter 4/4", "meter 4/4, with a pick-up of 1/4; bars , shorter by as much"),
        ("tempo 1/4 = 96", "tempo 1/3 = 96"),
        ("tempo 1/4 = 96", "tempo 1/4 = 9.6.0"),
        ("tempo 1/4 = 96", "tempo 1/4 = 96 (written: .)"),
    ],
)
def test_a_heading_changed_by_hand_to_no_value_becomes_a_comment(before: str, after: str) -> None:
    text = """Porch

tuning E A D G B E
tempo 1/4 = 96
meter 4/4


e|-----------------|
B|-8---5-----------|
G|---------7---5---|
D|-----------------|
A|-----------------|
E|-----------------|
"""
    assert before in text
    imported = import_source(text.replace(before, after).encode(), "porch.txt")
    assert imported.notes == 4
    assert f"# {after}\n" in imported.text
    assert any(finding.code == "L811" and after in finding.message for finding in imported.findings)
    assert compile_text(imported.text).ok
