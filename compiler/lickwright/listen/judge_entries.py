"""When the notes of a pass begin, looked at again where the match of stretches leaves a doubt.

In: a `HeardPass`. Out: the times, corrected: a note that no stretch begins may be heard to enter nevertheless, one that seems to begin with the end of another
may enter before it, and one that seems early or late may enter on time.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lickwright.core.fast_dataclass import replace
from lickwright.listen.entries import DOUBTFUL_STRENGTH, RISEN, Entry
from lickwright.listen.expected import ExpectedKind
from lickwright.listen.heard_pass import AROUND, CLAIMED, NEAR, ON_TIME, RENEWED, SHARP, STRUCK_AGAIN, HeardPass
from lickwright.listen.lateness import judge_onsets
from lickwright.listen.pass_times import PassTimes, pass_times
from lickwright.listen.picks import onset_instant
from lickwright.listen.stretches import PICKED
from lickwright.listen.told_times import DOUBTFUL_LATENESS, is_struck_again, onset_blurs, steady_onsets

_EDGE = 0.007  # seconds from the end of the window around an instant in which an entry may go on beyond it
_FARTHER = 0.180  # seconds on either side of the expected time in which a note may be struck whose pitch sounds already
_EARLIEST = 0.300  # seconds by which a note may enter before it is expected, or before its own stretch begins
_LATEST = 0.200  # seconds by which it may enter after its expected time
_LEAK = 0.030  # seconds more that are kept from the next note, which would be heard in an entry just before it
_RISEN_AWAY = 10.0  # decibels that its pitch must rise by there,
_STRONGER = 6.0  # and by which that entry must be stronger than the one with its stretch
_EXTRA_BEFORE = 0.100  # seconds by which the pitch of a note may come before it as an extra note
_RISEN_ON_TIME = 6.0  # decibels that a pitch must rise by whose stretch begins elsewhere
_NO_WEAKER = 4.0  # by how much an entry on time may be weaker than the one elsewhere, which may be a noise


def corrected_times(heard: HeardPass) -> PassTimes:
    """Return the times of a pass with the entries that its match left out, or put elsewhere."""
    for look in (_entries_left_out, _entries_before_stretches, _entries_on_time):
        starts = list(heard.times.starts)
        for n, at in look(heard):
            starts[n] = at
        heard = replace(heard, times=pass_times(heard.groups, heard.times.begins, starts, heard.tempo))
    return heard.times


def _entries_left_out(heard: HeardPass) -> Iterator[tuple[int, float]]:
    """Yield each judged group that no stretch begins, and when it enters, if it does."""
    for n, group in enumerate(heard.groups):
        if not group.why and heard.times.starts[n] is None and not heard.is_jumped_over(n):
            at = _entry_left_out(heard, n)
            if at is not None:
                yield n, at


def _entry_left_out(heard: HeardPass, n: int) -> float | None:
    """Return when a group that no stretch begins enters: where it is struck, where its partials rise near its expected time, or well before or after that."""
    looks = (_struck_again_at, _entry_near, _entry_well_before, _entry_well_after)
    found = (look(heard, n, at) for at in heard.places(n) for look in looks)
    return next((at for at in found if at is not None), None)


def _entry_near(heard: HeardPass, n: int, at: float) -> float | None:
    """Return when all notes of a group surely enter near an instant; None where they do not."""
    found = _entries_around(heard, n, at)
    told = [entry for entry in found if entry is not None and entry.is_sure]
    return told[0].at if len(told) == len(found) else None


def _entry_well_before(heard: HeardPass, n: int, at: float) -> float | None:
    """Return when a single note that is new enters beyond doubt and is struck, well before an instant; None where it does not."""
    if heard.groups[n].kind is not ExpectedKind.SINGLE or heard.repeats(n):
        return None
    early = _entry_before(heard, n, at - AROUND)
    if early is None:
        return None
    begun = heard.stretch_at(n, early.at)
    is_struck = begun is not None and heard.hearing.picks[begun] > PICKED
    return early.at if is_struck or heard.is_struck_sharply(early.at) else None


def _entry_well_after(heard: HeardPass, n: int, at: float) -> float | None:
    """Return when a single note that is new enters beyond doubt, well after an instant, with a stretch that begins no other; None where it does not."""
    if heard.groups[n].kind is not ExpectedKind.SINGLE or heard.repeats(n):
        return None
    found = _entry_between(heard, n, at + AROUND, heard.room(n, at, _LATEST)[1] - _LEAK)
    return found.at if found is not None and heard.stretch_at(n, found.at) is not None else None


def _entries_before_stretches(heard: HeardPass) -> Iterator[tuple[int, float]]:
    """Yield each single note whose stretch begins where nothing of it enters, but that enters before, and when.

    Its stretch begins where the note before it, on another string, stopped ringing: until then two notes sounded, and neither pitch came out.
    """
    for n, start in enumerate(heard.times.starts):
        at = _entry_before_stretch(heard, n, start) if start is not None and _begins_unstruck(heard, n, start) else None
        if at is not None:
            yield n, at


def _begins_unstruck(heard: HeardPass, n: int, start: float) -> bool:
    """Return whether a single note, new after the one before, begins with a stretch and no string is struck there."""
    group, begin = heard.groups[n], heard.times.begins[n]
    if begin is None or heard.hearing.picks[begin] > PICKED or group.kind is not ExpectedKind.SINGLE or group.why:
        return False
    return not heard.repeats(n) and heard.sharpest(start - NEAR, start + NEAR)[0] <= SHARP


def _entry_before_stretch(heard: HeardPass, n: int, start: float) -> float | None:
    """Return when a single note enters before the stretch that seems to begin it; None where it enters with it, or nowhere."""
    (here,) = heard.entries(n, start, CLAIMED)
    if here is None or here.rise > RISEN:
        return None
    before = _entry_before(heard, n, start - ON_TIME)
    return before.at if before is not None and before.strength > here.strength + _STRONGER else None


def _entry_before(heard: HeardPass, n: int, last: float) -> Entry | None:
    """Return the strongest entry of a single note up to an instant (seconds) and after the group before it, where it is one beyond doubt."""
    return _entry_between(heard, n, heard.room(n, last, _EARLIEST)[0], last)


def _entry_between(heard: HeardPass, n: int, first: float, last: float) -> Entry | None:
    """Return the strongest entry of a single note between two instants (seconds), where it is one beyond doubt.

    It is where a stretch begins that is near it, which is more exact.
    """
    (found,) = heard.entries(n, (first + last) / 2, (last - first) / 2) if last > first else (None,)
    if found is None or not found.is_sure or found.rise < _RISEN_AWAY:
        return None
    starts = heard.hearing.starts
    near = float(starts[np.argmin(np.abs(starts - found.at))])
    return found._replace(at=near) if abs(near - found.at) < CLAIMED else found


def _struck_again_at(heard: HeardPass, n: int, at: float) -> float | None:
    """Return when a single note is struck again whose pitch sounds already, near an instant or, very sharply, farther away; None where it is not."""
    group = heard.groups[n]
    if group.kind is not ExpectedKind.SINGLE or not group.struck or not heard.rings(n, at):
        return None
    odds, struck_at = heard.renewal(n, at)
    if odds > RENEWED:
        return onset_instant(heard.hearing.features, struck_at, AROUND / 3, AROUND / 3)
    sharp, struck_at = heard.sharpest(*heard.room(n, at, _FARTHER))
    return struck_at if sharp > STRUCK_AGAIN and heard.repeats(n) else None


def _entries_around(heard: HeardPass, n: int, at: float) -> list[Entry | None]:
    """Return the entries of a group near an instant; those that rise still where the window ends are looked for beyond it: a note may be early or late."""
    found = heard.entries(n, at, AROUND)
    edge = next((e.at for e in found if e is not None and abs(e.at - at) > AROUND - _EDGE), None)
    return found if edge is None else heard.entries(n, edge, AROUND)


def _entries_on_time(heard: HeardPass) -> Iterator[tuple[int, float]]:
    """Yield each single note that a stretch begins early or late, but that enters on time, and when."""
    onsets = steady_onsets(heard.groups, heard.times)
    late = judge_onsets(np.array([g.at for g in heard.groups]), onsets, onset_blurs(heard.groups)).late
    for n, group in enumerate(heard.groups):
        start = None if heard.times.begins[n] is None else heard.times.starts[n]
        if (
            start is not None
            and group.kind is ExpectedKind.SINGLE
            and not group.why
            and abs(late[n]) > DOUBTFUL_LATENESS
        ):
            at = _entry_on_time(heard, n, start, start - float(late[n]))
            if at is not None:
                yield n, at


def _entry_on_time(heard: HeardPass, n: int, start: float, expected: float) -> float | None:
    """Return when a single note that begins at `start` enters near the expected instant; None where it does not.

    A note that comes early and is struck again when it should begin is an extra note and the right one.
    """
    if expected - start > _EXTRA_BEFORE and is_struck_again(heard, start, expected, SHARP):
        return heard.sharpest(expected - ON_TIME, expected + ON_TIME)[1]
    (there,) = heard.entries(n, start, CLAIMED)
    (here,) = heard.entries(n, expected, ON_TIME)
    if here is None or there is None or here.rise <= _RISEN_ON_TIME or here.strength <= 2 * DOUBTFUL_STRENGTH:
        return None
    return here.at if here.strength > there.strength - _NO_WEAKER else None
