"""The report of a comparison: a summary first, then the differences in musical order.

In: a `Comparison`. Out: lines of plain text, or a value for JSON. The report is short and names what is right, since a student reads it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lickwright.compare.diff import score_position
from lickwright.compare.model import Comparison, Difference, DifferenceKind, Pair
from lickwright.compare.score import FORMULA
from lickwright.compare.wording import difference_sentence
from lickwright.report.console import counted_noun
from lickwright.timeline.model import SoundingNote, Timeline

LISTED = 14  # lines of differences where not all are asked for: with the summary about twenty
_TIME = {DifferenceKind.EARLY, DifferenceKind.LATE}
_FEW = 25  # of 100: below it what to do comes first, and the number last
_PRAISE = (
    (100, "just like the teacher's"),
    (90, "very close"),
    (75, "well on the way"),
    (50, "a good part of it is there"),
    (0, "take it bar by bar, slowly"),
)


def summary_lines(c: Comparison) -> list[str]:
    """Return whose phrase it is, how good it is, and what holds for all of it."""
    score = c.score
    said = [*_good_bars(c), *(one.words for one in c.said)]
    if score.of_100 < _FEW:
        return [f'"{c.theirs.title}": {_to_do(c)}', *said, f"{_counted(c)}; score {score.of_100} of 100"]
    praise = praise_for(100 if c.alike else min(99, score.of_100))
    return [f'"{c.theirs.title}": {praise}', f"score {score.of_100} of 100: {_counted(c)}", *said]


def praise_for(of_100: int) -> str:
    """Return what is said of a score out of 100: `well on the way`."""
    return next(words for least, words in _PRAISE if of_100 >= least)


def _to_do(c: Comparison) -> str:
    """Return `start with bar 1, slowly: 21 notes to find`."""
    number = min(_wrong_bars(c), default=1)
    find = c.score.notes - c.score.right
    what = counted_noun(find, "note") + " to find" if find else counted_noun(c.score.extra, "note") + " to leave out"
    return f"start with {f'bar {number}' if number else 'the pick-up'}, slowly: {what}"


def _counted(c: Comparison) -> str:
    """Return `7 of 8 notes are just right, 1 more but for its time; one place to look at`."""
    score = c.score
    late = sum(bool(pair.theirs and pair.kinds) and pair.kinds <= _TIME for pair in c.pairs)
    if late and not score.right:
        right = f"{_of(late, score.notes)} right but for {_whose(late)} time"
    else:
        right = f"{_of(score.right, score.notes)} just right"
        right += f", {late} more but for {_whose(late)} time" if late else ""
    more = f", {score.extra} more than the teacher plays" if score.extra else ""
    places = len(c.differences)
    look = "" if not places else "; one place to look at" if places == 1 else f"; {places} places to look at"
    return f"{right}{more}{look}"


def _of(some: int, notes: int) -> str:
    """Return `3 of 8 notes are`."""
    if notes == 1:
        return f"{some or 'no'} note of 1 is"
    if some == notes:
        return f"all {notes} notes are"
    return f"{some} of {notes} notes {'is' if some == 1 else 'are'}"


def _whose(notes: int) -> str:
    return "its" if notes == 1 else "their"


def _wrong_bars(c: Comparison) -> set[int]:
    """Return the numbers of the bars in which something differs; 0 is the pick-up."""
    noted = {score_position(c.theirs, p.theirs).bar for p in c.pairs if p.theirs and not p.right}
    return noted | {d.place.bar for d in c.differences}


def _good_bars(c: Comparison) -> list[str]:
    """Return `bars 1, 3 and 4 are just right`; nothing where none is, or all are."""
    if c.alike:
        return []
    good = sorted({score_position(c.theirs, p.theirs).bar for p in c.pairs if p.theirs} - _wrong_bars(c))
    names = ["the pick-up" if number == 0 else str(number) for number in good]
    if not names:
        return []
    listed = ", ".join(names[:-1]) + (" and " if names[:-1] else "") + names[-1]
    if good[0] == 0:
        return [f"{listed} {'are' if len(names) > 1 else 'is'} just right"]
    return [f"bar {listed} is just right" if len(names) == 1 else f"bars {listed} are just right"]


def list_differences(c: Comparison, everything: bool, width: int) -> tuple[list[str], int]:
    """Return the lines of the differences in musical order, numbered as in the tabs, and how many differences are listed."""
    places = [_place(d) for d in c.differences]
    wide = max(map(len, places), default=0)
    lines: list[str] = []
    for number, (d, where) in enumerate(zip(c.differences, places, strict=True), 1):
        row = _row(f"{number:2}  {where:{wide}}  ", difference_sentence(c.mine, c.theirs, d), width)
        left = len(c.differences) - number
        if not everything and len(lines) + len(row) + (left > 0) > LISTED:
            return [*lines, f"and {left + 1} more after that: --all lists them"], number - 1
        lines += row
    return lines, len(c.differences)


def _place(d: Difference) -> str:
    return f"{'pick-up' if d.place.bar == 0 else f'bar {d.place.bar}'}, beat {d.place.beat}"


def comparison_as_json(c: Comparison) -> dict[str, Any]:
    """Return everything as a value for JSON. Pitches are nominal, `by` is in semitones or in the teacher's whole notes."""
    score = c.score
    return {
        "title": c.theirs.title,
        "alike": c.alike,
        "score": {
            "of_100": score.of_100, "points": score.points, "possible": score.possible, "formula": FORMULA,
            "right": score.right, "notes": score.notes, "extra": score.extra,
        },
        "said": [{"kind": said.kind, "words": said.words} for said in c.said],
        "differences": [_difference(c, n, d) for n, d in enumerate(c.differences, 1)],
        "notes": [_pair(c, pair) for pair in c.pairs],
    }  # fmt: skip


