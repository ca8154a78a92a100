"""Pitches → strings and frets, chosen as a hand would play them.

In: what sounds together at each moment, as pitches, some with a string or fret already known; a tuning, a box or none. Out: a place for each note, found by
the fingering engine (`hand/fingering.py`). A note that lies on no string is left without a place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from lickwright.hand.fingering import HandMoment, plan_fingering
from lickwright.hand.measures import BASS_MM, GUITAR_MM, make_hand
from lickwright.importers.hand_windows import under_the_hand
from lickwright.music.fretboard import Place
from lickwright.music.tuning import Tuning

_MOST_CHOICES = 24  # ways to play one moment that are looked at
_MOST_TRIED = 600  # of those of a chord, before the best are kept
_WIDE = 5  # frets that a hand spans at most; an estimate


class PitchedNote(NamedTuple):
    """One note that needs a place."""

    pitch: int  # as heard (MIDI), capo included
    string: int = 0  # where it is known; else 0
    bent: bool = False  # by half a step or more
    joined: bool = False  # connected to the note before, on its string
    slid: bool = False  # by a slide


class PitchMoment(NamedTuple):
    """Notes that begin together."""

    at: float  # seconds
    until: float  # seconds
    notes: tuple[PitchedNote, ...]


def choose_places(
    moments: Sequence[PitchMoment], tuning: Tuning, capo: int = 0, frets: int = 22, box: frozenset[Place] | None = None
) -> list[tuple[Place | None, ...]]:
    """Return for each moment the place of each note: (string, fret from the capo); None for a note that no string has, or one too many."""
    hand = make_hand("medium", BASS_MM if tuning.is_bass else GUITAR_MM, capo)
    opens = tuple(pitch + capo for pitch in tuning.sounding)
    played = [_playable(moment, opens, frets) for moment in moments]
    if box is None:
        played = _narrowed(moments, played)
    asked = [_asked(moment, *ways) for moment, ways in zip(moments, played, strict=True) if ways[0]]
    chosen = iter(plan_fingering(asked, hand, box).choice)
    found: list[tuple[Place | None, ...]] = []
    for moment, (kept, choices) in zip(moments, played, strict=True):
        placed = dict(zip(kept, choices[next(chosen)], strict=True)) if kept else {}
        found.append(tuple(placed.get(n) for n in range(len(moment.notes))))
    return found


def _asked(moment: PitchMoment, kept: Sequence[int], choices: Sequence[tuple[Place, ...]]) -> HandMoment:
    """Return a moment as the fingering engine takes it; `kept` are the indices of the notes that can be played."""
    notes = [moment.notes[n] for n in kept]
    joined, slid = all(note.joined for note in notes), all(note.slid for note in notes)
    return HandMoment(moment.at, moment.until, tuple(choices), joined, (), slid, any(note.bent for note in notes))


def _narrowed(
    moments: Sequence[PitchMoment], played: Sequence[tuple[list[int], list[tuple[Place, ...]]]]
) -> list[tuple[list[int], list[tuple[Place, ...]]]]:
    """Return the ways to play each moment that lie under the hand; all of them for connected notes."""
    narrowed = iter(under_the_hand([ways for kept, ways in played if kept]))
    found = []
    for (kept, ways), chained in zip(played, _chained(moments), strict=True):
        near = next(narrowed) if kept else []
        found.append((kept, ways if chained else near))
    return found


def _chained(moments: Sequence[PitchMoment]) -> list[bool]:
    """Return which moments belong to connected notes, whose string is shared rather than near."""
    joined = [any(note.joined for note in moment.notes) for moment in moments]
    return [any(joined[n : n + 2]) for n in range(len(joined))]


def _playable(moment: PitchMoment, opens: tuple[int, ...], frets: int) -> tuple[list[int], list[tuple[Place, ...]]]:
    """Return which notes of a moment can be played together, by index, and the ways to play them; as many notes as can be."""
    options = [_places(note, opens, frets) for note in moment.notes]
    kept = [n for n, places in enumerate(options) if places]
    while kept:
        ways = list(islice(_ways([options[n] for n in kept]), _MOST_TRIED))
        if ways:
            return kept, sorted(ways, key=_spread)[:_MOST_CHOICES]
        middle = sorted(kept, key=lambda n: moment.notes[n].pitch)
        kept.remove(middle[len(middle) // 2])  # the lowest and the highest are heard most
    return [], []


def _places(note: PitchedNote, opens: tuple[int, ...], frets: int) -> list[Place]:
    return [
        (string, note.pitch - pitch)
        for string, pitch in enumerate(opens, 1)
        if 0 <= note.pitch - pitch <= frets and note.string in (0, string)
    ]


def _ways(options: Sequence[Sequence[Place]], taken: tuple[Place, ...] = ()) -> Iterator[tuple[Place, ...]]:
    """Yield each way to put notes on strings of their own within the reach of a hand."""
    if len(taken) == len(options):
        yield taken
        return
    for place in options[len(taken)]:
        fretted = [fret for _, fret in (*taken, place) if fret]
        if all(place[0] != string for string, _ in taken) and (not fretted or max(fretted) - min(fretted) <= _WIDE):
            yield from _ways(options, (*taken, place))


def _spread(places: tuple[Place, ...]) -> tuple[int, int]:
    fretted = [fret for _, fret in places if fret] or [0]
    return max(fretted) - min(fretted), max(fretted)
