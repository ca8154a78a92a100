"""Mistakes on one note, a pause and a restart, each put where a listener could tell it: never two on neighboring notes.

In: a `Take` before it is sounded, and a random generator. Each mistake changes the strokes and writes down what is true of the note, or leaves the take
alone where the lick has no place for it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from played import Stroked, Take, insert_pause, move_note

from lickwright.notation.techniques import Curve, Stroke
from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.timeline.model import SoundingNote

Random = np.random.Generator


# --- where mistakes go -------------------------------------------------------------------------------------------------


def judged_notes(take: Take) -> list[SoundingNote]:
    """Sounds that a listener judges: picked or joined notes of more than 120 ms, no chord of three, nothing dead, no harmonic."""
    sounds = take.timeline.sounds
    together: dict[tuple[int, int], int] = {}
    for s in sounds:
        together[s.start, s.lead] = together.get((s.start, s.lead), 0) + 1
    length = {n.event.sound: n.event.end - n.event.start for n in take.notes}
    return [
        s for s in sounds
        if s.kind == "note" and not s.dead and not s.harmonic and together[s.start, s.lead] <= 2 and s.trill is None
        and not any(m.stroke in (Stroke.REPEAT, Stroke.SWELL) for m in s.marks) and length.get(s.index, 0) > 0.12
    ]  # fmt: skip


def free_notes(take: Take, sounds: list[SoundingNote]) -> list[SoundingNote]:
    """Those with no mistake at them or at their neighbors."""
    taken = {i + d for i in take.labels for d in (-2, -1, 0, 1, 2)}
    return [s for s in sounds if s.index not in taken]


def single_notes(take: Take, sounds: list[SoundingNote]) -> list[SoundingNote]:
    starts: dict[int, int] = {}
    for s in take.timeline.sounds:
        starts[s.start] = starts.get(s.start, 0) + 1
    return [s for s in sounds if starts[s.start] == 1]


def simple_notes(take: Take) -> list[SoundingNote]:
    """Free single notes, picked, which nothing is joined to."""
    sources = {s.source for s in take.timeline.sounds}
    found = single_notes(take, free_notes(take, judged_notes(take)))
    return [s for s in found if s.index not in sources and s.source is None and not s.shapes]


def pick_one(random: Random, sounds: list[SoundingNote]) -> SoundingNote | None:
    return sounds[int(random.integers(len(sounds)))] if sounds else None


def strokes_of(take: Take, index: int) -> list[Stroked]:
    return [n for n in take.notes if n.event.sound == index]


def mark_mistake(take: Take, sound: SoundingNote, name: str, amount: float = 0.0) -> None:
    take.labels[sound.index] = name
    take.amounts[sound.index] = amount


# --- the mistakes ------------------------------------------------------------------------------------------------------


def wrong_by(choices: tuple[int, ...]) -> Callable[[Take, Random], None]:
    """Return the mistake of another pitch, so many semitones off."""

    def apply(take: Take, random: Random) -> None:
        sound = pick_one(random, simple_notes(take))
        if sound is not None:
            by = float(random.choice(choices))
            for note in strokes_of(take, sound.index):
                note.pitch += by
            mark_mistake(take, sound, "wrong", by)

    return apply


def leave_out(take: Take, random: Random) -> None:
    sound = pick_one(random, [s for s in simple_notes(take) if s.index])
    if sound is not None:
        take.notes[:] = [n for n in take.notes if n.event.sound != sound.index]
        mark_mistake(take, sound, "missing")


def _extra(take: Take, random: Random) -> None:
    """A note of 110 ms or more in the second half of a longer one."""
    long = [s for s in simple_notes(take) if (n := strokes_of(take, s.index)) and n[0].end - n[0].start > 0.3]
    sound = pick_one(random, long)
    if sound is not None:
        note = strokes_of(take, sound.index)[0]
        middle = note.start + 0.55 * (note.end - note.start)
        pitch = note.pitch + float(random.choice([-3, -2, 2, 3]))
        event = note.event._replace(sound=-1, start=middle, pitch=pitch, moves=(), part=1)
        take.notes.append(Stroked(event, middle, note.end, pitch, ()))
        note.end = middle
        mark_mistake(take, sound, "before an extra")
        take.extras.append(middle)


def _out_of_time(low: float, high: float) -> Callable[[Take, Random], None]:
    def apply(take: Take, random: Random) -> None:
        late = float(random.uniform(low, high))
        found = []
        for s in simple_notes(take):
            here = strokes_of(take, s.index)
            others = sorted({n.event.start for n in take.notes})
            before = max((t for t in others if t < here[0].event.start - 1e-6), default=None)
            room = here[0].end - here[0].start if late > 0 else here[0].event.start - (before or 0)
            if before is not None and room > abs(late) + 0.1:
                found.append(s)
        sound = pick_one(random, found)
        if sound is not None:
            for note in strokes_of(take, sound.index):
                move_note(take, note, late)
            mark_mistake(take, sound, "late" if late > 0 else "early", late)

    return apply


def held_bends(take: Take, least: float = 0.9) -> list[tuple[SoundingNote, Stroked]]:
    """Free notes with a bend that stays up for 150 ms or more."""
    found = []
    for s in single_notes(take, free_notes(take, judged_notes(take))):
        strokes = strokes_of(take, s.index)
        if strokes and any(sh.technique.curve is Curve.BEND and sh.amount >= least for sh in s.shapes):
            note = strokes[0]
            rise = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change > 0), None)
            fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change < 0), None)
            if rise is not None and (fall.start if fall else note.end) - rise.end > 0.15:
                found.append((s, note))
    return found


def bend_by(low: float, high: float, name: str) -> Callable[[Take, Random], None]:
    def apply(take: Take, random: Random) -> None:
        found = held_bends(take)
        if found:
            sound, note = found[int(random.integers(len(found)))]
            by = float(random.uniform(low, high))
            top = max(sh.amount for sh in sound.shapes if sh.technique.curve is Curve.BEND)
            factor = (top + by) / top
            note.moves = tuple(
                m._replace(change=m.change * factor) if m.shape is CurveShape.EASE else m for m in note.moves
            )
            mark_mistake(take, sound, name, by)

    return apply


def miss_bend(take: Take, random: Random) -> None:
    found = held_bends(take)
    if found:
        sound, note = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m.shape is not CurveShape.EASE)
        mark_mistake(take, sound, "bend missing")


def _delay_one(
    take: Take, random: Random, found: list[tuple[SoundingNote, Stroked, PitchRamp]], late: float, name: str
) -> None:
    """Let one of these moves begin and end so many seconds later."""
    if found:
        sound, note, move = found[int(random.integers(len(found)))]
        note.moves = tuple(m._replace(start=m.start + late, end=m.end + late) if m == move else m for m in note.moves)
        mark_mistake(take, sound, name, late)


def delay_bend(take: Take, random: Random) -> None:
    found = []
    late = float(random.uniform(0.1, 0.18))
    for sound, note in held_bends(take):
        rise = next(m for m in note.moves if m.shape is CurveShape.EASE and m.change > 0)
        fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change < 0), None)
        if (fall.start if fall else note.end) - rise.end > late + 0.12:
            found.append((sound, note, rise))
    _delay_one(take, random, found, late, "bend late")


def keep_bent(take: Take, random: Random) -> None:
    found = []
    for sound, note in held_bends(take):
        fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change <= -0.9), None)
        sources = {s.source for s in take.timeline.sounds}
        if fall is not None and note.end - fall.end > 0.08 and sound.index not in sources:
            found.append((sound, note, fall))
    if found:
        sound, note, fall = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m != fall)
        mark_mistake(take, sound, "not released")


def delay_release(take: Take, random: Random) -> None:
    found = []
    late = float(random.uniform(0.14, 0.22))
    for sound, note in held_bends(take):
        fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change <= -0.9), None)
        if fall is not None and note.end - fall.end > late + 0.08:
            found.append((sound, note, fall))
    _delay_one(take, random, found, late, "release late")


def pick_too_soon(take: Take, random: Random) -> None:
    """Pick a pre-bend at its fret, and bend it up then."""
    found = []
    for s in single_notes(take, free_notes(take, judged_notes(take))):
        strokes = strokes_of(take, s.index)
        if strokes and s.shapes and s.shapes[0].technique.curve is Curve.PREBEND:
            found.append((s, strokes[0]))
    if found:
        sound, note = found[int(random.integers(len(found)))]
        first = note.moves[0]
        note.moves = (first._replace(start=first.start + 0.05, end=first.start + 0.2), *note.moves[1:])
        mark_mistake(take, sound, "picked too soon")


def miss_vibrato(take: Take, random: Random) -> None:
    found = []
    for s in single_notes(take, free_notes(take, judged_notes(take))):
        strokes = strokes_of(take, s.index)
        wobble = [m for n in strokes for m in n.moves if m.shape in (CurveShape.ABOVE, CurveShape.AROUND)]
        if wobble and wobble[0].end - wobble[0].start > 0.35:
            found.append((s, strokes[0], wobble[0]))
    if found:
        sound, note, wobble_ = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m != wobble_)
        mark_mistake(take, sound, "vibrato missing")


def free_pairs(take: Take) -> list[tuple[SoundingNote, SoundingNote]]:
    by: dict[int, list[SoundingNote]] = {}
    for s in free_notes(take, judged_notes(take)):
        by.setdefault(s.start, []).append(s)
    sources = {s.source for s in take.timeline.sounds}
    return [
        (p[0], p[1]) for p in by.values()
        if len(p) == 2 and all(s.source is None and s.index not in sources and not s.shapes for s in p)
    ]  # fmt: skip


def _pair_wrong(take: Take, random: Random) -> None:
    pairs = free_pairs(take)
    if pairs:
        sound = pairs[int(random.integers(len(pairs)))][int(random.integers(2))]
        by = float(random.choice([-1, 1, 2]))
        for note in strokes_of(take, sound.index):
            note.pitch += by
        mark_mistake(take, sound, "pair wrong", by)


def miss_in_pair(take: Take, random: Random) -> None:
    pairs = free_pairs(take)
    if pairs:
        sound = pairs[int(random.integers(len(pairs)))][int(random.integers(2))]
        take.notes[:] = [n for n in take.notes if n.event.sound != sound.index]
        mark_mistake(take, sound, "pair missing")


def _pause(take: Take, random: Random) -> None:
    """Half a second to a second of hesitation before a note in the middle."""
    sound = pick_one(random, [s for s in simple_notes(take) if s.index > 3])
    if sound is not None:
        at = strokes_of(take, sound.index)[0].event.start
        length = float(random.uniform(0.6, 1.2))
        insert_pause(take, at, length)
        take.facts["pause"] = length
        take.labels[sound.index] = "after a pause"


def _restart(take: Take, random: Random) -> None:
    """Four notes or more, a pause, and the phrase again from its beginning."""
    starts = sorted({n.start for n in take.notes})
    if len(starts) < 8:
        return
    stop = starts[int(random.integers(4, max(5, len(starts) // 2)))]
    first = [
        Stroked(n.event._replace(sound=-2, part=1), n.start, min(n.end, stop), n.pitch, n.moves)
        for n in take.notes
        if n.start < stop - 0.03
    ]
    insert_pause(take, 0.0, stop + float(random.uniform(0.4, 0.9)))
    take.notes[:] = first + take.notes
    take.facts["restart"] = stop


MISTAKES: dict[str, Callable[[Take, Random], None]] = {
    "wrong": wrong_by((-2, -1, 1, 2)), "missing": leave_out, "extra": _extra, "late": _out_of_time(0.08, 0.15), "early": _out_of_time(-0.15, -0.08),
    "bend flat": bend_by(-0.8, -0.5, "bend flat"), "bend sharp": bend_by(0.5, 0.7, "bend sharp"), "bend missing": miss_bend,
    "bend late": delay_bend, "not released": keep_bent, "vibrato missing": miss_vibrato, "pair wrong": _pair_wrong,
    "pair missing": miss_in_pair, "pause": _pause, "restart": _restart,
    "release late": delay_release, "picked too soon": pick_too_soon,  # of the gestures alone: the other sets count from the first
}  # fmt: skip
