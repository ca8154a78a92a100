"""The notes of one string as its length, its damping and its pulses over time.

In: the notes that one string plays, its open pitch, a guitar. Out: a `StringAutomation`. Techniques are handled here, in `excitation` and in
`damping`, and nowhere later: to the loop they are curves and pulses. Rules of performance after Laurson et al. 2001; the constants are estimates.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, pairwise
from math import ceil, inf, log2
from typing import NamedTuple

import numpy as np

from lickwright.core.fast_dataclass import record
from lickwright.music.instruments import Guitar, interpolate
from lickwright.music.pitch import frequency
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import CurveShape, PitchRamp, pitch_offsets
from lickwright.synth import damping, excitation
from lickwright.synth.damping import Decay, Knot
from lickwright.synth.humanizer import Humanizer, goes_on, vary_strokes
from lickwright.synth.loop_filters import Samples, loss_filter_taps
from lickwright.synth.motion import CELL, Motion, Pulse
from lickwright.synth.pitch_warp import StringTime, Warp, curve_instants
from lickwright.synth.stiffness import string_dispersion

GONE = 0.2  # seconds after which a stopped string is still: 100 dB
SAME = 2e-5  # share of a pitch that is no change of it: 0.03 cents
WINDOW = 8.0  # seconds of a pitch curve that are worked out together
SLIDING = 0.6  # of the decay times, while a finger slides
REACHING, A_METER = 0.06, 0.5  # seconds that the hand needs for another position, and more for each meter
REACHING_SHARE = 0.45  # of the note before, at most
LIFTED = 0.15  # seconds between two notes in which the hand is off the strings

LEAST = {Stroke.HAMMER: 0.09, Stroke.PULL: 0.14, Stroke.TAP: 0.1}  # of a pick: given however loud the string is
PRESSED = tuple(LEAST)


class Swell(NamedTuple):
    """A stroke with the volume off, then turned up."""

    start: float  # seconds
    length: float  # seconds until full


@record
class StringAutomation:
    """What one string does: its motion, how fast that is heard, and the strokes whose volume swells."""

    motion: Motion  # in samples of the string's own time
    swells: tuple[Swell, ...]
    warp: Warp  # how this time runs


class Planner:
    """Plans the notes of one string in order, as far as asked: a plan of half an hour would take gigabytes."""

    def __init__(
        self, notes: Sequence[NoteEvent], open_pitch: float, guitar: Guitar, rate: int, feel: Humanizer | None = None
    ) -> None:
        self._open, self._guitar, self._rate = open_pitch, guitar, rate
        self._stiff = string_dispersion(guitar, open_pitch, rate)
        self._time = StringTime()
        self._knots: list[Samples] = []  # shape (4, n): the string's sample, its own hertz, decay low and high
        self._last = -1  # the string's sample until which all knots are known, or that of the last
        self._hertz = frequency(open_pitch)  # of the last knot
        self._pace = 1.0  # of the string's time where the note began
        self._pulses: list[tuple[int, Pulse]] = []
        self._later: list[tuple[float, Pulse]] = []  # at seconds that have no place yet
        self._spans: list[tuple[int, float]] = []  # the last one without an end while it is not known
        self._cuts: list[tuple[int, int]] = []  # from the touch of a pick to its stroke
        self._swells: list[Swell] = []
        self._still = -1.0  # seconds from which on the string does not sound
        self._touched = 0.0  # seconds at which a pick touches it for the next stroke
        self._now = Knot(0.0, frequency(open_pitch), Decay(1.0, 1.0))  # what the note before left it at
        self._level = (0.0, 0.0, 1.0)  # how strongly it swings, since when (seconds), and its mean decay
        self._steps = self._play(notes, feel)
        self.known = 0.0  # the string's sample until which everything is given; infinity when there is nothing more

    def until(self, sample: float) -> StringAutomation:
        """Return what happens after all that was returned before, until its `sample` or later. A pulse can come some milliseconds too late for that."""
        while (known := self._last // CELL * CELL) < sample:
            if next(self._steps, None) is None:
                break
        else:
            return self._give(known)
        self._close()
        return self._give(inf)

    def _give(self, known: float) -> StringAutomation:
        at, hertz, low, high = np.concatenate(self._knots, axis=1) if self._knots else np.zeros((4, 0))
        taps, stiff = loss_filter_taps(hertz, low, high, self._rate), self._stiff.share(hertz)
        length = self._rate / hertz * self._stiff.longer(hertz, stiff)
        spans = [(int(max(start, self.known)), min(stop, known)) for start, stop in self._spans]
        inside = tuple((start, int(stop)) for start, stop in spans if start < stop)
        pulses = tuple(sorted(self._pulses, key=lambda pulse: pulse[0]))
        motion = Motion(at.astype(np.int64), length, *taps, stiff, pulses, inside, tuple(self._cuts))
        found = StringAutomation(motion, tuple(self._swells), self._time.given())
        self._knots, self._pulses, self._cuts, self._swells = [], [], [], []
        self._spans = [span for span in self._spans if span[1] > known]
        self.known = known
        return found

    def _play(self, notes: Iterable[NoteEvent], feel: Humanizer | None) -> Iterator[bool]:
        """Plan all notes; yields after each, and every `WINDOW` seconds within a long one."""
        if feel is not None:
            notes = vary_strokes(notes, feel)
        note = None
        for n, following in enumerate(chain(notes, (None,))):
            if note is not None:
                yield from self._note(note, following, feel.turn(note.string, n - 1, 2) * feel.place if feel else 0.0)
                yield True
            note = following

    def _note(self, note: NoteEvent, following: NoteEvent | None, place: float) -> Iterator[bool]:
        """Plan one note, until `following` takes over; `place` shifts the picking point, as a share of its distance."""
        pitch = note.pitch - 12 * log2(note.partial)  # of the whole string, where a harmonic sounds
        hertz = frequency(pitch + (pitch_offsets(note.moves, [note.start])[0] if note.moves else 0.0))
        decay = self._decay(note, pitch)
        self._begin(note, hertz, decay)
        self._strike(note, hertz, decay, place)
        cut = _takes_over(note, following, hertz) if following is not None else inf
        if following is not None and following.shift and following.start - note.end <= LIFTED:
            self._shift(pitch, note, following, min(cut, following.start))
        last = hertz
        for begin, until in _windows(note):
            last = self._bend(note, pitch, decay, begin, until, cut) or last
            self._place_noises(until)
            yield True
        self._end(note, last, decay, cut, following)

    def _decay(self, note: NoteEvent, pitch: float) -> Decay:
        if note.damping is Damping.DEAD or note.stroke is Stroke.SCRAPE:
            return damping.DEAD
        low, high = interpolate(self._guitar.low, self._open), interpolate(self._guitar.high, self._open)
        own = Decay(float(low * 2 ** (-max(0.0, pitch - self._open) / 24)), high)
        return own.shorter(damping.PALM) if note.damping is Damping.PALM else own

    def _add(self, seconds: float, hertz: float, decay: Decay) -> None:
        """Add a knot for what is heard, at least one sample after the one before."""
        sample = round(seconds * self._rate)
        own = hertz / self._time.pace(sample)
        if abs(own - self._hertz) > SAME * own:
            self._hertz = own
        self._last = max(round(self._time.place(sample)), self._last + 1)
        self._knots.append(np.array(((self._last,), (self._hertz,), (decay.low,), (decay.high,))))

    def _begin(self, note: NoteEvent, hertz: float, decay: Decay) -> None:
        """Add the knots from the state of the string before to that of the note."""
        before, after = self._now._replace(seconds=note.start), Knot(note.start, hertz, decay)
        knots: Iterable[Knot] = (after,)
        if not self._sounds(note):
            self._close()
            self._anew(note)
        elif goes_on(note):
            knots = (before, after._replace(seconds=note.start + 0.5 / hertz))
        elif note.stroke in PRESSED:
            knots = damping.finger_damping(note.start, before, after, self._pressed_anew(note))
        else:
            self._add(note.start - 1 / self._rate, before.hertz, before.decay)
            touched = self._time.place(min(self._touched, note.start - damping.TOUCH_SHORTEST) * self._rate)
            self._anew(note, round(touched))
        for knot in knots:
            self._add(*knot)
        self._pace = self._time.pace(round(note.start * self._rate))

    def _anew(self, note: NoteEvent, touched: int | None = None) -> None:
        """Let the string begin anew with a note, heard as it swings. One that sounds is stopped from its sample `touched` on."""
        self._time.restart(round(note.start * self._rate), self._last + 1)
        start = round(self._time.place(round(note.start * self._rate)))
        if touched is not None:
            self._spans[-1] = (self._spans[-1][0], start)
        self._spans.append((start, inf))
        self._cuts.append((start if touched is None else touched, start))

    def _have(self, note: NoteEvent) -> float:
        """Return the root mean square of the string when a note begins."""
        level, since, lasts = self._level
        return level * 10 ** (-3 * (note.start - since) / lasts) if self._sounds(note) else 0.0

    def _pressed_anew(self, note: NoteEvent) -> bool:
        """Return whether a finger damps the string as it comes down: a tap always, else where the note is to be louder than the string is."""
        alone = (1 - LEAST[note.stroke] ** 2) ** 0.5  # with the least that it gives, this is as loud as wanted
        return note.stroke is Stroke.TAP or bool(self._have(note) < excitation.stroke_amplitude(note.loudness) * alone)

    def _sounds(self, note: NoteEvent) -> bool:
        """Return whether the string still sounds when a note begins."""
        return self._still > note.start - damping.TOUCH_LEAST

    def _close(self) -> None:
        if self._spans and self._spans[-1][1] == inf:
            self._spans[-1] = (self._spans[-1][0], round(self._time.place(round(self._still * self._rate))))

    def _strike(self, note: NoteEvent, hertz: float, decay: Decay, place: float) -> None:
        """Add the pulse of the stroke, as strong as the note is loud."""
        wanted, have = excitation.stroke_amplitude(note.loudness), self._have(note)
        if goes_on(note) and have:
            self._level = (have, note.start, decay.mean)
            return
        period = self._rate * self._pace / hertz
        shape: Pulse
        if note.stroke is Stroke.SCRAPE:
            shape = excitation.Scrape(note, wanted, self._rate)
        elif note.stroke in PRESSED and have > 0.1 * wanted:
            if self._pressed_anew(note):
                have *= damping.SLAPPED
            more = max(LEAST[note.stroke] * wanted, (max(0.0, wanted**2 - have**2)) ** 0.5 - have)  # at worst in step
            shape = excitation.finger_excitation(note.stroke, period, self._rate) * more
            wanted = (more**2 + have**2) ** 0.5
        else:
            shape = (
                excitation.pick_excitation(note, self._guitar, self._open, period, self._stiff, place, self._rate)
                * wanted
            )
        self._pulses.append((round(self._time.place(round(note.start * self._rate))), shape))
        self._level = (wanted, note.start, decay.mean)
        if note.fade_in:
            self._swells.append(Swell(note.start, note.fade_in))

    def _bend(
        self, note: NoteEvent, pitch: float, decay: Decay, begin: float, until: float, cut: float
    ) -> float | None:
        """Add the pitch curve of a note from `begin` to `until`, up to `cut`; return where it ends (hertz), None where nothing moves.

        A finger that slides makes the string shorter; whatever else moves the pitch makes its time run faster.
        """
        slides = [move for move in note.moves if move.shape is CurveShape.FRETS]
        others = [move for move in note.moves if move.shape is not CurveShape.FRETS]
        at_first = pitch_offsets(others, [note.start])[0]
        times = curve_instants(others, begin, until)
        times = times[times < cut]
        paces = self._pace * 2 ** ((np.array(pitch_offsets(others, times.tolist())) - at_first) / 12)
        self._time.change(note.start * self._rate, times * self._rate, paces)
        moved = self._slide(note, slides, pitch + at_first, decay, begin, until, cut)
        if others:
            self._last = max(self._last, int(self._time.place(min(until, cut) * self._rate)) - 1)
        return self._hertz * self._time.pace(min(until, cut) * self._rate) if moved or len(times) else None

    def _slide(
        self,
        note: NoteEvent,
        slides: list[PitchRamp],
        pitch: float,
        decay: Decay,
        begin: float,
        until: float,
        cut: float,
    ) -> bool:
        """Add the knots of a finger that slides along the string from `pitch`; return whether there are any.

        The loop leads its curve by half a period, so each knot comes that much later.
        """
        times = curve_instants(slides, begin, until)
        hertz = frequency(pitch) * 2 ** (np.array(pitch_offsets(slides, times.tolist())) / 12) / self._pace
        kept = times + 0.5 / hertz < cut
        times, hertz = times[kept], hertz[kept]
        if not len(times):
            return False
        knots = np.empty((4, len(times)))
        own = self._time.places((times + 0.5 / hertz) * self._rate)
        knots[0] = np.maximum(np.round(own), self._last + 1)
        count = np.arange(len(times))
        knots[0] = np.maximum.accumulate(knots[0] - count) + count  # at least a sample apart
        knots[1], knots[2], knots[3] = hertz, decay.low, decay.high
        for move in slides:
            knots[2:, (times > move.start) & (times < move.end)] *= SLIDING
            if begin <= move.start < until:
                self._squeak(note, (pitch, pitch + move.change), move.start, min(move.end, cut))
        self._knots.append(knots)
        self._last, self._hertz = int(knots[0, -1]), float(hertz[-1])
        return True

    def _shift(self, pitch: float, note: NoteEvent, following: NoteEvent, end: float) -> None:
        """Add the noise of the finger that stopped `note` at `pitch` and goes along with the hand for `following`, until `end` (seconds)."""
        there = pitch + following.shift
        seconds = REACHING + A_METER * abs(self._length(there) - self._length(pitch))
        start = end - min(seconds, REACHING_SHARE * (end - note.start))
        self._squeak(following, (pitch, there), start, end, self._rate / frequency(pitch))

    def _length(self, pitch: float) -> float:
        """Return the meters of the string that sound at a pitch."""
        return float(self._guitar.scale * 2 ** ((self._open - pitch) / 12))

    def _squeak(
        self, note: NoteEvent, pitches: tuple[float, float], start: float, end: float, period: float = 0.0
    ) -> None:
        """Add the noise of a finger from one pitch to another, if the string is wound; with a `period` it stays out of the loop."""
        squeak, count = self._guitar.squeak, round((end - start) * self._rate)
        if squeak is None or self._open >= self._guitar.wound_below or count < 2:
            return
        here, there = map(self._length, pitches)
        seed = round(start * 1000) + 31 * note.string
        noise = excitation.winding_noise(abs(there - here), count, self._rate, seed, self._open, squeak.hertz, period)
        self._later.append((start, noise * (squeak.level * excitation.stroke_amplitude(note.loudness))))

    def _place_noises(self, until: float) -> None:
        """Place all noises that begin before second `until`."""
        for start, noise in self._later:
            if start < until:
                self._pulses.append((round(self._time.place(start * self._rate)), noise))
        self._later = [later for later in self._later if later[0] >= until]

    def _end(self, note: NoteEvent, hertz: float, decay: Decay, cut: float, following: NoteEvent | None) -> None:
        """Add the end of the note, unless the next one takes the string over while it sounds."""
        self._now, self._touched = Knot(note.end, hertz, decay), cut
        self._place_noises(inf)
        stopped, time = (
            (damping.CUT, damping.CUTTING) if note.damping is Damping.SHORT else (damping.STOPPED, damping.STOPPING)
        )
        taken = following is not None and (
            following.start <= note.end if following.joined or following.stroke in PRESSED else cut < note.end + time
        )
        if taken:
            self._still = max(cut, note.end) + 1.0
            return
        self._add(note.end, hertz, decay)
        decay = decay.shorter(stopped)
        self._still = note.end + time + GONE
        self._add(note.end + time, hertz, decay)
        self._add(self._still, hertz, decay)
        self._now = Knot(note.end, hertz, decay)


def _takes_over(note: NoteEvent, following: NoteEvent, hertz: float) -> float:
    """Return the seconds at which `following` begins to change the string that plays `note` at `hertz`."""
    if following.stroke in PRESSED:
        return following.start - 1 / hertz
    if goes_on(following):
        return following.start + 0.5 / hertz
    after = frequency(following.pitch - 12 * log2(following.partial))
    return following.start - damping.touch_time(following.start - note.start, hertz, after)


def _windows(note: NoteEvent) -> Iterator[tuple[float, float]]:
    """Yield the seconds between which the pitch curve of a note is computed together; nothing for a note that does not move."""
    count = ceil((note.end - note.start) / WINDOW) if note.moves else 0
    edges = [*(note.start + n * WINDOW for n in range(count)), note.end]
    return pairwise(edges)
