"""Draft → slots: what the notation has to write at each instant, so that each note lasts as long as it should.

In: the bars of a draft with one meter. Out: for each bar the slots that its events stand in. The rules by which a note ends are those of
`timeline/note_builder.py`: a struck note ends every string that was not told to go on. Where they would end a note too early, a slot holds its string;
where they would let it go on too long, a slot stops it. What cannot be written is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record, replace
from lickwright.importers.draft import DraftBar, DraftDirection, DraftGroup, DraftNote, GroupKind
from lickwright.importers.shape_runs import ShapeRun, shape_runs, whole_run
from lickwright.importers.words_over import DraftSounding, WordOver, WordsOver
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import (
    ENTRIES,
    JOINS,
    PICKED,
    Damping,
    Stroke,
    Technique,
    TechniqueKind,
)
from lickwright.notation.tree import Bare, Event, Hold, Item, MarkNode, Note, Part, Rest, Worded

_ZERO = Fraction(0)
_JOINED = -2  # in the place of a ring word: notes that are connected, not struck, end no other string
_ENTRY_FOR = {Stroke.HAMMER: ENTRIES["h"], Stroke.TAP: ENTRIES["t"]}  # what a join is written as where nothing sounds


@mutable_record
class PlannedSlot:
    """One instant of a bar, and what is written there."""

    at: Fraction  # whole notes from the start of the bar
    item: Item  # an event, or a word around one
    before: list[Item] = field(default_factory=list)  # grace notes
    words: tuple[WordOver, ...] | None = None  # over it; None where no note begins
    directions: tuple[DraftDirection, ...] = ()
    exact: bool = False  # it takes one step, since its shapes last as long as its step
    silent: bool = False  # what follows until the next slot is silence


class SlotPlanner:
    """Plays the bars of a draft and plans their slots. `say(bar, message)` takes what cannot be written."""

    def __init__(self, tuning: Tuning, step: Fraction, say: Callable[[int, str], None]) -> None:
        self._tuning, self._step, self._say = tuning, step, say
        self._sounding: dict[int, DraftSounding] = {}
        self._last: list[int] = []  # strings of the notes written last
        self._words = WordsOver()
        self._begun = _ZERO  # where the bar begins, in whole notes from the start of the lick
        self._bar = 0
        # Where a first ending began, and what sounded then.
        self._forked: tuple[Fraction, dict[int, DraftSounding]] | None = None

    def plan(self, bars: Sequence[DraftBar], lengths: Sequence[Fraction]) -> list[list[PlannedSlot]]:
        """Return the slots of each bar. A bar that repeats the one before has none."""
        found = []
        groups: tuple[DraftGroup, ...] = ()
        for self._bar, (bar, length) in enumerate(zip(bars, lengths, strict=True)):
            groups = groups if bar.same else bar.groups
            self._turn(bar)
            slots = self._plan_bar(groups, () if bar.same else bar.directions, length)
            found.append([] if bar.same else slots)
            self._begun += length
        return found

    def _turn(self, bar: DraftBar) -> None:
        """Keep what sounds before a first ending, which is what the second one goes on from."""
        if bar.ending == 1:
            self._forked = self._begun, dict(self._sounding)
        elif bar.ending == 2 and self._forked is not None:
            later = self._begun - self._forked[0]
            self._sounding = {
                string: replace(one, start=one.start + later, end=one.end + later)
                for string, one in self._forked[1].items()
            }
            self._forked = None

    # --- one bar -------------------------------------------------------------------------------------------------

    def _plan_bar(
        self, groups: tuple[DraftGroup, ...], directions: tuple[DraftDirection, ...], length: Fraction
    ) -> list[PlannedSlot]:
        by_time: dict[Fraction, list[DraftGroup]] = {}
        for group in groups:
            if _ZERO <= group.at < length:
                by_time.setdefault(group.at, []).append(group)
            else:
                self._say(self._bar, f"a note at {group.at} of a whole note lies outside of its bar")
        said: dict[Fraction, list[DraftDirection]] = {}
        for one in directions:
            said.setdefault(one.at if one.at < length else _ZERO, []).append(one)
        pending = {*by_time, *said, _ZERO}
        slots = []
        while pending:
            at = min(pending)
            pending.discard(at)
            slot, runs = self._plan_slot(at, by_time.get(at, []))
            slot.directions = tuple(said.get(at, ()))
            slots.append(slot)
            pending |= {at for at in self._later(at, runs) if at < length}
        return slots

    def _later(self, now: Fraction, runs: Iterable[ShapeRun]) -> set[Fraction]:
        """Return the instants after `now` at which what sounds ends or is shaped, from the start of the bar."""
        found = {run.end for run in runs if run.end is not None}
        for one in self._sounding.values():
            found.add(one.end - self._begun)
            found |= {run.at for run in self._runs(one)}
        return {at for at in found if at > now}

    # --- one instant ---------------------------------------------------------------------------------------------

    def _plan_slot(self, at: Fraction, groups: list[DraftGroup]) -> tuple[PlannedSlot, list[ShapeRun]]:
        now = self._begun + at
        before = [self._grace(group, now) for group in groups if group.kind is GroupKind.GRACE]
        strokes = [note for group in groups if group.kind is GroupKind.RAKE for note in group.notes]
        main = [group for group in groups if group.kind in (GroupKind.NOTE, GroupKind.SCRAPE)]
        if main:
            slot, runs = self._notes(at, now, main, strokes)
        else:
            if strokes:
                self._say(self._bar, "a rake that leads to no note is left out")
            slot, runs = self._no_notes(at, now)
        slot.before = before
        slot.exact = any(run.end is not None for run in runs)
        slot.silent = not self._sounding
        return slot, runs

    def _no_notes(self, at: Fraction, now: Fraction) -> tuple[PlannedSlot, list[ShapeRun]]:
        """Return the slot of an instant at which no note begins."""
        ending = [string for string, one in self._sounding.items() if one.end <= now]
        runs = self._runs_at(at, ())
        for string in ending:
            del self._sounding[string]
        if not self._sounding:
            self._words.close_ring()
            return PlannedSlot(at, Event((Rest(),))), []
        if ending:
            parts = [*self._rests(ending), *self._holds(runs, runs)]
        elif not runs:
            parts = [Hold()]
        elif self._unnamed(runs):
            parts = [Hold("", next(iter(runs.values())).marks)]
        else:
            parts = self._holds(self._sounding, runs)
        self._bend(runs)
        return PlannedSlot(at, Event(tuple(parts))), list(runs.values())

    def _rests(self, strings: Iterable[int]) -> list[Part]:
        """Return what ends the sound of some strings."""
        return [Rest(self._tuning.written(string)) for string in _thickest(strings)]

    def _holds(self, strings: Iterable[int], runs: dict[int, ShapeRun]) -> list[Part]:
        """Return what lets some strings sound on, with the shapes that begin on them."""
        return [
            Hold(self._tuning.written(string), runs[string].marks if string in runs else ())
            for string in _thickest(strings)
        ]

    def _unnamed(self, runs: dict[int, ShapeRun]) -> bool:
        """Return whether shapes on a plain hold work on these strings and on no others."""
        group = [string for string in self._last if string in self._sounding]
        bent = [string for string in group if self._sounding[string].bent]
        return set(bent or group) == set(runs) and len({run.marks for run in runs.values()}) == 1

    def _runs_at(self, at: Fraction, skipped: Iterable[int]) -> dict[int, ShapeRun]:
        found: dict[int, ShapeRun] = {}
        for string in _thickest(set(self._sounding) - set(skipped)):
            one = self._sounding[string]
            if one.end > self._begun + at:
                found.update((string, run) for run in self._runs(one) if run.at == at)
        return found

    def _bend(self, runs: dict[int, ShapeRun]) -> None:
        for string, run in runs.items():
            self._sounding[string].bent = run.bent

    def _notes(
        self, at: Fraction, now: Fraction, main: list[DraftGroup], strokes: list[DraftNote]
    ) -> tuple[PlannedSlot, list[ShapeRun]]:
        """Return the slot of notes that begin; `strokes` are those of a rake that leads to them."""
        joined = [self._joined(note, now) for group in main for note in group.notes]
        notes = _by_string({note.string: note for note in joined}.values())
        struck = any(note.begin.kind is not TechniqueKind.JOIN for note in notes)
        words = self._words.over(notes, self._sounding, now, struck)
        ring = next((word.number for word in words if word.name == "ring"), None)
        runs = self._runs_at(at, {note.string for note in notes})
        notes, alone = self._writable(notes, main, strokes)
        extra = self._others(notes, now, ring if struck else _JOINED, runs, alone)
        own = self._begin(notes, at, now, ring)
        parts = (*(self._part(note, own.get(note.string)) for note in notes), *extra)
        self._bend({**runs, **own})
        self._last = [note.string for note in notes]
        return PlannedSlot(at, self._worded(parts, notes, main, strokes), words=words), [*runs.values(), *own.values()]

    def _writable(
        self, notes: list[DraftNote], main: list[DraftGroup], strokes: list[DraftNote]
    ) -> tuple[list[DraftNote], bool]:
        """Return the notes that can be written together, and whether nothing else can be written beside them."""
        if len(notes) > 1 and any(note.trill is not None for note in notes):
            self._say(self._bar, "a trill of one note of a chord is left out")
            notes = [replace(note, trill=None) for note in notes]
        alone = bool(strokes) or notes[0].trill is not None or main[0].kind is GroupKind.SCRAPE
        if alone and len(notes) > 1:
            self._say(self._bar, "notes played together with a rake or a pick scrape are left out")
            notes = notes[:1]
        return notes, alone

    def _others(
        self, notes: Sequence[DraftNote], now: Fraction, ring: int | None, runs: dict[int, ShapeRun], alone: bool
    ) -> list[Part]:
        """Return what is written for the strings that others are played over, and let go of those that end.

        `ring` is the ring word of the stroke, or `_JOINED` for no stroke at all; with `alone` nothing can be written.
        """
        strings = {note.string for note in notes}
        others = {string: one for string, one in self._sounding.items() if string not in strings}
        ended = {string for string, one in others.items() if ring != _JOINED and _is_stopped(one, ring)}
        over = {string for string, one in others.items() if one.end <= now}
        held = {string for string in others if string not in over and (string in ended or string in runs)}
        stopped = over - ended
        if alone:
            if held:
                self._say(self._bar, "strings held under a rake, a trill or a pick scrape are let go")
            held, stopped = set(), set()
        for string in over | (ended - held):
            del self._sounding[string]
            runs.pop(string, None)
        return [*self._holds(held, runs), *self._rests(stopped)]

    def _begin(self, notes: Sequence[DraftNote], at: Fraction, now: Fraction, ring: int | None) -> dict[int, ShapeRun]:
        """Let notes sound, and return the shapes that begin with them, by string."""
        found: dict[int, ShapeRun] = {}
        for note in notes:
            rings = any(mark.damping is Damping.RING and mark.kind is TechniqueKind.MARK for mark in note.marks)
            before = self._sounding.get(note.string)
            bent = note.begin.stroke is Stroke.TAP and before is not None and before.bent
            self._sounding[note.string] = one = DraftSounding(note, now, now + note.length, rings, ring, bent)
            found.update((note.string, run) for run in self._runs(one) if run.at == at)
        return found

    def _worded(
        self, parts: tuple[Part, ...], notes: Sequence[DraftNote], main: list[DraftGroup], strokes: list[DraftNote]
    ) -> Item:
        """Return an event, in the word that makes it a rake, a trill, a rolled chord or a pick scrape."""
        event = Event(parts)
        if main[0].kind is GroupKind.SCRAPE:
            return Worded("scrape", (Event((Bare(self._tuning.written(notes[0].string)),)),))
        if strokes:
            bare = (Event((Bare(self._tuning.written(note.string)),)) for note in strokes)
            return Worded("rake", (*bare, event))
        if notes[0].trill is not None:
            return Worded("trill", (event, Event((_partner(notes[0]),))))
        return Worded("roll", (event,)) if any(group.roll for group in main) else event

    def _joined(self, note: DraftNote, now: Fraction) -> DraftNote:
        """Return a note, its connection written otherwise where nothing sounds that it could go on from."""
        before = self._sounding.get(note.string)
        if note.begin.kind is not TechniqueKind.JOIN or (before is not None and before.end >= now):
            return note
        self._say(self._bar, f"nothing sounds on its string for a {note.begin.name} to go on from")
        return replace(note, begin=_ENTRY_FOR.get(note.begin.stroke or Stroke.PICK, PICKED))

    # --- parts ---------------------------------------------------------------------------------------------------

    def _part(self, note: DraftNote, run: ShapeRun | None) -> Note:
        joined = note.begin.kind is TechniqueKind.JOIN
        string = "" if joined and self._last == [note.string] else self._tuning.written(note.string)
        plain = tuple(MarkNode(mark) for mark in _unique(note.marks) if mark.kind is TechniqueKind.MARK)
        shapes = run.marks if run is not None else ()
        return Note(string, note.begin, note.head, note.fret, note.touch, (*shapes, *plain), note.finger, note.pluck)

    def _grace(self, group: DraftGroup, now: Fraction) -> Item:
        """Return grace notes, and let what they are struck over end."""
        notes = _by_string(self._joined(note, now) for note in group.notes)
        parts = tuple(self._part(note, whole_run(note, _ZERO)) for note in notes)
        if any(note.begin.kind is not TechniqueKind.JOIN for note in notes):
            self._sounding = {
                string: one for string, one in self._sounding.items() if one.end > now and not _is_stopped(one, -1)
            }
        for note in notes:
            self._sounding[note.string] = DraftSounding(note, now, now, False, None)
        self._last = [note.string for note in notes]
        return Worded("grace", (Event(parts),))

    def _runs(self, one: DraftSounding) -> list[ShapeRun]:
        return shape_runs(one.note, one.start - self._begun, self._step, one.bent)


def _is_stopped(one: DraftSounding, ring: int | None) -> bool:
    """Return whether a stroke under the ring word of a number ends a note on another string."""
    return not one.rings and (one.ring_word is None or one.ring_word != ring)


def _partner(note: DraftNote) -> Note:
    up = (note.trill or 0) > (note.fret or 0)
    return Note("", JOINS["h" if up else "p"], None, note.trill)


def _unique(marks: Iterable[Technique]) -> list[Technique]:
    return list({mark.name + mark.kind: mark for mark in marks}.values())


def _thickest(strings: Iterable[int]) -> list[int]:
    return sorted(strings, reverse=True)


def _by_string(notes: Iterable[DraftNote]) -> list[DraftNote]:
    return sorted(notes, key=lambda note: -note.string)
