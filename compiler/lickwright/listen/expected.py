"""What a lick should sound like, as groups of notes that begin together.

In: a Timeline and its Performance. Out: `ExpectedGroup`s in order: when each begins, which pitches it has, how they move, and whether it can be judged by
ear. What cannot is passed over, with the reason in words.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from lickwright.notation.techniques import BEND_CURVES, Curve, Stroke
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import CurveShape, pitch_offsets
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

LOWEST, HIGHEST = 37.5, 90.0  # MIDI: what the ear can follow; below is a bass
SHORTEST = 0.085  # seconds that a note must last to be judged
_POINTS = 16  # at which the pitch of a note is looked at
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


def _group(
    sounds: list[SoundingNote], events: dict[int, list[NoteEvent]], glides: dict[int, SoundingNote]
) -> ExpectedGroup:
    played = [events[s.index] for s in sounds]
    starts = [es[0].start for es in played]
    curves = [_curve(es) for es in played]
    lows, highs = [min(c) for c in curves], [max(c) for c in curves]
    for n, sound in enumerate(sounds):
        target = glides.get(sound.index)
        if target is not None and target.index in events:
            pitch = events[target.index][0].pitch
            lows[n], highs[n] = min(lows[n], pitch), max(highs[n], pitch)
    length = max(es[-1].end for es in played) - min(starts)
    kind, why = _kind(sounds, played, length, min(lows), max(highs))
    early = [c[: max(3, round(_POINTS * min(1.0, 0.15 / max(length, 1e-3))))] for c in curves]
    return ExpectedGroup(
        min(starts), tuple(sounds), tuple(es[0].pitch for es in played),
        (min(map(min, early)), max(map(max, early))), min(lows), max(highs), length, kind,
        any(s.source is None for s in sounds), any(s.lead for s in sounds), why,
    )  # fmt: skip


def _curve(events: list[NoteEvent]) -> list[float]:
    """Return the pitches that a note has on its way, wobbles left out."""
    found: list[float] = []
    for event in events:
        times = [event.start + (event.end - event.start) * n / _POINTS for n in range(_POINTS + 1)]
        still = tuple(m for m in event.moves if m.shape not in (CurveShape.ABOVE, CurveShape.AROUND))
        found += [event.pitch + offset for offset in pitch_offsets(still, times)]
    return found


def _kind(
    sounds: list[SoundingNote], played: list[list[NoteEvent]], length: float, low: float, high: float
) -> tuple[ExpectedKind, str]:
    if all(s.dead for s in sounds):
        return ExpectedKind.UNPITCHED, "scrapes" if any(s.kind == "scrape" for s in sounds) else "dead notes and rakes"
    strokes = {es[0].stroke for es in played} | {m.stroke for s in sounds for m in s.marks}
    named = next((words for stroke, words in _ADJECTIVES.items() if stroke in strokes), "")
    for reason, words in (
        (len(sounds) > 2, "chords of three notes and more"),
        (any(s.head is not None and s.head.sign == "*" for s in sounds), "pinch harmonics"),
        (len(sounds) > 1 and any(s.harmonic for s in sounds), "harmonics in a double stop"),
        (any(s.dead for s in sounds), "dead notes and rakes"),
        (bool(named), named),
        (low < LOWEST, "notes below the E string's open one"),
        (high > HIGHEST, "notes above the 24th fret"),
        (any(s.lead for s in sounds), "grace notes"),
        (length < SHORTEST, "notes too short to hear"),
    ):
        if reason:
            return ExpectedKind.PASSED, words
    return (ExpectedKind.PAIR if len(sounds) == 2 else ExpectedKind.SINGLE), ""


def note_bends(sound: SoundingNote) -> list[PitchGesture]:
    """Return the bends and releases of a note."""
    return [shape for shape in sound.shapes if shape.technique.curve in BEND_CURVES]
