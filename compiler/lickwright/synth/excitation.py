"""The pulse of each kind of stroke, for a note, a guitar and the length of the string.

In: a note, a guitar, the string's period. Out: samples to be put into the loop, of strength 1 (`pulses.pulse_strength`); `automation` says how strong
each is. The constants are estimates.
"""

from __future__ import annotations

from functools import partial
from math import log2
from typing import NamedTuple

import numpy as np

from lickwright.music.instruments import Guitar, interpolate
from lickwright.music.pitch import frequency
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.synth import pulses
from lickwright.synth.loop_filters import Samples
from lickwright.synth.stiffness import Dispersion

LEVEL = 0.1  # root mean square of a string struck mf
LOUDER = 1.5  # amplitude is loudness to this power: 16 dB from pp to ff
MEDIUM = 0.63  # the loudness of mf
HARDER = 4.0  # how often the pick's edge halves from silence to full loudness
FARTHEST = 0.6  # of the sounding length: nobody strikes nearer to the fretting finger
ROUNDEST = 0.6  # of a period: an edge as long as a period would leave nothing
HAMMER, PULL = (
    0.0025,
    0.0012,
)  # seconds of the pulses of fingers that come down and that pull off, at most half a period


class StrokePulse(NamedTuple):
    """The factors by which a stroke differs from a pick's."""

    edge: float = 1.0  # of the guitar's
    noise: float = 1.0  # of the guitar's
    place: float = 1.0  # of the distance from the bridge


HITS = {
    Stroke.SNAP: StrokePulse(0.5, 2.5, 0.9),
    Stroke.POP: StrokePulse(0.45, 2.5, 0.8),
    Stroke.SLAP: StrokePulse(0.5, 3.0, 1.8),
    Stroke.SWELL: StrokePulse(1.5, 0.3),
    Stroke.TAP: StrokePulse(2.0, 1.0, 1.6),
    Stroke.HAMMER: StrokePulse(2.4, 0.8, 1.6),
    Stroke.PULL: StrokePulse(1.6, 0.8, 1.6),
}
_PLAIN, _PINCH = StrokePulse(), StrokePulse(0.5, 2.0, 0.8)
_DEAD_NOISE = 3.0  # of the guitar's


def stroke_amplitude(loudness: float) -> float:
    """Return the root mean square of a string struck at `loudness` (0 to 1)."""
    return float(LEVEL * (loudness / MEDIUM) ** LOUDER)


def pick_excitation(
    note: NoteEvent, guitar: Guitar, open_pitch: float, period: float, stiff: Dispersion, place: float, rate: int
) -> Samples:
    """Return the pulse of a pick, finger or thumb on a string tuned to `open_pitch`, of this stiffness, that sounds with a period of so many samples.

    `place` shifts the picking point, as a share of its distance from the bridge.
    """
    hit = HITS.get(note.stroke, _PLAIN)
    if note.partial > 1 and note.pitch - 12 * log2(note.partial) > open_pitch + 0.5:
        hit = _PINCH
    edge = min(guitar.edge * hit.edge * 2 ** (HARDER * (MEDIUM - note.loudness)), ROUNDEST * period / rate)
    distance = (guitar.palm if note.damping is Damping.PALM else guitar.pick) * hit.place * (1 + place)
    width = distance / (guitar.scale * frequency(open_pitch))  # seconds to the bridge and back
    farthest = (
        FARTHEST if note.partial == 1 else 0.5 / note.partial
    )  # a harmonic is picked where it swings widest, or nearer
    shape = pulses.pluck_pulse(min(width, farthest * period / rate), edge, period, rate)
    scratch = pulses.pick_noise(rate, round(note.start * 1000) + note.string, guitar.soft)
    scratch *= guitar.noise * hit.noise * (note.loudness / MEDIUM)
    if note.damping is Damping.DEAD:
        scratch *= _DEAD_NOISE
    if note.partial > 1:
        turns = partial(stiff.turns, rate / period)
        shape, scratch = (
            pulses.keep_partial(part, note.partial, period, lambda cycles: turns(cycles * rate))
            for part in (shape, scratch)
        )
    strength = pulses.pulse_strength(shape, period)
    both = np.zeros(max(len(shape), len(scratch)))
    both[: len(shape)] = shape
    both[: len(scratch)] += scratch
    return both / strength


