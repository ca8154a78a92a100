"""The wording of a comparison, in a player's words.

In: differences. Out: one sentence each, without bar and beat; and words for amounts. No line breaks, no colours.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.compare.model import Difference, DifferenceKind, ScorePosition
from lickwright.compare.notes import highest_bend
from lickwright.compare.technique import BENT_TO, FRETTED
from lickwright.compare.timing import DRAGGED, ENTRY, JOINED, RUSHED, SPLIT
from lickwright.music.rhythm import value_name
from lickwright.music.steps import interval_words
from lickwright.notation.techniques import HEADS, UPWARD_BENDS
from lickwright.timeline.model import SoundingNote, Timeline

DEAD = HEADS["x"].name
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def length_in_words(length: Fraction) -> str:
    """Return a length in words: `an eighth note`, `a half note`, `three sixteenth notes`: note values only."""
    name = value_name(length)
    if "of a whole note" not in name:
        return f"{'an' if name[0] in 'aeiou' else 'a'} {name} note"
    for part in (Fraction(1, n) for n in (1, 2, 4, 8, 16, 32, 64, 6, 12, 24, 48)):
        count = length / part
        if count.denominator == 1:
            return f"{_number(count.numerator)} {value_name(part)} notes"
    return name


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def fret_in_words(timeline: Timeline, sound: SoundingNote) -> str:
    """Return `fret 5 on the B string`."""
    string = f"the {timeline.settings.tuning.label(sound.string)} string"
    if sound.dead:
        return f"a dead note on {string}"
    if sound.touch is not None and sound.fret is None:
        return f"the harmonic over fret {float(sound.touch):g} on {string}"
    return f"open {string[4:]}" if sound.fret == 0 else f"fret {sound.fret} on {string}"


def _spots(timeline: Timeline, sounds: tuple[SoundingNote, ...]) -> str:
    return " and ".join(fret_in_words(timeline, sound) for sound in sounds)


def difference_sentence(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    """Return what differs, from the student's side: "fret 6 on the B string: the teacher plays fret 5, one fret lower"."""
    words = _said(mine, theirs, d) if d.until is None or d.moves else _run(d, d.until)
    return words + (f" ({d.times} times, as it is repeated)" if d.times > 1 else "")


