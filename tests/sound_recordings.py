"""The goals of what comes out, measured: one function a row, as in `sound_goals`.

In: how much to measure. Out: the worst value found, on whole recordings of the samples or of notes made up.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np

from lickwright import compile_file
from lickwright.export import Options
from lickwright.music.instruments import INSTRUMENTS, Guitar
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.synth.amp import Amp
from lickwright.synth.guitar import Instrument
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.sympathy import Sympathy
from sound_measure import OPEN, lufs, normalize_samples, note, true_peak

RATE = 48_000
SAMPLES = Path(__file__).parent.parent / "samples"


@lru_cache(maxsize=1)
def performances() -> tuple[tuple[str, Performance, tuple[int, ...], Guitar], ...]:
    """Title, performance, open strings and guitar of every sample."""
    found = []
    for path in sorted(SAMPLES.rglob("*.lick")):
        for lick in compile_file(path).licks:
            assert lick.timeline is not None
            settings = lick.timeline.settings
            performance = lick.lowered.performance(Options())
            found.append((lick.title, performance, tuple(settings.tuning.sounding), settings.instrument.guitar))
    return tuple(found)


def rendered(
    notes: Sequence[NoteEvent],
    guitar: Guitar,
    seconds: float,
    tuning: Sequence[int] = OPEN,
    feel: Humanizer | None = None,
) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """Both channels, as loud as they come out of the amplifier."""
    instrument = Instrument(notes, tuning, guitar, RATE, feel)
    strings = Sympathy(instrument.samples, notes, tuning, guitar, RATE)
    return np.concatenate(list(Amp(guitar, RATE).play(strings.samples, int(seconds * RATE))), axis=1)


def unamplified(
    notes: Sequence[NoteEvent], guitar: Guitar, seconds: float, tuning: Sequence[int] = OPEN
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """What the pick-up hears: one channel, before the amplifier and the room."""
    return Instrument(notes, tuning, guitar, RATE).samples(0, int(seconds * RATE))


def alias(name: str, tone: float, strength: float) -> float:
    """Decibels of all that is no harmonic of a sine at `tone` hertz, through pick-up, valve and cabinet, against all that is."""
    count = 2 * RATE
    sine = strength * np.sin(2 * np.pi * tone / RATE * np.arange(count))
    amp = Amp(INSTRUMENTS[name].guitar, RATE, dry=True)
    wave = np.concatenate(list(amp.play(lambda start, stop: sine[start:stop], count)), axis=1)[
        0, RATE // 2 : RATE * 3 // 2
    ]
    power = np.abs(np.fft.rfft(wave * np.kaiser(RATE, 26))) ** 2
    lines = np.arange(len(power))  # hertz, as it lasts a second
    away = np.abs((lines + tone / 2) % tone - tone / 2) >= 16
    return 10 * float(np.log10(power[away & (lines > 20)].sum() / power[~away].sum()))


def recordings(take: slice = slice(None)) -> tuple[float, float, float]:
    """Of the samples' recordings: LU off −16, highest true peak (dB), largest mean."""
    off, peak, mean = 0.0, -200.0, 0.0
    for _, performance, tuning, guitar in performances()[take]:
        wave = normalize_samples(rendered(performance.notes, guitar, performance.end + 0.7, tuning), RATE)
        off, peak = max(off, abs(lufs(wave) + 16)), max(peak, true_peak(wave))
        mean = max(mean, float(np.abs(wave.mean(axis=1)).max()))
    return off, peak, mean


def loudest_string(name: str, frets: Sequence[int]) -> float:
    """LU between the loudest and the softest string of a guitar, each the mean of some frets."""
    tuning = (43, 38, 33, 28) if name == "bass" else OPEN
    means = []
    for string, open_pitch in enumerate(tuning, 1):
        waves = (
            rendered([note(0.05, 1.05, open_pitch + f, string)], INSTRUMENTS[name].guitar, 1.2, tuning) for f in frets
        )
        means.append(np.mean([lufs(wave) for wave in waves]))
    return float(max(means) - min(means))


def later(one: NoteEvent, seconds: float) -> NoteEvent:
    """The same note at another time."""
    moves = tuple(move._replace(start=move.start + seconds, end=move.end + seconds) for move in one.moves)
    return one._replace(start=one.start + seconds, end=one.end + seconds, moves=moves)


def memory(seconds: float, name: str) -> float:
    """Megabytes that are in use at most while a piece so long, of bends, vibrato and chords, is played and thrown away."""
    performance = next(p for title, p, _, _ in performances() if title == "Amazing Grace")
    times = int(seconds / performance.end) + 1
    notes = [later(one, n * performance.end) for n in range(times) for one in performance.notes]
    guitar, count = INSTRUMENTS[name].guitar, int(seconds * RATE)
    _play(notes, guitar, RATE)  # what stays in memory once it is loaded or worked out is no part of the piece
    tracemalloc.start()
    _play(notes, guitar, count)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def _play(notes: Sequence[NoteEvent], guitar: Guitar, count: int) -> None:
    instrument = Instrument(notes, OPEN, guitar, RATE)
    for _ in Amp(guitar, RATE).play(instrument.samples, count):
        pass


def speed(title: str) -> float:
    """How many times faster than it sounds a sample is rendered and levelled, by this process's own time; the best of four."""
    _, performance, tuning, guitar = next(found for found in performances() if found[0] == title)
    best = float("inf")
    for _ in range(4):
        start = time.process_time()
        normalize_samples(rendered(performance.notes, guitar, performance.end + 1, tuning), RATE)
        best = min(best, time.process_time() - start)
    return (performance.end + 1) / best


def hostile() -> Iterator[tuple[str, Sequence[NoteEvent], str, float]]:
    """What somebody will write some day: name, notes, guitar, seconds."""
    dead = note(0.1, 0.16, 45, 5, damping=Damping.DEAD, loudness=0.5)
    loud = [note(0.1, 0.5, pitch, string, loudness=1.0) for string, pitch in enumerate(OPEN, 1)]
    yield "silence", [], "clean", 2.0
    yield "barely there", [note(0.1, 2, 64, loudness=0.02)], "clean", 3.0
    yield "30 ms", [note(0.1, 0.13, 64)], "clean", 0.5
    yield "one dead note", [dead], "clean", 2.0
    yield "one dead note on wood", [dead], "acoustic", 2.0
    yield "two dead notes far apart", [dead, later(dead, 4.0)], "lead", 5.0
    yield "loud, then soft", [*loud, *(note(2 + i, 3 + i, 64, loudness=0.1) for i in range(3))], "clean", 5.0
    yield "a snap", [note(0.1, 0.2, 31, 4, stroke=Stroke.SNAP, loudness=1.0)], "bass", 1.0
    yield "as fast as can be", [note(0.1 + i / 60, 0.1 + (i + 1) / 60, 64 + i % 3) for i in range(60)], "lead", 2.0