def finger_excitation(stroke: Stroke, period: float, rate: int) -> Samples:
    """Return the pulse of a finger that comes down on a sounding string, or leaves it."""
    length = PULL if stroke is Stroke.PULL else HAMMER
    shape = pulses.hump_pair(min(length, period / rate / 2), rate)
    return shape / pulses.pulse_strength(shape, period)


class Scrape:
    """The pick's edge over one winding after the other, faster and faster; computed a slice at a time, since it can last for minutes."""

    def __init__(self, note: NoteEvent, strength: float, rate: int) -> None:
        self._count = max(2, round((note.end - note.start) * rate))
        self._seed, self._strength, self._rate = note.sound, strength, rate

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, part: slice) -> Samples:
        """Return the samples of a slice without a step."""
        start, stop, _ = part.indices(self._count)
        first = max(0, start - 2)  # two differences reach so far back
        time = np.arange(first, stop) / self._rate
        share = time / ((self._count - 1) / self._rate)
        ticks = np.diff(np.floor(time * (300 + 600 * share)), prepend=0.0)
        rough = ticks + 0.3 * pulses.white_noise(len(time), self._seed, first)
        scrape: Samples = 3.0 * np.diff(rough * np.sin(np.pi * share) ** 0.5, prepend=0.0)
        return scrape[start - first :] * self._strength


_WINDING = (
    (28.0, 0.55e-3),
    (40.0, 0.40e-3),
    (55.0, 0.15e-3),
)  # (open string's MIDI pitch, meters from one winding to the next)
_TONE, _ROUGH = 0.5, 0.7  # shares of the windings that pass and of the skin
_RESONANCE, _SHARP, _DULL = (
    (1.0, 0.6, 0.35),
    10.0,
    0.3,
)  # strengths of the resonances, their Q, and what is let through beside them
_LOWEST = 500.0  # hertz of the noise
_RINGS = 0.004  # seconds that the resonances go on


def winding_noise(
    distance: float, count: int, rate: int, seed: int, open_pitch: float, resonance: float, period: float = 0.0
) -> Samples:
    """Return the noise of a finger that moves `distance` meters along a wound string in `count` samples, 1 strong at a meter a second.

    Windings that pass under the finger give a tone that rises and falls with its speed, over rough noise; resonances of the string along its length,
    multiples of `resonance` (hertz), stand out: the two parts that handling noise on wound strings was found to have (Pakarinen, Penttinen & Bank 2007).
    With a `period` it is heard once only in a loop of so many samples, since the finger that moves damps the string. Its mean is 0.
    """
    way = (np.arange(count) + 0.5) / count
    speed = distance * rate / count * np.pi / 2 * np.sin(np.pi * way)
    winding = interpolate(_WINDING, open_pitch)
    audible = np.clip(2.0 - speed / winding / (0.2 * rate), 0.0, 1.0)  # no tone above what the samples hold
    passed = distance / winding * (1 - np.cos(np.pi * way)) / 2
    rough = pulses.white_noise(count, seed)
    rub = (_TONE * 2**0.5 * audible * np.sin(2 * np.pi * passed) + _ROUGH * 3**0.5 * rough) * speed
    longer = count + int(_RINGS * rate) + int(period)
    size = 1 << longer.bit_length()
    lines = np.fft.rfftfreq(size, 1 / rate)
    heard = np.full(len(lines), _DULL)
    for n, strength in enumerate(_RESONANCE, 1):
        off = _SHARP * (lines / (n * resonance) - n * resonance / np.maximum(lines, 1.0))
        heard += strength / np.sqrt(1 + off**2)
    heard *= lines**2 / (lines**2 + _LOWEST**2)
    spectrum = np.fft.rfft(rub, size) * heard
    if period:
        spectrum *= 1 - np.exp(-2j * np.pi * lines * period / rate)
    found: Samples = np.fft.irfft(spectrum, size)[:longer]
    return found
