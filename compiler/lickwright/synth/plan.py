"""From the notes of one string to what is done to it: how long it is, what damps it, what strikes it, at every moment.

In: the notes that one string plays, its open pitch, a guitar. Out: a `Plan`. All techniques are here and nowhere later: to the loop
they are curves and pulses. Rules of performance after Laurson et al. 2001; what a re-pick does, in this order: damp (the pick touches the
string), change the pitch, pluck. Another order leaves a chirp.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, log2
from typing import NamedTuple

import numpy as np

from lickwright.curves import Way, offsets
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance import Played
from lickwright.synth import strokes
from lickwright.synth.sounds import Guitar, between
from lickwright.synth.waveguide import Motion, Samples, losses


class Decay(NamedTuple):
    """Seconds in which a string loses 60 dB."""

    low: float  # at its fundamental
    high: float  # at 3 kHz


PALM, DEAD, CONTACT = Decay(0.45, 0.07), Decay(0.06, 0.025), Decay(0.04, 0.015)
STOPPED, CUT = Decay(0.12, 0.05), Decay(0.05, 0.025)  # a note that ends; a short one
STOPPING, CUTTING = 0.012, 0.005  # seconds until that is reached
TOUCH, SHIFT = (
    0.008,
    0.002,
)  # seconds before a stroke that the pick touches the string, and that the fretting finger is there
GONE = 0.2  # seconds after which a stopped string is still: 100 dB
CONTROL = 0.001  # seconds between two points of a pitch curve; 0.005 cents off a straight line in the quickest bend
SLIDING = 0.6  # of the decay times, while a finger slides
SQUEAK = 0.012  # of the stroke: noise of a finger that slides along a winding

MEDIUM = 0.63  # the loudness of mf
LEVEL = 0.1  # root mean square of a string struck mf
LOUDER = 1.5  # amplitude is loudness to this power: 16 dB from pp to ff
HARDER = 2.2  # how often the pick's edge halves from silence to full loudness
HAMMER, PULL = 0.0025, 0.0012  # seconds of the pulses of fingers that come down and that pull off
LEAST = {
    Stroke.HAMMER: 0.16,
    Stroke.PULL: 0.20,
    Stroke.TAP: 0.25,
}  # of a pick, that they give however loud the string is
PRESSED = tuple(LEAST)


class Hit(NamedTuple):
    """How a stroke differs from a pick's."""

    edge: float = 1.0  # of the guitar's
    noise: float = 1.0  # of the guitar's
    place: float = 1.0  # of the distance from the bridge


HITS = {
    Stroke.SNAP: Hit(0.35, 3.0, 0.8),
    Stroke.POP: Hit(0.3, 2.5, 0.6),
    Stroke.SLAP: Hit(0.5, 3.0, 1.8),
    Stroke.SWELL: Hit(1.5, 0.3),
    Stroke.TAP: Hit(2.0, 1.0, 1.6),
    Stroke.HAMMER: Hit(2.4, 0.8, 1.6),
    Stroke.PULL: Hit(1.6, 0.8, 1.6),
}
_PLAIN = Hit()
_DEAD_NOISE = 3.0  # of the guitar's
_PINCH = Hit(0.5, 2.0, 0.8)


