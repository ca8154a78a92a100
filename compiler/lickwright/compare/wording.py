"""A comparison in a player's words.

In: differences. Out: one sentence each, without bar and beat; and words for amounts. No line breaks, no colours.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.compare.facts import Difference, Kind, Place
from lickwright.music.rhythm import value_name
from lickwright.timeline import Sound, Timeline

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
_SIZES = {
    0.0: "not at all",
    0.5: "a quarter-step",
    1.0: "a half-step",
    2.0: "a full step",
    3.0: "a step and a half",
    4.0: "two steps",
}


def value(length: Fraction) -> str:
    """`an eighth`, `a half note`, `three sixteenths`: note values only."""
    name = value_name(length)
    if "of a whole note" not in name:
        return f"{'an' if name[0] in 'aeiou' else 'a'} {name}" + (" note" if length >= Fraction(1, 2) else "")
    for part in (Fraction(1, n) for n in (1, 2, 4, 8, 16, 32, 64, 6, 12, 24, 48)):
        count = length / part
        if count.denominator == 1:
            number = _NUMBERS[count.numerator] if count.numerator < len(_NUMBERS) else str(count.numerator)
            return f"{number} {value_name(part)}" + (" notes" if part >= Fraction(1, 2) else "s")
    return name


def size(semitones: float) -> str:
    """How far a bend goes: `a full step`."""
    return _SIZES.get(semitones) or f"{semitones / 2:g} steps"


def spot(timeline: Timeline, sound: Sound) -> str:
    """`fret 5 on the B string`."""
    string = f"the {timeline.settings.tuning.label(sound.string)} string"
    if sound.dead:
        return f"a dead note on {string}"
    if sound.touch is not None and sound.fret is None:
        return f"the harmonic over fret {float(sound.touch):g} on {string}"
    return f"open {string[4:]}" if sound.fret == 0 else f"fret {sound.fret} on {string}"


def _spots(timeline: Timeline, sounds: tuple[Sound, ...]) -> str:
    return " and ".join(spot(timeline, sound) for sound in sounds)


def sentence(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    """What differs, from the student's side: "fret 6 on the B string: the teacher plays fret 5, one fret lower"."""
    words = _said(mine, theirs, d) if d.until is None else _run(d, d.until)
    return words + (f" ({d.times} times, as it is repeated)" if d.times > 1 else "")


