"""All strings of a guitar together, at the pick-up or the bridge.

In: the notes of a lick, the open strings, a guitar. Out: samples, in pieces of any size. Each string swings in two planes, which differ a
little in pitch and much in decay, so that a held note beats and decays in two stages; they are added at the pick-up, a comb whose delay no fret changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lickwright.core.fast_dataclass import replace
from lickwright.music.instruments import Guitar, interpolate
from lickwright.music.pitch import frequency
from lickwright.performance.note_events import NoteEvent
from lickwright.synth.automation import Planner, StringAutomation
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.loop_filters import WIDE, Samples, loop_taps
from lickwright.synth.motion import Motion
from lickwright.synth.pitch_warp import WarpedString
from lickwright.synth.stiffness import Dispersion, string_dispersion
from lickwright.synth.waveguide import DelayLoop

_FREE = 0.6  # seconds: a string that loses 60 dB sooner is damped by a hand, in both planes alike
AHEAD, IN_TIME = 20.0, 1.5  # seconds planned at once; seconds that must be planned beyond the requested samples
OFF = 0.008  # seconds in which the volume is turned off before a swell


class Instrument:
    """A guitar while it plays. Ask for its samples from the first to the last."""

    def __init__(
        self,
        notes: Sequence[NoteEvent],
        tuning: Sequence[int],
        guitar: Guitar,
        rate: int,
        feel: Humanizer | None = None,
    ) -> None:
        self._rate = rate
        self._parts: list[tuple[Planner, StringVoice]] = []
        for string, of_string in notes_by_string(notes):
            planner = Planner(of_string, tuning[string - 1], guitar, rate, feel)
            self._parts.append((planner, StringVoice(planner.until(AHEAD * rate), tuning[string - 1], guitar, rate)))

    def samples(self, start: int, stop: int) -> Samples:
        """Return samples `start` to `stop` of all strings."""
        total = np.zeros(stop - start)
        for planner, voice in self._parts:
            if planner.known < (own := voice.string.place(stop)) + IN_TIME * self._rate:
                voice.go_on(planner.until(own + AHEAD * self._rate))
            part = voice.samples(start, stop)
            if part is not None:
                total += part
        return total


def notes_by_string(notes: Sequence[NoteEvent]) -> Iterator[tuple[int, list[NoteEvent]]]:
    """Yield the number and the notes of each string that plays, by number."""
    by_string: dict[int, list[NoteEvent]] = {}
    for note in notes:
        by_string.setdefault(note.string, []).append(note)
    yield from sorted(by_string.items())


class StringVoice:
    """One string, its two planes and the place where it is heard."""

    def __init__(self, plan: StringAutomation, open_pitch: float, guitar: Guitar, rate: int) -> None:
        self._guitar, self._rate = guitar, rate
        self._swells = list(plan.swells)
        first = string_dispersion(guitar, open_pitch, rate)
        second = Dispersion(first.stiffness * interpolate(guitar.second.stiffer, open_pitch), first.hertz, rate)
        self._stiff = (first, second)
        gain = 10 ** (interpolate(guitar.trim, open_pitch) / 20)
        shares = (gain, gain * guitar.second.strength)
        self._loop = DelayLoop(plan.motion, self._other(plan.motion), stiff=self._stiff, shares=shares)
        self.string = WarpedString(self._loop.samples, plan.warp)
        self._comb: Comb | None = None
        if guitar.pickup is not None:
            self._comb = Comb(guitar.pickup / (guitar.scale * frequency(open_pitch)) * rate)

    def go_on(self, plan: StringAutomation) -> None:
        """Add what happens to the string after all that is known."""
        self._swells += plan.swells
        self._loop.extend(plan.motion, self._other(plan.motion))
        self.string.extend(plan.warp)

    def _other(self, motion: Motion) -> Motion:
        """Return the motion in the second plane."""
        _, cents, lasting, _ = self._guitar.second
        turn = 2 * np.pi / motion.length
        gain = motion.g0 + 2 * motion.g1 * np.cos(turn)  # a period, at the fundamental
        gain *= 1 - 2 * motion.wide * (1 - np.cos(WIDE * turn))
        seconds = -3 * motion.length / self._rate / np.log10(np.clip(gain, 1e-12, 0.999999))
        less = np.where(seconds > _FREE, gain ** (1 / lasting - 1), 1.0)
        less = np.minimum(less, 0.9999 / (motion.g0 + 2 * motion.g1))
        hertz = (
            self._rate / motion.length
        )  # as good as its pitch, where but the difference of the planes' stiffness follows from it
        first, second = (stiff.longer(hertz, motion.stiff) for stiff in self._stiff)
        sharp = motion.length * second / first * 2 ** (-cents / 1200)
        return replace(motion, length=sharp, g0=motion.g0 * less, g1=motion.g1 * less)

    def samples(self, start: int, stop: int) -> Samples | None:
        """Return samples `start` to `stop`; None for silence."""
        heard = self.string.samples(start, stop)
        if heard is None:
            if self._comb is None or not self._comb.rings:
                return None
            heard = np.zeros(stop - start)
        if self._comb:
            heard = self._comb.heard(heard)
        self._swells = [swell for swell in self._swells if (swell.start + swell.length) * self._rate >= start - 1]
        if self._swells:
            heard = heard.copy()  # it may be the string's own memory
        for swell in self._swells:
            _swell(heard, start, swell.start * self._rate, swell.length * self._rate, OFF * self._rate)
        return heard


class Comb:
    """The string at the pick-up: what runs towards the bridge less what comes back from it, `delay` samples later."""

    def __init__(self, delay: float) -> None:
        firsts, taps = loop_taps(np.array([delay]), np.ones(1), np.zeros(1), None)
        self._taps = taps[-2:0:-1, 0].copy()  # the outer two are of a loss filter that is none
        self._past = np.zeros(int(firsts[0]) + len(self._taps))

    def heard(self, string: Samples) -> Samples:
        """Return the next samples at the pick-up, given those of the string."""
        known = np.concatenate((self._past, string))
        self._past = known[len(string) :].copy()
        heard: Samples = string - np.correlate(known[: len(string) + len(self._taps) - 1], self._taps, "valid")
        return heard

    @property
    def rings(self) -> bool:
        """True if samples of the string have yet to reach the pick-up a second time."""
        return bool(self._past.any())


def _swell(heard: Samples, start: int, at: float, length: float, off: float) -> None:
    """Turn the volume of `heard` down over `off` samples before sample `at`, and up again over `length` samples after it, in place."""
    first, last = max(0, round(at - off) - start), min(len(heard), round(at + length) - start)
    if first < last:
        time = np.arange(first, last) + start - at
        share = np.where(time < 0, -time / off, time / length)
        heard[first:last] *= (1 - np.cos(np.pi * np.clip(share, 0, 1))) / 2
