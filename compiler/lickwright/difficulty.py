"""How hard a lick is: what makes it so, in numbers and words, and a level from 1 to 5.

In: a Timeline. Out: a `Profile`, and a warning (L461) where the declared level is far off. The formula is a sum of seven
terms, each of a thing that teachers name (trade lists: notes a second, subdivision, shifts, span, skips, bend size,
techniques, ring):

    speed       (peak - 2) / 3, at least 0: the most notes a second, over a second or more. The trade's bands are one
                point apart: 5 a second, which beginners manage, are 1 point, 8 two, 11 three, 14, the fastest, four.
    bends       half a point up to half a step, 1 up to a whole one, 2 up to one and a half, 3 beyond;
                1 more where another string sounds with the bent one, which must stay clear of it and in tune with it.
    reach       the widest stretch: 1 point past what any hand does at ease, 2 past a stretch, 3 past a hard one.
    movement    position shifts and strings that the pick leaps over: 1 point for one a second or more, in proportion
                below. Fingers and thumb stand on strings of their own and leap nothing.
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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from lickwright.diagnostics import Diagnostic, Rule, Severity
from lickwright.fingering import Moment, by_fretting_hand, hand_for, moments_of, plan
from lickwright.hand import CAUTION_BEND, CAUTION_FAST, CAUTION_STRETCH, PICKING, Hand
from lickwright.notation.techniques import Curve, Kind, Stroke, Technique
from lickwright.timeline import Sound, Timeline

WINDOW = 1.0  # seconds, the least over which the fastest notes are counted
FAR_OFF = 2  # levels between declared and worked out, from which it is said
SHIFT = 2  # frets of the index finger from which a change of place is a shift
MOST_TECHNIQUES = 1.5  # points
SLOW, PER_POINT = 2.0, 3.0  # notes a second: worth nothing, and so many more for a point

_UP = (Curve.BEND, Curve.PREBEND)
_OWN_STROKES = (Stroke.TAP, Stroke.SLAP, Stroke.POP, Stroke.SNAP, Stroke.REPEAT)
_BAR = (Curve.DIVE, Curve.DIP, Curve.SCOOP)

LEVEL = Rule(
    "L461", "level far off", Severity.WARNING,
    "the declared level is two or more from what the lick asks for",
    "The level is worked out from speed, bends, reach, movement and techniques, as `lickwright check --profile` shows. "
    "One level apart is a matter of taste; two are a surprise for the student. Change the level, or say why it is meant.",
    'lick "Steep"\nkey A minor\nlevel 5\n| e8 e5 B8 B5 G7 - - - ||\n',
    'lick "Steep"\nkey A minor\nlevel 1\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
RULES: tuple[Rule, ...] = (LEVEL,)


@dataclass(frozen=True, slots=True)
class Term:
    """One term of the sum."""

    name: str
    points: float
    reason: str  # in words, with the numbers


@dataclass(frozen=True, slots=True)
class Profile:
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
    shifts: int  # of the hand, two frets or more
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
        """For a person: the level, each term with its reason, and the caution."""
        declared = "" if self.declared is None else f", declared {self.declared}"
        lines = [f'"{self.title}": level {self.level}{declared}']
        lines += [f"    {term.points:+.1f} {term.name}: {term.reason}" for term in self.terms]
        lines.append(f"    1 + {self.total:.1f}, rounded, from 1 to 5: {self.level}")
        lines.append(f"    {_count(self.notes, 'note')} in {_count(self.bars, 'bar')}, {self.seconds:.1f} seconds")
        return "\n".join([*lines, *(f"    caution: {words}" for words in self.cautions)])

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
    moments, groups = moments_of(timeline)
    onsets, end = _onsets(timeline)
    hand = hand_for(timeline)
    peak, mean = _peak(onsets, end), len(onsets) / end if end else 0.0
    span, shifts, skips = _span(timeline, groups, hand), _shifts(moments, hand), _skips(groups)
    (bend, beside), ringing = _bends(timeline), _ringing(timeline.sounds)
    every, easy, own = _kinds(timeline)
    terms = (
        Term("speed", max(0.0, (peak - SLOW) / PER_POINT), f"up to {peak:.1f} notes a second, {mean:.1f} on the whole"),
        _bend_term(bend, beside),
        _reach_term(span, hand),
        _movement_term(shifts, skips, end),
        _rhythm_term(timeline),
        Term("ringing", ringing, f"{ringing:.0%} of the notes sound on under another string"),
        _technique_term(every, easy, own, _unpicked(timeline.sounds)),
    )
    level = min(5, 1 + int(sum(term.points for term in terms) + 0.5))
    return Profile(
        timeline.title, timeline.settings.level, level, len(onsets), end, len(timeline.passes), mean, peak, span,
        shifts, skips, bend, tuple(sorted(every)), terms, _cautions(span, peak, bend, hand),
    )  # fmt: skip


def check_level(timeline: Timeline) -> list[Diagnostic]:
    """L461, for a lick that declares its level."""
    declared, at = timeline.settings.level, timeline.settings.written.get("level")
    if declared is None or at is None:
        return []
    found = profile(timeline)
    if abs(found.level - declared) < FAR_OFF:
        return []
    hardest = max(found.terms, key=lambda term: term.points)
    message = f"level {declared} is declared, {found.level} is what it asks for"
    help = f"most of it is {hardest.name}: {hardest.reason}; `lickwright check --profile` shows the sum"
    return [LEVEL.at(at, message, help)]


# --- speed -----------------------------------------------------------------------------------------------------------


def _onsets(timeline: Timeline) -> tuple[list[float], float]:
    """When notes begin, in seconds, what begins together once; and when the lick ends."""
    from fractions import Fraction

    from lickwright.clock import Clock

    seconds = Clock(timeline, Fraction(1)).seconds
    places = {(sound.start, -sound.lead) for sound in timeline.sounds}
    return [seconds(start) for start, _ in sorted(places)], seconds(timeline.end)


def _peak(onsets: Sequence[float], end: float) -> float:
    """The most notes a second from one note to another, at least `WINDOW` later; the whole lick, where it is shorter."""
    if not onsets:
        return 0.0
    best, j = len(onsets) / max(end, WINDOW), 0
    for i, first in enumerate(onsets):
        while j < len(onsets) and onsets[j] - first < WINDOW - 1e-9:
            j += 1
        if j < len(onsets):
            best = max(best, (j - i) / (onsets[j] - first))
    return best


# --- the hand --------------------------------------------------------------------------------------------------------


def _span(timeline: Timeline, groups: Sequence[Sequence[Sound]], hand: Hand) -> float:
    """The widest two fingers that are down together: in a chord, a trill, a hammer-on or a pull-off."""
    pairs: list[tuple[int, int, int]] = []
    for group in groups:
        held = [sound for sound in group if by_fretting_hand(sound)]
        pairs += [(a.fret or 0, b.fret or 0, abs(a.string - b.string)) for a in held for b in held if a is not b]
    for sound in timeline.sounds:
        if sound.trill and sound.fret:
            pairs.append((sound.fret, sound.trill, 0))
        if sound.source is not None and sound.begin.stroke in (Stroke.HAMMER, Stroke.PULL):
            before = timeline.sounds[sound.source]
            if by_fretting_hand(sound) and by_fretting_hand(before):
                pairs.append((before.fret or 0, sound.fret or 0, 0))
    return max((hand.span(min(a, b), max(a, b), apart) for a, b, apart in pairs), default=0.0)


def _shifts(moments: Sequence[Moment], hand: Hand) -> int:
    """How often the hand moves, fingered the best way."""
    positions = plan(moments, hand).position
    return sum(abs(a - b) >= SHIFT for a, b in zip(positions, positions[1:], strict=False))


def _skips(groups: Sequence[Sequence[Sound]]) -> int:
    """How often the pick leaps over a string or more from one single note to the next."""
    single = [group[0] if len(group) == 1 and _picked(group[0]) else None for group in groups]
    return sum(
        a is not None and b is not None and abs(a.string - b.string) > 1
        for a, b in zip(single, single[1:], strict=False)
    )


def _picked(sound: Sound) -> bool:
    strokes = [t.stroke for t in (*sound.marks, sound.begin) if t.stroke is not None]
    return strokes[:1] == [Stroke.PICK] and sound.pluck is None


def _bends(timeline: Timeline) -> tuple[float, bool]:
    """The largest bend, in semitones, and whether another string sounds with a bent one."""
    sounds, largest, beside = timeline.sounds, 0.0, False
    for n, sound in enumerate(sounds):
        bend = max((shape.amount for shape in sound.shapes if shape.technique.curve in _UP), default=0.0)
        largest = max(largest, bend)
        near = sounds[max(0, n - 6) : n + 7] if bend >= 1 else ()
        beside = beside or any(
            s.string != sound.string and s.start < sound.end and sound.start < s.end and not s.dead for s in near
        )
    return largest, beside


def _unpicked(sounds: Sequence[Sound]) -> float:
    """The share of notes that a finger of the fretting hand sounds without the other's help, 0 to 1."""
    return sum(s.begin.stroke in (Stroke.HAMMER, Stroke.PULL) for s in sounds) / len(sounds) if sounds else 0.0


