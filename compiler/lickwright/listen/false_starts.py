"""Phrases that were begun, given up and begun again, found beside the passes that a reading has.

In: a `Hearing`, the groups of a lick with their costs, and a `Matching`. Out: the matching with a pass that is given up for each false start. The cheapest
reading of the whole leaves some out: after talk or another lick nothing more is charged for what stands before the first note, and where the phrase stops
early, its rest may seem to follow after a pause. So what a pass does not explain is looked at by itself: does the pass repeat it?
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.expected import ExpectedGroup
from lickwright.listen.match import MatchedPass, Matching
from lickwright.listen.match_costs import PitchCosts
from lickwright.listen.recognition import RIGHT_SHARE
from lickwright.listen.repetition import Repetition, find_repetition
from lickwright.listen.stretches import PICKED, Hearing

_PAUSE = 0.35  # seconds that a note comes later than the one before it lets expect, before which the phrase may have been begun again
_NEAR = 0.060  # seconds that a note played again may be off from where the tempo puts it,
_NEAR_SHARE = 0.06  # and share of the time until the note after the pause
_SHARED = 2  # stretches that a false start and the pass that it was taken for have in common, at least


class _Trial(NamedTuple):
    """A way to read a pass, with which a false start is looked for."""

    kept: MatchedPass
    begun: int  # the group from which on the phrase is begun again
    free: int  # the first stretch in which it may have been begun
    instead: bool  # of the pass before, which was taken for one


def with_false_starts(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, matching: Matching
) -> Matching:
    """Return a matching with the false starts that lie before its passes or within them."""
    passes: list[MatchedPass] = []
    free = before = 0  # the first stretch after the last pass, and after the one before it
    for one in matching.passes:
        kept, starts = one, []
        for trial in _trials(hearing, groups, costs, one, passes[-1] if passes else None, (before, free)):
            starts = _false_starts(hearing, costs, trial)
            if trial.instead and not any(_is_part(start, passes[-1]) for start in starts):
                starts = []
            if starts:
                kept = trial.kept
                if trial.instead:
                    passes, free = passes[:-1], before
                break
        passes += [*starts, kept]
        before, free = free, max((b for b in kept.begins if b is not None), default=free - 1) + 1
    return Matching(tuple(passes), matching.cost)


def _trials(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, one: MatchedPass, previous: MatchedPass | None,
    free: tuple[int, int],
) -> Iterator[_Trial]:  # fmt: skip
    """Yield the ways to read a pass: as it is, as begun again in a pause, or as what is begun again after the pass before it was given up."""
    in_pauses = list(_begun_in_pauses(hearing, groups, one))
    before, after = free
    if previous is None or not _shared(previous, one):
        yield from (_Trial(kept, begun, after, False) for kept, begun in in_pauses)
    else:  # begun again in the midst: or at the first note, but with wrong notes
        fair = (kept for kept, begun in in_pauses if not begun and _is_fair(kept, previous, costs))
        yield from (_Trial(kept, 0, before, True) for kept in fair)
    if previous is not None and _is_poor(previous, costs):
        yield _Trial(one, 0, before, True)
    yield _Trial(one, 0, after, False)


def _false_starts(hearing: Hearing, costs: PitchCosts, trial: _Trial) -> list[MatchedPass]:
    """Return what was begun and given up before a pass, in order."""
    one, begun = trial.kept, trial.begun
    again = [(n, b) for n, b in enumerate(one.begins) if b is not None and n >= begun]
    first = max((b + 1 for b in one.begins[:begun] if b is not None), default=trial.free)
    stop = again[0][1] if again else first
    found: list[MatchedPass] = []
    while start := find_repetition(hearing, (first, stop), again, costs.begin):
        found.append(_given_up(one, start))
        stop = start.begins[0][1]
    return found[::-1]


def _is_poor(one: MatchedPass, costs: PitchCosts) -> bool:
    """Return whether a pass that is no false start has so few right pitches that it may be one, with what sounded before or after it."""
    return one.whole and _right(one.begins, costs) < RIGHT_SHARE * len(one.begins)


def _is_fair(trial: MatchedPass, previous: MatchedPass, costs: PitchCosts) -> bool:
    """Return whether the notes of a trial that the pass before has too are right in it at least as often as there: else they only went on."""
    both = {b for b in trial.begins if b is not None}.intersection(previous.begins)
    here, there = ([b if b in both else None for b in one.begins] for one in (trial, previous))
    return _right(here, costs) >= _right(there, costs)


def _right(begins: Sequence[int | None], costs: PitchCosts) -> float:
    """Return how many groups begin at their pitch; one that is nearly at it is a part of one."""
    return sum(max(0.0, 1.0 - float(costs.begin[n, b])) for n, b in enumerate(begins) if b is not None)


def _is_part(start: MatchedPass, of: MatchedPass) -> bool:
    """Return whether a false start is what is right in a pass that was taken for a whole one, or for another part."""
    begun = sum(b is not None for b in start.begins)
    return _shared(start, of) >= _SHARED and begun < RIGHT_SHARE * len(start.begins)


def _shared(one: MatchedPass, other: MatchedPass) -> int:
    """Return how many stretches begin a group in two passes."""
    return len({b for b in one.begins if b is not None}.intersection(other.begins))


def _given_up(one: MatchedPass, start: Repetition) -> MatchedPass:
    """Return the part of a pass that was begun before it, as a pass that is given up."""
    begun = dict(start.begins)
    return MatchedPass(tuple(begun.get(n) for n in range(len(one.begins))), False, one.tempo)


def _begun_in_pauses(
    hearing: Hearing, groups: Sequence[ExpectedGroup], one: MatchedPass
) -> Iterator[tuple[MatchedPass, int]]:
    """Yield for each pause of a pass in which something is played the pass whose notes are played again in it, and from which group on."""
    told = [(n, b) for n, b in enumerate(one.begins) if b is not None]
    for (last, first), (following, after) in zip(told, told[1:], strict=False):
        expected = (groups[following].at - groups[last].at) / one.tempo
        late = hearing.starts[after] - hearing.starts[first] - expected
        if late < _PAUSE or not (hearing.picks[first + 1 : after] > PICKED).any():
            continue
        dues = [hearing.starts[after] - (groups[following].at - group.at) / one.tempo for group in groups[:following]]
        begun = next((n for n, due in enumerate(dues) if due > hearing.starts[first] + _NEAR), following)
        begins = list(one.begins)
        begins[begun:following] = _begun_near(hearing, dues[begun:], (first + 1, after))
        if any(b is not None for b in begins[begun:following]):
            yield one._replace(begins=tuple(begins)), begun


def _begun_near(hearing: Hearing, dues: Sequence[float], between: tuple[int, int]) -> list[int | None]:
    """Return for each instant (seconds, in order) the stretch from one to another (left out) that begins near it, if one does; none twice."""
    found: list[int | None] = []
    free, stop = between
    for due in dues:
        if free >= stop:
            found.append(None)
            continue
        near = free + int(np.argmin(np.abs(hearing.starts[free:stop] - due)))
        is_near = abs(hearing.starts[near] - due) < _NEAR + _NEAR_SHARE * (hearing.starts[stop] - due)
        found.append(near if is_near else None)
        free = near + 1 if is_near else free
    return found
