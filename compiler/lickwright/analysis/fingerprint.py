"""Fingerprint of a phrase: the steps from note to note and the rhythm, which stay the same in every key, box and tuning.

In: a Timeline. Out: `Phrase`. A bend counts as the note that it arrives at, a release as the note that it goes back to, so
that a note bent up and the same note fretted are the same phrase. Grace notes, rakes and scrapes are ornaments, and how long
a note sounds on is left out. What two phrases have in common is `index/edit_distance.py`'s.

A phrase has a *code*, equal for equal phrases whatever note value they are written in, and its *moments*, from which it can
be read again: all that begins together is a moment, with its highest note, what is below it, and the time to the next.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from itertools import pairwise
from math import floor, gcd
from typing import TYPE_CHECKING, NamedTuple

from lickwright.core.digest import blake2b
from lickwright.notation.techniques import BEND_CURVES, TECHNIQUES

if TYPE_CHECKING:
    from lickwright.timeline.model import SoundingNote, Timeline

WHOLE = 20160  # time units to a whole note in `moments`: thirds, also of thirds, fifths and sevenths of usual values are whole
LONGEST = 0xFFFF  # units; a longer wait counts as this one
FEWEST = 4  # moments; two licks with fewer are never called the same

_DEAD = 1  # what stands below a moment's highest note: 0 nothing; this: it has no pitch; from 2 on a chord
_MIDDLE = 128  # how the first note's pitch is written; others count semitones from it
_NUMBER = {id(technique): number for number, technique in enumerate(TECHNIQUES)}
_KINDS = {"note": 0, "grace": 1, "rake": 2, "scrape": 3}


class Phrase(NamedTuple):
    """The phrase of one lick."""

    notes: int  # moments: what begins together counts once
    code: int  # 64 bits, signed
    moments: bytes  # of each its highest note, then of each what is below, then of each the wait, two bytes low first
    first: int | None  # nominal MIDI pitch of the first moment with a pitch


class Moments(NamedTuple):
    """The moments of a phrase, unpacked."""

    pitches: bytes  # semitones from the first one's highest note, plus 128
    chords: bytes  # 0 for a single note
    waits: Sequence[int]  # to the next moment, in units of `WHOLE`; the last is 0


def phrase_fingerprint(timeline: Timeline) -> Phrase:
    """Return what of a lick is the same in every key and box."""
    heard = _pitches_by_start(timeline)
    times = sorted(heard)
    waits = [after - before for before, after in pairwise(times)]
    common = gcd(*waits) or 1
    first, pitches, chords = _melody([heard[at] for at in times])
    values = ",".join([str(wait // common) for wait in waits]).encode()
    code = _code(pitches, chords, values)
    grain = timeline.grain
    units = array("H", [min(LONGEST, (wait * WHOLE * 2 + grain) // (2 * grain)) for wait in waits] + [0] * bool(times))
    return Phrase(len(times), code, pitches + chords + _low_first(units).tobytes(), first)


def _pitches_by_start(timeline: Timeline) -> dict[int, list[int]]:
    """Return the MIDI pitches that are reached at each instant, in grains; none for a dead note."""
    heard: dict[int, list[int]] = {}
    for sound in timeline.sounds:
        if sound.kind != "note":
            continue
        if sound.dead:
            heard.setdefault(sound.start, [])
        elif sound.shapes:
            for at, pitch in _steady(sound):
                heard.setdefault(at, []).append(pitch)
        else:
            heard.setdefault(sound.start, []).append(floor(sound.pitch + 0.25))
    return heard


def _melody(moments: Sequence[list[int]]) -> tuple[int | None, bytes, bytes]:
    """Return the first moment's highest pitch, and for each moment a byte for its highest pitch and one for what is below."""
    first = last = next((max(together) for together in moments if together), None)
    pitches, chords = bytearray(), bytearray()
    for together in moments:
        last = max(together) if together else last
        pitches.append(max(0, min(255, _MIDDLE + (last or 0) - (first or 0))))
        chords.append(_DEAD if not together else 0 if len(together) == 1 else _chord(together))
    return first, bytes(pitches), bytes(chords)


