"""Difficulty of a lick: what makes it hard, in numbers and words, and a level from 1 to 5.

In: a Timeline. Out: a `Profile`, and a warning (L461) where the declared level is far off. The formula has eight terms,
one for each cause of difficulty that teachers commonly list: notes a second, subdivision, shifts, span, string skips, bend
size, techniques, ringing notes. The hardest counts in full and the others by half: a lick is about as hard as the hardest thing in it.

    speed       (pace - 2) / 3, at least 0: the most notes a second in a stretch of up to nine; fewer in a row count less.
                Three notes a second are a point: 5 a second, which beginners manage, are 1 point, 8 are 2, 11 are 3.
    strings     (pace - 3) / 6, from 0 to 1 1/2, of picked notes on another string than the one before.
    bends       half a point up to a half step, 1 up to a whole one, 2 up to one and a half, 3 beyond; half more where a
                bend is struck bent, let down in time or shaken, 1 more where another string sounds with the bent one.
    reach       the widest stretch: 1 point past what any hand does at ease, 2 past a stretch, 3 past a hard one.
    movement    position shifts, the fewest that will do, and by half strings that the pick leaps over: 1 point for two a
                second or more, in proportion below. Fingers and thumb stand on strings of their own and leap nothing.
    rhythm      syncopation (1 point where nearly every note avoids the beat); a quarter for triplets, 1 1/4 for other
                tuplets or triplets longer than a beat, 3/4 more for one inside another; half for an odd meter.
    ringing     1 point where every note sounds on under a later one of another string (fingers must stay and stay
                clear), in proportion below.
    techniques  half a point for each kind that is learned on its own (tapping, slap and pop, trills, rolls, pinched or
                artificial harmonics, pre-bends, the bar), a quarter for every other past the second, and up to 1 for the
                share of notes that the fretting hand sounds alone; together at most 1 1/2. Of the easy kinds, hammer-on and
                pull-off are one, all slides are one, and bends count in their own term.

    level = 1 + the hardest term + half of the others, rounded, from 1 to 5

The limits of reach are those of `hand/measures.py`. The weights were set on pairs of licks in the order that a teacher would give
them (`tests/level_pairs.toml`), a third of them held out; all constants below are estimates of that kind. Nothing in the level falls
when only the tempo rises. Length is shown in the profile and does not count: a long lick takes longer to learn and is no harder to play.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from lickwright.analysis import difficulty_features as facts
from lickwright.analysis import difficulty_rhythm as rhythm
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.hand.fingering import hand_for
from lickwright.hand.measures import BIG_BEND, CAUTION_BEND, CAUTION_FAST, CAUTION_STRETCH, PICKING, Hand
from lickwright.music.rhythm import Meter
from lickwright.music.steps import interval_words
from lickwright.timeline.model import Timeline, TupletSpan

FAR_OFF = 2  # levels between the declared and the computed one from which L461 is reported
MOST_TECHNIQUES = 1.5  # points
SLOW, PER_POINT = 2.0, 3.0  # notes a second: worth nothing, and so many more for a point
FEW, CROSSING, MOST_CROSSING = 3.0, 6.0, 1.5  # changes of string a second: worth nothing, more for a point; points
OTHERS = 0.5  # what the terms count that are not the hardest
MOVING = 2.0  # shifts a second that are worth a point; a leap of the pick is half of one
TRIPLETS, TUPLETS, NESTED, ODD = 0.25, 1.25, 0.75, 0.5  # points


LEVEL = Rule(
    "L461", "level far off", Severity.WARNING,
    "the declared level is two or more off from how hard the lick is",
    "The level is worked out from speed, bends, reach, movement and techniques, as `lickwright check --profile` shows. "
    "One level apart is a matter of taste; two are a surprise for the student. Change the level, or say why you mean it.",
    'lick "Steep"\nkey A minor\nlevel 5\n| e8 e5 B8 B5 G7 - - - ||\n',
    'lick "Steep"\nkey A minor\nlevel 1\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
RULES: tuple[Rule, ...] = (LEVEL,)


class ScoreTerm(NamedTuple):
    """One term of the formula."""

    name: str
    points: float
    reason: str  # in words, with the numbers


class Profile(NamedTuple):
    """The difficulty of one lick, with the numbers that it comes from."""

    title: str
    declared: int | None  # its `level` line
    level: int  # worked out, 1 to 5
    notes: int  # strokes and connected notes; what sounds together is one
    seconds: float  # at its tempo, repeats played
    bars: int  # as played
    mean: float  # notes a second
    peak: float  # notes a second in the hardest stretch, less where it is short
    span_mm: float  # widest two fingers held together or joined on a string; 0: never two
    shifts: int  # of the hand, at the least
    skips: int  # times that a string or more is left out between single notes
    bend: float  # largest, in semitones; 0: none
    techniques: tuple[str, ...]
    terms: tuple[ScoreTerm, ...]  # in the order of the formula
    cautions: tuple[str, ...]  # words for a hard one

    @property
    def total(self) -> float:
        """The points of the hardest term, and half of the others'."""
        return _total(self.terms)

    def text(self) -> str:
        """Return the profile for a person: each term that is worth something with its reason, the cautions, and the level."""
        lines = [
            f'"{self.title}": {_count(self.notes, "note")} in {_count(self.bars, "bar")}, {self.seconds:.1f} seconds'
        ]
        worth = [term for term in self.terms if round(term.points, 1)]
        lines += [f"    {term.points:+.1f} {term.name}: {term.reason}" for term in worth]
        lines += [f"    caution: {words}" for words in self.cautions]
        how = ", the hardest in full and the rest at half" if len(worth) > 1 else ""
        above = f", {self.total:.1f} for what is above{how}" if worth else ""
        declared = "" if self.declared is None else f"; the file says {self.declared}"
        return "\n".join([*lines, f"    level {self.level} of 5: 1 for every lick{above}{declared}"])

    def as_value(self) -> dict[str, Any]:
        """Return the profile as a value for JSON."""
        return {
            "lick": self.title,
            "level": self.level,
            "declared": self.declared,
            "points": round(self.total, 2),
            "terms": [{"name": t.name, "points": round(t.points, 2), "reason": t.reason} for t in self.terms],
            "notes": self.notes,
            "bars": self.bars,
            "seconds": round(self.seconds, 3),
            "notes_per_second": round(self.mean, 2),
            "peak_notes_per_second": round(self.peak, 2),
            "span_mm": round(self.span_mm, 1),
            "shifts": self.shifts,
            "string_skips": self.skips,
            "largest_bend_semitones": self.bend,
            "techniques": list(self.techniques),
            "cautions": list(self.cautions),
        }


