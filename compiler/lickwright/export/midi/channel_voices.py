"""The notes of one string as channel messages: strokes, and the bends between them.

In: a Performance's notes. Out: voices (a stroke with the notes that it slides on to), and their events in the order
in which a synthesizer wants them: note-off, controller, bend, note-on. What a MIDI
channel cannot hold is reported.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

from lickwright.core.diagnostics import Rule, Severity
from lickwright.export.midi.bend_shapes import (
    AUDIBLE,
    BEND_RANGE,
    CENTRE,
    BendShape,
    bend_shape,
    moves_from,
    rounded_seconds,
)
from lickwright.export.midi.smf import BEND, CONTROL, NOTE_OFF, NOTE_ON, Event, Run, block_events
from lickwright.export.midi.ticks import Ticks
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent

LEGATO, EXPRESSION = 68, 11  # controllers
_TOUCH = 1e-6  # seconds: two notes closer than this follow one another without a gap
_OFF_VELOCITY = 64
OVERLAP = 10  # ticks that a note sounds on into one that is slurred to it
# Bound here, since they are asked for every note and an enumeration is slow to look into.
_NONE, _HAMMER, _PULL = Stroke.NONE, Stroke.HAMMER, Stroke.PULL

TOO_WIDE = Rule(
    "L501",
    "wider than a MIDI bend",
    Severity.INFO,
    "a slide or bend goes farther than the octave that a MIDI bend reaches here",
    "Slides and bends are written as pitch bends of at most an octave (12 half steps) from the note that was picked. A slide "
    "that goes farther is picked again softly where it arrives; a bend stops at 12 half steps.",
    "",
    "",
)
OFF_SCALE = Rule(
    "L502",
    "beyond MIDI's notes",
    Severity.INFO,
    "a note is outside MIDI's 128 notes and is written an octave closer",
    "MIDI has notes 0 to 127 (C-1 to G9). A harmonic high on the neck, or a very low string, can lie beyond them; "
    "it is moved by octaves until it fits.",
    "",
    "",
)
RULES = (TOO_WIDE, OFF_SCALE)

Report = Callable[[Rule, int, str], None]  # rule, index of the sound, message


class ChannelVoice:
    """One note-on, until its note-off."""

    __slots__ = ("alone", "moved", "needs_bend", "number", "off", "on", "parts", "said")

    def __init__(self, note: NoteEvent, number: int, on: int, off: int, moved: int = 0) -> None:
        self.parts = [note]  # the stroke, then the notes that it slides on to
        self.number = number  # MIDI note
        self.on = on  # tick
        self.off = off  # tick, at least one later
        self.moved = moved  # semitones by which its notes are written off their pitch, to lie within MIDI's
        self.needs_bend = bool(note.moves) or note.pitch + moved != number  # its pitch is ever off its MIDI note
        self.alone = True  # False: shares its channel with another string at the time
        self.said = False  # that it goes further than a bend reaches has been reported


def group_voices(notes: Iterable[NoteEvent], ticks: Ticks, report: Report) -> list[ChannelVoice]:
    """Return the voices of one string, in order. A slide stays in its voice as far as the bend range reaches."""
    found: list[ChannelVoice] = []
    free = 0  # tick from which the string can sound again
    at = ticks.at
    for note in notes:
        if note.stroke is _NONE and found and _slides_on(found[-1], note, report):
            voice = found[-1]
            voice.parts.append(note)
            voice.needs_bend = True
            voice.off = free = max(voice.on + 1, ticks.at(note.end))
            continue
        number, moved = round(note.pitch), 0
        if not 0 <= number < 128:
            number, moved = _within_midi(number, note, report)
        on, off = at(note.start), at(note.end)
        if on < free:
            on = free
        if off <= on:
            off = on + 1
        free = off
        found.append(ChannelVoice(note, number, on, off, moved))
    return found


def _slides_on(voice: ChannelVoice, note: NoteEvent, report: Report) -> bool:
    """Return whether a voice goes on as a note that is not struck; report it where it follows but is too far off for a bend."""
    if abs(voice.parts[-1].end - note.start) >= _TOUCH:
        return False
    if abs(note.pitch + voice.moved - voice.number) <= BEND_RANGE:
        return True
    far = abs(round(note.pitch + voice.moved - voice.number))
    slid = f"is reached by a slide of {far} half steps"
    voice.said = True
    report(TOO_WIDE, note.sound, f"{slid}: it is picked again, since a MIDI bend reaches {BEND_RANGE}")
    return False


def _within_midi(named: int, note: NoteEvent, report: Report) -> tuple[int, int]:
    """Return a note moved by octaves into MIDI's range, and by how many semitones."""
    number = named % 12 if named < 0 else 127 - (127 - named) % 12
    report(OFF_SCALE, note.sound, f"would be MIDI note {named}, they go from 0 to 127: it is written as {number}")
    return number, number - named


class ChannelEvents(NamedTuple):
    """The messages of a channel in order, and how they leave it."""

    blocks: list[list[Event] | Run]
    bent: int  # the bend in force
    legato: int  # the value of the legato controller
    end: int  # tick of the last of them; 0 without any


