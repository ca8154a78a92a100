"""Finding the key, scale and box that a phrase fits best, and the next best.

In: a Timeline, of which only what sounds, the tuning and the neck are read. Out: `Candidate` values, best first, with the
notes that each leaves out. Draws and prints nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.analysis.key_finder import HeardPitch, Tonality, heard_pitches, rank_tonalities, scale_classes
from lickwright.core.fast_dataclass import record
from lickwright.music.box_area import Area, box_area
from lickwright.music.boxspec import OPEN, BoxSpec
from lickwright.music.chord import Chord
from lickwright.music.fretboard import Place
from lickwright.music.pitch import Key
from lickwright.music.scale import Scale
from lickwright.music.scale_boxes import Box, box_name, boxes_of_scale
from lickwright.notation.techniques import Stroke
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline

_TRIED = 24  # estimate, as the constants below: keys and scales, best first, for which boxes are looked for; the others are too far behind to win
_BOXES = 3  # the best of each key and scale that are kept
_LONGEST_WALK = 5  # boxes side by side that count as one place to live
_HAND = 4  # frets under the hand, for scales and tunings without boxes; one more by a stretch
# In the unit of a tonality's score: what it costs to have every note outside the box, and each box beyond the first.
_ALL_OUT, _FURTHER_BOX = 16.0, 0.7
_LOOSE_FIT = 0.02  # for each fret by which the box's ends miss the phrase's: of two boxes that hold all, the closer one


@record
class Candidate:
    """A key, a scale and a place on the neck that a phrase may have."""

    key: Key
    scale: Scale
    area: Area | None  # one box, or several side by side; None where nothing is fretted
    notes: int  # that have a pitch, in all
    outside_scale: int  # of them neither in the scale nor its blue note, by fret or by where a bend arrives
    outside_box: int  # of them in the scale, but fretted outside the area
    score: float  # natural logarithm of a likelihood: e times likelier for each 1 more

    @property
    def left_out(self) -> int:
        """The number of notes that the candidate does not account for."""
        return self.outside_scale + self.outside_box

    @property
    def name(self) -> str:
        """The candidate in words: "A minor blues, box 1 (E shape), frets 5-8"."""
        where = f", {self.area.name}" if self.area else ""
        return f"{self.key.tonic} {self.scale}{where}"


def find_key_and_box(timeline: Timeline) -> tuple[Candidate, ...]:
    """Return every candidate worth naming, best first; none where nothing has a pitch.

    A key and scale are scored by `key_finder.py`; each is then given the boxes that hold most of the phrase. Which box it
    is helps to decide the scale: one whose notes lie under one hand beats one whose notes do not.
    """
    notes = heard_pitches(timeline)
    struck = [note for note in notes if note.struck]
    ranked = [
        candidate
        for found in rank_tonalities(notes, _changes(timeline))[:_TRIED]
        for candidate in _candidates(found, struck, timeline.settings)
    ]
    return tuple(_different(sorted(ranked, key=lambda candidate: -candidate.score)))


def _changes(timeline: Timeline) -> tuple[Chord, ...]:
    """Return the chords of a lick in order."""
    return tuple(entry.chord for bar in timeline.settings.chords for entry in bar if entry.chord is not None)


def _different(candidates: Sequence[Candidate]) -> Iterator[Candidate]:
    """Yield the candidates without those that say the same: a pentatonic and its blues in the same place are one."""
    seen: set[tuple[int, tuple[int, ...], frozenset[tuple[int, int]]]] = set()
    for candidate in candidates:
        windows = frozenset((box.low, box.high) for box in candidate.area.boxes) if candidate.area else frozenset()
        what = (candidate.key.tonic.pc, candidate.scale.pentatonic() or candidate.scale.semitones, windows)
        if what not in seen:
            seen.add(what)
            yield candidate


def _candidates(found: Tonality, struck: Sequence[HeardPitch], settings: Settings) -> Iterator[Candidate]:
    places = [place for note in struck if (place := _place(note)) is not None]
    if not places:
        yield Candidate(found.key, found.scale, None, len(struck), found.outside, 0, found.score)
        return
    known = _in_scale(places, found, settings)
    ranked = []
    for where in _areas(found, places, settings):
        missed = sum(1 for place in known if not _holds(where, place))
        cost = _ALL_OUT * missed / len(places) + _FURTHER_BOX * (len(where.boxes) - 1)
        ranked.append((cost + _LOOSE_FIT * _slack(where, places), missed, where))
    ranked.sort(key=lambda one: one[:2])  # stable: lowest on the neck where all are equal
    for cost, missed, where in _telling(ranked)[:_BOXES]:
        yield Candidate(found.key, found.scale, where, len(struck), found.outside, missed, found.score - cost)


def _telling(ranked: Sequence[tuple[float, int, Area]]) -> list[tuple[float, int, Area]]:
    """Return the ranked areas without those that only add boxes to a better one and hold no more of the phrase for it."""
    kept: list[tuple[float, int, Area]] = []
    for one in ranked:
        if not any(missed <= one[1] and set(better.boxes) <= set(one[2].boxes) for _, missed, better in kept):
            kept.append(one)
    return kept


def _place(note: HeardPitch) -> Place | None:
    """Return where the fretting hand is; None for taps, and for harmonics, which sound far from where they are touched."""
    sound = note.sound
    if sound.harmonic or sound.fret is None or sound.begin.stroke is Stroke.TAP:
        return None
    return sound.string, sound.fret


def _in_scale(places: Sequence[Place], found: Tonality, settings: Settings) -> list[Place]:
    """Return the places whose fretted note the scale has; the others are counted as outside the scale, and once is enough."""
    inside, tonic = scale_classes(found.scale), found.key.tonic.pc
    return [(s, f) for s, f in places if (settings.tuning.open(s) + f - tonic) % 12 in inside]


def _holds(where: Area, place: Place) -> bool:
    """Return whether an area has a place; an open string costs the hand nothing, so that every area has it."""
    return place[1] == 0 or place in where.places or place in where.blue


def _slack(where: Area, places: Sequence[Place]) -> int:
    """Return the frets by which the area's ends miss those of the phrase."""
    frets = [fret for _, fret in places if fret > 0] or [0]
    low, high = min(box.low for box in where.boxes), max(box.high for box in where.boxes)
    return abs(low - min(frets)) + abs(high - max(frets))


