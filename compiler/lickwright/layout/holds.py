"""What a tab has to show so that a reader knows how long each note sounds.

In: a `Timeline` and what stands at the instants of its written bars. Out: `Holds`: notes to be shown again in
parentheses, strings to be marked as stopped, and bends to be marked as held.

The rule that a reader goes by: a note lasts until the next picked note on any string, or a rest. A note that is
connected to one before (hammered, slid to) ends only its own string. What is marked as ringing lasts until its own
string is played, and under "let ring" no longer than the first picked note after the span. Where the music differs from
this rule, something is shown: `(7)` for a note that goes on, "hold" for a bend that does, "stop" for a string that
ends. A note that goes on over a bar line is always shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from lickwright.layout.grid import Cell
from lickwright.notation.techniques import BEND_CURVES, Curve, Damping, TechniqueKind
from lickwright.notation.tree import Event, Hold, Unknown
from lickwright.timeline.bar_count import event_instants, is_silent
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

Instant = tuple[int, int]  # written bar (index), grains from its start
_RING = Damping.RING  # bound here, since it is asked for every note and an enumeration is slow to look into
_ENDS_BEND = (*BEND_CURVES, Curve.SLIDE_OFF)  # shapes after which an earlier bend no longer holds
Cells = Callable[[int, int], Sequence[Cell]]  # what stands at an instant of a bar, strokes that lead to it included


class HeldBend(NamedTuple):
    """A bend that stays up under other notes or over a bar line."""

    first: Instant  # where it is bent
    last: Instant  # the last instant at which something happens while it is up


class Holds(NamedTuple):
    """What a tab has to show besides its strokes."""

    notes: dict[Instant, list[SoundingNote]]  # to be shown in parentheses
    stops: set[tuple[Instant, int]]  # instant and string
    bends: list[HeldBend]


class _Expectation(NamedTuple):
    """What a reader takes for granted of a sounding note at an instant."""

    goes_on: bool
    marked: bool  # because of "let ring", `=` or "hold"


class _RingWord(NamedTuple):
    """A `(ring: …)`, by slots."""

    first: int
    last: int
    held_to: int  # the last of the plain holds that follow it


def find_holds(timeline: Timeline, cells: Cells) -> Holds:
    """Return what a reader would not know from the strokes alone; each written bar is looked at as first played."""
    return _Finder(timeline, cells).find()


def held_to(timeline: Timeline, slot: int) -> int:
    """Return the last of the holds that follow a slot (`slot` where none does): a note's marks cover its whole length."""
    slots = timeline.slots
    while slot + 1 < len(slots):
        event = slots[slot + 1].event
        if not isinstance(event, Event) or not all(isinstance(part, Hold) for part in event.parts):
            break
        slot += 1
    return slot


