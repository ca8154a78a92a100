"""What pupils do in a lesson: one mistake in a lick, with the lines that a comparison has to say and the points it may cost.

In: a `Page` of `compare_faults.py` and a `random.Random`. Out: the text with the mistake, or nothing where the lick has no place
for it. A mistake of time moves what follows it to the end of its bar, or of the lick.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from compare_faults import BENT, Expected, Fault, Page
from lickwright.notation.techniques import PICKED
from lickwright.notation.tree import Event, Hold, Item, MarkNode, Note, Rest, Tuplet
from lickwright.timeline.model import SoundingNote


@dataclass(frozen=True)
class Mistake:
    """One mistake: the fault that makes it, and what has to come of it."""

    fault: Fault
    lines: tuple[Expected, ...]  # everything that is to be said
    about: str  # of the first line
    displaced: int = 0  # notes that are not in their place: each costs two points
    wrong: int = 0  # notes of another pitch (eight points) or missing (ten): at least eight each, at most ten
    other: int = 0  # notes played in another way: one or two points each


REST = Event((Rest(),))
HOLD = Event((Hold(),))


def bar_of(page: Page, n: int) -> list[int]:
    """Return the events of the bar of event `n`, where all are plain ones of one length in no word; else none."""
    bar = page.events[n].slots[0].bar if page.events[n].slots else -1
    inside = [k for k, one in enumerate(page.events) if one.slots and one.slots[0].bar == bar]
    ones = [page.events[k] for k in inside]
    plain = all(not one.odd and not one.inside and len(one.slots) == one.event.count == 1 for one in ones)
    if not plain or len({one.slots[0].length for one in ones}) != 1 or page.timeline.bars[bar].same:
        return []
    turns = sum(turn.bar == bar for turn in page.timeline.passes)
    return inside if turns == 1 and inside == list(range(inside[0], inside[-1] + 1)) else []


def struck(page: Page, n: int) -> bool:
    """Return whether event `n` is picked notes without shapes and nothing else."""
    notes = page.notes(n) if page.plain(n) else []
    return bool(notes) and len(notes) == len(page.events[n].event.parts) and all(
        note.begin is PICKED and not note.marks and note.head is None and note.string for note in notes
    )  # fmt: skip


def single(page: Page, n: int) -> bool:
    """Return whether event `n` is one picked note."""
    return struck(page, n) and len(page.notes(n)) == 1


def step(page: Page, n: int) -> Fraction:
    """Return the length of the event's step, in whole notes."""
    return page.timeline.fraction(page.events[n].slots[0].length)


def displaced(page: Page, events: list[int]) -> int:
    return sum(len(page.events[k].sounds) for k in events)


def carried(page: Page, n: int) -> bool:
    """Return whether the bar after event `n` goes on with what sounds before it."""
    after = page.events[n + 1].event.parts if n + 1 < len(page.events) else ()
    return any(isinstance(p, Hold) or (isinstance(p, Note) and (p.begin is not PICKED or not p.string)) for p in after)


def _figure(page: Page, bar: list[int], chance: Random) -> int | None:
    """Return the first of three single notes after which at least four more events sound in the bar, all of them struck."""
    starts = [n for n in bar[:-6] if all(single(page, k) for k in (n, n + 1, n + 2))]
    starts = [n for n in starts if all(struck(page, k) for k in range(n + 3, n + 7))]
    starts = [n for n in starts if len({page.notes(k)[0] for k in (n, n + 1, n + 2)}) == 3]
    return chance.choice(starts) if starts else None


def rushed(page: Page, n: int, chance: Random) -> Mistake | None:
    """Three notes as a triplet in the time of two, and the rest of the bar comes a step early."""
    bar = bar_of(page, n)
    first = _figure(page, bar, chance)
    if first is None or carried(page, bar[-1]):
        return None
    three = tuple(page.events[k].event for k in (first, first + 1, first + 2))
    instead: dict[int, tuple[Item, ...]] = {first: (Tuplet(3, 2, three),), first + 1: (), first + 2: ()}
    instead[bar[-1]] = (page.events[bar[-1]].event, REST)
    line = page.expect("early", first, -step(page, n))
    later = list(range(first + 1, bar[-1] + 1))
    return Mistake(Fault(instead, frozenset(bar), line), (line,), "rushed", displaced(page, later))


def hurried(page: Page, n: int, chance: Random) -> Mistake | None:
    """Three notes as a triplet in the time of two, and a rest that makes up for it."""
    bar = bar_of(page, n)
    starts = [k for k in bar[:-3] if all(single(page, i) for i in (k, k + 1, k + 2)) and struck(page, k + 3)]
    if not starts:
        return None
    first = chance.choice(starts)
    three = tuple(page.events[k].event for k in (first, first + 1, first + 2))
    instead: dict[int, tuple[Item, ...]] = {first: (Tuplet(3, 2, three), REST), first + 1: (), first + 2: ()}
    line = page.expect("early", first, -step(page, n) * Fraction(2, 3))
    return Mistake(Fault(instead, frozenset(bar), line), (line,), "rushed", displaced(page, [first + 1, first + 2]))


