"""Strings that nobody plays, and that answer what comes through the bridge.

In: the notes of a lick, the open strings, samples of all played strings. Out: the same samples with the answer of every open string that no hand
damps. The played strings are not answered, so that nothing goes round in circles: each answering string is a loop of its own that is fed
forward. Four ways round a loop are computed together: y = x + K y is y = (1 + K)(1 + K²) x + K⁴ y. The constants are estimates.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from math import inf

import numpy as np

from lickwright.music.instruments import Guitar, interpolate
from lickwright.music.pitch import frequency
from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import NoteEvent
from lickwright.synth.loop_filters import Samples, loop_taps, loss_filter_taps
from lickwright.synth.rate_change import filter_rows

LIFTED = 0.12  # seconds after a note in which the finger that stopped it leaves the string
RESTING = 0.3  # seconds that the hand rests on all strings after a palm-muted or dead note, unless it plays sooner
LASTING = 0.5  # of the decay times of a played string
OPENING, CLOSING = 0.02, 0.03  # seconds in which a string begins and ceases to answer
FEWER = 6  # the answering strings have every sixth sample: nothing above some 3 kHz
WIDTH, BAND = (
    72,
    0.8,
)  # taps of the filters between the rates, a multiple of `FEWER`; share of the band that they let through
_ROW = 8  # of these that are worked out together between the rates
STILL = 1e-11  # largest sample of a loop that is left out
MUTES = (Damping.PALM, Damping.DEAD)


class Sympathy:
    """The open strings of a guitar beside those that are played. Ask for its samples from the first to the last."""

    def __init__(
        self,
        played: Callable[[int, int], Samples],
        notes: Sequence[NoteEvent],
        tuning: Sequence[int],
        guitar: Guitar,
        rate: int,
    ) -> None:
        """Answer what `played(start, stop)` gives, which is asked for in order."""
        self._played = played
        rests = list(resting_hand(notes))
        self._strings = [
            _OpenString(
                pitch, guitar, rate / FEWER, free_spans([note for note in notes if note.string == string], rests)
            )
            for string, pitch in enumerate(tuning, 1)
        ]
        self._level = 10 ** (guitar.sympathy / 20)
        self._fed, self._swung = np.zeros(WIDTH - 1), np.zeros(WIDTH // FEWER)  # samples before those that come next

    def samples(self, start: int, stop: int) -> Samples:
        """Return samples `start` to `stop` of all strings."""
        played = self._played(start, stop)
        known = np.concatenate((self._fed, played))
        self._fed = known[len(played) :]
        first, last = -(-start // FEWER), -(-stop // FEWER)  # of the samples that the answering strings have
        thinning, filling = _rate_changes()
        fed = filter_rows(known[first * FEWER - start :], FEWER * _ROW, thinning, -(-(last - first) // _ROW))
        fed = fed[: last - first] * self._level
        swung = np.concatenate((self._swung, self._answers(fed, first)))
        self._swung = swung[len(fed) :]
        before = start // FEWER
        turned = swung[before - first + 1 :]
        filled = filter_rows(turned, _ROW, filling, -(-(last - before) // _ROW))
        return played + filled[start - before * FEWER :][: len(played)]

    def _answers(self, fed: Samples, start: int) -> Samples:
        """Return what all strings answer, `fed` being what comes to them from sample `start` of their own on."""
        total = np.zeros(len(fed))
        for string in self._strings if len(fed) else ():
            string.answer(fed, start, total)
        return total


@lru_cache(maxsize=1)
def _rate_changes() -> tuple[Samples, Samples]:
    """Return the matrices that give `_ROW` samples of the answering strings, and what is heard of as many."""
    taps = np.sinc((np.arange(WIDTH) - (WIDTH - 1) / 2) * BAND / FEWER) * np.hanning(WIDTH + 2)[1:-1]
    taps /= taps.sum()
    thinning, filling = np.zeros((3 * FEWER * _ROW, _ROW)), np.zeros((3 * _ROW, FEWER * _ROW))
    for n in range(_ROW):
        thinning[FEWER * n : FEWER * n + WIDTH, n] = taps
        filling[n : n + WIDTH // FEWER, FEWER * n : FEWER * (n + 1)] = FEWER * taps.reshape(-1, FEWER)[::-1]
    return thinning, filling


def resting_hand(notes: Sequence[NoteEvent]) -> Iterator[tuple[float, float]]:
    """Yield the seconds from and to which the picking hand lies on all strings: with muted notes, until another is played."""
    starts = [note.start for note in notes if note.damping not in MUTES]  # ascending
    for note in notes:
        if note.damping in MUTES:
            following = bisect_right(starts, note.start)
            yield note.start, min([note.end + RESTING, *starts[following : following + 1]])


def free_spans(notes: Sequence[NoteEvent], rests: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the seconds in which a string that plays `notes` is open and neither played nor damped; the last is without an end."""
    taken = sorted([(note.start - CLOSING, note.end + LIFTED) for note in notes] + list(rests))
    spans, free = [], 0.0
    for start, end in taken:
        if start - free > OPENING + CLOSING:
            spans.append((free, start))
        free = max(free, end)
    return [*spans, (free, inf)]


