"""The goals of the sound, measured: one function a row, which the tests hold to its goal and `bench/sound.py` prints.

In: how much to measure. Out: the worst value found. Everything is measured by `sound_measure`, on one string's own signal where that says more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, product
from math import log2
from unittest.mock import patch

import numpy as np

from lickwright.core.fast_dataclass import replace
from lickwright.music.instruments import INSTRUMENTS, interpolate
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import CurveShape, PitchRamp, pitch_offsets
from lickwright.synth import waveguide
from lickwright.synth.excitation import stroke_amplitude
from lickwright.synth.guitar import Instrument, StringVoice, notes_by_string
from lickwright.synth.loop_filters import loop_taps
from lickwright.synth.motion import CELL, Motion
from lickwright.synth.stiffness import Dispersion, string_dispersion
from lickwright.synth.waveguide import DAMPS, WORTH, DelayLoop, cell_fade
from sound_measure import (
    OPEN,
    Wave,
    cents,
    decay,
    first_partial,
    hertz,
    level,
    note,
    onset,
    plan_string,
    roughness,
    stiff_partial,
    string_of,
    tones,
)
from sound_recordings import RATE, performances

SLOWEST = 90.0  # hertz: below, two periods last so long that an ideal tone bent as quickly reads 4 cents off and more


def pitch(rate: int, frets: Sequence[int]) -> float:
    """Cents that the worst fret of six strings is out of tune."""
    worst = 0.0
    for string, open_pitch in enumerate(OPEN, 1):
        for fret in frets:
            wave = string_of([note(0.01, 0.5, open_pitch + fret, string)], rate, open_pitch=open_pitch)
            want = hertz(open_pitch + fret)
            worst = max(worst, abs(cents(first_partial(wave, rate, 0.3, want), want)))
    return worst


def heard_pitch(name: str, frets: Sequence[int]) -> float:
    """The same of what is heard of a string, both planes together, as it sets in and as it dies away."""
    worst, guitar = 0.0, INSTRUMENTS[name].guitar
    for open_pitch in (43, 38, 33, 28) if name == "bass" else OPEN:
        for fret in frets:
            want = hertz(open_pitch + fret)
            voice = StringVoice(
                plan_string([note(0.01, 2.2, open_pitch + fret)], open_pitch, guitar, RATE), open_pitch, guitar, RATE
            )
            wave = voice.samples(0, int(2.1 * RATE))
            assert wave is not None
            worst = max(worst, *(abs(cents(first_partial(wave, RATE, at, want), want)) for at in (0.2, 1.0, 1.9)))
    return worst


def bends(step: float, take: slice = slice(None)) -> tuple[float, float, float, int]:
    """Of all notes of the samples whose pitch moves, every `step` seconds: cents off where the pitch stays, where it moves by at
    most 1500 cents a second (worst, and root mean square), and how many places that were."""
    staying, moving = [0.0], [0.0]
    for _, performance, tuning, guitar in performances()[take]:
        for string, notes in notes_by_string(performance.notes):
            if not any(n.moves for n in notes):
                continue
            wave, stiff = (
                string_of(notes, RATE, guitar, tuning[string - 1]),
                string_dispersion(guitar, tuning[string - 1], RATE),
            )
            for one, following in zip(notes, [*notes[1:], None], strict=True):
                stop = min(one.end, following.start - 0.02 if following else one.end)
                for off, speed in _off_curve(one, stop, wave, step, stiff):
                    (staying if speed == 0.0 else moving if speed <= 1500 else []).append(off)
    squares = float(np.sqrt(np.mean(np.array(moving) ** 2)))
    return max(staying), max(moving), squares, len(staying) + len(moving)


def _off_curve(
    one: NoteEvent, stop: float, wave: Wave, step: float, stiff: Dispersion
) -> Iterator[tuple[float, float]]:
    """Cents off, and cents a second, along a note. Slides are left out: they jump from fret to fret."""
    if not one.moves or one.damping is Damping.DEAD or any(move.shape is CurveShape.FRETS for move in one.moves):
        return
    period = one.partial / hertz(
        one.pitch + min(0.0, *pitch_offsets(one.moves, list(np.linspace(one.start, one.end, 50))))
    )
    settle = 0.15 if one.partial > 1 else 0.03
    for at in np.arange(one.start + settle + 3 * period, stop - 3 * period, step):
        around = pitch_offsets(one.moves, list(np.linspace(at - 2.5 * period, at + 2.5 * period, 13)))
        want = hertz(one.pitch + pitch_offsets(one.moves, [float(at)])[0])
        base = want / one.partial
        want = stiff_partial(one.partial, base, stiff.stiffness * (base / stiff.hertz) ** 2)
        if want < SLOWEST:
            continue
        still = max(around) == min(around)
        speed = 0.0 if still else max(1e-9, abs(around[-1] - around[0]) * 100 / (5 * period))
        yield abs(cents(first_partial(wave, RATE, float(at), want, one.partial), want)), speed


def stiffness(open_pitch: float, fret: float) -> float:
    """B of a string of `string_of`: it is four times as large where the string is half as long (Fletcher 1964)."""
    return interpolate(INSTRUMENTS["clean"].guitar.stiffness, open_pitch) * 2 ** (fret / 6)


def partials(frets: Sequence[int], strings: slice = slice(None)) -> float:
    """Largest share by which the decay time of a partial below 5 kHz is off what the filter's two given times mean."""
    guitar, worst = INSTRUMENTS["clean"].guitar, 0.0
    for string, open_pitch in [*enumerate(OPEN, 1)][strings]:
        for fret in frets:
            base = hertz(open_pitch + fret)
            low, high = interpolate(guitar.low, open_pitch) * 2 ** (-fret / 24), interpolate(guitar.high, open_pitch)
            wave = string_of([note(0.01, 2.5, open_pitch + fret, string)], RATE, guitar, open_pitch)
            for k in range(1, int(5000 / base) + 1):
                stiff = stiffness(open_pitch, fret)
                place = stiff_partial(k, base, stiff)
                if (want := _decay_of(place, base, low, high)) is not None:
                    want *= (1 + stiff * k * k) ** 0.5 / (1 + 2 * stiff * k * k)  # its waves go round more often
                    worst = max(worst, abs(decay(wave, RATE, place, 0.15, 2.4) / want - 1))
    return worst


