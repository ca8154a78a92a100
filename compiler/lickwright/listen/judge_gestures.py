"""Bends, releases and vibrato of the notes of a pass.

In: a `Hearing`, groups with their times, and the notes that were judged by pitch. Out: the same notes, with what their bends and vibrato did. Only
single notes of the right pitch are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.gestures import (
    bend_height,
    crossing,
    filled,
    move_time,
    settled_pitch,
    smoothed,
    unbroken,
    wobble_width,
)
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.pass_times import PassTimes
from lickwright.listen.second_opinion import MISHEARD
from lickwright.listen.stretches import CLEAR, Hearing
from lickwright.notation.techniques import BEND_CURVES, UPWARD_BENDS, Curve
from lickwright.performance.note_events import Performance
from lickwright.performance.pitch_curves import BEND_MAX, CurveShape, PitchRamp
from lickwright.timeline.model import PitchGesture

_LATEST = 0.12  # seconds after its step that a bend is still waited for
_BRIDGE = 0.10  # seconds without a clear pitch in which it is not told when it changes
_LEAST_WAY = 0.75  # semitones that a bend or a release must go for its time to be told: a curl has none
_LEAST_ROOM = 0.10  # seconds that a gesture needs to be judged
_AHEAD = 0.03  # seconds before the next note in which its pitch is in the window already
_REACH = 1.3  # semitones beyond what is written within which a pitch is believed
_SETTLING = 0.045  # seconds after an onset in which the pitch has the pick in it
_PICKED = 0.05  # seconds after that over which the pitch is the one that was picked
_STRING = 0.3  # likelihood of a string below which the pitch of a stretch is not the note's,
_MUCH_SOFTER = 15.0  # where it is softer by so many decibels
_FIRST = 12  # frames of a note that are of the stretch which begins it
_WINDOW = 5  # frames on either side whose pitch is measured with what is there too
_VERY_CLEAR, _GOES_ON = (
    0.9,
    0.5,
)  # clarity, and semitones from the pitch around it, of what is likelier no string but goes on as one
_VIBRATO_HEARD = 0.5  # share of a vibrato whose pitch must be heard
_SOFT = 40.0  # decibels below the loudest: what is softer has no pitch to be judged


class _Curve(NamedTuple):
    """The pitch of one note, and when what is written of it should be heard."""

    offsets: NDArray[np.float64]  # semitones above the fretted pitch, a value a frame from the onset on
    clear: NDArray[np.bool_]  # which of them are heard; the others are bridged
    room: float  # seconds from the onset until the next note
    begin: float  # seconds of the note in the Performance
    pace: float  # seconds played for each second written

    def heard(self, written: float) -> float:
        """Return the seconds from the onset at which an instant of the Performance is heard."""
        return (written - self.begin) * self.pace

    def part(self, start: float, stop: float) -> NDArray[np.float64]:
        """Return the offsets between two instants, in seconds from the onset."""
        return self.offsets[max(0, round(start / FRAME)) : max(0, round(stop / FRAME))]

    def is_bridged(self, at: float) -> bool:
        """Return whether an instant, in seconds from the onset, lies where the pitch was not heard for long."""
        frame, heard = round(at / FRAME), np.flatnonzero(self.clear)
        after = int(np.searchsorted(heard, frame))
        inside = 0 < after < len(heard) and heard[after] != frame
        return inside and bool((heard[after] - heard[after - 1]) * FRAME > _BRIDGE)


class _Step(NamedTuple):
    """A bend or a release of a note. Times are seconds from its onset."""

    shape: PitchGesture
    level: float  # semitones above the fret from which it should go
    begin: float
    arrive: float
    following: float  # when the next one, or the next note, should begin
    rises: bool  # the next one bends up farther
    until: float  # how long it is waited for


def judge_gestures(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, performance: Performance, notes: Sequence[HeardNote],
    pace: float, higher: float,
) -> None:  # fmt: skip
    """Fill in what bends, releases and vibrato of `notes` did."""
    by_sound = {note.sound.index: note for note in notes}
    events = {event.sound: event for event in performance.notes if event.part == 0}
    for group, stop in zip(groups, times.stops, strict=True):
        note, event = by_sound[group.sounds[0].index], events[group.sounds[0].index]
        if group.kind is not ExpectedKind.SINGLE or note.verdict is not NoteVerdict.RIGHT or note.onset is None:
            continue
        reach = max([group.high - event.pitch, *(abs(move.change) for move in event.moves)])
        offsets = _offsets(hearing, note.onset, stop, event.pitch + higher, min(0.0, group.low - event.pitch), reach)
        if offsets is not None and note.sound.shapes:
            curve = _Curve(*offsets, stop - note.onset, event.start, pace)
            ramps = list(zip(note.sound.shapes, _ramps_of(note.sound.shapes, event.moves), strict=True))
            _judge_bends(note, ramps, curve)
            _judge_vibrato(note, ramps, curve)


def _ramps_of(shapes: Sequence[PitchGesture], moves: Sequence[PitchRamp]) -> list[PitchRamp | None]:
    """Return the ramp of each shape, in order; moves of slides and of the bar come after those of the shapes or before."""
    found: list[PitchRamp | None] = []
    left = [m for m in moves if m.shape is not CurveShape.FRETS]
    for shape in shapes:
        wobble = shape.technique.curve is Curve.VIBRATO
        fits = [m for m in left if (m.shape in (CurveShape.ABOVE, CurveShape.AROUND)) == wobble]
        if shape.technique.curve not in (*BEND_CURVES, Curve.VIBRATO) or not fits:
            found.append(None)
            continue
        found.append(fits[0])
        left.remove(fits[0])
    return found


def _offsets(
    hearing: Hearing, onset: float, stop: float, pitch: float, low: float, high: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]] | None:
    """Return the semitones above a pitch in each frame from an onset on, misheard octaves put right, and which are clear; None where too few are."""
    first, last = round(onset / FRAME), min(len(hearing.features.pitch), round((stop - _AHEAD) / FRAME))
    if last - first < 12:
        return None
    heard = hearing.features.pitch[first:last].astype(np.float64) - pitch
    offsets = np.full(len(heard), np.nan)
    for misheard in (0.0, *MISHEARD):  # the first that puts it within reach
        near = heard - misheard
        fits = np.isnan(offsets) & (near > low - _REACH) & (near < high + _REACH)
        offsets[fits] = near[fits]
    clarity = hearing.features.clarity[first:last]
    told = np.isfinite(offsets) & (hearing.features.level[first:last] > hearing.features.loud - _SOFT)
    told[: round(_SETTLING / FRAME)] = False
    clear = unbroken(offsets, told & (clarity > CLEAR) & _is_string(hearing, first, last))
    if clear.sum() < 8:
        return None
    goes_on = np.abs(offsets - filled(offsets, clear)) < _GOES_ON  # as a string that dies away under its vibrato
    clear |= unbroken(offsets, told & (clarity > _VERY_CLEAR) & goes_on)
    end = int(np.flatnonzero(clear)[-1]) + 1
    return filled(offsets[:end], clear[:end]), clear[:end]


def _is_string(hearing: Hearing, first: int, last: int) -> NDArray[np.bool_]:
    """Return which frames, of those from one on, are not of a stretch that is no string and much softer than what was struck first, as a voice may be."""
    stretches = np.searchsorted(hearing.starts[:-1], np.arange(first, last) * FRAME, side="right") - 1
    levels = hearing.levels[np.maximum(stretches, 0)]
    noise = (hearing.plucked[np.maximum(stretches, 0)] < _STRING) & (levels < levels[:_FIRST].max() - _MUCH_SOFTER)
    return np.asarray(np.convolve(noise, np.ones(2 * _WINDOW + 1), "same") == 0)


def _judge_bends(note: HeardNote, ramps: Sequence[tuple[PitchGesture, PitchRamp | None]], curve: _Curve) -> None:
    wobbles = [r for s, r in ramps if r is not None and s.technique.curve is Curve.VIBRATO]
    for step in _bend_steps(ramps, curve):
        if len(curve.part(step.begin, step.until)) * FRAME < _LEAST_ROOM:
            continue
        if step.shape.technique.curve not in UPWARD_BENDS:
            _judge_release(note, step, curve)
            continue
        wobbling = any(curve.heard(w.start) < step.following and curve.heard(w.end) > step.begin for w in wobbles)
        _judge_height(note, step, curve, wobbling)
        _judge_rise(note, step, curve)


def _bend_steps(ramps: Sequence[tuple[PitchGesture, PitchRamp | None]], curve: _Curve) -> Iterator[_Step]:
    """Yield the bends and releases of a note that have room to be judged."""
    bends = [(s, r) for s, r in ramps if r is not None and s.technique.curve in BEND_CURVES]
    level = 0.0
    for n, (shape, ramp) in enumerate(bends):
        last = n + 1 == len(bends)
        following = curve.room if last else curve.heard(bends[n + 1][1].start)
        until = min(curve.room, following + (0 if last else _LATEST))
        rises = not last and bends[n + 1][0].amount > shape.amount
        step = _Step(shape, level, curve.heard(ramp.start), curve.heard(ramp.end), following, rises, until)
        if until - step.begin >= _LEAST_ROOM:
            yield step
        level = shape.amount


def _judge_height(note: HeardNote, step: _Step, curve: _Curve, wobbling: bool) -> None:
    """Fill in how high a bend goes, of several the worst, and where it settles."""
    part = curve.part(step.begin, step.following if step.rises else step.until)
    wanted, reached = step.shape.amount, bend_height(part, wobbling)
    if note.bend_wanted is None or abs(reached - wanted) > abs((note.bend_reached or 0) - note.bend_wanted):
        note.bend_wanted, note.bend_reached = wanted, reached
        note.bend_settled = None if wobbling else settled_pitch(curve.part(step.begin, step.following))


def _judge_rise(note: HeardNote, step: _Step, curve: _Curve) -> None:
    """Fill in how late a bend goes up, of several the worst, and at what pitch a pre-bend is picked."""
    part, way = curve.part(step.begin, step.until), step.shape.amount - step.level
    if step.shape.technique.curve is Curve.PREBEND:
        picked = curve.part(step.begin + _SETTLING, step.begin + _SETTLING + _PICKED)
        note.bend_picked = float(picked.mean()) if len(picked) else None
        return
    reached = bend_height(part, False)
    if way > _LEAST_WAY and reached - step.level > 0.5 * way:
        late = _lateness(curve, step, min(reached, step.shape.amount))
        if np.isfinite(late):
            note.bend_late = max(note.bend_late or -1.0, late)


def _lateness(curve: _Curve, step: _Step, end: float) -> float:
    """Return by how many seconds a bend or a release to `end` (semitones above the fret) comes late at its middle; NaN if it does not come there.

    A player who is slower than the written tempo may bend as quickly as at that tempo, or as slowly as the rest is: the middle is held against the time that
    the finger takes, where that lies between these.
    """
    part, written = curve.part(step.begin, step.until), step.arrive - step.begin
    middle = crossing(part, 0.5 * (step.level + end), end > step.level)
    if np.isfinite(middle) and curve.is_bridged(step.begin + middle):
        return float("nan")
    taken = move_time(part, step.level, end)
    expected = float(np.clip(taken, min(BEND_MAX, written), written)) if np.isfinite(taken) else written
    return middle - expected / 2


def _judge_release(note: HeardNote, step: _Step, curve: _Curve) -> None:
    """Fill in how far above its end a release stays, and how late it comes down, of several the worst."""
    wanted = step.shape.amount
    mean = smoothed(curve.part(min(step.arrive + 0.02, step.until - 0.05), step.until), 0.05)
    if len(mean) and step.until - step.arrive > 0.06:
        off = float(mean.min()) - wanted
        note.release_off = off if note.release_off is None else max(note.release_off, off)
    if step.level - wanted > _LEAST_WAY:
        late = _lateness(curve, step, wanted)
        if np.isfinite(late):
            note.release_late = max(note.release_late or -1.0, late)


def _judge_vibrato(note: HeardNote, ramps: Sequence[tuple[PitchGesture, PitchRamp | None]], curve: _Curve) -> None:
    for shape, ramp in ramps:
        if ramp is None or shape.technique.curve is not Curve.VIBRATO:
            continue
        start, stop = max(0.05, curve.heard(ramp.start) + 0.08), min(curve.heard(ramp.end) - 0.02, curve.room)
        heard = curve.clear[max(0, round(start / FRAME)) : max(0, round(stop / FRAME))]
        width = wobble_width(curve.part(start, stop))
        if np.isfinite(width) and heard.mean() > _VIBRATO_HEARD:
            note.vibrato_wanted, note.vibrato_width = abs(ramp.change), width
