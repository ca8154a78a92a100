"""A picture of a take as SVG: the pitch that was played over the notes of the lick, and its time above.

In: a `Judgement` and the `Hearing` that it comes from. Out: the text of an SVG file, one row for each few seconds. What is said by color is said by shape or
by words as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, takewhile
from typing import NamedTuple

import numpy as np

from lickwright.core.xml_text import escape_xml
from lickwright.export.tab.lanes import wrap_words
from lickwright.listen.deviations import note_deviations
from lickwright.listen.features import FRAME
from lickwright.listen.model import ExtraNote, HeardNote, HeardPause, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.stretches import CLEAR, Hearing
from lickwright.listen.summary import TakeSummary, summarize_take
from lickwright.music.pitch import pitch_name
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import pitch_offsets
from lickwright.report.console import counted_noun
from lickwright.timeline.model import bar_name

_LONGEST_ROW, _SHORTEST_ROW = 9.0, 4.0  # seconds in a row
_WIDTH = 800.0  # units that a row is wide
_STEP = 11.0  # units a semitone
_LEFT, _TIME, _GAP = 56.0, 68.0, 30.0  # units: before the music, for bars, remarks and time, between rows
_FIRST_LINE, _LINE = 42.0, 14.0  # units: where the lines of words under the title begin, and from one to the next
_LETTER = 6.0  # units that a letter is wide, about
_LETTERS = 130  # in a line of words
_FACTS = 6  # that are said at most
_TAIL = 0.5  # seconds after the last note that are shown
_LEAST = 0.025  # seconds from which on a note's lateness is written
_LEAP = 0.8  # semitones between two frames that are no bend and no slide
_SOFT = 40.0  # decibels below the loudest: what is softer has no curve
_INK, _PAPER, _GRID, _GOAL, _PLAYED, _WRONG, _PALE = (
    "#222222",
    "#ffffff",
    "#dddddd",
    "#b9c7d8",
    "#1b5e8c",
    "#b3261e",
    "#5f6368",
)
_LEGEND = (
    "light bars: the lick, with string and fret; dark line: what you played, where one string sounds; dashed: missing; crossed: wrong",
    "dots: when you played, with ms late (+) or early (-) against the small line, a ring where that is not told; red numbers: the remarks in the report",
)


def draw_take(judgement: Judgement, hearing: Hearing, performance: Performance) -> str:
    """Return the best pass as SVG. Of a recording that was not recognized there is only the refusal."""
    if judgement.refusal:
        words = escape_xml(f"{judgement.timeline.title}: {judgement.refusal.words}")
        return _svg(720, 60, [f'<text x="16" y="36" font-size="15">{words}</text>'], words)
    return _Picture(judgement, summarize_take(judgement), hearing, performance).svg()


def _svg(width: float, height: float, parts: Sequence[str], title: str) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'role="img" font-family="sans-serif" font-size="11" fill="{_INK}"><title>{title}</title>'
    )
    return "\n".join((head, f'<rect width="{width:.0f}" height="{height:.0f}" fill="{_PAPER}"/>', *parts, "</svg>\n"))


class _Picture:
    """One pass, drawn row by row."""

    def __init__(self, judgement: Judgement, summary: TakeSummary, hearing: Hearing, performance: Performance) -> None:
        self._timeline, self._one, self._hearing = judgement.timeline, judgement.passes[judgement.best], hearing
        self._higher = judgement.tuning + judgement.shift
        self._events = {event.sound: event for event in performance.notes if event.part == 0}
        self._leaps = [_Leap(skip.at, _left_out(self._one, skip)) for skip in self._one.skips]
        self._shown = self._shown_notes()
        self._low, self._high = self._pitch_range()
        self._height = (self._high - self._low) * _STEP + _TIME
        self._starts = self._note_starts()
        self._bar_starts = self._first_notes()
        self._end = max(self._starts[n.sound.index] + self._length(n) for n in self._shown)
        self._edges = self._row_edges(max(0.0, self._one.start - 0.3), min(self._one.stop, self._last()) + 0.1)
        self._rows = len(self._edges) - 1
        longest = max(b - a for a, b in pairwise(self._edges))
        self._scale = _WIDTH / max(_SHORTEST_ROW, longest)  # units a second
        self._numbers: dict[int, list[str]] = {}
        for number, remark in enumerate(summary.remarks, 1):
            self._numbers.setdefault(remark.sound.index, []).append(str(number))
        self._words = [*((line, _INK) for line in _fact_lines(summary.facts)), *((line, _PALE) for line in _LEGEND)]
        self._top = _FIRST_LINE + _LINE * len(self._words) - 8

    def svg(self) -> str:
        width = _LEFT + _WIDTH + 16
        height = self._top + self._rows * (self._height + _GAP)
        words = escape_xml(f"{self._timeline.title}: {self._one.score.of_100} of 100")
        parts = [f'<text x="16" y="24" font-size="15">{words}</text>']
        parts += [
            f'<text x="16" y="{_FIRST_LINE + _LINE * n:.0f}" fill="{color}">{escape_xml(line)}</text>'
            for n, (line, color) in enumerate(self._words)
        ]
        for row in range(self._rows):
            parts += self._row(row)
        return _svg(width, height, parts, words)

    def _shown_notes(self) -> list[HeardNote]:
        """Return the notes that have a place in the picture: not those that a leap left out, nor those after the take breaks off."""
        last = self._one.ends_at
        gone = {id(note) for leap in self._leaps for note in leap.notes}
        return [
            note
            for note in self._one.notes
            if id(note) not in gone and (last is None or note.sound.start <= last.start)
        ]

    def _pitch_range(self) -> tuple[int, int]:
        """Return the lowest and the highest pitch that there is room for."""
        pitches = [note.written for note in self._shown] + [n.pitch for n in self._shown if n.pitch is not None]
        return int(min(pitches)) - 2, int(max(pitches)) + 4

    def _last(self) -> float:
        """Return where the picture ends in the recording, in seconds."""
        return max([self._end, *(extra.at for extra in self._one.extras)]) + _TAIL

    def _note_starts(self) -> dict[int, float]:
        """Return when each note begins, or should have begun; one that was left out is where the music leaps."""
        told = [(self._events[n.sound.index].start, n.onset) for n in self._shown if n.onset is not None]
        written, heard = np.array([a for a, _ in told]), np.array([b for _, b in told])
        found = {note.sound.index: leap.at for leap in self._leaps for note in leap.notes}
        for note in self._shown:
            at = self._events[note.sound.index].start
            found[note.sound.index] = note.onset if note.onset is not None else float(np.interp(at, written, heard))
        return found

    def _first_notes(self) -> dict[tuple[int, int], float]:
        """Return when each bar's first note began, or should have begun, by bar and the time that it is played; not of bars whose first one is not shown."""
        found: dict[tuple[int, int], float] = {}
        shown = {id(note) for note in self._shown}
        seen: set[tuple[int, int]] = set()
        for note in self._one.notes:
            bar = (note.sound.bar, note.sound.pass_no)
            if bar not in seen and id(note) in shown:
                found[bar] = self._starts[note.sound.index]
            seen.add(bar)
        return found

    def _row_edges(self, begin: float, stop: float) -> list[float]:
        """Return where rows begin, and where the last one ends, in seconds: at bars, where one is near enough."""
        bars = list(self._bar_starts.values())
        edges = [begin]
        while stop - edges[-1] > _LONGEST_ROW:
            fits = [start for start in bars if _SHORTEST_ROW / 2 < start - edges[-1] <= _LONGEST_ROW]
            edges.append(fits[-1] if fits else edges[-1] + _LONGEST_ROW)
        return [*edges, stop]

    def _x(self, seconds: float, row: int) -> float:
        return _LEFT + (seconds - self._edges[row]) * self._scale

    def _y(self, pitch: float, row: int) -> float:
        return self._top + row * (self._height + _GAP) + _TIME + (self._high - pitch) * _STEP

    def _row(self, row: int) -> Iterator[str]:
        first, last = self._edges[row], self._edges[row + 1]
        yield from self._grid(row)
        top = self._y(self._high, row) - _TIME
        yield f'<clipPath id="row-{row}"><rect x="{_LEFT - 5:.0f}" y="{top:.0f}" width="{_WIDTH + 15:.0f}" height="{self._height:.0f}"/></clipPath>'
        yield f'<g clip-path="url(#row-{row})">'
        for note in self._shown:
            start = self._starts[note.sound.index]
            if first - self._length(note) + _LEAST < start < last:
                yield from self._note(note, start, row)
        for extra in self._one.extras:
            if first <= extra.at < last:
                yield from self._extra(extra, row)
        yield "</g>"
        for note in self._shown:
            if first <= self._starts[note.sound.index] < last:
                yield from self._time(note, self._x(self._starts[note.sound.index], row), row)
        yield from self._bars(row)
        yield from self._badges(row)
        yield from self._jumps(row)
        yield from self._curve(row)

    def _length(self, note: HeardNote) -> float:
        """Return the seconds that a note should last at the tempo that was played."""
        event = self._events[note.sound.index]
        return (event.end - event.start) * self._one.pace

    def _extra(self, extra: ExtraNote, row: int) -> Iterator[str]:
        x, y = self._x(extra.at, row), self._y(extra.pitch, row)
        yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="none" stroke="{_WRONG}" stroke-width="2"/>'
        yield f'<text x="{x:.1f}" y="{y - 9:.1f}" text-anchor="middle" fill="{_WRONG}">too many</text>'

    def _bars(self, row: int) -> Iterator[str]:
        """Yield a line and the name of each bar, where its first note was played or should have been."""
        first, last = self._edges[row], self._edges[row + 1]
        here = [(self._x(start, row) - 4, bar) for bar, start in self._bar_starts.items() if first <= start < last]
        top, low = self._y(self._high, row) - _TIME, self._y(self._low, row)
        next_lines = [x for x, _ in here[1:]] + [np.inf]
        for (x, (bar, time)), following in zip(here, next_lines, strict=False):  # a row may have no bar
            name = escape_xml(bar_name(self._timeline.bars[bar].number, time))
            room = following - x > 8 + _LETTER * len(name)
            side, by = ("start", 4) if room else ("end", -4)  # a pick-up is short: its name stands before it
            yield f'<path d="M{x:.1f} {top + 4:.1f}V{low:.1f}" stroke="{_PALE}" stroke-dasharray="2 4"/>'
            yield f'<text x="{x + by:.1f}" y="{top + 13:.1f}" text-anchor="{side}" fill="{_PALE}">{name}</text>'

    def _badges(self, row: int) -> Iterator[str]:
        """Yield the numbers of the remarks over the notes that they are about."""
        first, last = self._edges[row], self._edges[row + 1]
        taken = -np.inf  # until where there is a badge
        noted = [note for note in self._one.notes if note.sound.index in self._numbers]
        for note in sorted(noted, key=lambda note: self._starts[note.sound.index]):
            words = ",".join(self._numbers[note.sound.index])
            start = self._starts[note.sound.index]
            if first <= start < last:
                wide = 8 + 6.5 * len(words)
                x = max(self._x(start, row) - wide / 2, taken + 2)
                y = self._y(self._high, row) - 44
                taken = x + wide
                yield f'<rect x="{x:.1f}" y="{y - 8:.1f}" width="{wide:.1f}" height="15" rx="7" fill="{_WRONG}"/>'
                yield f'<text x="{x + wide / 2:.1f}" y="{y + 3.5:.1f}" text-anchor="middle" fill="{_PAPER}" font-weight="bold">{words}</text>'

    def _jumps(self, row: int) -> Iterator[str]:
        """Yield the words for pauses, in the gap that they make, and for what was left out, where the music leaps."""
        y = self._y(self._high, row) + 8
        first, last = self._edges[row], self._edges[row + 1]
        for pause in self._one.pauses:
            if first < pause.at <= last:
                start, stop = self._x(max(first, pause.at - pause.seconds), row), self._x(pause.at, row) - 6
                yield f'<path d="M{start:.1f} {y - 4:.1f}v8m0 -4H{stop:.1f}m0 -4v8" fill="none" stroke="{_PALE}"/>'
                yield f'<text x="{(start + stop) / 2:.1f}" y="{y + 14:.1f}" text-anchor="middle">pause {pause.seconds:.1f} s</text>'
        for leap in self._leaps:
            if leap.notes and first <= leap.at <= last:
                x, low = self._x(leap.at, row) - 4, self._y(self._low, row)
                words = f"{counted_noun(len(leap.notes), 'note')} left out"
                side, by = ("start", 5) if x < _LEFT + _WIDTH / 2 else ("end", -5)
                yield f'<path d="M{x:.1f} {y - 8:.1f}V{low:.1f}" stroke="{_WRONG}" stroke-width="2" stroke-dasharray="6 3"/>'
                yield f'<text x="{x + by:.1f}" y="{y + 4:.1f}" text-anchor="{side}" fill="{_WRONG}">{words}</text>'

    def _grid(self, row: int) -> Iterator[str]:
        right = _LEFT + _WIDTH
        used = {round(note.written) for note in self._shown}
        for pitch in sorted(used):
            y = self._y(pitch, row)
            yield f'<path d="M{_LEFT:.0f} {y:.1f}H{right:.0f}" stroke="{_GRID}"/>'
            yield f'<text x="{_LEFT - 8:.0f}" y="{y + 4:.1f}" text-anchor="end">{escape_xml(pitch_name(pitch))}</text>'
        first, last = self._edges[row], self._edges[row + 1]
        for at in range(int(np.ceil(first)), int(last) + 1):
            x, y = self._x(at, row), self._y(self._low, row)
            yield f'<path d="M{x:.1f} {y:.1f}v5" stroke="{_INK}"/><text x="{x:.1f}" y="{y + 16:.1f}" text-anchor="middle">{at} s</text>'

    def _note(self, note: HeardNote, start: float, row: int) -> Iterator[str]:
        event = self._events[note.sound.index]
        x, y = self._x(start, row), self._y(note.written, row)
        width = max(6.0, self._length(note) * self._scale - 3)
        missing, wrong = note.verdict is NoteVerdict.MISSING, note.verdict is NoteVerdict.WRONG
        style = f'fill="none" stroke="{_WRONG}" stroke-dasharray="4 3"' if missing else f'fill="{_GOAL}"'
        yield f'<rect x="{x:.1f}" y="{y - 4:.1f}" width="{width:.1f}" height="8" rx="3" {style}/>'
        if wrong:
            yield f'<path d="M{x:.1f} {y - 6:.1f}l12 12m0 -12l-12 12" stroke="{_WRONG}" stroke-width="2"/>'
        yield from self._goal(event, start, row)
        if note.sound.fret is not None:
            name = f"{self._timeline.settings.tuning.label(note.sound.string)}{note.sound.fret}"
            yield f'<text x="{x:.1f}" y="{y + 15:.1f}" font-size="10" fill="{_PALE}">{escape_xml(name)}</text>'

    def _goal(self, event: NoteEvent, start: float, row: int) -> Iterator[str]:
        """Yield the way that a bend, a slide or a vibrato should go."""
        if not event.moves:
            return
        times = np.linspace(event.start, event.end, 60)
        offsets = pitch_offsets(event.moves, list(times))
        points = " ".join(
            f"{self._x(start + (t - event.start) * self._one.pace, row):.1f},{self._y(event.pitch + off, row):.1f}"
            for t, off in zip(times, offsets, strict=True)
        )
        yield f'<polyline points="{points}" fill="none" stroke="{_GOAL}" stroke-width="6" stroke-linejoin="round"/>'

    def _time(self, note: HeardNote, x: float, row: int) -> Iterator[str]:
        y = self._y(self._high, row) - 16
        if note.onset is None:
            return
        if note.late is None:
            yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="none" stroke="{_INK}"/>'
            return
        should = x - note.late * self._scale
        late = any(deviation.about == "time" for deviation in note_deviations(note))
        color = _WRONG if late else _INK
        yield f'<path d="M{should:.1f} {y - 6:.1f}v12" stroke="{_GRID}" stroke-width="2"/><circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{color}"/>'
        if abs(note.late) >= _LEAST:
            weight = ' font-weight="bold"' if late else ""
            yield f'<text x="{x:.1f}" y="{y - 9:.1f}" text-anchor="middle" fill="{color}"{weight}>{note.late * 1000:+.0f}</text>'

    def _curve(self, row: int) -> Iterator[str]:
        """Yield what was played, where its pitch is clear, in pieces that end where it leaps to another note."""
        features = self._hearing.features
        first = round(self._edges[row] / FRAME)
        last = min(len(features.pitch), round(self._edges[row + 1] / FRAME))
        points: list[str] = []
        before = 0.0
        for k in range(first, last):
            pitch = float(features.pitch[k]) - self._higher
            clear = features.clarity[k] > CLEAR and features.level[k] > features.loud - _SOFT
            shown = clear and self._low <= pitch <= self._high
            if not shown or abs(pitch - before) > _LEAP:
                if k * FRAME > self._end:
                    break  # what a string does as it dies away is not a note
                yield from _polyline(points)
                points = []
            if shown:
                points.append(f"{self._x(k * FRAME, row):.1f},{self._y(pitch, row):.1f}")
            before = pitch
        yield from _polyline(points)


class _Leap(NamedTuple):
    """Where the music goes on too soon."""

    at: float  # seconds in the recording
    notes: list[HeardNote]  # that were left out


def _left_out(one: JudgedPass, skip: HeardPause) -> list[HeardNote]:
    """Return the notes of a pass that were left out just before a leap."""
    before = [note for note in one.notes if note.sound.start < skip.before.start]
    return list(takewhile(lambda note: note.onset is None, reversed(before)))[::-1]


def _fact_lines(facts: Sequence[str]) -> Iterator[str]:
    """Yield what holds for the whole, in lines that fit."""
    for fact in facts[:_FACTS]:
        yield from wrap_words(fact, _LETTERS)
    if len(facts) > _FACTS:
        yield f"and {len(facts) - _FACTS} more in the report"


def _polyline(points: Sequence[str]) -> Iterator[str]:
    if len(points) > 3:
        yield f'<polyline points="{" ".join(points)}" fill="none" stroke="{_PLAYED}" stroke-width="1.6"/>'
