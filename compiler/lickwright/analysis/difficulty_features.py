"""Features that make a lick hard: speed, reach, movement, bends, ringing and techniques, as numbers.

In: a Timeline, or sounds of it. Out: numbers and names. What they are worth is `difficulty.py`'s.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from lickwright.core.keep_last import keep_last
from lickwright.hand.fingering import is_fretted
from lickwright.hand.measures import Hand
from lickwright.notation.techniques import UPWARD_BENDS, Curve, Stroke, Technique, TechniqueKind
from lickwright.timeline.model import SoundingNote, Timeline, techniques_used
from lickwright.timeline.model import onset_grains as begins

HELD = 5  # frets that a hand holds without moving

# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; asked for every sound.
_TAP, _PICK = Stroke.TAP, Stroke.PICK
_OWN_STROKES = (Stroke.TAP, Stroke.SLAP, Stroke.POP, Stroke.SNAP, Stroke.REPEAT)
_LEGATO = (Stroke.HAMMER, Stroke.PULL)
_BAR = (Curve.DIVE, Curve.DIP, Curve.SCOOP)


# --- speed -----------------------------------------------------------------------------------------------------------


def onset_seconds(timeline: Timeline) -> tuple[list[float], float]:
    """Return when notes begin, in seconds, what begins together once; and when the lick ends."""
    from lickwright.performance.tempo_map import written_tempo_map

    seconds = written_tempo_map(timeline).seconds
    return [seconds(start) for start, _ in begins(timeline.sounds)], seconds(timeline.end)


def string_crossings(timeline: Timeline, groups: Sequence[Sequence[SoundingNote]]) -> tuple[list[float], list[int]]:
    """Return when single notes begin, in seconds, and for each but the last 1 where the next one is picked on another string, else 0."""
    from lickwright.performance.tempo_map import written_tempo_map

    seconds = written_tempo_map(timeline).seconds
    crossed = [
        int(len(one) == len(other) == 1 and _picked(other[0]) and one[0].string != other[0].string)
        for one, other in zip(groups, groups[1:], strict=False)
    ]
    return [seconds(group[0].start) for group in groups], crossed


# --- the hand --------------------------------------------------------------------------------------------------------


def widest_span(timeline: Timeline, groups: Sequence[Sequence[SoundingNote]], hand: Hand) -> float:
    """Return the mm between the widest two fingers that are down together: in a chord, a trill, a hammer-on or a pull-off."""
    pairs = {pair for group in groups if len(group) > 1 for pair in _chord_pairs(group)}
    pairs.update(_string_pairs(timeline))
    return max((hand.span(min(a, b), max(a, b), apart) for a, b, apart in pairs), default=0.0)


def _chord_pairs(group: Sequence[SoundingNote]) -> Iterator[tuple[int, int, int]]:
    """Yield two frets that are held together, and how many strings apart."""
    held = [sound for sound in group if is_fretted(sound)]
    for one, other in combinations(held, 2):
        yield one.fret or 0, other.fret or 0, abs(one.string - other.string)


def _string_pairs(timeline: Timeline) -> Iterator[tuple[int, int, int]]:
    """Yield two frets that are down on one string, in a trill, a hammer-on or a pull-off, and 0."""
    for sound in timeline.sounds:
        if sound.trill and sound.fret:
            yield sound.fret, sound.trill, 0
        if sound.source is not None and sound.begin.stroke in _LEGATO:
            before = timeline.sounds[sound.source]
            if is_fretted(sound) and is_fretted(before):
                yield before.fret or 0, sound.fret or 0, 0


@keep_last
def fretted_chords(timeline: Timeline) -> list[list[SoundingNote]]:
    """Return the sounds of the fretting hand, what begins together in one list; rakes, scrapes and taps are not fingered."""
    groups: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.kind in ("note", "grace") and sound.begin.stroke is not _TAP:
            groups.setdefault((sound.start, -sound.lead), []).append(sound)
    return list(groups.values())


def count_position_shifts(groups: Sequence[Sequence[SoundingNote]]) -> int:
    """Return how often a hand moves at the least that holds five frets: one a finger, and one more by a stretch.

    It stays as long as one position holds all that has come; when none does, it moves. No fingering moves less often.
    """
    moved, low, high = 0, 0, 0
    for group in groups:
        frets = [sound.fret for sound in group if sound.fret and not sound.dead]
        if not frets:
            continue
        bottom, top = (min(frets), max(frets)) if len(frets) > 1 else (frets[0], frets[0])
        if low <= bottom and top <= high:
            continue
        if not low:
            low, high = bottom, top
        low, high = min(low, bottom), max(high, top)
        if high - low >= HELD:
            moved, low, high = moved + 1, bottom, top
    return moved


def count_string_skips(groups: Sequence[Sequence[SoundingNote]]) -> int:
    """Return how often the pick leaps over a string or more from one single note to the next."""
    found, before = 0, 0
    for group in groups:
        string = group[0].string if len(group) == 1 and _picked(group[0]) else 0
        if string and before and abs(string - before) > 1:
            found += 1
        before = string
    return found


def _picked(sound: SoundingNote) -> bool:
    if sound.pluck is not None:
        return False
    for mark in sound.marks:
        if mark.stroke is not None:
            return mark.stroke is _PICK
    return sound.begin.stroke is _PICK


def largest_bend(timeline: Timeline) -> tuple[float, bool]:
    """Return the largest bend, in semitones, and whether another string sounds with one of a half step or more."""
    sounds, largest, beside = timeline.sounds, 0.0, False
    for n, sound in enumerate(sounds):
        if not sound.shapes:
            continue
        bend = max((shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS), default=0.0)
        largest = max(largest, bend)
        near = sounds[max(0, n - 6) : n + 7] if bend >= 1 else ()
        beside = beside or any(
            s.string != sound.string and s.start < sound.end and sound.start < s.end and not s.dead for s in near
        )
    return largest, beside


def has_shaped_bend(timeline: Timeline) -> bool:
    """Return whether a bend of a half step or more is struck bent, released, or shaken at its top."""
    for sound in timeline.sounds:
        if not sound.shapes:
            continue
        curves = [shape.technique.curve for shape in sound.shapes]
        big = any(shape.amount >= 1 for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS)
        if big and (Curve.PREBEND in curves or Curve.RELEASE in curves or Curve.VIBRATO in curves):
            return True
    return False


def unpicked_share(sounds: Sequence[SoundingNote]) -> float:
    """Return the share of notes that the fretting hand sounds alone, 0 to 1."""
    return sum([s.begin.stroke in _LEGATO for s in sounds]) / len(sounds) if sounds else 0.0


def ringing_share(sounds: Sequence[SoundingNote]) -> float:
    """Return the share of notes that sound on when another string is struck, 0 to 1."""
    rung: set[int] = set()
    sounding: list[SoundingNote] = []
    until = 0  # when the last of them ends
    for sound in sounds:
        sounding = [s for s in sounding if s.end > sound.start] if until > sound.start else []
        if sound.kind == "note" and not sound.dead:
            if sounding:
                rung |= {s.index for s in sounding if s.start < sound.start and s.string != sound.string}
            sounding.append(sound)
            until = max(until, sound.end)
    return len(rung) / len(sounds) if sounds else 0.0


def technique_kinds(timeline: Timeline) -> tuple[set[str], set[str], set[str]]:
    """Return the techniques in use by name: all of them, the easy kinds (like ones under one name), and those learned on their own."""
    used, own = techniques_used(timeline.sounds)
    every, easy = set(own), set[str]()
    for t in used:
        if not t.sign or t.kind is TechniqueKind.MARK:
            continue
        every.add(t.name)
        if _takes_practice(t):
            own.add("slap and pop" if t.stroke in (Stroke.SLAP, Stroke.POP) else t.name)
        else:
            easy.add(_family(t))
    return every, easy - {""}, own


def _takes_practice(t: Technique) -> bool:
    """Return whether a technique is learned on its own: another way of the picking hand, a harmonic besides the fret, the bar."""
    return t.stroke in _OWN_STROKES or (t.curve in _BAR or t.curve is Curve.PREBEND) or t.sign in ("n<>", "*")


def _family(t: Technique) -> str:
    """Return one name for techniques that are one skill; "" for bends, which have a term of their own."""
    if t.curve in (Curve.BEND, Curve.RELEASE):
        return ""
    if t.curve in (Curve.GLIDE, Curve.SLIDE_IN, Curve.SLIDE_OFF):
        return "slide"
    return "vibrato" if t.curve is Curve.VIBRATO else "legato" if t.stroke in _LEGATO else t.name
