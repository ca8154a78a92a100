"""Fingering by dynamic programming: the best place, hand position and fingers for each moment of a phrase.

In: `HandMoment`s (what sounds together, and where on the neck it can be played), a hand. Out: a `Fingering`, the cheapest
way through the whole phrase (Viterbi). The model is that of Sayegh (1989), "Fingering for string instruments with the
optimum path paradigm", with costs in millimetres and fingers as states; the costs stand in `fingering_costs.py`. Fingers
that a teacher wrote are kept. With several choices a moment there are two passes: hand positions choose among the places
first, then fingers are found for what was chosen.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from lickwright.hand import fingering_costs as c
from lickwright.hand.fingering_costs import FINGER_NAMES, FREE, Grip, Place, find_grips
from lickwright.hand.measures import BASS_MM, GUITAR_MM, HOPS, SHIFT_EASY, Hand, make_hand
from lickwright.notation.techniques import UPWARD_BENDS, Curve, Stroke
from lickwright.timeline.model import SoundingNote, Timeline

GRACE_APART = 0.06  # seconds between grace notes, for the hand; an estimate

Choice = tuple[Place, ...]


class HandMoment(NamedTuple):
    """What sounds from one instant on, with every place where it can be played."""

    at: float  # seconds
    until: float  # seconds; when the hand may let go
    choices: tuple[Choice, ...]  # each: (string, fret) for every note sounding together; fret 0 open, None dead
    joined: bool = False  # on one string with the moment before, legato
    fixed: tuple[str | None, ...] = ()  # fingers as the teacher wrote them, a place each
    slid: bool = False  # joined by a slide: the same finger goes along
    bent: bool = False  # bent by half a step or more


class Fingering(NamedTuple):
    """A way through a phrase; each tuple has one entry a moment."""

    choice: tuple[int, ...]  # index into HandMoment.choices
    fingers: tuple[tuple[int | None, ...], ...]  # a place each: 0 open, 1-4, 5 the thumb, None dead or not needed
    position: tuple[int, ...]  # fret of the index finger
    cost: float  # of the whole phrase, in the units of `fingering_costs.py`
    costs: tuple[float, ...]  # of each moment, the way there included
    why: tuple[str, ...]  # the largest cost there, "" where there is none


def plan_fingering(
    moments: Sequence[HandMoment],
    hand: Hand,
    box: frozenset[tuple[int, int]] | None = None,
) -> Fingering:
    """Return the cheapest way through a phrase. `box`: places to stay in where there is a choice."""
    if not moments:
        return Fingering((), (), (), 0.0, (), ())
    only = [0] * len(moments)
    if any(len(moment.choices) > 1 for moment in moments):
        lean = [_ways(moment, hand, box, lean=True) for moment in moments]
        only = [choice for choice, _ in _cheapest(moments, lean, lean=True)[1]]
    options = [_ways(moment, hand, box, only=n) for moment, n in zip(moments, only, strict=True)]
    cost, path, costs, why = _cheapest(moments, options)
    fingers = tuple(grip.fingers for _, grip in path)
    return Fingering(tuple(n for n, _ in path), fingers, _positions(path), cost, costs, why)


def _positions(path: Ways) -> tuple[int, ...]:
    """Return the hand's position at each moment; where it holds nothing, the last one (at first: the next one)."""
    positions, last = [], next((grip.position for _, grip in path if grip.position != FREE), 1)
    for _, grip in path:
        last = last if grip.position == FREE else grip.position
        positions.append(last)
    return tuple(positions)


_LEAN = 4  # hand positions a choice: the four fingers, each at its own fret
Ways = list[tuple[int, Grip]]  # index of a choice, and a grip for it


def _ways(
    moment: HandMoment, hand: Hand, box: frozenset[tuple[int, int]] | None, only: int | None = None, lean: bool = False
) -> Ways:
    """Return every grip of every choice, or of choice `only`; `lean` keeps the best of each hand position."""
    found: Ways = []
    for n, choice in enumerate(moment.choices):
        if only is not None and n != only:
            continue
        extra = _place_cost(choice, moment, box) if len(moment.choices) > 1 else 0.0
        seen: set[int] = set()
        for grip in find_grips(choice, hand, moment.fixed, moment.bent):
            if lean and (grip.position in seen or len(seen) == _LEAN):
                continue
            seen.add(grip.position)
            found.append((n, grip._replace(cost=grip.cost + extra) if extra else grip))
    return found