def _decay_of(partial: float, base: float, low: float, high: float) -> float | None:
    """What `low` and `high` mean for another partial: a cosine through both. Where one such filter cannot do it, only those two are known."""
    second = max(3000.0, 2 * base)
    gains = [10 ** (-3 / (base * low)), min(10 ** (-3 / (base * low)), 10 ** (-3 / (base * high)))]
    c0, c1, c = (np.cos(2 * np.pi * f / RATE) for f in (base, second, partial))
    slope = (gains[0] - gains[1]) / (c0 - c1)
    if gains[0] - slope * c0 >= slope:
        return float(-3 / (base * np.log10(gains[0] + slope * (c - c0))))
    if partial == base:
        return low
    return high if abs(partial - second) <= 0.5 * base else None


CHANGES = {
    "hammer-on": ({"stroke": Stroke.HAMMER, "joined": True}, 2, 0.7),
    "hammer-on, wide": ({"stroke": Stroke.HAMMER, "joined": True}, 5, 0.7),
    "pull-off": ({"stroke": Stroke.PULL, "joined": True}, -2, 0.65),
    "tap": ({"stroke": Stroke.TAP, "joined": True}, 7, 0.8),
    "slide": ({"stroke": Stroke.NONE, "joined": True}, 2, 1.0),
}


def change(name: str, phases: int, every: int = 1) -> tuple[float, float]:
    """A technique that takes a sounding string over, soft and loud, low and high, at random phases (`every` so many cases): its largest second
    difference against the rougher of the sustains around it, and decibels that the string is off the level it is meant to have then (0 for a
    slide: not measured).
    """
    more, interval, quieter = CHANGES[name]
    random, rough, off = np.random.default_rng(7), 0.0, 0.0
    strings = (64, 59, 55) if name == "slide" else (64, 50, 40)  # on wound strings a slide is rough on purpose
    for open_pitch, fret, loudness in [*product(strings, (2, 5, 12), (0.3, 0.63, 0.9))][::every]:
        for phase in random.uniform(0, 1, phases):
            base, period = open_pitch + fret, 1 / hertz(open_pitch + fret)
            at = 0.35 + phase * period
            moves = (PitchRamp(at - 0.1, at, interval, CurveShape.FRETS),) if name == "slide" else ()
            first = note(0.01, at, base, loudness=loudness, moves=moves)
            second = note(at, at + 0.4, base + interval, loudness=loudness * quieter, **more)
            wave = string_of([first, second], RATE, open_pitch=open_pitch)
            calm = roughness(wave, RATE, at - 0.12 - 3 * period, at - 0.11)
            calm = max(calm, roughness(wave, RATE, at + 0.05, at + 0.15))
            rough = max(rough, roughness(wave, RATE, at - 0.01, at + 0.02 + 2 * period) / calm)
            if name != "slide":
                alone = string_of([first._replace(end=at + 0.4)], RATE, open_pitch=open_pitch)
                off = max(off, abs(_level_off(wave, alone, at, period, second)))
    return rough, off


