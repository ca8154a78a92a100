"""Bars of a MIDI file: from which tick until which each lasts, and in which meter it is counted.

In: the meters of a song. Out: `GridBar`s. A short first bar is a pick-up; two short bars that make a whole one together are one bar.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from lickwright.importers.midi.song import MidiSong
from lickwright.music.rhythm import Meter, parse_meter

_MOST_BARS = 4_000


class GridBar(NamedTuple):
    """One bar."""

    start: Fraction  # whole notes from the start of the file
    length: Fraction
    meter: Meter

    @property
    def end(self) -> Fraction:
        """Whole notes from the start of the file to where it ends."""
        return self.start + self.length


def grid_bars(song: MidiSong, end_tick: int, first_tick: int) -> list[GridBar]:
    """Return the bars up to `end_tick`. Bars of a meter of their own before `first_tick`, where the first note begins, are left out."""
    found: list[GridBar] = []
    end = _whole_notes(song, end_tick)
    for start, stop, meter in _spans(song, end):
        at = start
        while at < stop and len(found) < _MOST_BARS:
            length = min(meter.length, max(stop - at, Fraction(1, 64))) if stop < end else meter.length
            found.append(GridBar(at, length, meter))
            at += length
    main = _main_meter(found)
    return list(_joined([bar for bar in found if bar.end > _whole_notes(song, first_tick)] or found[-1:], main))


def _whole_notes(song: MidiSong, tick: int) -> Fraction:
    return Fraction(tick, 4 * song.ticks_a_quarter)


def _spans(song: MidiSong, end: Fraction) -> Iterator[tuple[Fraction, Fraction, Meter]]:
    """Yield from when until when each meter holds."""
    changes: list[tuple[Fraction, Meter]] = []
    for tick, over, under in [(0, 4, 4), *song.meters]:
        at = _whole_notes(song, tick)
        try:
            meter = parse_meter(f"{over}/{under}")
        except ValueError:
            continue
        if changes and changes[-1][0] == at:
            changes.pop()
        changes.append((at, meter))
    for n, (at, meter) in enumerate(changes):
        stop = changes[n + 1][0] if n + 1 < len(changes) else max(end, at + meter.length)
        if at < end or n == 0:
            yield at, stop, meter


def _main_meter(bars: list[GridBar]) -> Meter:
    """Return the meter of most of the music."""
    lengths: Counter[Meter] = Counter()
    for bar in bars:
        lengths[bar.meter] += int(bar.length * 192)
    return lengths.most_common(1)[0][0]


def _joined(bars: list[GridBar], main: Meter) -> Iterator[GridBar]:
    """Yield the bars, short ones in the main meter where they begin or end the music or make a whole bar together."""
    n = 0
    while n < len(bars):
        bar = bars[n]
        following = bars[n + 1] if n + 1 < len(bars) else None
        if bar.length < main.length and following is not None and bar.length + following.length == main.length and n:
            yield GridBar(bar.start, main.length, main)
            n += 2
            continue
        short = bar.length < main.length and (n == 0 or following is None)
        yield bar._replace(meter=main) if short else bar
        n += 1