def difficulty_profile(timeline: Timeline) -> Profile:
    """Return how hard a lick is at its tempo."""
    groups = facts.fretted_chords(timeline)
    onsets, end = facts.onset_seconds(timeline)
    hand = hand_for(timeline)
    fastest, mean = rhythm.hardest_pace(onsets, [1] * (len(onsets) - 1)), len(onsets) / end if end else 0.0
    crossing = rhythm.hardest_pace(*facts.string_crossings(timeline, groups))
    span, shifts, skips = (
        facts.widest_span(timeline, groups, hand),
        facts.count_position_shifts(groups),
        facts.count_string_skips(groups),
    )
    (bend, beside), ringing = facts.largest_bend(timeline), facts.ringing_share(timeline.sounds)
    every, easy, own = facts.technique_kinds(timeline)
    terms = (
        ScoreTerm("speed", max(0.0, (fastest.weighted - SLOW) / PER_POINT), _speed(fastest, mean)),
        _string_term(crossing),
        _bend_term(bend, beside, facts.has_shaped_bend(timeline)),
        _reach_term(span, hand),
        _movement_term(shifts, skips, end),
        _rhythm_term(timeline),
        ScoreTerm("ringing", ringing, f"{100 * ringing:.0f} % of the notes sound on under another string"),
        _technique_term(every, easy, own, facts.unpicked_share(timeline.sounds)),
    )
    peak = fastest.weighted
    level = _level(_total(terms))
    return Profile(
        timeline.title, timeline.settings.level, level, len(onsets), end, len(timeline.passes), mean, peak, span,
        shifts, skips, bend, tuple(sorted(every)), terms, _cautions(span, peak, bend, hand),
    )  # fmt: skip


def _total(terms: Sequence[ScoreTerm]) -> float:
    hardest = max(term.points for term in terms)
    return hardest + OTHERS * (sum(term.points for term in terms) - hardest)


def _level(total: float) -> int:
    return min(5, 1 + int(total + 0.5))