def _level_off(wave: Wave, alone: Wave, at: float, period: float, second: NoteEvent) -> float:
    """Decibels above what is meant: as loud as asked, but no softer than what sounds on, where the finger does not stop it."""
    start, stop = at + 2 * period + 0.003, at + 0.043 + 2 * period
    on = level(alone, RATE, start, stop)
    meant = stroke_amplitude(second.loudness)
    if second.stroke is not Stroke.TAP:
        meant = max(meant, on)
    return 20 * float(np.log10(level(wave, RATE, start, stop) / meant))


def repick(phases: int, every: int = 1) -> tuple[float, float]:
    """A string that is picked again, slow and fast (`every` so many cases): second difference before the stroke against the sustain, and decibels
    that the new note is off the same note on a string at rest."""
    random, rough, off = np.random.default_rng(3), 0.0, 0.0
    intervals = ((0, 0), (5, 3), (5, -4), (3, 12))
    for gap, open_pitch, (fret, interval) in [*product((0.4, 0.11, 0.06), (64, 50, 40), intervals)][::every]:
        for phase in random.uniform(0, 1, phases):
            base, period = open_pitch + fret, 1 / hertz(open_pitch + fret)
            at = 0.01 + gap + phase * period
            second = note(at, at + 0.3, base + interval)
            wave = string_of([note(0.01, at, base), second], RATE, open_pitch=open_pitch)
            fresh = string_of([second], RATE, open_pitch=open_pitch)
            touch = 0.02 + period * max(1.0, 2 ** (-interval / 12))
            calm = roughness(wave, RATE, at - touch - 3 * period, at - touch)
            rough = max(rough, roughness(wave, RATE, at - touch, at - 0.0003) / calm)
            levels = [level(w, RATE, at + 0.001, at + 0.04) for w in (wave, fresh)]
            off = max(off, abs(20 * float(np.log10(levels[0] / levels[1]))))
    return rough, off


def harmonics(of: Sequence[int]) -> float:
    """Decibels of the strongest unwanted partial against the strongest wanted one, of natural harmonics on six strings."""
    worst = -200.0
    for string, open_pitch in enumerate(OPEN, 1):
        for m in of:
            wave = string_of(
                [note(0.01, 1.2, open_pitch + 12 * log2(m), string, partial=m)], RATE, open_pitch=open_pitch
            )
            numbers = np.arange(1, int(6000 / hertz(open_pitch)))
            places = [stiff_partial(int(n), hertz(open_pitch), stiffness(open_pitch, 0)) for n in numbers]
            found = tones(wave[int(0.15 * RATE) : int(1.15 * RATE)], RATE, places)
            wanted = numbers % m == 0
            worst = max(worst, 20 * float(np.log10(found[~wanted].max() / found[wanted].max())))
    return worst


def onsets(take: slice = slice(None)) -> tuple[float, int]:
    """Milliseconds that the worst picked note of the samples sets in before or after its time, and how many notes were heard."""
    worst, count = 0.0, 0
    for _, performance, tuning, guitar in performances()[take]:
        for string, notes in notes_by_string(performance.notes):
            wave = np.concatenate((np.zeros(RATE), string_of(notes, RATE, guitar, tuning[string - 1])))
            for one in notes:
                if one.stroke in (Stroke.PICK, Stroke.SNAP, Stroke.SLAP, Stroke.POP) and one.end - one.start > 0.04:
                    worst = max(worst, 1000 * abs(onset(wave, RATE, 1 + one.start) - 1 - one.start))
                    count += 1
    return worst, count


def against_plain_loop() -> float:
    """Largest difference of the string, computed a period at a time and in pieces, from a loop over single samples."""
    curve = (PitchRamp(0.03, 0.05, 2.0, CurveShape.FRETS), PitchRamp(0.06, 0.1, 1.0, CurveShape.FRETS))
    notes = [
        note(0.01, 0.06, 64, moves=curve[:1]),
        note(0.06, 0.1, 66, stroke=Stroke.HAMMER, joined=True, moves=curve[1:]),
        note(0.1, 0.14, 45, damping=Damping.PALM),
        note(0.14, 0.16, 88, loudness=1.0),
    ]
    guitar = INSTRUMENTS["clean"].guitar
    motion, stiff = plan_string(notes, 45, guitar, RATE).motion, string_dispersion(guitar, 45, RATE)
    count, past = int(0.18 * RATE), 2000
    plain = _plain(motion, stiff, count, past)
    worst = 0.0
    for piece in (count, 1000, 777):
        string = DelayLoop(motion, stiff=(stiff,))
        parts = [string.samples(at, min(count, at + piece)) for at in range(0, count, piece)]
        sizes = [min(piece, count - at) for at in range(0, count, piece)]
        block = np.concatenate([np.zeros(n) if p is None else p for p, n in zip(parts, sizes, strict=True)])
        worst = max(worst, float(np.abs(block - plain).max()))
    return worst


