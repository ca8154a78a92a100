"""Slips of students beyond those of `mistakes.py`: on one note, in a whole passage, in the whole take.

In: a `Take` before it is sounded, and a random generator. Each slip changes the strokes and writes down what is true of each note, or leaves the take
alone where the lick has no place for it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from mistakes import (
    MISTAKES,
    bend_by,
    held_bends,
    judged_notes,
    leave_out,
    mark_mistake,
    pick_one,
    simple_notes,
    strokes_of,
    wrong_by,
)
from played import Stroked, Take, insert_pause, move_note

from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.timeline.model import SoundingNote

Random = np.random.Generator
Slip = Callable[[Take, Random], None]


def _onsets(take: Take) -> list[float]:
    return sorted({n.start for n in take.notes})


def _gap_before(take: Take, at: float) -> float:
    return at - max((n.start for n in take.notes if n.start < at - 1e-6), default=-1.0)


# --- one note ----------------------------------------------------------------------------------------------------------


def _first_left_out(take: Take, random: Random) -> None:
    first = [s for s in simple_notes(take) if s.start == min(o.start for o in take.timeline.sounds)]
    if len(first) == 1:
        take.notes[:] = [n for n in take.notes if n.event.sound != first[0].index]
        mark_mistake(take, first[0], "missing")


def _grab(take: Take, random: Random) -> None:
    """A neighbor of the note, touched 100 to 160 ms before it."""
    found = [s for s in simple_notes(take) if s.index and _gap_before(take, strokes_of(take, s.index)[0].start) > 0.36]
    sound = pick_one(random, found)
    if sound is not None:
        note = strokes_of(take, sound.index)[0]
        _add_extra(
            take, note, note.start - float(random.uniform(0.10, 0.16)), note.start, random.choice([-2, -1, 1, 2])
        )
        mark_mistake(take, sound, "after an extra")


def _between(choices: tuple[int, ...]) -> Slip:
    """Another note, or the same again, in the middle of a long one."""

    def apply(take: Take, random: Random) -> None:
        long = [s for s in simple_notes(take) if (n := strokes_of(take, s.index)) and n[0].end - n[0].start > 0.36]
        sound = pick_one(random, long)
        if sound is not None:
            note = strokes_of(take, sound.index)[0]
            at = note.start + float(random.uniform(0.4, 0.62)) * (note.end - note.start)
            _add_extra(take, note, at, note.end, random.choice(choices))
            mark_mistake(take, sound, "before an extra")

    return apply


def _add_extra(take: Take, beside: Stroked, at: float, end: float, by: float) -> None:
    event = beside.event._replace(sound=-1, start=at, pitch=beside.pitch + float(by), moves=(), part=1)
    for note in take.notes:
        if note.event.string == event.string and note.start < at < note.end:
            note.end = at
    take.notes.append(Stroked(event, at, end, event.pitch, ()))
    take.extras.append(at)


def _out_of_time(sign: int) -> Slip:
    def apply(take: Take, random: Random) -> None:
        late = sign * float(random.uniform(0.08, 0.18))
        found = []
        for s in simple_notes(take):
            note = strokes_of(take, s.index)[0]
            room = note.end - note.start if late > 0 else _gap_before(take, note.start)
            if s.index and room > abs(late) + 0.09 and _gap_before(take, note.start) < 1.2:
                found.append(s)
        sound = pick_one(random, found)
        if sound is not None:
            for note in strokes_of(take, sound.index):
                move_note(take, note, late)
            mark_mistake(take, sound, "late" if late > 0 else "early", late)

    return apply


def _corrected(take: Take, random: Random) -> None:
    """A bend that goes 50 to 90 cents too far and comes back within a fifth of a second."""
    found = [(s, n) for s, n in held_bends(take) if n.moves]
    if found:
        sound, note = found[int(random.integers(len(found)))]
        rise = next(m for m in note.moves if m.shape is CurveShape.EASE and m.change > 0)
        over = float(random.uniform(0.5, 0.9))
        top = rise.end + 0.02
        back = PitchRamp(top + 0.03, top + 0.16, -over)
        note.moves = tuple(m._replace(change=m.change + over) if m == rise else m for m in note.moves) + (back,)
        mark_mistake(take, sound, "bend corrected", over)


# --- a passage ---------------------------------------------------------------------------------------------------------


def _several_left_out(take: Take, random: Random) -> None:
    count = int(random.integers(2, 5))
    mine = [s for s in judged_notes(take) if s.index not in take.labels and s.index and not _joins(take, s)]
    if len(take.timeline.sounds) < 3 * count or len(mine) < count:
        return
    if random.random() < 0.5:
        first = int(random.integers(len(mine) - count + 1))
        gone = mine[first : first + count]
    else:
        gone = [mine[int(k)] for k in random.choice(len(mine), count, replace=False)]
    _drop(take, gone, "left out")


def _joins(take: Take, sound: SoundingNote) -> bool:
    return sound.source is not None or any(s.source == sound.index for s in take.timeline.sounds)


def _drop(take: Take, gone: list[SoundingNote], name: str) -> None:
    indices = {s.index for s in gone}
    take.notes[:] = [n for n in take.notes if n.event.sound not in indices]
    for sound in gone:
        mark_mistake(take, sound, name)


def _string_over(take: Take, random: Random) -> None:
    """Two or three notes in a row on the string beside the right one, a fourth (or a third) off."""
    free = simple_notes(take)
    count = int(random.integers(2, 4))
    starts = [k for k in range(len(free) - count + 1) if free[k + count - 1].index - free[k].index == count - 1]
    if starts and len(take.timeline.sounds) > 4 * count:
        first = int(random.choice(starts))
        by = float(random.choice([-5, 5, 4, -4]))
        for sound in free[first : first + count]:
            for note in strokes_of(take, sound.index):
                note.pitch += by
            mark_mistake(take, sound, "wrong", by)


def _bar_times(take: Take) -> list[tuple[int, float, float, list[SoundingNote]]]:
    """Return each bar's number as played, when its first note and the first of the next bar begin, and its notes."""
    turns: dict[tuple[int, int], list[SoundingNote]] = {}
    for s in take.timeline.sounds:
        turns.setdefault((s.pass_no, s.bar), []).append(s)
    rows = []
    for n, sounds in enumerate(turns.values()):
        starts = [n.start for s in sounds for n in strokes_of(take, s.index)]
        rows.append((n, min(starts, default=-1.0), sounds))
    return [(n, at, rows[n + 1][1], sounds) for n, at, sounds in rows[:-1] if at >= 0 and rows[n + 1][1] > at]


