"""Notes that the lick has not.

In: a `HeardPass`. Out: `ExtraNote`s. Only verified picks count with a pitch whose partials rise there, and none between dead notes or in trills, near what
is passed over, nor where the player hesitates.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lickwright.listen.combs import comb_strength
from lickwright.listen.entries import Entry
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.judge_notes import PassTimes
from lickwright.listen.model import ExtraNote
from lickwright.listen.picks import attack_sharpness
from lickwright.listen.second_opinion import new_spectrum
from lickwright.listen.stretches import Hearing

_PICK_FAINT = -1.5  # odds of a pick that only a strong entry makes one
_PICK, _PICK_SAME = 1.0, 2.5  # odds of a pick, and of one at the pitch that sounds already
_PICK_MOVING = 4.5  # odds of a pick while a bend or a slide is on its way, or something is passed over
_SOFT = 21.0  # decibels below the loudest
_APART = 0.075  # seconds from the notes of the lick
_BESIDE = 0.30  # seconds from a grace note, a chord or what else is passed over, in which each of its strings begins
_SAME = 0.5  # semitones
_AROUND = 0.020  # seconds on either side of the pick in which the partials of an extra note rise
# Odds of the pick and half the strength of the entry (decibels) together, over 114 extra notes and 430 stretches that are none of the sets of
# tests/bench/listening.py: at another pitch the former have 6.2 and more, the latter 4 at most; at the same one 2.7 and more, where no ring rises by 3 dB.
_STRUCK_ELSE, _STRUCK_SAME = 6.0, 2.5
_STRUCK_FAINTLY = 8.0  # of a faint pick at another pitch: extra notes have 8.5 and more, low noise 7.3 at most
_RINGS_ON = 3.0  # decibels below which a pitch does not rise
_STRONG = 1.0  # strength of an entry while a bend or a slide is on its way
_GLIDE = 0.045  # seconds on either side of an instant over which a pitch moves on, at most so many semitones from frame to frame, and so many in all
_GLIDE_STEP, _GLIDE_WAY = 0.5, 0.2
_BEND_STEP, _BEND_WAY = 0.3, 0.6  # the same of a glide that is sure to be one
_STRUCK = 8.0  # sharpness of the attack of a string: glides have 4 at most, strings that are struck 12 and more
_SHORT = 0.06  # seconds that an extra note lasts at least
_HESITATION = 0.45  # seconds beyond what is expected
_LATEST = 0.2  # seconds before that in which no extra note begins


def find_extras(heard: HeardPass, pace: float) -> list[ExtraNote]:
    """Return the extra notes of a pass, in order. `pace` are the seconds played for each second written."""
    told = [n for n, b in enumerate(heard.times.begins) if b is not None]
    found: list[ExtraNote] = []
    for n, following in zip(told, [*told[1:], None], strict=True):
        if not _is_unpitched(heard.groups, n, following):
            found += _extras_between(heard, n, following, pace)
    return found


def _extras_between(heard: HeardPass, n: int, following: int | None, pace: float) -> Iterator[ExtraNote]:
    """Yield the extra notes between a group and the one that is heard next, None after the last; none where the player hesitates."""
    hearing, groups, times = heard.hearing, heard.groups, heard.times
    until = _latest_end(heard, n, following, pace)
    next_start = None if following is None else times.starts[following]
    if next_start is not None and next_start > until:
        return
    around = [groups[n]] if following is None else [groups[n], groups[following]]
    for k in range((times.begins[n] or 0) + 1, _stop_between(heard, following)):
        if hearing.starts[k] >= until - _LATEST or not _has_room(hearing, k, times):
            continue
        if _is_beside_passed(heard, k, n, following):
            continue
        pitch = _extra_pitch(heard, k, around)
        if pitch is not None:
            yield ExtraNote(float(hearing.starts[k]), pitch, groups[n].sounds[0])


def _latest_end(heard: HeardPass, n: int, following: int | None, pace: float) -> float:
    """Return until when a group may go on before the player hesitates, in seconds."""
    groups = heard.groups
    end = groups[n].at + groups[n].length if following is None else groups[following].at
    late = _LATEST if following is None else _HESITATION
    return float(heard.times.starts[n] or 0) + (end - groups[n].at) * pace + late


def _stop_between(heard: HeardPass, following: int | None) -> int:
    """Return the first stretch that is no longer before a group, None for the end of the recording."""
    hearing = heard.hearing
    if following is None:
        return hearing.count
    stop, start = heard.times.begins[following] or 0, heard.times.starts[following]
    if start is not None and stop < hearing.count and start - hearing.starts[stop] >= _APART:
        return stop + 1  # the stretch that was taken for the group comes before it
    return stop


def _between(groups: Sequence[ExpectedGroup], n: int, following: int | None) -> range:
    """Return the groups from one to the one that is heard next, both included."""
    return range(n, (following if following is not None else min(n + 1, len(groups) - 1)) + 1)


def _is_unpitched(groups: Sequence[ExpectedGroup], n: int, following: int | None) -> bool:
    """Return whether picks between two groups need be no notes of their own: dead notes and trills."""
    between = [groups[m] for m in _between(groups, n, following)]
    return any(g.kind is ExpectedKind.UNPITCHED or any(s.trill for s in g.sounds) for g in between)


def _is_beside_passed(heard: HeardPass, k: int, n: int, following: int | None) -> bool:
    """Return whether a pick may be of a rake, a grace note, a chord or what else is passed over: it is faint, or near where that is or should be."""
    passed = [m for m in _between(heard.groups, n, following) if heard.groups[m].lead or heard.groups[m].why]
    at, faint = float(heard.hearing.starts[k]), bool(heard.hearing.picks[k] <= _PICK_MOVING)
    return bool(passed) and (faint or any(abs(at - heard.place(m)) < _BESIDE for m in passed))


def _has_room(hearing: Hearing, k: int, times: PassTimes) -> bool:
    """Return whether a stretch is loud, lasts long enough to be a note, and begins apart from the notes of the lick."""
    at, lasts = float(hearing.starts[k]), float(hearing.starts[k + 1] - hearing.starts[k])
    apart = all(start is None or abs(at - start) >= _APART for start in times.starts)
    return apart and lasts >= _SHORT and bool(hearing.levels[k] >= hearing.features.loud - _SOFT)


def _extra_pitch(heard: HeardPass, k: int, around: Sequence[ExpectedGroup]) -> float | None:
    """Return the pitch, as the lick would write it, of the extra note that a stretch begins; None where it begins none.

    `around` are the group that sounds and the one that follows, if one does.
    """
    hearing, group = heard.hearing, around[0]
    at, pick, pitch = float(hearing.starts[k]), float(hearing.picks[k]), float(hearing.pitches[k]) - heard.higher
    if pick <= _PICK_FAINT or _is_gliding(hearing, at):
        return None
    if not np.isfinite(pitch):
        pitch = _newest_pitch(hearing, k, around, heard.higher)
    entry = heard.entry((at - _AROUND, at + _AROUND), pitch, [p for p in group.pitches if abs(p - pitch) > _SAME])
    return pitch if entry is not None and _is_struck(group, pitch, pick, entry) else None


def _is_struck(group: ExpectedGroup, pitch: float, pick: float, entry: Entry) -> bool:
    """Return whether a pitch is struck while a group sounds, by the odds of the pick and by how it enters; a group that has it already may only ring on."""
    if not any(low - 0.6 <= pitch <= high + 0.6 for low, high in _ways(group)):
        return pick + entry.strength / 2 > (_STRUCK_ELSE if pick > _PICK else _STRUCK_FAINTLY)
    if group.kind is ExpectedKind.PASSED:  # it may be struck many times, as a tremolo is
        return False
    if group.high - group.low > 0.4:
        return pick > _PICK_MOVING and entry.strength > _STRONG
    return pick > _PICK_SAME and entry.rise > _RINGS_ON and pick + entry.strength / 2 > _STRUCK_SAME


def _ways(group: ExpectedGroup) -> list[tuple[float, float]]:
    """Return the lowest and the highest pitch of each note of a chord, or of a group as a whole."""
    chord = len(group.pitches) > 2 and not any(sound.shapes for sound in group.sounds)
    return [(p, p) for p in group.pitches] if chord else [(group.low, group.high)]


def _is_gliding(hearing: Hearing, at: float) -> bool:
    """Return whether the pitch moves on through an instant (seconds) at which no string is struck: a bend, a slide or a vibrato on its way.

    Partials rise and fall in it as they do where a note begins.
    """
    first, last = round((at - _GLIDE) / FRAME), round((at + _GLIDE) / FRAME)
    pitches = hearing.features.pitch[max(0, first) : last + 1]
    if len(pitches) < 2:
        return False
    fastest, way = float(np.abs(np.diff(pitches)).max()), float(np.ptp(pitches))
    if attack_sharpness(hearing.features, at) > _STRUCK:  # a finger may squeak on the string
        return fastest < _BEND_STEP and way > _BEND_WAY
    return fastest < _GLIDE_STEP and way > _GLIDE_WAY


def _newest_pitch(hearing: Hearing, k: int, groups: Sequence[ExpectedGroup], higher: float) -> float:
    """Return the pitch that is strongest in what is new in a stretch, within an octave of the groups."""
    spectrum = new_spectrum(hearing.recording, float(hearing.starts[k]), float(hearing.starts[k + 1]))
    low, high = min(min(g.pitches) for g in groups), max(max(g.pitches) for g in groups)
    return max(
        (float(p) for p in np.arange(round(low) - 12, round(high) + 13)),
        key=lambda p: comb_strength(spectrum, p + higher),
    )
