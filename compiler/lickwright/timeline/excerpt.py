"""A part of a lick: some of its bars as played, for practice.

In: a Timeline and the numbers of two bars. Out: a Timeline of what is played from the one to the other.
Its written bars keep their numbers, beats and counts; those around them are left out (`excerpt_bars.py`).

The part is the shortest stretch of the music as played that begins with the first bar, ends with the last and has every
bar between them, the earliest where there are several. So a repeat that the part does not need is not played, and a part
that lies across an ending or a jump is played as the lick plays it. A note that was struck before the part is not heard
in it; one that is joined to such a note is picked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.notation.techniques import PICKED
from lickwright.timeline.excerpt_bars import drop_other_bars
from lickwright.timeline.model import Pass, PitchGesture, SoundingNote, TempoAt, Timeline, bar_name

NO_BARS = Rule(
    "L510",
    "no such bars",
    Severity.ERROR,
    "bars are asked for that the lick does not have",
    "`--bars 1-2` makes the outputs of a part of the lick. Bars are counted as over the tab: from 1, each "
    "written bar once, repeats not counted; a pick-up is bar 0.",
    "",
    "",
)
PASSES = Rule(
    "L511",
    "which times are taken",
    Severity.INFO,
    "a part is not simply its bars the first time, one after the other",
    "With `--bars` the shortest stretch of the music as played is taken that begins with the first bar, ends with the last and has every bar "
    "between them. Where that is not simply each bar's first time, the bars are named in the order in which they are heard.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (NO_BARS, PASSES)
_NAMED = 12  # bars that a message names at most


class NoBars(ValueError):
    """The lick does not have or does not play these bars; `str()` says so in a player's words."""


def cut_bars(timeline: Timeline, first: int, last: int) -> tuple[Timeline, tuple[Diagnostic, ...]]:
    """Return the part from bar `first` to bar `last`, and a note where it is not simply each bar's first time.

    Raises NoBars where the lick does not have or does not play these bars.
    """
    turns = _stretch(timeline, first, last)
    begin, stop = turns[0].start, turns[-1].start + timeline.bars[turns[-1].bar].length
    counts: Counter[int] = Counter()
    passes: list[Pass] = []
    for turn in turns:
        passes.append(Pass(turn.bar, turn.start - begin, counts[turn.bar]))
        counts[turn.bar] += 1
    part = replace(
        timeline,
        title=f"{timeline.title} ({bars_named(first, last)})",
        passes=tuple(passes),
        sounds=tuple(_sounds(timeline, turns, passes, begin, stop)),
        tempos=_tempos(timeline, begin, stop),
        fermatas=tuple(
            (max(a, begin) - begin, min(b, stop) - begin) for a, b in timeline.fermatas if a < stop and b > begin
        ),
        end=stop - begin,
    )
    return drop_other_bars(part), _which_times(timeline, turns, first, last)


def bars_named(first: int, last: int) -> str:
    """Return `bars 1-2`, `bar 3` or `pick-up`."""
    return f"bars {first}-{last}" if last > first else bar_name(first)


def no_bars_finding(timeline: Timeline, error: NoBars) -> Diagnostic:
    """Return the finding for what `cut_bars` raises."""
    return NO_BARS.at(timeline.span, str(error), "bars are counted as over the tab; a pick-up is bar 0")


def _stretch(timeline: Timeline, first: int, last: int) -> tuple[Pass, ...]:
    """Return the passes of the part. Raises NoBars."""
    numbers = [bar.number for bar in timeline.bars]
    wanted = _wanted_bars(timeline, numbers, first, last)
    opens, closes = numbers.index(first), numbers.index(last)
    best: tuple[Pass, ...] = ()
    for i, turn in enumerate(timeline.passes):
        if turn.bar == opens:
            found = _stretch_from(timeline.passes, i, closes, wanted, len(best) or len(timeline.passes) + 1)
            best = found or best
    if not best:
        raise NoBars(f"{bar_name(last)} is never played after {bar_name(first)}")
    return best


def _wanted_bars(timeline: Timeline, numbers: list[int], first: int, last: int) -> set[int]:
    """Return the indices of the bars of the part. Raises NoBars where one is not there or never played."""
    for number in (first, last):
        if number not in numbers:
            has = f"bars {numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else f"{bar_name(numbers[0])} only"
            raise NoBars(f"there is no {bar_name(number)}: the lick has {has}")
    wanted = {n for n, number in enumerate(numbers) if first <= number <= last}
    never = wanted.difference(turn.bar for turn in timeline.passes)
    if never:
        raise NoBars(f"{bar_name(numbers[min(never)])} is never played")
    return wanted


def _stretch_from(passes: Sequence[Pass], start: int, closes: int, wanted: set[int], below: int) -> tuple[Pass, ...]:
    """Return the shortest stretch from `start` on that ends with bar `closes` and has all of `wanted`.

    Empty unless it is shorter than `below` passes.
    """
    left = set(wanted)
    for stop in range(start, min(len(passes), start + below - 1)):
        left.discard(passes[stop].bar)
        if not left and passes[stop].bar == closes:
            return tuple(passes[start : stop + 1])
    return ()


def _sounds(
    timeline: Timeline, turns: Sequence[Pass], passes: Sequence[Pass], begin: int, stop: int
) -> Iterator[SoundingNote]:
    """Yield the sounds that begin in the part, in its own time, none longer than the part."""
    numbers = {(old.bar, old.number): new.number for old, new in zip(turns, passes, strict=True)}
    places: dict[int, int] = {}  # a sound's index in the part, by that in the lick
    for sound in timeline.sounds:
        if not begin <= sound.start < stop:
            continue
        places[sound.index] = len(places)
        source = None if sound.source is None else places.get(sound.source)
        yield replace(
            sound,
            index=places[sound.index],
            start=sound.start - begin,
            end=min(sound.end, stop) - begin,
            begin=PICKED if sound.source is not None and source is None else sound.begin,
            source=source,
            shapes=[_shape(shape, begin, stop) for shape in sound.shapes if shape.start < stop],
            pass_no=numbers.get((sound.bar, sound.pass_no), 0),
        )


def _shape(shape: PitchGesture, begin: int, stop: int) -> PitchGesture:
    return replace(shape, start=shape.start - begin, end=min(shape.end, stop) - begin)


def _tempos(timeline: Timeline, begin: int, stop: int) -> tuple[TempoAt, ...]:
    """Return the tempo that holds at the beginning of the part, then its changes."""
    before = [tempo for tempo in timeline.tempos if tempo.start <= begin]
    inside = [TempoAt(tempo.start - begin, tempo.qpm) for tempo in timeline.tempos if begin < tempo.start < stop]
    return (TempoAt(0, before[-1].qpm), *inside)


def _which_times(timeline: Timeline, turns: Sequence[Pass], first: int, last: int) -> tuple[Diagnostic, ...]:
    """Return the note on which times are taken; () where that is simply the first of each bar."""
    if [(timeline.bars[turn.bar].number, turn.number) for turn in turns] == [(n, 0) for n in range(first, last + 1)]:
        return ()
    names = [bar_name(timeline.bars[turn.bar].number, turn.number).removeprefix("bar ") for turn in turns]
    message = f"{bars_named(first, last)} as the lick plays them: {'; '.join(names[:_NAMED])}"
    message += f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return (PASSES.at(timeline.span, message, "repeats and jumps are taken only where the part needs them"),)
