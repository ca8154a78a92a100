"""Amplifier: compressor, pick-up, valve, cabinet or wooden body, and a short room.

In: samples of all strings, piece by piece. Out: two channels, piece by piece, not yet normalized. All filters that follow one another are one impulse
response, which is applied by transforms (overlap-save); `valve.py` comes between two of these. Silent pieces are skipped. Filters are the
second-order sections of R. Bristow-Johnson.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lickwright.music.instruments import Filter, Guitar
from lickwright.synth import pulses
from lickwright.synth.compressor import Compressor
from lickwright.synth.loop_filters import Samples
from lickwright.synth.valve import LAG, Valve

Response: TypeAlias = NDArray[np.complex128]
Impulse: TypeAlias = NDArray[np.float32]

HOP = (
    40_960  # samples that the filters are applied to together: whole frames of the compressor, whole rows of the valve
)
MEMORY = 24_576  # samples that what comes after the valve remembers, half a second
BEFORE, SHORT = (
    4032,
    20_544,
)  # samples that what comes before it remembers, and that it is applied to together: 24,576 make a quick transform
SIZE = HOP + MEMORY  # samples of the transform in which responses are worked out
FADED = 0.25  # of what is remembered: the part at its end in which a response fades away
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
        self._curve = PICKUP_CURVE if guitar.pickup is not None else 0.0
        amount = 0.0 if dry else guitar.compression
        self._compressor = Compressor(amount, rate) if amount else None
        pre, post, linear = _responses(guitar, rate, dry)
        self._valve: Valve | None = None
        if guitar.drive > 0:
            self._valve, self._before = Valve(guitar.drive, guitar.bias), Convolution(pre, SHORT)
        self._after = Convolution(post if self._valve else linear, HOP)

    def play(self, samples: Callable[[int, int], Samples], count: int) -> Iterator[NDArray[np.float32]]:
        """Yield `count` samples of two channels, shape (2, n) each time; `samples(start, stop)` is asked for those of the strings in order."""
        lag, have = LAG if self._valve else 0, 0
        for at in range(0, count, HOP):
            keep = min(HOP, count - at)
            want = at + keep + lag
            wave = np.zeros(want - have, np.float32)
            if have < count:
                fresh = samples(have, min(want, count))
                if self._compressor:
                    fresh = self._compressor.turned_down(fresh)
                wave[: len(fresh)] = fresh + self._curve * fresh * fresh
            if self._valve:
                wave = self._valve.driven(self._before.heard(wave)[0])[-keep:]
            have = want
            yield self._after.heard(wave)


class Convolution:
    """A filter of one or two channels that are given by their impulse responses (overlap-save). Ask for its samples in order."""

    def __init__(self, responses: NDArray[np.float32], most: int) -> None:
        """Prepare for `responses`, shape (channels, n), to be applied to at most so many samples together."""
        self._most = most
        self._memory, self._size = responses.shape[1] - 1, responses.shape[1] + most
        self._spectra = np.fft.rfft(responses, self._size)
        self._past = np.zeros(self._memory, np.float32)

    def heard(self, wave: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the next samples, shape (channels, n), of as many that go in."""
        parts = [self._part(wave[start : start + self._most]) for start in range(0, len(wave), self._most)]
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)

    def _part(self, wave: NDArray[np.float32]) -> NDArray[np.float32]:
        known = np.concatenate((self._past, wave))
        self._past = known[len(wave) :]
        if max(known.max(), -known.min()) < SILENT:
            return np.zeros((len(self._spectra), len(wave)), np.float32)
        spectra = np.fft.rfft(known, self._size) * self._spectra
        heard = np.fft.irfft(spectra, self._size)[:, self._memory : self._memory + len(wave)]
        return heard.astype(np.float32, copy=False)


@lru_cache(maxsize=4)  # they take as long as a second of sound, and two megabytes
def _responses(guitar: Guitar, rate: int, dry: bool) -> tuple[Impulse, Impulse, Impulse]:
    """Return the impulse responses before the valve, after it (for two channels), and of both together, shape (channels, n) each."""
    bins = bin_frequencies(rate)
    pre, post = filter_response(guitar.pre, bins, rate), filter_response(guitar.post, bins, rate)
    if guitar.body:
        post = post * _body(guitar.body, bins)
    level = 0.0 if dry else 10 ** (guitar.room / 20)
    post = post * (10 ** (guitar.level / 20) * (1 + level * _room(rate)))
    return _impulse(pre[None], BEFORE), _impulse(post, MEMORY), _impulse(pre * post, MEMORY)


def _impulse(response: Response, count: int) -> Impulse:
    """Return the first `count` samples of what a response gives to an impulse; they fade away at their end."""
    fade = np.ones(count)
    fade[-int(FADED * count) :] = np.cos(np.linspace(0, np.pi / 2, int(FADED * count))) ** 2
    return (np.fft.irfft(response, SIZE)[:, :count] * fade).astype(np.float32)


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
    # Of each: level · jd / (1 − share² + jd), where d is share / q; in reals, which takes a third of the time.
    for hertz, q, level in modes:
        share = bins / hertz
        damped, stiff = share / q, 1 - share * share
        part = level * damped / (stiff * stiff + damped * damped)
        total.real += part * damped
        total.imag += part * stiff
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