def _ringing(sounds: Sequence[Sound]) -> float:
    """The share of notes that sound on when another string is struck, 0 to 1."""
    rung: set[int] = set()
    sounding: list[Sound] = []
    for sound in sounds:
        sounding = [s for s in sounding if s.end > sound.start]
        if sound.kind == "note" and not sound.dead:
            rung |= {s.index for s in sounding if s.start < sound.start and s.string != sound.string}
            sounding.append(sound)
    return len(rung) / len(sounds) if sounds else 0.0


def _kinds(timeline: Timeline) -> tuple[set[str], set[str], set[str]]:
    """What is used, by name: all of it, the easy kinds (like ones under one name), and those learned on their own."""
    every: set[str] = set()
    easy: set[str] = set()
    own: set[str] = set()
    for sound in timeline.sounds:
        for t in (sound.begin, sound.head, *sound.marks, *(shape.technique for shape in sound.shapes)):
            if t is None or not t.sign or t.kind is Kind.MARK:
                continue
            every.add(t.name)
            if _takes_practice(t):
                own.add("slap and pop" if t.stroke in (Stroke.SLAP, Stroke.POP) else t.name)
            else:
                easy.add(_family(t))
        for kind, there in (("trill", sound.trill), ("roll", sound.roll)):
            if there is not None:
                every.add(kind)
                own.add(kind)
    return every, easy - {""}, own


def _takes_practice(t: Technique) -> bool:
    """A kind that is learned on its own: another way of the picking hand, a harmonic besides the fret, the bar."""
    return t.stroke in _OWN_STROKES or t.curve in (*_BAR, Curve.PREBEND) or t.sign in ("n<>", "*")


def _family(t: Technique) -> str:
    """One name for techniques that are one skill; "" for bends, which have a term of their own."""
    if t.curve in (Curve.BEND, Curve.RELEASE):
        return ""
    if t.curve in (Curve.GLIDE, Curve.SLIDE_IN, Curve.SLIDE_OFF):
        return "slide"
    return "vibrato" if t.curve is Curve.VIBRATO else "legato" if t.stroke in (Stroke.HAMMER, Stroke.PULL) else t.name


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
    return tuple(_said(span > hand.stretch, peak > PICKING[0], bend > 3))


def _said(stretch: bool, fast: bool, bent: bool) -> Iterator[str]:
    if stretch:
        yield CAUTION_STRETCH
    if fast:
        yield CAUTION_FAST
    if bent:
        yield CAUTION_BEND


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