def _place_cost(choice: Choice, moment: HandMoment, box: frozenset[tuple[int, int]] | None) -> float:
    """Return the cost of places outside the box, and of bends near the nut or on the thick strings."""
    cost = 0.0
    for string, fret in choice:
        if fret is None:
            continue
        if box is not None and (string, fret) not in box:
            cost += c.OUT_OF_BOX + (0.0 if fret else c.OPEN_INSIDE)
        if moment.bent and fret < 2:
            cost += c.NEVER
        elif moment.bent and string > 3:
            cost += c.THICK_BEND
    return cost


class _Step(NamedTuple):
    """The cheapest way to one grip of one moment."""

    total: float
    here: float  # of this step alone
    back: int  # index of the step before
    position: int  # of the hand, the last one where this grip holds nothing
    at: float  # mm
    left: float  # seconds, when the hand was last bound to a position


def _cheapest(
    moments: Sequence[HandMoment], options: list[Ways], lean: bool = False
) -> tuple[float, Ways, tuple[float, ...], tuple[str, ...]]:
    """Return the cheapest way (Viterbi): its cost, its grips, and the cost and the largest cost of each moment."""
    layers: list[list[_Step]] = []
    for n, moment in enumerate(moments):
        if n:
            layers.append(_layer(layers[-1], moments[n - 1], options[n - 1], moment, options[n], lean))
        else:
            layers.append([_Step(g.cost, g.cost, 0, g.position, g.at, moment.at) for _, g in options[0]])
    k = min(range(len(layers[-1])), key=lambda i: layers[-1][i].total)
    total, path, costs, why = layers[-1][k].total, [], [], []
    for n in range(len(layers) - 1, -1, -1):
        step, (choice, grip) = layers[n][k], options[n][k]
        path.append((choice, grip))
        costs.append(step.here)
        why.append("move" if step.here - grip.cost > grip.cost else grip.why)
        k = step.back
    return total, path[::-1], tuple(costs[::-1]), tuple(why[::-1])


def _layer(
    past: list[_Step], last: HandMoment, before: Ways, moment: HandMoment, ways: Ways, lean: bool
) -> list[_Step]:
    """Return the cheapest way to each grip of a moment.

    The steps before are tried from the cheapest on, until no other could be cheaper.
    """
    order = sorted(range(len(past)), key=lambda k: past[k].total)
    gap = moment.at - last.at
    layer = []
    for choice, grip in ways:
        places = moment.choices[choice]
        best, back, here = inf, 0, 0.0
        for k in order:
            step = past[k]
            if step.total >= best:
                break
            old_choice, old = before[k]
            way = _way(step, last.choices[old_choice], places, grip, moment)
            if not lean and step.total + way < best:
                way += _change(last.choices[old_choice], old, places, grip, moment, gap)
            if step.total + way < best:
                best, back, here = step.total + way, k, way
        if grip.position == FREE:
            _, _, _, position, at, left = past[back]
        else:
            position, at, left = grip.position, grip.at, moment.at
        layer.append(_Step(best + grip.cost, here + grip.cost, back, position, at, left))
    return layer


def _way(step: _Step, old: Choice, places: Choice, grip: Grip, moment: HandMoment) -> float:
    """Return the cost of the hand's way from one grip to the next: across the strings and along the neck."""
    cost = 0.0
    if moment.joined and not any(string == other for string, _ in places for other, _ in old):
        cost += c.NEVER
    crossed = abs(places[0][0] - old[-1][0]) - 1
    if crossed > 0:
        cost += c.CROSSING * crossed
    if grip.position == FREE or step.position == FREE or grip.position == step.position:
        return cost
    far = abs(grip.at - step.at)
    shift = far / c.SHIFT_MM
    if moment.joined:
        shift *= c.SLID if moment.slid else c.MID_LEGATO
    pace = far / max(moment.at - step.left, 0.02) - SHIFT_EASY
    return cost + c.SHIFT_AT_ALL + shift + (c.HARD_SHIFT * pace / 1000.0 if pace > 0 else 0.0)


