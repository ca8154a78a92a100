"""Bends, releases and vibrato of the notes of a pass.

In: a `Hearing`, groups with their times, and the notes that were judged by pitch. Out: the same notes, with what their bends and vibrato did. Only
single notes of the right pitch are looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

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
_LEAST_ROOM = 0.10  # seconds that a gesture needs to be judged
_AHEAD = 0.03  # seconds before the next note in which its pitch is in the window already
_REACH = 1.3  # semitones beyond what is written within which a pitch is believed
_SETTLING = 0.045  # seconds after an onset in which the pitch has the pick in it
_SOFT = 40.0  # decibels below the loudest: what is softer has no pitch to be judged


def judge_gestures(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, performance: Performance, notes: Sequence[HeardNote],
    pace: float, higher: float,
) -> None:  # fmt: skip
    """Fill in what bends, releases and vibrato of `notes` did."""
    by_sound = {note.sound.index: note for note in notes}
    events = {event.sound: event for event in performance.notes if event.part == 0}
    for n, group in enumerate(groups):
        sound = group.sounds[0]
        note = by_sound[sound.index]
        if (
            group.kind is not ExpectedKind.SINGLE
            or note.verdict is not NoteVerdict.RIGHT
            or note.onset is None
            or not sound.shapes
        ):
            continue
        event = events[sound.index]
        stop = times.stops[n]
        reach = (
            group.low - event.pitch,
            max(group.high - event.pitch, max(abs(m.change) for m in event.moves) if event.moves else 0.0),
        )
        curve = _curve(hearing, note.onset, stop, event.pitch + higher, *reach)
        if curve is None:
            continue

        def heard(written: float, begin: float = event.start, onset: float = note.onset) -> float:
            """Return the seconds from the onset at which something written is heard."""
            return (written - begin) * pace + (onset - onset)

        ramps = list(zip(sound.shapes, _ramps_of(sound.shapes, event.moves), strict=False))
        _judge_bends(note, ramps, curve, heard, stop - note.onset)
        _judge_vibrato(note, ramps, curve, heard, stop - note.onset)


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


def _curve(
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


def _judge_bends(
    note: HeardNote,
    ramps: Sequence[tuple[PitchGesture, PitchRamp | None]],
    curve: NDArray[np.float64],
    heard: object,
    room: float,
) -> None:
    bends = [(s, r) for s, r in ramps if r is not None and s.technique.curve in BEND_CURVES]
    wobbles = [r for s, r in ramps if r is not None and s.technique.curve is Curve.VIBRATO]
    level = 0.0
    for n, (shape, ramp) in enumerate(bends):
        begin, arrive = heard(ramp.start), heard(ramp.end)  # type: ignore[operator]
        following = heard(bends[n + 1][1].start) if n + 1 < len(bends) else room  # type: ignore[operator]
        until = min(room, following + (_LATEST if n + 1 < len(bends) else 0))
        part = curve[max(0, round(begin / FRAME)) : round(until / FRAME)]
        if len(part) * FRAME < _LEAST_ROOM or until - begin < _LEAST_ROOM:
            level = shape.amount
            continue
        if shape.technique.curve in UPWARD_BENDS:
            wobbling = any(heard(w.start) < following and heard(w.end) > begin for w in wobbles)  # type: ignore[operator]
            reached = bend_height(part, wobbling)
            if note.bend_wanted is None or abs(reached - shape.amount) > abs(
                (note.bend_reached or 0) - note.bend_wanted
            ):
                note.bend_wanted, note.bend_reached = shape.amount, reached
            if (
                shape.technique.curve is Curve.BEND
                and shape.amount - level > 0.4
                and reached - level > 0.5 * (shape.amount - level)
            ):
                middle = crossing(part, level + 0.5 * (min(reached, shape.amount) - level), True)
                if np.isfinite(middle):
                    late = middle - (arrive - begin) / 2
                    note.bend_late = max(note.bend_late or -1.0, float(late))
        else:
            after = curve[round(min(arrive + 0.02, until - 0.05) / FRAME) : round(until / FRAME)]
            mean = smoothed(after, 0.05)
            if len(mean) and until - arrive > 0.06:
                off = float(mean.min()) - shape.amount
                note.release_off = max(note.release_off if note.release_off is not None else -9.0, off)
        level = shape.amount


def _judge_vibrato(
    note: HeardNote,
    ramps: Sequence[tuple[PitchGesture, PitchRamp | None]],
    curve: NDArray[np.float64],
    heard: object,
    room: float,
) -> None:
    for shape, ramp in ramps:
        if ramp is None or shape.technique.curve is not Curve.VIBRATO:
            continue
        begin, end = max(0.05, heard(ramp.start) + 0.08), min(heard(ramp.end) - 0.02, room)  # type: ignore[operator]
        width = wobble_width(curve[round(begin / FRAME) : max(0, round(end / FRAME))])
        if np.isfinite(width):
            note.vibrato_wanted, note.vibrato_width = abs(ramp.change), width
