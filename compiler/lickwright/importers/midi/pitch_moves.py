"""The pitch of one MIDI note over time → bends, releases, vibrato, slides and moves of the bar.

In: the curve of a note, as seconds and semitones. Out: `PitchMove`s in order of time. A curve that goes steadily to another pitch and stays is a bend where a
hand can bend so far, else a slide; one that goes to and fro is vibrato.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

_STILL = 0.08  # semitones within which a pitch stays where it is
_LEAST = 0.3  # semitones of a bend
_FARTHEST_BEND = 4.6  # semitones; what goes farther is a slide
_SWING_MOST = 1.2  # semitones of a vibrato, from low to high
_TURNS = 3  # of the pitch, from which it is vibrato
_QUICK = 0.16  # seconds, in which a pitch that begins off its note comes to it: a slide into it
_USUAL_BEND = 0.25  # seconds that a bend takes
_OFF = 0.6  # share of the note after which a pitch that leaves for good slides off
_WIDE = 0.5  # semitones from which a vibrato is wide


class MoveKind(StrEnum):
    """What the pitch does."""

    PREBEND = "pre-bend"
    BEND = "bend"
    RELEASE = "release"
    VIBRATO = "vibrato"
    SLIDE = "slide"  # to another fret, where it stays
    SLIDE_IN = "slide in"
    SLIDE_OFF = "slide off"
    DIVE = "dive"
    DIP = "dip"
    SCOOP = "scoop"


class PitchMove(NamedTuple):
    """One thing that the pitch of a note does."""

    kind: MoveKind
    start: float  # seconds from the start of the note
    end: float
    level: float  # semitones off the note where it ends up; of a vibrato its width


class _Run(NamedTuple):
    """A stretch in which the pitch goes one way."""

    start: float
    end: float
    before: float
    after: float

    @property
    def change(self) -> float:
        return self.after - self.before


def pitch_moves(times: Sequence[float], values: Sequence[float], length: float) -> list[PitchMove]:
    """Return what the pitch of a note of a length (seconds) does; times begin with 0."""
    if max(values) - min(values) < _STILL and abs(values[0]) < _STILL:
        return []
    runs = _runs(times, values, length)
    found: list[PitchMove] = []
    first = values[0]
    if abs(first) >= _LEAST:
        found += _beginning(first, runs)
    n = 0
    while n < len(runs):
        turns = _shaking(runs, n)
        if turns:
            part = runs[n : n + turns]
            width = max(abs(run.change) for run in part)
            found.append(PitchMove(MoveKind.VIBRATO, part[0].start, part[-1].end, width))
            n += turns
            continue
        move = _move(runs, n, length)
        if move is not None and found and found[-1].kind is MoveKind.VIBRATO and move.end - move.start > _USUAL_BEND:
            move = move._replace(start=move.end - _USUAL_BEND)  # the last of the vibrato runs into it
        if move is not None:
            found.append(move)
            n += 2 if move.kind is MoveKind.DIP else 1
        else:
            n += 1
    return found


def is_wide(move: PitchMove) -> bool:
    """Return whether a vibrato is a wide one."""
    return move.level > _WIDE


def _runs(times: Sequence[float], values: Sequence[float], length: float) -> list[_Run]:
    """Return the stretches in which the pitch goes one way, without those too small to be heard."""
    found: list[_Run] = []
    at = 0
    while at + 1 < len(values):
        way = values[at + 1] - values[at]
        end = at + 1
        while (
            end + 1 < len(values) and (values[end + 1] - values[end]) * way > 0 and times[end + 1] - times[end] < 0.06
        ):
            end += 1
        if abs(values[end] - values[at]) >= _STILL:
            start = times[at] if times[at + 1] - times[at] < 0.03 or end > at + 1 else times[at + 1]
            if times[at + 1] - times[at] > 0.03:
                start = times[at + 1] - 0.01
            found.append(_Run(max(0.0, start), times[end], values[at], values[end]))
        at = end
    return _merged(found)


def _merged(runs: list[_Run]) -> list[_Run]:
    """Join stretches that go the same way with hardly a stop between: the steps of a slide over frets."""
    found: list[_Run] = []
    for run in runs:
        last = found[-1] if found else None
        if last is not None and last.change * run.change > 0 and run.start - last.end < 0.07:
            found[-1] = _Run(last.start, run.end, last.before, run.after)
        else:
            found.append(run)
    return found


def _shaking(runs: Sequence[_Run], at: int) -> int:
    """Return how many stretches from one on are one vibrato; 0 for none."""
    count = 0
    for n in range(at, len(runs)):
        run = runs[n]
        gap = run.start - runs[n - 1].end if n > at else 0.0
        turned = n == at or run.change * runs[n - 1].change < 0
        if abs(run.change) > _SWING_MOST or gap > 0.05 or not turned or run.end - run.start > 0.25:
            break
        count += 1
    return count if count >= _TURNS else 0


def _beginning(first: float, runs: Sequence[_Run]) -> list[PitchMove]:
    """Return how a note begins that begins off its pitch."""
    back = runs[0] if runs else None
    comes = back is not None and back.start < 0.03 and abs(back.after) < _LEAST and back.end < _QUICK
    if comes and back is not None:
        if abs(first) > 1.5:
            return [PitchMove(MoveKind.SLIDE_IN, 0.0, back.end, first)]
        if first < 0:
            return [PitchMove(MoveKind.SCOOP, 0.0, back.end, first)]
    if first > 0:
        return [PitchMove(MoveKind.PREBEND, 0.0, 0.0, first)]
    return [PitchMove(MoveKind.SLIDE_IN, 0.0, back.end if back is not None else 0.0, first)]


def _move(runs: Sequence[_Run], at: int, length: float) -> PitchMove | None:
    """Return what one stretch is; None for the way back that has been said at the beginning, and for what is too small."""
    run = runs[at]
    following = runs[at + 1] if at + 1 < len(runs) else None
    if abs(run.change) < _LEAST or (at == 0 and _comes_back(run)):
        return None
    until = following.start if following is not None else length
    if run.after < -_LEAST:
        if following is not None and _dips(run, following):
            return PitchMove(MoveKind.DIP, run.start, following.end, run.after)
        return _going_down(run, until, length)
    if run.change < 0:
        return PitchMove(MoveKind.RELEASE, run.start, run.end, max(0.0, run.after))
    return PitchMove(_going_up(run, until, length), run.start, run.end, run.after)


def _comes_back(run: _Run) -> bool:
    """Return whether a stretch is the quick way of a note that begins off its pitch to it."""
    return run.start < 0.03 and abs(run.before) >= _LEAST and run.end < _QUICK


def _dips(run: _Run, following: _Run) -> bool:
    return following.after > -_LEAST and following.start - run.end < 0.05 and run.change > -2.5


def _going_up(run: _Run, until: float, length: float) -> MoveKind:
    late, gone = run.start > _OFF * length, until - run.end < 0.03
    if run.after > _FARTHEST_BEND or (run.after > 3.4 and until - run.end > 0.05):
        return MoveKind.SLIDE_OFF if late and gone else MoveKind.SLIDE
    return MoveKind.SLIDE_OFF if late and run.end >= length - 0.02 and run.after > 2.5 else MoveKind.BEND


def _going_down(run: _Run, until: float, length: float) -> PitchMove:
    if until - run.end > 0.05:
        return PitchMove(MoveKind.SLIDE, run.start, run.end, run.after)
    if run.start < 0.2 * length:
        return PitchMove(MoveKind.DIVE, run.start, run.end, run.after)
    return PitchMove(MoveKind.SLIDE_OFF, run.start, run.end, run.after)
