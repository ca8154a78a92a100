"""Finds the differences of two matched phrases, note by note, without those that follow from another one.

In: `MatchedPhrases`. Out: pairs with what differs in them, and the differences in musical order. A difference that is only the
result of another one is left out: a note that ends late because the next one starts late, a pull-off from a note that is missing.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from lickwright.compare.match import MatchedNotes, MatchedPhrases
from lickwright.compare.merging import FoundDifference, merge_differences, written_key
from lickwright.compare.model import Difference, DifferenceKind, Pair, ScorePosition
from lickwright.compare.notes import arrival_difference, highest_bend, is_same_pitch
from lickwright.compare.technique import (
    BENT_TO,
    ELSEWHERE,
    FRETTED,
    HALF_STEP,
    NoteDifference,
    bend_route,
    note_differences,
)
from lickwright.compare.timing import JOINED, SPLIT, Slip, Timing, judge_timing
from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import HELD_BEND, Curve, Damping
from lickwright.timeline.bar_count import count_name
from lickwright.timeline.model import SoundingNote, Timeline

_PLACE_SHARE = Fraction(3, 5)  # of the right pitches that lie on another string: the phrase is played elsewhere
_PLACE_LEAST = 4  # of them; both are estimates
_PITCH_OF_BENDS = (DifferenceKind.BEND, DifferenceKind.INTONATION)


def find_differences(matched: MatchedPhrases) -> tuple[tuple[Pair, ...], tuple[Difference, ...]]:
    """Return every pair once, with what differs in it, and every difference once, in musical order."""
    judged = _Judge(matched, judge_timing(matched))
    found = list(judged.all())
    kinds: dict[tuple[object, ...], set[DifferenceKind]] = {}
    firsts: dict[tuple[object, ...], MatchedNotes] = {}
    for k, met in enumerate(matched.met):
        if k not in judged.absorbed:
            firsts.setdefault(written_key(met), met)
    for one in found:
        if one.counts:
            kinds.setdefault(written_key(one.met), set()).add(one.difference.kind)
    pairs = tuple(Pair(met.mine, met.theirs, frozenset(kinds.get(key, ()))) for key, met in firsts.items())
    return pairs, merge_differences([one for one in found if one.told])


def is_elsewhere_on_neck(matched: MatchedPhrases) -> bool:
    """Return whether the phrase as a whole is played at another place of the neck."""
    same = [m for m in matched.met if m.mine and m.theirs and is_same_pitch(m.mine, m.theirs, matched.semitones)]
    moved = sum(1 for m in same if m.mine and m.theirs and m.mine.string != m.theirs.string)
    return moved >= _PLACE_LEAST and moved >= _PLACE_SHARE * len(same) and 2 * len(same) >= len(matched.met)


@mutable_record
class _Judge:
    """Judges single notes, with what has to be known of the whole phrase for that."""

    matched: MatchedPhrases
    timing: Timing
    elsewhere: bool = False
    # Where a note starts that ends others in one version only: by start, or by start and string.
    faulty_mine: set[tuple[int, int | None]] = field(default_factory=set)
    faulty_theirs: set[tuple[int, int | None]] = field(default_factory=set)
    lost: set[int] = field(default_factory=set)  # units of the clock at which a missing note would start
    unsure_mine: set[int] = field(default_factory=set)  # index of a note that is extra or has another pitch
    unsure_theirs: set[int] = field(default_factory=set)
    absorbed: set[int] = field(default_factory=set)  # notes alone that are a step of a bend in the other version
    bends: dict[int, float] = field(default_factory=dict)  # by string: semitones that its last bend is off
    # Starts of notes that answer each other, of the student's and of the teacher's version.
    answers: set[tuple[int, int]] = field(default_factory=set)

    def all(self) -> Iterator[FoundDifference]:
        """Yield the differences of every pair, in musical order."""
        self._look_round()
        for k, met in enumerate(self.matched.met):
            if met.mine is not None and met.theirs is not None:
                yield from self._pair(k, met, met.mine, met.theirs)
            elif self._step_of_a_bend(k, met):
                self.absorbed.add(k)
            else:
                yield self._alone(met)

    def _pair(self, k: int, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[FoundDifference]:
        yield from self._where(met, a, b)
        yield from self._when(k, met)
        manner = list(self._how(met, a, b))
        if k not in self.timing.figure:  # the slip of the figure reports these lengths
            for length in self._how_long(met, a, b):
                yield length._replace(told=not self._length_is_shape(met, a, b, manner))
        yield from manner

    def _length_is_shape(
        self, met: MatchedNotes, a: SoundingNote, b: SoundingNote, manner: list[FoundDifference]
    ) -> bool:
        """Return whether a note stops too soon, or is held too long, just for a bend or other shape that is missing or added at its end.

        A bend that comes after the student's note has stopped is missing, which says both.
        """
        my_end = a.end * self.matched.clock_mine - met.shift
        their_end = b.end * self.matched.clock_theirs
        after = [(s.technique.name, "") for s in b.shapes if s.start * self.matched.clock_theirs >= my_end]
        after += [
            ("", s.technique.name) for s in a.shapes if s.start * self.matched.clock_mine - met.shift >= their_end
        ]
        return any((one.difference.lacking, one.difference.added) in after for one in manner if one.told)

    def _look_round(self) -> None:
        self.elsewhere = is_elsewhere_on_neck(self.matched)
        for k, met in enumerate(self.matched.met):
            a, b = met.mine, met.theirs
            self._look_at_ends(met, a, b, self.timing.slips.get(k))
            if a is not None and b is not None:
                self.answers.add((a.start, b.start))
            if a is None or b is None or not is_same_pitch(a, b, self.matched.semitones):
                self.unsure_mine |= {a.index} if a is not None else set()
                self.unsure_theirs |= {b.index} if b is not None else set()

    def _look_at_ends(
        self, met: MatchedNotes, a: SoundingNote | None, b: SoundingNote | None, slip: Slip | None
    ) -> None:
        """Note a beginning that ends other notes in one version and not in the other."""
        if a is None and b is not None:
            self.lost.add(b.start * self.matched.clock_theirs + met.shift)
        for sound, ends in ((a, self.faulty_mine), (b, self.faulty_theirs)):
            if sound is None:
                continue
            apart = slip is not None and slip.about in (SPLIT, JOINED)  # the first of them ends what the others end
            if met.late or apart or a is None or b is None or a.begin.name != b.begin.name:
                ends.add((sound.start, None))  # a note that is joined lets the others ring on
            elif a.string != b.string:
                ends.add((sound.start, sound.string))

    def _found(self, met: MatchedNotes, kind: DifferenceKind, by: Fraction = Fraction(0)) -> FoundDifference:
        a, b = met.mine, met.theirs
        timeline, sound = (self.matched.theirs, b) if b is not None else (self.matched.mine, a)
        assert sound is not None
        return FoundDifference(
            met,
            Difference(
                kind, score_position(timeline, sound), (a,) if a is not None else (), (b,) if b is not None else (), by
            ),
        )

    def _alone(self, met: MatchedNotes) -> FoundDifference:
        return self._found(met, DifferenceKind.EXTRA if met.theirs is None else DifferenceKind.MISSING)

    def _step_of_a_bend(self, k: int, met: MatchedNotes) -> bool:
        """Return whether a note that is alone is a release that the other version has as a note of its own.

        The note before it is bent to in one version and fretted in the other, which is reported there.
        """
        alone = met.mine or met.theirs
        before = self._pair_before(k)
        if alone is None or before is None:
            return False
        semitones = self.matched.semitones
        if bend_route(*before, semitones) not in (FRETTED, BENT_TO):
            return False
        mine, theirs = self.matched.clock_mine, self.matched.clock_theirs
        if met.mine is not None:
            bent, pitch = before[1], alone.pitch + semitones
            goes_on = alone.start * mine - met.shift < bent.end * theirs
        else:
            bent, pitch = before[0], alone.pitch - semitones
            goes_on = alone.start * theirs + met.shift < bent.end * mine
        return goes_on and bool(highest_bend(bent)) and pitch in _released_to(bent)

    def _pair_before(self, k: int) -> tuple[SoundingNote, SoundingNote] | None:
        """Return the last two notes before one that answer each other."""
        for met in reversed(self.matched.met[:k]):
            if met.mine is not None and met.theirs is not None:
                return met.mine, met.theirs
        return None

    def _where(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[FoundDifference]:
        """Yield another fret, string or pitch."""
        semitones = self.matched.semitones
        if self._wrong_elsewhere(a, b):
            yield self._found(met, DifferenceKind.NOTE, _fraction(arrival_difference(a, b, semitones)))
        elif is_same_pitch(a, b, semitones):
            if a.string != b.string and not self.elsewhere:
                yield self._found(met, DifferenceKind.STRING)
        elif not self._is_technique_alone(a, b) and not bend_route(a, b, semitones):
            off = 0.0 if a.dead or b.dead else arrival_difference(a, b, semitones) or a.pitch + semitones - b.pitch
            yield self._found(met, DifferenceKind.FRET if a.string == b.string else DifferenceKind.NOTE, _fraction(off))

    def _is_technique_alone(self, a: SoundingNote, b: SoundingNote) -> bool:
        """Return whether two pitches differ only by a technique: a dead note has none, and a harmonic sounds elsewhere."""
        if a.dead != b.dead:
            return a.string == b.string or self.elsewhere
        return a.head is not b.head and a.string == b.string and a.fret == b.fret

    def _when(self, k: int, met: MatchedNotes) -> Iterator[FoundDifference]:
        """Yield what is early or late: reported at the notes that it begins with, and counted for each note."""
        late, slip = self.timing.late[k], self.timing.slips.get(k)
        if slip is not None:
            yield self._slip(met, slip)._replace(counts=late != 0)
        elif late:
            kind = DifferenceKind.LATE if late > 0 else DifferenceKind.EARLY
            yield self._found(met, kind, Fraction(late, self.matched.unit))._replace(told=False)

    def _slip(self, met: MatchedNotes, slip: Slip) -> FoundDifference:
        found = self._found(
            met, DifferenceKind.LATE if slip.by > 0 else DifferenceKind.EARLY, Fraction(slip.by, self.matched.unit)
        )
        notes = [self.matched.met[k] for k in slip.notes]
        last = self.matched.met[slip.until].theirs if slip.until is not None else None
        difference = found.difference._replace(
            mine=tuple(m.mine for m in notes if m.mine is not None),
            theirs=tuple(m.theirs for m in notes if m.theirs is not None),
            about=slip.about, moves=slip.moves, until=score_position(self.matched.theirs, last) if last is not None else None,
        )  # fmt: skip
        return found._replace(difference=difference)

    def _how_long(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[FoundDifference]:
        """Yield the end of a note that comes too soon or too late, where nothing else accounts for it."""
        off = self._end_off(met, a, b)
        if off in (0, met.late) or not (_has_length(a) and _has_length(b)) or self._end_is_explained(a, b, off):
            return
        kind = DifferenceKind.LONG if off > 0 else DifferenceKind.SHORT
        yield self._found(met, kind, Fraction(off - met.late, self.matched.unit))

    def _end_is_explained(self, a: SoundingNote, b: SoundingNote, off: int) -> bool:
        """Return whether a note ends where it has to: at the next note, or at one that is itself another matter."""
        my_end, their_end = a.end * self.matched.clock_mine, b.end * self.matched.clock_theirs
        if (a.end, b.end) in self.answers or my_end == their_end:
            return True  # up to the next note, or up to where the teacher's ends
        if self.faulty_mine & {(a.end, None), (a.end, a.string)}:
            return True
        if off > 0:
            return bool(self.faulty_theirs & {(b.end, None), (b.end, b.string)})
        return my_end in self.lost  # silence in the place of a missing note

    def _end_off(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> int:
        """Return the units by which the student's note ends late."""
        return a.end * self.matched.clock_mine - b.end * self.matched.clock_theirs - met.shift

    def _how(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[FoundDifference]:
        """Yield the techniques that differ; nothing of another note on another string, which would be too much to ask."""
        semitones = self.matched.semitones
        route = bend_route(a, b, semitones)
        if route:
            lacking, added = ("bend" if highest_bend(sound) and route != ELSEWHERE else "" for sound in (b, a))
            yield self._technique(met, NoteDifference(lacking, added, about=route))
            return
        if self._is_another_note(a, b):
            return
        right = a.index not in self.unsure_mine
        sources_right = right and a.source not in self.unsure_mine and b.source not in self.unsure_theirs
        clock = (self.matched.clock_mine, self.matched.clock_theirs)
        for one in note_differences(a, b, sources_right, clock, met.late, semitones):
            found = self._technique(met, one)
            yield found._replace(told=not self._goes_on(a, b, one)) if one.kind in _PITCH_OF_BENDS else found

    def _is_another_note(self, a: SoundingNote, b: SoundingNote) -> bool:
        same = a.string == b.string or self.elsewhere or is_same_pitch(a, b, self.matched.semitones)
        return not same or self._wrong_elsewhere(a, b)

    def _goes_on(self, a: SoundingNote, b: SoundingNote, one: NoteDifference) -> bool:
        """Return whether the bend of the note before goes on under this one, as far off as it was reported there."""
        held = any(shape.technique is HELD_BEND for shape in (*a.shapes, *b.shapes))
        before = self.bends.get(b.string)
        self.bends[b.string] = one.by
        return held and before == one.by

    def _wrong_elsewhere(self, a: SoundingNote, b: SoundingNote) -> bool:
        """Return whether a bend is missing or added on another string: the note is wrong, wherever its bend begins."""
        bent = bool(highest_bend(a)) != bool(highest_bend(b))
        off = arrival_difference(a, b, self.matched.semitones)
        return a.string != b.string and not self.elsewhere and bent and not (a.dead or b.dead) and abs(off) >= HALF_STEP

    def _technique(self, met: MatchedNotes, one: NoteDifference) -> FoundDifference:
        by = Fraction(one.by) if one.kind in _PITCH_OF_BENDS else Fraction(one.by) / self.matched.unit
        found = self._found(met, one.kind, by)
        difference = found.difference._replace(lacking=one.lacking, added=one.added, about=one.about)
        return FoundDifference(met, difference, one.lasts)


def _fraction(semitones: float) -> Fraction:
    return Fraction(semitones).limit_denominator(100)


def _released_to(sound: SoundingNote) -> set[float]:
    """Return the pitches that the releases of a bend arrive at."""
    return {sound.pitch + s.amount for s in sound.shapes if s.technique.curve is Curve.RELEASE}


def _has_length(sound: SoundingNote) -> bool:
    """Return whether it matters when a sound ends: not of a dead or grace note, nor of one that is to ring on."""
    return sound.kind == "note" and not sound.dead and not _rings(sound)


def _rings(sound: SoundingNote) -> bool:
    return any(mark.damping is Damping.RING for mark in sound.marks)


def score_position(timeline: Timeline, sound: SoundingNote) -> ScorePosition:
    """Return the bar and beat of a note as written; a pick-up is counted as the end of a full bar."""
    bar, slot = timeline.bars[sound.bar], timeline.slots[sound.slot]
    return ScorePosition(bar.number, count_name(timeline, bar, slot.at))
