"""Chord symbols as MusicXML's `harmony`: a root, one of the standard's kinds, and the degrees in which a chord differs from it.

In: a `Chord`. Out: a `harmony` element. The kind's `text` is the symbol as it was written.
"""

from __future__ import annotations

from functools import lru_cache
from xml.etree.ElementTree import Element

from lickwright.export.musicxml.elements import add, add_root
from lickwright.music.chord import NO_CHORD, Chord, parse_chord
from lickwright.music.musicxml_kinds import MUSICXML_KINDS
from lickwright.music.pitch import Degree, Key, NoteName


def add_chord(parent: Element, chord: Chord | None, shift: int, key: Key | None) -> None:
    """Append the `harmony` of a chord, `shift` semitones above where it is fingered; None is no chord."""
    harmony = add(parent, "harmony")
    if chord is None:
        add_root(harmony, "root", NoteName("C", 0))
        harmony[0][0].set("text", "")
        add(harmony, "kind", "none", text=NO_CHORD)
        return
    heard = chord.transposed(shift, key)
    kind, degrees = _kind(heard.intervals)
    add_root(harmony, "root", heard.root)
    tail = heard.symbol.removeprefix(str(heard.root))
    add(harmony, "kind", kind, text=tail.removesuffix(f"/{heard.bass}") if heard.bass else tail)
    if heard.bass is not None:
        add_root(harmony, "bass", heard.bass)
    for what, degree in degrees:
        element = add(harmony, "degree", print_object="no")
        add(element, "degree-value", degree.number)
        add(element, "degree-alter", degree.alter)
        add(element, "degree-type", what)


@lru_cache(maxsize=1)
def _kinds() -> tuple[tuple[str, Chord], ...]:
    chords = ((kind, parse_chord(f"C{tail}")) for kind, tail in MUSICXML_KINDS.items())
    return tuple((kind, chord) for kind, chord in chords if chord is not None)


@lru_cache(maxsize=256)
def _kind(intervals: tuple[int, ...]) -> tuple[str, tuple[tuple[str, Degree], ...]]:
    """Return the kind that has the most of some intervals (semitones above the root), and what is added or left out.

    An altered degree is left out as it is in the kind and added as it is in the chord.
    """
    wanted = set(intervals)
    kind, nearest = min(_kinds(), key=lambda one: len(wanted ^ set(one[1].intervals)))
    has = set(nearest.intervals)
    named = Chord("C", NoteName("C", 0), intervals, None)
    lost = [
        degree for interval, degree in zip(nearest.intervals, nearest.degrees, strict=True) if interval not in wanted
    ]
    more = [degree for interval, degree in zip(intervals, named.degrees, strict=True) if interval not in has]
    return kind, (*(("subtract", degree) for degree in lost), *(("add", degree) for degree in more))
