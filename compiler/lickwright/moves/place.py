"""Strings and frets for the notes of a moved lick.

In: a counted lick and an aim. Out: `Places`, for each sound of the first pass its new string and fret. By shape that is a sum; by pitch it is found by
`fingering.plan`, the same dynamic programming that suggests fingers.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import TYPE_CHECKING

from lickwright.fingering import Choice, Moment, hand_for, moments_of, plan
from lickwright.moves.written import Places, first_pass, stopped
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import Curve
from lickwright.timeline import Sound, Timeline

if TYPE_CHECKING:
    from lickwright.moves.aim import Aim

MOST_CHOICES = 24  # places of one moment that are weighed
_PULLED = (Curve.BEND, Curve.PREBEND, Curve.VIBRATO, Curve.SLIDE_IN, Curve.SLIDE_OFF, Curve.GLIDE)
OUTSIDE = 4.0  # what a note outside the box costs when boxes are weighed against each other


def by_shape(timeline: Timeline, aim: Aim) -> Places | None:
    """Every note so many frets on, on its own string; None where the neck ends."""
    at: dict[int, tuple[int, int | None]] = {}
    frets = 0
    if aim.keeps_pitch or aim.semitones:
        frets = aim.semitones
    for sound in first_pass(timeline):
        fret = stopped(sound)
        moved = None if fret is None else fret + frets
        highest = max([moved or 0, *(float(shape.to_fret or 0) + frets for shape in sound.shapes)])
        if moved is not None and not (moved >= 0 and highest <= aim.frets):
            return None
        if sound.trill is not None and not 0 <= sound.trill + frets <= aim.frets:
            return None
        at[sound.index] = (sound.string, moved)
    opened = sum(stopped(sound) == 0 for sound in first_pass(timeline)) if frets else 0
    said = (f"{opened} open string{'s are' if opened > 1 else ' is'} fretted now",) if opened else ()
    return Places(at, frets, said)


def by_pitch(timeline: Timeline, aim: Aim) -> Iterator[Places]:
    """Places for the same pitches, moved by the aim's interval: the best first.

    Notes that sound under others must not meet them on a string, which the plan does not see: where it went wrong, those notes
    are tried on their own strings, then on all strings next to them.
    """
    moments, groups = _moments(timeline, aim)
    if not moments or not all(moment.choices for moment in moments):
        return
    yield from _planned(timeline, aim, moments, groups)
    under = _under_others(timeline)
    for apart in (0, 1, -1, 2, -2) if under else ():
        kept = [_on_strings(moment, group, apart, under) for moment, group in zip(moments, groups, strict=True)]
        if all(moment.choices for moment in kept):
            yield from _planned(timeline, aim, kept, groups)


def _planned(timeline: Timeline, aim: Aim, moments: list[Moment], groups: list[list[Sound]]) -> Iterator[Places]:
    hand = hand_for(timeline)
    boxes = [box.places | box.blue for box in aim.area.boxes] if aim.area else [None]
    found = []
    for n, box in enumerate(boxes):
        planned = plan(moments, hand, box, aim.tuning)
        chosen = [moment.choices[k] for moment, k in zip(moments, planned.choice, strict=True)]
        outside = sum(place not in box for choice in chosen for place in choice if place[1] is not None) if box else 0
        found.append((planned.cost + OUTSIDE * outside, n, chosen))
    for _, _, chosen in sorted(found, key=lambda one: one[:2]):
        at = {
            sound.index: place
            for group, choice in zip(groups, chosen, strict=True)
            for sound, place in zip(group, choice, strict=True)
        }
        yield Places(_followed(timeline, at, aim.tuning), aim.semitones)


def _under_others(timeline: Timeline) -> frozenset[int]:
    """Notes that go on while another string is played, and those played meanwhile."""
    out: set[int] = set()
    sounds = first_pass(timeline)
    for n, sound in enumerate(sounds):
        for other in sounds[n + 1 :]:
            if other.start >= sound.end:
                break
            if other.start > sound.start and other.string != sound.string:
                out |= {sound.index, other.index}
    return frozenset(out)


def _on_strings(moment: Moment, group: list[Sound], apart: int, under: frozenset[int]) -> Moment:
    """The moment with such notes on their own strings, or all on strings so many further."""

    def fits(choice: Choice) -> bool:
        pairs = zip(choice, group, strict=True)
        return all(place[0] == sound.string + apart for place, sound in pairs if sound.index in under)

    return moment._replace(choices=tuple(choice for choice in moment.choices if fits(choice)))


def _followed(
    timeline: Timeline, at: dict[int, tuple[int, int | None]], tuning: Tuning
) -> dict[int, tuple[int, int | None]]:
    """Connected notes go where their source went; what is not fingered (taps, scrapes) keeps near its neighbours."""
    done = dict(at)
    last = 0
    for sound in first_pass(timeline):
        if sound.source is not None and sound.source in done:
            string = done[sound.source][0]
            source = timeline.sounds[sound.source]
            fret = done[sound.source][1]
            here, there = stopped(sound), stopped(source)
            if fret is not None and here is not None and there is not None:
                done[sound.index] = (string, fret + here - there)
        elif sound.index not in done:
            string = max(1, min(tuning.strings, sound.string + last))
            done[sound.index] = (string, stopped(sound))
        last = done[sound.index][0] - sound.string
    return done


def _moments(timeline: Timeline, aim: Aim) -> tuple[list[Moment], list[list[Sound]]]:
    """The lick's moments with every place where their notes can be had."""
    first = {sound.index for sound in first_pass(timeline)}
    moments, groups = moments_of(timeline)
    out, kept = [], []
    for moment, group in zip(moments, groups, strict=True):
        if all(sound.index in first for sound in group):
            out.append(moment._replace(choices=tuple(_choices(group, timeline, aim)), fixed=()))
            kept.append(group)
    return out, kept


