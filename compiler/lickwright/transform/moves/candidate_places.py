"""Where each note of a lick may be played, and which connections go along, box by box.

In: a counted lick and a target. Out: for each home (one place of the box on the neck) a `Draft`: the runs of connected notes, the strings each
may lie on, and the connections that end where the box changes strings. A note inside the box is worth more than a hammer-on or
pull-off, whose second note can be picked; a slide may leave the box by a fret or two; taps and trills never change their string.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import inf

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.hand.string_tension import bend_limit, string_kind
from lickwright.music.instruments import StringSet
from lickwright.notation.techniques import UPWARD_BENDS, Curve, Stroke
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.note_positions import has_pitch, stopped_fret, written_sounds
from lickwright.transform.moves.target import MoveTarget

Where = frozenset[tuple[int, int]]

# Costs, in notes: one note a fret outside the box is worth 1.5. All are estimates; `tests/bench/moves.py` measures them.
IN_WINDOW = 0.6  # a note within the frets of the box that is no note of the box
OUT, FURTHER = 1.0, 0.5  # a note outside the box, and more for each fret of distance from it
OPENED = 4.0  # an open string for a note that was fretted
OTHER_STRING = 0.3  # another string than before, where no box is asked for
FRETTED = 0.3  # a fretted note for one that was open
HARD_BEND = 2.5  # a bend near the limit of the string
PARTED = 1.6  # a hammer-on or pull-off that becomes two picked notes; more than one note a fret outside costs
SLIDE_PARTED = 2.2
FAR = 0.08  # each note, for each fret between its place and the place with the same shape of the hand
NEVER = 40.0
ANYWHERE = 0.2  # factor of the costs above for tapped notes and harmonics, which do not bind the fretting hand
AS_GOOD = 0.25  # strings within this cost of the best one are left to the search for a fingering
_FINGERED = frozenset((Curve.VIBRATO, Curve.SLIDE_OFF))
_GLIDING = (Curve.GLIDE, Curve.SLIDE_IN)


@mutable_record
class ConnectedNotes:
    """Connected notes that share a string."""

    sounds: list[SoundingNote]
    strings: dict[int, float]  # string → what it costs to play the run there
    string: int = 0  # the one chosen


@mutable_record
class Draft:
    """A lick in one home, its strings not yet all chosen."""

    home: Where
    runs: list[ConnectedNotes] = field(default_factory=list)
    parted: list[SoundingNote] = field(default_factory=list)  # connected notes that no longer are
    cost: float = 0.0


def possible_homes(timeline: Timeline, target: MoveTarget) -> list[tuple[Where, int, int]]:
    """Return each place of the box on the neck, with its lowest and highest fret; of several boxes, those that lie together."""
    if target.area is None:
        return [_own_home(timeline, target)]
    boxes = target.area.boxes
    first = min(box.label for box in boxes)
    out = []
    for box in (b for b in boxes if b.label == first):
        near = {b.label: b for b in sorted(boxes, key=lambda b: (-abs(b.low - box.low), -b.low))}  # the nearest stays
        chosen = near.values()
        where = frozenset[tuple[int, int]]().union(*(b.places | b.blue for b in chosen))
        out.append((where, min(b.low for b in chosen), max(b.high for b in chosen)))
    return out


def _own_home(timeline: Timeline, target: MoveTarget) -> tuple[Where, int, int]:
    """Return the lick's own places, moved along, as its home: a new tuning changes no more of them than it must."""
    notes = [s for s in written_sounds(timeline) if has_pitch(s)]
    at = [(s.string, (stopped_fret(s) or 0) + target.fingered) for s in notes]
    frets = [fret for _, fret in at if fret > 0] or [0]
    return frozenset(place for place in at if 0 < place[1] <= target.frets), min(frets), max(frets)


