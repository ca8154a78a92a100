"""Plays a text tab that `read_tab.py` has read: when every note begins and how long it lasts.

The rule is the one of the reference page: a note lasts until the next picked note on any string, or a rest; what is
connected to a note ends only that; "ring", "let ring", "hold", a fret in parentheses and "stop" say otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from read_tab import ReadBar, ReadColumn, ReadMark, ReadMeter, read_bars, read_meter


class PlayedNote(NamedTuple):
    """A note as a pupil would play it."""

    start: Fraction  # whole notes from the start, repeats played
    end: Fraction  # equal to `start` for a stroke before the beat
    string: int
    place: str


@dataclass
class _Sounding:
    start: Fraction
    place: str
    lead: bool
    rings: bool  # until its string is played again
    spans: set[int]  # the "let ring"s that it stands under
    holds: set[int]  # the "hold"s of the bend that it is at


def read_lengths(text: str) -> list[PlayedNote]:
    """Every note as played, by when it begins, then by string."""
    meter, bars = read_meter(text), read_bars(text)
    player = _Player()
    now = Fraction(0)
    seen: set[int] = set()
    for index in _order(bars):
        source = index
        while bars[source].same:
            source -= 1
        length, begin = _length(meter, source)
        for column in bars[source].columns:
            player.column(column, now + column.at - begin, first=index not in seen and index == source)
        seen.add(index)
        now += length
    for string in list(player.sounding):
        player.end(string, now)
    return sorted(player.found)


def _length(meter: ReadMeter, index: int) -> tuple[Fraction, Fraction]:
    """How long a bar is and at which count it begins."""
    if index == 0 and meter.pickup:
        return meter.pickup, meter.beat * meter.beats - meter.pickup
    number = index if meter.pickup else index + 1
    return meter.beat * meter.beats - (meter.pickup if number in meter.short else 0), Fraction(0)


def _order(bars: list[ReadBar]) -> Iterator[int]:
    """The bars as played: once with repeats, and where there is a jump back, from there without them."""
    jump, sign = next(
        ((n, sign) for n, bar in enumerate(bars) for sign in bar.going if sign.startswith("D.")), (-1, "")
    )
    if jump < 0:
        yield from _repeated(bars)
        return
    first = list(_repeated(bars))
    yield from first[: len(first) - first[::-1].index(jump)]
    at = next(n for n, bar in enumerate(bars) if "Segno" in bar.going) if sign.startswith("D.S.") else 0
    while at < len(bars):
        if bars[at].ending == 1:
            at = next(n for n in range(at, len(bars)) if bars[n].ending == 2)
        yield at
        if "Fine" in bars[at].going and not sign.endswith("Coda"):
            return
        coda = "To Coda" in bars[at].going and sign.endswith("Coda")
        at = next(n for n, bar in enumerate(bars) if "Coda" in bar.going) if coda else at + 1


def _repeated(bars: list[ReadBar]) -> Iterator[int]:
    start = 0
    for index, bar in enumerate(bars):
        if bar.repeat_start:
            start = index
        yield index
        if bar.repeat_end:
            first_ending = next((n for n in range(start, index + 1) if bars[n].ending == 1), None)
            for time in range(2, bar.repeat_end + 1):
                last = first_ending if first_ending is not None and time == bar.repeat_end else index + 1
                yield from range(start, last)
            start = index + 1


class _Player:
    def __init__(self) -> None:
        self.sounding: dict[int, _Sounding] = {}
        self.found: list[PlayedNote] = []

    def end(self, string: int, now: Fraction) -> None:
        note = self.sounding.pop(string)
        self.found.append(PlayedNote(note.start, note.start if note.lead else now, string, note.place))

    def column(self, column: ReadColumn, now: Fraction, first: bool) -> None:
        """`first`: the bar is played as it is drawn, so a note in parentheses must be the one that sounds."""
        marked = {mark.string for mark in column.marks}
        if column.rest:
            for string, note in list(self.sounding.items()):
                if note.rings or not note.spans & column.spans:
                    self.end(string, now)
        onsets = [mark for mark in column.marks if mark.kind == "onset"]
        if any(not (mark.begin and mark.string in self.sounding) for mark in onsets):
            for string in [string for string in self.sounding if string not in marked]:
                note = self.sounding[string]
                if not (note.rings or note.spans & column.spans or note.holds & column.holds):
                    self.end(string, now)
        for string in column.stops & self.sounding.keys() - {mark.string for mark in onsets}:
            self.end(string, now)
        for mark in column.marks:
            if mark.kind == "onset":
                self._begin(mark, column, now)
            elif first:
                assert mark.string in self.sounding, f"nothing sounds for {mark} at {now}"
                note = self.sounding[mark.string]
                assert mark.place in ("", note.place), f"{mark} at {now} is not {note}"
            if mark.string in self.sounding and mark.bends:
                note = self.sounding[mark.string]
                note.holds = column.holds if mark.bends == "b" or mark.fret not in ("", note.place) else set()

    def _begin(self, mark: ReadMark, column: ReadColumn, now: Fraction) -> None:
        if mark.string in self.sounding:
            self.end(mark.string, now)
        rings = column.rings is not None and (not column.rings or mark.string in column.rings)
        self.sounding[mark.string] = _Sounding(now, mark.place, column.lead > 0, rings, column.spans, set())
