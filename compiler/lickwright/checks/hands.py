"""Hands (L430–L445): what the fretting hand cannot reach, hold or change in time, and the picking hand cannot do.

In: a Timeline. Out: findings. The sounds are sorted by use first: most licks have little that is worth a closer look. The parts are
`hands_grip` (held together), `hands_ring`, `hands_motion` (speed), `hands_bends` and `hands_pick`. Distances are in millimetres along
the neck; limits stand in `hand/measures.py` and `hand/string_tension.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from lickwright.checks import hands_bends, hands_grip, hands_motion, hands_pick, hands_ring
from lickwright.core.diagnostics import Diagnostic, Rule
from lickwright.core.fast_dataclass import mutable_record
from lickwright.hand.fingering import hand_for
from lickwright.hand.measures import Hand
from lickwright.notation.techniques import UPWARD_BENDS, Damping, Stroke, TechniqueKind
from lickwright.timeline.model import SoundingNote, Timeline

RULES: tuple[Rule, ...] = (
    *hands_grip.RULES,
    *hands_ring.RULES,
    *hands_motion.RULES,
    *hands_bends.RULES,
    *hands_pick.RULES,
)

# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; asked for every sound.
_TAP, _PULL, _PICK = Stroke.TAP, Stroke.PULL, Stroke.PICK
_PALM, _RING, _MARK = Damping.PALM, Damping.RING, TechniqueKind.MARK
_FINGERED = ("note", "grace")  # kinds of sound that a hand plays note by note


@mutable_record
class _SoundsByUse:
    """The sounds of a lick by what is worth a closer look, and whether there is any of it."""

    timeline: Timeline
    hand: Hand
    fretted: list[SoundingNote]  # under a finger of the fretting hand
    tapped: list[SoundingNote]
    picked: list[SoundingNote]
    bent: list[SoundingNote]
    damped: list[SoundingNote]  # under a palm
    pulled: bool  # a finger must be down before the note that it pulls off to
    fingers: bool  # some are written
    together: bool  # some sounds overlap
    rings: bool  # a note is marked to ring


def _sounds_by_use(timeline: Timeline) -> _SoundsByUse:
    played = [sound for sound in timeline.sounds if sound.kind in _FINGERED]
    fretted = list(filter(_is_under_finger, played))
    damped, rings = _marked(played)
    return _SoundsByUse(
        timeline,
        hand_for(timeline),
        fretted,
        tapped=[sound for sound in played if sound.begin.stroke is _TAP],
        picked=list(filter(_is_picked, played)),
        bent=[sound for sound in played if sound.shapes and _is_bent(sound)],
        damped=damped,
        pulled=any(map(_is_pulled, fretted)),
        fingers=any(sound.finger is not None for sound in played),
        together=_overlap(played),
        rings=rings,
    )


def _is_under_finger(sound: SoundingNote) -> bool:
    """Return whether a finger of the fretting hand stops the string with a clear pitch."""
    return bool(sound.fret) and sound.begin.stroke is not _TAP and (sound.head is None or not sound.dead)


def _is_picked(sound: SoundingNote) -> bool:
    return sound.begin.stroke is _PICK and sound.kind == "note"


def _is_pulled(sound: SoundingNote) -> bool:
    return sound.begin.stroke is _PULL or sound.trill is not None


def _is_bent(sound: SoundingNote) -> bool:
    return bool(sound.fret) and any(shape.technique.curve in UPWARD_BENDS for shape in sound.shapes)


def _marked(played: Sequence[SoundingNote]) -> tuple[list[SoundingNote], bool]:
    """Return the sounds under a palm, and whether any note is marked to ring."""
    marks = [(sound, mark) for sound in played if sound.marks for mark in sound.marks]
    damped = [sound for sound, mark in marks if mark.damping is _PALM]
    return damped, any(mark.damping is _RING and mark.kind is _MARK for _, mark in marks)


def _overlap(played: Sequence[SoundingNote]) -> bool:
    """Return whether a sound begins before the end of one before it, or is over at once."""
    until = -1
    for sound in played:
        if sound.start < until or (sound.start == sound.end and sound.kind == "note"):
            return True
        until = max(until, sound.end)
    return False


class _Check(NamedTuple):
    """One family of findings: when it is worth a look, and the function that finds them."""

    wanted: Callable[[_SoundsByUse], object]
    found: Callable[[_SoundsByUse], Iterable[Diagnostic]]


# In the order in which findings at one place are told.
_CHECKS: tuple[_Check, ...] = (
    _Check(
        lambda s: s.together or s.pulled or s.fingers,
        lambda s: hands_grip.check_grips(s.timeline, s.hand, s.together, s.pulled, s.fingers),
    ),
    _Check(lambda s: s.rings or s.timeline.words, lambda s: hands_ring.check_idle_rings(s.timeline)),
    _Check(lambda s: len(s.fretted) > 1, lambda s: hands_motion.check_shifts(s.timeline, s.hand, s.fretted)),
    _Check(lambda s: s.fingers, lambda s: hands_motion.check_hops(s.timeline)),
    _Check(lambda s: len(s.picked) > 2, lambda s: hands_motion.check_picking(s.timeline, s.picked)),
    _Check(lambda s: s.bent, lambda s: hands_bends.check_bends(s.timeline, s.bent, s.together)),
    _Check(lambda s: s.tapped or s.damped, lambda s: hands_pick.check_pick_hand(s.timeline, s.tapped, s.damped)),
    _Check(lambda s: s.together, lambda s: hands_pick.check_double_slides(s.timeline, s.fretted)),
)


def check_hands(timeline: Timeline) -> list[Diagnostic]:
    """Return the findings about both hands, by family."""
    by_use = _sounds_by_use(timeline)
    return [finding for check in _CHECKS if check.wanted(by_use) for finding in check.found(by_use)]
