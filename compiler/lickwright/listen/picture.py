"""A picture of a take as SVG: the pitch that was played over the notes of the lick, and its time above.

In: a `Judgement` and the `Hearing` that it comes from. Out: the text of an SVG file, one row for each few seconds. What is said by color is said by shape or
by words as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

import numpy as np

from lickwright.listen.features import FRAME
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.stretches import CLEAR, Hearing
from lickwright.music.pitch import pitch_name
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import pitch_offsets

_ROW = 8.0  # seconds in a row
_SCALE = 100.0  # units a second
_STEP = 11.0  # units a semitone
_LEFT, _TOP, _TIME, _GAP = (
    56.0,
    44.0,
    46.0,
    26.0,
)  # units: before the music, above the first row, for the timing row, between rows
_LEAST = 0.025  # seconds from which on a note's lateness is written
_SOFT = 40.0  # decibels below the loudest: what is softer has no curve
_INK, _PAPER, _GRID, _GOAL, _PLAYED, _WRONG = "#222222", "#ffffff", "#dddddd", "#b9c7d8", "#1b5e8c", "#b3261e"


def draw_take(judgement: Judgement, hearing: Hearing, performance: Performance) -> str:
    """Return the best pass as SVG. Of a recording that was not recognized there is only the refusal."""
    if judgement.refusal:
        words = escape(f"{judgement.timeline.title}: {judgement.refusal}")
        return _svg(720, 60, [f'<text x="16" y="36" font-size="15">{words}</text>'], words)
    return _Picture(judgement, judgement.passes[judgement.best], hearing, performance).svg()


def _svg(width: float, height: float, parts: Sequence[str], title: str) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'role="img" font-family="sans-serif" font-size="11" fill="{_INK}"><title>{title}</title>'
    )
    return "\n".join((head, f'<rect width="{width:.0f}" height="{height:.0f}" fill="{_PAPER}"/>', *parts, "</svg>\n"))


class _Picture:
    """One pass, drawn row by row."""

    def __init__(self, judgement: Judgement, one: JudgedPass, hearing: Hearing, performance: Performance) -> None:
        self._title = judgement.timeline.title
        self._one, self._hearing = one, hearing
        self._higher = judgement.tuning + judgement.shift
        self._events = {event.sound: event for event in performance.notes if event.part == 0}
        self._begin = max(0.0, one.start - 0.3)
        self._rows = max(1, int(np.ceil((one.stop - self._begin) / _ROW)))
        pitches = [note.written for note in one.notes] + [note.pitch for note in one.notes if note.pitch is not None]
        self._low, self._high = int(min(pitches)) - 2, int(max(pitches)) + 4
        self._height = (self._high - self._low) * _STEP + _TIME
        self._starts = self._note_starts()

    def svg(self) -> str:
        width = _LEFT + _ROW * _SCALE + 16
        height = _TOP + self._rows * (self._height + _GAP)
        words = escape(f"{self._title}: {self._one.score.of_100} of 100")
        parts = [f'<text x="16" y="24" font-size="15">{words}</text>']
        parts.append(
            '<text x="16" y="42">bars: the lick; dark line: what was played; above: '
            "ms late (+) or early (-); dashed: missing; crossed: wrong</text>"
        )
        for row in range(self._rows):
            parts += self._row(row)
        return _svg(width, height, parts, words)

    def _note_starts(self) -> dict[int, float]:
        """Return when each note begins, or should have begun."""
        told = [(self._events[n.sound.index].start, n.onset) for n in self._one.notes if n.onset is not None]
        written, heard = np.array([a for a, _ in told]), np.array([b for _, b in told])
        found = {}
        for note in self._one.notes:
            at = self._events[note.sound.index].start
            found[note.sound.index] = note.onset if note.onset is not None else float(np.interp(at, written, heard))
        return found

    def _x(self, seconds: float, row: int) -> float:
        return _LEFT + (seconds - self._begin - row * _ROW) * _SCALE

    def _y(self, pitch: float, row: int) -> float:
        return _TOP + row * (self._height + _GAP) + _TIME + (self._high - pitch) * _STEP

    def _row(self, row: int) -> Iterator[str]:
        first = self._begin + row * _ROW
        yield from self._grid(row)
        for note in self._one.notes:
            start = self._starts[note.sound.index]
            if first <= start < first + _ROW:
                yield from self._note(note, start, row)
        for extra in self._one.extras:
            if first <= extra.at < first + _ROW:
                x, y = self._x(extra.at, row), self._y(extra.pitch, row)
                yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="none" stroke="{_WRONG}" stroke-width="2"/>'
                yield f'<text x="{x:.1f}" y="{y - 9:.1f}" text-anchor="middle" fill="{_WRONG}">extra</text>'
        yield from self._curve(row)

    def _grid(self, row: int) -> Iterator[str]:
        right = _LEFT + _ROW * _SCALE
        used = {round(note.written) for note in self._one.notes}
        for pitch in sorted(used):
            y = self._y(pitch, row)
            yield f'<path d="M{_LEFT:.0f} {y:.1f}H{right:.0f}" stroke="{_GRID}"/>'
            yield f'<text x="{_LEFT - 8:.0f}" y="{y + 4:.1f}" text-anchor="end">{escape(pitch_name(pitch))}</text>'
        for second in range(int(_ROW) + 1):
            at = self._begin + row * _ROW + second
            x, y = self._x(at, row), self._y(self._low, row)
            yield f'<path d="M{x:.1f} {y:.1f}v5" stroke="{_INK}"/><text x="{x:.1f}" y="{y + 16:.1f}" text-anchor="middle">{at:.1f} s</text>'

    def _note(self, note: HeardNote, start: float, row: int) -> Iterator[str]:
        event = self._events[note.sound.index]
        x, y = self._x(start, row), self._y(note.written, row)
        width = max(6.0, (event.end - event.start) * self._one.pace * _SCALE - 3)
        missing, wrong = note.verdict is NoteVerdict.MISSING, note.verdict is NoteVerdict.WRONG
        style = f'fill="none" stroke="{_WRONG}" stroke-dasharray="4 3"' if missing else f'fill="{_GOAL}"'
        yield f'<rect x="{x:.1f}" y="{y - 4:.1f}" width="{width:.1f}" height="8" rx="3" {style}/>'
        if wrong:
            yield f'<path d="M{x:.1f} {y - 6:.1f}l12 12m0 -12l-12 12" stroke="{_WRONG}" stroke-width="2"/>'
        yield from self._goal(event, start, row)
        yield from self._time(note, x, row)

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
        if note.late is None or note.onset is None:
            return
        y = self._y(self._high, row) - 16
        should = x - note.late * _SCALE
        late = bool(note.kinds) and abs(note.late) >= 0.06
        color = _WRONG if late else _INK
        yield f'<path d="M{should:.1f} {y - 6:.1f}v12" stroke="{_GRID}" stroke-width="2"/><circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{color}"/>'
        if abs(note.late) >= _LEAST:
            weight = ' font-weight="bold"' if late else ""
            yield f'<text x="{x:.1f}" y="{y - 9:.1f}" text-anchor="middle" fill="{color}"{weight}>{note.late * 1000:+.0f}</text>'

    def _curve(self, row: int) -> Iterator[str]:
        """Yield what was played, where its pitch is clear, in pieces."""
        features = self._hearing.features
        first = round((self._begin + row * _ROW) / FRAME)
        last = min(len(features.pitch), first + round(_ROW / FRAME))
        points: list[str] = []
        for k in range(first, last):
            pitch = float(features.pitch[k]) - self._higher
            clear = features.clarity[k] > CLEAR and features.level[k] > features.loud - _SOFT
            if clear and self._low <= pitch <= self._high:
                points.append(f"{self._x(k * FRAME, row):.1f},{self._y(pitch, row):.1f}")
                continue
            yield from _polyline(points)
            points = []
        yield from _polyline(points)


def _polyline(points: Sequence[str]) -> Iterator[str]:
    if len(points) > 3:
        yield f'<polyline points="{" ".join(points)}" fill="none" stroke="{_PLAYED}" stroke-width="1.6"/>'
