"""The lesson sets: takes of licks, guitars, players, slips and situations of another hand than `corpus.py`, of which nothing was tuned on the second.

In: the name of a set and a number. Out: a `Case`. The open half and the held-out one share no lick, no guitar and no seed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from corpus import Case
from devices import SITUATIONS
from font_player import TIM_GM, sound_by_font
from guitar_strings import Samples, real_guitars
from played import Take
from players import add_buzz, draw_player, draw_slips, draw_whole, play_take
from plucked_strings import BRIGHT, ROUND, sound_strings
from recorded_strings import patch_guitar, sound_recorded

from lickwright import compile_file
from lickwright.timeline.model import Timeline

LICKS = Path(__file__).parent / "licks"
Random = np.random.Generator
Sounder = Callable[[Take, Random, float], Samples]
_SILENCE = 0.4  # seconds before the music


class Lessons(NamedTuple):
    """One half of the lesson sets."""

    file: str  # of its licks
    guitars: tuple[str, ...]
    seed: int


LESSONS = {
    "lessons": Lessons("open.lick", ("carbon", "jazz patch", "font clean", "bright model"), 310_000),
    "lessons-held-out": Lessons("held-out.lick", ("wood", "steel patch", "font nylon", "round model"), 730_000),
}


@lru_cache(maxsize=4)
def lesson_licks(name: str) -> tuple[Timeline, ...]:
    """Return the licks of a set, in the order of its file."""
    found = compile_file(LICKS / LESSONS[name].file).licks
    return tuple(lick.timeline for lick in found if lick.timeline is not None)


@lru_cache(maxsize=8)
def sounder(guitar: str) -> Sounder:
    """Return what makes sound of a take on a guitar. Raises Unavailable."""
    if guitar in ("carbon", "wood"):
        real = next(g for g in real_guitars() if g.name == guitar)
        return lambda take, random, silence: sound_recorded(take, real, random, silence)
    if guitar.endswith("patch"):
        patch = patch_guitar(
            guitar, {"jazz patch": "026_Jazz_Guitar.pat", "steel patch": "025_Steel_Guitar.pat"}[guitar]
        )
        return lambda take, random, silence: sound_recorded(take, patch, random, silence)
    if guitar.startswith("font"):
        program = {"font clean": 27, "font nylon": 24}[guitar]
        return lambda take, random, silence: sound_by_font(take, program, silence, TIM_GM)
    model = {"bright model": BRIGHT, "round model": ROUND}[guitar]
    return lambda take, random, silence: sound_strings(take, model, random, silence)


def lesson_case(name: str, n: int) -> Case:
    """Return take number `n` of a set; a third of them has no slip. Raises Unavailable."""
    half = LESSONS[name]
    random = np.random.default_rng(half.seed + n)
    mine = lesson_licks(name)
    timeline = mine[n % len(mine)]
    guitar = half.guitars[(n + n // len(mine)) % len(half.guitars)]
    situation = list(SITUATIONS)[(n * 5 + n // 12) % len(SITUATIONS)]
    slips = () if n % 3 == 0 else draw_slips(random)
    player = draw_player(random)
    take = play_take(timeline, random, player, draw_whole(timeline, random), slips, int(random.integers(2, 6)))
    wave = sounder(guitar)(take, random, _SILENCE)
    take.onsets = {index: at + _SILENCE for index, at in take.onsets.items()}
    take.extras = [at + _SILENCE for at in take.extras]
    wave = add_buzz(wave, take, player, random)
    beat = timeline.grain // 4
    beats = [take.onsets[s.index] for s in timeline.sounds if s.start % beat == 0 and s.index in take.onsets]
    heard = SITUATIONS[situation](wave, beats, random)
    return Case(
        f"{name} {n}: {timeline.title}, {guitar}, {situation}", take, heard.samples, situation, heard.offset, heard.rate
    )
