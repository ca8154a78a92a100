"""What a lick should sound like, as groups of notes that begin together.

In: a Timeline and its Performance. Out: `ExpectedGroup`s in order: when each begins, which pitches it has, how they move, and whether it can be judged by
ear. What cannot is passed over, with the reason in words.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import NamedTuple

from lickwright.notation.techniques import BEND_CURVES, Curve, Stroke
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import CurveShape, pitch_offsets
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

LOWEST, HIGHEST = 37.5, 90.0  # MIDI: what the ear can follow; below is a bass
SHORTEST = 0.085  # seconds that a note must last to be judged
_POINTS = 16  # at which the pitch of a note is looked at
_MOVES = 0.4  # semitones between its lowest and highest pitch beyond which a group moves
_ADJECTIVES = {Stroke.REPEAT: "tremolo picking", Stroke.SWELL: "swells", Stroke.SCRAPE: "scrapes"}


class ExpectedKind(StrEnum):
    """How a group can be heard."""

    SINGLE = "single"  # one note
    PAIR = "pair"  # a double stop
    PASSED = "passed"  # it is heard, but not judged
    UNPITCHED = "unpitched"  # dead notes, strokes of a rake


class ExpectedGroup(NamedTuple):
    """Notes that begin together."""

    at: float  # seconds at the lick's own tempo
    sounds: tuple[SoundingNote, ...]
    pitches: tuple[float, ...]  # MIDI, as sounding, without bends; one for each sound
    first: tuple[float, float]  # lowest and highest pitch of its first 150 ms
    low: float  # of all that it does
    high: float
    length: float  # seconds
    kind: ExpectedKind
    struck: bool  # picked, tapped or hammered from nowhere: not joined to the note before
    lead: bool  # a grace note or a rake stroke
    why: str  # why it is passed over; "" if it is judged

    @property
    def is_moving(self) -> bool:
        """Whether its pitch moves: it has a bend, a slide or a vibrato."""
        return self.high - self.low > _MOVES


def expected_groups(timeline: Timeline, performance: Performance) -> list[ExpectedGroup]:
    """Return the groups of a lick, in order."""
    events: dict[int, list[NoteEvent]] = {}
    for event in performance.notes:
        events.setdefault(event.sound, []).append(event)
    together: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.index in events:
            together.setdefault((sound.start, -sound.lead), []).append(sound)
    glides = {s.source: s for s in timeline.sounds if s.source is not None and s.begin.curve is Curve.GLIDE}
    groups = [_group(sounds, events, glides) for _, sounds in sorted(together.items())]
    return sorted(groups, key=lambda group: group.at)


class _Played(NamedTuple):
    """Notes that begin together, as they are performed."""

    sounds: list[SoundingNote]
    events: list[list[NoteEvent]]  # of each sound
    low: float  # of all pitches
    high: float
    length: float  # seconds


def _group(
    sounds: list[SoundingNote], events: dict[int, list[NoteEvent]], glides: dict[int, SoundingNote]
) -> ExpectedGroup:
    played = [events[s.index] for s in sounds]
    start = min(es[0].start for es in played)
    curves = [_curve(es) for es in played]
    reached = [pitch for curve in curves for pitch in curve] + _glide_ends(sounds, events, glides)
    length = max(es[-1].end for es in played) - start
    kind, why = _kind(_Played(sounds, played, min(reached), max(reached), length))
    return ExpectedGroup(
        start, tuple(sounds), tuple(es[0].pitch for es in played), _first_pitches(curves, length), min(reached), max(reached),
        length, kind, any(s.source is None for s in sounds), any(s.lead for s in sounds), why,
    )  # fmt: skip


def _glide_ends(
    sounds: Sequence[SoundingNote], events: dict[int, list[NoteEvent]], glides: dict[int, SoundingNote]
) -> list[float]:
    """Return the pitches to which slides from these notes go."""
    targets = [glides[sound.index].index for sound in sounds if sound.index in glides]
    return [events[target][0].pitch for target in targets if target in events]


def _first_pitches(curves: Sequence[Sequence[float]], length: float) -> tuple[float, float]:
    """Return the lowest and the highest pitch of the first 150 ms."""
    count = max(3, round(_POINTS * min(1.0, 0.15 / max(length, 1e-3))))
    early = [pitch for curve in curves for pitch in curve[:count]]
    return min(early), max(early)


def _curve(events: list[NoteEvent]) -> list[float]:
    """Return the pitches that a note has on its way, wobbles left out."""
    found: list[float] = []
    for event in events:
        times = [event.start + (event.end - event.start) * n / _POINTS for n in range(_POINTS + 1)]
        still = tuple(m for m in event.moves if m.shape not in (CurveShape.ABOVE, CurveShape.AROUND))
        found += [event.pitch + offset for offset in pitch_offsets(still, times)]
    return found


def _stroke_words(played: _Played) -> str:
    """Return what is said of notes that are struck in a way that the ear cannot follow; "" for any other."""
    strokes = {es[0].stroke for es in played.events} | {m.stroke for s in played.sounds for m in s.marks}
    return next((words for stroke, words in _ADJECTIVES.items() if stroke in strokes), "")


def _any_pinched(played: _Played) -> bool:
    return any(s.head is not None and s.head.sign == "*" for s in played.sounds)


def _any_harmonic_pair(played: _Played) -> bool:
    return len(played.sounds) > 1 and any(s.harmonic for s in played.sounds)


# Why notes are heard but not judged: whether it is so, and the words for it. The first that holds is said.
_PASSED: tuple[tuple[Callable[[_Played], object], str | Callable[[_Played], str]], ...] = (
    (lambda played: len(played.sounds) > 2, "chords of three notes and more"),
    (_any_pinched, "pinch harmonics"),
    (_any_harmonic_pair, "harmonics in a double stop"),
    (lambda played: any(s.dead for s in played.sounds), "dead notes and rakes"),
    (_stroke_words, _stroke_words),
    (lambda played: played.low < LOWEST, "notes below the E string's open one"),
    (lambda played: played.high > HIGHEST, "notes above the 24th fret"),
    (lambda played: any(s.lead for s in played.sounds), "grace notes"),
    (lambda played: played.length < SHORTEST, "notes too short to hear"),
)


def _kind(played: _Played) -> tuple[ExpectedKind, str]:
    """Return how notes can be heard, and why they are passed over where they are."""
    sounds = played.sounds
    if all(s.dead for s in sounds):
        return ExpectedKind.UNPITCHED, "scrapes" if any(s.kind == "scrape" for s in sounds) else "dead notes and rakes"
    said = next((words for holds, words in _PASSED if holds(played)), None)
    if said is not None:
        return ExpectedKind.PASSED, said if isinstance(said, str) else said(played)
    return (ExpectedKind.PAIR if len(sounds) == 2 else ExpectedKind.SINGLE), ""


def note_bends(sound: SoundingNote) -> list[PitchGesture]:
    """Return the bends and releases of a note."""
    return [shape for shape in sound.shapes if shape.technique.curve in BEND_CURVES]
