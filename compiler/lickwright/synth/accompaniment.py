"""What sounds beside the guitar: the click, and a plain pad that holds the chords.

In: clicks and chords in seconds. Out: samples of one channel, piece by piece. Both are soft, so that nothing startles in
headphones. All levels and times are estimates.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.music.pitch import frequency
from lickwright.synth.arrangement import Click, HeldChord
from lickwright.synth.loop_filters import Samples

CLICK, CLICK_FIRST = 0.15, 0.22  # peak of a click; of a bar's first
HERTZ, HERTZ_FIRST = 1180.0, 1570.0
LENGTH, DECAY, ATTACK = 0.06, 0.011, 0.0015  # seconds; of e-fold; until loudest
PAD = 0.016  # peak of one voice's fundamental: some 14 LU under a lick of -16 LUFS
PAD_IN, PAD_OUT = 0.08, 0.25  # seconds
_OVERTONES = (1.0, 0.4, 0.16, 0.07)  # of a voice
_BEATING = 0.35  # hertz by which its second half is sharp


def click_samples(first: bool, rate: int) -> Samples:
    """Return the samples of one click, a short decaying tone."""
    time = np.arange(int(LENGTH * rate)) / rate
    tone = np.sin(2 * np.pi * (HERTZ_FIRST if first else HERTZ) * time) * np.exp(-time / DECAY)
    tick: Samples = tone * np.clip(time / ATTACK, 0, 1) * (CLICK_FIRST if first else CLICK)
    return tick


def render_clicks(asked: Sequence[Click], start: int, stop: int, rate: int) -> Samples:
    """Return samples `start` to `stop` of the clicks."""
    wave = np.zeros(stop - start)
    for at, first in asked:
        begin = round(at * rate) - start
        if -LENGTH * rate < begin < len(wave):
            tick = click_samples(first, rate)[max(0, -begin) :]
            part = wave[max(0, begin) : max(0, begin) + len(tick)]
            part += tick[: len(part)]
    return wave


def render_pad(chords: Sequence[HeldChord], start: int, stop: int, rate: int) -> Samples:
    """Return samples `start` to `stop` of the chords."""
    wave = np.zeros(stop - start)
    for chord in chords:
        first = max(start, round(chord.start * rate))
        last = min(stop, round((chord.end + PAD_OUT) * rate))
        if first >= last:
            continue
        time = np.arange(first, last) / rate
        envelope = np.clip((time - chord.start) / PAD_IN, 0, 1) * np.clip((chord.end + PAD_OUT - time) / PAD_OUT, 0, 1)
        wave[first - start : last - start] += envelope * sum(_voice(pitch, time) for pitch in chord.pitches)
    return wave


def _voice(pitch: int, time: Samples) -> Samples:
    """Return one note of a chord: a fundamental and three overtones, twice, a little apart in pitch."""
    hertz = frequency(pitch)
    total = np.zeros(len(time))
    for tuned in (hertz, hertz + _BEATING):
        turn = np.exp(2j * np.pi * tuned * time)
        power = turn.copy()
        for level in _OVERTONES:
            total += level * power.imag
            power *= turn
    voice: Samples = total * (PAD / 2) * (110.0 / hertz) ** 0.3
    return voice