def dragged(page: Page, n: int, chance: Random) -> Mistake | None:
    """Three notes as a triplet in the time of four, and the rest of the bar comes a step late."""
    bar = bar_of(page, n)
    first = _figure(page, bar[:-1], chance) if bar else None
    if first is None or not (page.held(bar[-1]) or page.rested(bar[-1])) or carried(page, bar[-1]):
        return None
    items = tuple(item for k in (first, first + 1, first + 2) for item in (page.events[k].event, HOLD))
    instead: dict[int, tuple[Item, ...]] = {first: (Tuplet(3, 2, items),), first + 1: (), first + 2: (), bar[-1]: ()}
    line = page.expect("late", first, step(page, n))
    later = displaced(page, list(range(first + 1, bar[-1])))
    return Mistake(Fault(instead, frozenset(bar), line), (line,), "dragged", later)


def swallowed(page: Page, n: int, chance: Random) -> Mistake | None:
    """A note left out without a rest in its place: the rest of the bar comes a step early."""
    bar = bar_of(page, n)
    places = [k for k in bar[:-4] if struck(page, k) and all(struck(page, i) for i in range(k + 1, k + 5))]
    places = [k for k in places if page.notes(k) != page.notes(k + 1)]
    if not places or carried(page, bar[-1]):
        return None
    lost = chance.choice(places)
    instead: dict[int, tuple[Item, ...]] = {lost: (), bar[-1]: (page.events[bar[-1]].event, REST)}
    gone = page.expect("missing", lost)
    lines = (gone, page.expect("early", lost + 1, -step(page, n)))
    later = displaced(page, list(range(lost + 1, bar[-1] + 1)))
    return Mistake(Fault(instead, frozenset(bar), gone), lines, "", later, wrong=len(page.events[lost].sounds))


def late_entry(page: Page, n: int, chance: Random) -> Mistake | None:
    """A rest of one step too many before the first note: all of the first bar is late."""
    bar = bar_of(page, 0)
    if n or len(bar) < 6 or not all(struck(page, k) for k in bar[:5]):
        return None
    if not (page.held(bar[-1]) or page.rested(bar[-1])) or carried(page, bar[-1]):
        return None
    line = page.expect("late", 0, step(page, 0))
    instead: dict[int, tuple[Item, ...]] = {0: (REST, page.events[0].event), bar[-1]: ()}
    return Mistake(Fault(instead, frozenset(bar), line), (line,), "entry", displaced(page, bar))


def late_throughout(page: Page, n: int, chance: Random) -> Mistake | None:
    """A rest of one step too many before the first note, and the whole lick is late, over all bar lines."""
    if n or len(page.timeline.passes) != len(page.timeline.bars) or any(bar.number == 0 for bar in page.timeline.bars):
        return None
    bars: dict[int, list[int]] = {}
    for k, one in enumerate(page.events):
        if not one.slots:
            return None
        bars.setdefault(one.slots[0].bar, []).append(k)
    ends = [bar_of(page, inside[0]) for inside in bars.values()]
    last = ends[-1][-1] if ends and all(ends) else -1
    if last < 0 or len({step(page, bar[0]) for bar in ends}) != 1 or not (page.held(last) or page.rested(last)):
        return None
    instead: dict[int, tuple[Item, ...]] = {last: ()}
    for before, bar in zip([None, *ends], ends, strict=False):
        moved = REST if before is None else page.events[before[-1]].event
        instead[bar[0]] = (moved, page.events[bar[0]].event)
        if before is not None and before[-1] not in (last, before[0]):
            instead[before[-1]] = ()
    if not struck(page, 0) or any(len(bar) < 2 for bar in ends):
        return None
    line = page.expect("late", 0, step(page, 0))
    everything = list(range(len(page.events)))
    return Mistake(Fault(instead, frozenset(everything), line), (line,), "entry", displaced(page, everything))


def _bent(page: Page, n: int) -> tuple[Note, MarkNode, SoundingNote] | None:
    """Return the only note of an event, bent once by a half step or more, with its bend and its sound."""
    notes = page.notes(n) if page.plain(n) else []
    if len(notes) != 1 or notes[0].fret is None or not notes[0].string or len(page.events[n].sounds) != 1:
        return None
    note, sound = notes[0], page.events[n].sounds[0]
    marks = [m for m in note.marks if m.technique.curve in BENT]
    bends = [s for s in sound.shapes if s.technique.curve in BENT]
    if len(marks) != 1 or len(bends) != 1 or bends[0].amount < 1 or bends[0].amount != int(bends[0].amount):
        return None
    return note, marks[0], sound