def _choices(group: list[Sound], timeline: Timeline, aim: Aim) -> list[Choice]:
    """Places for notes that sound together: one string each, nearest to each other first."""
    single = [_single(sound, timeline, aim) for sound in group]
    if len(group) == 1:
        return [(place,) for place in single[0]]
    together = [choice for choice in product(*single) if len({string for string, _ in choice}) == len(choice)]
    return sorted(together, key=_spread)[:MOST_CHOICES]


def _spread(choice: Choice) -> tuple[int, int]:
    frets = [fret for _, fret in choice if fret]
    strings = [string for string, _ in choice]
    return (max(frets) - min(frets) if frets else 0, max(strings) - min(strings))


def _single(sound: Sound, timeline: Timeline, aim: Aim) -> list[tuple[int, int | None]]:
    """Places for one note, connected notes and bends kept possible there."""
    tuning = aim.tuning
    if stopped(sound) is None:
        return [(string, None) for string in range(1, tuning.strings + 1)]
    old = timeline.settings.tuning
    pitch = old.sounding[sound.string - 1] + (stopped(sound) or 0) + aim.semitones
    chain = _chain(sound, timeline)
    low, high = min(chain, default=0), max(chain, default=0)
    bent = max(
        (shape.amount for shape in sound.shapes if shape.technique.curve in (Curve.BEND, Curve.PREBEND)), default=0.0
    )
    pressed = sound.begin.curve in _PULLED or any(shape.technique.curve in _PULLED for shape in sound.shapes)
    found = []
    for string in range(1, tuning.strings + 1):
        fret = pitch - tuning.sounding[string - 1]
        if fret + low >= 0 and fret + max(high, bent) <= aim.frets and not (pressed and fret == 0):
            found.append((string, fret))
    plain = [place for place in found if place[0] <= 3 and place[1] > 1]
    return list(plain if bent > 1 and plain and not tuning.is_bass else found)


def _chain(sound: Sound, timeline: Timeline) -> list[int]:
    """How far, in frets, the notes connected to this one lie from it: they share its string."""
    here = stopped(sound) or 0
    out = [0] if sound.trill is None else [0, sound.trill - here]
    joined = {sound.index}
    for other in timeline.sounds[sound.index + 1 : sound.index + 12]:
        if other.source in joined:
            joined.add(other.index)
            out.append((stopped(other) or 0) - here)
    return out
