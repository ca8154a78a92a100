"""What a tab has to show so that a reader knows how long each note sounds.

In: a `Timeline` and what stands at the instants of its written bars. Out: notes to be shown again in parentheses,
strings to be marked as stopped, and bends to be marked as held.

The rule that a reader goes by: a note lasts until the next picked note on any string, or a rest. A note that is
connected to one before (hammered, slid to) ends only its own string. What is marked as ringing lasts until its own
string is played, and under "let ring" no longer than the first picked note after the span. Wherever the music says
otherwise than this rule, something is shown: `(7)` for a note that goes on, "hold" for a bend that does, "stop" for a
string that ends. A note that goes on over a bar line is shown in any case.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from lickwright.layout.grid import Cell
from lickwright.notation.techniques import Curve, Damping, TechniqueKind
from lickwright.notation.tree import Event, Hold, Rest, Unknown
from lickwright.timeline.bar_count import event_instants
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

Instant = tuple[int, int]  # written bar (index), grains from its start
Cells = Callable[[int, int], Sequence[Cell]]  # what stands at an instant of a bar, strokes that lead to it included

_PITCHED = (Curve.BEND, Curve.PREBEND, Curve.RELEASE)  # shapes that leave the string at a pitch of its own


class HeldBend(NamedTuple):
    """A bend that stays up under other notes or over a bar line."""

    first: Instant  # where it is bent
    last: Instant  # the last instant at which something happens while it is up


class Holds(NamedTuple):
    """What has to be shown."""

    notes: dict[Instant, list[SoundingNote]]  # to be shown in parentheses
    stops: set[tuple[Instant, int]]  # instant and string
    bends: list[HeldBend]


class _RingWord(NamedTuple):
    """A `(ring: …)`, by slots."""

    first: int
    last: int
    held_to: int  # the last of the plain holds that follow it


def find_holds(timeline: Timeline, cells: Cells) -> Holds:
    """What a reader would not know from the strokes alone; each written bar is looked at as first played."""
    return _Finder(timeline, cells).find()


def held_to(timeline: Timeline, slot: int) -> int:
    """The last of the holds that follow a slot: what is said of a note is said of its whole length."""
    slots = timeline.slots
    while slot + 1 < len(slots):
        event = slots[slot + 1].event
        if not isinstance(event, Event) or not all(isinstance(part, Hold) for part in event.parts):
            break
        slot += 1
    return slot


class _Finder:
    def __init__(self, timeline: Timeline, cells: Cells) -> None:
        self._timeline, self._cells = timeline, cells
        self._rings = [
            _RingWord(word.first, word.last, held_to(timeline, word.last))
            for word in timeline.words
            if word.technique is not None and word.technique.damping is Damping.RING
        ]
        self._alive: dict[int, SoundingNote] = {}  # by string, what was played there last before the instant
        self._read = 0  # sounds up to here are in `_alive`
        self._shown: dict[Instant, int] = {}  # of bends marked as held, by where they begin: grains that the mark lasts
        self._found = Holds({}, set(), [])

    def find(self) -> Holds:
        """All turns in the order in which they are played. What goes on is drawn as it is the first time; what ends
        unseen, as it is the first two times, for a repeat comes from elsewhere than the first time does."""
        self._held_bends()
        bars = self._timeline.bars
        for turn in self._timeline.passes:
            written = turn.bar
            while bars[written].same:
                written -= 1
            if turn.number < 2:
                for at in sorted({0, *event_instants(self._timeline, bars[written])}):
                    self._look(written, at, turn.start + at, drawn=turn.number == 0 and written == turn.bar)
        return self._found

    def _look(self, index: int, at: int, now: int, drawn: bool) -> None:
        """One instant: what was sounding there, what a reader would take it for, and what becomes of it."""
        bar, sounds = self._timeline.bars[index], self._timeline.sounds
        while self._read < len(sounds) and sounds[self._read].start < now:
            sound = sounds[self._read]
            self._alive[sound.string] = sound
            self._read += 1
        here = self._cells(index, at)
        marked = {cell.string for cell in here}
        going = [s for s in self._alive.values() if s.string not in marked and s.start < now <= s.end]
        if not going:
            return
        slots = self._timeline.slots
        slot = next((n for n in range(bar.first, bar.last) if slots[n].at == at and slots[n].length), bar.first)
        event = slots[slot].event
        if isinstance(event, Unknown):
            return
        rest = slots[slot].at == at and _is_rest(event)
        picked = self._picks(here, now)
        for sound in going:
            ringing, spanned = _rings(sound), self._in_span(sound, slot)
            if rest:
                on = spanned and not ringing
            else:
                spanned = spanned or self._bend_shown(sound, now)
                on = not picked or spanned or ringing
            if sound.end == now:
                if on and now < self._timeline.end:
                    self._found.stops.add(((index, at), sound.string))
            elif not drawn:
                continue
            elif not on or (at == 0 and not (spanned or ringing or sound.dead)):
                self._found.notes.setdefault((index, at), []).append(sound)

    def _picks(self, here: Sequence[Cell], now: int) -> bool:
        """Whether a reader sees a picked note: one that is not connected to a note on its string."""
        connected: set[int] = {s.string for s in self._alive.values() if s.start < now <= s.end}
        picked = False
        for cell in here:
            if cell.starts:
                picked = picked or not (cell.sound.begin.sign and cell.string in connected)
                connected.add(cell.string)
        return picked

    def _in_span(self, sound: SoundingNote, slot: int) -> bool:
        """Whether "let ring" stands over both a note and a slot."""
        return any(ring.first <= sound.slot <= ring.last and ring.first <= slot <= ring.held_to for ring in self._rings)

    # --- bends -----------------------------------------------------------------------------------------------------

    def _held_bends(self) -> None:
        """Finds the bends that stay up past a stroke or a bar line."""
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
        """The last instant at which something happens before `until`, bar by bar as written; None where nothing is
        played on another string meanwhile and no bar line is passed."""
        bars = self._timeline.bars
        last, needed, index = first, False, first[0]
        now = turns[index] + first[1]
        while index < len(bars) and index in turns and not bars[index].same:
            if index > first[0] and turns[index] != turns[index - 1] + bars[index - 1].length:
                break
            for at in sorted({0, *event_instants(self._timeline, bars[index])}):
                if now < turns[index] + at < until:
                    last = index, at
                    needed = needed or at == 0 or any(cell.starts for cell in self._cells(index, at))
            if turns[index] + bars[index].length >= until:
                break
            index += 1
        return last if needed else None

    def _bend_shown(self, sound: SoundingNote, now: int) -> bool:
        """Whether "hold" stands over both a bend that a sound is at and an instant."""
        slots = self._timeline.slots
        return bool(sound.shapes) and any(
            shape.start
            < now
            <= min(until, shape.start + self._shown.get((slots[shape.slot].bar, slots[shape.slot].at), 0))
            for shape, until in _bends(sound)
        )


def _bends(sound: SoundingNote) -> Iterator[tuple[PitchGesture, int]]:
    """The shapes that leave a sound bent, each with the instant at which the next one or the sound's end changes that."""
    shapes = [shape for shape in sound.shapes if shape.technique.curve in (*_PITCHED, Curve.SLIDE_OFF)]
    for n, shape in enumerate(shapes):
        if shape.technique.curve in _PITCHED and shape.amount > 0 and not sound.lead:
            yield shape, shapes[n + 1].start if n + 1 < len(shapes) else sound.end


def _rings(sound: SoundingNote) -> bool:
    """Whether a note is marked `=`: it rings until its string is played, or a rest."""
    return any(mark.damping is Damping.RING and mark.kind is TechniqueKind.MARK for mark in sound.marks)


def _is_rest(event: Event) -> bool:
    part = event.parts[0]
    return isinstance(part, Rest) and not part.string and len(event.parts) == 1
