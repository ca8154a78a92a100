"""Measuring sound: pitch, decay, clicks, loudness and peaks, all by other means than the synthesis has.

In: arrays of samples. Out: numbers. numpy only. Knows notes just enough to make some (`note`, `string_of`).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from lickwright.music.instruments import INSTRUMENTS, Guitar
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.synth.automation import Planner, StringAutomation
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.loudness import normalize_loudness
from lickwright.synth.pitch_warp import WarpedString
from lickwright.synth.stiffness import string_dispersion
from lickwright.synth.wave import StereoSamples
from lickwright.synth.wave import Wave as Recording
from lickwright.synth.waveguide import DelayLoop

Wave = NDArray[np.float64]

OPEN = (64, 59, 55, 50, 45, 40)  # MIDI pitches of the six strings


def note(start: float, end: float, pitch: float, string: int = 1, **more: object) -> NoteEvent:
    """A picked note, mf, unless `more` says otherwise."""
    plain = NoteEvent(0, 0, start, end, string, pitch, 0.63, Stroke.PICK, False, Damping.NONE, 0.0, ())
    return plain._replace(**more)  # type: ignore[arg-type]


def string_of(
    notes: Sequence[NoteEvent], rate: int, guitar: Guitar = INSTRUMENTS["clean"].guitar, open_pitch: float = 64
) -> Wave:
    """The first plane of the one string that plays `notes`, as it swings: before pick-up and amplifier."""
    stiff = string_dispersion(guitar, open_pitch, rate)
    count = int((max(n.end for n in notes) + 0.3) * rate)
    plan = plan_string(notes, open_pitch, guitar, rate)
    wave = WarpedString(DelayLoop(plan.motion, stiff=(stiff,)).samples, plan.warp).samples(0, count)
    assert wave is not None
    return wave


def plan_string(
    notes: Sequence[NoteEvent], open_pitch: float, guitar: Guitar, rate: int, feel: Humanizer | None = None
) -> StringAutomation:
    """Return the whole automation of a string tuned to `open_pitch` (MIDI) that plays `notes`, by start."""
    return Planner(notes, open_pitch, guitar, rate, feel).until(inf)


def normalize_samples(samples: StereoSamples, rate: int) -> StereoSamples:
    """Bring samples to the loudness of all recordings in place, and return them."""
    whole = Recording.of(samples)
    normalize_loudness(whole, rate)
    whole.settle()
    return samples


def cents(hertz: float, against: float) -> float:
    return 1200 * float(np.log2(hertz / against))


def hertz(pitch: float) -> float:
    return float(440 * 2 ** ((pitch - 69) / 12))


def first_partial(wave: Wave, rate: int, at: float, near: float, partial: int = 1) -> float:
    """Hertz of the first partial around second `at`, `near` being its pitch: how its phase moves on in a period, by heterodyne.

    Of a harmonic that leaves only every m-th partial, m is `partial`.

    The other partials of a stiff string are sharp, so that whatever looks at the whole wave reads some cents too much. A window of four periods
    whose spectrum is nothing at a distance of one partial and more (Blackman & Harris) hears the first alone.
    """
    size, step = round(4 * partial * rate / near), round(rate / near)
    turn = 2 * np.pi * np.arange(size) / size
    window = 0.35875 - 0.48829 * np.cos(turn) + 0.14128 * np.cos(2 * turn) - 0.01168 * np.cos(3 * turn)
    first = max(0, int(at * rate - (size + step) / 2))
    part = wave[first : first + size + step] * np.exp(-2j * np.pi * near / rate * np.arange(size + step))
    moved = np.angle((part[step:] * window).sum() * np.conj((part[:size] * window).sum()))
    return near + float(moved) / (2 * np.pi * step) * rate


def stiff_partial(number: int, base: float, stiff: float) -> float:
    """Hertz of a partial of a string whose first lies at `base` and whose B is `stiff`."""
    return number * base * ((1 + stiff * number**2) / (1 + stiff)) ** 0.5


def decay(wave: Wave, rate: int, partial: float, start: float, stop: float) -> float:
    """Seconds in which a partial at `partial` hertz loses 60 dB: slope of its level, by heterodyne, a straight line."""
    part = wave[int(start * rate) : int(stop * rate)]
    size = int(0.06 * rate)
    window = np.hanning(size)
    mixed = part * np.exp(-2j * np.pi * partial / rate * np.arange(len(part)))
    times, levels = [], []
    for at in range(0, len(part) - size, size // 2):
        times.append(at / rate)
        levels.append(20 * np.log10(abs((mixed[at : at + size] * window).sum()) + 1e-30))
    kept = np.array(levels) > max(levels) - 60
    slope = float(np.polyfit(np.array(times)[kept], np.array(levels)[kept], 1)[0])
    return -60 / slope


def level(wave: Wave, rate: int, start: float, stop: float) -> float:
    """Root mean square between two seconds."""
    return float(np.sqrt(np.mean(wave[int(start * rate) : int(stop * rate)] ** 2)))


def roughness(wave: Wave, rate: int, start: float, stop: float) -> float:
    """The largest second difference between two seconds: a click is large."""
    return float(np.abs(np.diff(wave[int(start * rate) : int(stop * rate)], 2)).max())


def tones(wave: Wave, rate: int, of: Sequence[float]) -> Wave:
    """Levels of some frequencies (hertz) in all of `wave`, by a window with very low side lobes."""
    n = len(wave)
    turn = 2 * np.pi * np.arange(n) / n
    window = 0.35875 - 0.48829 * np.cos(turn) + 0.14128 * np.cos(2 * turn) - 0.01168 * np.cos(3 * turn)
    spectrum = np.abs(np.fft.rfft(wave * window)) / window.sum() * 2
    found = []
    for one in of:
        line = one * n / rate
        found.append(float(spectrum[max(0, int(line) - 3) : int(line) + 5].max(initial=0.0)))
    return np.array(found)


def centroid(wave: Wave, rate: int, start: float, stop: float) -> float:
    """Hertz: the mean of the spectrum by power's root, the usual measure of brightness."""
    part = wave[int(start * rate) : int(stop * rate)]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    return float((spectrum * np.fft.rfftfreq(len(part), 1 / rate)).sum() / spectrum.sum())