def _bar_skipped(take: Take, random: Random) -> None:
    """A bar in the middle is not played: its time is cut out, or (one time in three) waited for."""
    bars = [b for b in _bar_times(take)[1:] if 3 <= len(b[3]) <= 0.4 * len(take.timeline.sounds)]
    bars = [b for b in bars if not any(_joins_outside(take, s, b[3]) or s.index in take.labels for s in b[3])]
    if not bars:
        return
    _, start, end, sounds = bars[int(random.integers(len(bars)))]
    judged = {s.index for s in judged_notes(take)}
    _drop(take, sounds, "skipped")
    for s in sounds:
        if s.index not in judged:
            take.labels[s.index] = "not judged"
    for note in take.notes:
        if note.start < start:
            note.end = min(note.end, start)
    if random.random() < 0.67:
        _move_later(take, end, start - end)
    take.facts["skipped"] = start


def _joins_outside(take: Take, sound: SoundingNote, inside: list[SoundingNote]) -> bool:
    indices = {s.index for s in inside}
    targets = [s for s in take.timeline.sounds if s.source == sound.index]
    return (sound.source is not None and sound.source not in indices) or any(t.index not in indices for t in targets)


def _move_later(take: Take, at: float, by: float) -> None:
    for note in take.notes:
        if note.start >= at - 0.03:
            note.start, note.end = note.start + by, note.end + by
            note.moves = tuple(m._replace(start=m.start + by, end=m.end + by) for m in note.moves)
    take.extras = [t + by if t >= at - 0.03 else t for t in take.extras]


