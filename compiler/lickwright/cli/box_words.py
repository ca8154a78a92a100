"""What the words of `lickwright box` mean: a scale or chord, and a box.

In: words as typed. Out: fretboard diagrams, or a ValueError in a player's words that says what would be right. Nothing is printed here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright.music.boxspec import BoxSpec, parse_box
from lickwright.music.chord import Chord, parse_chord_name
from lickwright.music.pitch import MODE_ALIASES, MODES, Key, parse_key, parse_note_name
from lickwright.music.scale import Scale, default_scale, parse_scale
from lickwright.music.scale_boxes import is_minor
from lickwright.music.tuning import parse_tuning

if TYPE_CHECKING:
    from lickwright.diagram import DiagramOptions, FretboardDiagram

_CHORD_AS_KEY = re.compile(r"([A-G][#b]?)(?:(m|min)|maj)")  # `Am` in `Am pentatonic`
_CHORD_WITH_NUMBER = re.compile(r"[A-Ga-g][#b]?\D*[0-9]")  # `Am8`: no scale is written so


def draw(name: str, box: Sequence[str], tuning: str, options: DiagramOptions) -> Sequence[FretboardDiagram]:
    """Return the diagrams of the scale or chord of this name, in the box that the other words say. Raises ValueError."""
    from lickwright.diagram import box_diagrams, chord_diagrams

    spec = _box(name, *box)
    chord = _chord(name)
    if chord is not None:
        return chord_diagrams(*chord, parse_tuning(tuning), spec, options)
    return box_diagrams(*_scale(name, spec), parse_tuning(tuning), spec, options)


def _box(name: str, *words: str) -> BoxSpec | None:
    """Return the box in the words after the name, None for no words.

    Raises ValueError, which puts the name in quotes if it was written without.
    """
    if not words:
        return None
    try:
        return parse_box(" ".join(words))
    except ValueError:
        parted = _parted([name, *words])
        if parted is None:
            raise
        whole = " ".join(filter(None, (f'"{parted[0]}"', parted[1])))
        raise ValueError(f"put the name in quotes: {whole}") from None


def _parted(words: Sequence[str]) -> tuple[str, str] | None:
    """Return the name of a scale or chord and the box after it, from words without quotes; None if there is no such name."""
    for n in range(len(words), 1, -1):
        name, box = " ".join(words[:n]), " ".join(words[n:])
        try:
            spec = _box(name, box) if box else None
        except ValueError:
            continue
        for spelled in (name, *_spelled_out(name)):
            try:
                if _chord(spelled) is None:
                    _scale(spelled, spec)
            except ValueError:
                continue
            return spelled, box
    return None


def _chord(words: str) -> tuple[str, Chord, str] | None:
    """Return kind of picture, chord and its name, of `A minor arpeggio`, `Am triads`, `A minor chord` or `Am7`; None if it is a scale."""
    from lickwright.diagram import KINDS

    *base, last = words.split() or [""]
    kind = next((kind for kind in KINDS if last.lower() in (kind, f"{kind}s", kind.removesuffix("s"))), None)
    if kind is None and not base and len(last.rstrip("#b")) > 1:
        try:
            chord = parse_chord_name(last)
        except ValueError:
            if _CHORD_WITH_NUMBER.match(last):
                raise
            return None  # the message about scales says better what is wrong
        return "chord", chord, str(chord)
    if kind is None or not base:
        return None
    chord, name = parse_chord_name(" ".join(base)), " ".join(base)
    return kind, chord, name[:1].upper() + name[1:]


def _scale(words: str, spec: BoxSpec | None) -> tuple[Key, Scale]:
    """Return key and scale of a tonic and a mode, a scale or degrees: `A minor pentatonic`, `D dorian`, `E 1 b3 4 5 b7`.

    A mode alone means what it means in a lick: its seven notes, its pentatonic with a numbered box. Raises ValueError.
    """
    first, rest = _tonic_and_rest(words)
    if not rest and re.fullmatch("[A-G][#b]?", first):
        raise ValueError(
            f'"{first}" does not say what: write {first} minor or {first} major for a scale, {first} chord for the chord'
        )
    _refuse_chord_as_key(words, spec)
    if not rest or rest.lower() in MODES or rest.lower() in MODE_ALIASES:
        key = parse_key(f"{first} {rest}".rstrip())
        return key, default_scale(key, spec is not None and bool(spec.numbers))
    tonic = parse_note_name(first)
    scale = parse_scale(rest, None)
    mode = next((mode for mode, degrees in MODES.items() if degrees == scale.degrees), None)
    return Key(tonic, mode or ("minor" if is_minor(scale) else "major")), scale


def _tonic_and_rest(words: str) -> tuple[str, str]:
    first, _, rest = " ".join(words.split()).partition(" ")
    return first[:1].upper() + first[1:].lower(), rest  # `eb locrian` can only mean Eb locrian


def _refuse_chord_as_key(words: str, spec: BoxSpec | None) -> None:
    """Raise ValueError for a scale that begins with a chord, as in `Am pentatonic`, with the name that was meant or why there is none."""
    trouble: ValueError | None = None
    for spelled in _spelled_out(words):
        try:
            _scale(spelled, spec)
        except ValueError as e:
            trouble = trouble or e
            continue
        raise ValueError(f'"{words.split()[0]}" names a chord; for the scale, write "{spelled}"')
    if trouble is not None:
        raise trouble


def _spelled_out(words: str) -> Iterator[str]:
    """Yield what a scale that begins with a chord may mean: of `Am pentatonic` `A minor pentatonic`, then `A pentatonic`."""
    first, rest = _tonic_and_rest(words)
    chord = _CHORD_AS_KEY.fullmatch(first)
    if chord is not None and rest:
        yield f"{chord[1]} {'minor' if chord[2] else 'major'} {rest}"
        yield f"{chord[1]} {rest}"
