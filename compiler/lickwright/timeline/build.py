"""Tree → Timeline: the bars of a lick are measured and played through.

In: one lick of a book. Out: its `Timeline`, or None where a limit is passed, and the findings about its fields and about
what has no meaning when it is played. Whether it can be played is judged by the checks.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.source import Source, Span
from lickwright.notation.build_music import MAX_EVENTS
from lickwright.notation.rules import LIMIT
from lickwright.notation.tree import Book, Field, Lick
from lickwright.settings.project_rules import ProjectRules
from lickwright.settings.resolution import FileHead, read_head, resolve_settings
from lickwright.timeline.bar_builder import build_bars
from lickwright.timeline.model import Timeline
from lickwright.timeline.navigation import sections_with_jumps
from lickwright.timeline.note_builder import NoteBuilder
from lickwright.timeline.repeats import played_events, playing_order, repeat_sections

MAX_FINDINGS = 1_000  # of one lick
MAX_REPEATED_FINDINGS = 10  # findings about a file's head that are repeated for each of its licks


def build_timeline(
    lick: Lick, book: Book, source: Source, project: ProjectRules | None = None
) -> tuple[Timeline | None, list[Diagnostic]]:
    """Return the timeline of a lick, None where it has no bars or passes a limit, and the findings on the way."""
    head = _head(book, project)
    own = [entry for entry in lick.fields if isinstance(entry, Field)]
    settings, found = resolve_settings(head, own, lick.title_span)
    of_head = head.fields.found
    found = (of_head if lick is book.licks[0] else _worst_few(of_head)) + found
    played: list[Diagnostic] = []

    def report(rule: Rule, span: Span, message: str, hint: str) -> None:
        if len(played) < MAX_FINDINGS:
            played.append(rule.at(span, message, hint))

    written = build_bars(lick, settings, report)
    if not written.bars:
        return None, found + played
    parts = sections_with_jumps(repeat_sections(written.bars, report), written.bars, report)
    events = played_events(parts, written.bars)
    if events > MAX_EVENTS:  # repeats played out
        hint = f"with its repeats a lick holds {MAX_EVENTS:,} events at most: play it fewer times, or make it several licks"
        found.append(LIMIT.at(lick.title_span, f"the lick would be {_rounded(events)} events long", hint))
        return None, found + played
    music = NoteBuilder(written, settings, report).play(playing_order(parts))
    timeline = Timeline(
        lick.title, settings, written.grain, written.bars, written.slots, written.words, written.tuplets, written.directions,
        tuple(music.passes), tuple(music.sounds), tuple(music.tempos), tuple(music.fermatas), music.end, lick.span, written.unknown,
    )  # fmt: skip
    return timeline, found + _placed(played, timeline)


_last_head: list[tuple[Book, ProjectRules | None, FileHead]] = []  # of the book read last, and its project


def _head(book: Book, project: ProjectRules | None) -> FileHead:
    """Return the head of a book, read once: a file may have ten thousand licks."""
    for last, its_project, head in _last_head:
        if last is book and its_project is project:
            return head
    head = read_head((entry for entry in book.head if isinstance(entry, Field)), project)
    _last_head[:] = [(book, project, head)]
    return head


def _worst_few(found: list[Diagnostic]) -> list[Diagnostic]:
    """Return what is said of a file's head again in every lick but the first: a few findings, errors first."""
    return sorted(found, key=lambda d: d.severity is not Severity.ERROR)[:MAX_REPEATED_FINDINGS]


def _rounded(number: int) -> str:
    return f"{number:,}" if number < 10**9 else f"{number:.1e}"


def _placed(played: list[Diagnostic], timeline: Timeline) -> list[Diagnostic]:
    """Return the findings with their bars and beats, from their places in the text; bars and slots are in its order."""
    if not played:
        return []
    from bisect import bisect_left, bisect_right

    from lickwright.core.fast_dataclass import replace
    from lickwright.timeline.bar_count import count_name

    bars = [bar for bar in timeline.bars if not bar.same]
    bar_starts = [bar.span.start for bar in bars]
    slot_starts = [slot.event.span.start for slot in timeline.slots]

    def placed(d: Diagnostic) -> Diagnostic:
        at = d.span.start
        # A place on the border of two bars belongs to the earlier one.
        n = bisect_left(bar_starts, at)
        n -= n == len(bars) or bar_starts[n] > at or (n > 0 and bars[n - 1].span.end >= at)
        if n < 0 or not bars[n].span.start <= at <= bars[n].span.end:
            return d
        bar = bars[n]
        last = bisect_right(slot_starts, at, bar.first, bar.last) - 1
        if last < bar.first or at >= timeline.slots[last].event.span.end:
            return replace(d, bar=bar.number)
        slot = timeline.slots[bisect_left(slot_starts, slot_starts[last], bar.first, bar.last)]  # the first of a `---`
        return replace(d, bar=bar.number, beat=count_name(timeline, bar, slot.at))

    return [placed(d) for d in played]
