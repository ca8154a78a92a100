"""All strings on one MIDI channel, for gear that has no more.

In: the voices of all strings. Out: their messages in order. What a shared channel cannot keep is reported: a bend there
bends every string, and each note exists once.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Rule, Severity
from lickwright.export.midi.bend_shapes import AUDIBLE, CENTRE
from lickwright.export.midi.channel_voices import (
    EXPRESSION,
    LEGATO,
    ChannelEvents,
    ChannelVoice,
    Report,
    legato_hint,
    voice_events,
)
from lickwright.export.midi.smf import BEND, CONTROL, NOTE_OFF, NOTE_ON, Event, block_events
from lickwright.export.midi.ticks import Ticks

ONE_CHANNEL = Rule(
    "L503",
    "bend lost on one channel",
    Severity.INFO,
    "with all strings on one MIDI channel, a string cannot bend or slide while another sounds",
    "MIDI bends a whole channel. With `--single-channel` a bend, slide, vibrato or harmonic off the piano's pitch "
    "is kept only where no other string sounds at the same time; elsewhere the note keeps its fretted pitch, and "
    "slides are picked again softly. Without the option every string has a channel of its own.",
    "",
    "",
)
UNISON = Rule(
    "L504",
    "unison lost on one channel",
    Severity.INFO,
    "with all strings on one MIDI channel, two strings cannot start the same pitch at once",
    "A MIDI channel has each note once. With `--single-channel` two strings that start the same pitch together "
    "sound as one, for the longer of the two. Leave out the option to keep both.",
    "",
    "",
)
RULES = (ONE_CHANNEL, UNISON)


def on_one_channel(found: list[ChannelVoice], channel: int, ticks: Ticks, report: Report) -> ChannelEvents:
    """Return the messages of all strings on one channel. A voice that shares it with another string at the time does without bends."""
    found = _settled(sorted(found, key=lambda voice: (voice.on, -voice.parts[0].string)), ticks, report)
    out: list[Event] = []
    for voice in found:
        hint = legato_hint(voice.parts[0])
        out += ((voice.on, CONTROL | channel, LEGATO, hint), (voice.on, BEND | channel, CENTRE & 0x7F, CENTRE >> 7))
        out += block_events(voice_events([voice], channel, ticks, report).blocks)
    rank = {NOTE_OFF: 0, CONTROL: 1, BEND: 2, NOTE_ON: 3}
    out.sort(key=lambda event: (event[0], rank[event[1] & 0xF0]))  # stable: the last of several bends in a tick counts
    return _changes(out)


def _changes(ordered: list[Event]) -> ChannelEvents:
    """Return the messages without controllers and bends that change nothing, or that another takes back in the same tick."""
    out: list[Event] = []
    now = {LEGATO: 0, EXPRESSION: 127, None: CENTRE}
    for i, event in enumerate(ordered):
        tick, status, first, second = event
        kind = status & 0xF0
        if kind in (CONTROL, BEND):
            what, value = (first, second) if kind == CONTROL else (None, second << 7 | first)
            later = ordered[i + 1] if i + 1 < len(ordered) else None
            undone = later is not None and later[:2] == (tick, status) and (kind == BEND or later[2] == first)
            if undone or now[what] == value:
                continue
            now[what] = value
        out.append(event)
    return ChannelEvents([out], now[None], now[LEGATO], out[-1][0] if out else 0)


def _settled(ordered: list[ChannelVoice], ticks: Ticks, report: Report) -> list[ChannelVoice]:
    """Return what each voice can keep beside the others: slides that cannot be bent are struck again, equal notes sound once."""
    _mark_shared(ordered)
    out: list[ChannelVoice] = []
    for voice in ordered:
        if voice.alone or not (voice.needs_bend or voice.parts[0].fade_in):
            out.append(voice)
        else:
            _report_lost(voice, report)
            out += _struck_again(voice, ticks)
    return _once(out, report)


def _mark_shared(ordered: list[ChannelVoice]) -> None:
    """Mark the voices that sound while another does."""
    active: list[ChannelVoice] = []
    for voice in ordered:
        active = [other for other in active if other.off > voice.on]
        for other in active:
            other.alone = voice.alone = False
        active.append(voice)


def _report_lost(voice: ChannelVoice, report: Report) -> None:
    """Report what a voice loses that has to do without bends and fades, where it can be heard."""
    first, slides = voice.parts[0], len(voice.parts) > 1
    off = abs(first.pitch + voice.moved - voice.number)
    if slides or first.moves or first.fade_in or off > AUDIBLE:
        lost = "fade in" if first.fade_in else "slide" if slides else "bend"
        report(ONE_CHANNEL, first.sound, f"cannot {lost}: another string shares its channel at the time")


def _struck_again(voice: ChannelVoice, ticks: Ticks) -> list[ChannelVoice]:
    """Return each note of a slide as a stroke of its own, without bends and fades."""
    out: list[ChannelVoice] = []
    for part in voice.parts:
        on = max(out[-1].off, ticks.at(part.start)) if out else voice.on
        off = max(on + 1, ticks.at(part.end))
        struck = ChannelVoice(part._replace(fade_in=0.0), round(part.pitch) + voice.moved, on, off, voice.moved)
        struck.needs_bend = False
        out.append(struck)
    return out


def _once(found: list[ChannelVoice], report: Report) -> list[ChannelVoice]:
    """Return the voices without two of one note at a time: the earlier one ends, and of two that start together one stays."""
    out: list[ChannelVoice] = []
    sounding: dict[int, ChannelVoice] = {}
    for voice in sorted(found, key=lambda voice: voice.on):
        other = sounding.get(voice.number)
        if other is not None and other.off > voice.on:
            if other.on == voice.on:
                other.off = max(other.off, voice.off)
                message = "and the same pitch on another string sound as one note: they share a channel"
                report(UNISON, voice.parts[0].sound, message)
                continue
            other.off = voice.on
        sounding[voice.number] = voice
        out.append(voice)
    return out