def _said(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    match d.kind:
        case DifferenceKind.MISSING:
            return f"missing: {_spots(theirs, d.theirs)}"
        case DifferenceKind.EXTRA:
            return f"one more than the teacher plays: {_spots(mine, d.mine)}"
        case DifferenceKind.FRET | DifferenceKind.NOTE:
            return _other_note(mine, theirs, d)
        case DifferenceKind.STRING:
            return f"the right note, at {fret_in_words(mine, d.mine[0])}; the teacher takes {fret_in_words(theirs, d.theirs[0])}"
        case DifferenceKind.EARLY | DifferenceKind.LATE:
            return _out_of_time(mine, d)
        case DifferenceKind.SHORT | DifferenceKind.LONG:
            one, several = ("is held", "are held") if d.kind is DifferenceKind.LONG else ("stops", "stop")
            how = one if len(d.mine) == 1 else several
            return f"{_whole(mine, d)} {how} {length_in_words(abs(d.by))} too {'long' if d.kind is DifferenceKind.LONG else 'soon'}"
        case DifferenceKind.BEND | DifferenceKind.INTONATION:
            return _bend(mine, d)
        case DifferenceKind.TECHNIQUE:
            return _technique(mine, theirs, d)


def _run(d: Difference, until: ScorePosition) -> str:
    """Return the sentence for one difference of several notes in a row."""
    notes = f"{len(d.theirs or d.mine)} notes, up to bar {until.bar}, beat {until.beat}"
    match d.kind:
        case DifferenceKind.MISSING:
            return f"missing: {notes}"
        case DifferenceKind.EXTRA:
            return f"more than the teacher plays: {notes}"
        case DifferenceKind.STRING:
            return f"{notes}: the right ones, but not on the teacher's strings"
        case _:
            return f"these {notes}, are {_off(d)}"


def _whole(timeline: Timeline, d: Difference) -> str:
    """Return the note, or the chord where there are several."""
    return fret_in_words(timeline, d.mine[0]) if len(d.mine) == 1 else f"the {_NUMBERS[min(6, len(d.mine))]} notes here"


def _other_note(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    a, b = d.mine[0], d.theirs[0]
    if highest_bend(b) and not (a.dead or b.dead):
        up = f"bends {_there(theirs, a, b)} up {interval_words(highest_bend(b))}"
        return f"{_played(mine, a)}: the teacher {up}" + (f", {_apart(d)}" if d.by else "")
    apart = f", {_apart(d)}" if d.by and d.kind is not DifferenceKind.NOTE else ""
    if apart and a.fret is not None and b.fret is not None and abs(a.fret - b.fret) == abs(d.by):
        return f"{_played(mine, a)}: the teacher plays {_other_fret(b.fret, abs(a.fret - b.fret), d.by > 0)}"
    return f"{fret_in_words(mine, a)}: the teacher plays {fret_in_words(theirs, b)}{apart}"


def _other_fret(fret: int, apart: int, lower: bool) -> str:
    count = "one fret" if apart == 1 else f"{_number(apart)} frets"
    return f"{f'fret {fret}' if fret else 'the open string'}, {count} {'lower' if lower else 'higher'}"


def _played(timeline: Timeline, sound: SoundingNote) -> str:
    """Return `fret 5 on the B string`, with its bend if it has one."""
    bend = highest_bend(sound)
    return fret_in_words(timeline, sound) + (f", bent {interval_words(bend)}" if bend else "")


def _there(timeline: Timeline, a: SoundingNote, b: SoundingNote) -> str:
    """Return where `b` is played; without the string where that is the one of `a`."""
    return f"fret {b.fret}" if a.string == b.string and b.fret else fret_in_words(timeline, b)


def _apart(d: Difference) -> str:
    """Return how far off the pitch is that is arrived at, where frets do not say it."""
    return f"so yours is {interval_words(float(d.by))} too {'high' if d.by > 0 else 'low'}"


def _off(d: Difference) -> str:
    """Return `an eighth note late`."""
    return f"{length_in_words(abs(d.by))} {'late' if d.by > 0 else 'early'}"


def _out_of_time(mine: Timeline, d: Difference) -> str:
    up_to = f" up to bar {d.until.bar}, beat {d.until.beat}" if d.until is not None else ""
    if d.about == ENTRY:
        return f"you come in {_off(d)}, and stay so{up_to}"
    if d.about in (RUSHED, DRAGGED):
        return _figure(mine, d, up_to)
    if d.about in (SPLIT, JOINED):
        return _pair(mine, d) + (f", and so is everything{up_to or ' after it'}" if d.moves else "")
    if d.about:
        return f"the {d.about} of {fret_in_words(mine, d.mine[0])} is {_off(d)}"
    if d.moves:
        return f"from here {up_to[1:] or 'on'} everything is {_off(d)}"
    return f"{_whole(mine, d)} {'are' if len(d.mine) > 1 else 'is'} {_off(d)}"


def _figure(mine: Timeline, d: Difference, up_to: str) -> str:
    """Return the sentence for notes that go too fast or too slowly, and for those that follow."""
    figure = len(d.mine) - d.moves
    words = f"these {_number(figure)} notes are {d.about}" if figure > 1 else f"this note is {d.about}"
    if d.moves:
        return f"{words}; from {_name(mine, d.mine[-1])}{up_to or ' on'} everything is {_off(d)}"
    return f"{words}: the last one is {_off(d)}"


def _name(timeline: Timeline, sound: SoundingNote) -> str:
    """Return a note as it is written: `E5`."""
    if sound.fret is None:
        return fret_in_words(timeline, sound)
    return f"{timeline.settings.tuning.written(sound.string)}{sound.fret}"


def _pair(mine: Timeline, d: Difference) -> str:
    """Return the sentence for notes that are to sound together and do not, and the other way round."""
    late = f"{_bent(mine, d.mine[0])} is {_off(d)}"
    if d.about == JOINED:
        return f"you play these two together: {late}"
    return f"you split the pair: {late}" if len(d.mine) == 1 else f"you split the chord: its last note is {_off(d)}"


def _bent(timeline: Timeline, sound: SoundingNote) -> str:
    """Return `the bend at fret 8 on the B string`, or the note alone where it has none."""
    where = fret_in_words(timeline, sound)
    return f"the bend at {where}" if highest_bend(sound) else where


def _bend(mine: Timeline, d: Difference) -> str:
    """Return the sentence for a pitch that a bend does not reach."""
    a, off = d.mine[0], f"{interval_words(float(d.by))} too {'high' if d.by > 0 else 'low'}"
    if d.lacking:
        return f"the bend is missing: {fret_in_words(mine, a)} stays {off}"
    if d.added:
        return f"a bend at {fret_in_words(mine, a)}, where the teacher has none: it arrives {off}"
    if d.about == "release":
        return f"the release at {fret_in_words(mine, a)} stops {off}"
    yours, wanted = _amounts(d)
    return f"{fret_in_words(mine, a)} is bent {interval_words(yours)}; the teacher bends {interval_words(wanted)}"


def _amounts(d: Difference) -> tuple[float, float]:
    """Return the first two bend amounts, in semitones, that are `by` apart."""
    a, b = (
        [shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS]
        for sound in (d.mine[0], d.theirs[0])
    )
    return next((x, y) for x in a for y in b if x - y == d.by)


def _technique(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    if d.about:
        return _another_way(mine, theirs, d)
    if DEAD in (d.lacking, d.added) and len(d.mine) == 1:
        return f"{fret_in_words(mine, d.mine[0])}, where the teacher plays {fret_in_words(theirs, d.theirs[0])}"
    here = f"at {fret_in_words(mine, d.mine[0])}" if len(d.mine) == 1 else f"over these {len(d.mine)} notes"
    if d.lacking and d.added:
        return f"{_a(d.added)} {here}, where the teacher has {_a(d.lacking)}"
    if d.lacking:
        return f"{_a(d.lacking)} is missing {here}"
    return f"{_a(d.added)} {here}, where the teacher has none"


def _another_way(mine: Timeline, theirs: Timeline, d: Difference) -> str:
    """Return the sentence for the right pitch if only one version bends up to it, or from another fret."""
    a, b = d.mine[0], d.theirs[0]
    if d.about == FRETTED:
        return f"{fret_in_words(mine, a)} is the right pitch; the teacher bends up to it from {_there(theirs, a, b)}"
    there = _there(theirs, a, b)
    if d.about == BENT_TO:
        return f"you bend up to the right pitch from {fret_in_words(mine, a)}; the teacher frets it, at {there}"
    return f"you bend up to the right pitch from {fret_in_words(mine, a)}, the teacher from {there}"


_NO_ARTICLE = ("picked", "tapped", "hammered", "tremolo", "let", "palm", "short", "snapped", "vibrato", "wide")


def _a(name: str) -> str:
    """Return a technique's name with its article, where it takes one."""
    if name.split()[0] in _NO_ARTICLE:
        return name
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"