def _change(old_places: Choice, old: Grip, places: Choice, grip: Grip, moment: HandMoment, gap: float) -> float:
    """Return the cost of what the fingers have to do between two grips; `gap` is the time for it in seconds."""
    if old.position == FREE or grip.position == FREE:
        return 0.0
    cost = 0.0
    for place, finger in zip(places, grip.fingers, strict=True):
        if finger:
            for before, other in zip(old_places, old.fingers, strict=True):
                if other:
                    cost += _finger_change(before, other, place, finger, moment, gap)
    return cost


def _finger_change(before: Place, other: int, place: Place, finger: int, moment: HandMoment, gap: float) -> float:
    """Return the cost of `finger` at a place after finger `other` at the place before."""
    (old_string, old_fret), (string, fret) = before, place
    if before == place:
        return c.SWAP if other != finger else 0.0
    if other == finger:
        return _same_finger(before, place, moment, gap)
    if old_string == string and moment.joined:
        # No two fingers in a slide; in a hammer-on or pull-off they lie in the order of their frets.
        return c.NEVER if moment.slid or ((fret or 0) - (old_fret or 0)) * (finger - other) < 0 else 0.0
    return 0.0


def _same_finger(before: Place, place: Place, moment: HandMoment, gap: float) -> float:
    """Return the cost of the same finger at another place."""
    (old_string, old_fret), (string, fret) = before, place
    if moment.slid and old_string == string:
        return 0.0
    if moment.joined and old_string == string:
        return c.NEVER  # a hammer-on or pull-off takes two fingers
    if old_fret == fret and abs(old_string - string) == 1:
        return c.ROLL
    return c.HOP + (c.HOP_FAST if gap * HOPS < 1.0 else 0.0)


# --- of a lick as counted --------------------------------------------------------------------------------------------


def hand_for(timeline: Timeline) -> Hand:
    """Return the hand that a lick's settings name, on its neck."""
    settings = timeline.settings
    return make_hand(settings.reach, BASS_MM if settings.tuning.is_bass else GUITAR_MM, settings.capo)


def is_fretted(sound: SoundingNote) -> bool:
    """Return True if a finger of the fretting hand presses the string: not for open, dead, tapped and touched notes."""
    return bool(sound.fret) and sound.begin.stroke is not Stroke.TAP and not sound.dead


def hand_moments(timeline: Timeline) -> tuple[list[HandMoment], list[list[SoundingNote]]]:
    """Return a lick's moments, one choice each, and the sounds that begin in each; rakes, scrapes and taps have none."""
    from lickwright.performance.tempo_map import written_tempo_map

    seconds = written_tempo_map(timeline).seconds
    groups: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.kind in ("note", "grace") and sound.begin.stroke is not Stroke.TAP:
            groups.setdefault((sound.start, -sound.lead), []).append(sound)
    moments = [
        _moment(sounds, seconds(start) + GRACE_APART * lead, max(seconds(sound.end) for sound in sounds))
        for (start, lead), sounds in groups.items()
    ]
    return moments, list(groups.values())


def _moment(sounds: Sequence[SoundingNote], at: float, until: float) -> HandMoment:
    joined = all(sound.source is not None for sound in sounds)
    slid = joined and all(sound.begin.curve is Curve.GLIDE for sound in sounds)
    places = tuple((sound.string, None if sound.dead else sound.fret) for sound in sounds)
    return HandMoment(
        at, until, (places,), joined, tuple(sound.finger for sound in sounds), slid, any(map(_bent, sounds))
    )


def _bent(sound: SoundingNote) -> bool:
    return any(shape.amount >= 1 for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS)


def suggest_fingers(timeline: Timeline) -> tuple[str | None, ...]:
    """Return a finger for each sound of a lick: the teacher's where one is written, else a suggestion; None: none needed."""
    moments, groups = hand_moments(timeline)
    found: list[str | None] = [sound.finger for sound in timeline.sounds]
    for sounds, taken in zip(groups, plan_fingering(moments, hand_for(timeline)).fingers, strict=True):
        for sound, finger in zip(sounds, taken, strict=True):
            if found[sound.index] is None and finger:
                found[sound.index] = FINGER_NAMES[finger]
    return tuple(found)
