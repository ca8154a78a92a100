"""The boxes of a scale: pentatonic boxes, seven-note positions, three notes a string.

In: key, scale, tuning, number of frets. Out: `Box` values, every placement on the neck, computed from pitches. Which of
them a lick means is decided in `box_area.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from lickwright.music.fretboard import Place, StringRun, Window, blue_places, lay_out_per_string
from lickwright.music.fretboard import window_on_strings as scale_window
from lickwright.music.pitch import FLAT_FIVE, Degree, Key
from lickwright.music.scale import Scale
from lickwright.music.tuning import Tuning

# The blue note: one pitch class for a minor key and its relative major, so the same places serve both.
BLUE = {"minor": FLAT_FIVE, "major": Degree(3, -1)}

_MINOR_PENTATONIC = (0, 3, 5, 7, 10)
# Shapes of minor boxes 1 to 5. The relative major's shape in the same box is the one before: its tonic lies 3 frets up.
_SHAPE_OF = "EDCAG"
NUMBERINGS = ("relative", "tonic")  # how major boxes count


class Box(NamedTuple):
    """One placement of one box on the neck."""

    label: str  # "box 1", "E shape", "open position", "frets 5-8"
    shape: str  # "E shape", or "" where no chord grip names it
    low: int  # lowest fret of the window
    high: int  # highest fret of the window; a blue note may lean out by one
    places: frozenset[Place]  # scale notes, (string, fret)
    blue: frozenset[Place]  # where the blue note counts as inside; empty where the scale family has none
    octave: int = 0  # 0 is the lowest placement, 1 twelve frets higher

    @property
    def name(self) -> str:
        """A name such as "box 1 (E shape), frets 5-8", always with the frets, since schools number differently."""
        return box_name(self.label, self.shape, f"frets {self.low}-{self.high}")


def box_name(label: str, shape: str, frets: str) -> str:
    """Return a name of label, shape and frets; a label that is frets stands alone."""
    if label.startswith("frets"):
        return label
    return f"{label} ({shape}), {frets}" if shape and shape != label else f"{label}, {frets}"


def _blue_pc(key: Key, scale: Scale) -> int | None:
    """Return the pitch class of the blue note of a pentatonic or blues scale; None for every other scale."""
    if not scale.is_pentatonic_family:
        return None
    return (key.tonic.pc + BLUE["minor" if is_minor(scale) else "major"].semitones) % 12


def is_minor(scale: Scale) -> bool:
    """Return True if shapes and numbers follow the minor chord: a minor third, and no major one."""
    return 3 in scale.semitones and 4 not in scale.semitones


def blue_places_of(key: Key, scale: Scale, found: StringRun | Window, tuning: Tuning, frets: int) -> frozenset[Place]:
    """Return where the blue note of the scale's family counts as inside a run or window; empty for other scales."""
    pc = _blue_pc(key, scale)
    if pc is None:
        return frozenset()
    return blue_places(pc, found.low, found.high, found.places, tuning.nominal, frets)


def _fingering(index: int, minor_tonic: int, tuning: Tuning) -> StringRun:
    """Return one of the five fingerings of every pentatonic: two notes a string from degree `index` (0 to 4) in minor."""
    return lay_out_per_string(2, index, minor_tonic, _MINOR_PENTATONIC, tuning.nominal, tuning.anchor)


def _minor_tonic(key: Key, scale: Scale) -> int:
    """Return the pitch class from which fingerings count: the tonic, or three semitones below that of a major scale."""
    return key.tonic.pc if is_minor(scale) else (key.tonic.pc - 3) % 12


def shape_of(index: int, minor: bool) -> str:
    """Return the chord shape that lies wholly inside a fingering: the minor chord's, or the relative major's."""
    return f"{_SHAPE_OF[index if minor else index - 1]} shape"


def number_of(index: int, minor: bool, numbering: str) -> int:
    """Return the number of a fingering: major boxes share their relative minor's, or count from the tonic's."""
    return (index - 1) % 5 + 1 if numbering == "tonic" and not minor else index + 1


