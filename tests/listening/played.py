"""What a student plays: strokes on strings with their times and pitches, and what is true of each note.

`Take` is what mistakes change and what guitars sound; the truth is kept by index of the sound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import PitchRamp, pitch_offsets
from lickwright.timeline.model import Timeline

Random = np.random.Generator


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


def pitches_at(note: Stroked, tail: list[Stroked], times: np.ndarray) -> np.ndarray:
    """Return the pitch at ascending times (seconds) of a note, and of those that are played on from it without a pick."""
    pitch = note.pitch + note.offsets(times)
    for part in tail:
        here = times >= part.start
        pitch[here] = part.pitch + part.offsets(times[here])
    return pitch


def warp_take(take: Take, time: Callable[[float], float]) -> None:
    for note in take.notes:
        note.start, note.end = time(note.start), time(note.end)
        note.moves = tuple(m._replace(start=time(m.start), end=time(m.end)) for m in note.moves)
    take.extras = [time(t) for t in take.extras]


def move_note(take: Take, note: Stroked, late: float) -> None:
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


def insert_pause(take: Take, at: float, length: float) -> None:
    for note in take.notes:
        if note.start >= at - 0.03:
            note.start += length
            note.moves = tuple(m._replace(start=m.start + length, end=m.end + length) for m in note.moves)
            note.end += length
    take.extras = [t + length if t >= at - 0.03 else t for t in take.extras]


def strokes_by_string(take: Take) -> Iterator[list[Stroked]]:
    strings: dict[int, list[Stroked]] = {}
    for note in sorted(take.notes, key=lambda n: n.start):
        strings.setdefault(note.event.string, []).append(note)
    yield from strings.values()


def picked_runs(notes: list[Stroked], strokes: tuple[Stroke, ...]) -> Iterator[tuple[Stroked, list[Stroked], float]]:
    """Yield the notes of a string that begin with a pick, those that go on from each (slid to, or begun by one of `strokes`), and when the next begins."""
    k = 0
    while k < len(notes):
        tail: list[Stroked] = []
        for note in notes[k + 1 :]:
            before = (tail or [notes[k]])[-1]
            if (
                not note.event.joined
                or note.event.stroke not in (Stroke.NONE, *strokes)
                or note.start > before.end + 0.02
            ):
                break
            tail.append(note)
        following = k + 1 + len(tail)
        yield notes[k], tail, notes[following].start if following < len(notes) else float("inf")
        k = following
