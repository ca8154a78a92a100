"""The chords over a lick, note by note.

In: a Timeline. Out: for each sounding note the chord that it is played over, and its degree in that chord. Judging and
drawing them is done elsewhere.
"""

from __future__ import annotations

from lickwright.core.keep_last import keep_last
from lickwright.music.chord import Chord
from lickwright.notation.techniques import Curve
from lickwright.timeline.model import SoundingNote, Timeline

NO_TONE = "no"  # said of a note over a chord that does not hold it


def distinct_chords(timeline: Timeline) -> tuple[Chord, ...]:
    """Return the chords of the `chords` line, each once, in order."""
    found = (entry.chord for bar in timeline.settings.chords for entry in bar)
    return tuple(dict.fromkeys(chord for chord in found if chord is not None))


@keep_last
def chords_under(timeline: Timeline) -> tuple[Chord | None, ...]:
    """Return for each sound, by index, the chord over the written place where it starts; None where there is none.

    A pick-up has no chord; a bar without one of its own keeps the chord before.
    """
    bars, written = timeline.bars, timeline.settings.chords
    if not written:
        return (None,) * len(timeline.sounds)
    first = 1 if bars and bars[0].number == 0 else 0
    starts: list[list[tuple[int, Chord | None]]] = []  # by bar: grains from its start, and the chord from there on
    last: Chord | None = None
    for n, bar in enumerate(bars):
        own = written[n - first] if 0 <= n - first < len(written) else ()
        entries = [
            (0, last),
            *((entry.at.numerator * bar.length // entry.at.denominator, entry.chord) for entry in own),
        ]
        last = entries[-1][1]
        starts.append(entries)
    return tuple([_at(starts[sound.bar], timeline.slots[sound.slot].at) for sound in timeline.sounds])


def _at(entries: list[tuple[int, Chord | None]], grains: int) -> Chord | None:
    if len(entries) == 1:  # most bars have one chord
        return entries[0][1]
    last = len(entries) - 1
    while entries[last][0] > grains:
        last -= 1
    return entries[last][1]


def tone_in_chord(chord: Chord | None, pitch: float) -> str:
    """Return the degree of a pitch, as fingered, in a chord: "1", "b3", "9"; `NO_TONE` for none; "" without a chord.

    A quarter-tone is no chord note.
    """
    if chord is None:
        return ""
    return (chord.tone(int(pitch)) if pitch % 1 == 0 else "") or NO_TONE


def struck_pitch(sound: SoundingNote) -> float:
    """Return the pitch (MIDI, as fingered) that a note begins with: of a pre-bend the one that it is bent to."""
    shape = sound.shapes[0] if sound.shapes else None
    return sound.pitch + (shape.amount if shape is not None and shape.technique.curve is Curve.PREBEND else 0.0)


@keep_last
def chord_tones(timeline: Timeline) -> tuple[str, ...]:
    """Return for each sound, by index, its degree in the chord over it; "" for dead notes, and without a chord."""
    if not timeline.settings.chords:
        return ("",) * len(timeline.sounds)
    known: dict[tuple[int, float], str] = {}  # by chord and pitch: a lick has few of both
    tones = []
    for sound, chord in zip(timeline.sounds, chords_under(timeline), strict=True):
        pitch = struck_pitch(sound) if sound.shapes else sound.pitch
        tone = known.get((id(chord), pitch))
        if tone is None:
            tone = known[id(chord), pitch] = tone_in_chord(chord, pitch)
        tones.append("" if sound.dead else tone)
    return tuple(tones)