class _Finder:
    """Plays a lick and compares what sounds with what a reader expects."""

    def __init__(self, timeline: Timeline, cells: Cells) -> None:
        self._timeline, self._cells = timeline, cells
        self._rings = [
            _RingWord(word.first, word.last, held_to(timeline, word.last))
            for word in timeline.words
            if word.technique is not None and word.technique.damping is Damping.RING
        ]
        self._alive: dict[int, SoundingNote] = {}  # by string, what was played there last before the instant
        self._read = 0  # sounds up to here are in `_alive`
        self._slots_by_bar: dict[int, dict[int, int]] = {}  # by grains from the bar's start, the first that takes time
        self._shown: dict[Instant, int] = {}  # of bends marked as held, by where they begin: grains that the mark lasts
        self._found = Holds({}, set(), [])

    def find(self) -> Holds:
        """Return what has to be shown, from all passes in the order in which they are played.

        What goes on is drawn as it is the first time; what ends unseen, as it is the first two times, because a repeat
        comes from another bar than the first time does.
        """
        self._held_bends()
        bars = self._timeline.bars
        for turn in self._timeline.passes:
            written = turn.bar
            while bars[written].same:
                written -= 1
            if turn.number < 2:
                for at in sorted({0, *event_instants(self._timeline, bars[written])}):
                    self._add_instant(written, at, turn.start + at, drawn=turn.number == 0 and written == turn.bar)
        return self._found

    def _add_instant(self, index: int, at: int, now: int, drawn: bool) -> None:
        """Note what has to be shown at one instant of a bar: `now` is the same instant in grains as played."""
        sounding = self._sounding(now)
        here = self._cells(index, at) if sounding else ()
        shown = {cell.string for cell in here}
        unshown = [sound for sound in sounding if sound.string not in shown]
        if unshown and (self._rings or not _end_as_expected(unshown, now, here)):
            picked = _picks(here, {sound.string for sound in sounding})
            self._compare(unshown, (index, at), now, picked, drawn)

    def _compare(self, unshown: list[SoundingNote], instant: Instant, now: int, picked: bool, drawn: bool) -> None:
        """Note what has to be shown of sounds that no cell of an instant is about, where a note is picked or not."""
        number = self._slot_at(*instant)
        slot = self._timeline.slots[number]
        if isinstance(slot.event, Unknown):
            return
        rest = slot.at == instant[1] and is_silent(slot.event, False)
        for sound in unshown:
            expected = self._expectation(sound, number, now, rest, picked)
            if sound.end == now:
                self._add_stop(sound, instant, expected)
            elif drawn:
                self._add_note(sound, instant, expected)

    def _add_stop(self, sound: SoundingNote, instant: Instant, expected: _Expectation) -> None:
        if expected.goes_on and sound.end < self._timeline.end:
            self._found.stops.add((instant, sound.string))

    def _add_note(self, sound: SoundingNote, instant: Instant, expected: _Expectation) -> None:
        over_bar_line = instant[1] == 0 and not (expected.marked or sound.dead)
        if over_bar_line or not expected.goes_on:
            self._found.notes.setdefault(instant, []).append(sound)

    def _sounding(self, now: int) -> list[SoundingNote]:
        """Return what began before `now` and sounds until then or longer, one sound a string."""
        sounds = self._timeline.sounds
        while self._read < len(sounds) and sounds[self._read].start < now:
            sound = sounds[self._read]
            self._alive[sound.string] = sound
            self._read += 1
        return [sound for sound in self._alive.values() if sound.start < now <= sound.end]

    def _slot_at(self, index: int, at: int) -> int:
        """Return the slot of a bar that starts at an instant and takes time; the bar's first where none does."""
        bar, slots = self._timeline.bars[index], self._timeline.slots
        known = self._slots_by_bar.get(index)
        if known is None:
            backwards = range(bar.last - 1, bar.first - 1, -1)
            known = self._slots_by_bar[index] = {slots[n].at: n for n in backwards if slots[n].length}
        return known.get(at, bar.first)

    def _expectation(self, sound: SoundingNote, slot: int, now: int, rest: bool, picked: bool) -> _Expectation:
        """Return what a reader expects of a sounding note where a rest, a picked note or neither is written."""
        ringing, spanned = _rings(sound), self._in_span(sound, slot)
        if rest:
            return _Expectation(spanned and not ringing, spanned or ringing)
        marked = ringing or spanned or self._bend_shown(sound, now)
        return _Expectation(marked or not picked, marked)

    def _in_span(self, sound: SoundingNote, slot: int) -> bool:
        """Return True if "let ring" stands over both a note and a slot."""
        return bool(self._rings) and any(
            ring.first <= sound.slot <= ring.last and ring.first <= slot <= ring.held_to for ring in self._rings
        )

    # --- bends -----------------------------------------------------------------------------------------------------

    def _held_bends(self) -> None:
        """Find the bends that stay up past a stroke or a bar line."""
        turns = {turn.bar: turn.start for turn in reversed(self._timeline.passes)}
        lasts: dict[Instant, Instant] = {}
        for sound in self._timeline.sounds:
            if not sound.shapes or sound.pass_no or self._timeline.bars[sound.bar].same:
                continue
            for shape, until in _bends(sound):
                first = self._timeline.slots[shape.slot].bar, self._timeline.slots[shape.slot].at
                last = self._last_under(first, until, turns)
                if last is not None:
                    lasts[first] = max(last, lasts.get(first, last))
        for first, last in sorted(lasts.items()):
            self._shown[first] = turns[last[0]] + last[1] - turns[first[0]] - first[1]
            self._found.bends.append(HeldBend(first, last))

    def _last_under(self, first: Instant, until: int, turns: dict[int, int]) -> Instant | None:
        """Return the last instant before `until` (grains as played) at which something happens, bar by bar as written.

        None where nothing is played on another string meanwhile and no bar line is passed.
        """
        last, needed = first, False
        now = turns[first[0]] + first[1]
        for index in self._bars_in_a_row(first[0], turns):
            bar = self._timeline.bars[index]
            for at in sorted({0, *event_instants(self._timeline, bar)}):
                if now < turns[index] + at < until:
                    last = index, at
                    needed = needed or at == 0 or any(cell.starts for cell in self._cells(index, at))
            if turns[index] + bar.length >= until:
                break
        return last if needed else None

    def _bars_in_a_row(self, first: int, turns: dict[int, int]) -> Iterator[int]:
        """Yield bar `first` and those after it, as long as they are played one after another as written."""
        bars = self._timeline.bars
        for index in range(first, len(bars)):
            if index not in turns or bars[index].same:
                return
            if index > first and turns[index] != turns[index - 1] + bars[index - 1].length:
                return
            yield index

    def _bend_shown(self, sound: SoundingNote, now: int) -> bool:
        """Return True if "hold" stands over both a bend that a sound is at and an instant."""
        slots = self._timeline.slots
        return bool(sound.shapes) and any(
            shape.start
            < now
            <= min(until, shape.start + self._shown.get((slots[shape.slot].bar, slots[shape.slot].at), 0))
            for shape, until in _bends(sound)
        )


def _bends(sound: SoundingNote) -> Iterator[tuple[PitchGesture, int]]:
    """Yield the shapes that leave a sound bent, each with the instant at which the next shape or the sound's end comes."""
    shapes = [shape for shape in sound.shapes if shape.technique.curve in _ENDS_BEND]
    for n, shape in enumerate(shapes):
        if shape.technique.curve in BEND_CURVES and shape.amount > 0 and not sound.lead:
            yield shape, shapes[n + 1].start if n + 1 < len(shapes) else sound.end


def _end_as_expected(sounds: Sequence[SoundingNote], now: int, here: Sequence[Cell]) -> bool:
    """Return True if plain notes end where a new one is picked: what nearly all notes do, and nothing has to be shown."""
    for sound in sounds:
        if sound.end > now or sound.marks or sound.shapes:
            return False
    return any(cell.starts and not cell.sound.begin.sign for cell in here)


def _picks(here: Sequence[Cell], strings: set[int]) -> bool:
    """Return True if a reader sees a picked note: one not connected to a note on its string; `strings` sound already."""
    picked = False
    for cell in here:
        if cell.starts:
            picked = picked or not (cell.sound.begin.sign and cell.string in strings)
            strings.add(cell.string)
    return picked


def _rings(sound: SoundingNote) -> bool:
    """Return True if a note is marked `=`: it rings until its string is played, or a rest."""
    marks = sound.marks  # few notes have any
    return bool(marks) and any(mark.damping is _RING and mark.kind is TechniqueKind.MARK for mark in marks)
