"""How the instants of a written bar are counted: one count for the tab's row, the timing sheet and the messages.

In: a `Timeline` and one of its bars. Out: words and names from `music/syllables.py`, by grains from the start of the
bar. A beat is divided by the events written in it: notes, shapes and rests, but not plain holds.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Set
from fractions import Fraction
from functools import lru_cache
from operator import attrgetter

from lickwright.core.keep_last import keep_last
from lickwright.music.rhythm import Meter
from lickwright.music.syllables import CountedInstant, count_bar
from lickwright.notation.tree import Event, Hold, Rest, Unknown
from lickwright.timeline.model import Bar, Slot, Timeline


def count_events(timeline: Timeline, bar: Bar) -> dict[int, CountedInstant]:
    """Return what is said in a bar, by grains from its start, at all its beats and all instants with an event."""
    return count_instants(event_instants(timeline, bar), timeline, bar)


def count_instants(instants: Set[int], timeline: Timeline, bar: Bar) -> dict[int, CountedInstant]:
    """Return what is said in a bar where something happens at `instants` (grains from its start)."""
    return _count(frozenset(instants), count_shift(timeline, bar), bar.length, timeline.grain, timeline.settings.meter)


def count_name(timeline: Timeline, bar: Bar, at: int) -> str:
    """Return what a player calls an instant of a bar (grains from its start): "3 trip", "2 &"."""
    meter, shift, slots = timeline.settings.meter, count_shift(timeline, bar), timeline.slots
    unit, beat = meter.beat.denominator, meter.beat.numerator * timeline.grain
    number = (at + shift) * unit // beat
    there = {at + shift}  # what happens in its beat; a bar that never ends may have thousands
    for n in range(bisect_left(slots, number * beat / unit - shift, bar.first, bar.last, key=_at), bar.last):
        if (slots[n].at + shift) * unit >= (number + 1) * beat:
            break
        rests_on = n > bar.first and is_silent(slots[n - 1].event, False) and is_silent(slots[n].event, True)
        if not rests_on and not _only_holds(slots[n].event):
            there.add(slots[n].at + shift)
    return count_bar(there, timeline.grain, meter)[at + shift].name


_at = attrgetter("at")


def count_shift(timeline: Timeline, bar: Bar) -> int:
    """Return the grains by which a bar is counted late: a pick-up is counted as the end of a full bar."""
    return max(0, int(timeline.settings.meter.length * timeline.grain) - bar.length) if bar.number == 0 else 0


def instant_in_meter(timeline: Timeline, bar: Bar, at: int) -> Fraction:
    """Return an instant of a written bar as counted from beat one, in whole notes; a pick-up ends where the bar would. `at` is in grains."""
    since = timeline.fraction(at)
    if bar.number == 0:
        since += timeline.settings.meter.length - timeline.fraction(bar.nominal)
    return since


def event_instants(timeline: Timeline, bar: Bar) -> frozenset[int]:
    """Return the instants at which an event is written that is more than a plain hold or a rest after a rest."""
    known = _instants_by_bar(timeline)
    found = known.get((bar.first, bar.last))
    if found is None:
        found = known[bar.first, bar.last] = frozenset(_find_instants(timeline.slots[bar.first : bar.last]))
    return found


@keep_last
def _instants_by_bar(timeline: Timeline) -> dict[tuple[int, int], frozenset[int]]:
    """Return where `event_instants` keeps what it has found in a lick, by first and last slot: layout, holds and timing ask in turn."""
    return {}


def _find_instants(slots: Iterable[Slot]) -> Iterator[int]:
    silent = False
    for slot in slots:
        before, silent = silent, is_silent(slot.event, silent)
        if not (silent and before) and not _only_holds(slot.event):
            yield slot.at


def is_silent(event: Event | Unknown, before: bool) -> bool:
    """Return True if no string sounds during an event: a rest on all strings, or a hold after one (`before`)."""
    if isinstance(event, Unknown):
        return False
    if before:
        return all(isinstance(part, (Hold, Rest)) for part in event.parts)
    part = event.parts[0]
    return isinstance(part, Rest) and not part.string and len(event.parts) == 1


def _only_holds(event: Event | Unknown) -> bool:
    if isinstance(event, Unknown):
        return False
    part = event.parts[0]
    return len(event.parts) == 1 and isinstance(part, Hold) and not (part.string or part.marks)


@lru_cache(maxsize=4096)  # it depends on the rhythm alone, and most bars repeat one
def _count(instants: frozenset[int], shift: int, length: int, grain: int, meter: Meter) -> dict[int, CountedInstant]:
    beat, rest = divmod(meter.beat.numerator * grain, meter.beat.denominator)  # in grains
    there = {shift, *(at + shift for at in instants)}
    if not rest:  # else a lick of nothing but long notes, whose grains are coarser than a beat
        there.update(range(shift + -shift % beat, shift + length, beat))
    said = count_bar(there, grain, meter)
    return {at - shift: said[at] for at in said if at >= shift}
