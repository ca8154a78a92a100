"""Players with habits: time that wanders, sixteenths that rush, a swing of their own, notes unequally loud, strings that ring over, buzz and brush.

In: a Timeline, a random generator, the slips to make. Out: a `Take`, as from `students.play_lick`, whose jitter is independent from note to note.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import numpy as np
from guitar_strings import RATE, Samples
from played import Stroked, Take, move_note, warp_take
from rooms import filtered
from slips import PASSAGES, SLIPS

from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import Performance, perform
from lickwright.timeline.model import Timeline

Random = np.random.Generator
_QUICK, _RUN, _RUSHED = (
    0.19,
    4,
    0.035,
)  # seconds from note to note and notes of a run; seconds that it gets ahead at most
_MEMORY = 1.0  # seconds in which a wandering pulse forgets two thirds of where it was


class Player(NamedTuple):
    """What a player is like."""

    wander: float  # seconds, standard deviation of the pulse
    rush: float  # share by which quick runs are too fast
    swing: float  # share of a swung pair that its first note takes
    spread: float  # dB, standard deviation of the loudness
    sloppy: float  # share of notes that ring into the next
    brush: float  # share of onsets at which an open string is brushed
    buzz: float  # share of notes that buzz


def draw_player(random: Random) -> Player:
    """Return somebody; half of them play cleanly in each respect."""
    return Player(
        float(random.uniform(0.010, 0.018)), float(random.uniform(0, 0.08)), float(random.uniform(0.55, 0.68)),
        float(random.uniform(1.5, 3.0)), float(random.choice([0, 0.3])), float(random.choice([0, 0, 0.1])),
        float(random.choice([0, 0, 0.15])),
    )  # fmt: skip


class Whole(NamedTuple):
    """What is true of a take from beginning to end."""

    tempo: float  # 1 is as written
    drift: float  # 0.05: 5 % faster at the end
    tuning: float  # cents
    shift: int  # semitones


def draw_whole(timeline: Timeline, random: Random) -> Whole:
    """Return a tempo and, for one in three, a capo by mistake, an octave, a flat guitar, or a pulse that slows down."""
    tempo = float(random.uniform(0.62, 1.08))
    drift, tuning, shift = float(random.uniform(-0.03, 0.03)), float(random.uniform(-12, 12)), 0
    match int(random.integers(12)):
        case 0:
            shift = int(random.choice([1, 2, 3, 4, 5]))
        case 1:
            low = max(s.pitch for s in timeline.sounds) < 76
            shift = 12 if low else -2
        case 2:
            tuning = -40 + float(random.uniform(-3, 3))
        case 3:
            drift = -0.08
    return Whole(tempo, drift, tuning, shift)


def draw_slips(random: Random) -> tuple[str, ...]:
    """Return the names of all slips in an order to try them: a passage's for one take in two, then those of bends, vibrato and pairs for one in two."""
    passage = [str(random.choice(list(PASSAGES)))] if random.random() < 0.5 else []
    single = [str(name) for name in random.permutation(list(SLIPS))]
    if random.random() < 0.5:
        single.sort(key=lambda name: not name.startswith(("bend", "not", "vibrato", "pair")))
    return (*passage, *single)


def play_take(
    timeline: Timeline, random: Random, player: Player, whole: Whole, slips: tuple[str, ...], most: int
) -> Take:
    """Return a take with the first `most` of the slips that the lick has a place for."""
    performance = perform(timeline, percent=Fraction(round(100 * whole.tempo)))
    take = Take(timeline, [Stroked(n, n.start, n.end, n.pitch, n.moves) for n in performance.notes])
    made = 0
    for name in slips:
        if made < most:
            before = (dict(take.labels), dict(take.facts))
            (PASSAGES.get(name) or SLIPS[name])(take, random)
            made += before != (take.labels, take.facts)
    shifts = _swing_shifts(timeline, performance, player)
    _sound_unequal(take, player, random)
    _move_onsets(take, shifts, player, random)
    _ring_over(take, player, random)
    _brush_strings(take, player, random)
    end = max(n.end for n in take.notes)
    warp_take(take, lambda t: t * (1 - whole.drift * t / (2 * end)))
    for note in take.notes:
        note.pitch += whole.tuning / 100 + whole.shift
    take.facts |= {"tempo": whole.tempo, "drift": whole.drift, "tuning": whole.tuning, "shift": whole.shift}
    for note in take.notes:
        if note.event.part == 0:
            take.onsets.setdefault(note.event.sound, note.start)
    return take


