"""What one string plays, as channel messages: strokes, and the bends between them.

In: a Performance's notes. Out: voices (a stroke with the notes that it slides on to), and their events in the order
in which a synthesizer wants them: note-off, controller, bend, note-on. Reports what cannot be said; never drops it in
silence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from lickwright.backends.smf import BEND, CONTROL, NOTE_OFF, NOTE_ON, Event
from lickwright.backends.ticks import Ticks
from lickwright.curves import offsets
from lickwright.diagnostics import Rule, Severity
from lickwright.notation.techniques import Stroke
from lickwright.performance import Played

BEND_RANGE = 12  # semitones that a full bend message means, up and down
CENTRE, FULL = 8192, 16383  # bend values of no bend and of the highest one
LEGATO, EXPRESSION = 68, 11  # controllers
AUDIBLE = 0.05  # semitones: out of tune by less is not worth a word
_TOUCH = 1e-6  # seconds: two notes closer than this follow one another without a gap
_OFF_VELOCITY = 64

TOO_WIDE = Rule(
    "L501",
    "wider than a MIDI bend",
    Severity.INFO,
    "a slide or bend goes further than the 12 semitones that a MIDI bend reaches here",
    "Slides and bends are written as pitch bends of at most 12 semitones from the note that was struck. A slide that goes further is struck "
    "again softly where it arrives; a bend stops at 12 semitones.",
    "",
    "",
)
OFF_SCALE = Rule(
    "L502",
    "beyond MIDI's notes",
    Severity.INFO,
    "a note lies outside MIDI's 128 notes and is written an octave nearer",
    "MIDI has notes 0 to 127 (C-1 to G9). A harmonic high on the neck, or a very low string, can lie beyond them; it is moved by octaves "
    "until it fits.",
    "",
    "",
)
RULES = (TOO_WIDE, OFF_SCALE)

Report = Callable[[Rule, int, str], None]  # rule, index of the sound, message


@dataclass(slots=True)
class Voice:
    """One note-on, until its note-off."""

    parts: list[Played]  # the stroke, then the notes that it slides on to
    number: int  # MIDI note
    on: int  # tick
    off: int  # tick, at least one later
    moved: int = 0  # semitones by which its notes are written off their pitch, to lie within MIDI's
    alone: bool = True  # False: shares its channel with another string at the time, so that it must not bend or fade

    @property
    def needs_bend(self) -> bool:
        """Whether its pitch is ever off its MIDI note."""
        first = self.parts[0]
        return len(self.parts) > 1 or bool(first.moves) or first.pitch + self.moved != self.number


def voices(notes: Iterable[Played], ticks: Ticks, report: Report) -> list[Voice]:
    """The voices of one string, in order. A slide goes on in its voice as far as the bend range reaches."""
    found: list[Voice] = []
    free = 0  # tick from which the string can sound again
    for note in notes:
        if note.stroke is Stroke.NONE and found and abs(found[-1].parts[-1].end - note.start) < _TOUCH:
            voice = found[-1]
            if abs(note.pitch + voice.moved - voice.number) <= BEND_RANGE:
                voice.parts.append(note)
                voice.off = free = max(voice.on + 1, ticks.at(note.end))
                continue
            far = abs(round(note.pitch + voice.moved - voice.number))
            report(TOO_WIDE, note.sound, f"a slide of {far} semitones in all is struck again: a MIDI bend reaches {BEND_RANGE}")
        voice = _voice(note, ticks, free, report)
        free = voice.off
        found.append(voice)
    return found


def _voice(note: Played, ticks: Ticks, free: int, report: Report) -> Voice:
    number = named = round(note.pitch)
    while number > 127:
        number -= 12
    while number < 0:
        number += 12
    if number != named:
        report(OFF_SCALE, note.sound, f"there is no MIDI note {named}, they go from 0 to 127: it is written as {number}")
    on = max(free, ticks.at(note.start))
    return Voice([note], number, on, max(on + 1, ticks.at(note.end)), number - named)


def events(found: Iterable[Voice], channel: int, ticks: Ticks, report: Report) -> list[Event]:
    """The messages of the voices of one string. Bends are sent on change only, and set right before every note-on."""
    out: list[Event] = []
    bent, legato = CENTRE, 0
    off, on, bend, control = NOTE_OFF | channel, NOTE_ON | channel, BEND | channel, CONTROL | channel
    for voice in found:
        note, tick, number = voice.parts[0], voice.on, voice.number
        hint = 127 if note.joined and note.stroke in (Stroke.HAMMER, Stroke.PULL) else 0
        if hint != legato:
            out.append((tick, control, LEGATO, hint))
            legato = hint
        path = _path(voice, ticks, report) if voice.alone and voice.needs_bend else []
        wanted = path[0][1] if path else CENTRE
        if wanted != bent:
            out.append((tick, bend, wanted & 0x7F, wanted >> 7))
            bent = wanted
        fades = note.fade_in and voice.alone
        if fades:
            out.append((tick, control, EXPRESSION, 0))
        out.append((tick, on, number, max(1, round(note.loudness * 127))))
        begun = len(out)
        for at, wanted in path:
            if wanted != bent and at < voice.off:
                out.append((at, bend, wanted & 0x7F, wanted >> 7))
                bent = wanted
        if fades:
            out += _fade(note, voice, control, ticks)
            out[begun:] = sorted(out[begun:])
        out.append((voice.off, off, number, _OFF_VELOCITY))
    return out


def _path(voice: Voice, ticks: Ticks, report: Report) -> list[tuple[int, int]]:
    """Bend values by tick; the first is that of the note-on.

    Each is exact at its own tick, and every move ends on its target.
    """
    path: list[tuple[int, int]] = []
    for part in voice.parts:
        points = [(voice.on if not path else ticks.at(part.start), part.start)]
        for move in part.moves:
            if move.end > move.start:
                points += ticks.during(move.start, move.end)
            elif move.start > part.start:
                points.append((ticks.at(move.start), move.start))
        if len(part.moves) > 1:
            points.sort()
        own = part.pitch + voice.moved - voice.number
        values = [own + offset for offset in offsets(part.moves, [seconds for _, seconds in points])]
        farthest = max(values, key=abs)
        if abs(farthest) > BEND_RANGE + AUDIBLE:
            far = f"{abs(farthest):.1f} semitones from the note struck"
            report(TOO_WIDE, part.sound, f"{far} is further than a MIDI bend reaches: it stops at {BEND_RANGE}")
        path += [
            (tick, min(FULL, max(0, int(CENTRE + value * CENTRE / BEND_RANGE + 0.5))))
            for (tick, _), value in zip(points, values, strict=True)
        ]
    return path


def _fade(note: Played, voice: Voice, control: int, ticks: Ticks) -> list[Event]:
    """A swell: expression from nothing to full, full again before the note ends."""
    length = note.fade_in
    points = ticks.during(note.start, note.start + length)
    values = [(tick, min(127, round(127 * (seconds - note.start) / length))) for tick, seconds in points]
    fade = [(tick, control, EXPRESSION, value) for tick, value in values if voice.on < tick < voice.off]
    return fade if fade and fade[-1][3] == 127 else [*fade, (voice.off, control, EXPRESSION, 127)]