def _stops_early(take: Take, random: Random) -> None:
    """The last two to five notes are not played."""
    count = int(random.integers(2, 6))
    sounds = sorted(take.timeline.sounds, key=lambda s: (s.start, -s.lead))
    gone = sounds[-count:]
    if len(sounds) < 3 * count or any(s.index in take.labels or s.source is not None for s in gone):
        return
    judged = {s.index for s in judged_notes(take)}
    stop = min(n.start for s in gone for n in strokes_of(take, s.index))
    _drop(take, gone, "not played")
    for s in gone:
        if s.index not in judged:
            take.labels[s.index] = "not judged"
    for note in take.notes:
        note.end = min(note.end, stop + 0.3)
    take.facts["ends"] = stop


def _hesitation(take: Take, random: Random) -> None:
    sound = pick_one(random, [s for s in simple_notes(take) if s.index > 2])
    if sound is not None:
        length = float(random.uniform(0.5, 1.4))
        insert_pause(take, strokes_of(take, sound.index)[0].start, length)
        take.facts["pause"] = length
        take.labels[sound.index] = "after a pause"


def _again_from_the_bar(take: Take, random: Random) -> None:
    """Stops at a note, waits, and goes back to the beginning of the bar (the second or a later one where there is one)."""
    bars = [b for b in _bar_times(take) if len(b[3]) >= 4]
    if not bars:
        return
    _, start, end, _ = bars[int(random.integers(len(bars)))]
    inside = [t for t in _onsets(take) if start - 1e-6 <= t < end - 0.03]
    if len(inside) < 4:
        return
    stop = inside[int(random.integers(3, len(inside)))]
    first = [
        Stroked(n.event._replace(sound=-2, part=1), n.start, min(n.end, stop + 0.1), n.pitch, n.moves)
        for n in take.notes
        if start - 0.03 <= n.start < stop - 0.03
    ]
    for note in take.notes:
        if note.start < start - 0.03:
            note.end = min(note.end, start)
    insert_pause(take, start, stop - start + float(random.uniform(0.35, 1.0)))
    take.notes[:] = sorted(take.notes + first, key=lambda n: n.start)
    take.facts["restart"] = stop


SLIPS: dict[str, Slip] = {
    "neighbor fret": wrong_by((-1, 1)), "two frets off": wrong_by((-2, 2, -3, 3)), "wrong string": wrong_by((-5, 5, 4, -4)),
    "left out": leave_out, "first left out": _first_left_out, "grabbed": _grab, "extra between": _between((-4, -3, -2, -1, 1, 2, 3, 5)),
    "picked again": _between((0,)), "late": _out_of_time(1), "early": _out_of_time(-1), "bend missing": MISTAKES["bend missing"],
    "bend flat": bend_by(-0.85, -0.5, "bend flat"), "bend sharp": bend_by(0.5, 0.8, "bend sharp"), "bend late": MISTAKES["bend late"],
    "bend corrected": _corrected, "not released": MISTAKES["not released"], "vibrato missing": MISTAKES["vibrato missing"],
    "pair wrong": MISTAKES["pair wrong"], "pair missing": MISTAKES["pair missing"],
}  # fmt: skip
PASSAGES: dict[str, Slip] = {
    "several left out": _several_left_out, "a string over": _string_over, "bar skipped": _bar_skipped, "stops early": _stops_early,
    "hesitation": _hesitation, "again from the bar": _again_from_the_bar,
}  # fmt: skip
