"""What is measured of a recording, frame by frame: pitch, clarity, level, and how much of the spectrum is new.

In: a `Recording`. Out: `Features`, arrays with one value each `HOP` samples, and the energy of the high band each millisecond. Worked out in
blocks, so that memory does not grow with the length but for these arrays: 4 MB for ten minutes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import record
from lickwright.listen import pitch
from lickwright.listen.recording import RATE, Recording, Samples

HOP = 128  # samples, 5.3 ms
FRAME = HOP / RATE  # seconds
MILLISECOND = RATE // 1000  # samples
_BLOCK = 1_023  # frames: whole milliseconds
_WINDOW = 1_024  # samples of a spectrum, 43 ms
_EARLY = _WINDOW // 2 // HOP  # frames before the first whose windows reach into the recording
_LAG = 2  # frames between the two spectra that are compared
_SOFTEST = 10 ** (-50 / 20)  # against the loudest partials: what is softer adds little to the change

Values = NDArray[np.float32]


@record
class Features:
    """Measurements of a recording; frame i stands for the instant `i * HOP` samples."""

    pitch: Values  # MIDI; only as good as `clarity`
    clarity: Values  # 0 to 1
    level: Values  # decibels, full scale is 0
    flux: Values  # how much of the spectrum is new, 0 and up
    crisp: Values  # energy of the high band, a value a millisecond
    crisp_floor: float  # the energy of the high band that is always there
    noise: float  # decibels: the level of what is always there
    loud: float  # decibels: the level of the loudest tenth


def measure_recording(recording: Recording) -> Features:
    """Return the features of a recording, silence included."""
    count = max(1, recording.count // HOP)
    loudest = _loudest_partial(recording)
    parts = [_measure_block(recording, first, min(_BLOCK, count - first), loudest) for first in range(0, count, _BLOCK)]
    pitches, clarity, level, flux, crisp = (np.concatenate(column) for column in zip(*parts, strict=True))
    # The windows of frames before the first reach into the recording: what begins with it is new there.
    flux[0] = max(flux[0], float(_measure_block(recording, -_EARLY, _EARLY, loudest)[3].max()))
    floor = float(np.percentile(crisp, 5)) if len(crisp) else 0.0
    return Features(pitches, clarity, level, flux, crisp, floor, *_noise_and_loud(level))


def _noise_and_loud(level: Values) -> tuple[float, float]:
    loud = float(np.percentile(level, 95))
    noise = float(np.percentile(level, 3))
    return min(noise, loud - 20), loud


def _loudest_partial(recording: Recording) -> float:
    """Return the magnitude of the loudest bins of spectra, from a few hundred of them."""
    count = max(1, recording.count // _WINDOW)
    window = np.hanning(_WINDOW).astype(np.float32)
    found = []
    for at in range(0, count, max(1, count // 200)):
        wave = recording.read(at * _WINDOW, (at + 1) * _WINDOW)
        found.append(float(np.abs(np.fft.rfft(wave * window)).max()))
    return max(1e-6, float(np.percentile(found, 90)))


def _measure_block(recording: Recording, first: int, count: int, loudest: float) -> tuple[Values, ...]:
    """Return pitch, clarity, level, flux of `count` frames from `first` on, and the high band's energy meanwhile."""
    before = _WINDOW // 2 + _LAG * HOP
    start = first * HOP
    wave = recording.read(start - before, start + count * HOP + _WINDOW + pitch.WINDOW)
    pitches, clarity = pitch.frame_pitches(wave[before - pitch.BEFORE :], HOP, count)
    spectra = _compressed_spectra(wave, count + _LAG, loudest)
    change = np.maximum(spectra[_LAG:] - spectra[:-_LAG], 0).sum(axis=1)
    level = _levels(wave[before - 256 :], count)
    crisp = _high_energy(wave[before - 2 :], count * HOP // MILLISECOND)
    return pitches, clarity, level, change.astype(np.float32), crisp


def _compressed_spectra(wave: Samples, count: int, loudest: float) -> Values:
    """Return the logarithms of spectra, soft parts held down; frame i is centered at `i * HOP + _WINDOW / 2`."""
    frames = np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[::HOP][:count]
    spectra = np.abs(np.fft.rfft(frames * np.hanning(_WINDOW).astype(np.float32), axis=1))
    return np.log10(1 + spectra / (loudest * _SOFTEST)).astype(np.float32)


def _levels(wave: Samples, count: int) -> Values:
    """Return the level of 512 samples around each frame, in decibels."""
    power = np.concatenate(([0.0], np.cumsum(wave[: count * HOP + 512].astype(np.float64) ** 2)))
    at = np.arange(count) * HOP
    mean = (power[at + 512] - power[at]) / 512
    return (10 * np.log10(mean + 1e-12)).astype(np.float32)


def _high_energy(wave: Samples, count: int) -> Values:
    """Return the energy of the second difference, which lets 2 kHz and more through, in each of `count` milliseconds."""
    high = np.diff(wave[: count * MILLISECOND + 2], n=2)
    return np.asarray((high.reshape(count, MILLISECOND) ** 2).sum(axis=1), np.float32)