def voice_events(found: Iterable[ChannelVoice], channel: int, ticks: Ticks, report: Report) -> ChannelEvents:
    """Return the messages of the voices of one string. Bends are sent on change only, and are right before every note-on."""
    out: list[Event] = []
    blocks: list[list[Event] | Run] = [out]
    bent, legato = CENTRE, 0
    off, on, bend, control = NOTE_OFF | channel, NOTE_ON | channel, BEND | channel, CONTROL | channel
    for voice in found:
        note, tick = voice.parts[0], voice.on
        hint = legato_hint(note) if note.joined else 0
        late = _take_overlapping_end(out, voice) if hint else None
        if hint != legato:
            out.append((tick, control, LEGATO, hint))
            legato = hint
        wanted = last = CENTRE
        runs: list[Run] = []
        if voice.needs_bend:
            wanted, last = _add_bends(runs, voice, bend, ticks, report)
        if wanted != bent:
            out.append((tick, bend, wanted & 0x7F, wanted >> 7))
        bent = last
        fades = note.fade_in > 0.0
        if fades:
            out.append((tick, control, EXPRESSION, 0))
        out.append((tick, on, voice.number, _velocity(note.loudness)))
        if fades:
            out += sorted(block_events(runs) + _fade(note, voice, control, ticks))
        elif runs or late is not None:
            out = _add_sounding(blocks, out, runs, late)
        out.append((voice.off, off, voice.number, _OFF_VELOCITY))
    return ChannelEvents(blocks, bent, legato, out[-1][0] if out else 0)


def _add_sounding(
    blocks: list[list[Event] | Run], out: list[Event], runs: list[Run], late: Event | None
) -> list[Event]:
    """Add the bends of a note, and among them the end of the note before where it comes `late`; return the block for what follows."""
    if late is not None:
        if runs and runs[0][1] < late[0]:
            out += sorted([late, *block_events(runs)], key=itemgetter(0))
            return out
        out.append(late)
    if runs:
        out = []
        blocks += (*runs, out)
    return out


@lru_cache(maxsize=1024)  # few are asked for: a dynamic's, on each place in the bar
def _velocity(loudness: float) -> int:
    """Return the velocity of a note-on."""
    return max(1, round(loudness * 127))


def closed_events(made: ChannelEvents, channel: int, tick: int) -> list[list[Event] | Run]:
    """Return messages, and at `tick`, or after the last of them, those that leave the channel as it was found: nothing bent, no legato."""
    tick = max(tick, made.end)
    closing: list[Event] = []
    if made.legato:
        closing.append((tick, CONTROL | channel, LEGATO, 0))
    if made.bent != CENTRE:
        closing.append((tick, BEND | channel, CENTRE & 0x7F, CENTRE >> 7))
    return [*made.blocks, closing] if closing else made.blocks


def legato_hint(note: NoteEvent) -> int:
    """Return the value of the legato controller for a note: on for what a fretting finger sounds on a sounding string."""
    return 127 if note.joined and (note.stroke is _HAMMER or note.stroke is _PULL) else 0


def _take_overlapping_end(out: list[Event], voice: ChannelVoice) -> Event | None:
    """Take the note-off that is last in `out`, and return it later where a slurred note follows at once, since a synthesizer slurs what overlaps."""
    if not out or out[-1][0] != voice.on or out[-1][2] == voice.number:
        return None
    return (min(voice.on + OVERLAP, voice.off), *out.pop()[1:])


def _add_bends(runs: list[Run], voice: ChannelVoice, status: int, ticks: Ticks, report: Report) -> tuple[int, int]:
    """Append the bend messages that follow a note-on, and return the value that it needs before and the one that it ends on."""
    first = bent = -1
    for part in voice.parts:
        shape, begin = _bend_shape(voice, part, ticks, report)
        if first < 0:
            first = shape.first
        elif shape.first != bent:
            runs.append((status, begin, shape.first, b"", begin))
        runs += [(status, begin + tick, value, rest, begin + end) for _, tick, value, rest, end in shape.runs]
        bent = shape.last
    return first, bent


def _bend_shape(voice: ChannelVoice, part: NoteEvent, ticks: Ticks, report: Report) -> tuple[BendShape, int]:
    """Return the bends of one part of a voice, from its start to before the note-off, and its tick; report what a bend does not reach."""
    begin = voice.on if part is voice.parts[0] else ticks.at(part.start)
    tempos, length = ticks.paces_from(begin, part.start, part.end), rounded_seconds(part.end - part.start)
    away = part.pitch + voice.moved - voice.number
    shape = bend_shape(tempos, length, voice.off - begin, away, moves_from(part))
    if shape.farthest > BEND_RANGE + AUDIBLE and not voice.said:
        far = f"moves {shape.farthest:.1f} half steps from the picked note"
        report(TOO_WIDE, part.sound, f"{far}: it stops at {BEND_RANGE}, the reach of a MIDI bend")
    return shape, begin


def _fade(note: NoteEvent, voice: ChannelVoice, control: int, ticks: Ticks) -> list[Event]:
    """Return the controllers of a swell: expression from nothing to full, and full again when the note ends."""
    at: list[int] = []
    seconds: list[float] = []
    ticks.during(at, seconds, note.start, note.start + note.fade_in)
    values = [round(127 * (second - note.start) / note.fade_in) for second in seconds]
    values[-1] = 127
    points = zip(at, values, strict=True)
    fade = [(tick, control, EXPRESSION, value) for tick, value in points if voice.on < tick < voice.off]
    return fade if fade and fade[-1][3] == 127 else [*fade, (voice.off, control, EXPRESSION, 127)]
