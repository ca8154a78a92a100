"""The font sets: our samples played by a synthesizer with a SoundFont, in rooms by mirror images, by students of less even time.

In: the name of a set and a number. Out: a `Case`. The second set is the first with other seeds.
"""

from __future__ import annotations

import numpy as np
from corpus import Case, licks
from font_player import sound_by_font
from guitar_strings import RATE
from image_rooms import PLACES
from mistakes import MISTAKES
from students import play_lick

FONTS = {"fonts": 50_000, "fonts-again": 70_000}  # and the seed of each
PROGRAMS = {"steel": 25, "nylon": 24, "clean": 27, "overdrive": 29, "jazz": 26}  # of General MIDI, from 0
_TWO = "two licks"  # another lick before the right one, or after it
_JITTER = (0.015, 0.04)  # seconds
_SILENCE = 0.5  # seconds before the music


def font_case(name: str, n: int) -> Case:
    """Return take number `n` of a set; every second has no mistake. Raises Unavailable."""
    random, mine = np.random.default_rng(FONTS[name] + n), licks()
    timeline, kinds = mine[(n * 7 + 3) % len(mine)], list(MISTAKES)
    single = map(str, random.permutation(kinds[:13]))
    mistakes = () if n % 2 == 0 else (*((kinds[13 + n // 4 % 2],) if n % 4 == 1 else ()), *single)
    tempo, how = float(random.choice([0.55, 0.7, 0.85, 1.0, 1.08])), n // 2 % 5
    tuning = float([0, random.uniform(-20, 20), -35, 0, random.uniform(-10, 10)][how])
    shift = int([0, 0, 0, random.choice([1, 2, 3]), 12 if n % 20 < 10 else 0][how])
    take = play_lick(
        timeline, random, mistakes, tempo, float(random.choice([0, 0.05, -0.05])), tuning, shift, 3, _JITTER
    )
    guitar = list(PROGRAMS)[int(random.integers(len(PROGRAMS)))]
    wave = sound_by_font(take, PROGRAMS[guitar], _SILENCE)
    take.onsets = {index: at + _SILENCE for index, at in take.onsets.items()}
    take.extras = [at + _SILENCE for at in take.extras]
    place, before = [*PLACES, _TWO][n % (len(PLACES) + 1)], 0.0
    if place == _TWO:
        other = play_lick(mine[(n * 5 + 1) % len(mine)], random, (), tempo, 0, tuning, 0)
        beside = sound_by_font(other, PROGRAMS[guitar], _SILENCE)
        first = n % 4 < 2
        before = len(beside) / RATE if first else 0.0
        wave = np.concatenate((beside, wave) if first else (wave, beside))
    heard = PLACES["dry" if place == _TWO else place](wave, random)
    title = f"{name} {n}: {timeline.title}, {guitar}, {place}"
    return Case(title, take, heard.samples, place, before + heard.offset, heard.rate)
