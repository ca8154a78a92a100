"""What differs, note by note, each thing once and no consequence of another.

In: `Matched`. Out: pairs with what differs in them, and the differences in musical order. One that a player would not
call a mistake of its own is none: the end of a note where the next one comes late, a pull-off from a note that is missing.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from lickwright.compare.match import MatchedNotes, MatchedPhrases
from lickwright.compare.model import Difference, DifferenceKind, Pair, ScorePosition
from lickwright.compare.notes import arrival_difference, highest_bend, is_same_pitch
from lickwright.compare.technique import BENT_TO, FRETTED, HALF_STEP, NoteDifference, bend_route, note_differences
from lickwright.compare.timing import JOINED, SPLIT, Slip, Timing, judge_timing
from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.notation.techniques import HELD_BEND, Curve, Damping
from lickwright.timeline.bar_count import count_name
from lickwright.timeline.model import SoundingNote, Timeline

_PLACE_SHARE = Fraction(3, 5)  # of the right pitches that lie on another string: the phrase is played elsewhere
_PLACE_LEAST = 4  # of them
_RUN = 4  # notes one after another with the same difference: one thing to say
_IN_RUNS = (
    DifferenceKind.MISSING,
    DifferenceKind.EXTRA,
    DifferenceKind.EARLY,
    DifferenceKind.LATE,
    DifferenceKind.STRING,
)
_TOGETHER = (
    DifferenceKind.EARLY,
    DifferenceKind.LATE,
    DifferenceKind.SHORT,
    DifferenceKind.LONG,
    DifferenceKind.TECHNIQUE,
    DifferenceKind.BEND,
    DifferenceKind.INTONATION,
    DifferenceKind.MISSING,
    DifferenceKind.EXTRA,
)


class _Found(NamedTuple):
    """A difference of one pair."""

    met: MatchedNotes
    difference: Difference
    over: bool = False  # it may be one of a word that lasts over several notes
    counts: bool = True  # against the note, in the score
    told: bool = True  # False for what another difference speaks of


def find_differences(matched: MatchedPhrases) -> tuple[tuple[Pair, ...], tuple[Difference, ...]]:
    """All pairs once, and all differences once."""
    judged = _Judge(matched, judge_timing(matched))
    found = list(judged.all())
    kinds: dict[tuple[object, ...], set[DifferenceKind]] = {}
    firsts: dict[tuple[object, ...], MatchedNotes] = {}
    for k, met in enumerate(matched.met):
        if k not in judged.absorbed:
            firsts.setdefault(_written(met), met)
    for one in found:
        if one.counts:
            kinds.setdefault(_written(one.met), set()).add(one.difference.kind)
    pairs = tuple(Pair(met.mine, met.theirs, frozenset(kinds.get(key, ()))) for key, met in firsts.items())
    return pairs, tuple(_runs(_joined(_once([one for one in found if one.told]))))


def is_elsewhere_on_neck(matched: MatchedPhrases) -> bool:
    """Whether the phrase as a whole is played at another place of the neck."""
    same = [m for m in matched.met if m.mine and m.theirs and is_same_pitch(m.mine, m.theirs, matched.semitones)]
    moved = sum(1 for m in same if m.mine and m.theirs and m.mine.string != m.theirs.string)
    return moved >= _PLACE_LEAST and moved >= _PLACE_SHARE * len(same) and 2 * len(same) >= len(matched.met)


@mutable_record
class _Judge:
    """Everything that is asked of the whole phrase while single notes are judged."""

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

    def all(self) -> Iterator[_Found]:
        self._look_round()
        for k, met in enumerate(self.matched.met):
            a, b = met.mine, met.theirs
            if a is None or b is None:
                if self._step_of_a_bend(k, met):
                    self.absorbed.add(k)
                else:
                    yield self._alone(met)
                continue
            yield from self._where(met, a, b)
            yield from self._when(k, met)
            if k not in self.timing.figure:  # its notes are shorter or longer, which is what it is said of
                yield from self._how_long(met, a, b)
            yield from self._how(met, a, b)

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
        """Takes note of a beginning that ends other notes in one version and not in the other."""
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

    def _found(self, met: MatchedNotes, kind: DifferenceKind, by: Fraction = Fraction(0)) -> _Found:
        a, b = met.mine, met.theirs
        timeline, sound = (self.matched.theirs, b) if b is not None else (self.matched.mine, a)
        assert sound is not None
        return _Found(
            met,
            Difference(
                kind, score_position(timeline, sound), (a,) if a is not None else (), (b,) if b is not None else (), by
            ),
        )

    def _alone(self, met: MatchedNotes) -> _Found:
        return self._found(met, DifferenceKind.EXTRA if met.theirs is None else DifferenceKind.MISSING)

    def _step_of_a_bend(self, k: int, met: MatchedNotes) -> bool:
        """Return whether a note that is alone is a release that the other version has as a note of its own.

        The note before it is bent to in one version and fretted in the other, of which enough is said there.
        """
        alone = met.mine or met.theirs
        before = next((m for m in reversed(self.matched.met[:k]) if m.mine is not None and m.theirs is not None), None)
        if alone is None or before is None or before.mine is None or before.theirs is None:
            return False
        semitones = self.matched.semitones
        if bend_route(before.mine, before.theirs, semitones) not in (FRETTED, BENT_TO):
            return False
        clocks = self.matched.clock_mine, self.matched.clock_theirs
        if met.mine is not None:
            bent, lower, start, end = before.theirs, semitones, met.mine.start * clocks[0] - met.shift, clocks[1]
        else:
            bent, lower, start, end = before.mine, -semitones, alone.start * clocks[1] + met.shift, clocks[0]
        if not highest_bend(bent) or start >= bent.end * end:
            return False
        reached = {bent.pitch + s.amount for s in bent.shapes if s.technique.curve is Curve.RELEASE}
        return alone.pitch + lower in reached

    def _where(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[_Found]:
        semitones = self.matched.semitones
        if self._wrong_elsewhere(a, b):
            yield self._found(
                met, DifferenceKind.NOTE, Fraction(arrival_difference(a, b, semitones)).limit_denominator(100)
            )
            return
        if is_same_pitch(a, b, semitones):
            if a.string != b.string and not self.elsewhere:
                yield self._found(met, DifferenceKind.STRING)
            return
        if a.dead != b.dead and (a.string == b.string or self.elsewhere):
            return  # a technique, and no pitch to compare
        if a.head is not b.head and a.string == b.string and a.fret == b.fret:
            return  # a harmonic at the right fret sounds elsewhere
        if not bend_route(a, b, semitones):
            off = 0.0 if a.dead or b.dead else arrival_difference(a, b, semitones) or a.pitch + semitones - b.pitch
            apart = Fraction(off).limit_denominator(100)
            yield self._found(met, DifferenceKind.FRET if a.string == b.string else DifferenceKind.NOTE, apart)

    def _when(self, k: int, met: MatchedNotes) -> Iterator[_Found]:
        """What is early or late: told of the notes that it begins with, and counted for each."""
        late, slip = self.timing.late[k], self.timing.slips.get(k)
        if slip is not None:
            yield self._slip(met, slip)._replace(counts=late != 0)
        elif late:
            kind = DifferenceKind.LATE if late > 0 else DifferenceKind.EARLY
            yield self._found(met, kind, Fraction(late, self.matched.unit))._replace(told=False)

    def _slip(self, met: MatchedNotes, slip: Slip) -> _Found:
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

    def _how_long(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[_Found]:
        """The end of a note, where it is not that of another's beginning that is itself another matter."""
        off = self._end_off(met, a, b)
        if off in (0, met.late) or a.kind != "note" or b.kind != "note" or a.dead or b.dead or _rings(a) or _rings(b):
            return
        if (a.end, b.end) in self.answers or a.end * self.matched.clock_mine == b.end * self.matched.clock_theirs:
            return  # up to the next note, or up to where the teacher's ends
        if self.faulty_mine & {(a.end, None), (a.end, a.string)}:
            return
        if self.faulty_theirs & {(b.end, None), (b.end, b.string)} and off > 0:
            return
        if off < 0 and a.end * self.matched.clock_mine in self.lost:
            return  # silence in the place of a missing note
        yield self._found(
            met, DifferenceKind.LONG if off > 0 else DifferenceKind.SHORT, Fraction(off - met.late, self.matched.unit)
        )

    def _end_off(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> int:
        """Units by which the student's note ends late."""
        return a.end * self.matched.clock_mine - b.end * self.matched.clock_theirs - met.shift

    def _how(self, met: MatchedNotes, a: SoundingNote, b: SoundingNote) -> Iterator[_Found]:
        """Techniques; of another note on another string that is too much to ask."""
        semitones = self.matched.semitones
        instead = bend_route(a, b, semitones)
        if instead:
            lacking, added = "bend" if highest_bend(b) else "", "bend" if highest_bend(a) else ""
            one = (
                NoteDifference(lacking, added, about=instead)
                if lacking != added
                else NoteDifference("", "", about=instead)
            )
            yield self._technique(met, one)
            return
        if (
            a.string != b.string
            and not (self.elsewhere or is_same_pitch(a, b, semitones))
            or self._wrong_elsewhere(a, b)
        ):
            return
        right = a.index not in self.unsure_mine
        sources_right = right and a.source not in self.unsure_mine and b.source not in self.unsure_theirs
        clock = (self.matched.clock_mine, self.matched.clock_theirs)
        for one in note_differences(a, b, sources_right, clock, met.late, semitones):
            found = self._technique(met, one)
            if one.kind in (DifferenceKind.BEND, DifferenceKind.INTONATION):
                held = any(shape.technique is HELD_BEND for shape in (*a.shapes, *b.shapes))
                if held and self.bends.get(b.string) == one.by:  # the bend of the note before goes on under this one
                    found = found._replace(told=False)
                self.bends[b.string] = one.by
            yield found

    def _wrong_elsewhere(self, a: SoundingNote, b: SoundingNote) -> bool:
        """Return whether a bend is missing or added on another string: the note is wrong, wherever its bend begins."""
        bent = bool(highest_bend(a)) != bool(highest_bend(b))
        off = arrival_difference(a, b, self.matched.semitones)
        return a.string != b.string and not self.elsewhere and bent and not (a.dead or b.dead) and abs(off) >= HALF_STEP

    def _technique(self, met: MatchedNotes, one: NoteDifference) -> _Found:
        found = self._found(
            met,
            one.kind,
            Fraction(one.by)
            if one.kind in (DifferenceKind.BEND, DifferenceKind.INTONATION)
            else Fraction(one.by) / self.matched.unit,
        )
        difference = found.difference._replace(lacking=one.lacking, added=one.added, about=one.about)
        return _Found(met, difference, one.lasts)


def _rings(sound: SoundingNote) -> bool:
    return any(mark.damping is Damping.RING for mark in sound.marks)


def score_position(timeline: Timeline, sound: SoundingNote) -> ScorePosition:
    """Bar and beat of a note as written; a pick-up is counted as the end of a full bar."""
    bar, slot = timeline.bars[sound.bar], timeline.slots[sound.slot]
    return ScorePosition(bar.number, count_name(timeline, bar, slot.at))


def _written(met: MatchedNotes) -> tuple[object, ...]:
    """What names a pair however often it is played: where both notes are written."""
    return tuple((s.slot, s.string, s.lead, s.kind) if s is not None else None for s in (met.mine, met.theirs))


def _joined(found: list[_Found]) -> list[_Found]:
    """One difference where a chord has the same one on all its strings, or a lasting word is missing over several notes."""
    joined: list[_Found] = []
    for one in found:
        k = next((k for k in range(len(joined) - 1, max(-1, len(joined) - 13), -1) if _belongs(one, joined[k])), None)
        if k is None:
            joined.append(one)
            continue
        known = joined[k].difference
        mine, theirs = known.mine + one.difference.mine, known.theirs + one.difference.theirs
        joined[k] = _Found(one.met, known._replace(mine=mine, theirs=theirs), one.over)
    return joined


def _runs(found: list[_Found]) -> Iterator[Difference]:
    """A bar that is left out is one difference and not eight: each run of a kind becomes one."""
    k = 0
    while k < len(found):
        n = k + 1
        while n < len(found) and _follows(found[n - 1], found[n]):
            n += 1
        run = [one.difference for one in found[k:n]]
        if len(run) < _RUN:
            yield from run
        else:
            mine, theirs = (s for d in run for s in d.mine), (s for d in run for s in d.theirs)
            yield run[0]._replace(mine=tuple(mine), theirs=tuple(theirs), until=run[-1].place)
        k = n


def _follows(before: _Found, one: _Found) -> bool:
    a, b = before.difference, one.difference
    if a.kind not in _IN_RUNS or one.met.moment - before.met.moment > 1 or a.times != b.times:
        return False
    return (a.kind, a.by, a.about, a.moves) == (b.kind, b.by, b.about, b.moves)


def _belongs(one: _Found, known: _Found) -> bool:
    a, b = one.difference, known.difference
    if a.kind not in _TOGETHER or (a.kind, a.by, a.lacking, a.added, a.about) != (
        b.kind,
        b.by,
        b.lacking,
        b.added,
        b.about,
    ):
        return False
    return 0 <= one.met.moment - known.met.moment <= (1 if one.over else 0)


def _once(found: list[_Found]) -> list[_Found]:
    """Each as written, with how often it is played."""
    first: dict[tuple[object, ...], _Found] = {}
    for one in found:
        d = one.difference
        key = (d.kind, d.by, d.lacking, d.added, d.about, *_written(one.met))
        known = first.get(key, one._replace(difference=d._replace(times=0)))
        first[key] = known._replace(difference=known.difference._replace(times=known.difference.times + 1))
    return list(first.values())
