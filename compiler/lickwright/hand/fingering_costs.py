"""The ways in which fingers can hold what sounds together, and what each costs.

In: the places (string, fret) of one moment, and a hand. Out: `Grip`s, one for each way. The weights of all fingering
stand here. They are estimates, to be fitted to fingerings that teachers approve.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from lickwright.hand.measures import SHARE, Hand

Place = tuple[int, int | None]  # (string, fret); 0 is open, None a dead note

# One unit is about 30 mm of moving the hand slowly.
SHIFT_AT_ALL = 0.3  # any move of the hand
SHIFT_MM = 30.0  # mm of the hand along the neck for one unit
STRETCH_MM = 10.0  # mm beyond a comfortable span for one unit
OFF_NATURAL = 0.45  # a finger one fret from its own, in the one-finger-a-fret hand
BARRE = 0.4  # the index finger laid flat over several strings
PARTIAL = 0.7  # another finger over two; over more, so much for each
WEAK = 0.15  # the little finger, the weakest
THUMB = 0.8
CROSSING = 0.3  # each string crossed beyond the next one
OPEN_INSIDE = 0.5  # an open string in a phrase away from the nut
HIGH = 0.02  # each fret above 12: the body is in the way
HOP = 0.55  # the same finger from one place to another
HOP_FAST = 4.0  # and with no time for it
ROLL = 0.35  # the same finger laid over to the next string
SWAP = 1.0  # another finger on the same place
MID_LEGATO = 2.0  # factor on a shift while a string goes on sounding
SLID = 0.3  # factor on a shift by slide: the finger finds its way along the string
OUT_OF_BOX = 1.0  # a place outside the box
THICK_BEND = 1.0  # a bend on a string thicker than the third
NEVER = 50.0  # what a hand cannot do: taken only where nothing else is left
BEND_FINGER = {1: 2.0, 2: 0.5, 3: 0.0, 4: 1.2}  # bending with three fingers is what is usually taught
HARD_SHIFT = 3.0  # each m/s of the hand beyond what is easy


class Grip(NamedTuple):
    """One way to finger a moment."""

    position: int  # fret of the index finger, or where it would be
    at: float  # the same in mm from the nut
    fingers: tuple[int | None, ...]  # one for each place: 0 open, 1-4, 5 the thumb, None not needed
    cost: float  # of holding it
    why: str  # the largest part of the cost, "" where there is none


FREE = -1  # the position of a grip that holds nothing: the hand may be anywhere


@lru_cache(maxsize=4096)
def find_grips(
    places: tuple[Place, ...], hand: Hand, fixed: tuple[str | None, ...] = (), bent: bool = False
) -> tuple[Grip, ...]:
    """Return every grip of some places, best first, at most 16; one that breaks a limit has a cost, so one is always there.

    `fixed` are fingers as written, one for each place; `bent`: the notes are bent by half a step or more.
    """
    held = [n for n, (_, fret) in enumerate(places) if fret]
    if not held:
        return (Grip(FREE, 0.0, tuple(0 if fret == 0 else None for _, fret in places), 0.0, ""),)
    found = _natural_grips(places, held, hand, bent)
    if any(fixed):
        wanted = [g for g in found if _as_written(g, fixed)]
        found = wanted or [_forced(places, held, fixed, hand)]
    if not found:  # no hand reaches it at all, which the checks report; the phrase needs a grip to go on from
        found = [_forced(places, held, (None,) * len(places), hand)._replace(why="wider than any hand")]
    best: dict[tuple[int, tuple[int | None, ...]], Grip] = {}
    for grip in sorted(found, key=lambda g: g.cost):
        best.setdefault((grip.position, grip.fingers), grip)
    return tuple(best.values())[:16]


def _as_written(grip: Grip, fixed: tuple[str | None, ...]) -> bool:
    return all(not want or FINGER_NUMBERS.get(want) == got for want, got in zip(fixed, grip.fingers, strict=False))


FINGER_NUMBERS = {"1": 1, "2": 2, "3": 3, "4": 4, "T": 5}
FINGER_NAMES = {number: name for name, number in FINGER_NUMBERS.items()}


def _forced(places: tuple[Place, ...], held: list[int], fixed: tuple[str | None, ...], hand: Hand) -> Grip:
    """Return the grip of fingers as written that no ordinary hand would use, at the cost `NEVER`."""
    low = min(places[n][1] or 0 for n in held)
    fingers: list[int | None] = [0 if fret == 0 else None for _, fret in places]
    position = low
    for n in held:
        written = fixed[n] if n < len(fixed) else None
        fingers[n] = FINGER_NUMBERS.get(written or "", 1 + min(3, (places[n][1] or 0) - low))
        if written in ("1", "2", "3", "4"):
            position = max(1, (places[n][1] or 0) - int(written) + 1)
    return Grip(position, hand.fret_mm(position), tuple(fingers), NEVER, "fingers as written")


def barre_groups(places: tuple[Place, ...], held: list[int]) -> list[list[int]]:
    """Return groups of indices into `places` that one finger can cover, from the lowest fret, then the thickest string.

    A group is on one fret, and no string between its strings sounds lower or open.
    """
    order = sorted(held, key=lambda n: (places[n][1] or 0, -places[n][0]))
    found: list[list[int]] = []
    for n in order:
        string, fret = places[n][0], places[n][1] or 0
        if found and places[found[-1][0]][1] == fret and not _between(places, places[found[-1][-1]][0], string, fret):
            found[-1].append(n)
        else:
            found.append([n])
    return found


def _between(places: tuple[Place, ...], thick: int, thin: int, fret: int) -> bool:
    """Return True if a string between two sounds at a lower fret, or open."""
    return any(thin < string < thick and other is not None and other < fret for string, other in places)


def _natural_grips(places: tuple[Place, ...], held: list[int], hand: Hand, bent: bool) -> list[Grip]:
    """Return grips with fingers 1 to 4 in the order of the frets, with barres, without them, and with a thumb."""
    covers = barre_groups(places, held)
    found = _grips_over(places, covers, hand, bent)
    for apart in _without_barres(covers) if len(covers) < len(held) else ():
        if len(covers) < len(apart) <= 4:
            found += _grips_over(places, apart, hand, bent)
    thick = max(held, key=lambda n: places[n][0])
    if places[thick][0] >= 5 and len(held) > 2:
        rest = [n for n in held if n != thick]
        found += [_with_thumb(grip, thick) for grip in _grips_over(places, barre_groups(places, rest), hand, bent)]
    return found or _crowded(places, covers, hand)


def _without_barres(covers: list[list[int]]) -> tuple[list[list[int]], list[list[int]]]:
    """Return the groups with a barre on the lowest fret alone, and with a finger for each place."""
    apart = [[n] for group in covers[1:] for n in group]
    return [covers[0], *apart], [*([n] for n in covers[0]), *apart]


def _with_thumb(grip: Grip, thick: int) -> Grip:
    fingers = tuple(5 if n == thick else finger for n, finger in enumerate(grip.fingers))
    return grip._replace(fingers=fingers, cost=grip.cost + THUMB)


def _crowded(places: tuple[Place, ...], covers: list[list[int]], hand: Hand) -> list[Grip]:
    """Return grips of more places than fingers: the last places go without, at the cost `NEVER`."""
    four = _grips_over(places, covers[:4], hand, False)
    return [g._replace(cost=g.cost + NEVER, why="more places than fingers") for g in four]


def _grips_over(places: tuple[Place, ...], covers: list[list[int]], hand: Hand, bent: bool) -> list[Grip]:
    """Return the grips in which each group of places has a finger of its own."""
    frets = [places[group[0]][1] or 0 for group in covers]
    found = []
    for fingers in combinations((1, 2, 3, 4), len(covers)):
        natural = frets[0] - fingers[0] + 1
        for position in {natural - 1, natural, natural + 1} if len(covers) == 1 else {natural}:
            if position < 1 or (fingers[0] == 1 and position != frets[0] and len(covers) > 1):
                continue
            grip = _grip(places, covers, frets, fingers, position, hand, bent)
            if grip is not None:
                found.append(grip)
    return found


def _grip(
    places: tuple[Place, ...], covers: list[list[int]], frets: list[int], fingers: tuple[int, ...], position: int,
    hand: Hand, bent: bool,
) -> Grip | None:  # fmt: skip
    """Return the grip of fingers on frets with the index at `position`; None where nobody would hold it so."""
    parts: dict[str, float] = {}
    taken: list[int | None] = [0 if fret == 0 else None for _, fret in places]
    for group, fret, finger in zip(covers, frets, fingers, strict=True):
        off = abs(fret - position - finger + 1)
        if off > 2:
            return None
        parts["reach"] = parts.get("reach", 0.0) + OFF_NATURAL * off
        if len(group) > 1:
            parts["barre"] = parts.get("barre", 0.0) + _barre_cost(places, group, finger)
        _add_finger_cost(parts, fret, finger, bent)
        for n in group:
            taken[n] = finger
    over = 0.0 if bent else _stretch(covers, places, fingers, frets, position, hand)  # a bend gathers the fingers
    if over:
        parts["stretch"] = over
    why = max(parts, key=lambda name: parts[name]) if parts else ""
    return Grip(position, hand.fret_mm(position), tuple(taken), sum(parts.values()), why)


def _barre_cost(places: tuple[Place, ...], group: list[int], finger: int) -> float:
    wide = places[group[0]][0] - places[group[-1]][0] + 1  # strings
    return BARRE if finger == 1 else PARTIAL * max(1, wide - 1)


def _add_finger_cost(parts: dict[str, float], fret: int, finger: int, bent: bool) -> None:
    if finger == 4:
        parts["little finger"] = WEAK
    if fret > 12:
        parts["high"] = HIGH * (fret - 12)
    if bent:
        parts["bend"] = BEND_FINGER[finger]


def _stretch(
    covers: list[list[int]], places: tuple[Place, ...], fingers: tuple[int, ...], frets: list[int], position: int,
    hand: Hand,
) -> float:  # fmt: skip
    """Return how far the fingers are pulled apart beyond comfort, in units; `NEVER` beyond what a hand can."""
    worst = 0.0
    stands = [
        (finger, fret, [places[n][0] for n in group])
        for finger, fret, group in zip(fingers, frets, covers, strict=True)
    ]
    if fingers[0] != 1:
        stands.insert(0, (1, position, stands[0][2]))  # the index hovers at its fret
    for (low, fret, strings), (high, other, across) in combinations(stands, 2):
        apart = min(abs(a - b) for a in strings for b in across)
        share = SHARE[low, high]
        span = hand.span(fret, other, apart) if other > fret else 0.0
        worst = max(worst, (span - hand.fine * share) / STRETCH_MM, NEVER if span > hand.hard * share * 1.15 else 0.0)
    return max(worst, 0.0)