def _bent_notes(page: Page, sound: SoundingNote) -> int:
    """Return how many notes one bend bends: taps and pull-offs while it is held are bent too."""
    chain = {sound.index}
    for later in page.timeline.sounds[sound.index + 1 :]:
        if later.source in chain and any(shape.technique.curve in BENT for shape in later.shapes):
            chain.add(later.index)
    return len(chain)


def bend_missing(page: Page, n: int, chance: Random) -> Mistake | None:
    """Struck and not bent."""
    found = _bent(page, n)
    if found is None:
        return None
    note, mark, sound = found
    amount = next(s.amount for s in sound.shapes if s.technique.curve in BENT)
    plain = replace(note, marks=tuple(m for m in note.marks if m is not mark))
    line = page.expect("bend", n, -Fraction(amount))
    return Mistake(_instead(page, n, note, plain, line), (line,), "", wrong=_bent_notes(page, sound))


def bend_flat(page: Page, n: int, chance: Random) -> Mistake | None:
    """Bent a quarter step too little."""
    found = _bent(page, n)
    if found is None or found[0].fret is None:
        return None
    note, mark, sound = found
    amount = next(s.amount for s in sound.shapes if s.technique.curve in BENT)
    if note.fret is None:
        return None
    flat = replace(mark, fret=note.fret + Fraction(amount) - Fraction(1, 2), by=None)
    line = page.expect("intonation", n, Fraction(-1, 2))
    marks = tuple(flat if m is mark else m for m in note.marks)
    return Mistake(
        _instead(page, n, note, replace(note, marks=marks), line), (line,), "", other=_bent_notes(page, sound)
    )


def bend_fretted(page: Page, n: int, chance: Random) -> Mistake | None:
    """The right pitch, without the bend and what belongs to it."""
    found = _bent(page, n)
    if found is None or not page.free(n) or found[0].fret is None:
        return None
    note, _, sound = found
    amount = next(s.amount for s in sound.shapes if s.technique.curve in BENT)
    if note.begin is not PICKED or note.fret is None or len(sound.shapes) > 1:
        return None
    fretted = replace(note, fret=note.fret + int(amount), marks=())
    line = page.expect("technique", n)
    return Mistake(_instead(page, n, note, fretted, line), (line,), "fretted", other=1)


def _instead(page: Page, n: int, old: Note, new: Note, line: Expected) -> Fault:
    event = page.events[n].event
    return Fault({n: (replace(event, parts=tuple(new if p is old else p for p in event.parts)),)}, frozenset({n}), line)


def pair_split(page: Page, n: int, chance: Random) -> Mistake | None:
    """Two notes together, one after the other: the second in the place of the step that both are held."""
    notes = page.notes(n) if page.plain(n) and not page.events[n].inside else []
    if len(notes) != 2 or not page.held(n + 1) or not page.free(n) or len(page.events[n].sounds) != 2:
        return None
    if any(p.begin is not PICKED or not p.string for p in notes) or len(page.events[n].event.parts) != 2:
        return None
    if page.events[n + 1].inside or step(page, n) != step(page, n + 1):
        return None
    first, second = notes if chance.random() < 0.5 else notes[::-1]
    event = page.events[n].event
    instead: dict[int, tuple[Item, ...]] = {
        n: (replace(event, parts=(first,)),), n + 1: (replace(event, parts=(second,)),),
    }  # fmt: skip
    line = page.expect("late", n, step(page, n))
    return Mistake(Fault(instead, frozenset({n, n + 1}), line), (line,), "split", 1)


def pair_joined(page: Page, n: int, chance: Random) -> Mistake | None:
    """Two notes on two strings, one after the other, played together."""
    if not (single(page, n) and single(page, n + 1) and page.free(n) and page.free(n + 1)):
        return None
    if page.events[n].inside or page.events[n + 1].inside or step(page, n) != step(page, n + 1):
        return None
    if page.events[n].slots[0].bar != page.events[n + 1].slots[0].bar or page.held(n + 2):
        return None
    one, two = page.notes(n)[0], page.notes(n + 1)[0]
    if one.string == two.string:
        return None
    instead: dict[int, tuple[Item, ...]] = {n: (replace(page.events[n].event, parts=(one, two)),), n + 1: (HOLD,)}
    line = page.expect("early", n + 1, -step(page, n))
    return Mistake(Fault(instead, frozenset({n, n + 1}), line), (line,), "together", 1)


Make = Callable[[Page, int, Random], "Mistake | None"]
MISTAKES: dict[str, Make] = {
    "three notes rushed, the rest early": rushed,
    "three notes rushed, then a rest": hurried,
    "three notes dragged, the rest late": dragged,
    "a note swallowed, the rest early": swallowed,
    "late in the first bar": late_entry,
    "late from first to last": late_throughout,
    "a bend left out": bend_missing,
    "a bend a quarter step flat": bend_flat,
    "a bend fretted": bend_fretted,
    "a pair split": pair_split,
    "two notes joined": pair_joined,
}