def _areas(found: Tonality, places: Sequence[Place], settings: Settings) -> Iterator[Area]:
    """Yield boxes one by one and side by side; stretches of frets where scale or tuning have no boxes."""
    boxes = boxes_of_scale(found.key, found.scale, settings.tuning, _neck(settings), settings.numbering)
    if boxes:
        yield from _walks(sorted(boxes, key=lambda box: (box.low, box.high)), places)
        if not found.scale.is_pentatonic_family and any(fret == 0 for _, fret in places):
            yield from _stretches([OPEN], found, settings)
        return
    frets = [fret for _, fret in places]
    starts = range(max(0, min(frets) - 1), max(frets) + 1)
    yield from _stretches([(low, low + width - 1) for width in (_HAND, _HAND + 1) for low in starts], found, settings)


def _stretches(windows: Sequence[tuple[int, int]], found: Tonality, settings: Settings) -> Iterator[Area]:
    neck = _neck(settings)
    for window in windows:
        spec = BoxSpec(window=window)
        where = box_area(spec, found.key, found.scale, settings.tuning, neck) if window[0] <= neck else None
        if where is not None:
            yield where


def _neck(settings: Settings) -> int:
    """Return the number of frets above the capo."""
    return max(1, settings.frets - settings.capo)


def _walks(boxes: Sequence[Box], places: Sequence[Place]) -> Iterator[Area]:
    """Yield rows of boxes along the neck that hold some of the phrase at either end."""
    useful = [any(place in box.places or place in box.blue for place in places) for box in boxes]
    for first in range(len(boxes)):
        for last in range(first, min(len(boxes), first + _LONGEST_WALK)):
            if useful[first] and useful[last]:
                yield _side_by_side(boxes[first : last + 1])
    if not any(useful):
        yield _side_by_side(boxes[:1])


def _side_by_side(boxes: Sequence[Box]) -> Area:
    places = frozenset[Place]().union(*(box.places for box in boxes))
    blue = frozenset[Place]().union(*(box.blue for box in boxes))
    if len(boxes) == 1:
        return Area(boxes[0].name, tuple(boxes), places, blue)
    *most, final = [box.label.removeprefix("box ") for box in boxes]
    frets = f"frets {min(box.low for box in boxes)}-{max(box.high for box in boxes)}"
    label = f"{'boxes ' if boxes[0].label.startswith('box ') else ''}{', '.join(most)} and {final}"
    return Area(box_name(label, "", frets), tuple(boxes), places, blue)


def relative_candidate(candidates: Sequence[Candidate]) -> Candidate | None:
    """Return the relative major or minor of the best candidate, with the same notes; None where there is none.

    The two are one answer by the notes alone: chords, long notes and the last note say which comes first.
    """
    best = candidates[0]
    step = 3 if best.key.is_minor else 9
    for candidate in candidates[1:]:
        apart = (candidate.key.tonic.pc - best.key.tonic.pc) % 12
        there = frozenset((apart + above) % 12 for above in candidate.scale.semitones)
        if apart == step and candidate.key.is_minor != best.key.is_minor and there == frozenset(best.scale.semitones):
            return candidate
    return None


def is_close_call(candidates: Sequence[Candidate], within: float = 1.0) -> bool:
    """Return whether another key or scale, the relative aside, scores within so much of the best: the frets alone do not decide."""
    twin = relative_candidate(candidates)
    same = [candidates[0], *([twin] if twin else [])]
    rivals = [
        candidate
        for candidate in candidates
        if all((candidate.key, candidate.scale) != (other.key, other.scale) for other in same)
    ]
    return any(candidates[0].score - candidate.score < within for candidate in rivals)
