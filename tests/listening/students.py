"""Students who play a lick: as written, or with known mistakes, each note out of time by its own little.

In: a Timeline, a random generator and the names of mistakes. Out: a `Take`.
"""

from __future__ import annotations

from fractions import Fraction

from mistakes import MISTAKES
from played import Random, Stroked, Take, move_note, warp_take

from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import perform
from lickwright.timeline.model import Timeline

JITTER = (0.006, 0.014)  # seconds: standard deviation and most, of a student who plays in time


def play_lick(
    timeline: Timeline, random: Random, mistakes: tuple[str, ...], tempo: float = 1.0, drift: float = 0.0, tuning: float = 0.0,
    shift: int = 0, most: int = 99, jitter: tuple[float, float] = JITTER,
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
        late = by_onset.setdefault(note.event.start, float(random.normal(0, jitter[0])))
        late = max(-jitter[1], min(jitter[1], late))
        if note.event.part == 0 and note.event.damping is not Damping.DEAD:
            move_note(take, note, late)
    end = max(n.end for n in notes)
    warp_take(take, lambda t: t * (1 - drift * t / (2 * end)))
    for note in notes:
        note.pitch += tuning / 100 + shift
    take.facts |= {"tempo": tempo, "drift": drift, "tuning": tuning, "shift": shift}
    for note in notes:
        if note.event.part == 0:
            take.onsets.setdefault(note.event.sound, note.start)
    return take
