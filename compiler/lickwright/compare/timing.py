"""Timing of a matched phrase: which notes are early or late, and which of them belong to one slip of several notes.

In: `MatchedPhrases`. Out: `Timing`: how far each note is from its place in the teacher's bar, and `Slip`s: a late entry, a part that
stays late, a figure that is rushed or dragged, a pair that is split or played together. All times are compared with the
teacher's beat, so an early note is never reported as late. A version that starts whole bars later counts as in time.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from lickwright.compare.match import MatchedNotes, MatchedPhrases
from lickwright.compare.shift import is_between
from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.timeline.bar_count import count_shift
from lickwright.timeline.model import SoundingNote, Timeline

ENTRY, RUSHED, DRAGGED, SPLIT, JOINED = "entry", "rushed", "dragged", "split", "together"


class Slip(NamedTuple):
    """One thing that is out of time, of one note or several."""

    notes: tuple[int, ...]  # indices of `MatchedPhrases.met`: the notes that it is reported at
    by: int  # units that it comes late
    about: str = ""  # one of the constants above, or "" for a note on its own
    moves: bool = False  # what follows stays so
    until: int | None = None  # the last note that does, where the student is in time again later


@mutable_record
class Timing:
    """How far the student's notes are from their places, and the slips to report."""

    late: list[int]  # units that each of `MatchedPhrases.met` comes late; 0 for one alone
    slips: dict[int, Slip] = field(default_factory=dict)  # by the first note that the slip is reported at
    told: set[int] = field(default_factory=set)  # notes that a slip names or covers
    figure: dict[int, str] = field(default_factory=dict)  # notes of a figure that is rushed or dragged, and which it is
    enters_late: bool = False  # the phrase is not in its place from the first moment on


def judge_timing(matched: MatchedPhrases) -> Timing:
    """Return what is early or late in a phrase."""
    level = [_displaced(matched, met) for met in matched.met]
    found = Timing([lasting + met.late for lasting, met in zip(level, matched.met, strict=True)])
    moments = _moments(matched)
    found.enters_late = bool(moments) and level[moments[0][0]] != 0
    for moment in moments:
        _split(matched, moment, found)
    _joined(matched, moments, level, found)
    _lasting(moments, level, found)
    _figures(moments, level, found)
    for k, late in enumerate(found.late):
        if late and k not in found.told:
            found.slips.setdefault(k, Slip((k,), late))
    return found


def _displaced(matched: MatchedPhrases, met: MatchedNotes) -> int:
    """Return by how much the lasting shift moves a note within the teacher's bar, in units, the nearest way round."""
    if met.mine is None or met.theirs is None or not met.shift:
        return 0
    bar = int(matched.theirs.settings.meter.length * matched.unit)
    if matched.mine.settings.meter.length * matched.factor * matched.unit != bar:
        return met.shift if met.shift % bar else 0
    apart = _bar_start(matched.mine, met.mine) * matched.factor - _bar_start(matched.theirs, met.theirs)
    late = (met.shift - int(apart * matched.unit)) % bar
    return late if 2 * late <= bar else late - bar


def _bar_start(timeline: Timeline, sound: SoundingNote) -> Fraction:
    """Return when the bar of a note starts as played, in whole notes; a pick-up is the end of a full bar."""
    bar, slot = timeline.bars[sound.bar], timeline.slots[sound.slot]
    return timeline.fraction(timeline.sounds[sound.index].start - slot.at - count_shift(timeline, bar))


def _moments(matched: MatchedPhrases) -> list[list[int]]:
    """Return the indices of paired notes, those that the teacher starts together in one list."""
    paired = [k for k, met in enumerate(matched.met) if met.mine is not None and met.theirs is not None]
    return [list(group) for _, group in groupby(paired, key=lambda k: matched.met[k].moment)]


def _split(matched: MatchedPhrases, moment: list[int], found: Timing) -> None:
    """Tell a chord whose notes come one after another: the first is in its place, and the rest is one thing."""
    if len({found.late[k] for k in moment}) < 2 or any(_stolen(matched.met[k]) for k in moment):
        return
    base = min((found.late[k] for k in moment), key=abs)
    apart = [k for k in moment if found.late[k] != base]
    worst = max((found.late[k] for k in apart), key=abs)
    _tell(found, Slip(tuple(apart), worst, SPLIT))


