"""Diagrams of chords: an arpeggio in the five boxes, the shapes of a chord, its triads on three strings.

In: a chord and what the user asks for, parsed. Out: `FretboardDiagram` values. The shapes are worked out from the tuning
by `chord_shapes.py`; `text.py` and `svg.py` draw them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.diagram.build import Drawing, boxes_up_the_neck
from lickwright.diagram.chord_shapes import chord_fingers, fullest_voicing
from lickwright.diagram.model import DiagramOptions, FretboardDiagram
from lickwright.music.box_area import box_area, choose_boxes
from lickwright.music.boxspec import OPEN, BoxSpec
from lickwright.music.chord import Chord
from lickwright.music.fretboard import Place
from lickwright.music.pitch import Key
from lickwright.music.scale import Scale, parse_scale
from lickwright.music.scale_boxes import Box, boxes_of_scale, window_of_key
from lickwright.music.tuning import Tuning

KINDS = ("arpeggio", "chord", "triads")
_INVERSIONS = ("root position", "first inversion", "second inversion")
_WITHOUT_BOXES = 4  # frets of a shape's window where the tuning has no boxes
_MOVABLE = "shapes without open strings move along the neck with their root"


def chord_diagrams(
    kind: str,
    chord: Chord,
    name: str,
    tuning: Tuning,
    spec: BoxSpec | None,
    options: DiagramOptions,
) -> tuple[FretboardDiagram, ...]:
    """Return the diagrams of a chord as one of `KINDS`; all of them without a spec. `name` is the title.

    Raises ValueError, in a player's words, where there is no such place.
    """
    free = options.free_frets
    key, scale = _as_scale(chord)
    title = f"{name} {kind}" if kind == "arpeggio" else name if name.endswith(kind) else f"{name}, {_SAID[kind]}"
    drawing = Drawing(key, scale, tuning, options, title)
    if kind == "triads":
        return tuple(_triads(drawing, chord, tuning, spec, free))
    boxes = _boxes(chord, key, scale, tuning, free, options.numbering)
    if kind == "chord":
        return tuple(_shapes(drawing, boxes, chord, tuning, spec, free))
    if spec is not None and spec.window is not None:
        where = box_area(spec, key, scale, tuning, free)
        assert where is not None, "a window is an area"
        return (drawing.boxes(where.boxes, where.name, ""),)
    return _arpeggios(drawing, boxes, tuning, spec, free)


def _arpeggios(
    drawing: Drawing, boxes: Sequence[Box], tuning: Tuning, spec: BoxSpec | None, frets: int
) -> tuple[FretboardDiagram, ...]:
    """Return the chord's notes in the boxes of `spec`, in all five, or on the whole neck. Raises ValueError."""
    if spec is None and boxes:
        return tuple(drawing.boxes([box], box.name, "") for box in boxes_up_the_neck(boxes))
    if spec is None or spec.any:
        return drawing.whole()
    _require_boxes(boxes, tuning)
    wanted = _one_place(choose_boxes(boxes, spec, f"on a neck of {frets} frets"), spec)
    return (drawing.boxes(wanted, " and ".join(box.name for box in wanted), ""),)


_SAID = {"chord": "chord shapes", "triads": "triads on three strings"}


def _as_scale(chord: Chord) -> tuple[Key, Scale]:
    """Return the chord's notes as a scale on its root, spelled as the chord names them."""
    degrees = {degree.semitones: degree for degree in reversed(chord.degrees)}
    own = tuple(degrees[above] for above in sorted(degrees))
    return Key(chord.root, "minor" if chord.is_minor else "major"), Scale("chord", own)


def _boxes(chord: Chord, key: Key, scale: Scale, tuning: Tuning, frets: int, numbering: str) -> tuple[Box, ...]:
    """Return the chord's notes in the windows of the five pentatonic boxes, one fret wider where one would be missing."""
    boxes = []
    pentatonic = parse_scale("minor pentatonic" if chord.is_minor else "major pentatonic", None)
    for box in boxes_of_scale(key, pentatonic, tuning, frets, numbering):
        tries = ((box.low, box.high), (box.low, box.high + 1), (box.low - 1, box.high))
        windows = [window_of_key(low, high, key, scale, tuning) for low, high in tries if low >= 0 and high <= frets]
        best = min(windows, key=lambda found: len(found.gaps))
        boxes.append(box._replace(low=best.low, high=best.high, places=best.places, blue=frozenset()))
    return tuple(boxes)


def _require_boxes(boxes: Sequence[Box], tuning: Tuning) -> None:
    """Raise ValueError where a tuning has no boxes."""
    if not boxes:
        raise ValueError(
            f"boxes need the intervals of standard tuning, not those of {tuning}: write a range, such as frets 5-8"
        )


def _one_place(boxes: list[Box], spec: BoxSpec) -> list[Box]:
    """Return the lowest placement of each box, or those that `at` has chosen already."""
    if spec.at is not None:
        return boxes
    labels = dict.fromkeys(box.label for box in boxes)
    return [min((box for box in boxes if box.label == label), key=lambda box: box.low) for label in labels]


# --- shapes ----------------------------------------------------------------------------------------------------------


