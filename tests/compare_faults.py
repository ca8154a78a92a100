"""Differences as students make them, put into a lick one by one, each with what a comparison has to say of it.

In: a lick's text and a `random.Random`. Out: the text with differences, and what was put in. Works on the tree, so that a
difference is exactly one; one that makes the lick unreadable or unplayable is taken back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from lickwright.compare.diff import score_position
from lickwright.compiler import CompiledLick, compile_text
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.techniques import JOINS, MARKS, PICKED, SHAPES, Curve, Damping
from lickwright.notation.techniques import TechniqueKind as Place
from lickwright.notation.tree import Book, Event, Hold, Item, Lick, MarkNode, Note, Part, Rest, Step, Tuplet, Worded
from lickwright.timeline.model import Slot, SoundingNote

Expected = tuple[str, int, str, Fraction | None]  # kind, bar, beat, and by how much where that is sure
BENT = (Curve.BEND, Curve.PREBEND)


@dataclass(frozen=True)
class Written:
    """One event of a lick and where it stands."""

    event: Event
    inside: tuple[int, ...]  # numbers of the brackets it stands in, outermost first
    odd: bool  # in a tuplet, or a word with events of its own kind
    slots: tuple[Slot, ...]
    sounds: tuple[SoundingNote, ...]  # that start in it, the first time


@dataclass(frozen=True)
class Fault:
    """One difference: what stands in place of which events, and what has to be found."""

    instead: dict[int, tuple[Item, ...]]  # by number of the event
    touches: frozenset[int]  # events that no other difference may touch
    expected: Expected
    unwrapped: int = -1  # the number of a word that is left out


class Page:
    """A lick taken apart."""

    def __init__(self, book: Book, lick: Lick, compiled: CompiledLick) -> None:
        self.head, self.lick = book.head, lick
        timeline = compiled.timeline
        assert timeline is not None
        self.timeline = timeline
        self.words: list[tuple[Worded, list[int]]] = []
        self.events: list[Written] = []
        flat = list(self._walk(lick.music, (), False))
        runs: dict[int, list[int]] = {}  # slots by where their event is written; strokes of a rake have none
        for n, slot in enumerate(timeline.slots):
            runs.setdefault(slot.event.span.start, []).append(n)
        first = [s for s in timeline.sounds if s.pass_no == 0 and timeline.slots[s.slot].bar == s.bar]
        for event, inside, odd in flat:
            run = runs.get(event.span.start, [])
            sounds = tuple(s for s in first if s.slot in run)
            self.events.append(Written(event, inside, odd, tuple(timeline.slots[n] for n in run), sounds))
        assert any(written.sounds for written in self.events)
        for n, written in enumerate(self.events):
            for word in written.inside:
                self.words[word][1].append(n)

    def _walk(
        self, items: tuple[Item, ...], inside: tuple[int, ...], odd: bool
    ) -> Iterator[tuple[Event, tuple[int, ...], bool]]:
        for item in items:
            if isinstance(item, Event):
                yield item, inside, odd
            elif isinstance(item, Worded):
                self.words.append((item, []))
                own = item.word in ("grace", "rake", "trill", "roll", "scrape")
                yield from self._walk(item.items, (*inside, len(self.words) - 1), odd or own)
            elif isinstance(item, Tuplet):
                yield from self._walk(item.items, inside, True)

    def text(self, faults: list[Fault]) -> str:
        """The lick with differences."""
        instead = {n: items for fault in faults for n, items in fault.instead.items()}
        unwrapped = {fault.unwrapped for fault in faults}
        counts = [0, 0]

        def build(items: tuple[Item, ...]) -> tuple[Item, ...]:
            made: list[Item] = []
            for item in items:
                if isinstance(item, Event):
                    made += instead.get(counts[0], (item,))
                    counts[0] += 1
                elif isinstance(item, Worded):
                    number, counts[1] = counts[1], counts[1] + 1
                    inner = build(item.items)
                    made += inner if number in unwrapped else [replace(item, items=inner)]
                elif isinstance(item, Tuplet):
                    made.append(replace(item, items=build(item.items)))
                else:
                    made.append(item)
            return tuple(made)

        return canonical_text(Book(self.head, (replace(self.lick, music=build(self.lick.music)),)))

    # ---- what a difference asks about an event

    def plain(self, n: int) -> bool:
        """An event of the ordinary kind with something that sounds."""
        return 0 <= n < len(self.events) and not self.events[n].odd and bool(self.events[n].sounds)

    def notes(self, n: int) -> list[Note]:
        return [p for p in self.events[n].event.parts if isinstance(p, Note)]

    def held(self, n: int) -> bool:
        """A plain hold of all strings, one step long."""
        return self._all(n, Hold)

    def rested(self, n: int) -> bool:
        """A plain rest on all strings, one step long."""
        return self._all(n, Rest)

    def _all(self, n: int, kind: type[Part]) -> bool:
        if not 0 <= n < len(self.events) or self.events[n].odd:
            return False
        event = self.events[n].event
        part = event.parts[0]
        return len(event.parts) == 1 == event.count and isinstance(part, kind) and part == kind()

    def free(self, n: int) -> bool:
        """Nothing after event n is joined to it, shapes it, or leans on its string."""
        for m in range(n + 1, len(self.events)):
            parts = self.events[m].event.parts
            if any(isinstance(p, Hold) and (p.marks or p.string) or isinstance(p, Rest) and p.string for p in parts):
                return False
            if any(isinstance(p, Note) and (p.begin.kind is Place.JOIN or not p.string) for p in parts):
                return False
            if not all(isinstance(p, Hold) for p in parts):
                return True
        return True

    def expect(self, kind: str, n: int, by: Fraction | None = None) -> Expected:
        at = score_position(self.timeline, self.events[n].sounds[0])
        return kind, at.bar, at.beat, by


def _with(page: Page, n: int, old: Part, new: Part) -> dict[int, tuple[Item, ...]]:
    event = page.events[n].event
    return {n: (replace(event, parts=tuple(new if p is old else p for p in event.parts)),)}


def _spot(page: Page, n: int, old: Part, new: Part, kind: str, by: Fraction | None = None) -> Fault:
    return Fault(_with(page, n, old, new), frozenset({n}), page.expect(kind, n, by))


def _sound(page: Page, n: int, note: Note) -> SoundingNote | None:
    """The sound of a part; parts and sounds of an event are told apart by string."""
    letters = page.timeline.settings.tuning.letters
    string = letters.get(note.string) if note.string in letters else None
    if note.string.endswith(":"):
        string = int(note.string[:-1])
    if not note.string and len(page.events[n].sounds) == 1:
        return page.events[n].sounds[0]
    return next((s for s in page.events[n].sounds if s.string == string), None)


def wrong_fret(page: Page, n: int, chance: Random) -> Fault | None:
    """One to three frets off."""
    notes = [p for p in page.notes(n) if p.fret is not None and p.head is None]
    if not page.plain(n) or not notes:
        return None
    note = chance.choice(notes)
    by = chance.choice([-3, -2, -1, 1, 2, 3])
    fret = (note.fret or 0) + by
    if fret < 0 or any(m.technique.curve in BENT and m.fret is not None and m.fret <= fret for m in note.marks):
        return None
    if any(
        m.technique.curve in BENT and m.fret is not None for m in note.marks
    ):  # bent to the right pitch all the same
        return _spot(page, n, note, replace(note, fret=fret), "technique")
    return _spot(page, n, note, replace(note, fret=fret), "fret", Fraction(by))


def _moved(page: Page, n: int, chance: Random, same_pitch: bool) -> Fault | None:
    tuning = page.timeline.settings.tuning
    notes = [p for p in page.notes(n) if p.begin is PICKED and p.head is None and p.fret is not None]
    notes = [p for p in notes if not any(m.fret is not None for m in p.marks)]
    if not page.plain(n) or not notes or not page.free(n):
        return None
    note = chance.choice(notes)
    sound = _sound(page, n, note)
    if sound is None or sound.fret is None:
        return None
    taken = {s.string for s in page.events[n].sounds}
    string = sound.string + chance.choice([-1, 1])
    if not 1 <= string <= tuning.strings or string in taken:
        return None
    fret = sound.fret + tuning.open(sound.string) - tuning.open(string) if same_pitch else sound.fret
    if fret < 0:
        return None
    new = replace(note, string=tuning.written(string), fret=fret)
    return _spot(page, n, note, new, "string" if same_pitch else "note")


def other_string(page: Page, n: int, chance: Random) -> Fault | None:
    """The same pitch on the next string."""
    return _moved(page, n, chance, True)


def other_note(page: Page, n: int, chance: Random) -> Fault | None:
    """The same fret on the next string."""
    return _moved(page, n, chance, False)


def missing(page: Page, n: int, chance: Random) -> Fault | None:
    """Left out: a rest in its place, or the note before goes on."""
    if not page.plain(n) or not page.free(n) or page.events[n].event.count > 1:
        return None
    if any(not isinstance(p, Note) for p in page.events[n].event.parts):
        return None
    part: Part = Hold() if n and chance.random() < 0.5 and (page.plain(n - 1) or page.held(n - 1)) else Rest()
    return Fault({n: (Event((part,)),)}, frozenset({n - 1, n}), page.expect("missing", n))


def extra(page: Page, n: int, chance: Random) -> Fault | None:
    """A note where the teacher holds or rests."""
    if not (page.held(n) or page.rested(n)) or not page.free(n):
        return None
    tuning = page.timeline.settings.tuning
    note = Note(tuning.written(chance.randint(1, tuning.strings)), PICKED, fret=chance.randint(1, 12))
    slot = page.events[n].slots[0]
    stand_in = replace_sound(page, n)
    at = score_position(page.timeline, stand_in)
    assert slot.bar == stand_in.bar
    return Fault({n: (Event((note,)),)}, frozenset({n - 1, n, n + 1}), ("extra", at.bar, at.beat, None))


def replace_sound(page: Page, n: int) -> SoundingNote:
    """A sound that stands where event n stands: only its place is used."""
    slot = page.events[n].slots[0]
    index = page.timeline.slots.index(slot)
    return SoundingNote(0, 0, 0, 1, 0, None, 0.0, PICKED, None, (), [], None, index, slot.bar, 0)


def out_of_time(page: Page, n: int, chance: Random) -> Fault | None:
    """Half a step early or late."""
    early = chance.random() < 0.5
    if not (page.plain(n) and n and page.events[n].event.count == 1):
        return None
    one, two = page.events[n - 1], page.events[n]
    a, b = one.slots[-1], two.slots[0]
    if one.odd or one.inside != two.inside or one.event.count > 1 or a.bar != b.bar or a.length != b.length:
        return None
    half = page.timeline.fraction(a.length) / 2
    if half < Fraction(1, 32) or half.numerator != 1 or not a.length:
        return None
    if any(isinstance(p, Hold | Rest) and p != type(p)() for e in (one, two) for p in e.event.parts):
        return None
    if any(p.marks for p in page.notes(n - 1) + (page.notes(n) if early else [])):
        return None  # a bend or release is fitted into its step
    still = Event((Rest(),)) if page.rested(n - 1) else Event((Hold(),))
    hold = Event((Hold(),))
    before = (Step(half), one.event) if early else (Step(half), one.event, still, still)
    after: tuple[Item, ...] = (two.event, hold, hold, Step(2 * half)) if early else (two.event, Step(2 * half))
    by = -half if early else half
    return Fault(
        {n - 1: before, n: after}, frozenset({n - 2, n - 1, n, n + 1}), page.expect("early" if early else "late", n, by)
    )


def wrong_length(page: Page, n: int, chance: Random) -> Fault | None:
    """A hold becomes a rest, or a rest a hold."""
    following = page.held(n + 1), page.rested(n + 1)
    if not page.plain(n) or not any(following) or any(s.dead for s in page.events[n].sounds):
        return None
    if any(m.damping is Damping.RING for s in page.events[n].sounds for m in s.marks):
        return None
    if any(not isinstance(p, Note) for p in page.events[n].event.parts) or not page.free(n):
        return None
    last = n + 1
    while following[0] and page.held(last + 1):
        last += 1
    if following[0]:
        first = chance.randint(n + 1, last)
        instead: dict[int, tuple[Item, ...]] = {first: (Event((Rest(),)),)}
        length = sum(page.timeline.fraction(page.events[k].slots[0].length) for k in range(first, last + 1))
        return Fault(instead, frozenset(range(n, last + 2)), page.expect("short", n, Fraction(-length)))
    length = page.timeline.fraction(page.events[n + 1].slots[0].length)
    return Fault({n + 1: (Event((Hold(),)),)}, frozenset({n, n + 1, n + 2}), page.expect("long", n, length))


def technique(page: Page, n: int, chance: Random) -> Fault | None:
    """A join, mark or shape left out, or a vibrato or accent put in."""
    if not page.plain(n):
        return None
    note = chance.choice(page.notes(n) or [None])
    sound = _sound(page, n, note) if note is not None else None
    if note is None or sound is None:
        return None
    tuning = page.timeline.settings.tuning
    made: list[Note] = []
    if note.begin.kind in (Place.JOIN, Place.ENTRY):
        made.append(replace(note, begin=PICKED, string=tuning.written(sound.string)))
    made += [replace(note, marks=tuple(m for m in note.marks if m is not mark)) for mark in note.marks]
    if note.head is not None and note.head.sign == "*":
        made.append(replace(note, head=None))
    if not made and not note.marks and note.head is None and note.fret:
        sign = chance.choice(["~", "!", ","])
        row = SHAPES.get(sign) or MARKS[sign]
        made.append(replace(note, marks=(MarkNode(row),)))
    if not made:
        return None
    new = chance.choice(made)
    lost = [m for m in note.marks if m not in new.marks and m.technique.curve in BENT]
    if lost and len([s for s in sound.shapes if s.technique.curve in BENT]) == 1:
        amount = next(s.amount for s in sound.shapes if s.technique.curve in BENT)
        if amount >= 1:
            return _spot(page, n, note, new, "bend", -Fraction(amount))
    return _spot(page, n, note, new, "technique")


def join_swapped(page: Page, n: int, chance: Random) -> Fault | None:
    """A slide for a hammer-on or a pull-off, and the other way round."""
    swaps = {"h": "/", "p": "\\", "/": "h", "\\": "p"}
    notes = [p for p in page.notes(n) if p.begin.kind is Place.JOIN and p.begin.sign in swaps]
    if not page.plain(n) or not notes:
        return None
    note = chance.choice(notes)
    return _spot(page, n, note, replace(note, begin=JOINS[swaps[note.begin.sign]]), "technique")


def word_lost(page: Page, n: int, chance: Random) -> Fault | None:
    """Palm mute or another word left out over all that it stands over."""
    inside = page.events[n].inside
    if not page.plain(n) or len(inside) != 1:
        return None
    word, events = page.words[inside[0]]
    sounding = [k for k in events if page.events[k].sounds]
    if not sounding or any(page.events[k].odd for k in events) or word.word not in ("pm", "up", "down", "snap", "slap"):
        return None
    return Fault({}, frozenset(range(events[0] - 1, events[-1] + 2)), page.expect("technique", sounding[0]), inside[0])


def word_added(page: Page, n: int, chance: Random) -> Fault | None:
    """Palm mute over up to three events in a row."""
    last = n + chance.randint(0, 2)
    run = list(range(n, min(last, len(page.events) - 1) + 1))
    if not all(page.plain(k) and not page.events[k].inside for k in run) or any(
        s.marks for k in run for s in page.events[k].sounds
    ):
        return None
    if any(s.harmonic for k in run for s in page.events[k].sounds):
        return None
    if len({page.events[k].slots[0].bar for k in run}) > 1:
        return None
    instead: dict[int, tuple[Item, ...]] = {k: (Worded("pm", (page.events[k].event,)),) for k in run}
    return Fault(instead, frozenset(range(n - 4, run[-1] + 5)), page.expect("technique", n))


def bend_size(page: Page, n: int, chance: Random) -> Fault | None:
    """A bend half a step too far or not far enough."""
    by = chance.choice([-1, 1])
    for note in page.notes(n) if page.plain(n) else []:
        sound = _sound(page, n, note)
        for k, mark in enumerate(note.marks):
            if mark.technique.curve not in BENT or sound is None or note.fret is None:
                continue
            shape = sound.shapes[0]
            wanted = shape.amount + by
            if shape.technique.curve not in BENT or not 1 <= wanted <= 4 or shape.amount != int(shape.amount):
                return None
            new = replace(mark, technique=SHAPES[mark.technique.sign], fret=note.fret + Fraction(int(wanted)), by=None)
            marks = (*note.marks[:k], new, *note.marks[k + 1 :])
            return _spot(page, n, note, replace(note, marks=marks), "bend", Fraction(by))
    return None


Make = Callable[[Page, int, Random], Fault | None]
KINDS: dict[str, Make] = {
    "wrong fret": wrong_fret,
    "other string, same note": other_string,
    "other string, same fret": other_note,
    "missing": missing,
    "extra": extra,
    "early or late": out_of_time,
    "wrong length": wrong_length,
    "technique left out or put in": technique,
    "technique swapped": join_swapped,
    "palm mute or stroke left out": word_lost,
    "palm mute put in": word_added,
    "bend size": bend_size,
}


def pages(text: str) -> list[Page]:
    """The licks of a file."""
    book, _ = parse_source(Source("lick", text))
    compiled = compile_text(text).licks
    return [Page(book, lick, one) for lick, one in zip(book.licks, compiled, strict=True)]


def plant(page: Page, kinds: list[Make], count: int, chance: Random) -> tuple[str, list[Expected]]:
    """Up to `count` differences of these kinds."""
    faults: list[Fault] = []
    taken: set[int] = set()
    order = list(range(len(page.events))) * 2
    chance.shuffle(order)
    tries = 0
    for n in order:
        fault = chance.choice(kinds)(page, n, chance)
        if fault is None or fault.touches & taken or tries > 12:
            continue
        tries += 1
        result = compile_text(page.text([*faults, fault]))
        if all(lick.ok for lick in result.licks):
            faults.append(fault)
            taken |= fault.touches
        if len(faults) == count:
            break
    return page.text(faults), [fault.expected for fault in faults]