def _joined(matched: MatchedPhrases, moments: list[list[int]], level: list[int], found: Timing) -> None:
    """Tell a note that is played together with the one before it."""
    for before, moment in zip(moments, moments[1:], strict=False):
        starts = {a.start for k in before if (a := matched.met[k].mine) is not None and not _stolen(matched.met[k])}
        for k in moment:
            mine = matched.met[k].mine
            if mine is None or mine.start not in starts or _stolen(matched.met[k]) or k in found.told:
                continue
            if found.late[k] < 0 and found.late[k] < level[before[0]]:
                _tell(found, Slip((k,), found.late[k], JOINED))


def _stolen(met: MatchedNotes) -> bool:
    """Return whether it is a grace note or a stroke of a rake, which has no time of its own."""
    return any(sound is not None and sound.kind != "note" for sound in (met.mine, met.theirs))


def _tell(found: Timing, slip: Slip) -> None:
    found.slips[slip.notes[0]] = slip
    found.told.update(slip.notes)


def _lasting(moments: list[list[int]], level: list[int], found: Timing) -> None:
    """Tell parts that stay early or late, where they begin, with the figure that leads there."""
    start = 0
    before = 0
    while start < len(moments):
        here = level[moments[start][0]]
        end = start
        while end + 1 < len(moments) and level[moments[end + 1][0]] == here:
            end += 1
        if here and here != before:
            last = moments[end][-1] if end + 1 < len(moments) else None
            _tell(found, _begins(moments, start, before, here, found)._replace(moves=True, until=last))
        if here:
            found.told.update(k for moment in moments[start : end + 1] for k in moment if found.late[k] == here)
        start, before = end + 1, here


def _begins(moments: list[list[int]], start: int, before: int, here: int, found: Timing) -> Slip:
    """Return how a lasting shift begins."""
    first = next((k for k in moments[start] if found.late[k] == here), moments[start][0])
    known = found.slips.get(first)
    if known is not None:
        return known  # a pair that is split, or played together
    low = start
    while low and before != here and is_between(found.late[moments[low - 1][0]], before, here):
        low -= 1
    if low == start:
        return Slip((first,), here, "" if start else ENTRY)
    about = RUSHED if here < before else DRAGGED
    return Slip((*_figure(moments, low, start, about, found), first), here, about)


def _figure(moments: list[list[int]], low: int, end: int, about: str, found: Timing) -> list[int]:
    """Return the notes that a rushed or dragged figure is reported at: the last one in time, and those from `low` on."""
    found.told.update(k for moment in moments[low:end] for k in moment)
    found.figure.update((k, about) for moment in moments[max(0, low - 1) : end] for k in moment)
    return [moment[0] for moment in moments[max(0, low - 1) : end]]


def _figures(moments: list[list[int]], level: list[int], found: Timing) -> None:
    """Tell two moments or more, each further off than the one before it: rushed or dragged.

    What follows is in time again, or a few moments stay as far off as the last one.
    """
    start = 0
    while start < len(moments):
        end = start
        while end < len(moments) and _further(moments, level, found, start, end):
            end += 1
        if end - start >= 2:
            end = _tell_figure(moments, level, found, start, end)
        start = max(end, start + 1)


def _tell_figure(moments: list[list[int]], level: list[int], found: Timing, start: int, end: int) -> int:
    """Tell the figure from moment `start` to `end` (excluded), and return the first moment that is in time again."""
    by = found.late[moments[end - 1][0]]
    about = RUSHED if by < 0 else DRAGGED
    stay = end
    while stay < len(moments) and found.late[moments[stay][0]] == by and not level[moments[stay][0]]:
        stay += 1
    if stay == end:
        _tell(found, Slip(tuple(_figure(moments, start, end, about, found)), by, about))
    else:
        notes = (*_figure(moments, start, end - 1, about, found), moments[end - 1][0])
        last = moments[stay - 1][-1] if stay < len(moments) else None
        found.told.update(k for moment in moments[end - 1 : stay] for k in moment)
        _tell(found, Slip(notes, by, about, True, last))
    return stay


def _further(moments: list[list[int]], level: list[int], found: Timing, start: int, k: int) -> bool:
    """Return whether moment `k` carries on a figure that begins with moment `start`."""
    late = found.late[moments[k][0]]
    if not late or level[moments[k][0]] or any(i in found.told for i in moments[k]):
        return False
    before = found.late[moments[k - 1][0]] if k > start else 0
    return (late > before >= 0) if late > 0 else (late < before <= 0)