def _said(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    match d.kind:
        case Kind.MISSING:
            return f"missing: {_spots(theirs, d.theirs)}"
        case Kind.EXTRA:
            return f"one more than the teacher plays: {_spots(mine, d.mine)}"
        case Kind.FRET | Kind.NOTE:
            return _other_note(mine, theirs, d)
        case Kind.STRING:
            return f"the right note, at {spot(mine, d.mine[0])}; the teacher takes {spot(theirs, d.theirs[0])}"
        case Kind.EARLY | Kind.LATE:
            return _out_of_time(mine, d)
        case Kind.SHORT | Kind.LONG:
            one, several = ("is held", "are held") if d.kind is Kind.LONG else ("stops", "stop")
            how = one if len(d.mine) == 1 else several
            return f"{_whole(mine, d)} {how} {value(abs(d.by))} too {'long' if d.kind is Kind.LONG else 'soon'}"
        case Kind.BEND:
            return _bend(mine, d)
        case Kind.TECHNIQUE:
            return _technique(mine, theirs, d)


def _run(d: Difference, until: Place) -> str:
    """The same of several notes in a row."""
    notes = f"{len(d.theirs or d.mine)} notes, up to bar {until.bar}, beat {until.beat}"
    match d.kind:
        case Kind.MISSING:
            return f"missing: {notes}"
        case Kind.EXTRA:
            return f"more than the teacher plays: {notes}"
        case Kind.STRING:
            return f"{notes}: the right ones, but not on the teacher's strings"
        case _:
            return f"{notes}: they come {value(abs(d.by))} {'late' if d.by > 0 else 'early'}"


def _whole(timeline: Timeline, d: Difference) -> str:
    """The note, or the chord where there are several."""
    return spot(timeline, d.mine[0]) if len(d.mine) == 1 else f"the {_NUMBERS[min(6, len(d.mine))]} notes here"


def _other_note(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    a, b = d.mine[0], d.theirs[0]
    if d.kind is Kind.NOTE:
        return f"{spot(mine, a)}: the teacher plays {spot(theirs, b)}"
    frets = abs((a.fret or 0) - (b.fret or 0))
    if a.fret is None or b.fret is None or not d.by or frets != abs(d.by):
        return f"{spot(mine, a)}: the teacher plays {spot(theirs, b)}" + (f", {_apart(d)}" if d.by else "")
    count = "one fret" if frets == 1 else f"{_NUMBERS[frets] if frets < 7 else frets} frets"
    goal = "the open string" if b.fret == 0 else f"fret {b.fret}"
    return f"{spot(mine, a)}: the teacher plays {goal}, {count} {'lower' if d.by > 0 else 'higher'}"


def _apart(d: Difference) -> str:
    """How far off, where frets do not say it: in another key or tuning."""
    steps = abs(d.by)
    word = "a half-step" if steps == 1 else f"{float(steps):g} half-steps"
    return f"so yours is {word} too {'high' if d.by > 0 else 'low'}"


def _out_of_time(mine: Timeline, d: Difference) -> str:
    off, word = value(abs(d.by)), "late" if d.by > 0 else "early"
    if d.about:
        return f"the {d.about} of {spot(mine, d.mine[0])} comes {off} {word}"
    if d.moves:
        return f"from here on everything comes {off} {'later' if d.by > 0 else 'earlier'}"
    return f"{_whole(mine, d)} {'come' if len(d.mine) > 1 else 'comes'} {off} {word}"


def _bend(mine: Timeline, d: Difference) -> str:
    """Sizes of the two that differ."""
    yours, wanted = _amounts(d)
    if d.about == "release":
        return (
            f"the release of {spot(mine, d.mine[0])} stops {size(float(abs(d.by)))} too {'high' if d.by > 0 else 'low'}"
        )
    return f"{spot(mine, d.mine[0])} is bent {size(yours)}; the teacher bends {size(wanted)}"


def _amounts(d: Difference) -> tuple[float, float]:
    """The first two bend amounts that are `by` apart."""
    a = [
        shape.amount for shape in d.mine[0].shapes if shape.technique.name == d.about or shape.technique.curve == "bend"
    ]
    b = [
        shape.amount
        for shape in d.theirs[0].shapes
        if shape.technique.name == d.about or shape.technique.curve == "bend"
    ]
    return next((x, y) for x in a for y in b if x - y == d.by)


def _technique(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    a, b = d.mine[0], d.theirs[0]
    here = f"at {spot(mine, a)}" if len(d.mine) == 1 else f"over these {len(d.mine)} notes"
    if (a.pitch != b.pitch and a.fret != b.fret) and "bend" in (d.lacking, d.added):
        return f"{spot(mine, a)}: the teacher reaches this note {_by_bend(theirs, b, bool(d.lacking))}"
    if d.lacking and d.added:
        return f"{_a(d.added)} {here}, where the teacher has {_a(d.lacking)}"
    if d.lacking:
        return f"{_a(d.lacking)} is missing {here}"
    return f"{_a(d.added)} {here}, where the teacher has none"


def _by_bend(theirs: Timeline, b: Sound, bent: bool) -> str:
    return f"by bending {spot(theirs, b)}" if bent else f"without a bend, at {spot(theirs, b)}"


_NO_ARTICLE = ("picked", "tapped", "hammered", "tremolo", "let", "palm", "short", "snapped", "vibrato", "wide")


def _a(name: str) -> str:
    """A technique's name with its article, where it takes one."""
    if name.split()[0] in _NO_ARTICLE:
        return name
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"
