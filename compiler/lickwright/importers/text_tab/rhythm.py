"""When each column of a bar is played.

In: the columns of a bar, and the rows of counts or letters around it. Out: a `TimedBar`. A row of counts goes before a row of letters, both
before an even grid,
and that before a guess; a row that does not stand over the notes is reported and left aside.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.text_tab.columns import Instant
from lickwright.importers.text_tab.count_row import counted_instants
from lickwright.importers.text_tab.rows import CountWord
from lickwright.importers.text_tab.spacing import spaced_times, unbarred_times
from lickwright.music.rhythm import Meter

_VALUES = {"W": 1, "H": 2, "Q": 4, "E": 8, "S": 16, "T": 32}
_PARTS = frozenset({1, 2, 3, 4, 6, 8, 12, 16, 24, 32})  # of a whole note, on which a note between two counts may stand
_DRIFT = 2  # columns that a rhythm letter may stand off its note
_MATCHED = 0.6  # of the columns that a row of counts must stand over


@mutable_record
class TimedColumn:
    """One column and its instant."""

    instant: Instant
    at: Fraction  # whole notes from the start of the bar
    lead: bool = False  # it leads to the next column and takes no time: a grace note, a rake stroke


@mutable_record
class TimedBar:
    """One bar with its instants."""

    columns: list[TimedColumn]
    source: str  # "counts", "letters", "grid" or "guess"
    confidence: float = 1.0
    unfit: str = ""  # why the row that stands there was not followed
    times: dict[int, Fraction] = field(default_factory=dict)  # instants by column, of counts over nothing too
    length: Fraction | None = None  # that the letters make, where the meter is not known yet


def counted_bar(instants: Sequence[Instant], words: Sequence[CountWord], meter: Meter, ours: bool) -> TimedBar | None:
    """Return a bar timed by its row of counts; None where the row does not stand over the notes."""
    times = counted_instants(words, meter)
    near = {x: x for x in times} if ours else _columns_near(times, instants)
    matched: dict[int, Fraction] = {}
    for n, instant in enumerate(instants):
        under = next((near[x] for x in range(instant.x, max(instant.x + 1, instant.end)) if x in near), None)
        if under is not None:
            matched[n] = times[under]
    if not ours and len(matched) < _MATCHED * len(instants):
        return None
    rising = [matched[n] for n in sorted(matched)]
    if any(a >= b for a, b in zip(rising, rising[1:], strict=False)) or (rising and rising[-1] >= meter.length):
        return None
    columns = _with_rests(instants, matched, words, times, ours, meter)
    if not ours and any(column.at.denominator not in _PARTS for column in columns):
        return None
    return TimedBar(columns, "counts", 1.0 if len(matched) == len(instants) or ours else 0.6, times=dict(times))


def _columns_near(times: dict[int, Fraction], instants: Sequence[Instant]) -> dict[int, int]:
    """Return which count stands at each column, or beside it: the row as a whole may stand a column or two off."""
    columns = {x for instant in instants for x in range(instant.x, instant.end)}
    shift = max((0, -1, 1, -2, 2), key=lambda by: sum(x + by in columns for x in times))
    near = {x + shift: x for x in times}
    for x in times:
        for other in (x + shift - 1, x + shift + 1):
            near.setdefault(other, x)
    return near


def _with_rests(
    instants: Sequence[Instant],
    matched: dict[int, Fraction],
    words: Sequence[CountWord],
    times: dict[int, Fraction],
    ours: bool,
    meter: Meter,
) -> list[TimedColumn]:
    """Return the columns with their instants, those without a count between or before their neighbors, and those of the rests."""
    columns = [
        TimedColumn(instant, matched[n])
        if n in matched
        else _uncounted(instant, n, matched, len(instants), ours, meter)
        for n, instant in enumerate(instants)
    ]
    counted = {column.at: column for column in columns if not column.lead}
    for word in words:
        at = times.get(word.x) if word.rest else None
        if at is None:
            continue
        if at in counted:
            counted[at].instant.rest = True
        else:
            columns.append(TimedColumn(Instant(word.x, word.x + 1, rest=True), at))
    return sorted(columns, key=lambda column: (column.at, not column.lead, column.instant.x))


def _uncounted(
    instant: Instant, n: int, matched: dict[int, Fraction], count: int, ours: bool, meter: Meter
) -> TimedColumn:
    """Return the `n`-th column of a bar, which has no count: in our own tab it leads to the next, in others' it parts the time between its neighbors."""
    first = max((k for k in matched if k < n), default=-1)
    last = min((k for k in matched if k > n), default=count)
    if ours and last < count:
        return TimedColumn(instant, matched[last], lead=True)
    low, high = matched.get(first, Fraction(0)), matched.get(last, meter.length)
    lead = first if first in matched else 0
    return TimedColumn(instant, low + (high - low) * Fraction(n - lead, max(1, last - lead)))


def lettered_bar(
    instants: Sequence[Instant], letters: Sequence[tuple[int, str]], length: Fraction | None
) -> TimedBar | None:
    """Return a bar timed by its rhythm letters; None where they do not stand over the notes, or do not fill the bar."""
    sounding = [letter for letter in letters if not letter[1].startswith("R")]
    if len(sounding) != len(instants) and len(letters) != len(instants):
        return None
    at, columns, drift = Fraction(0), [], 0
    rest_of = iter(instants)
    for x, letter in letters:
        value = letter_value(letter)
        if value is None:
            return None
        if letter.startswith("R"):
            columns.append(TimedColumn(Instant(x, x + 1, rest=True), at))
        else:
            instant = next(rest_of, None)
            if instant is None:
                return None
            drift = max(drift, abs(instant.x - x))
            columns.append(TimedColumn(instant, at))
        at += value
    if length is not None and at != length:
        return None
    unfit = "the rhythm letters do not stand over the notes, and were taken in order" if drift > _DRIFT else ""
    times = {column.instant.x: column.at for column in columns}
    return TimedBar(columns, "letters", unfit=unfit, times=times, length=at)


def letter_value(letter: str) -> Fraction | None:
    """Return the note value of a rhythm letter, in whole notes: 3/8 for `Q.`; None for what is none."""
    base = _VALUES.get(letter[0], 4 if letter[0] == "R" else 0)
    if not base:
        return None
    value = Fraction(1, base)
    if "." in letter:
        value *= Fraction(3, 2)
    return value * Fraction(2, 3) if letter.endswith("3") else value


def spaced_bar(instants: Sequence[Instant], left: int, right: int, length: Fraction, pad: int | None) -> TimedBar:
    """Return a bar timed by its spacing."""
    found = spaced_times(tuple(instant.x - left for instant in instants), right - left, length, pad)
    columns = [TimedColumn(instant, at) for instant, at in zip(instants, found.times, strict=True)]
    return TimedBar(
        columns, "grid" if found.even else "guess", found.confidence, times={c.instant.x: c.at for c in columns}
    )


def unbarred_bar(instants: Sequence[Instant], right: int) -> TimedBar:
    """Return columns without bar lines timed by their spacing, past the end of a bar too."""
    found = unbarred_times(
        [i.x for i in instants], [i.end - i.x for i in instants], right - (instants[-1].end if instants else 0)
    )
    columns = [TimedColumn(instant, at) for instant, at in zip(instants, found.times, strict=True)]
    return TimedBar(columns, "guess", found.confidence, times={c.instant.x: c.at for c in columns})
