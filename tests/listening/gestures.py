"""Takes whose mistakes are those of bends, releases, vibrato and double stops, many in each: the other sets have few of them.

In: the name of a set and a number. Out: a `Case`. Every player bends and shakes in a manner of their own; a bend is never off by it.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from corpus import SETS, Case, guitars
from played import Random, Stroked, Take
from rooms import ROOMS
from students import play_lick
from takes import sound_take

from lickwright import compile_file
from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.timeline.model import Timeline

LICKS = Path(__file__).parent / "licks/gestures.lick"
GESTURES = {"gestures": ("tuning", 610_000), "gestures-held-out": ("held-out", 620_000)}  # whose guitars, and the seed
_KINDS = (
    "bend flat", "bend sharp", "bend missing", "bend late", "not released", "release late", "picked too soon", "vibrato missing",
    "pair wrong", "pair missing",
)  # fmt: skip
_TIMES_EACH = 3
_MOST = 8
_MANNERS = (0.6, 1.2)  # how long a bend takes against what is written
_WIDTHS = (0.8, 1.4)  # how wide a vibrato is against what is written


@lru_cache(maxsize=1)
def gesture_licks() -> tuple[Timeline, ...]:
    return tuple(lick.timeline for lick in compile_file(LICKS).licks if lick.timeline is not None)


def gesture_case(name: str, n: int) -> Case:
    """The take of a number. Raises Unavailable."""
    of, seed = GESTURES[name]
    random = np.random.default_rng(seed + n)
    timeline = gesture_licks()[n % len(gesture_licks())]
    clean = n // len(gesture_licks()) % 4 == 3
    kinds = () if clean else tuple(map(str, random.permutation(_KINDS * _TIMES_EACH)))
    take = play_lick(
        timeline, random, kinds, float(random.choice([0.75, 0.9, 1.0, 1.1])), float(random.uniform(-0.05, 0.05)),
        float(random.uniform(-25, 25)), 0, _MOST,
    )  # fmt: skip
    _vary_manner(take, random)
    strings = guitars(SETS[of][1])
    guitar = strings[n % len(strings)]
    wave = sound_take(take, guitar, random)
    room = list(ROOMS)[n // len(strings) % len(ROOMS)]
    heard = ROOMS[room](wave, random)
    where = f"{name} {n}: {timeline.title}, {guitar.name}, {room}"
    return Case(where, take, heard, room, (len(heard) - len(wave)) / 48_000)


def _vary_manner(take: Take, random: Random) -> None:
    """Let bends be quicker or slower around the same instant, and vibrato narrower or wider."""
    pace = float(random.uniform(*_MANNERS))
    for note in take.notes:
        width = float(random.uniform(*_WIDTHS))
        note.moves = tuple(_varied(note, move, pace, width) for move in note.moves)


def _varied(note: Stroked, move: PitchRamp, pace: float, width: float) -> PitchRamp:
    if move.shape in (CurveShape.ABOVE, CurveShape.AROUND):
        return move._replace(change=move.change * width)
    if move.shape is not CurveShape.EASE or move.end == move.start:
        return move
    middle, half = (move.start + move.end) / 2, pace * (move.end - move.start) / 2
    return move._replace(start=max(note.start, middle - half), end=middle + half)
