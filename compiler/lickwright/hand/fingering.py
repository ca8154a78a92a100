"""Where the hand goes: the best choice, position and fingers for each moment of a phrase.

In: `HandMoment`s (what sounds together, and where on the neck it can be had), a hand. Out: a `Fingering`. Found by dynamic
programming over the whole phrase, never note by note: a place is good for what comes before and after it. The model of
Sayegh (1989) with costs in millimetres and fingers as states; the costs stand in `fingering_costs.py`. Suggests, and
never changes what a teacher wrote. Two passes keep it lean: with several choices a moment, hand positions choose among
them first; then fingers are found for what was chosen.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from lickwright.hand import fingering_costs as c
from lickwright.hand.fingering_costs import FINGER_NAMES, FREE, Grip, Place, find_grips
from lickwright.hand.measures import BASS_MM, GUITAR_MM, HOPS, SHIFT_EASY, Hand, make_hand
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import Curve, Stroke
from lickwright.timeline.model import SoundingNote, Timeline

Choice = tuple[Place, ...]


class HandMoment(NamedTuple):
    """What sounds from one instant on, with every place where it can be had."""

    at: float  # seconds
    until: float  # seconds; when the hand may let go
    choices: tuple[Choice, ...]  # each: (string, fret) for every note sounding together; fret 0 open, None dead
    joined: bool = False  # on one string with the moment before, legato
    fixed: tuple[str | None, ...] = ()  # fingers as the teacher wrote them, a place each
    slid: bool = False  # joined by a slide: the same finger goes along
    bent: bool = False  # bent by half a step or more


class Fingering(NamedTuple):
    """A way through a phrase. All tuples have an entry a moment."""

    choice: tuple[int, ...]  # index into Moment.choices
    fingers: tuple[tuple[int | None, ...], ...]  # a place each: 0 open, 1-4, 5 the thumb, None dead or not needed
    position: tuple[int, ...]  # fret of the index finger
    cost: float  # of the whole phrase
    costs: tuple[float, ...]  # of each moment, the way there included
    why: tuple[str, ...]  # what was dearest there, "" where nothing was


def plan_fingering(
    moments: Sequence[HandMoment],
    hand: Hand,
    box: frozenset[tuple[int, int]] | None = None,
    tuning: Tuning | None = None,
) -> Fingering:
    """The cheapest way. `box`: places to stay in where there is a choice. `tuning`: its wound strings bend badly."""
    if not moments:
        return Fingering((), (), (), 0.0, (), ())
    options: list[list[tuple[int, Grip]]] = []
    several = any(len(moment.choices) > 1 for moment in moments)
    chosen = None
    if several:
        chosen = _cheapest(moments, [_ways(m, hand, box, tuning, lean=True) for m in moments], lean=True)[1]
    for n, moment in enumerate(moments):
        only = chosen[n][0] if chosen else 0
        options.append(_ways(moment, hand, box, tuning, only=only))
    cost, path, costs, why = _cheapest(moments, options)
    positions, last = [], next((grip.position for _, grip in path if grip.position != FREE), 1)
    for _, grip in path:
        last = last if grip.position == FREE else grip.position
        positions.append(last)
    return Fingering(
        tuple(n for n, _ in path), tuple(grip.fingers for _, grip in path), tuple(positions), cost, costs, why
    )


_LEAN = 4  # hand positions a choice: the four fingers, each at its own fret
Ways = list[tuple[int, Grip]]  # index of a choice, and a grip for it


def _ways(
    moment: HandMoment, hand: Hand, box: frozenset[tuple[int, int]] | None, tuning: Tuning | None,
    only: int | None = None, lean: bool = False,
) -> Ways:  # fmt: skip
    """Every grip of every choice; `lean` keeps the best of each hand position, which is enough to choose."""
    found: Ways = []
    for n, choice in enumerate(moment.choices):
        if only is not None and n != only:
            continue
        extra = _placing(choice, moment, box, tuning) if len(moment.choices) > 1 else 0.0
        seen: set[int] = set()
        for grip in find_grips(choice, hand, moment.fixed, moment.bent):
            if lean and (grip.position in seen or len(seen) == _LEAN):
                continue
            seen.add(grip.position)
            found.append((n, grip._replace(cost=grip.cost + extra) if extra else grip))
    return found


def _placing(
    choice: Choice, moment: HandMoment, box: frozenset[tuple[int, int]] | None, tuning: Tuning | None
) -> float:
    cost = 0.0
    for string, fret in choice:
        if fret is None:
            continue
        if box is not None and (string, fret) not in box:
            cost += c.OUT_OF_BOX
        if fret == 0 and box is not None and (string, 0) not in box:
            cost += c.OPEN_INSIDE
        if moment.bent and (fret < 2 or tuning is None or string > 3 or tuning.is_bass):
            cost += c.NEVER if fret < 2 else 1.0 if string > 3 else 0.0
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
    """Viterbi: for each grip of each moment the cheapest way there, then back from the cheapest end."""
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
    """The cheapest way to each grip of a moment. The past is tried from its cheapest, until no way could be cheaper."""
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
        from_ = past[back]
        position, at, left = (
            (from_.position, from_.at, from_.left) if grip.position == FREE else (grip.position, grip.at, moment.at)
        )
        layer.append(_Step(best + grip.cost, here + grip.cost, back, position, at, left))
    return layer


def _way(step: _Step, old: Choice, places: Choice, grip: Grip, moment: HandMoment) -> float:
    """The hand's way from one grip to the next: across the strings and along the neck."""
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
    """What the fingers have to do between two grips."""
    cost = 0.0
    if old.position == FREE or grip.position == FREE:
        return cost
    for (string, fret), finger in zip(places, grip.fingers, strict=True):
        if not finger:
            continue
        for (before, last), other in zip(old_places, old.fingers, strict=True):
            if not other:
                continue
            if before == string and last == fret:
                if other != finger:
                    cost += c.SWAP
            elif other == finger:
                cost += _again(before, last, string, fret, moment, gap)
            elif before == string and moment.joined:
                cost += _crossed(last, fret, other, finger, moment)
    return cost