def _plain(motion: Motion, stiff: Dispersion, count: int, past: int) -> Wave:
    y = np.zeros(past + count)
    for at, shape in motion.pulses:
        y[past + at : past + at + len(shape)] += shape[: count - at]
    when = np.arange(count)
    first, taps = loop_taps(*(np.interp(when, motion.at, v) for v in motion.values[:4]))
    edges = np.arange(0, count + CELL, CELL)
    designs = [stiff.design(share) for share in np.interp(edges, motion.at, motion.stiff)]
    lengths = np.interp(edges, motion.at, motion.length)
    fades = [cell_fade(float(at), *of) for at, *of in zip(edges, pairwise(designs), lengths, lengths[1:], strict=False)]
    heard = np.zeros(count)
    for start, stop in motion.spans:
        if start in [cut for _, cut in motion.cuts]:
            y[: past + start] = 0.0
        for t in range(start, min(stop, count)):
            cell = t // CELL
            for k in range(len(taps)):
                read = t - int(first[t]) - k
                way = min(1.0, max(0.0, (read - fades[cell].start) / CELL))
                for (own, ahead), share in ((fades[cell].before, 1 - way), (fades[cell].after, way)):
                    if share:
                        y[past + t] += share * taps[k, t] * _read(y, past + read + ahead, own)
        heard[start:stop] = y[past + start : past + min(stop, count)]
    for touch, cut in motion.cuts:
        gone = np.minimum(np.arange(cut - touch) / (cut - touch) / DAMPS, 1.0)
        heard[touch:cut] *= (1 + np.cos(np.pi * gone)) / 2
    return heard


def _read(y: Wave, newest: int, kernel: Wave) -> float:
    return float(y[newest - len(kernel) + 1 : newest + 1][::-1] @ kernel)


def modes_against_the_loop(open_pitch: int, fret: int) -> tuple[float, int]:
    """Largest difference of a string that rings on as the sum of its modes from one whose waves go round, and how often it rang so."""
    guitar, count = INSTRUMENTS["clean"].guitar, int(1.7 * RATE)
    pitch = open_pitch + fret
    notes = [note(0.01, 0.8, pitch), note(0.8, 1.4, pitch, loudness=1.0)]
    motion = plan_string(notes, open_pitch, guitar, RATE).motion
    planes, stiff = (
        (motion, replace(motion, length=motion.length * 0.9997)),
        (string_dispersion(guitar, open_pitch, RATE),) * 2,
    )
    heard, rang = [], 0
    for worth in (WORTH, 10 * count):
        with (
            patch.object(waveguide, "WORTH", worth),
            patch.object(waveguide, "ring_on", wraps=waveguide.ring_on) as ring,
        ):
            loop = DelayLoop(*planes, stiff=stiff, shares=(1.0, 0.3))
            parts = (loop.samples(at, min(count, at + 7777)) for at in range(0, count, 7777))
            heard.append(np.concatenate([np.zeros(0) if part is None else part for part in parts]))
            rang = max(rang, ring.call_count)
    return float(np.abs(heard[0] - heard[1]).max()), rang


def pieces() -> float:
    """Largest difference of a lick asked for in pieces of odd sizes from the same lick in one piece."""
    _, performance, tuning, guitar = performances()[2]
    count = int((performance.end + 0.5) * RATE)
    whole = Instrument(performance.notes, tuning, guitar, RATE).samples(0, count)
    instrument, at, parts = Instrument(performance.notes, tuning, guitar, RATE), 0, []
    for size in np.resize((1, 63, 977, 20_011, 5), count):
        if at >= count:
            break
        parts.append(instrument.samples(at, min(count, at + int(size))))
        at += int(size)
    return float(np.abs(np.concatenate(parts) - whole).max())


def ending(damping: Damping, phases: int) -> float:
    """Largest second difference after a note's end against the sustain before it."""
    random, rough = np.random.default_rng(5), 0.0
    for open_pitch in (64, 50, 40):
        for fret in (0, 5, 12):
            period = 1 / hertz(open_pitch + fret)
            for phase in random.uniform(0, 1, phases):
                end = 0.3 + phase * period
                wave = string_of([note(0.01, end, open_pitch + fret, damping=damping)], RATE, open_pitch=open_pitch)
                calm = max(1e-9, roughness(wave, RATE, end - 0.03 - 2 * period, end - 0.001))
                rough = max(rough, roughness(wave, RATE, end - 0.001, end + 0.29) / calm)
    return rough