def _swing_shifts(timeline: Timeline, performance: Performance, player: Player) -> dict[int, float]:
    """Return by how many seconds each swung sound is moved from the written swing to the player's."""
    long, short = timeline.settings.feel.ratio
    if long == short:
        return {}
    written = long / (long + short) - 0.5
    moved = {
        s.index: performance.seconds(s.start) - performance.straight_seconds(s.start) for s in timeline.sounds
    }  # 0 on the beat
    return {index: by * ((player.swing - 0.5) / written - 1) for index, by in moved.items() if by > 1e-6}


def _sound_unequal(take: Take, player: Player, random: Random) -> None:
    for note in take.notes:
        decibels = float(np.clip(random.normal(0, player.spread), -6, 6))
        if note.event.joined:
            decibels -= float(random.uniform(0, 5))
        note.event = note.event._replace(loudness=note.event.loudness * 10 ** (decibels / 20))


def _move_onsets(take: Take, shifts: dict[int, float], player: Player, random: Random) -> None:
    onsets = sorted({round(n.start, 4) for n in take.notes if n.event.part == 0 or n.event.sound == -2})
    late, now, run = {}, 0.0, 0
    for k, at in enumerate(onsets):
        gap = at - onsets[k - 1] if k else 1.0
        keep = np.exp(-gap / _MEMORY)
        now = keep * now + player.wander * np.sqrt(1 - keep**2) * float(random.standard_normal())
        run = run if gap < _QUICK else k
        ahead = min(_RUSHED, player.rush * (at - onsets[run])) if k - run >= _RUN - 1 else 0.0
        late[at] = float(np.clip(now, -2.5 * player.wander, 2.5 * player.wander)) - ahead
    for note in list(take.notes):
        by = late.get(round(note.start, 4))
        if by is not None and note.event.damping is not Damping.DEAD:
            move_note(take, note, by + shifts.get(note.event.sound, 0.0))


def _ring_over(take: Take, player: Player, random: Random) -> None:
    for note in take.notes:
        if random.random() < player.sloppy and note.event.damping is Damping.NONE:
            note.end += float(random.uniform(0.08, 0.5))  # its string's next note ends it


def _brush_strings(take: Take, player: Player, random: Random) -> None:
    """An open string beside the picked one is touched: 25 dB softer and shorter than any note."""
    tuning, capo = take.timeline.settings.tuning, take.timeline.settings.capo
    for note in list(take.notes):
        if random.random() >= player.brush or note.event.part or note.event.joined:
            continue
        at, string = note.start + float(random.uniform(-0.03, 0.05)), note.event.string + int(random.choice([-1, 1]))
        if at < 0 or not 1 <= string <= 6:
            continue
        if any(n.event.string == string and n.start - 0.3 < at < n.end + 0.05 for n in take.notes):
            continue
        event = note.event._replace(
            sound=-3, part=1, string=string, pitch=float(tuning.open(string) + capo), moves=(), joined=False,
            loudness=0.05 * note.event.loudness,
        )  # fmt: skip
        take.notes.append(Stroked(event, at, at + 0.15, event.pitch, ()))


def add_buzz(wave: Samples, take: Take, player: Player, random: Random) -> Samples:
    """Return the samples with a string rattling on a fret at some notes: the sound itself, broken up by noise, above 900 Hz."""
    out = wave.copy()
    for index, at in take.onsets.items():
        if index >= 0 and random.random() < player.buzz:
            first = int(at * RATE)
            part = wave[first : first + int(random.uniform(0.08, 0.3) * RATE)]
            if len(part) > 2000:
                rattle = part * np.abs(random.standard_normal(len(part))).astype(np.float32)
                rattle = filtered(rattle.astype(np.float32), 900, 7000) * np.linspace(1, 0, len(part), dtype=np.float32)
                out[first : first + len(part)] += 0.3 * rattle
    return out
