"""Strings, frets and words (L421–L429): what cannot be played or makes no sense on the instrument.

In: a Timeline. Out: findings of L4xx; connections are judged in `links.py`, bends and vibrato in `bends.py`, all in one
walk over the sounds. How far a hand reaches and how fast it is are not judged here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from itertools import pairwise

from lickwright.checks import bends, links
from lickwright.checks.findings import finding_at_slot, finding_at_sound, music_rule, note_as_typed, string_in_words
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.string_tension import is_wound
from lickwright.music.fretboard import USUAL_FRETS
from lickwright.music.harmonic import MAX_PARTIAL, NODES, TOLERANCE
from lickwright.notation.techniques import Curve, Stroke
from lickwright.notation.tree import Rest
from lickwright.report.console import join_words
from lickwright.timeline.model import SoundingNote, Timeline, WordSpan

_rule = partial(music_rule, "At hand")

SAME_STRING = _rule(
    "L421", "two notes on one string",
    "two notes at once on the same string",
    "A string sounds one note at a time. Put one of the two on the next string, or write them one after the other.",
    "G5&G7 - - - e8 e5 e8 -", "G5&B8 - - - e8 e5 e8 -",
)  # fmt: skip
BEYOND = _rule(
    "L422", "fret past the end of the neck",
    "a fret that the neck does not have",
    f"A lick is checked against a neck of {USUAL_FRETS} frets unless a frets line says otherwise. Frets are counted from "
    "the capo, so that "
    "with one there are fewer.",
    "e24 - - - e8 e5 e8 -", "e22 - - - e8 e5 e8 -",
)  # fmt: skip
RAKE = _rule(
    "L423", "rake that jumps",
    "a rake that skips a string or turns back before its note",
    "A rake drags the pick across strings next to each other, in one direction and into the note: (rake: D G B e8).",
    "(rake: D B e8) - - - e8 e5 e8 -", "(rake: D G B e8) - - - e8 e5 e8 -",
)  # fmt: skip
TRILL = _rule(
    "L424", "trill on one fret",
    "a trill between a note and itself",
    "A trill alternates two notes of one string, by hammer-on and pull-off: (trill: G5h7).",
    "(trill: G5h5) - - - e8 e5 e8 -", "(trill: G5h7) - - - e8 e5 e8 -",
)  # fmt: skip
WORD_ON_REST = _rule(
    "L425", "word on a rest",
    "a rest where a word needs notes",
    "Tremolo picking, swells and the bar need a note that sounds. Leave rests outside the parentheses.",
    "(tremolo: . G7 -) - e8 e5 e8 -", ". (tremolo: G7 - -) e8 e5 e8 -",
)  # fmt: skip
NODE = _rule(
    "L426", "no harmonic there",
    "a harmonic where the string has no node",
    "A harmonic rings where the string divides into equal parts: above frets 12, 7, 5, 4, 9, 16, 19, 24 and "
    "3.2, counted from the fret "
    "that is held (G5<17> is 12 above). Elsewhere it sounds dull or not at all.",
    "G<6> - - - e8 e5 e8 -", "G<7> - - - e8 e5 e8 -", Severity.WARNING,
)  # fmt: skip
BEHIND = _rule(
    "L427", "harmonic behind the finger",
    "a harmonic at or below the fretted note",
    "An artificial harmonic: fret the first number, touch or tap over the second, higher up: G5<17>. Between the finger and the nut "
    "nothing sounds.",
    "G7<5> - - - e8 e5 e8 -", "G5<17> - - - e8 e5 e8 -",
)  # fmt: skip
OPEN_FINGER = _rule(
    "L428", "finger on an open string",
    "a fretting finger written on an open string",
    "An open string sounds because no finger is on it. Leave the finger out, or write the fret it holds.",
    "A0'1 - - - e8 e5 e8 -", "A2'1 - - - e8 e5 e8 -", Severity.WARNING,
)  # fmt: skip
PLAIN_SCRAPE = _rule(
    "L429", "scrape on a plain string",
    "a pick scrape along a string that is not wound",
    "The sound of a pick scrape is that of the pick's edge on the winding. The plain strings, and nylon trebles, are "
    "smooth: scrape the A or low E string.",
    "(scrape: e) - - - e8 e5 e8 -", "(scrape: A) - - - e8 e5 e8 -", Severity.WARNING,
)  # fmt: skip

_OWN = (SAME_STRING, BEYOND, RAKE, TRILL, WORD_ON_REST, NODE, BEHIND, OPEN_FINGER, PLAIN_SCRAPE)
RULES: tuple[Rule, ...] = (*links.RULES, *bends.RULES, *_OWN)


def check_techniques(timeline: Timeline) -> list[Diagnostic]:
    """Return the findings about techniques (L401–L429), in the order of the sounds."""
    found: list[Diagnostic] = []
    highest = timeline.settings.frets - timeline.settings.capo
    before: SoundingNote | None = None
    for sound in timeline.sounds:
        if sound.source is not None:
            found += links.check_join(timeline, sound, timeline.sounds[sound.source])
        if sound.shapes:
            found += bends.check_shapes(timeline, sound)
        if _is_special(sound, highest):
            for check in _SPECIAL_CHECKS:
                found += check(timeline, sound)
        if before is not None and before.string == sound.string and before.start == sound.start:
            found += _same_string(timeline, before, sound)
        before = sound
    if timeline.words:
        found += _rakes(timeline)
        for word in timeline.words:
            found += _word(timeline, word)
    return found


def _is_special(sound: SoundingNote, highest: int) -> bool:
    """Return whether any of `_SPECIAL_CHECKS` may find something: not so for a note on a fret of the neck, which most are."""
    fret = sound.fret
    on_neck = fret is not None and 0 < fret <= highest
    return not on_neck or sound.trill is not None or sound.touch is not None or sound.kind == "scrape"


def _open_slides(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    if sound.fret == 0 and (sound.shapes or sound.begin.curve is Curve.SLIDE_IN):
        yield from links.check_open_slides(timeline, sound)


# --- strings and frets -----------------------------------------------------------------------------------------------


def _same_string(timeline: Timeline, before: SoundingNote, sound: SoundingNote) -> Iterator[Diagnostic]:
    if before.kind == sound.kind == "note" and before.slot == sound.slot:
        first, second = (before, sound) if before.span < sound.span else (sound, before)
        message = (
            f"two notes at once on {string_in_words(timeline, sound.string)}: frets {first.fret} and {second.fret}"
        )
        if first.fret is None or second.fret is None:
            message = f"two notes at once on {string_in_words(timeline, sound.string)}"
        hint = "a string sounds one note at a time: put one on the next string"
        yield finding_at_sound(
            SAME_STRING, timeline, second, message, hint, (RelatedInformation(first.span, "the other"),)
        )


def _beyond(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    settings = timeline.settings
    highest = settings.frets - settings.capo
    past = next((fret for fret in (sound.fret, sound.trill) if fret is not None and fret > highest), None)
    if sound.fret is None or past is None:
        return
    message = f"fret {past} is past the end of the neck, which has {settings.frets} frets"
    notes = (*settings.set_here("capo", "capo"), *settings.set_here("frets", "frets"))
    hint = f"if the guitar has them, add the line `frets {past + settings.capo}`"
    if settings.capo:
        real = f"fret {past + settings.capo} of the neck, which has {settings.frets}"
        message = f"fret {past} with capo {settings.capo} is {real}"
    yield finding_at_sound(BEYOND, timeline, sound, message, hint, notes)


def _open_finger(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    if sound.fret != 0 or sound.finger is None:
        return
    open_string = f"the open {string_in_words(timeline, sound.string)}"
    message = f"finger {sound.finger} on {open_string}: no finger holds it"
    yield finding_at_sound(OPEN_FINGER, timeline, sound, message, f"leave the `'{sound.finger}` out, or write its fret")


def _plain_scrape(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    settings = timeline.settings
    if sound.kind != "scrape" or is_wound(settings.tuning, settings.instrument.strings, sound.string):
        return
    message = f"pick scrape on {string_in_words(timeline, sound.string)}, which is not wound"
    wound = range(settings.tuning.strings, 0, -1)
    names = [
        settings.tuning.written(n).rstrip(":")
        for n in wound
        if is_wound(settings.tuning, settings.instrument.strings, n)
    ]
    yield finding_at_sound(PLAIN_SCRAPE, timeline, sound, message, f"scrape a wound string: {join_words(names, 'or')}")


# --- harmonics -------------------------------------------------------------------------------------------------------


_TENTHS = 0.12  # frets: how far off a node a decimal may be written; a whole fret may be off by the usual tolerance
_CLEAR = 6  # partials: higher ones ring only where they are met exactly, so a whole fret does not mean them


def _rings(above: float) -> bool:
    """Return whether a place so many frets above the stopped end is meant as a node, and not a slip such as `<6>`."""
    near, most = (TOLERANCE, _CLEAR) if above % 1 == 0 else (_TENTHS, MAX_PARTIAL)
    return any(abs(above - fret) <= near and partial <= most for fret, partial in NODES)


def _harmonic(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    if sound.touch is None:
        return
    held = sound.fret or 0
    above = float(sound.touch) - held
    touch = f"{float(sound.touch):g}"
    if above <= 0:
        message = f"harmonic at fret {touch}: it has to be above the fretted note, fret {held}"
        yield finding_at_sound(
            BEHIND,
            timeline,
            sound,
            message,
            f"an octave up is `{note_as_typed(timeline, sound.string, held)}<{held + 12}>`",
        )
    elif not _rings(above):
        near = sorted(sorted((5, 7, 12), key=lambda node: abs(node - above))[:2])
        where = f"fret {touch}" if sound.fret is None else f"{above:g} frets above fret {held}"
        hint = f"near it ring {' and '.join(f'<{held + node}>' for node in near)}"
        yield finding_at_sound(
            NODE, timeline, sound, f"no harmonic at {where} of {string_in_words(timeline, sound.string)}", hint
        )


# --- words -----------------------------------------------------------------------------------------------------------


def _trill(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    if sound.trill is None or sound.trill != sound.fret:
        return
    hint = f"name two frets: `(trill: {note_as_typed(timeline, sound.string, sound.fret)}h…)`"
    yield finding_at_sound(TRILL, timeline, sound, f"trill between fret {sound.fret} and itself", hint)


# For a sound that is not simply fretted on the neck; in the order in which findings are told.
_SPECIAL_CHECKS: tuple[Callable[[Timeline, SoundingNote], Iterator[Diagnostic]], ...] = (
    _open_slides, _beyond, _open_finger, _plain_scrape, _harmonic, _trill,
)  # fmt: skip


def _rakes(timeline: Timeline) -> Iterator[Diagnostic]:
    """Yield rakes whose strokes and target, in the order of playing, do not step by one string the same way."""
    strokes: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.kind == "rake":
            strokes.setdefault((sound.start, sound.slot), []).append(sound)
    if not strokes:
        return
    targets: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in timeline.sounds:
        if sound.kind == "note" and (sound.start, sound.slot) in strokes:
            targets.setdefault((sound.start, sound.slot), []).append(sound)
    for where, run in strokes.items():
        run.sort(key=lambda s: -s.lead)
        if where in targets:
            target = min(targets[where], key=lambda s: abs(s.string - run[-1].string))
            yield from _one_rake(timeline, run, target)


def _one_rake(timeline: Timeline, run: list[SoundingNote], target: SoundingNote) -> Iterator[Diagnostic]:
    strings = [s.string for s in (*run, target)]
    steps = [b - a for a, b in pairwise(strings)]
    way = steps[0] if abs(steps[0]) == 1 else 1 if strings[-1] > strings[0] else -1
    wrong = next((n for n, step in enumerate(steps) if step != way), None)
    if wrong is None:
        return
    one, other = (string_in_words(timeline, strings[n]) for n in (wrong, wrong + 1))
    step = abs(steps[wrong])
    how = " skips a string" if step > 1 else " turns back" if step else ": the same string"
    hint = f"strings next to each other, one way: `{_even_rake(timeline, run[0].string, target)}`"
    culprit = (*run, target)[wrong + 1]
    yield finding_at_slot(RAKE, timeline, target.slot, culprit.span, f"rake from {one} to {other}{how}", hint)


def _even_rake(timeline: Timeline, first: int, target: SoundingNote) -> str:
    """Return a rake from a string to a note, over every string between them, as one types it."""
    way = 1 if first < target.string else -1
    strings = range(first, target.string, way) or [target.string + (1 if target.string == 1 else -1)]
    names = [timeline.settings.tuning.written(string) for string in strings]
    return f"(rake: {' '.join(names)} {note_as_typed(timeline, target.string, target.fret or 0)})"


_NEED_NOTES = (Curve.DIVE, Curve.DIP, Curve.SCOOP)


def _word(timeline: Timeline, word: WordSpan) -> Iterator[Diagnostic]:
    technique = word.technique
    if technique is not None and (technique.stroke in (Stroke.REPEAT, Stroke.SWELL) or technique.curve in _NEED_NOTES):
        for n in range(word.first, word.last + 1):
            event = timeline.slots[n].event
            parts = getattr(event, "parts", ())
            if parts and all(isinstance(part, Rest) for part in parts):
                message = f"{technique.name} on a rest: nothing sounds"
                yield finding_at_slot(
                    WORD_ON_REST, timeline, n, event.span, message, f"write the rest outside `({word.word}: …)`"
                )
