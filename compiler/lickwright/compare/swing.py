"""A swung phrase where it sounds, so that a shuffle can be compared with triplets or 12/8 that spell it out.

In: a Timeline. Out: one whose sounds are moved to where the feel puts them, on a finer grain; its bars and slots stay as
written, so only its sounds are of use. The middle of each swung pair moves, and what is fitted in between stays.
"""

from __future__ import annotations

from dataclasses import replace

from lickwright.layout import count_shift
from lickwright.timeline import Sound, Timeline


def swings(timeline: Timeline) -> bool:
    """Whether its pairs are long and short."""
    long, short = timeline.settings.feel.ratio
    return long != short


def as_heard(timeline: Timeline) -> Timeline:
    """The sounds where a player puts them."""
    if not swings(timeline):
        return timeline
    feel = timeline.settings.feel
    long, short = feel.ratio
    finer = long + short  # so many new grains to an old one
    half = int(feel.unit * timeline.grain)

    def moved(at: int, bar: int) -> int:
        """An instant as played, in new grains; `bar` is the instant that its pairs are counted from."""
        late = (at - bar) % (2 * half) == half
        return (at - half) * finer + 2 * half * long if late else at * finer

    def sounding(sound: Sound) -> Sound:
        bar = sound.start - timeline.slots[sound.slot].at - count_shift(timeline, timeline.bars[sound.bar])
        shapes = [replace(s, start=moved(s.start, bar), end=moved(s.end, bar)) for s in sound.shapes]
        return replace(sound, start=moved(sound.start, bar), end=moved(sound.end, bar), shapes=shapes)

    return replace(timeline, grain=timeline.grain * finer, sounds=tuple(map(sounding, timeline.sounds)))
