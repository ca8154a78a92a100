"""Finding the key and scale that the notes of a phrase suggest.

In: a Timeline, of which only what sounds is read (pitches, lengths, where in the bar) and the chords over it. Out: keys
with scales, best first, with a score each. Reads neither the declared key, scale nor box, so that it can judge them.
Knows no boxes; that is `key_and_box_finder.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.music.chord import Chord
from lickwright.music.pitch import Key, parse_key
from lickwright.music.scale import Scale, parse_scale
from lickwright.music.scale_boxes import BLUE, is_minor
from lickwright.notation.techniques import BEND_CURVES
from lickwright.timeline.bar_count import instant_in_meter
from lickwright.timeline.model import SoundingNote, Timeline

# All weights below are our own. They were set by ear and settled by a coarse search over the sample licks and 150 made-up
# phrases (each took a handful of values), so their success there is a success on known material; tests/test_locate.py
# prints it beside that on 150 phrases held out, and holds that none of the main ones matters to a third of its value.

# How likely each degree of a scale is, against one another, counted in time: the tonic most, then fifth and third.
_TONIC, _FIFTH, _THIRD, _OTHER, _BLUE_NOTE = 5.5, 3.0, 2.2, 1.5, 0.7
_STRANGER = 0.03  # a note that the scale does not have; never zero, or one passing note would rule a key out

_EVIDENCE = 12.0  # how many independent notes a phrase counts as: notes follow from one another, so not their number
_LAST, _LOWEST, _FIRST = 2.2, 1.4, 0.6  # notes that the note a phrase ends on (lies above, starts on) counts as besides
_OUTSIDE = 1.5  # cost of the first note outside the scale; two more double it
_LEADING = 0.25  # of a note that leads a semitone on, off the beat: it is outside on purpose
_BENT = 0.4  # of the pitch that a bend arrives at: to the 2nd or the 6th it is a colour, and no other key
_SIMPLEST = 8.0  # for the scales of fewest notes that hold everything
_COLOURED = 11.0  # for a minor pentatonic that holds all but bends to its 2nd and 6th
_SIMPLE = 7  # notes; a scale of more is a union of two, and holds much by chance
_CHORD, _HOME_CHORD = 0.9, 4.0  # for a chord on the tonic; for one that the line of chords begins or ends with

_MINOR_PENTATONIC, _COLOURS = frozenset((0, 3, 5, 7, 10)), frozenset((2, 9))  # semitones above the tonic

_LONGEST = 1.2  # beats; a longer note says no more about the key
_SHORTEST = 0.1  # beats added to each note, so that grace notes count a little
_ON_ONE, _ON_BEAT = 1.3, 1.5  # what starts on beat one, on another beat, weighs that much more


class HeardPitch(NamedTuple):
    """One steady pitch: a note, or the part of one before or after its bend."""

    pitch: int  # nominal MIDI number; a quarter step above it counts as it
    weight: float  # beats, times the weight of where it starts
    sound: SoundingNote  # whose it is
    struck: bool  # the sound begins with it; False: a bend or release arrives there
    bent: bool  # a bend holds it there
    leads: bool  # off the beat, a semitone from what follows

    @property
    def outside(self) -> float:
        """How much it counts where a scale does not have it, 1 for a plain note."""
        return _LEADING if self.leads else _BENT if self.bent else 1.0


@record
class Tonality:
    """A tonic with a scale on it, and how well they account for the notes."""

    key: Key
    scale: Scale
    score: float  # natural logarithm of a likelihood: e times likelier for each 1 more
    outside: int  # notes of the phrase that are neither in the scale nor its blue note


class _Candidate(NamedTuple):
    """One row of the table of scales."""

    scale: Scale
    mode: str  # of the key that is named beside it
    ahead: float  # natural logarithm of how much commoner licks in it are, against a major pentatonic


_CANDIDATES = tuple(
    _Candidate(parse_scale(name, None), mode, ahead)
    for name, mode, ahead in (
        ("minor pentatonic", "minor", 0.8),
        ("minor blues", "minor", 0.5),
        ("natural minor", "minor", 0.4),
        ("dorian", "dorian", 0.0),
        ("phrygian", "phrygian", -2.0),
        ("harmonic minor", "harmonic minor", -0.6),
        ("melodic minor", "melodic minor", -1.0),
        ("1 2 b3 4 5 b6 6 b7 7", "minor", -2.0),  # both sixths and sevenths: what old tunes in minor have
        ("major pentatonic", "major", 0.0),
        ("major blues", "major", -0.3),
        ("major", "major", 0.4),
        ("mixolydian", "mixolydian", -0.4),
        ("lydian", "lydian", -1.2),
        ("major+minor pentatonic", "major", -1.2),
    )
)


def first_time_sounds(timeline: Timeline) -> Iterator[SoundingNote]:
    """Return the pitched sounds of every written note once: a repeat says nothing new about the key."""
    same = [bar.same for bar in timeline.bars]
    return (s for s in timeline.sounds if not s.dead and s.pass_no == 0 and not same[s.bar])


def heard_pitches(timeline: Timeline) -> tuple[HeardPitch, ...]:
    """Return every steady pitch with its weight, in the order in which it is heard."""
    steady = [(sound, part) for sound in first_time_sounds(timeline) for part in _parts(sound)]
    found = []
    for n, (sound, (pitch, length)) in enumerate(steady):
        place = _place_weight(timeline, sound)
        beats = float(timeline.fraction(length) / timeline.settings.meter.beat)
        struck = n == 0 or steady[n - 1][0] is not sound
        follows = (p for s, (p, _) in steady[n + 1 :] if s is sound or (s.start, -s.lead) > (sound.start, -sound.lead))
        leads = place == 1 and abs(next(follows, pitch) - pitch) == 1
        bent = pitch != _semitone(sound.pitch)
        weight = (min(beats, _LONGEST) * place + _SHORTEST) * (_BENT if bent else 1.0)
        found.append(HeardPitch(pitch, weight, sound, struck, bent, leads))
    return tuple(found)


def _parts(sound: SoundingNote) -> list[tuple[int, int]]:
    """Return the pitch and the grains of each steady part: the fretted note, then where each bend and release arrives."""
    parts: list[tuple[int, int]] = []
    pitch, since = sound.pitch, sound.start
    for shape in sound.shapes:
        if shape.technique.curve not in BEND_CURVES:
            continue
        if shape.start > since:
            parts.append((_semitone(pitch), shape.start - since))
            since = shape.start
        pitch = sound.pitch + shape.amount
    return [*parts, (_semitone(pitch), max(0, sound.end - since))]


def _semitone(pitch: float) -> int:
    """Return the nearest semitone; a note pulled a quarter step sharp is still that note."""
    return math.floor(pitch + 0.25)


def _place_weight(timeline: Timeline, sound: SoundingNote) -> float:
    slot = timeline.slots[sound.slot]
    bar = timeline.bars[slot.bar]
    at = instant_in_meter(timeline, bar, slot.at)
    if sound.lead or at % timeline.settings.meter.beat:
        return 1.0
    return _ON_BEAT if at else _ON_ONE


def rank_tonalities(notes: Sequence[HeardPitch], chords: Sequence[Chord] = ()) -> list[Tonality]:
    """Return all keys and scales of the table, best first; `chords` are those over the phrase, in order.

    The score is that of drawing the phrase's notes from the scale's profile: their shares of the time, then once more
    the note it ends on, its lowest and its first, which tell a minor key from its relative major where the notes are
    the same, as do the chords. Each note outside the scale costs besides, however short it is, for the reader will ask
    about it. Of the scales that hold every fretted note, those of the fewest notes come first.
    """
    if not notes:
        return []
    shares = [0.0] * 12
    counts = [0.0] * 12
    total = sum(note.weight for note in notes)
    for note in notes:
        shares[note.pitch % 12] += note.weight / total
        counts[note.pitch % 12] += note.outside
    telling = ((_last(notes), _LAST), (min(note.pitch for note in notes), _LOWEST), (_opening(notes), _FIRST))
    simple = _simplest(notes)
    home = _home_chords(chords)
    found = []
    for row in _CANDIDATES:
        for tonic in range(12):
            score = _score(row, tonic, shares, counts, telling) + home[is_minor(row.scale)][tonic]
            score += simple.get((row.scale, tonic), 0.0)
            found.append(Tonality(_key(tonic, row.mode), row.scale, score, _outside(notes, row, tonic)))
    return sorted(found, key=lambda one: -one.score)  # stable: the table's order where scores are equal


def _score(
    row: _Candidate, tonic: int, shares: list[float], counts: list[float], telling: Iterable[tuple[int, float]]
) -> float:
    profile = _profile(row.scale)
    known = scale_classes(row.scale)
    score = row.ahead + _EVIDENCE * sum(shares[(tonic + above) % 12] * profile[above] for above in range(12))
    score += sum(weight * profile[(pitch - tonic) % 12] for pitch, weight in telling)
    strangers = sum(counts[(tonic + above) % 12] for above in range(12) if above not in known)
    return score - _OUTSIDE * math.log2(1 + strangers)


def _simplest(notes: Sequence[HeardPitch]) -> dict[tuple[Scale, int], float]:
    """Return the bonus of the scales of fewest notes that hold everything, and of minor pentatonics with bends to 2nd and 6th."""
    played = frozenset(note.pitch % 12 for note in notes)
    fretted = frozenset(note.pitch % 12 for note in notes if not note.bent)
    ahead, fewest = {}, _SIMPLE
    for row in sorted(_CANDIDATES, key=lambda row: row.scale.notes):
        own = frozenset(row.scale.semitones)
        for tonic in range(12):
            if row.scale.notes <= fewest and _above(played, tonic) <= own:
                ahead[row.scale, tonic] = _SIMPLEST
                fewest = row.scale.notes
            elif own == _MINOR_PENTATONIC and _above(fretted, tonic) <= own and _above(played, tonic) <= own | _COLOURS:
                ahead[row.scale, tonic] = _COLOURED
    return ahead


def _above(pitch_classes: Iterable[int], tonic: int) -> frozenset[int]:
    return frozenset((pc - tonic) % 12 for pc in pitch_classes)


def _home_chords(chords: Sequence[Chord]) -> dict[bool, list[float]]:
    """Return the bonus that the chords give to each tonic, 0 to 11, in minor (True) and in major (False).

    A dominant seventh chord is at home in both: over A7 the minor pentatonic is played as much as the major.
    """
    found = {True: [0.0] * 12, False: [0.0] * 12}
    for n, chord in enumerate(chords):
        worth = _HOME_CHORD if n in (0, len(chords) - 1) else _CHORD
        minor, dominant = 3 in chord.intervals, {4, 10} <= set(chord.intervals)
        for mode in (True, False):
            if mode == minor or dominant:
                found[mode][chord.root.pc] = max(found[mode][chord.root.pc], worth)
    return found


@lru_cache(maxsize=64)
def _profile(scale: Scale) -> tuple[float, ...]:
    """Return the natural logarithm of the share of each degree, 0 to 11 semitones above the tonic, against an even spread."""
    third = 3 if is_minor(scale) else 4
    named = {0: _TONIC, 7: _FIFTH, third: _THIRD}
    weights = [named.get(above, _OTHER) if above in scale.semitones else _STRANGER for above in range(12)]
    if scale.is_blues:
        weights[BLUE["minor" if is_minor(scale) else "major"].semitones] = _BLUE_NOTE
    return tuple(math.log(12 * weight / sum(weights)) for weight in weights)


@lru_cache(maxsize=64)
def scale_classes(scale: Scale) -> frozenset[int]:
    """Return the semitones above the tonic that count as inside: the scale's, and the blue note of its family."""
    own = frozenset(scale.semitones)
    return own | {BLUE["minor" if is_minor(scale) else "major"].semitones} if scale.is_pentatonic_family else own


def _outside(notes: Sequence[HeardPitch], row: _Candidate, tonic: int) -> int:
    known = scale_classes(row.scale)
    return len({note.sound.index for note in notes if (note.pitch - tonic) % 12 not in known})


def _last(notes: Sequence[HeardPitch]) -> int:
    """Return the pitch that the phrase ends on: the lowest of the notes struck last, or where the last one was bent to."""
    start = notes[-1].sound.start
    final = [note for note in notes if note.sound.start == start]
    alone = all(note.sound is final[0].sound for note in final)
    return final[-1].pitch if alone else min(note.pitch for note in final)


def _opening(notes: Sequence[HeardPitch]) -> int:
    start = notes[0].sound.start
    return min(note.pitch for note in notes if note.sound.start == start)


@lru_cache(maxsize=256)
def _key(tonic: int, mode: str) -> Key:
    return parse_key(f"C {mode}").transposed(tonic)
