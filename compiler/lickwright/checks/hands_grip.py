"""Grips (L430–L433): spans, fingers and barres of what the fretting hand holds at one time.

In: a Timeline. Out: findings. A moment is what is down when a note begins: what is struck, what is held, and for a
pull-off or a trill both of its notes. What only rings on is judged apart (`hands_ring`): it may stop, and is told where.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from lickwright.checks.findings import finding_at_sound, note_as_typed, string_in_words
from lickwright.checks.hands_hold import FingerPlace, HandHold, HoldPlaces, finger_down, hold_places, judge_hold
from lickwright.checks.hands_ring import check_rings, is_ringing
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.fingering import is_fretted
from lickwright.hand.measures import CAUTION_STRETCH, SHARE, Hand
from lickwright.notation.techniques import Curve, Stroke
from lickwright.timeline.model import SoundingNote, Timeline

_TAP = Stroke.TAP  # bound here, since it is asked for every sound and an enumeration is slow to look into


def _rule(code: str, name: str, severity: Severity, summary: str, explanation: str, bad: str, good: str) -> Rule:
    texts = (f'lick "In one hand"\nkey A minor\n| {music} ||\n' for music in (bad, good))
    return Rule(code, name, severity, summary, explanation, *texts)


STRETCH = _rule(
    "L430", "stretch", Severity.WARNING,
    "notes held together, or both notes of a pull-off or trill, are far apart",
    "Frets get narrower up the neck, so a stretch is counted in millimeters. Up to 98 mm, four frets from fret 1, is easy for a "
    "hand of medium reach; up to 115 it is a stretch, up to 130 a hard one, and past that the notes cannot be held together, "
    "which is an error. A reach line (small, medium, large) says whose hand it is. Play one of the notes on another string, "
    "or the same shape higher up.",
    "E1&B6 - - - e8 e5 e8 -", "E8&B12 - - - e8 e5 e8 -",
)  # fmt: skip
ORDER = _rule(
    "L431", "order of the fingers", Severity.ERROR,
    "fingers as written that cross, or one finger in two places",
    "Along the neck the fingers stay in order: a higher fret takes a higher finger, the same fret any. One finger cannot "
    "hold two frets at a time, a hammer-on comes down with a higher finger than the one that stays, a pull-off lifts it.",
    "G5'3&B7'1 - - - e8 e5 e8 -", "G5'1&B7'3 - - - e8 e5 e8 -",
)  # fmt: skip
PLACES = _rule(
    "L432", "more notes than fingers", Severity.ERROR,
    "more fretted notes at a time than four fingers can hold",
    "Four fingers hold four notes, the thumb a fifth on the thickest strings; one finger laid flat covers several strings "
    "on one fret. Leave a note out, or choose a shape with open strings or a barre.",
    "E9&A8&D7&G10&B11&e7 - - - e8 e5 e8 -", "A8&D7&G10&B11&e7 - - - e8 e5 e8 -",
)  # fmt: skip
BARRE = _rule(
    "L433", "barre over an open string", Severity.ERROR,
    "a barre across an open string or a lower note",
    "A finger laid flat stops every string that it covers, so between its strings none can sound open or at a lower fret. "
    "Higher frets are fine: other fingers stand in front of the barre.",
    "E3'1&A0&D3'1 - - - e8 e5 e8 -", "E3'1&A5'3&D3'1 - - - e8 e5 e8 -",
)  # fmt: skip
RULES: tuple[Rule, ...] = (STRETCH, ORDER, PLACES, BARRE)


def check_grips(timeline: Timeline, hand: Hand, together: bool, pulled: bool, fingers: bool) -> list[Diagnostic]:
    """Return the findings about every moment in order; each names the note that makes the grip impossible."""
    found: list[Diagnostic] = []
    alive: list[SoundingNote] = []
    until = 0  # when all of them have ended
    stopped: set[int] = set()  # ringing sounds that had to stop, by index
    for sounds in _onsets(timeline):
        first, struck = sounds[0], _struck(sounds)
        alive = _sounding_on(alive, sounds) if until > first.start else []
        joined = first.source is not None and (fingers or first.begin.stroke is Stroke.PULL)
        if alive or joined or len(sounds) > 1 or first.trill is not None:  # else one finger is down, and may be any
            found += _moment(timeline, hand, alive, struck, pulled, fingers, stopped)
        for sound in struck:
            until = max(until, sound.end)
            alive.append(sound)
    return found


def _moment(
    timeline: Timeline,
    hand: Hand,
    alive: list[SoundingNote],
    struck: list[SoundingNote],
    pulled: bool,
    fingers: bool,
    stopped: set[int],
) -> list[Diagnostic]:
    """Return the findings about what is struck together, with what sounds on. Ringing sounds that have to stop are added to `stopped`."""
    found: list[Diagnostic] = []
    down = _down(timeline, alive, struck, pulled)
    if len(down) > 1 and any(d.fret for d in down):
        found += _grip(timeline, hand, down, fingers)
    if fingers:
        for sound in struck:
            found += _joined_fingers(timeline, sound)
    ringing = [s for s in alive if is_ringing(s) and s.index not in stopped]
    if ringing and struck:
        found += check_rings(timeline, hand, down, ringing, stopped, struck)
    return found


def _down(timeline: Timeline, alive: list[SoundingNote], struck: list[SoundingNote], pulled: bool) -> list[FingerPlace]:
    """Return the places that are down: what sounds on and does not only ring, what is struck, and what is pulled off from."""
    down = [finger_down(s) for s in alive if not is_ringing(s)] + [finger_down(s) for s in struck]
    if pulled:
        down += [place for s in struck for place in _behind(timeline, s)]
    return down


def _sounding_on(alive: list[SoundingNote], sounds: list[SoundingNote]) -> list[SoundingNote]:
    """Return what still sounds when `sounds` begin, on strings of its own."""
    return [s for s in alive if s.end > sounds[0].start and all(s.string != new.string for new in sounds)]


def _struck(sounds: list[SoundingNote]) -> list[SoundingNote]:
    """Return the sounds with a clear pitch that the picking hand does not tap."""
    return [s for s in sounds if s.fret is not None and s.begin.stroke is not _TAP and not (s.head and s.dead)]


def _onsets(timeline: Timeline) -> Iterator[list[SoundingNote]]:
    """Yield the sounds that begin together, in order of time. Grace notes are each alone."""
    group: list[SoundingNote] = []
    for sound in timeline.sounds:
        if sound.kind not in ("note", "grace"):
            continue
        if group and (sound.start != group[0].start or sound.lead != group[0].lead):
            yield group
            group = []
        group.append(sound)
    if group:
        yield group


def _behind(timeline: Timeline, sound: SoundingNote) -> Iterator[FingerPlace]:
    """Yield the other note of a pull-off or trill, which is down too."""
    if sound.trill:
        yield FingerPlace(sound.string, sound.trill, sound, None)
    if sound.begin.stroke is Stroke.PULL and sound.source is not None and sound.fret:
        source = timeline.sounds[sound.source]
        if is_fretted(source) and source.fret and source.fret > sound.fret:
            yield FingerPlace(sound.string, source.fret, source, source.finger)


def _grip(timeline: Timeline, hand: Hand, down: list[FingerPlace], fingers: bool) -> Iterator[Diagnostic]:
    """Yield findings about the span, the number of fingers, and the fingers as written, of what is down at one time."""
    yield from _span(timeline, hand, down)
    if fingers:
        for pair in combinations([d for d in down if d.finger is not None], 2):
            yield from _pair(timeline, hand, down, *sorted(pair, key=lambda d: (d.fret, d.finger)))


def _span(timeline: Timeline, hand: Hand, down: list[FingerPlace]) -> Iterator[Diagnostic]:
    places = hold_places([d for d in down if d.finger != "T"])  # the thumb comes from behind the neck
    if not any(fret for _, fret in places):
        return
    asked = judge_hold(places, hand)
    culprit = max((d for d in down if d.fret), key=lambda d: (d.sound.start, d.fret)).sound
    if asked.fingers > 4:
        yield _too_many(timeline, places, asked, culprit)
    elif asked.span > hand.fine:
        yield _stretch(timeline, hand, down, asked, culprit)


def _too_many(timeline: Timeline, places: HoldPlaces, asked: HandHold, culprit: SoundingNote) -> Diagnostic:
    notes = " ".join(note_as_typed(timeline, string, fret) for string, fret in places)
    if asked.split:
        message = f"{notes} would need a barre, but an open string or a lower note lies under it"
        return finding_at_sound(BARRE, timeline, culprit, message, "leave a note out, or fret it above the barre")
    message = f"{notes} takes {asked.fingers} fingers at once"
    return finding_at_sound(PLACES, timeline, culprit, message, "leave a note out, or choose a shape with a barre")


def _stretch(
    timeline: Timeline, hand: Hand, down: list[FingerPlace], asked: HandHold, culprit: SoundingNote
) -> Diagnostic:
    severity, how = (Severity.INFO, "a stretch") if asked.span <= hand.stretch else (Severity.WARNING, "a hard stretch")
    if asked.span > hand.hard:
        severity, how = Severity.ERROR, "too far apart"
    message = f"frets {asked.low} and {asked.high} together: {how} for a {hand.reach} hand"
    hint = "take one of the notes on another string, or play it higher up the neck"
    if severity is Severity.WARNING:
        hint = CAUTION_STRETCH
    others = {d.sound.span: d for d in down if d.sound is not culprit and d.fret in (asked.low, asked.high)}
    notes = tuple(RelatedInformation(span, "held with this") for span in list(others)[:1])
    return finding_at_sound(STRETCH, timeline, culprit, message, hint, notes, severity)


def _pair(
    timeline: Timeline, hand: Hand, down: list[FingerPlace], low: FingerPlace, high: FingerPlace
) -> Iterator[Diagnostic]:
    """Yield findings about two places with fingers written, the lower fret first."""
    if not low.fret or not high.fret or "T" in (low.finger, high.finger) or low.sound is high.sound:
        return
    here = max(low.sound, high.sound, key=lambda s: (s.start, s.span))
    there = (RelatedInformation((low if here is high.sound else high).sound.span, "held with this"),)
    if low.finger == high.finger:
        yield from _one_finger(timeline, down, low, high, here, there)
    elif low.fret < high.fret:
        yield from _two_fingers(timeline, hand, low, high, here, there)


def _two_fingers(
    timeline: Timeline,
    hand: Hand,
    low: FingerPlace,
    high: FingerPlace,
    here: SoundingNote,
    there: tuple[RelatedInformation, ...],
) -> Iterator[Diagnostic]:
    """Yield a finding about two fingers on two frets that cross, or are too far apart for the two."""
    first, second = int(low.finger or 0), int(high.finger or 0)
    if first > second:
        message = f"finger {first} on fret {low.fret} and finger {second} on fret {high.fret} cross"
        hint = "the higher fret takes the higher finger"
        yield finding_at_sound(ORDER, timeline, here, message, hint, there)
        return
    span = hand.span(low.fret, high.fret, abs(low.string - high.string))
    if span > hand.hard * SHARE[first, second] and (first, second) != (1, 4):
        message = f"frets {low.fret} and {high.fret} are too far apart for fingers {first} and {second}"
        yield finding_at_sound(STRETCH, timeline, here, message, "use fingers farther apart", there, Severity.WARNING)


def _one_finger(
    timeline: Timeline,
    down: list[FingerPlace],
    low: FingerPlace,
    high: FingerPlace,
    here: SoundingNote,
    there: tuple[RelatedInformation, ...],
) -> Iterator[Diagnostic]:
    """Yield a finding about one finger on two strings: that takes one fret, with nothing lower between."""
    if low.string == high.string:
        return
    if low.fret != high.fret:
        message = f"finger {low.finger} holds frets {low.fret} and {high.fret} at once"
        yield finding_at_sound(ORDER, timeline, here, message, "give one of them another finger", there)
        return
    thin, thick = sorted((low.string, high.string))
    inside = next((d for d in down if thin < d.string < thick and d.fret < low.fret), None)
    if inside is not None:
        what = f"the open {string_in_words(timeline, inside.string)}"
        if inside.fret:
            what = note_as_typed(timeline, inside.string, inside.fret)
        message = f"finger {low.finger} lies across {what}, which should sound"
        yield finding_at_sound(BARRE, timeline, here, message, "give one of the two another finger", there)


def _joined_fingers(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    """Yield a finding about the fingers written on both notes of a connection."""
    if sound.source is None:
        return
    source, technique = timeline.sounds[sound.source], sound.begin
    if not (sound.finger and source.finger) or "T" in (sound.finger, source.finger) or not (sound.fret and source.fret):
        return
    before, after = int(source.finger), int(sound.finger)
    there = (RelatedInformation(source.span, "from here"),)
    if technique.curve is Curve.GLIDE:
        if before != after:
            message = f"slide begins with finger {before} and ends with finger {after}"
            yield finding_at_sound(ORDER, timeline, sound, message, "a slide keeps its finger", there, Severity.WARNING)
    elif (after - before) * (sound.fret - source.fret) <= 0 and sound.fret != source.fret:
        message = f"{technique.name} from finger {before} to finger {after}"
        hint = "a hammer-on takes a higher finger, a pull-off leaves a lower one"
        yield finding_at_sound(ORDER, timeline, sound, message, hint, there)
