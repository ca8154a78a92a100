"""Facts and costs of a pair of notes: what of them is the same, and how far apart the two are.

In: two `SoundingNote`s and the semitones by which the student's phrase is lower. Out: facts and a cost for the alignment.
"""

from __future__ import annotations

from lickwright.notation.techniques import UPWARD_BENDS
from lickwright.timeline.model import SoundingNote

# Costs of pairing two notes, in hundredths of a note; estimates. A note left alone costs GAP, so two left alone cost more than any
# pair that starts together (it is the same note, played wrong), and less than an unlike pair that starts far apart.
GAP = 80
OTHER_STRING = 30  # the same pitch elsewhere
OTHER_WAY = 35  # the same pitch, bent to instead of fretted
OTHER_FRET = 50  # the same string; and
EACH_FRET = 2  # for each fret between, up to an octave
UNLIKE = 70
OTHER_KIND = 30  # a grace note for a note
OTHER_STROKE = 5  # decides between equal notes only


def highest_bend(sound: SoundingNote) -> float:
    """Return the semitones above the fretted pitch at the top of its bends; 0 without one."""
    return max((shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS), default=0.0)


def is_same_pitch(a: SoundingNote, b: SoundingNote, semitones: int) -> bool:
    """Return whether two notes have the same pitch, bends aside; dead notes have none, and are alike."""
    if a.dead or b.dead:
        return a.dead and b.dead
    return a.pitch + semitones == b.pitch


def is_bent_instead(a: SoundingNote, b: SoundingNote, semitones: int) -> bool:
    """Return whether one is bent to the pitch at which the other is fretted."""
    one, other = highest_bend(a), highest_bend(b)
    if a.dead or b.dead or (one > 0) == (other > 0):
        return False
    return arrival_difference(a, b, semitones) == 0


def arrival_difference(a: SoundingNote, b: SoundingNote, semitones: int) -> float:
    """Return by how many semitones `a` arrives too high, each taken at the top of its bends."""
    return a.pitch + highest_bend(a) + semitones - b.pitch - highest_bend(b)


def note_cost(a: SoundingNote, b: SoundingNote, semitones: int) -> int:
    """Return how unlike two notes are, time aside."""
    cost = 0 if (a.kind == "note") == (b.kind == "note") else OTHER_KIND
    if a.begin is not b.begin:
        cost += OTHER_STROKE
    if is_same_pitch(a, b, semitones):
        return cost if a.string == b.string else cost + OTHER_STRING
    if is_bent_instead(a, b, semitones):
        return cost + OTHER_WAY
    if a.string == b.string:
        apart = 0.0 if a.dead or b.dead else min(12.0, abs(a.pitch + semitones - b.pitch))
        return cost + OTHER_FRET + round(EACH_FRET * apart)
    return cost + UNLIKE


Two = tuple[SoundingNote | None, SoundingNote | None]


def pair_chord_notes(
    mine: tuple[SoundingNote, ...], theirs: tuple[SoundingNote, ...], semitones: int
) -> tuple[int, list[Two]]:
    """Return the cost of pairing the notes of two chords, those left alone included, and the pairs; the likest are paired first."""
    if len(mine) == 1 == len(theirs):
        return note_cost(mine[0], theirs[0], semitones), [(mine[0], theirs[0])]
    costs = sorted((note_cost(a, b, semitones), i, j) for i, a in enumerate(mine) for j, b in enumerate(theirs))
    total, found = 0, []
    left, right = set(range(len(mine))), set(range(len(theirs)))
    for cost, i, j in costs:
        if i in left and j in right:
            left.remove(i)
            right.remove(j)
            total += cost
            found.append((i, j))
    pairs: list[Two] = [(mine[i], theirs[j]) for i, j in sorted(found, key=lambda ij: ij[1])]
    pairs += [(mine[i], None) for i in sorted(left)]
    pairs += [(None, theirs[j]) for j in sorted(right)]
    return total + GAP * (len(left) + len(right)), pairs
