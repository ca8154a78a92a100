"""Amplifier: compressor, pick-up, valve, cabinet or wooden body, and a short room.

In: samples of all strings, piece by piece. Out: two channels, piece by piece, not yet normalized. All filters are applied in one
multiplication by their frequency response (overlap-save); the valve runs oversampled, between two of these. Silent pieces are skipped.
Filters are the second-order sections of R. Bristow-Johnson; the valve is a tanh with a small bias.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from math import ceil, log2
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lickwright.music.instruments import Filter, Guitar
from lickwright.synth import pulses
from lickwright.synth.compressor import Compressor
from lickwright.synth.loop_filters import Samples

Response: TypeAlias = NDArray[np.complex128]

SIZE = 1 << 16  # samples of one transform
MEMORY = 3 << 13  # samples that the filters and the room remember, half a second
EDGE = 512  # samples at either end of a transform that are faded, so that its ends meet
HOP = SIZE - MEMORY - EDGE  # new samples a transform
OVERSAMPLED, STEEPEST = 4, 1.0  # times at least; rise of the valve's input from sample to sample, at most
SILENT = 1e-7
PICKUP_CURVE = 0.15  # second-order part of a magnetic pick-up, against the string's velocity
ROOM_TIME, ROOM_LENGTH = 0.55, 0.4  # seconds in which the room falls by 60 dB; that are kept of it
ROOM_TAIL = 0.8  # energy of the tail at the sides against the early echoes', which is 1
ROOM_MIDDLE = 0.6  # of the room's energy at the sides: what is equal in both channels
_ECHOES = (
    (0.0063, 0.50),
    (0.0089, -0.44),
    (0.0131, 0.40),
    (0.0171, -0.36),
    (0.0224, -0.30),
    (0.0283, 0.27),
    (0.0359, -0.22),
    (0.0443, 0.18),
)  # seconds, level in the left channel; in the right one it is the opposite, so that both together do not sound hollow
_WOOD_FROM, _WOOD_TO, _WOOD_STEP = 480.0, 7000.0, 1.055  # the wood's higher resonances: from and to hertz, ratio
_WOOD_Q, _WOOD_LEVEL, _PLATE = 14.0, 0.2, 0.6  # of each of them; what the plate gives back at all frequencies alike


class Amp:
    """The filters and the valve of one guitar."""

    def __init__(self, guitar: Guitar, rate: int, dry: bool = False) -> None:
        """Prepare the filters of `guitar` at `rate` samples a second; `dry` leaves compressor and room out, for measuring."""
        self._guitar, self._rate = guitar, rate
        self._over = OVERSAMPLED
        self._compression = 0.0 if dry else guitar.compression
        self._pre, self._post, self._linear = _responses(guitar, rate, dry)

    def play(self, samples: Callable[[int, int], Samples], count: int) -> Iterator[NDArray[np.float32]]:
        """Yield `count` samples of two channels, shape (2, n) each time; `samples(start, stop)` is asked for those of the strings in order."""
        known = np.zeros(MEMORY)
        compressor = Compressor(self._compression, self._rate) if self._compression else None
        fade = np.sin(np.linspace(0, np.pi / 2, EDGE, endpoint=False)) ** 2
        for at in range(0, count, HOP):
            have = at - MEMORY + len(known)  # the sample number after the last known one
            want = min(at + HOP + EDGE, count)
            if want > have:
                fresh = samples(have, want)
                known = np.concatenate((known, compressor.turned_down(fresh) if compressor else fresh))
            block = np.zeros(SIZE)
            block[: min(SIZE, len(known))] = known[:SIZE]
            known = known[HOP:]
            keep = min(HOP, count - at)
            if max(block.max(), -block.min()) < SILENT:
                yield np.zeros((2, keep), np.float32)
                continue
            block[:EDGE] *= fade
            block[-EDGE:] *= fade[::-1]
            yield self._heard(block)[:, MEMORY : MEMORY + keep]

    def _heard(self, block: Samples) -> NDArray[np.float32]:
        if self._guitar.pickup is not None:
            block = block + PICKUP_CURVE * block * block
        spectrum = np.fft.rfft(block)
        driven = self._guitar.drive > 0
        heard = self._driven(spectrum * self._pre) * self._post if driven else spectrum * self._linear
        return np.fft.irfft(heard.astype(np.complex64), SIZE).astype(np.float32)

    def _driven(self, spectrum: Response) -> Response:
        """Return the spectrum after the valve.

        Aliases come from harmonics near the sampling rate, where those of tanh have fallen by exp(−π²/s), s being the steepest rise of its
        input from sample to sample. So the input is oversampled until that is 85 dB.
        """
        over = self._over
        wave = self._drives(spectrum, over)
        steepest = float(np.abs(np.diff(wave)).max())
        if steepest > STEEPEST:
            over *= min(16, 1 << ceil(log2(steepest / STEEPEST)))
            wave = self._drives(spectrum, over)
        self._over = (
            over if 2 * steepest > STEEPEST else max(OVERSAMPLED, over // 2)
        )  # the next piece will be like this one
        wave += self._guitar.bias
        np.tanh(wave, out=wave)
        driven: Response = np.fft.rfft(wave)[: SIZE // 2 + 1] / over
        return driven

    def _drives(self, spectrum: Response, over: int) -> NDArray[np.float32]:
        """Return the input of the valve, `over` times oversampled."""
        wave = np.fft.irfft(spectrum.astype(np.complex64), SIZE * over).astype(np.float32, copy=False)
        wave *= over * self._guitar.drive
        return wave


@lru_cache(maxsize=4)  # they take as long as a second of sound, and two megabytes
def _responses(guitar: Guitar, rate: int, dry: bool) -> tuple[Response, Response, Response]:
    """Return the responses before the valve, after it (for two channels), and of both together."""
    bins = bin_frequencies(rate)
    pre, post = filter_response(guitar.pre, bins, rate), filter_response(guitar.post, bins, rate)
    if guitar.body:
        post = post * _body(guitar.body, bins)
    level = 0.0 if dry else 10 ** (guitar.room / 20)
    post = post * (10 ** (guitar.level / 20) * (1 + level * _room(rate)))
    return pre, post, pre * post


def bin_frequencies(rate: int) -> Samples:
    """Return the frequency of each line of a transform's spectrum, in hertz."""
    return np.linspace(0.0, rate / 2, SIZE // 2 + 1)


def filter_response(filters: tuple[Filter, ...], bins: Samples, rate: int) -> Response:
    """Return the response of a chain of filters at frequencies `bins` (hertz)."""
    z = np.exp(-2j * np.pi * bins / rate)
    total = np.ones(len(bins), complex)
    for kind, hertz, q, decibels in filters:
        w = 2 * np.pi * hertz / rate
        cos, alpha, gain = np.cos(w), np.sin(w) / (2 * q), 10 ** (decibels / 40)
        if kind == "low-pass":
            b, a = ((1 - cos) / 2, 1 - cos, (1 - cos) / 2), (1 + alpha, -2 * cos, 1 - alpha)
        elif kind == "high-pass":
            b, a = ((1 + cos) / 2, -1 - cos, (1 + cos) / 2), (1 + alpha, -2 * cos, 1 - alpha)
        else:
            b, a = (1 + alpha * gain, -2 * cos, 1 - alpha * gain), (1 + alpha / gain, -2 * cos, 1 - alpha / gain)
        total *= (b[0] + b[1] * z + b[2] * z * z) / (a[0] + a[1] * z + a[2] * z * z)
    return total


def _body(lowest: tuple[tuple[float, float, float], ...], bins: Samples) -> Response:
    """Return the response of a wooden body: its lowest resonances as given, and above them weaker ones whose places and signs are scattered.

    The strings drive the bridge, and the plate answers with a sum of resonances over a broad part that falls off slowly.
    """
    modes = list(lowest)
    hertz, n = _WOOD_FROM, 0
    scatter = pulses.white_noise(256, 160)  # chosen among many: no note falls into a hole
    while hertz < _WOOD_TO:
        modes.append((hertz * (1 + 0.02 * scatter[n]), _WOOD_Q, _WOOD_LEVEL * (1 if scatter[n + 128] > 0 else -1)))
        hertz, n = hertz * _WOOD_STEP, n + 1
    total = np.full(len(bins), _PLATE + 0j)
    for hertz, q, level in modes:
        share = bins / hertz
        total += level * (1j * share / q) / (1 - share**2 + 1j * share / q)
    return total


def _room(rate: int) -> Response:
    """Return the response of a room, two channels: early echoes at the sides, and a decaying tail. Level 1 is the energy of the direct sound at the sides.

    What is at the sides cancels in one loudspeaker, where only the middle of the tail is left, which is too dense to sound like a comb.
    """
    count = min(int(ROOM_LENGTH * rate), MEMORY * 3 // 4)  # at most the samples that are remembered
    time = np.arange(count) / rate
    middle, side = (pulses.white_noise(count, seed) for seed in (101, 202))
    falling = 10 ** (-3 * time / ROOM_TIME) * np.clip((time - 0.012) / 0.03, 0, 1)
    middle, side = (tail * falling / np.sqrt(((tail * falling) ** 2).sum()) for tail in (middle, side))
    side *= ROOM_TAIL**0.5
    for seconds, level in _ECHOES:
        side[int(seconds * rate)] += level
    side /= np.sqrt((side**2).sum())
    middle *= ROOM_MIDDLE**0.5
    smooth = filter_response((Filter("high-pass", 150.0), Filter("low-pass", 4500.0)), bin_frequencies(rate), rate)
    wet: Response = np.fft.rfft(np.stack((middle + side, middle - side)), SIZE) * smooth
    return wet
