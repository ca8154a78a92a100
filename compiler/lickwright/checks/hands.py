"""Hands (L430–L445): what the fretting hand cannot reach, hold or change in time, and the picking hand cannot do.

In: a Timeline. Out: findings. One walk over the sounds sorts out what is worth a closer look, which most licks have
little of; the parts are `hands_grip` (held together), `hands_ring`, `hands_motion` (speed), `hands_bends` and `hands_pick`. Distances are
in millimetres along the neck; limits stand in `hand.py` and `bending.py`.
"""

from __future__ import annotations

from lickwright.checks import hands_bends, hands_grip, hands_motion, hands_pick, hands_ring
from lickwright.diagnostics import Diagnostic, Rule
from lickwright.fingering import hand_for
from lickwright.notation.techniques import Curve, Damping, Kind, Stroke
from lickwright.timeline import Sound, Timeline

RULES: tuple[Rule, ...] = (
    *hands_grip.RULES,
    *hands_ring.RULES,
    *hands_motion.RULES,
    *hands_bends.RULES,
    *hands_pick.RULES,
)

_UP = (Curve.BEND, Curve.PREBEND)


def check_hands(timeline: Timeline) -> list[Diagnostic]:
    """All of them, by family."""
    fretted: list[Sound] = []  # under a finger of the fretting hand
    bent: list[Sound] = []
    tapped: list[Sound] = []
    damped: list[Sound] = []  # under a palm
    picked: list[Sound] = []
    pulled = fingers = together = rings = False
    until = -1
    for sound in timeline.sounds:
        kind, begin, fret = sound.kind, sound.begin, sound.fret
        if kind not in ("note", "grace"):
            continue
        stroke = begin.stroke
        if stroke is Stroke.TAP:
            tapped.append(sound)
        elif fret and sound.head is None or fret and not sound.dead:
            fretted.append(sound)
            if stroke is Stroke.PULL or sound.trill is not None:
                pulled = True
        if stroke is Stroke.PICK and kind == "note":
            picked.append(sound)
        if sound.finger is not None:
            fingers = True
        if sound.shapes and fret and any(shape.technique.curve in _UP for shape in sound.shapes):
            bent.append(sound)
        for mark in sound.marks:
            if mark.damping is Damping.PALM:
                damped.append(sound)
            elif mark.damping is Damping.RING and mark.kind is Kind.MARK:
                rings = True
        if sound.start < until or (kind == "note" and sound.start == sound.end):
            together = True
        until = max(until, sound.end)
    hand = hand_for(timeline)
    found: list[Diagnostic] = []
    if together or pulled or fingers:
        found += hands_grip.check_grips(timeline, hand, together, pulled, fingers)
    if rings or timeline.words:
        found += hands_ring.check_idle_rings(timeline)
    if len(fretted) > 1:
        found += hands_motion.check_shifts(timeline, hand, fretted)
    if fingers:
        found += hands_motion.check_hops(timeline)
    if len(picked) > 2:
        found += hands_motion.check_picking(timeline, picked)
    if bent:
        found += hands_bends.check_bends(timeline, bent, together)
    if tapped or damped:
        found += hands_pick.check_pick_hand(timeline, tapped, damped)
    if together:
        found += hands_pick.check_double_slides(timeline, fretted)
    return found