def _difference(c: Comparison, number: int, d: Difference) -> dict[str, Any]:
    found: dict[str, Any] = {
        "number": number, "kind": str(d.kind), "bar": d.place.bar, "beat": d.place.beat, "words": difference_sentence(c.mine, c.theirs, d),
        "mine": [_note(c.mine, s) for s in d.mine], "theirs": [_note(c.theirs, s) for s in d.theirs],
    }  # fmt: skip
    optional = {"by": str(d.by) if d.by else "", "lacking": d.lacking, "added": d.added, "about": d.about}
    found |= {name: word for name, word in optional.items() if word}
    if d.until is not None:
        found["until"] = {"bar": d.until.bar, "beat": d.until.beat}
    return found | {"moves": d.moves, "times": d.times}


def _pair(c: Comparison, pair: Pair) -> dict[str, Any]:
    return {
        "mine": _note(c.mine, pair.mine) if pair.mine is not None else None,
        "theirs": _note(c.theirs, pair.theirs) if pair.theirs is not None else None,
        "differs": sorted(map(str, pair.kinds)),
    }


def _note(timeline: Timeline, sound: SoundingNote) -> dict[str, Any]:
    at = score_position(timeline, sound)
    sound = timeline.sounds[sound.index]  # as written, where it was compared as it sounds
    return {
        "bar": at.bar, "beat": at.beat, "string": sound.string, "fret": sound.fret, "pitch": None if sound.dead else sound.pitch,
        "start": str(timeline.fraction(sound.start)), "length": str(timeline.fraction(sound.end - sound.start)),
    }  # fmt: skip


def comparison_text(c: Comparison, width: int, everything: bool, drawn: bool = True) -> Iterator[str]:
    """Yield the whole report of one lick, line by line, without how the score is counted."""
    from lickwright.export.tab.lanes import wrap_words

    for line in summary_lines(c):
        yield from _hung(wrap_words(line, width - 2))
    rows, listed = list_differences(c, everything, width)
    if rows:
        yield ""
        yield from rows
    if drawn and rows:
        from lickwright.compare.tabs import draw_tabs

        yield ""
        yield from draw_tabs(c, width, None if everything else range(1, listed + 1))


def score_explanation(width: int) -> Iterator[str]:
    """Yield how the score is counted: shown once after all licks, if one of them is not perfect."""
    from lickwright.export.tab.lanes import wrap_words

    yield from _hung(wrap_words(f"how the score is counted: {FORMULA}", width - 2))


def _row(place: str, words: str, width: int) -> list[str]:
    """Return a difference in lines, its words in a column of their own."""
    from lickwright.export.tab.lanes import wrap_words

    first, *rest = wrap_words(words, max(20, width - len(place)))
    return [place + first, *(" " * len(place) + part for part in rest)]


def _hung(parts: list[str]) -> Iterator[str]:
    yield parts[0]
    yield from ("  " + part for part in parts[1:])
