"""The notes of one string as channel messages: strokes, and the bends between them.

In: a Performance's notes. Out: voices (a stroke with the notes that it slides on to), and their events in the order
in which a synthesizer wants them: note-off, controller, bend, note-on. What a MIDI
channel cannot hold is reported.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from itertools import compress
from math import floor
from operator import itemgetter, ne
from typing import NamedTuple

from lickwright.core.diagnostics import Rule, Severity
from lickwright.export.midi.smf import BEND, CONTROL, NOTE_OFF, NOTE_ON, Event, Run, block_events
from lickwright.export.midi.ticks import Ticks
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import pitch_offsets

BEND_RANGE = 12  # semitones that a full bend message means, up and down
CENTRE, FULL = 8192, 16383  # bend values of no bend and of the highest one
A_SEMITONE = CENTRE / BEND_RANGE  # bend units
LEGATO, EXPRESSION = 68, 11  # controllers
AUDIBLE = 0.05  # semitones: a smaller error of pitch is not reported
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
        self.alone = True  # False: shares its channel with another string at the time, so that it must not bend or fade
        self.said = False  # that it goes further than a bend reaches has been reported


def group_voices(notes: Iterable[NoteEvent], ticks: Ticks, report: Report) -> list[ChannelVoice]:
    """Return the voices of one string, in order. A slide stays in its voice as far as the bend range reaches."""
    found: list[ChannelVoice] = []
    free = 0  # tick from which the string can sound again
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
        on, off = ticks.at(note.start), ticks.at(note.end)
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
    bent, legato, ends, overlaps = CENTRE, 0, -1, False
    off, on, bend, control = NOTE_OFF | channel, NOTE_ON | channel, BEND | channel, CONTROL | channel
    for voice in found:
        note, tick, number = voice.parts[0], voice.on, voice.number
        hint = legato_hint(note)
        if hint != legato:
            out.append((tick, control, LEGATO, hint))
            legato = hint
        bends = [_bends(voice, part, ticks, report) for part in voice.parts] if voice.alone and voice.needs_bend else ()
        wanted = bends[0][1][0] if bends else CENTRE
        if wanted != bent:
            out.append((tick, bend, wanted & 0x7F, wanted >> 7))
            bent = wanted
        fades = bool(note.fade_in) and voice.alone
        if fades:
            out.append((tick, control, EXPRESSION, 0))
        out.append((tick, on, number, _velocity(note.loudness)))
        if hint and ends >= 0:
            overlaps |= _let_overlap(out, ends, voice)
        if bends or fades:
            runs = _bend_runs(bends, bent, bend)
            bent = bends[-1][1][-1] if bends else bent
            if fades:
                out += sorted(block_events(runs) + _fade(note, voice, control, ticks))
            else:
                out = []
                blocks += (*runs, out)
        ends = len(out)
        out.append((voice.off, off, number, _OFF_VELOCITY))
    if overlaps:
        out = sorted(block_events(blocks), key=itemgetter(0))
        blocks = [out]
    return ChannelEvents(blocks, bent, legato, out[-1][0] if out else 0)


@lru_cache(maxsize=1024)  # few are asked for: a dynamic's, on each place in the bar
def _velocity(loudness: float) -> int:
    """Return the velocity of a note-on."""
    return max(1, round(loudness * 127))


def closed_events(made: ChannelEvents, channel: int, tick: int) -> list[list[Event] | Run]:
    """Return messages, and at `tick`, or after the last of them, those that leave the channel as it was found: nothing bent, no legato."""
    tick, closing = max(tick, made.end), list[Event]()
    if made.legato:
        closing.append((tick, CONTROL | channel, LEGATO, 0))
    if made.bent != CENTRE:
        closing.append((tick, BEND | channel, CENTRE & 0x7F, CENTRE >> 7))
    return [*made.blocks, closing] if closing else made.blocks


def legato_hint(note: NoteEvent) -> int:
    """Return the value of the legato controller for a note: on for what a fretting finger sounds on a sounding string."""
    return 127 if note.joined and (note.stroke is _HAMMER or note.stroke is _PULL) else 0


def _let_overlap(out: list[Event], ends: int, voice: ChannelVoice) -> bool:
    """Let the note whose end is at `ends` sound on into a slurred one, since a synthesizer slurs what overlaps; return whether it does."""
    end = out[ends]
    if end[0] != voice.on or end[2] == voice.number:
        return False
    out[ends] = (min(voice.on + OVERLAP, voice.off), *end[1:])
    return True


def _bend_runs(bends: Iterable[tuple[list[int], list[int]]], bent: int, status: int) -> list[Run]:
    """Return bend messages for the values of each part that differ from the one before, the first from `bent`."""
    runs: list[Run] = []
    for at, values in bends:
        differs = list(map(ne, values, (bent, *values)))
        bent = values[-1]
        if not all(differs):
            at, values = list(compress(at, differs)), list(compress(values, differs))
        if at:
            runs.append((status, at, values))
    return runs


def _bends(voice: ChannelVoice, part: NoteEvent, ticks: Ticks, report: Report) -> tuple[list[int], list[int]]:
    """Return ticks and bend values of one part of a voice, from its start to before the note-off.

    Each value is exact at its own tick, and every move ends on its target.
    """
    at, seconds = [voice.on if part is voice.parts[0] else ticks.at(part.start)], [part.start]
    for move in part.moves:
        start, end = max(part.start, move.start), min(part.end, move.end)
        if start <= end:  # a stroke of a tremolo has its share of what moves all of them
            ticks.during(at, seconds, start, end)
    if len(part.moves) > 1:  # moves may overlap; ticks and seconds have the same order
        at.sort()
        seconds.sort()
    while len(at) > 1 and at[-1] >= voice.off:
        at.pop()
        seconds.pop()
    away = part.pitch + voice.moved - voice.number
    own = CENTRE + away * A_SEMITONE + 0.5
    values = [floor(own + offset * A_SEMITONE) for offset in pitch_offsets(part.moves, seconds)]
    reach = abs(away) + sum([abs(move.change) for move in part.moves])  # no value is farther
    return at, values if reach < BEND_RANGE - 1 else _within_reach(values, voice, part, report)


def _within_reach(values: list[int], voice: ChannelVoice, part: NoteEvent, report: Report) -> list[int]:
    """Return bend values within the range of a bend; report it where the difference can be heard."""
    farthest = max(max(values) - CENTRE, CENTRE - min(values)) / A_SEMITONE
    if farthest <= BEND_RANGE - AUDIBLE:  # a full bend down, or up but for the last step of the scale, is still kept
        return values
    if farthest > BEND_RANGE + AUDIBLE and not voice.said:
        far = f"moves {farthest:.1f} half steps from the picked note"
        report(TOO_WIDE, part.sound, f"{far}: it stops at {BEND_RANGE}, the reach of a MIDI bend")
    return [min(FULL, max(0, value)) for value in values]


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