def _steady(sound: SoundingNote) -> list[tuple[int, int]]:
    """Return when a sound reaches which pitch: a bend at once arrives with the stroke, a later one where it starts.

    A quarter step counts as the note below it, so a quarter-step bend changes nothing.
    """
    pitch = floor(sound.pitch + 0.25)
    found = [(sound.start, pitch)]
    for shape in sound.shapes:
        if shape.technique.curve not in BEND_CURVES:
            continue
        arrived = floor(sound.pitch + shape.amount + 0.25)
        if shape.start <= sound.start:
            found[:] = [(sound.start, arrived)]
        elif arrived != pitch:
            found.append((shape.start, arrived))
        pitch = arrived
    return found


def _chord(together: list[int]) -> int:
    """Return a number from 2 to 255 for the notes below the highest, 0 for none; a note twice, on two strings, counts once."""
    notes = sorted(set(together), reverse=True)
    number = 0
    for below in notes[1:]:
        number = number * 31 + notes[0] - below
    return 2 + number % 254 if number else 0


def tab_code(timeline: Timeline) -> int:
    """Return a code that is equal for licks that are the same on the fretboard: strings, frets, techniques and exact lengths.

    Written fingers, dynamics and fields are left out. 64 bits, signed.
    """
    grain = timeline.grain
    lengths = {n for s in timeline.sounds for n in (s.start, s.end)}
    common = gcd(grain, *lengths) or 1
    numbers: list[int] = [grain // common, *timeline.settings.tuning.nominal, -1]
    for sound in timeline.sounds:
        numbers += (
            sound.start // common, sound.end // common, sound.string, -1 if sound.fret is None else sound.fret,
            _NUMBER[id(sound.begin)], _KINDS[sound.kind], sound.lead,
        )  # fmt: skip
        numbers += _technique_numbers(sound, common)
    return _code(_low_first(array("q", numbers)).tobytes())


def _technique_numbers(sound: SoundingNote, common: int) -> list[int]:
    """Return the head, marks, shapes, trill and roll of a sound, each begun by a number of its own."""
    numbers: list[int] = []
    if sound.head is not None:
        touch = 0 if sound.touch is None else sound.touch.numerator * 64 // sound.touch.denominator
        numbers += (-2, _NUMBER[id(sound.head)], touch)
    for mark in sound.marks:
        numbers += (-3, _NUMBER[id(mark)])
    for shape in sound.shapes:
        numbers += (-4, _NUMBER[id(shape.technique)], shape.start // common, round(shape.amount * 100))
    if sound.trill is not None or sound.roll is not None:
        numbers += (-5, -1 if sound.trill is None else sound.trill, -1 if sound.roll is None else sound.roll)
    return numbers


def _code(*parts: bytes) -> int:
    whole = b"\0".join((len(parts[0]).to_bytes(4, "little"), *parts))
    return int.from_bytes(blake2b(whole, digest_size=8).digest(), "little", signed=True)


def _low_first(units: array[int]) -> array[int]:
    """Return units whose bytes are the same on every machine; on some machines they are swapped in place."""
    from sys import byteorder

    if byteorder == "big":
        units.byteswap()
    return units


def moment_count(moments: bytes) -> int:
    """Return how many moments there are in `Phrase.moments`: each takes a pitch, a chord and two bytes of waiting."""
    return len(moments) // 4


def unpack_moments(moments: bytes) -> Moments:
    """Return what `Phrase.moments` holds."""
    notes = moment_count(moments)
    waits = array("H")
    waits.frombytes(moments[2 * notes :])
    return Moments(moments[:notes], moments[notes : 2 * notes], _low_first(waits))


GRAMS = (4, 5)  # moments; two lengths, since few edits leave little of a short phrase whole


def step_grams(moments: bytes) -> set[str]:
    """Return the steps between every few moments in a row, as words that can be looked up: edits elsewhere leave them as they are."""
    steps = _steps(moments)
    return {steps[i : i + size - 1].hex() for size in GRAMS for i in range(len(steps) - size + 2)}


def separate_step_grams(moments: bytes) -> list[str]:
    """Return grams that do not overlap: every edit spoils one of them at most."""
    steps = _steps(moments)
    size = piece_size(len(steps) + 1)
    return [steps[i : i + size - 1].hex() for i in range(0, len(steps) - size + 2, size)]


def piece_size(notes: int) -> int:
    """Return the moments to a gram in a phrase of so many notes."""
    return GRAMS[notes >= 16]


def _steps(moments: bytes) -> bytes:
    pitches = moments[: len(moments) // 4]
    return bytes([b - a & 255 for a, b in zip(pitches, pitches[1:], strict=False)])
