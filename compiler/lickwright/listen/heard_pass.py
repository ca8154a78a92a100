"""One pass through a lick as it is judged: what is heard, what is expected, and when each group begins.

In: a `Hearing`, the groups of a lick and the times of a pass. Out: `HeardPass`, which answers where the notes of a group enter, how sharply a string is struck
near an instant, and what stands between two groups.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.core.fast_dataclass import record
from lickwright.listen.entries import Entry, strongest_entry
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.pass_times import PassTimes
from lickwright.listen.picks import attack_sharpness
from lickwright.listen.renewals import renewal_odds, steepest_renewal
from lickwright.listen.stretches import Hearing

AROUND = 0.060  # seconds on either side of the expected time in which a note enters
ON_TIME = 0.030  # seconds on either side of the expected time that are on time
SHARP = 4.0  # decibels that the high band rises by where a string is struck again whose pitch sounds already
# Decibels that the high band rises by where that alone tells that a string is struck again: 5 at most where such a note was left out, 10 and more where it
# was played.
STRUCK_AGAIN = 8.0
RENEWED = 3.0  # odds that a string is struck again, which one note in a thousand has that only rings on
NEAR = 0.008  # seconds on either side of an instant that was found as the sharpest one
CLAIMED = 0.020  # seconds on either side of where a stretch begins
_NEXT = 0.050  # seconds that are kept from the notes before and after
_SAME = 0.5  # semitones
_JUMPED = 0.5  # share of the written time between two heard notes below which what lies between them was left out
_JUMPED_SECONDS = 0.35  # and how much less than written it must be
_HELD = 0.160  # seconds of a stretch in whose middle nothing is struck
_SELDOM = 90  # percent of such places that have no sharper rise
_WAITS = 0.25  # seconds beyond the written ones between two notes in which the player waits
# Odds of a new stroke below which a repeated note is heard faintly, as 1 in 40 that is played; the share of faint ones from which on another may be lost; and
# how many of the nearest repeated notes are looked at.
_FAINTLY, _SOME, _AT_MOST = 2.0, 0.1, 12
_LEAST_ROOM = 0.020  # seconds in which a string can be heard to be struck again
NEVER = -20.0  # odds of what cannot be
# Decibels of the pitch below which what rises is noise; 99 % of the notes that are struck again have more than -17.
_TOO_SOFT = -26.0
_STEP = 0.004  # seconds between the instants at which an attack is looked for


@record
class HeardPass:
    """A pass, and the recording in which it is heard."""

    hearing: Hearing
    groups: Sequence[ExpectedGroup]
    times: PassTimes
    tempo: float  # of the lick's own, as matched
    higher: float  # semitones that the guitar sounds higher than written

    def place(self, n: int) -> float:
        """Return when group `n` begins, or should by its neighbors; seconds."""
        start = self.times.starts[n]
        return self.times.predicted[n] if start is None else start

    def places(self, n: int) -> tuple[float, ...]:
        """Return when group `n` may begin: where it does, where it should by its neighbors and, where the player waits, at its distance from either."""
        before, after = self.around(n)
        at, predicted, groups = self.place(n), self.times.predicted[n], self.groups
        if self.times.starts[n] is not None:
            return at, predicted
        if before is None or after is None:
            return (at,)
        waits = self.place(after) - self.place(before) - (groups[after].at - groups[before].at) / self.tempo
        if waits < _WAITS:
            return (at,)
        first = self.place(before) + (groups[n].at - groups[before].at) / self.tempo
        return at, first, first + waits

    def stretch_at(self, n: int, at: float) -> int | None:
        """Return the stretch that begins group `n`, else one that begins at an instant (seconds) and no other group; None where there is none."""
        begins = self.times.begins
        if begins[n] is not None:
            return begins[n]
        k = int(np.searchsorted(self.hearing.starts[:-1], at))
        return k if k < self.hearing.count and self.hearing.starts[k] == at and k not in begins else None

    def around(self, n: int) -> tuple[int | None, int | None]:
        """Return the groups that are heard before group `n` and after it."""
        starts = self.times.starts
        before = next((m for m in range(n - 1, -1, -1) if starts[m] is not None), None)
        return before, next((m for m in range(n + 1, len(starts)) if starts[m] is not None), None)

    def room(self, n: int, at: float, reach: float) -> tuple[float, float]:
        """Return the seconds within `reach` of an instant that are neither of the group before `n` nor of the one after it."""
        before, after = (None if m is None else self.times.starts[m] for m in self.around(n))
        first = 0.0 if before is None else before + _NEXT
        return max(at - reach, first), min(
            at + reach, self.hearing.recording.seconds if after is None else after - _NEXT
        )

    def entries(self, n: int, at: float, reach: float) -> list[Entry | None]:
        """Return the strongest entry of each note of group `n` near an instant, between the groups before and after it."""
        near = self.groups[max(0, n - 1) : n + 2]
        pitches = [pitch for group in near for pitch in group.pitches]
        window = self.room(n, at, reach)
        return [
            self.entry(window, pitch, [other for other in pitches if abs(other - pitch) > _SAME])
            for pitch in self.groups[n].pitches
        ]

    def entry(self, window: tuple[float, float], pitch: float, others: Sequence[float]) -> Entry | None:
        """Return the strongest entry of a pitch within a window (seconds), by what `others` have not; pitches as written."""
        sounding = [other + self.higher for other in others]
        return strongest_entry(self.hearing.recording, self.hearing.features, window, pitch + self.higher, sounding)

    def sharpest(self, first: float, last: float) -> tuple[float, float]:
        """Return by how many decibels the high band rises at most between two instants (0 where there is no time between them), and when."""
        found = [(attack_sharpness(self.hearing.features, x), float(x)) for x in np.arange(first, last, _STEP)]
        return max(found, default=(0.0, first))

    def is_struck_sharply(self, at: float) -> bool:
        """Return whether a string is struck at an instant (seconds) so sharply that nothing else need tell it."""
        return self.sharpest(at - NEAR, at + NEAR)[0] > STRUCK_AGAIN

    def unstruck_sharpness(self) -> float:
        """Return by how many decibels the high band rises at most within `ON_TIME` of 9 in 10 places at which no string is struck.

        It is high where the sound is distorted. Such places are the middles of the longer stretches; 0 where there is none. It is measured once a recording.
        """
        measured = self.hearing.unstruck
        if not measured:
            starts = self.hearing.starts
            middles = ((starts[1:] + starts[:-1]) / 2)[np.diff(starts) > _HELD]
            found = [self.sharpest(at - ON_TIME, at + ON_TIME)[0] for at in middles]
            measured.append(float(np.percentile(found, _SELDOM)) if found else 0.0)
        return measured[0]

    def renewal(self, n: int, at: float) -> tuple[float, float]:
        """Return the logarithm of the odds that a single note whose pitch sounds already is struck again near an instant, and when (seconds)."""
        window = self.room(n, at, AROUND)
        if window[1] - window[0] < _LEAST_ROOM:
            return NEVER, at
        odds, level, struck_at = self.renewal_within(window, self.groups[n].pitches[0])
        return (odds, struck_at) if level >= _TOO_SOFT else (NEVER, at)

    def renewal_within(self, window: tuple[float, float], pitch: float) -> tuple[float, float, float]:
        """Return the logarithm of the odds that a string is struck again within a window (seconds), the level of its pitch in decibels, and when."""
        bands, struck_at = steepest_renewal(self.hearing.recording, self.hearing.features.loud, *window)
        entry = self.entry(window, pitch, ())
        if entry is None:
            return NEVER, -np.inf, struck_at
        return renewal_odds(bands, self.sharpest(*window)[0], entry.rise), entry.level, struck_at

    def repeats_are_faint(self, n: int) -> bool:
        """Return whether some of the repeated notes around a group are heard to be struck so faintly that one more may be so faint that it is not heard."""
        others = [
            m for m in range(len(self.groups)) if m != n and self.is_repeated(m) and self.times.starts[m] is not None
        ]
        nearest = sorted(others, key=lambda m: abs(m - n))[:_AT_MOST]
        faint = sum(self.renewal(m, self.place(m))[0] < _FAINTLY for m in nearest)
        return faint > 0 and faint >= _SOME * len(nearest)

    def is_repeated(self, n: int) -> bool:
        """Return whether a group is a single note that is struck at a pitch which the one before has too."""
        group = self.groups[n]
        return group.kind is ExpectedKind.SINGLE and group.struck and not group.why and self.repeats(n)

    def is_jumped_over(self, n: int) -> bool:
        """Return whether the notes heard before and after a group are so near each other that the music between them was not played."""
        before, after = self.around(n)
        if before is None or after is None:
            return False
        written = (self.groups[after].at - self.groups[before].at) / self.tempo
        played = self.place(after) - self.place(before)
        return played < _JUMPED * written and written - played > _JUMPED_SECONDS

    def rings(self, n: int, at: float) -> bool:
        """Return whether a pitch of a group may sound already at an instant, of the group before or of a string that rings longer."""
        if self.repeats(n):
            return True
        starts = self.times.starts
        before = ((group, start) for group, start in zip(self.groups[:n], starts, strict=False) if start is not None)
        return any(
            start + group.length / self.tempo > at
            and any(abs(p - other) < _SAME for p in group.pitches for other in self.groups[n].pitches)
            for group, start in before
        )

    def repeats(self, n: int) -> bool:
        """Return whether a group has a pitch that the one before has too, or comes to on its way."""
        if not n:
            return False
        before = self.groups[n - 1]
        ways = [(p, p) for p in before.pitches] if len(before.pitches) > 1 else [(before.low, before.high)]
        return any(low - _SAME < pitch < high + _SAME for pitch in self.groups[n].pitches for low, high in ways)