def _crossed(last: int | None, fret: int | None, other: int, finger: int, moment: HandMoment) -> float:
    """Two fingers in a connection: none in a slide, and in the order of their frets in a hammer-on or pull-off."""
    return c.NEVER if moment.slid or ((fret or 0) - (last or 0)) * (finger - other) < 0 else 0.0


def _again(before: int, last: int | None, string: int, fret: int | None, moment: HandMoment, gap: float) -> float:
    """The same finger at another place."""
    if moment.slid and before == string:
        return 0.0
    if moment.joined and before == string:
        return c.NEVER  # a hammer-on or pull-off takes two fingers
    if last == fret and abs(before - string) == 1:
        return c.ROLL
    return c.HOP + (c.HOP_FAST if gap * HOPS < 1.0 else 0.0)


# --- of a lick as counted --------------------------------------------------------------------------------------------


def hand_for(timeline: Timeline) -> Hand:
    """The hand that a lick's settings name, on its neck."""
    settings = timeline.settings
    return make_hand(settings.reach, BASS_MM if settings.tuning.is_bass else GUITAR_MM, settings.capo)


def is_fretted(sound: SoundingNote) -> bool:
    """Whether a finger of the fretting hand is on the string: not for open, dead and tapped notes and natural harmonics."""
    return bool(sound.fret) and sound.begin.stroke is not Stroke.TAP and not sound.dead


def hand_moments(timeline: Timeline) -> tuple[list[HandMoment], list[list[SoundingNote]]]:
    """A lick's moments, one choice each, with the sounds that begin in them. Rakes, scrapes and taps are not fingered."""
    from lickwright.performance.tempo_map import written_tempo_map

    seconds = written_tempo_map(timeline).seconds
    groups: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.kind in ("note", "grace") and sound.begin.stroke is not Stroke.TAP:
            groups.setdefault((sound.start, -sound.lead), []).append(sound)
    moments = []
    for (start, lead), sounds in groups.items():
        at = seconds(start) + 0.06 * lead
        places = tuple((s.string, s.fret if not s.dead else None) for s in sounds)
        joined = all(s.source is not None for s in sounds)
        moments.append(
            HandMoment(
                at,
                max(seconds(s.end) for s in sounds),
                (places,),
                joined,
                tuple(s.finger for s in sounds),
                joined and all(s.begin.curve is Curve.GLIDE for s in sounds),
                any(shape.amount >= 1 for s in sounds for shape in s.shapes if shape.technique.curve in _UP),
            )
        )
    return moments, list(groups.values())


_UP = (Curve.BEND, Curve.PREBEND)


def suggest_fingers(timeline: Timeline) -> tuple[str | None, ...]:
    """A finger for each sound of the lick: the teacher's where one is written, else a suggestion; None: none needed."""
    moments, groups = hand_moments(timeline)
    found: list[str | None] = [sound.finger for sound in timeline.sounds]
    for sounds, taken in zip(groups, plan_fingering(moments, hand_for(timeline)).fingers, strict=True):
        for sound, finger in zip(sounds, taken, strict=True):
            if found[sound.index] is None and finger:
                found[sound.index] = FINGER_NAMES[finger]
    return tuple(found)