def _shapes(
    drawing: Drawing, boxes: Sequence[Box], chord: Chord, tuning: Tuning, spec: BoxSpec | None, frets: int
) -> Iterator[FretboardDiagram]:
    """Yield the chord as one hand holds it, up the neck, wherever `spec` means. Raises ValueError where nowhere."""
    held: dict[frozenset[Place], Box] = {}
    for box in _stretches(boxes, chord, tuning, spec, frets):
        places = fullest_voicing(box.places, chord, tuning.nominal)
        if places:
            held.setdefault(places, box)
    if not held:
        raise ValueError(f"one hand cannot hold {chord} there: leave the box out to see where it can")
    for places, box in sorted(held.items(), key=lambda one: min(fret for _, fret in one[0])):
        low, high = min(fret for _, fret in places), max(fret for _, fret in places)
        caption = f"{box.name.partition(', frets')[0]}: {_grip_words(places, tuning)}"
        yield drawing.boxes([box._replace(low=low, high=high, places=places)], caption, _MOVABLE, chord_fingers(places))


def _stretches(boxes: Sequence[Box], chord: Chord, tuning: Tuning, spec: BoxSpec | None, frets: int) -> list[Box]:
    """Return the stretches of neck in which shapes are looked for. Raises ValueError where `spec` means none."""
    if spec is None or spec.any:
        low, high = OPEN
        return [_stretch("open position", low, min(high, frets), chord, tuning),
                *_one_place(list(boxes or _windows(chord, tuning, frets)), BoxSpec())]  # fmt: skip
    if spec.window is not None:
        low, high = spec.window
        return [_stretch(f"frets {low}-{high}", low, min(high, frets), chord, tuning)]
    _require_boxes(boxes, tuning)
    return _one_place(choose_boxes(boxes, spec, f"on a neck of {frets} frets"), spec)


def _stretch(name: str, low: int, high: int, chord: Chord, tuning: Tuning) -> Box:
    """Return every note of the chord on frets `low` to `high`."""
    places = frozenset(
        (string, fret)
        for string in range(1, tuning.strings + 1)
        for fret in range(low, high + 1)
        if (tuning.open(string) + fret) % 12 in chord.pitch_classes
    )
    return Box(name, "", low, high, places, frozenset())


def _grip_words(places: frozenset[Place], tuning: Tuning) -> str:
    """Return a shape as players write it, thick to thin: `x 0 2 0 1 0`."""
    held = dict(places)
    return " ".join(str(held.get(string, "x")) for string in range(tuning.strings, 0, -1))


def _windows(chord: Chord, tuning: Tuning, frets: int) -> list[Box]:
    """Return four frets from the root on each of the three thickest strings, for a tuning that has no boxes."""
    found, bass = [], (chord.bass or chord.root).pc
    for string in range(tuning.strings, max(0, tuning.strings - 3), -1):
        low = (bass - tuning.open(string)) % 12
        high = min(frets, low + _WITHOUT_BOXES - 1)
        found.append(_stretch(f"root on string {string}", low, high, chord, tuning))
    return found


# --- triads ----------------------------------------------------------------------------------------------------------


def _triads(
    drawing: Drawing, chord: Chord, tuning: Tuning, spec: BoxSpec | None, frets: int
) -> Iterator[FretboardDiagram]:
    """Yield the chord's three notes in close position on three neighboring strings, in each inversion, up the neck.

    Raises ValueError for a chord that is no triad, or a string that no set of three begins with.
    """
    tones = tuple(interval % 12 for interval in chord.intervals)
    if len(tones) != 3 or chord.bass is not None:
        raise ValueError(f"triads have three notes: {chord} has {len(chord.pitch_classes)}; leave out the word triads")
    for thinnest in _thinnest_strings(tuning, spec):
        names = " ".join(tuning.label(thinnest + n) for n in (2, 1, 0))
        for low, high, inversion, places in _inversions(tones, chord, thinnest, tuning):
            if high <= frets:
                box = Box(f"strings {names}", "", low, high, places, frozenset())
                yield drawing.boxes([box], f"strings {names}, {inversion}", _MOVABLE, chord_fingers(places))


def _thinnest_strings(tuning: Tuning, spec: BoxSpec | None) -> Sequence[int]:
    """Return the thinnest string of each set of three that `spec` means. Raises ValueError for any other."""
    sets = range(1, tuning.strings - 1)
    if spec is None or spec.any:
        return sets
    if not spec.numbers or not set(spec.numbers) <= set(sets):
        raise ValueError(f"triads are shown by their thinnest string: write 1 to {len(sets)}, or nothing for all")
    return spec.numbers


def _inversions(
    tones: tuple[int, ...], chord: Chord, thinnest: int, tuning: Tuning
) -> list[tuple[int, int, str, frozenset[Place]]]:
    """Return lowest fret, highest fret, name and places of each inversion, up the neck."""
    found = []
    for turn, name in enumerate(_INVERSIONS):
        order = [*tones[turn:], *(tone + 12 for tone in tones[:turn])]
        places = _stacked(order, chord.root.pc, thinnest + 2, tuning)
        frets = [fret for _, fret in places]
        found.append((min(frets), max(frets), name, places))
    return sorted(found, key=lambda one: one[0])


def _stacked(tones: Sequence[int], root: int, thick: int, tuning: Tuning) -> frozenset[Place]:
    """Return three tones upwards, one a string from `thick` on, at the lowest place where no fret is below the nut."""
    first = (root + tones[0] - tuning.open(thick)) % 12 + tuning.open(thick)
    pitches = [first + tone - tones[0] for tone in tones]
    frets = [pitch - tuning.open(thick - n) for n, pitch in enumerate(pitches)]
    up = 12 if min(frets) < 0 else 0
    return frozenset((thick - n, fret + up) for n, fret in enumerate(frets))