@lru_cache(maxsize=1024)
def pentatonic_boxes(
    key: Key, scale: Scale, tuning: Tuning, frets: int, numbering: str = "relative"
) -> tuple[Box, ...]:
    """Return the five boxes of a pentatonic or blues scale with all their octaves on the neck, by number."""
    boxes = []
    minor = is_minor(scale)
    for index in range(5):
        run = _fingering(index, _minor_tonic(key, scale), tuning)
        label = f"box {number_of(index, minor, numbering)}"
        for octave in range(3 + frets // 12):
            placed = run.shifted(12 * octave)
            if placed.high > frets:
                break
            places = placed.places | _own_blue(key, scale, placed, tuning, frets)
            blue = blue_places_of(key, scale, placed, tuning, frets)
            boxes.append(Box(label, shape_of(index, minor), placed.low, placed.high, places, blue, octave))
    return tuple(sorted(boxes, key=lambda box: (box.label, box.octave)))


def _own_blue(key: Key, scale: Scale, run: StringRun, tuning: Tuning, frets: int) -> frozenset[Place]:
    """Return the blue notes that belong to a blues box: of its window, or of a window one fret wider with fewer gaps and doubles."""
    if not scale.is_blues:
        return frozenset()
    tries = ((run.low, run.high), (run.low, run.high + 1), (run.low - 1, run.high))
    windows = [window_of_key(low, high, key, scale, tuning) for low, high in tries if low >= 0 and high <= frets]
    best = min(windows, key=lambda found: len(found.gaps) + len(found.duplicates))
    return best.places & blue_places_of(key, scale, run, tuning, frets)


def window_of_key(low: int, high: int, key: Key, scale: Scale, tuning: Tuning) -> Window:
    """Return every scale note on frets `low` to `high`, with its gaps and duplicates."""
    return scale_window(low, high, key.tonic.pc, scale.semitones, tuning.nominal)


@lru_cache(maxsize=1024)
def five_positions(key: Key, scale: Scale, tuning: Tuning, frets: int) -> tuple[Box, ...]:
    """Return the five positions of a seven-note scale with their octaves: windows with no scale note missing or doubled.

    Each has the name of the pentatonic box of the same tonic that it lies over. Method books move single notes to the
    neighboring string, so another window may be as good; this is the narrowest.
    """
    boxes = []
    minor = is_minor(scale)
    for index in range(5):
        over = _fingering(index, _minor_tonic(key, scale), tuning)
        best = min(_windows_over(over, key, scale, tuning), key=lambda found: _merit(found, over))
        label = shape_of(index, minor)
        low = best.low % 12
        for octave, start in enumerate(range(low, frets + 1 - (best.high - best.low), 12)):
            found = window_of_key(start, start + best.high - best.low, key, scale, tuning)
            boxes.append(Box(label, label, found.low, found.high, found.places, frozenset(), octave))
    return tuple(boxes)


def _windows_over(over: StringRun, key: Key, scale: Scale, tuning: Tuning) -> Iterable[Window]:
    """Yield windows of four and five frets around a pentatonic box, an octave up so that none starts below the nut."""
    for width in (4, 5):
        for low in range(over.low + 12 - 2, over.low + 12 + 3):
            yield window_of_key(low, low + width - 1, key, scale, tuning)


def _merit(found: Window, over: StringRun) -> tuple[int, int, int, int, int]:
    """Return how bad a window is, smaller is better: gaps, duplicates, frets not shared with the box, width, distance."""
    low, high = over.low + 12, over.high + 12
    shared = min(found.high, high) - max(found.low, low) + 1
    return len(found.gaps), len(found.duplicates), -shared, found.high - found.low, abs(found.low - low)


@lru_cache(maxsize=1024)
def three_per_string(key: Key, scale: Scale, tuning: Tuning, frets: int) -> tuple[Box, ...]:
    """Return three notes on every string, one pattern from each degree on the thickest string, with their octaves."""
    boxes = []
    for index, degree in enumerate(scale.degrees):
        run = lay_out_per_string(3, index, key.tonic.pc, scale.semitones, tuning.nominal, tuning.strings)
        for octave in range(3 + frets // 12):
            placed = run.shifted(12 * octave)
            if placed.high > frets:
                break
            label = f"three notes a string from {degree}"
            boxes.append(Box(label, "", placed.low, placed.high, placed.places, frozenset(), octave))
    return tuple(boxes)


def boxes_of_scale(key: Key, scale: Scale, tuning: Tuning, frets: int, numbering: str = "relative") -> tuple[Box, ...]:
    """Return all boxes of a scale with all their octaves on the neck; () where the scale or the tuning has no boxes."""
    if not tuning.standard_intervals:
        return ()
    if scale.is_pentatonic_family:
        return pentatonic_boxes(key, scale, tuning, frets, numbering)
    return five_positions(key, scale, tuning, frets) if scale.notes == 7 else ()
