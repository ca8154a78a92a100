"""How hard a lick is: what makes it so, in numbers and words, and a level from 1 to 5.

In: a Timeline. Out: a `Profile`, and a warning (L461) where the declared level is far off. The formula is a sum of seven
terms, each of a thing that teachers name (trade lists: notes a second, subdivision, shifts, span, skips, bend size,
techniques, ring):

    speed       (peak - 2) / 3, at least 0: the most notes a second, over a second or more. The trade's bands are one
                point apart: 5 a second, which beginners manage, are 1 point, 8 two, 11 three, 14, the fastest, four.
    bends       half a point up to half a step, 1 up to a whole one, 2 up to one and a half, 3 beyond;
                1 more where another string sounds with the bent one, which must stay clear of it and in tune with it.
    reach       the widest stretch: 1 point past what any hand does at ease, 2 past a stretch, 3 past a hard one.
    movement    position shifts, the fewest that will do, and strings that the pick leaps over: 1 point for one a second
                or more, in proportion below. Fingers and thumb stand on strings of their own and leap nothing.
    rhythm      half a point for triplets, 1 for other tuplets, and half more for one inside another.
    ringing     1 point where every note sounds on under a later one of another string (fingers must stay and stay
                clear), in proportion below.
    techniques  half a point for each kind that is learned on its own (tapping, slap and pop, trills, rolls, pinched or
                touched harmonics, pre-bends, the bar), a quarter for every other past the second, and up to 1 for the
                share of notes that the fretting hand sounds alone; together at most 1 1/2. Of the easy kinds, hammer-on and
                pull-off are one, all slides are one, and bends count in their own term.

    level = 1 + the sum, rounded, from 1 to 5

The limits of reach are those of `hand.py`; the weights are proposals, to be tuned by teachers. Length is told and does
not count: a long lick is more to learn and no harder to play.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from lickwright import difficulty_facts as facts
from lickwright.diagnostics import Diagnostic, Rule, Severity
from lickwright.fingering import hand_for
from lickwright.hand import BIG_BEND, CAUTION_BEND, CAUTION_FAST, CAUTION_STRETCH, PICKING, Hand
from lickwright.timeline import Timeline

FAR_OFF = 2  # levels between declared and worked out, from which it is said
MOST_TECHNIQUES = 1.5  # points
SLOW, PER_POINT = 2.0, 3.0  # notes a second: worth nothing, and so many more for a point


LEVEL = Rule(
    "L461", "level far off", Severity.WARNING,
    "the declared level is two or more from what the lick asks for",
    "The level is worked out from speed, bends, reach, movement and techniques, as `lickwright check --profile` shows. "
    "One level apart is a matter of taste; two are a surprise for the student. Change the level, or say why it is meant.",
    'lick "Steep"\nkey A minor\nlevel 5\n| e8 e5 B8 B5 G7 - - - ||\n',
    'lick "Steep"\nkey A minor\nlevel 1\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
RULES: tuple[Rule, ...] = (LEVEL,)


class Term(NamedTuple):
    """One term of the sum."""

    name: str
    points: float
    reason: str  # in words, with the numbers


class Profile(NamedTuple):
    """How hard one lick is."""

    title: str
    declared: int | None  # its `level` line
    level: int  # worked out, 1 to 5
    notes: int  # strokes and connected notes; what sounds together is one
    seconds: float  # at its tempo, repeats played
    bars: int  # as played
    mean: float  # notes a second
    peak: float  # notes a second, over a second or more
    span_mm: float  # widest two fingers held together or joined on a string; 0: never two
    shifts: int  # of the hand, at the least
    skips: int  # times that a string or more is left out between single notes
    bend: float  # largest, in semitones; 0: none
    techniques: tuple[str, ...]
    terms: tuple[Term, ...]  # in the order of the formula
    cautions: tuple[str, ...]  # words for a hard one

    @property
    def total(self) -> float:
        """The sum of the terms."""
        return sum(term.points for term in self.terms)

    def text(self) -> str:
        """For a person: each term that is worth something with its reason, the cautions, and the level they come to."""
        lines = [
            f'"{self.title}": {_count(self.notes, "note")} in {_count(self.bars, "bar")}, {self.seconds:.1f} seconds'
        ]
        worth = [term for term in self.terms if round(term.points, 1)]
        lines += [f"    {term.points:+.1f} {term.name}: {term.reason}" for term in worth]
        lines += [f"    caution: {words}" for words in self.cautions]
        above = f", {self.total:.1f} for what is above" if worth else ""
        declared = "" if self.declared is None else f"; the file says {self.declared}"
        return "\n".join([*lines, f"    level {self.level} of 5: 1 for every lick{above}{declared}"])

    def as_value(self) -> dict[str, Any]:
        """For JSON."""
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


def profile(timeline: Timeline) -> Profile:
    """How hard a lick is at its tempo."""
    groups = facts.together(timeline)
    onsets, end = facts.onsets(timeline)
    hand = hand_for(timeline)
    peak, mean = facts.peak(onsets, end), len(onsets) / end if end else 0.0
    span, shifts, skips = facts.span(timeline, groups, hand), facts.shifts(groups), facts.skips(groups)
    (bend, beside), ringing = facts.bends(timeline), facts.ringing(timeline.sounds)
    every, easy, own = facts.kinds(timeline)
    terms = (
        Term("speed", max(0.0, (peak - SLOW) / PER_POINT), f"up to {peak:.1f} notes a second, {mean:.1f} on the whole"),
        _bend_term(bend, beside),
        _reach_term(span, hand),
        _movement_term(shifts, skips, end),
        _rhythm_term(timeline),
        Term("ringing", ringing, f"{ringing:.0%} of the notes sound on under another string"),
        _technique_term(every, easy, own, facts.unpicked(timeline.sounds)),
    )
    level = _level(sum(term.points for term in terms))
    return Profile(
        timeline.title, timeline.settings.level, level, len(onsets), end, len(timeline.passes), mean, peak, span,
        shifts, skips, bend, tuple(sorted(every)), terms, _cautions(span, peak, bend, hand),
    )  # fmt: skip


def _level(total: float) -> int:
    return min(5, 1 + int(total + 0.5))


def check_level(timeline: Timeline) -> list[Diagnostic]:
    """L461, for a lick that declares its level."""
    declared = timeline.settings.level
    if declared is None:
        return []
    found = profile(timeline)
    if abs(found.level - declared) < FAR_OFF:
        return []
    hardest = max(found.terms, key=lambda term: term.points)
    message = f"level {declared} is declared, {found.level} is what it asks for"
    help = f"most of it is {hardest.name}: {hardest.reason}; `lickwright check --profile` shows the sum"
    at, notes = timeline.settings.place("level", timeline.span)
    return [LEVEL.at(at, message, help, notes)]


# --- the terms -------------------------------------------------------------------------------------------------------


def _bend_term(bend: float, beside: bool) -> Term:
    points = 0.0 if not bend else 0.5 if bend <= 1 else 1.0 if bend <= 2 else 2.0 if bend <= 3 else 3.0
    size = (
        "none"
        if not bend
        else "half a step or less"
        if bend <= 1
        else "a whole step"
        if bend <= 2
        else f"{bend / 2:g} steps"
    )
    return Term("bends", points + beside, size + (", with another string sounding" if beside else ""))


def _reach_term(span: float, hand: Hand) -> Term:
    if not span:
        return Term("reach", 0.0, "one finger at a time")
    points = float(sum(span > limit for limit in (hand.fine, hand.stretch, hand.hard)))
    words = ("at ease", "a stretch", "a hard stretch", "more than most hands do")[int(points)]
    return Term("reach", points, f"two fingers {span:.0f} mm apart, {words}")


def _movement_term(shifts: int, skips: int, seconds: float) -> Term:
    points = min(1.0, (shifts + skips) / seconds) if seconds else 0.0
    return Term("movement", points, f"{_count(shifts, 'shift')} of the hand, {_count(skips, 'string skip')}")


def _rhythm_term(timeline: Timeline) -> Term:
    counts = sorted({f"{t.count} in {t.normal}" for t in timeline.tuplets})
    if not counts:
        return Term("rhythm", 0.0, "no tuplets")
    nested = any(t.depth for t in timeline.tuplets)
    points = (0.5 if counts == ["3 in 2"] else 1.0) + 0.5 * nested
    return Term("rhythm", points, "tuplets, " + " and ".join(counts) + (", one inside another" if nested else ""))


def _technique_term(every: set[str], easy: set[str], own: set[str], unpicked: float) -> Term:
    points = min(MOST_TECHNIQUES, 0.25 * max(0, len(easy) - 2) + 0.5 * len(own) + unpicked)
    alone = f"; {unpicked:.0%} of the notes by the fretting hand alone" if unpicked else ""
    return Term("techniques", points, (", ".join(sorted(every)) or "plain picking") + alone)


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