def draft_placements(timeline: Timeline, target: MoveTarget) -> Iterator[Draft]:
    """Yield a draft for each home that can hold the lick at all, the best first."""
    chains = list(_chains(timeline))
    busy = _busy(timeline)
    found: list[tuple[float, int, Draft]] = []
    for home, low, high in possible_homes(timeline, target):
        options = {s.index: _options(s, timeline, target, home, low, high) for chain in chains for s in chain}
        if not all(options.values()):
            continue
        draft = Draft(home)
        for chain in chains:
            _split(chain, options, busy, draft)
        cost = draft.cost + FAR * len(options) * _away(timeline, target, low, high)
        found.append((cost, len(found), draft))
    yield from (draft for *_, draft in sorted(found, key=lambda one: one[:2]))


def _away(timeline: Timeline, target: MoveTarget, low: int, high: int) -> float:
    """Return the frets between a home and where the hand would be if it simply went along."""
    frets = [s.fret for s in written_sounds(timeline) if s.fret] or [0]
    return abs((low + high) / 2 - sum(frets) / len(frets) - target.fingered)


def _chains(timeline: Timeline) -> Iterator[list[SoundingNote]]:
    """Yield the pitched notes, each with those connected to it."""
    chains: dict[int, list[SoundingNote]] = {}
    for sound in written_sounds(timeline):
        if sound.source in chains and has_pitch(sound):
            chains[sound.source].append(sound)
            chains[sound.index] = chains[sound.source]
        elif has_pitch(sound):
            chains[sound.index] = [sound]
    yield from {id(chain): chain for chain in chains.values()}.values()


def _busy(timeline: Timeline) -> frozenset[int]:
    """Return the notes that begin while or when another string sounds: struck instead of connected, they would end it."""
    alive: list[SoundingNote] = []
    out: set[int] = set()
    for sound in written_sounds(timeline):
        alive = [s for s in alive if s.end > sound.start or s.start == sound.start]
        others = [s for s in alive if s.string != sound.string]
        if others:
            out |= {sound.index, *(s.index for s in others if s.start == sound.start)}
        alive.append(sound)
    return frozenset(out)


def _options(
    sound: SoundingNote, timeline: Timeline, target: MoveTarget, home: Where, low: int, high: int
) -> dict[int, tuple[int, float]]:
    """Return string → fret and cost, for every string that has the note."""
    old = timeline.settings
    pitch = old.tuning.sounding[sound.string - 1] + (stopped_fret(sound) or 0) + target.semitones
    out = {}
    for string, open_pitch in enumerate(target.tuning.sounding, 1):
        fret = pitch - open_pitch
        other = None if sound.trill is None else fret + sound.trill - (stopped_fret(sound) or 0)
        if not 0 <= fret <= target.frets or (other is not None and not 0 <= other <= target.frets):
            continue
        cost = _position_cost(sound, string, fret, other, home, low, high)
        cost += OTHER_STRING if target.area is None and string != sound.string else 0.0
        cost += _shape_cost(sound, string, fret, target, old.instrument.strings)
        if cost < inf:
            out[string] = (fret, cost)
    return out


def _position_cost(
    sound: SoundingNote, string: int, fret: int, other: int | None, home: Where, low: int, high: int
) -> float:
    """Return what a place costs against the box; `other` is the fret that a trill goes to there."""
    before = stopped_fret(sound) or 0
    cost = _fret_cost(string, fret, before, home, low, high)
    if other is not None:
        cost += _fret_cost(string, other, sound.trill or 0, home, low, high)
    if sound.begin.stroke is Stroke.TAP or sound.harmonic:
        cost *= ANYWHERE
        cost += OPENED if sound.harmonic and before == 0 != fret else 0.0  # a natural harmonic stays one
    return cost


def _fret_cost(string: int, fret: int, was: int, home: Where, low: int, high: int) -> float:
    """Return what a fret costs against the box; `was` is the fret that it was before the move."""
    if fret == was == 0:
        return 0.0
    fretted = FRETTED if was == 0 else 0.0
    if (string, fret) in home:
        return fretted
    if fret == 0:
        return OPENED
    away = max(low - fret, fret - high, 0)
    return fretted + (OUT + FURTHER * away if away else IN_WINDOW)


