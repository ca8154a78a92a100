"""Rings (L434): strings that are to ring on though the hand leaves them, or their own next note ends them at once.

In: a Timeline, and what is down at each moment. Out: findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from lickwright.checks.findings import beat_at, finding_at_slot, finding_at_sound, note_as_typed, string_in_words
from lickwright.checks.hands_hold import FingerPlace, finger_down, hold_places, judge_hold
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.measures import Hand
from lickwright.notation.techniques import Damping, TechniqueKind
from lickwright.timeline.model import SoundingNote, Timeline, WordSpan

RING = Rule(
    "L434", "let ring that cannot ring", Severity.WARNING,
    "a note that should ring on, though its finger or string is needed elsewhere",
    "A fretted string rings as long as its finger stays. When the hand moves away, or the string is played again right away, it "
    "stops there. Play the later note on another string or nearer, use an open string, or let the ring end.",
    'lick "In one hand"\nkey A minor\n| G5= e5 e12 - e8 e5 e8 - ||\n', 'lick "In one hand"\nkey A minor\n| G5= e5 e8 - e8 e5 e8 - ||\n',
)  # fmt: skip


RULES: tuple[Rule, ...] = (RING,)


def is_ringing(sound: SoundingNote) -> bool:
    """Return whether a sound is to ring on, by a mark or a word."""
    return bool(sound.marks) and any(mark.damping is Damping.RING for mark in sound.marks)


def check_rings(
    timeline: Timeline,
    hand: Hand,
    down: list[FingerPlace],
    ringing: list[SoundingNote],
    stopped: set[int],
    struck: list[SoundingNote],
) -> Iterator[Diagnostic]:
    """Yield the ringing notes that the hand cannot keep with what it holds now; the youngest are kept first.

    Their indices are added to `stopped`.
    """
    kept = list(down)
    for sound in reversed(ringing):
        if not sound.fret:
            kept.append(finger_down(sound))
            continue
        with_it = [*kept, finger_down(sound)]
        if judge_hold(hold_places([d for d in with_it if d.finger != "T"] or with_it), hand).possible(hand):
            kept = with_it
            continue
        stopped.add(sound.index)
        here = struck[0]
        message = f"{note_as_typed(timeline, sound.string, sound.fret)} cannot ring on past {_when(timeline, here)}"
        needed = " and ".join(note_as_typed(timeline, s.string, s.fret or 0) for s in struck if s.fret)
        why = f"{message}: the hand goes to {needed}" if needed else message
        notes = (RelatedInformation(here.span, "it stops here"),)
        yield finding_at_sound(RING, timeline, sound, why, "let it end there, or play what follows closer to it", notes)


def _when(timeline: Timeline, sound: SoundingNote) -> str:
    slot = timeline.slots[sound.slot]
    bar = timeline.bars[slot.bar]
    beat = beat_at(timeline, bar, slot.at)
    return f"bar {bar.number}, beat {beat}" if beat else f"bar {bar.number}"


def check_idle_rings(timeline: Timeline) -> Iterator[Diagnostic]:
    """Yield rings that their own string ends at once: `=` before a note of that string, or `(ring: …)` on one string alone."""
    for sound, after in pairwise(timeline.sounds):
        ends = after.string == sound.string and after.source is None and after.start == sound.end
        if ends and _marked(sound):
            yield _idle_mark(timeline, sound, after)
    for word in timeline.words:
        if word.technique is not None and word.technique.damping is Damping.RING:
            inside = _notes_of_word(timeline, word)
            if _is_one_string(inside):
                yield _idle_word(timeline, word, inside)


def _notes_of_word(timeline: Timeline, word: WordSpan) -> list[SoundingNote]:
    return [s for s in timeline.sounds if word.first <= s.slot <= word.last and s.pass_no == 0]


def _is_one_string(sounds: list[SoundingNote]) -> bool:
    """Return whether notes lie on one string alone and one of them is struck again."""
    return len({s.string for s in sounds}) == 1 and any(s.source is None for s in sounds[1:])


def _idle_mark(timeline: Timeline, sound: SoundingNote, after: SoundingNote) -> Diagnostic:
    name = string_in_words(timeline, sound.string)
    message = f"let ring, but the next note is on {name} too: it stops at {_when(timeline, after)}"
    hint = "leave the `=` out, or play the next note on another string"
    return finding_at_sound(RING, timeline, sound, message, hint, (RelatedInformation(after.span, "it stops here"),))


def _idle_word(timeline: Timeline, word: WordSpan, inside: list[SoundingNote]) -> Diagnostic:
    name = string_in_words(timeline, inside[0].string)
    message = f"let ring over notes of {name} alone: each stops where the next begins"
    there = (RelatedInformation(inside[1].span, "the first stops here"),)
    return finding_at_slot(RING, timeline, word.first, word.span, message, f"leave `({word.word}: …)` out", there)


def _marked(sound: SoundingNote) -> bool:
    return any(mark.damping is Damping.RING and mark.kind is TechniqueKind.MARK for mark in sound.marks)
