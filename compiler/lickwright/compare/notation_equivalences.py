"""Equivalences of notation: music that is only spelled in another way is reported once for the whole phrase, never as a mistake.

In: `MatchedPhrases`. Out: sentences.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from lickwright.compare.diff import is_elsewhere_on_neck
from lickwright.compare.match import MatchedPhrases
from lickwright.compare.model import Normalization
from lickwright.compare.timing import judge_timing
from lickwright.music.rhythm import Feel, value_name
from lickwright.timeline.model import Timeline

_STEPS = {
    1: "a half step", 2: "a whole step", 3: "a minor third", 4: "a major third", 5: "a fourth", 6: "a flat fifth",
    7: "a fifth", 8: "a minor sixth", 9: "a major sixth", 10: "a minor seventh", 11: "a major seventh",
}  # fmt: skip


def find_normalizations(matched: MatchedPhrases) -> tuple[Normalization, ...]:
    """Return what holds for the whole phrase, in the order in which it is said."""
    return tuple(one for find in (_tuning_and_capo, _pitch_and_place, _speed, _feels, _start) for one in find(matched))


def _tuning_and_capo(matched: MatchedPhrases) -> Iterator[Normalization]:
    mine, theirs = matched.mine.settings, matched.theirs.settings
    if mine.tuning.sounding != theirs.tuning.sounding:
        yield Normalization("tuning", f"your tuning is {mine.tuning}, the teacher's {theirs.tuning}")
    if mine.capo != theirs.capo:
        words = f"your capo is {_capo(mine.capo)}, the teacher's {_capo(theirs.capo)}; frets are counted from it"
        yield Normalization("capo", words)


def _pitch_and_place(matched: MatchedPhrases) -> Iterator[Normalization]:
    if matched.semitones:
        yield _transposed(matched.semitones)
    if is_elsewhere_on_neck(matched):
        words = f"you play it {_around(matched, 0)}, the teacher {_around(matched, 1)}: another place, the same notes"
        yield Normalization("place", words)


def _feels(matched: MatchedPhrases) -> Iterator[Normalization]:
    mine, theirs = matched.mine.settings, matched.theirs.settings
    if matched.heard:
        one, other = (f"{_feel(s.feel)} in {s.meter}" for s in (mine, theirs))
        yield Normalization("feel", f"you write {one}, the teacher writes {other}; compared as it sounds")
    elif str(mine.feel) != str(theirs.feel):
        yours = f"you play {_feel(mine.feel)}," if _says(matched.mine, "feel") else "you write no feel:"
        yield Normalization("feel", f"{yours} the teacher plays {_feel(theirs.feel)}; compared as written")


def _start(matched: MatchedPhrases) -> Iterator[Normalization]:
    if matched.first_shift and not judge_timing(matched).enters_late:
        rest = "you rest longer" if matched.first_shift > 0 else "you rest less"
        words = f"{rest} before the first note, and come in on the right beat: compared from there"
        yield Normalization("start", words)


def _says(timeline: Timeline, field: str) -> bool:
    """Return whether the lick, its file or its project says something in a field; else its value is the notation's."""
    settings = timeline.settings
    return field in settings.written or field in settings.set_by_project


def _feel(feel: Feel) -> str:
    """Return what one plays: `it straight`, `a shuffle`, `swing 5:3`."""
    before = {"straight": "it ", "shuffle": "a "}.get(feel.name, "")
    return before + str(feel)


def _capo(fret: int) -> str:
    return f"at fret {fret}" if fret else "off"


def _transposed(semitones: int) -> Normalization:
    octaves, rest = divmod(abs(semitones), 12)
    words = [f"{octaves} octaves" if octaves > 1 else "an octave"] if octaves else []
    words += [_STEPS[rest]] if rest else []
    way = "lower" if semitones > 0 else "higher"
    return Normalization(
        "transposed" if rest else "octave",
        f"you play it {' and '.join(words)} {way}: the same tune, and compared as such",
    )


def _around(matched: MatchedPhrases, whose: int) -> str:
    """Return `around fret 12`: the middle one of the fretted notes."""
    sounds = (matched.mine, matched.theirs)[whose].sounds
    frets = sorted(sound.fret for sound in sounds if sound.fret)
    return f"around fret {frets[len(frets) // 2]}" if frets else "on open strings"


def _speed(matched: MatchedPhrases) -> Iterator[Normalization]:
    """Yield other note values and another tempo: one may make up for the other."""
    mine, theirs = matched.mine.tempos[0].qpm * matched.factor, matched.theirs.tempos[0].qpm
    tempos = f"your tempo is {_bpm(matched, 0)}, the teacher's {_bpm(matched, 1)}"
    if matched.factor != 1 and not matched.heard:
        usual = _usual(matched)
        words = f"you write {value_name(usual)}s where the teacher writes {value_name(usual * matched.factor)}s"
        yield Normalization("spelling", words + (f"; {tempos}, so it sounds the same" if mine == theirs else ""))
    if mine == theirs:
        return
    if matched.factor == 1 and not _says(matched.mine, "tempo") and len(matched.mine.tempos) == 1:
        yield Normalization("tempo", f"you write no tempo: the teacher's is {_bpm(matched, 1)}")
    else:
        one = _bpm(matched, 0)
        tempos = f"your tempo is {one}, like the teacher's" if one == _bpm(matched, 1) else tempos
        yield Normalization("tempo", f"{tempos}: you play at {round(100 * mine / theirs)} % of the speed")


def _usual(matched: MatchedPhrases) -> Fraction:
    """Return the student's commonest note length that has a name in both spellings."""
    timeline = matched.mine
    lengths = Counter(timeline.fraction(s.end - s.start) for s in timeline.sounds if s.end > s.start)
    names = (length for length, _ in lengths.most_common())
    plain = (n for n in names if "whole note" not in value_name(n) + value_name(n * matched.factor))
    return next(plain, Fraction(1, 8))


def _bpm(matched: MatchedPhrases, whose: int) -> str:
    timeline = (matched.mine, matched.theirs)[whose]
    return f"{float(timeline.tempos[0].qpm / 4 / timeline.settings.meter.beat):g}"