def _shape_cost(sound: SoundingNote, string: int, fret: int, target: MoveTarget, strings: StringSet) -> float:
    """Return what its bends, vibrato and slides cost on a string; infinite where they cannot be played.

    Bends need strings that bend; vibrato and slides need a finger, which an open string has not.
    """
    curves = {shape.technique.curve for shape in sound.shapes}
    if fret == 0 and stopped_fret(sound) and (curves & _FINGERED or sound.begin.curve in _GLIDING):
        return inf
    bends = (shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS)
    return sum(_bend_cost(string_kind(target.tuning, strings, string), fret, amount) for amount in bends)


def _bend_cost(kind: str, fret: int, semitones: float) -> float:
    limit = bend_limit(kind, fret, semitones)
    if fret == 0 or (limit is not None and limit.level == "error"):
        return inf
    return HARD_BEND if limit is not None and limit.level == "warning" else 0.0


def _from_open(before: SoundingNote, sound: SoundingNote, fret: int) -> bool:
    """Return whether a slide would start at an open string where it had a finger; `fret` is where `before` would lie."""
    return sound.begin.curve is Curve.GLIDE and fret == 0 and bool(stopped_fret(before))


def _parting(sound: SoundingNote, busy: frozenset[int]) -> float:
    """Return what it costs to end a connection before this note."""
    if sound.begin.stroke is Stroke.TAP or sound.index in busy or sound.kind == "grace" or sound.lead:
        return NEVER
    return SLIDE_PARTED if sound.begin.curve is Curve.GLIDE else PARTED


def _split(
    chain: list[SoundingNote], options: dict[int, dict[int, tuple[int, float]]], busy: frozenset[int], draft: Draft
) -> None:
    """Find the cheapest strings for connected notes, by dynamic programming; where the string changes, the connection ends."""
    best: dict[int, float] = {string: cost for string, (_, cost) in options[chain[0].index].items()}
    back: list[dict[int, int]] = []
    for before, sound in pairwise(chain):
        parting = _parting(sound, busy)
        cheapest = min(best, key=lambda string: best[string])
        here, came = {}, {}
        for string, (_, cost) in options[sound.index].items():
            stay = best.get(string, inf)
            if stay < inf and _from_open(before, sound, options[before.index][string][0]):
                stay = inf
            go = best[cheapest] + parting
            came[string] = string if stay <= go else cheapest
            here[string] = min(stay, go) + cost
        best, back = here, [*back, came]
    string = min(best, key=lambda s: best[s])
    draft.cost += best[string]
    strings = [string]
    for came in reversed(back):
        string = came[string]
        strings.append(string)
    _cut(chain, strings[::-1], options, draft)


def _cut(
    chain: list[SoundingNote], strings: list[int], options: dict[int, dict[int, tuple[int, float]]], draft: Draft
) -> None:
    start = 0
    for n in range(1, len(chain) + 1):
        if n < len(chain) and strings[n] == strings[n - 1]:
            continue
        sounds = chain[start:n]
        draft.runs.append(_run(sounds, options))
        draft.parted += [chain[n]] if n < len(chain) else []
        start = n


def _run(sounds: list[SoundingNote], options: dict[int, dict[int, tuple[int, float]]]) -> ConnectedNotes:
    shared = set(options[sounds[0].index]).intersection(*(options[s.index] for s in sounds[1:]))
    for before, sound in pairwise(sounds):
        shared = {string for string in shared if not _from_open(before, sound, options[before.index][string][0])}
    costs = {string: sum(options[s.index][string][1] for s in sounds) for string in sorted(shared)}
    return ConnectedNotes(sounds, costs, min(costs, key=lambda string: costs[string]))