def check_level(timeline: Timeline) -> list[Diagnostic]:
    """Return the warning (L461) about a declared level that is far off, if there is one."""
    declared = timeline.settings.level
    if declared is None:
        return []
    found = difficulty_profile(timeline)
    if abs(found.level - declared) < FAR_OFF:
        return []
    hardest = max(found.terms, key=lambda term: term.points)
    message = f"the file says level {declared}, but it plays like a level {found.level}"
    hint = f"most of it is {hardest.name}: {hardest.reason}; `lickwright check --profile` shows the sum"
    at, notes = timeline.settings.finding_place("level", timeline.span)
    return [LEVEL.at(at, message, hint, notes)]


# --- the terms -------------------------------------------------------------------------------------------------------


def _speed(pace: rhythm.Pace, mean: float) -> str:
    if not pace.things:
        return "only one note"
    return f"{pace.things + 1} notes in a row at {pace.rate:.1f} a second, {mean:.1f} on average"


def _string_term(pace: rhythm.Pace) -> ScoreTerm:
    points = min(MOST_CROSSING, max(0.0, (pace.weighted - FEW) / CROSSING))
    return ScoreTerm("strings", points, f"the pick changes strings up to {pace.rate:.1f} times a second")


def _bend_term(bend: float, beside: bool, shaped: bool) -> ScoreTerm:
    points = 0.0 if not bend else 0.5 if bend <= 1 else 1.0 if bend <= 2 else 2.0 if bend <= 3 else 3.0
    reason = "none" if not bend else "a half step or less" if bend <= 1 else interval_words(bend)
    reason += ", with a release, vibrato or pre-bend" if shaped else ""
    return ScoreTerm(
        "bends", points + 0.5 * shaped + beside, reason + (", with another string sounding" if beside else "")
    )


def _reach_term(span: float, hand: Hand) -> ScoreTerm:
    if not span:
        return ScoreTerm("reach", 0.0, "one finger at a time")
    points = float(sum(span > limit for limit in (hand.fine, hand.stretch, hand.hard)))
    words = ("easy", "a stretch", "a hard stretch", "too far for most hands")[int(points)]
    return ScoreTerm("reach", points, f"two fingers {span:.0f} mm apart: {words}")


def _movement_term(shifts: int, skips: int, seconds: float) -> ScoreTerm:
    points = min(1.0, (shifts + skips / 2) / (MOVING * seconds)) if seconds else 0.0
    return ScoreTerm("movement", points, f"{_count(shifts, 'shift')} of the hand, {_count(skips, 'string skip')}")


def _rhythm_term(timeline: Timeline) -> ScoreTerm:
    off = min(1.0, rhythm.syncopation(timeline))
    points, words = off, [f"{100 * off:.0f} % off the beat"] if round(off, 1) else []
    counts = sorted({f"{t.count} in {t.normal}" for t in timeline.tuplets})
    if counts:
        long = any(_length(timeline, t) > timeline.settings.meter.beat for t in timeline.tuplets)
        nested = any(t.depth for t in timeline.tuplets)
        points += (TRIPLETS if counts == ["3 in 2"] and not long else TUPLETS) + NESTED * nested
        words.append("tuplets, " + " and ".join(counts) + (", one inside another" if nested else ""))
    if _is_odd(timeline.settings.meter):
        points += ODD
        words.append(f"in {timeline.settings.meter}")
    return ScoreTerm("rhythm", points, "; ".join(words) or "even")


def _length(timeline: Timeline, tuplet: TupletSpan) -> Fraction:
    return timeline.fraction(sum(slot.length for slot in timeline.slots[tuplet.first : tuplet.last + 1]))


def _is_odd(meter: Meter) -> bool:
    """Return whether a meter has unequal groups, or five, seven, eleven and more beats that nothing groups evenly."""
    return len(set(meter.groups)) > 1 or (meter.beats > 3 and not meter.compound and meter.beats % 2 == 1)


def _technique_term(every: set[str], easy: set[str], own: set[str], unpicked: float) -> ScoreTerm:
    points = min(MOST_TECHNIQUES, 0.25 * max(0, len(easy) - 2) + 0.5 * len(own) + unpicked)
    alone = f"; {100 * unpicked:.0f} % slurred" if unpicked else ""
    return ScoreTerm("techniques", points, (", ".join(sorted(every)) or "plain picking") + alone)


def _cautions(span: float, peak: float, bend: float, hand: Hand) -> tuple[str, ...]:
    return tuple(_said(span > hand.stretch, peak > PICKING[0], bend > BIG_BEND))


def _said(stretch: bool, fast: bool, bent: bool) -> Iterator[str]:
    if stretch:
        yield CAUTION_STRETCH
    if fast:
        yield CAUTION_FAST
    if bent:
        yield CAUTION_BEND


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