def crest(wave: Wave) -> float:
    """Decibels of the peak above the root mean square."""
    return float(20 * np.log10(np.abs(wave).max() / np.sqrt(np.mean(wave**2))))


@lru_cache(maxsize=1)
def _weighting() -> Wave:
    """Impulse response at 48 kHz of ITU-R BS.1770-4's two filters, by the numbers of its tables 1 and 2."""
    heard = np.zeros(48_000)
    heard[0] = 1.0
    for b, a in (
        ((1.53512485958697, -2.69169618940638, 1.19839281085285), (-1.69065929318241, 0.73248077421585)),
        ((1.0, -2.0, 1.0), (-1.99004745483398, 0.99007225036621)),
    ):
        out = np.zeros(len(heard))
        x1 = x2 = y1 = y2 = 0.0
        for i, x in enumerate(heard.tolist()):
            y = b[0] * x + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2
            x1, x2, y1, y2 = x, x1, y, y1
            out[i] = y
        heard = out
    return heard


def lufs(wave: Wave) -> float:
    """Integrated loudness of (channels, samples) at 48 kHz, gated; blocks of 400 ms every 100 ms; −inf for silence."""
    count = wave.shape[1]
    size = 1 << (count + 48_000).bit_length()
    heard = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(_weighting(), size), size)[:, :count]
    if count < 19_200:
        heard = np.pad(heard, ((0, 0), (0, 19_200 - count)))
    summed = np.concatenate(([0.0], np.cumsum((heard**2).sum(axis=0))))
    starts = np.arange(0, heard.shape[1] - 19_200 + 1, 4_800)
    energy = (summed[starts + 19_200] - summed[starts]) / 19_200
    energy = energy[energy > 10 ** (-6.9309)]
    if not len(energy):
        return -float("inf")
    energy = energy[energy > energy.mean() / 10]
    return float(-0.691 + 10 * np.log10(energy.mean()))


def true_peak(wave: Wave) -> float:
    """dBTP of (channels, samples): eight times oversampled in one transform each."""
    top = 0.0
    for channel in wave:
        n = 1 << len(channel).bit_length()
        spectrum = np.fft.rfft(channel, n)
        top = max(top, float(np.abs(np.fft.irfft(spectrum, 8 * n) * 8).max()))
    return 20 * float(np.log10(max(top, 1e-12)))


def onset(wave: Wave, rate: int, near: float) -> float:
    """Seconds at which a stroke sets in around `near`: the first of the largest second differences of the 5 ms before and after it."""
    first = int((near - 0.005) * rate)
    rough = np.abs(np.diff(wave[first : first + int(0.01 * rate)], 2))
    return float((first + 2 + np.argmax(rough > 0.3 * rough.max())) / rate)
