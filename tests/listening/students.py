"""Students who play a lick: as written, or with known mistakes, and what is true of each note.

In: a Timeline, a random generator and the names of mistakes. Out: `Take`: the strokes to be sounded, and the truth by index of the sound. A mistake goes
where a listener could tell it: never two on neighboring notes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

import numpy as np

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import Curve, Damping, Stroke
from lickwright.performance.note_events import NoteEvent, perform
from lickwright.performance.pitch_curves import CurveShape, PitchRamp, pitch_offsets
from lickwright.timeline.model import SoundingNote, Timeline

Random = np.random.Generator
JITTER = 0.006  # seconds, standard deviation, of a student who plays in time


@mutable_record
class Stroked:
    """One note as a student plays it."""

    event: NoteEvent
    start: float  # seconds
    end: float
    pitch: float
    moves: tuple[PitchRamp, ...]

    def offsets(self, times: np.ndarray) -> np.ndarray:
        return np.array(pitch_offsets(self.moves, list(times)))


@mutable_record
class Take:
    """What a student plays, and what is true of it."""

    timeline: Timeline
    notes: list[Stroked]
    labels: dict[int, str] = field(default_factory=dict)  # by index of the sound: the mistake made there
    amounts: dict[int, float] = field(default_factory=dict)  # seconds or semitones
    onsets: dict[int, float] = field(default_factory=dict)  # by index: seconds, in the recording
    extras: list[float] = field(default_factory=list)  # seconds
    bends: dict[int, float] = field(default_factory=dict)  # semitones above the fret that a bend reaches
    facts: dict[str, float] = field(
        default_factory=dict
    )  # of the whole: tuning, transposed, tempo, drift, restart, pause, ends


def play_lick(
    timeline: Timeline, random: Random, mistakes: tuple[str, ...], tempo: float = 1.0, drift: float = 0.0, tuning: float = 0.0,
    shift: int = 0, most: int = 99,
) -> Take:  # fmt: skip
    """A take at `tempo` (1 is the written one), which gets faster by `drift` (0.05: 5 % from beginning to end).

    Of the mistakes the first `most` are made that the lick has a place for.
    """
    performance = perform(timeline, percent=Fraction(round(100 * tempo)))
    notes = [Stroked(n, n.start, n.end, n.pitch, n.moves) for n in performance.notes]
    take = Take(timeline, notes)
    for name in mistakes:
        if len(take.labels) < most:
            MISTAKES[name](take, random)
    by_onset: dict[float, float] = {}
    for note in notes:
        late = by_onset.setdefault(note.event.start, float(random.normal(0, JITTER)))
        late = max(-0.014, min(0.014, late))
        if note.event.part == 0 and note.event.damping is not Damping.DEAD:
            _move_note(take, note, late)
    end = max(n.end for n in notes)
    _warp(take, lambda t: t * (1 - drift * t / (2 * end)))
    for note in notes:
        note.pitch += tuning / 100 + shift
    take.facts |= {"tempo": tempo, "drift": drift, "tuning": tuning, "shift": shift}
    for note in notes:
        if note.event.part == 0:
            take.onsets.setdefault(note.event.sound, note.start)
    return take


def _warp(take: Take, time: Callable[[float], float]) -> None:
    for note in take.notes:
        note.start, note.end = time(note.start), time(note.end)
        note.moves = tuple(m._replace(start=time(m.start), end=time(m.end)) for m in note.moves)
    take.extras = [time(t) for t in take.extras]


def _move_note(take: Take, note: Stroked, late: float) -> None:
    """Start a note later (or earlier) by some seconds; the one before it on its string lasts until then."""
    old = note.start
    for other in take.notes:
        if other is not note and other.event.string == note.event.string and abs(other.end - old) < 1e-6:
            other.end = max(other.start + 0.02, other.end + late)
    note.start = max(0.0, old + late)
    note.end = max(note.end, note.start + 0.05)
    note.moves = tuple(
        m._replace(start=m.start + late, end=max(m.start + late, m.end + late if m.end + late < note.end else m.end))
        for m in note.moves
    )


# --- where mistakes go -------------------------------------------------------------------------------------------------


def _judged(take: Take) -> list[SoundingNote]:
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


def _free(take: Take, sounds: list[SoundingNote]) -> list[SoundingNote]:
    """Those with no mistake at them or at their neighbors."""
    taken = {i + d for i in take.labels for d in (-2, -1, 0, 1, 2)}
    return [s for s in sounds if s.index not in taken]


def _alone(take: Take, sounds: list[SoundingNote]) -> list[SoundingNote]:
    starts: dict[int, int] = {}
    for s in take.timeline.sounds:
        starts[s.start] = starts.get(s.start, 0) + 1
    return [s for s in sounds if starts[s.start] == 1]


def _simple(take: Take) -> list[SoundingNote]:
    """Free single notes, picked, which nothing is joined to."""
    sources = {s.source for s in take.timeline.sounds}
    found = _alone(take, _free(take, _judged(take)))
    return [s for s in found if s.index not in sources and s.source is None and not s.shapes]


def _pick(random: Random, sounds: list[SoundingNote]) -> SoundingNote | None:
    return sounds[int(random.integers(len(sounds)))] if sounds else None


def _strokes(take: Take, index: int) -> list[Stroked]:
    return [n for n in take.notes if n.event.sound == index]


def _mark(take: Take, sound: SoundingNote, name: str, amount: float = 0.0) -> None:
    take.labels[sound.index] = name
    take.amounts[sound.index] = amount


# --- the mistakes ------------------------------------------------------------------------------------------------------


def _wrong(take: Take, random: Random) -> None:
    sound = _pick(random, _simple(take))
    if sound is not None:
        by = float(random.choice([-2, -1, 1, 2]))
        for note in _strokes(take, sound.index):
            note.pitch += by
        _mark(take, sound, "wrong", by)


def _missing(take: Take, random: Random) -> None:
    sound = _pick(random, [s for s in _simple(take) if s.index])
    if sound is not None:
        take.notes[:] = [n for n in take.notes if n.event.sound != sound.index]
        _mark(take, sound, "missing")


def _extra(take: Take, random: Random) -> None:
    """A note of 110 ms or more in the second half of a longer one."""
    long = [s for s in _simple(take) if (n := _strokes(take, s.index)) and n[0].end - n[0].start > 0.3]
    sound = _pick(random, long)
    if sound is not None:
        note = _strokes(take, sound.index)[0]
        middle = note.start + 0.55 * (note.end - note.start)
        pitch = note.pitch + float(random.choice([-3, -2, 2, 3]))
        event = note.event._replace(sound=-1, start=middle, pitch=pitch, moves=(), part=1)
        take.notes.append(Stroked(event, middle, note.end, pitch, ()))
        note.end = middle
        _mark(take, sound, "before an extra")
        take.extras.append(middle)


def _out_of_time(low: float, high: float) -> Callable[[Take, Random], None]:
    def apply(take: Take, random: Random) -> None:
        late = float(random.uniform(low, high))
        found = []
        for s in _simple(take):
            here = _strokes(take, s.index)
            others = sorted({n.event.start for n in take.notes})
            before = max((t for t in others if t < here[0].event.start - 1e-6), default=None)
            room = here[0].end - here[0].start if late > 0 else here[0].event.start - (before or 0)
            if before is not None and room > abs(late) + 0.1:
                found.append(s)
        sound = _pick(random, found)
        if sound is not None:
            for note in _strokes(take, sound.index):
                _move_note(take, note, late)
            _mark(take, sound, "late" if late > 0 else "early", late)

    return apply


def _bent(take: Take, least: float = 0.9) -> list[tuple[SoundingNote, Stroked]]:
    """Free notes with a bend that stays up for 150 ms or more."""
    found = []
    for s in _alone(take, _free(take, _judged(take))):
        strokes = _strokes(take, s.index)
        if strokes and any(sh.technique.curve is Curve.BEND and sh.amount >= least for sh in s.shapes):
            note = strokes[0]
            rise = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change > 0), None)
            fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change < 0), None)
            if rise is not None and (fall.start if fall else note.end) - rise.end > 0.15:
                found.append((s, note))
    return found


def _bend_by(low: float, high: float, name: str) -> Callable[[Take, Random], None]:
    def apply(take: Take, random: Random) -> None:
        found = _bent(take)
        if found:
            sound, note = found[int(random.integers(len(found)))]
            by = float(random.uniform(low, high))
            top = max(sh.amount for sh in sound.shapes if sh.technique.curve is Curve.BEND)
            factor = (top + by) / top
            note.moves = tuple(
                m._replace(change=m.change * factor) if m.shape is CurveShape.EASE else m for m in note.moves
            )
            _mark(take, sound, name, by)

    return apply


def _bend_missing(take: Take, random: Random) -> None:
    found = _bent(take)
    if found:
        sound, note = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m.shape is not CurveShape.EASE)
        _mark(take, sound, "bend missing")


def _bend_late(take: Take, random: Random) -> None:
    found = []
    late = float(random.uniform(0.1, 0.18))
    for sound, note in _bent(take):
        rise = next(m for m in note.moves if m.shape is CurveShape.EASE and m.change > 0)
        fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change < 0), None)
        if (fall.start if fall else note.end) - rise.end > late + 0.12:
            found.append((sound, note, rise))
    if found:
        sound, note, rise = found[int(random.integers(len(found)))]
        note.moves = tuple(m._replace(start=m.start + late, end=m.end + late) if m == rise else m for m in note.moves)
        _mark(take, sound, "bend late", late)


def _not_released(take: Take, random: Random) -> None:
    found = []
    for sound, note in _bent(take):
        fall = next((m for m in note.moves if m.shape is CurveShape.EASE and m.change <= -0.9), None)
        sources = {s.source for s in take.timeline.sounds}
        if fall is not None and note.end - fall.end > 0.08 and sound.index not in sources:
            found.append((sound, note, fall))
    if found:
        sound, note, fall = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m != fall)
        _mark(take, sound, "not released")


def _vibrato_missing(take: Take, random: Random) -> None:
    found = []
    for s in _alone(take, _free(take, _judged(take))):
        strokes = _strokes(take, s.index)
        wobble = [m for n in strokes for m in n.moves if m.shape in (CurveShape.ABOVE, CurveShape.AROUND)]
        if wobble and wobble[0].end - wobble[0].start > 0.35:
            found.append((s, strokes[0], wobble[0]))
    if found:
        sound, note, wobble_ = found[int(random.integers(len(found)))]
        note.moves = tuple(m for m in note.moves if m != wobble_)
        _mark(take, sound, "vibrato missing")


def _pairs(take: Take) -> list[tuple[SoundingNote, SoundingNote]]:
    by: dict[int, list[SoundingNote]] = {}
    for s in _free(take, _judged(take)):
        by.setdefault(s.start, []).append(s)
    sources = {s.source for s in take.timeline.sounds}
    return [
        (p[0], p[1]) for p in by.values()
        if len(p) == 2 and all(s.source is None and s.index not in sources and not s.shapes for s in p)
    ]  # fmt: skip


def _pair_wrong(take: Take, random: Random) -> None:
    pairs = _pairs(take)
    if pairs:
        sound = pairs[int(random.integers(len(pairs)))][int(random.integers(2))]
        by = float(random.choice([-1, 1, 2]))
        for note in _strokes(take, sound.index):
            note.pitch += by
        _mark(take, sound, "pair wrong", by)


def _pair_missing(take: Take, random: Random) -> None:
    pairs = _pairs(take)
    if pairs:
        sound = pairs[int(random.integers(len(pairs)))][int(random.integers(2))]
        take.notes[:] = [n for n in take.notes if n.event.sound != sound.index]
        _mark(take, sound, "pair missing")


def _pause(take: Take, random: Random) -> None:
    """Half a second to a second of hesitation before a note in the middle."""
    sound = _pick(random, [s for s in _simple(take) if s.index > 3])
    if sound is not None:
        at = _strokes(take, sound.index)[0].event.start
        length = float(random.uniform(0.6, 1.2))
        _insert(take, at, length)
        take.facts["pause"] = length
        take.labels[sound.index] = "after a pause"


def _insert(take: Take, at: float, length: float) -> None:
    for note in take.notes:
        if note.start >= at - 0.03:
            note.start += length
            note.moves = tuple(m._replace(start=m.start + length, end=m.end + length) for m in note.moves)
            note.end += length
    take.extras = [t + length if t >= at - 0.03 else t for t in take.extras]


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
    _insert(take, 0.0, stop + float(random.uniform(0.4, 0.9)))
    take.notes[:] = first + take.notes
    take.facts["restart"] = stop


MISTAKES: dict[str, Callable[[Take, Random], None]] = {
    "wrong": _wrong, "missing": _missing, "extra": _extra, "late": _out_of_time(0.08, 0.15), "early": _out_of_time(-0.15, -0.08),
    "bend flat": _bend_by(-0.8, -0.5, "bend flat"), "bend sharp": _bend_by(0.5, 0.7, "bend sharp"), "bend missing": _bend_missing,
    "bend late": _bend_late, "not released": _not_released, "vibrato missing": _vibrato_missing, "pair wrong": _pair_wrong,
    "pair missing": _pair_missing, "pause": _pause, "restart": _restart,
}  # fmt: skip


def strokes_by_string(take: Take) -> Iterator[list[Stroked]]:
    strings: dict[int, list[Stroked]] = {}
    for note in sorted(take.notes, key=lambda n: n.start):
        strings.setdefault(note.event.string, []).append(note)
    yield from strings.values()