class Swell(NamedTuple):
    """A stroke with the volume off, then turned up."""

    start: float  # seconds
    length: float  # seconds until full


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that happens to one string."""

    motion: Motion
    swells: tuple[Swell, ...]


class Feel(NamedTuple):
    """Small variation from stroke to stroke, the same for the same seed."""

    seed: int
    loudness: float = 0.08  # at most, of a note's own, up or down
    place: float = 0.06  # of the distance from the bridge
    time: float = 0.002  # seconds late or early

    def turn(self, string: int, index: int, what: int) -> float:
        """Between −1 and 1."""
        return float(strokes.noise(1, self.seed * 1_000_003 + string * 65_537 + index * 7 + what)[0])


def plan(notes: Sequence[Played], open_pitch: float, guitar: Guitar, rate: int, feel: Feel | None = None) -> Plan:
    """What happens to a string tuned to `open_pitch` (MIDI) that plays `notes`, by start, at `rate` samples a second."""
    planner = _Planner(open_pitch, guitar, rate)
    for n, note in enumerate(notes):
        if feel is not None:
            note = _varied(note, feel, n)
        planner.play(
            note, notes[n + 1] if n + 1 < len(notes) else None, feel.turn(note.string, n, 2) * feel.place if feel else 0
        )
    return planner.plan()


def _varied(note: Played, feel: Feel, n: int) -> Played:
    loudness = min(1.0, note.loudness * (1 + feel.loudness * feel.turn(note.string, n, 0)))
    return note._replace(loudness=loudness)


def amplitude(loudness: float) -> float:
    """Root mean square of a string struck at `loudness` (0 to 1)."""
    return float(LEVEL * (loudness / MEDIUM) ** LOUDER)


def _goes_on(note: Played) -> bool:
    return note.joined and note.stroke is Stroke.NONE


def _takes_over(note: Played, hertz: float) -> float:
    """Seconds at which a note begins to change what its string does."""
    if note.stroke in PRESSED:
        return note.start
    if _goes_on(note):
        return note.start + 0.5 / hertz
    return note.start - TOUCH


class _Planner:
    """Goes through the notes of one string in order."""

    def __init__(self, open_pitch: float, guitar: Guitar, rate: int) -> None:
        self._open, self._guitar, self._rate = open_pitch, guitar, rate
        self._delay = 1 / (guitar.scale * _hertz(open_pitch))  # seconds a metre of distance from the bridge
        self._knots: list[tuple[int, float, float, float]] = []  # sample, hertz, decay low and high
        self._pulses: list[tuple[int, Samples]] = []
        self._spans: list[list[int]] = []
        self._swells: list[Swell] = []
        self._still = -1.0  # seconds from which on the string does not sound
        self._now = (_hertz(open_pitch), Decay(1.0, 1.0))  # what the note before left it at
        self._level = (0.0, 0.0, 1.0)  # how strongly it swings, since when (seconds), and how long it lasts (decay low)

    def plan(self) -> Plan:
        """Everything so far."""
        self._close()
        at, hertz, low, high = (
            (np.array(column, dtype=float) for column in zip(*self._knots, strict=True))
            if self._knots
            else (np.zeros(0),) * 4
        )
        g0, g1 = losses(hertz, low, high, self._rate)
        spans = tuple((start, stop) for start, stop in self._spans)
        pulses = tuple(sorted(self._pulses, key=lambda pulse: pulse[0]))
        return Plan(Motion(at.astype(np.int64), self._rate / hertz, g0, g1, pulses, spans), tuple(self._swells))

    def play(self, note: Played, following: Played | None, place: float) -> None:
        """One note, until `following` takes over; `place` is by how much it is picked elsewhere."""
        pitch = note.pitch - 12 * log2(note.partial)  # of the whole string, where a harmonic sounds
        hertz = _hertz(pitch + (offsets(note.moves, [note.start])[0] if note.moves else 0.0))
        decay = self._decay(note, pitch)
        cut = _takes_over(following, hertz) if following is not None else float("inf")
        sounding = self._still > note.start - TOUCH
        self._begin(note, hertz, decay, sounding)
        self._strike(note, hertz, decay, sounding, place)
        last = self._bend(note, pitch, decay, cut)
        self._end(note, last or hertz, decay, cut, following)

    def _decay(self, note: Played, pitch: float) -> Decay:
        match note.damping:
            case Damping.PALM:
                return PALM
            case Damping.DEAD:
                return DEAD
        if note.stroke is Stroke.SCRAPE:
            return DEAD
        low, high = between(self._guitar.low, self._open), between(self._guitar.high, self._open)
        return Decay(float(low * 2 ** (-max(0.0, pitch - self._open) / 24)), high)

    def _add(self, seconds: float, hertz: float, decay: Decay) -> None:
        """A knot, at least one sample after the one before."""
        at = round(seconds * self._rate)
        if self._knots and at <= self._knots[-1][0]:
            at = self._knots[-1][0] + 1
        self._knots.append((at, hertz, *decay))

    def _begin(self, note: Played, hertz: float, decay: Decay, sounding: bool) -> None:
        """The way from what the string did before to what the note wants."""
        before, damped = self._now
        sample = 1 / self._rate
        if not sounding:
            self._close()
            self._spans.append([round(note.start * self._rate), 0])
            self._add(note.start, hertz, decay)
        elif _goes_on(note):
            self._add(note.start + 0.5 / hertz, hertz, decay)
        elif note.stroke in PRESSED:  # over one period of the new length: a plain jump clicks, or loses the note
            self._add(note.start, before, damped)
            self._add(note.start + 1 / hertz, hertz, decay)
        else:
            self._add(note.start - TOUCH, before, damped)
            self._add(note.start - TOUCH + sample, before, CONTACT)
            self._add(note.start - SHIFT, before, CONTACT)
            self._add(note.start - SHIFT + sample, hertz, CONTACT)
            self._add(note.start - sample, hertz, CONTACT)
            self._add(note.start, hertz, decay)

    def _close(self) -> None:
        if self._spans:
            self._spans[-1][1] = round(self._still * self._rate)

    def _strike(self, note: Played, hertz: float, decay: Decay, sounding: bool, place: float) -> None:
        """The pulse that sets the string going, as strong as the note is loud."""
        wanted = amplitude(note.loudness)
        level, since, lasts = self._level
        have = level * 10 ** (-3 * (note.start - since) / lasts) if sounding else 0.0
        if _goes_on(note) and sounding:
            self._level = (have, note.start, decay.low)
            return
        at, period = round(note.start * self._rate), self._rate / hertz
        if note.stroke is Stroke.SCRAPE:
            self._scrape(note, wanted)
        elif note.stroke in PRESSED and have > 0.1 * wanted:
            shape = strokes.push(PULL if note.stroke is Stroke.PULL else HAMMER, self._rate)
            wanted = max(LEAST[note.stroke] * wanted, (max(0.0, wanted**2 - have**2)) ** 0.5)
            self._pulses.append((at, shape * (wanted / strokes.strength(shape, period))))
            wanted = (wanted**2 + have**2) ** 0.5
        else:
            self._pulses.append((at, self._pluck(note, period, wanted, place, at)))
        self._level = (wanted, note.start, decay.low)
        if note.fade_in:
            self._swells.append(Swell(note.start, note.fade_in))

    def _pluck(self, note: Played, period: float, wanted: float, place: float, seed: int) -> Samples:
        guitar, hit = self._guitar, HITS.get(note.stroke, _PLAIN)
        if note.partial > 1 and note.pitch - 12 * log2(note.partial) > self._open + 0.5:
            hit = _PINCH
        edge = guitar.edge * hit.edge * 2 ** (HARDER * (MEDIUM - note.loudness))
        distance = (guitar.palm if note.damping is Damping.PALM else guitar.pick) * hit.place * (1 + place)
        shape = strokes.pluck(distance * self._delay, edge, period, note.partial, self._rate)
        shape *= wanted / max(strokes.strength(shape, period), 0.05)
        scratch = strokes.scratch(self._rate, seed + note.string)
        level = guitar.noise * hit.noise * (_DEAD_NOISE if note.damping is Damping.DEAD else 1.0)
        both = np.zeros(max(len(shape), len(scratch)))
        both[: len(shape)] = shape
        both[: len(scratch)] += scratch * level * shape.max()
        return both

    def _scrape(self, note: Played, wanted: float) -> None:
        """The pick's edge over one winding after the other, faster and faster."""
        time = np.arange(round((note.end - note.start) * self._rate)) / self._rate
        share = time / max(time[-1], 1e-9) if len(time) else time
        windings = np.floor(time * (300 + 600 * share))
        ticks = np.diff(windings, prepend=0.0)
        shape = (ticks + 0.3 * strokes.noise(len(time), note.sound)) * np.sin(np.pi * share) ** 0.5
        self._pulses.append((round(note.start * self._rate), shape * wanted))

    def _bend(self, note: Played, pitch: float, decay: Decay, cut: float) -> float | None:
        """The pitch curve of a note as knots, until `cut`; where it ends (hertz), None where it does not move.

        The loop leads its curve by half a period, so each knot comes that much later.
        """
        if not note.moves:
            return None
        times = sorted(_instants(note))
        values = offsets(note.moves, times)
        slides = [(move.start, move.end) for move in note.moves if move.way is Way.FRETS]
        hertz = _hertz(pitch)
        for time, value in zip(times, values, strict=True):
            hertz = _hertz(pitch + value)
            if time <= note.start:
                continue
            if time + 0.5 / hertz >= cut:
                break
            sliding = any(start < time < end for start, end in slides)
            self._add(time + 0.5 / hertz, hertz, Decay(decay.low * SLIDING, decay.high * SLIDING) if sliding else decay)
        if self._open < self._guitar.wound_below:
            for start, end in slides:
                self._squeak(note, start, min(end, cut))
        return hertz

    def _squeak(self, note: Played, start: float, end: float) -> None:
        count = round((end - start) * self._rate)
        if count > 0:
            shape = strokes.noise(count, note.sound + 11) * np.sin(np.pi * np.arange(count) / count)
            self._pulses.append((round(start * self._rate), shape * SQUEAK * amplitude(note.loudness)))

    def _end(self, note: Played, hertz: float, decay: Decay, cut: float, following: Played | None) -> None:
        """The note ends, unless the next one takes the string over as it sounds."""
        self._now = (hertz, decay)
        stopped, time = (CUT, CUTTING) if note.damping is Damping.SHORT else (STOPPED, STOPPING)
        taken = following is not None and (
            following.start <= note.end if following.joined or following.stroke in PRESSED else cut < note.end + time
        )
        if taken:
            self._still = max(cut, note.end) + 1.0
            return
        self._add(note.end, hertz, decay)
        decay = Decay(min(decay.low, stopped.low), min(decay.high, stopped.high))
        self._add(note.end + time, hertz, decay)
        self._still = note.end + time + GONE
        self._now = (hertz, decay)


def _instants(note: Played) -> set[float]:
    """Seconds at which a note's pitch curve is taken."""
    times: set[float] = set()
    for move in note.moves:
        count = ceil((move.end - move.start) / CONTROL)
        times.update(
            move.start + (move.end - move.start) * i / count for i in range(count + 1)
        ) if count else times.add(move.start)
        if not count and move.start > note.start:
            times.add(move.start - CONTROL)
    return {time for time in times if time <= note.end}


def _hertz(pitch: float) -> float:
    return float(440.0 * 2 ** ((pitch - 69) / 12))


def strings(notes: Sequence[Played]) -> Iterator[tuple[int, list[Played]]]:
    """The notes of each string that plays, string by string."""
    by_string: dict[int, list[Played]] = {}
    for note in notes:
        by_string.setdefault(note.string, []).append(note)
    yield from sorted(by_string.items())
