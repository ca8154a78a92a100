"""A corpus of takes with known mistakes: the tuning set and the held-out one.

In: the name of a set and how many takes. Out: `Case`s, each a take, its samples and its room. The two sets share no lick, no guitar and no seed.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from guitar_strings import RATE, Guitar, Samples, font_guitars, real_guitars
from mistakes import MISTAKES
from played import Take
from rooms import ROOMS, with_another
from students import play_lick
from takes import sound_take

from lickwright import compile_file
from lickwright.timeline.model import Timeline

SAMPLES = Path(__file__).parents[2] / "samples"
SETS = {
    "tuning": (0, ("wood", "font steel", "font clean"), 1000),
    "held-out": (1, ("carbon", "font jazz", "font nylon"), 9000),
}
ROOM_NAMES = (*ROOMS, "another guitar")
_LONGEST = 26.0  # seconds of a lick


class Case(NamedTuple):
    name: str
    take: Take
    samples: Samples  # (samples,) or (samples, channels)
    room: str
    offset: float  # seconds that the room puts before the music
    rate: int = RATE  # Hz


@lru_cache(maxsize=2)
def guitars(names: tuple[str, ...]) -> tuple[Guitar, ...]:
    """The guitars of a set. Raises Unavailable."""
    return tuple(g for g in (*real_guitars(), *font_guitars()) if g.name in names)


@lru_cache(maxsize=1)
def licks() -> tuple[Timeline, ...]:
    """The samples that a listener can judge: not too long, most of their notes single or double."""
    found = []
    for path in sorted(SAMPLES.rglob("*.lick")):
        if path.parent.name == "bass":
            continue
        for lick in compile_file(path).licks:
            if lick.timeline is None or lick.duration is None or lick.duration > _LONGEST:
                continue
            starts: dict[tuple[int, int], int] = {}
            for s in lick.timeline.sounds:
                starts[s.start, s.lead] = starts.get((s.start, s.lead), 0) + 1
            odd = sum(
                s.dead or s.harmonic or s.kind != "note" or starts[s.start, s.lead] > 2 for s in lick.timeline.sounds
            )
            if odd <= 0.25 * len(lick.timeline.sounds):
                found.append(lick.timeline)
    return tuple(found)


def cases(name: str, count: int, first: int = 0) -> Iterator[Case]:
    """Takes of a set, in an order that goes through licks, rooms and mistakes. Raises Unavailable."""
    parity, names, seed = SETS[name]
    mine = [t for n, t in enumerate(licks()) if n % 2 == parity]
    strings = guitars(names)
    kinds = list(MISTAKES)
    for n in range(first, first + count):
        random = np.random.default_rng(seed + n)
        timeline = mine[n % len(mine)]
        room = ROOM_NAMES[(n + n // len(mine)) % len(ROOM_NAMES)]
        clean = n % 4 == 0
        mistakes = (
            () if clean else (*((kinds[13 + n // 4 % 2],) if n % 4 == 2 else ()), *random.permutation(kinds[:13]))
        )
        tempo = float(random.choice([0.6, 0.75, 0.9, 1.0, 1.1]))
        shift = int(random.choice([0, 0, 0, 0, 0, 0, 1, -2, 2]))
        take = play_lick(
            timeline, random, tuple(map(str, mistakes)), tempo, float(random.uniform(-0.06, 0.06)),
            float(random.uniform(-30, 30)), shift, 3,
        )  # fmt: skip
        guitar = strings[n % len(strings)]
        wave = sound_take(take, guitar, random)
        if room == "another guitar":
            other = play_lick(mine[(n + 5) % len(mine)], random, ())
            heard = ROOMS["reverberant"](with_another(wave, sound_take(other, guitar, random)), random)
        else:
            heard = ROOMS[room](wave, random)
        yield Case(
            f"{name} {n}: {timeline.title}, {guitar.name}, {room}", take, heard, room, (len(heard) - len(wave)) / 48_000
        )
