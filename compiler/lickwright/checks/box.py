"""Scale and box (L2xx): notes that leave what the lick says it stays in.

In: a Timeline. Out: findings. What each note is comes from `scale_membership.py`; here it is said, a move into a neighbouring
box once and not note by note. Nothing is an error: teachers leave the box on purpose.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lickwright.checks import scale_membership as p
from lickwright.checks.bends import MOST
from lickwright.checks.blues import WHICH_BLUES, check_blues_scale
from lickwright.checks.e_string_case import CASE, check_e_string_case
from lickwright.checks.findings import bend_as_typed, finding_at_slot, finding_at_sound, note_as_typed, string_in_words
from lickwright.checks.scale_membership import NoteMembership
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.music.scale_boxes import Box
from lickwright.notation.techniques import BEND_CURVES, Curve
from lickwright.settings.fields import Settings
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

_HEAD = "key A minor\nbox 1\n"


def _lick(title: str, music: str, head: str = _HEAD) -> str:
    return f'lick "{title}"\n{head}{music}\n'


NO_KEY = Rule(
    "L201", "no key", Severity.INFO,
    "without a key, scale and box are not checked",
    "Whether a note belongs to a scale depends on the key. A lick without one is still counted and its techniques "
    "are checked, but nothing is said about its notes. Add a key line to the lick, or to the file for all its licks.",
    'lick "Loose change"\n| G5 G7 B5 G7 G5 - - . ||\n',
    'lick "Loose change"\nkey A minor\n| G5 G7 B5 G7 G5 - - . ||\n',
)  # fmt: skip
OUTSIDE_BOX = Rule(
    "L202", "in the scale, outside the box", Severity.WARNING,
    "a note of the scale that the box does not hold",
    "The note sounds right, but the hand has to leave its position for it. If the lick does reach into another "
    "box, name both "
    "(box 1 2); otherwise the same pitch is often found inside the box, on the next string.",
    _lick("One step out", "| e8 e5 B10 e5 G7 - - - ||"),
    _lick("One step out", "| e8 e5 B8 e5 G7 - - - ||"),
)  # fmt: skip
OUTSIDE_SCALE = Rule(
    "L203", "outside the scale", Severity.WARNING,
    "a note that the scale does not have",
    "Often a slip of a fret. If you want that color, say so with a meant line and a reason, or name the scale "
    "that has the "
    "note. A short note off the beat, a half step from the next, is taken as leading to it and is no warning.",
    _lick("Cold spot", "| e8 e5 G6 - G7 - - - ||"),
    _lick("Cold spot", "| e8 e5 G5 - G7 - - - ||"),
)  # fmt: skip
MOVES = Rule(
    "L204", "moves to another box", Severity.WARNING,
    "several notes in a row lie in another box",
    "The hand shifts along the neck here. If that is the idea of the lick, name both boxes (box 1 2); they then "
    "count as one.",
    _lick("Upstairs", "| e5 e8 e10 B10 e10 B10 e8 e5 ||"),
    _lick("Upstairs", "| e5 e8 e10 B10 e10 B10 e8 e5 ||", "key A minor\nbox 1 2\n"),
)  # fmt: skip
BEND_TARGET = Rule(
    "L205", "bend to a note outside the scale", Severity.WARNING,
    "a bend arrives at a pitch that the scale does not have",
    "What you hear of a bend is where it arrives. A half step too far or too short is the usual slip. A "
    "quarter step is never "
    "judged: it is the sound of the blues.",
    _lick("Sour top", "| e8 e5 B8^9 - G7 - - - ||"),
    _lick("Sour top", "| e8 e5 B8^10 - G7 - - - ||"),
)  # fmt: skip
BLUE_REST = Rule(
    "L206", "rests on the blue note", Severity.INFO,
    "the blue note is held for a beat or more, or ends the lick",
    "The blue note is usually passed through, on the way to the scale note next to it. Resting on it is a strong color: "
    "fine if you want it.",
    _lick("Hanging", "| e8 e5 B8 B5 A6 - - - ||"),
    _lick("Hanging", "| e8 e5 B8 A6 A5 - - - ||"),
)  # fmt: skip
APPROACH = Rule(
    "L207", "approach note", Severity.INFO,
    "a short note outside the scale leads to the next one",
    "A note off the beat, no longer than the next and a half step from it, leads the ear into it. It is good "
    "practice to know "
    "that it is there; nothing is wrong.",
    _lick("Side door", "| e8 e5 B8 G6 G7 - - - ||"),
    _lick("Side door", "| e8 e5 B8 G5 G7 - - - ||"),
)  # fmt: skip
OPEN_STRING = Rule(
    "L208", "open string outside the box", Severity.INFO,
    "an open string of the scale, away from the hand",
    "An open string costs the hand nothing and is often meant, as a drone or to gain time for a move.",
    _lick("Drone", "| A0 A5 A7 D5 A0 - - - ||"),
    _lick("Drone", "| E5 A5 A7 D5 E5 - - - ||"),
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    NO_KEY, OUTSIDE_BOX, OUTSIDE_SCALE, MOVES, BEND_TARGET, BLUE_REST, APPROACH, OPEN_STRING, CASE, WHICH_BLUES,
)  # fmt: skip

_UNREMARKABLE = frozenset(("", p.IN_BOX))


def check_box(timeline: Timeline) -> list[Diagnostic]:
    """Return the findings about scale and box (L2xx). Where the project sets what they go by, they show its line."""
    return [_with_project_line(timeline.settings, d) for d in _check_box(timeline)]


def _with_project_line(settings: Settings, d: Diagnostic) -> Diagnostic:
    """Return the finding with the line of `lickwright.toml` that it goes back to, if there is one."""
    names = ("box", "key", "scale") if d.code == OUTSIDE_BOX.code else ("scale", "key")
    note = next((settings.set_by_project[name] for name in names if name in settings.set_by_project), None)
    return d if note is None or d.code == NO_KEY.code else replace(d, notes=(*d.notes, note))


def _check_box(timeline: Timeline) -> list[Diagnostic]:
    found: list[Diagnostic] = []
    if timeline.settings.key is None and "key" not in timeline.settings.unread:
        found.append(_no_key(timeline))
    board = p.membership_for(timeline.settings)
    if board is None:
        return found
    asked = check_blues_scale(timeline, _first_time(timeline))
    if asked is not None:
        return [*found, asked, *check_e_string_case(timeline, list(_first_time(timeline)))]
    here = p.note_memberships(timeline)
    if not _UNREMARKABLE.issuperset(here):
        if board.area is not None:
            found += _outside_box(timeline, board, here)
        found += _remarks(timeline, board, here)
    if board.key is not None:
        for sound in timeline.sounds:
            if sound.shapes:
                found += _bend_targets(timeline, board, sound)
            if sound.trill is not None:
                found += _trill(timeline, board, sound)
    return found + check_e_string_case(timeline, list(_first_time(timeline)))


def _no_key(timeline: Timeline) -> Diagnostic:
    settings = timeline.settings
    start = timeline.span.start
    span = settings.written.get("scale") or Span(start, start + len("lick"))
    off = "the scale is not checked" if settings.area is not None else "scale and box are not checked"
    return NO_KEY.at(span, f"no key is set: {off}", "add a line such as `key A minor`")


def _first_time(timeline: Timeline) -> Iterator[SoundingNote]:
    """Return the sounds of every written note once: no repeats, no `%`."""
    same = [bar.same for bar in timeline.bars]
    return (s for s in timeline.sounds if s.pass_no == 0 and not same[s.bar])


# --- notes -----------------------------------------------------------------------------------------------------------


def note_in_words(timeline: Timeline, board: NoteMembership, sound: SoundingNote, fret: int | None = None) -> str:
    """Return a note in words: "string G fret 6 (C#, major 3rd)"; `fret` instead of its own, where it is given."""
    fret = sound.fret if fret is None else fret
    if fret is None or sound.harmonic:
        return f"the harmonic on {string_in_words(timeline, sound.string)} ({board.note(round(sound.pitch))})"
    pitch = timeline.settings.tuning.open(sound.string) + fret
    return f"{string_in_words(timeline, sound.string)} fret {fret} ({board.note(pitch)})"


def _meant(rule: Rule, timeline: Timeline, sound: SoundingNote) -> str:
    bar = timeline.bars[timeline.slots[sound.slot].bar].number
    return f'if you mean it: `meant {rule.code} bar {bar} "why"`'


def _remarks(timeline: Timeline, board: NoteMembership, here: tuple[str, ...]) -> Iterator[Diagnostic]:
    say: dict[str, Callable[[Timeline, NoteMembership, SoundingNote], Diagnostic | None]] = {
        p.OUTSIDE: _outside_scale, p.APPROACH: _approach, p.OPEN: _open_string, p.IN_BLUE: _blue_rest,
    }  # fmt: skip
    for sound in _first_time(timeline):
        if here[sound.index] in say:
            finding = say[here[sound.index]](timeline, board, sound)
            if finding is not None:
                yield finding


def _outside_scale(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Diagnostic:
    return finding_at_sound(
        OUTSIDE_SCALE, timeline, sound, _is_outside(timeline, board, sound), _meant(OUTSIDE_SCALE, timeline, sound)
    )


def _is_outside(timeline: Timeline, board: NoteMembership, sound: SoundingNote, fret: int | None = None) -> str:
    fret = sound.fret if fret is None else fret
    message = f"{note_in_words(timeline, board, sound, fret)} is outside {_stay(board)}"
    if fret is None or sound.harmonic:
        return message
    near = [note_as_typed(timeline, sound.string, f) for f in board.near(sound.string, fret)]
    if not near:
        return message
    return f"{message}; {' or '.join(near)} {'is' if len(near) == 1 else 'are'} in it"


def _stay(board: NoteMembership) -> str:
    """Return what the lick says it stays in: "A minor pentatonic box 1", "C major in the E shape"."""
    between = " " if board.area_name.startswith("box") else " in " if board.area_name else ""
    return f"{board.scale_name}{between}{board.area_name}"


def _approach(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Diagnostic:
    message = f"{note_in_words(timeline, board, sound)} is outside {board.scale_name}, as an approach to the next note"
    return finding_at_sound(APPROACH, timeline, sound, message)


def _open_string(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Diagnostic:
    note = board.note(timeline.settings.tuning.open(sound.string))
    message = f"open {string_in_words(timeline, sound.string)} ({note}) is outside {board.area_name}"
    return finding_at_sound(OPEN_STRING, timeline, sound, message)


def _blue_rest(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Diagnostic | None:
    """Return the note about a blue note that lasts a beat or more or ends the lick; None where it is bent on to another note."""
    beat = timeline.settings.meter.beat
    long = sound.end - sound.start >= beat * timeline.grain
    last = sound.end > sound.start >= max(s.start for s in timeline.sounds[-6:])
    if not (long or last) or any(shape.technique.curve in BEND_CURVES and shape.amount >= 1 for shape in sound.shapes):
        return None
    how = "ends on it" if last else "rests on it"
    hint = "usually passed through on the way to the next scale note; fine if you want the tension"
    return finding_at_sound(
        BLUE_REST,
        timeline,
        sound,
        f"{note_in_words(timeline, board, sound)} is the blue note, and the lick {how}",
        hint,
    )


# --- the box ---------------------------------------------------------------------------------------------------------


def _outside_box(timeline: Timeline, board: NoteMembership, here: tuple[str, ...]) -> Iterator[Diagnostic]:
    """Yield the notes outside the box, run by run: a run lies in one other box, notes that both boxes hold included."""
    steps = [s for s in _first_time(timeline) if here[s.index] in (p.IN_BOX, p.IN_BLUE, p.IN_SCALE) and not s.harmonic]
    at = 0
    while at < len(steps):
        if here[steps[at].index] != p.IN_SCALE:
            at += 1
            continue
        box, end = _longest_run(board, steps, at)
        run = [s for s in steps[at:end] if here[s.index] == p.IN_SCALE]
        if box is not None and len({(s.string, s.fret) for s in run}) > 1:
            yield _move(timeline, board, run, box)
        else:
            yield _one_outside(timeline, board, run, box)
        at = end


def _longest_run(board: NoteMembership, steps: list[SoundingNote], at: int) -> tuple[Box | None, int]:
    """Return the other box that holds the most notes in a row from here (the nearest of equals), and where they end."""
    first = steps[at]
    best: tuple[Box | None, int] = (None, at + 1)
    for box in board.holders(first.string, first.fret or 0):
        end = at
        while end < len(steps) and (steps[end].string, steps[end].fret or 0) in box.places | box.blue:
            end += 1
        if best[0] is None or end > best[1]:
            best = (box, end)
    return best


def _move(timeline: Timeline, board: NoteMembership, run: list[SoundingNote], box: Box) -> Diagnostic:
    bar = timeline.bars[timeline.slots[run[0].slot].bar].number
    message = f"moves to {_placed(box)} in bar {bar}: {len(run)} notes outside {board.area_name}"
    return finding_at_sound(MOVES, timeline, run[0], message, _wider(timeline, box, MOVES, run[0]))


def _one_outside(timeline: Timeline, board: NoteMembership, run: list[SoundingNote], box: Box | None) -> Diagnostic:
    sound = run[0]
    within = f"in {board.scale_name} but " if board.scale_name else ""
    if board.is_blue(sound.string, sound.fret or 0):
        within = f"the blue note of {board.key_name}, but "
    message = f"{note_in_words(timeline, board, sound)} is {within}outside {board.area_name}"
    if box is not None:
        message += f"; {_placed(box)} has it"
    return finding_at_sound(OUTSIDE_BOX, timeline, sound, message, _wider(timeline, box, OUTSIDE_BOX, sound))


def _placed(box: Box) -> str:
    label = f"the {box.label}" if box.label.endswith("shape") else box.label
    return f"{label} (frets {box.low}-{box.high})"


def _wider(timeline: Timeline, box: Box | None, rule: Rule, sound: SoundingNote) -> str:
    """Return what to write to take the note in."""
    asked = timeline.settings.box
    numbers = sorted({*asked.numbers, int(box.label[4:])}) if asked and box and box.label.startswith("box ") else []
    meant = _meant(rule, timeline, sound)
    if asked is None or len(numbers) <= len(asked.numbers):
        return meant
    return f"`box {' '.join(map(str, numbers))}` takes both in; {meant}"


# --- pitches reached from a note -------------------------------------------------------------------------------------


def _bend_targets(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Iterator[Diagnostic]:
    """Yield bends and releases that arrive outside the scale; quarter steps are not judged, nor a release to the fretted note."""
    if not sound.fret or sound.dead:
        return  # no finger bends it, which is said with the techniques
    top = 0.0  # the furthest that it was bent: a release to above that is no release
    for shape in sound.shapes:
        curve, target = shape.technique.curve, sound.pitch + shape.amount
        most = top if curve is Curve.RELEASE else MOST
        if curve not in BEND_CURVES or not 0 < shape.amount <= most:
            continue
        top = max(top, shape.amount)
        if target % 1 == 0 and not board.fits(int(target)):
            yield _bend_outside(timeline, board, sound, sound.fret, shape)


def _bend_outside(
    timeline: Timeline, board: NoteMembership, sound: SoundingNote, fret: int, shape: PitchGesture
) -> Diagnostic:
    what = "release" if shape.technique.curve is Curve.RELEASE else "bend"
    note = board.note(int(sound.pitch + shape.amount))
    message = f"the {what} on {note_as_typed(timeline, sound.string, fret)} reaches {note}, outside {board.scale_name}"
    ways = ((k, bend_as_typed(timeline, shape.technique.sign, fret, k)) for k in (1, 2, 3))
    inside = [(way, int(sound.pitch) + k) for k, way in ways if way and board.fits(int(sound.pitch) + k)]
    hint = " or ".join(f"`{way}` ({board.note(pitch)})" for way, pitch in inside) + " would be in it"
    return finding_at_slot(BEND_TARGET, timeline, shape.slot, shape.span, message, hint if inside else None)


def _trill(timeline: Timeline, board: NoteMembership, sound: SoundingNote) -> Iterator[Diagnostic]:
    """Yield a finding about the other note of a trill, which is no sound of its own."""
    if sound.trill is not None and board.at(sound.string, sound.trill) == p.OUTSIDE:
        message = "the trill's other note, " + _is_outside(timeline, board, sound, sound.trill)
        yield finding_at_sound(OUTSIDE_SCALE, timeline, sound, message, _meant(OUTSIDE_SCALE, timeline, sound))
