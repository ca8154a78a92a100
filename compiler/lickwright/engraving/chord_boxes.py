"""Small diagrams of chords over their symbols: how a hand holds each chord, the first time that it comes.

In: a `Grid`. Out: for each column with a new chord its shapes, and their drawings. A shape is the lick's own where it plays three strings or more of the
chord together; else the fullest one near the frets that it plays there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from statistics import median
from typing import NamedTuple, TypeAlias

from lickwright.diagram.chord_shapes import fullest_voicing
from lickwright.engraving.display_list import FAINT, Item, ItemGroup, Text, disc, line
from lickwright.engraving.placed import PlacedSystem
from lickwright.engraving.stops import BarStops, Stop
from lickwright.engraving.typefaces import CAPITAL, text_width
from lickwright.layout.grid import Grid, GridRow
from lickwright.music.chord import Chord
from lickwright.music.fretboard import Place
from lickwright.notation.techniques import BEND_CURVES, Stroke
from lickwright.timeline.harmony import chords_under
from lickwright.timeline.model import SoundingNote, Timeline

_STRING, _FRET = 4.2, 5.4  # from string to string, from wire to wire
_FEWEST_FRETS, _FEWEST_STRINGS = 4, 3
_DOT, _RING, _CROSS = 1.75, 1.35, 1.2
_OVER = 4.6  # room for what stands over the nut
_NUMBER = 5.4  # size of the number of the first fret
_HIGHEST = 15  # fret up to which a shape is looked for
_REACH = 4  # frets from the hand's place in which one is looked for


class ChordBox(NamedTuple):
    """How one chord is held."""

    symbol: str
    places: frozenset[Place]
    strings: int  # of the guitar

    @property
    def frets(self) -> tuple[int, int]:
        """The first fret that is drawn and how many; 1 first where the nut is."""
        fretted = [fret for _, fret in self.places if fret]
        low, high = min(fretted, default=1), max(fretted, default=1)
        if high <= _FEWEST_FRETS:
            low = 1
        return low, max(_FEWEST_FRETS, high - low + 1)

    @property
    def words(self) -> str:
        """The frets from the thickest string to the thinnest: `x 0 2 2 1 0`."""
        held = dict(self.places)
        return " ".join(str(held.get(string, "x")) for string in range(self.strings, 0, -1))

    @property
    def width(self) -> float:
        """The width of its drawing."""
        low, _ = self.frets
        number = text_width(str(low), "sans", _NUMBER) + 2.5 if low > 1 else 0.0
        return (self.strings - 1) * _STRING + 2 * _DOT + number


ChordBoxes: TypeAlias = Mapping[int, tuple[ChordBox, ...]]  # by column


def chord_boxes(grid: Grid) -> dict[int, tuple[ChordBox, ...]]:
    """Return by column the chords that come there for the first time; one that no hand holds is left out."""
    timeline = grid.timeline
    written = {one.symbol: one.chord for bar in timeline.settings.chords for one in bar if one.chord is not None}
    found: dict[int, tuple[ChordBox, ...]] = {}
    shapes = _shapes(timeline, written)
    for above in grid.above:
        places = shapes.pop(above.text, frozenset()) if above.row is GridRow.CHORD else frozenset()
        if places:
            box = ChordBox(above.text, places, timeline.settings.tuning.strings)
            found[above.first] = (*found.get(above.first, ()), box)
    return found


def _shapes(timeline: Timeline, chords: dict[str, Chord]) -> dict[str, frozenset[Place]]:
    under: dict[Chord, list[SoundingNote]] = {}
    for sound, chord in zip(timeline.sounds, chords_under(timeline), strict=True):
        if chord is not None:
            under.setdefault(chord, []).append(sound)
    return {symbol: _shape(timeline, chord, under.get(chord, [])) for symbol, chord in chords.items()}


def _shape(timeline: Timeline, chord: Chord, sounds: list[SoundingNote]) -> frozenset[Place]:
    """Return how a chord is held; empty where no hand can."""
    own = max(_played_together(timeline, chord, sounds), key=len, default=frozenset[Place]())
    return own or _near(timeline, chord, [sound.fret for sound in sounds or timeline.sounds if sound.fret])


def _played_together(timeline: Timeline, chord: Chord, sounds: Iterable[SoundingNote]) -> Iterator[frozenset[Place]]:
    """Yield what is struck together and belongs to a chord, three strings at least."""
    together: dict[tuple[int, int], set[Place]] = {}
    for sound in sounds:
        if sound.fret is not None and not (sound.dead or sound.harmonic or _is_moved(sound)):
            together.setdefault((sound.start, sound.lead), set()).add((sound.string, sound.fret))
    for places in together.values():
        if len(places) >= _FEWEST_STRINGS and all(
            _pitch_class(timeline, place) in chord.pitch_classes for place in places
        ):
            yield frozenset(places)


def _is_moved(sound: SoundingNote) -> bool:
    """Return whether a note is no part of what the hand holds: tapped, or bent."""
    return sound.begin.stroke is Stroke.TAP or any(shape.technique.curve in BEND_CURVES for shape in sound.shapes)


def _pitch_class(timeline: Timeline, place: Place) -> int:
    string, fret = place
    return (timeline.settings.tuning.open(string) + fret) % 12


def _near(timeline: Timeline, chord: Chord, frets: list[int]) -> frozenset[Place]:
    """Return the fullest shape of a chord whose frets are nearest to those that are played."""
    hand = round(median(frets)) if frets else 1
    highest = min(hand + 1, _HIGHEST - _FEWEST_FRETS + 1)

    def rank(shape: frozenset[Place]) -> tuple[int, int]:
        """Nearer by two frets is better, then more strings."""
        fretted = [fret for _, fret in shape if fret]
        away = abs(sum(fretted) / len(fretted) - hand) if fretted else hand
        return -round(away / 2), len(shape)

    lows = range(max(0, min(hand, highest) - _REACH), highest + 1)
    shapes = (fullest_voicing(_window(timeline, chord, low), chord, timeline.settings.tuning.nominal) for low in lows)
    return max(filter(None, shapes), key=rank, default=frozenset[Place]())


def _window(timeline: Timeline, chord: Chord, low: int) -> list[Place]:
    """Return the notes of a chord on some frets from `low` on."""
    strings, frets = range(1, timeline.settings.tuning.strings + 1), range(low, low + _FEWEST_FRETS)
    places = ((string, fret) for string in strings for fret in frets)
    return [place for place in places if _pitch_class(timeline, place) in chord.pitch_classes]


def with_room_for_boxes(bars: Iterable[BarStops], boxes: ChordBoxes) -> list[BarStops]:
    """Return the bars with room for the diagrams of their chords; `boxes` by column."""
    return [bar._replace(stops=tuple(_wider(stop, boxes.get(stop.column, ())) for stop in bar.stops)) for bar in bars]


def _wider(stop: Stop, boxes: tuple[ChordBox, ...]) -> Stop:
    return stop._replace(chord_room=max(box.width for box in boxes)) if boxes else stop


def draw_chord_boxes(system: PlacedSystem, boxes: ChordBoxes, left_handed: bool) -> Iterator[ItemGroup]:
    """Yield the diagrams of a system, each over the symbol of its chord, with the lower edge at y 0."""
    for placed in system.stops:
        for box in boxes.get(placed.stop.column, ()):
            yield draw_chord_box(box, placed.x - 3.0, left_handed)


def draw_chord_box(box: ChordBox, x: float, left_handed: bool) -> ItemGroup:
    """Return the diagram with its left edge at x and its lower edge at y 0: the thickest string to the left, the nut above."""
    low, count = box.frets
    across, top = (box.strings - 1) * _STRING, -count * _FRET
    start = x + _DOT

    def string_x(string: int) -> float:
        n = box.strings - string
        return start + (across - n * _STRING if left_handed else n * _STRING)

    items: list[Item] = [line(string_x(n), top, string_x(n), 0.0, 0.4, ink=FAINT) for n in range(1, box.strings + 1)]
    for wire in range(count + 1):
        nut = wire == 0 and low == 1
        y = top + wire * _FRET
        items.append(line(start - 0.2, y, start + across + 0.2, y, 1.6 if nut else 0.4))
    held = dict(box.places)
    for string in range(1, box.strings + 1):
        items += _string_sign(string_x(string), top, held.get(string), low)
    if low > 1:
        y = top + _FRET / 2 + CAPITAL * _NUMBER / 2
        items.append(Text(start + across + _DOT + 1.0, y, str(low), "sans", _NUMBER))
    return ItemGroup(tuple(items), "chord-shape", data=(("symbol", box.symbol), ("shape", box.words)))


def _string_sign(x: float, top: float, fret: int | None, low: int) -> Iterator[Item]:
    """A dot on a fret; a ring over an open string, a cross over one that is not played."""
    y = top - _OVER / 2 - 0.3
    if fret is None:
        c = _CROSS
        yield line(x - c, y - c, x + c, y + c, 0.6)
        yield line(x - c, y + c, x + c, y - c, 0.6)
    elif fret == 0:
        yield disc(x, y, _RING, 0.6)
    else:
        yield disc(x, top + (fret - low + 0.5) * _FRET, _DOT)
