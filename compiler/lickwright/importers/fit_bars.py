"""Bars as they were read → bars as the notation has them: one meter a lick, every bar full.

In: a `LickDraft`. Out: one `FittedLick`, or several where the meter changes. A short bar is filled up with silence, a long one becomes several, and each of
these is a doubt; a short first bar is a pick-up. Nothing is left out but what lasts past the last bar of a lick.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from lickwright.core.fast_dataclass import replace
from lickwright.importers.draft import Doubt, DraftBar, DraftDirection, DraftGroup, LickDraft
from lickwright.importers.kept_endings import kept_endings
from lickwright.importers.kept_marks import kept_marks
from lickwright.importers.rules import BAR_FILLED, JUMP, METER_CHANGE
from lickwright.music.rhythm import Meter, parse_meter

_ZERO = Fraction(0)
_PLAIN = DraftBar()
_SHORTEST_PART = 64  # of a whole note, which a pick-up is counted in


class FittedLick(NamedTuple):
    """A lick that the notation can hold."""

    draft: LickDraft  # every bar has its length and its meter
    meter: Meter
    pickup: Fraction | None
    bars_read: tuple[int, ...]  # for each bar the index of the one that was read
    doubts: tuple[Doubt, ...]


def fit_bars(draft: LickDraft) -> list[FittedLick]:
    """Return the licks that a draft makes, in order."""
    meter = parse_meter("4/4")
    measured: list[tuple[int, Meter, DraftBar]] = []
    for n, bar in enumerate(draft.bars):
        meter = bar.meter or meter
        measured.append((n, meter, bar))
    parts = [(meter, list(bars)) for meter, bars in groupby(measured, key=lambda one: one[1])]
    found = []
    for number, (meter, bars) in enumerate(parts, 1):
        title = draft.title if len(parts) == 1 else f"{draft.title}, part {number}"
        doubts = []
        if number > 1:
            first = bars[0][0]
            message = f"the meter changes to {meter} at bar {first + 1}: a lick of its own begins there"
            hint = "repeats and ties that reach over the change have to be put right by hand"
            doubts.append(Doubt(METER_CHANGE, message, hint, first))
        part = replace(draft, title=title, comments=draft.comments if number == 1 else ())
        found.append(_fitted(part, meter, [(n, bar) for n, _, bar in bars], doubts))
    return found


def _fitted(draft: LickDraft, meter: Meter, bars: Sequence[tuple[int, DraftBar]], doubts: list[Doubt]) -> FittedLick:
    pickup = _pickup(meter, [bar for _, bar in bars])
    bars = list(_halves_joined(bars, meter.length))
    fitted: list[tuple[int, DraftBar]] = []
    for place, (n, bar) in enumerate(bars):
        whole = replace(bar, length=bar.length or meter.length, meter=meter)
        first, last = place == 0, place + 1 == len(bars)
        if _adds_up(whole, meter, pickup, first, last):
            fitted.append((n, whole))
            continue
        pieces = list(_cut(whole, meter.length))
        message = f"bar {n + 1} lasts {whole.length} of a whole note, and {meter} asks for {meter.length}"
        hint = "it is filled up with silence" if len(pieces) == 1 else f"it is written as {len(pieces)} bars"
        doubts.append(Doubt(BAR_FILLED, message, hint, n))
        fitted += [(n, piece) for piece in pieces]
    ended, endings = kept_endings([bar for _, bar in fitted])
    if endings:
        doubts.append(Doubt(JUMP, "an ending without its other half is read as plain bars", "write the repeat out"))
    shaped = _without_overhang(_said_inside(ended))
    kept, lost = kept_marks(shaped)
    doubts += [Doubt(JUMP, f"{name} leads nowhere here, and is left out", "write the jump by hand") for name in lost]
    shaped = tuple(replace(bar, marks=marks) for bar, marks in zip(shaped, kept, strict=True))
    return FittedLick(replace(draft, bars=shaped), meter, pickup, tuple(n for n, _ in fitted), tuple(doubts))


def _halves_joined(bars: Sequence[tuple[int, DraftBar]], whole: Fraction) -> Iterator[tuple[int, DraftBar]]:
    """Yield the bars, two that make a whole one together as one: a double bar line or the end of a line parts them on paper."""
    n = 0
    while n < len(bars):
        index, bar = bars[n]
        following = bars[n + 1][1] if n + 1 < len(bars) else None
        if n and following is not None and _are_halves(bar, following, whole):
            yield index, _together(bar, following)
            n += 2
        else:
            yield index, bar
            n += 1


def _are_halves(bar: DraftBar, following: DraftBar, whole: Fraction) -> bool:
    parted = bar.repeat_end or following.repeat_start or following.ending or bar.same or following.same
    marked = any(not mark.opens for mark in bar.marks) or any(mark.opens for mark in following.marks)
    lengths = (bar.length, following.length)
    return not (parted or marked) and None not in lengths and sum(one or _ZERO for one in lengths) == whole


def _together(bar: DraftBar, following: DraftBar) -> DraftBar:
    """Return one bar with the music of two."""
    start = bar.length or _ZERO
    return replace(
        bar,
        groups=(*bar.groups, *(group._replace(at=group.at + start) for group in following.groups)),
        length=start + (following.length or _ZERO),
        repeat_end=following.repeat_end,
        double=following.double,
        newline=following.newline,
        chords=(*bar.chords, *(one._replace(at=one.at + start) for one in following.chords)),
        directions=(*bar.directions, *(one._replace(at=one.at + start) for one in following.directions)),
        marks=(*bar.marks, *following.marks),
        comments=(*bar.comments, *following.comments),
    )


def _pickup(meter: Meter, bars: Sequence[DraftBar]) -> Fraction | None:
    """Return the length of a short first bar, where a field can say it; None where there is none."""
    length = bars[0].length
    if length is None or len(bars) == 1 or length >= meter.length:
        return None
    under = length.denominator
    return length if not under & (under - 1) and under <= _SHORTEST_PART else None


def _adds_up(bar: DraftBar, meter: Meter, pickup: Fraction | None, first: bool, last: bool) -> bool:
    """Return whether a bar is as long as it may be: whole, a pick-up, or short by the pick-up at the end or before what goes back."""
    if bar.length == meter.length or bar.same or (first and pickup is not None):
        return True
    goes_back = bar.repeat_end or any(mark.target or mark.sign == "fine" for mark in bar.marks)
    return pickup is not None and bool(last or goes_back) and (bar.length or _ZERO) + pickup == meter.length


def _cut(bar: DraftBar, whole: Fraction) -> Iterator[DraftBar]:
    """Yield a bar as one or more whole bars; notes that reach past its end stay so much longer as silence is put in there."""
    length = bar.length or whole
    count = max(1, -(-length // whole))
    missing = count * whole - length
    for n in range(count):
        start, last = n * whole, n == count - 1
        opening = bar if n == 0 else _PLAIN
        closing = bar if last else _PLAIN
        yield DraftBar(
            tuple(_moved(group, start, length, missing) for group in bar.groups if start <= group.at < start + whole),
            whole,
            bar.meter,
            repeat_start=opening.repeat_start,
            repeat_end=closing.repeat_end,
            ending=opening.ending,
            double=closing.double,
            newline=closing.newline,
            chords=tuple(one._replace(at=one.at - start) for one in bar.chords if start <= one.at < start + whole),
            directions=tuple(
                one._replace(at=one.at - start) for one in bar.directions if _is_in(one.at, start, whole, last)
            ),
            marks=tuple(mark for mark in bar.marks if (opening if mark.opens else closing) is bar),
            comments=opening.comments,
            span=bar.span,
        )


def _is_in(at: Fraction, start: Fraction, whole: Fraction, last: bool) -> bool:
    return at >= start and (last or at < start + whole)


def _moved(group: DraftGroup, start: Fraction, length: Fraction, missing: Fraction) -> DraftGroup:
    notes = tuple(
        replace(note, length=note.length + missing) if group.at + note.length > length else note for note in group.notes
    )
    return group._replace(at=group.at - start, notes=notes)


def _said_inside(bars: Sequence[DraftBar]) -> list[DraftBar]:
    """Return the bars with what is said at the end of one at the start of the next; at the very end, over the last note."""
    found: list[DraftBar] = []
    over: list[DraftDirection] = []
    for n, bar in enumerate(bars):
        length = bar.length or _ZERO
        said = [one._replace(at=_ZERO) for one in over] + [one for one in bar.directions if one.at < length]
        over = [one for one in bar.directions if one.at >= length]
        if n + 1 == len(bars):
            last = max((group.at for group in bar.groups), default=_ZERO)
            said += [one._replace(at=last) for one in over]
        found.append(replace(bar, directions=tuple(dict.fromkeys(sorted(said, key=lambda one: one.at)))))
    return found


def _without_overhang(bars: Sequence[DraftBar]) -> tuple[DraftBar, ...]:
    """Return the bars with no note that lasts past the end, nor into the next note of its string."""
    starts, at = [], _ZERO
    for bar in bars:
        starts.append(at)
        at += bar.length or _ZERO
    following: dict[int, Fraction] = {}  # by string, where its next note begins
    found = []
    for bar, start in zip(reversed(bars), reversed(starts), strict=True):
        groups = []
        for group in reversed(bar.groups):
            now = start + group.at
            most = {note.string: following.get(note.string, at) - now for note in group.notes}
            notes = tuple(
                replace(note, length=most[note.string]) if note.length > most[note.string] else note
                for note in group.notes
            )
            following.update({note.string: now for note in notes})
            groups.append(group._replace(notes=notes))
        found.append(replace(bar, groups=tuple(reversed(groups))))
    return tuple(reversed(found))