class _OpenString:
    """One string that answers while it is free."""

    def __init__(self, pitch: float, guitar: Guitar, rate: float, spans: Sequence[tuple[float, float]]) -> None:
        hertz = np.array([frequency(pitch)])
        low, high = (np.array([LASTING * interpolate(table, pitch)]) for table in (guitar.low, guitar.high))
        g0, g1, _ = loss_filter_taps(hertz, low, high, rate)
        first, taps = loop_taps(rate / hertz, g0, g1, None)
        self._first, once = int(first[0]), np.ascontiguousarray(taps[:, 0])
        twice = np.convolve(once, once)
        self._ways = (once, twice, np.convolve(twice, twice))  # taps of one, two and four ways round
        self._past = 4 * (self._first + len(once))
        self._fed, self._swung = np.zeros(self._past), np.zeros(self._past)
        self._spans, self._rate = list(spans), rate

    def answer(self, fed: Samples, start: int, total: Samples) -> None:
        """Add to `total` what the string answers from sample `start` on, where `fed` comes to it."""
        stop = start + len(fed)
        self._spans = [span for span in self._spans if span[1] * self._rate > start]
        for begin, end in self._spans:
            if begin * self._rate >= stop:
                break
            first, last = max(start, int(begin * self._rate)), int(min(stop, end * self._rate))
            if first > start:
                self._be_still()
            time = np.arange(first, last) / self._rate
            gate = np.clip(np.minimum((time - begin) / OPENING, (end - time) / CLOSING), 0.0, 1.0)
            swung = self._swing(fed[first - start : last - start] * gate)
            if swung is not None:
                total[first - start : last - start] += swung * gate

    def _be_still(self) -> None:
        self._fed[:], self._swung[:] = 0.0, 0.0

    def _swing(self, fed: Samples) -> Samples | None:
        """Return the next samples of the loop; None where it is still."""
        if max(fed.max(), -fed.min(), np.abs(self._swung).max()) < STILL:
            self._be_still()
            return None
        known = np.concatenate((self._fed, fed))
        self._fed = known[-self._past :].copy()
        once, twice, often = self._ways
        for ways, taps in ((1, once), (2, twice)):
            delay = ways * self._first
            known[delay + len(taps) - 1 :] += np.correlate(known[: len(known) - delay], taps[::-1], "valid")
        swung = np.concatenate((self._swung, known[self._past :]))
        block, reverse = 4 * self._first, often[::-1].copy()
        for begin in range(self._past, len(swung), block):
            end = min(begin + block, len(swung))
            swung[begin:end] += np.correlate(swung[begin - block - len(often) + 1 : end - block], reverse, "valid")
        self._swung = swung[-self._past :]
        return swung[self._past :]
