"""Bends, releases and vibrato of the notes of a pass.

In: a `Hearing`, groups with their times, and the notes that were judged by pitch. Out: the same notes, with what their bends and vibrato did. Only
single notes of the right pitch are looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.gestures import bend_height, crossing, filled, smoothed, wobble_width
from lickwright.listen.judge_notes import PassTimes
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.second_opinion import MISHEARD
from lickwright.listen.stretches import CLEAR, Hearing
from lickwright.notation.techniques import BEND_CURVES, UPWARD_BENDS, Curve
from lickwright.performance.note_events import Performance
from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.timeline.model import PitchGesture

_LATEST = 0.12  # seconds after its step that a bend is still waited for
_LEAST_WAY = 0.4  # semitones that a bend must go for its time to be told
_LEAST_ROOM = 0.10  # seconds that a gesture needs to be judged
_AHEAD = 0.03  # seconds before the next note in which its pitch is in the window already
_REACH = 1.3  # semitones beyond what is written within which a pitch is believed
_SETTLING = 0.045  # seconds after an onset in which the pitch has the pick in it
_SOFT = 40.0  # decibels below the loudest: what is softer has no pitch to be judged


class _Curve(NamedTuple):
    """The pitch of one note, and when what is written of it should be heard."""

    offsets: NDArray[np.float64]  # semitones above the fretted pitch, a value a frame from the onset on
    room: float  # seconds from the onset until the next note
    begin: float  # seconds of the note in the Performance
    pace: float  # seconds played for each second written

    def heard(self, written: float) -> float:
        """Return the seconds from the onset at which an instant of the Performance is heard."""
        return (written - self.begin) * self.pace

    def part(self, start: float, stop: float) -> NDArray[np.float64]:
        """Return the offsets between two instants, in seconds from the onset."""
        return self.offsets[max(0, round(start / FRAME)) : max(0, round(stop / FRAME))]


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
        offsets = _offsets(hearing, note.onset, stop, event.pitch + higher, group.low - event.pitch, reach)
        if offsets is not None and note.sound.shapes:
            curve = _Curve(offsets, stop - note.onset, event.start, pace)
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
) -> NDArray[np.float64] | None:
    """Return the semitones above a pitch in each frame from an onset on, misheard octaves put right; None where too little is clear."""
    first, last = round(onset / FRAME), min(len(hearing.features.pitch), round((stop - _AHEAD) / FRAME))
    if last - first < 12:
        return None
    heard = hearing.features.pitch[first:last].astype(np.float64) - pitch
    offsets = np.full(len(heard), np.nan)
    for misheard in (0.0, *MISHEARD):  # the first that puts it within reach
        near = heard - misheard
        fits = np.isnan(offsets) & (near > low - _REACH) & (near < high + _REACH)
        offsets[fits] = near[fits]
    clear = (hearing.features.clarity[first:last] > CLEAR) & (
        hearing.features.level[first:last] > hearing.features.loud - _SOFT
    )
    clear &= np.isfinite(offsets)
    clear[: round(_SETTLING / FRAME)] = False
    if clear.sum() < 8:
        return None
    end = int(np.flatnonzero(clear)[-1]) + 1
    return filled(offsets[:end], clear[:end])


def _judge_bends(note: HeardNote, ramps: Sequence[tuple[PitchGesture, PitchRamp | None]], curve: _Curve) -> None:
    bends = [(s, r) for s, r in ramps if r is not None and s.technique.curve in BEND_CURVES]
    wobbles = [r for s, r in ramps if r is not None and s.technique.curve is Curve.VIBRATO]
    level = 0.0
    for n, (shape, ramp) in enumerate(bends):
        begin, last = curve.heard(ramp.start), n + 1 == len(bends)
        following = curve.room if last else curve.heard(bends[n + 1][1].start)
        until = min(curve.room, following + (0 if last else _LATEST))
        if until - begin >= _LEAST_ROOM and len(curve.part(begin, until)) * FRAME >= _LEAST_ROOM:
            if shape.technique.curve in UPWARD_BENDS:
                wobbling = any(curve.heard(w.start) < following and curve.heard(w.end) > begin for w in wobbles)
                _judge_bend(note, shape, ramp, level, curve, until, wobbling)
            else:
                _judge_release(note, shape, ramp, curve, until)
        level = shape.amount


def _judge_bend(
    note: HeardNote, shape: PitchGesture, ramp: PitchRamp, level: float, curve: _Curve, until: float, wobbling: bool
) -> None:
    """Fill in how high a bend goes, of several the worst, and how late it is where it goes up from `level`."""
    begin, arrive = curve.heard(ramp.start), curve.heard(ramp.end)
    part = curve.part(begin, until)
    reached = bend_height(part, wobbling)
    if note.bend_wanted is None or abs(reached - shape.amount) > abs((note.bend_reached or 0) - note.bend_wanted):
        note.bend_wanted, note.bend_reached = shape.amount, reached
    way = shape.amount - level
    if shape.technique.curve is Curve.BEND and way > _LEAST_WAY and reached - level > 0.5 * way:
        middle = crossing(part, level + 0.5 * (min(reached, shape.amount) - level), True)
        if np.isfinite(middle):
            note.bend_late = max(note.bend_late or -1.0, float(middle - (arrive - begin) / 2))


def _judge_release(note: HeardNote, shape: PitchGesture, ramp: PitchRamp, curve: _Curve, until: float) -> None:
    """Fill in how far above its end a release stays, of several the worst."""
    arrive = curve.heard(ramp.end)
    mean = smoothed(curve.part(min(arrive + 0.02, until - 0.05), until), 0.05)
    if len(mean) and until - arrive > 0.06:
        off = float(mean.min()) - shape.amount
        note.release_off = off if note.release_off is None else max(note.release_off, off)


def _judge_vibrato(note: HeardNote, ramps: Sequence[tuple[PitchGesture, PitchRamp | None]], curve: _Curve) -> None:
    for shape, ramp in ramps:
        if ramp is None or shape.technique.curve is not Curve.VIBRATO:
            continue
        width = wobble_width(
            curve.part(max(0.05, curve.heard(ramp.start) + 0.08), min(curve.heard(ramp.end) - 0.02, curve.room))
        )
        if np.isfinite(width):
            note.vibrato_wanted, note.vibrato_width = abs(ramp.change), width
