"""Standard MIDI File: a track and a channel for each string, with bends.

In: a lick as sounded. Out: a file of type 1 at 960 ticks a quarter, and what MIDI cannot say. Track 0 has all tempos,
meters, keys, bar markers and words; lyrics of the other tracks name techniques. Strings 1 to 6 play on channels 2 to
7 (channel 1 and the drums' channel 10 stay free), so that a bend on one string leaves the others alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from operator import itemgetter

from lickwright.checks.findings import finding_at_sound, note_as_typed
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.midi import channel_voices, one_channel, smf
from lickwright.export.midi.bend_shapes import BEND_RANGE
from lickwright.export.midi.channel_voices import Report
from lickwright.export.midi.smf import Meta
from lickwright.export.midi.ticks import TICKS_A_QUARTER, Ticks, paces
from lickwright.export.timing import PLAIN, techniques_by_sound
from lickwright.music.rhythm import Meter
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.timeline.model import Timeline, bar_name

TOO_SLOW = Rule(
    "L505",
    "slower than MIDI",
    Severity.INFO,
    "the tempo is slower than a MIDI file can say",
    "A MIDI file counts a tempo in microseconds a quarter note, 16,777,215 at most: 3.58 quarter notes a minute. "
    "A slower tempo is written as that one.",
    "",
    "",
)
SCRAPE = Rule(
    "L506",
    "no scrape in MIDI",
    Severity.INFO,
    "MIDI has no pick scrape",
    "A pick scrape has no pitch, and MIDI has only pitches: the scrape is left out.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (*channel_voices.RULES, *one_channel.RULES, TOO_SLOW, SCRAPE)

# Members bound to names of the module, which Python 3.11 finds in a quarter of the time; asked for every note.
_SCRAPE = Stroke.SCRAPE
_SLOWEST = 0xFFFFFF  # microseconds a quarter: three bytes
_CHANNELS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13)  # of strings 1 to 12, from 0; 9 is the drums'
_FULL_CLICK = 255  # clocks a click, one byte


def emit(stages: LoweredLick, options: Options) -> Export:
    """Return the file, and what MIDI cannot say of the lick."""
    performance, timeline = stages.performance(options), stages.timeline
    losses: dict[tuple[str, int], Diagnostic] = {}

    def report(rule: Rule, index: int, message: str) -> None:
        sound = timeline.sounds[index]
        if (rule.code, sound.span.start) not in losses:
            name = note_as_typed(timeline, sound.string, "" if sound.fret is None else sound.fret)
            losses[rule.code, sound.span.start] = finding_at_sound(rule, timeline, sound, f"{name} {message}")

    ticks = Ticks(paces(performance.tempos))
    tracks = [_conductor(timeline, performance, ticks, losses)]
    tracks += _strings(timeline, performance, ticks, options, report)
    found = sorted(losses.values(), key=lambda loss: (loss.span.start, loss.code))
    return Export(smf.encode_file(tracks, TICKS_A_QUARTER), tuple(found))


def _strings(
    timeline: Timeline, performance: Performance, ticks: Ticks, options: Options, report: Report
) -> list[bytes]:
    """Return one track for each string, or one for all."""
    tuning, program = timeline.settings.tuning, timeline.settings.instrument.program
    by_string: list[list[NoteEvent]] = [[] for _ in range(tuning.strings)]
    for note in performance.notes:
        if note.stroke is _SCRAPE:
            report(SCRAPE, note.sound, "is scraped with the pick, for which MIDI has nothing: it is left out")
        else:
            by_string[note.string - 1].append(note)
    end, words = ticks.at(performance.end), techniques_by_sound(timeline)
    if options.single_channel:
        everything = [voice for notes in by_string for voice in channel_voices.group_voices(notes, ticks, report)]
        lyrics = _lyrics(words, performance.notes, ticks)
        made = one_channel.on_one_channel(everything, 0, ticks, report)
        blocks = channel_voices.closed_events(made, 0, end)
        return [smf.encode_track(blocks, lyrics, *_set_up(0, program, "all strings"))]
    tracks = []
    for channel, label, notes in zip(_CHANNELS, _string_names(tuning.labels), by_string, strict=False):
        if not notes:
            tracks.append(_silent_track(channel, program, label))
            continue
        voices = channel_voices.group_voices(notes, ticks, report)
        blocks = channel_voices.closed_events(channel_voices.voice_events(voices, channel, ticks, report), channel, end)
        tracks.append(smf.encode_track(blocks, _lyrics(words, notes, ticks), *_set_up(channel, program, label)))
    return tracks


@lru_cache(maxsize=64)
def _silent_track(channel: int, program: int, name: str) -> bytes:
    """Return the track of a string that is not played."""
    return smf.encode_track((), (), *_set_up(channel, program, name))


@lru_cache(maxsize=64)
def _string_names(labels: tuple[str, ...]) -> list[str]:
    """Return the names of the strings' tracks."""
    return [f"string {number} ({label})" for number, label in enumerate(labels, 1)]


@lru_cache(maxsize=64)
def _set_up(channel: int, program: int, name: str) -> tuple[bytes, int]:
    """Return the begin of a track and its last status: name, program, bend range (registered parameter 0, closed again), nothing bent.

    A file that is played again from the start then begins as it began, however its last note ended.
    """
    title, control = smf.text_payload(name), smf.CONTROL | channel
    head = bytes((0, 0xFF, smf.TRACK_NAME)) + smf.variable_length(len(title)) + title
    head += bytes((0, smf.PROGRAM | channel, program, 0, control))
    head += bytes((101, 0, 0, 100, 0, 0, 6, BEND_RANGE, 0, 38, 0, 0, 101, 127, 0, 100, 127, 0, 68, 0))
    bend = smf.BEND | channel
    return head + bytes((0, bend, 0, 64)), bend


def _lyrics(words: Sequence[str], notes: Sequence[NoteEvent], ticks: Ticks) -> list[Meta]:
    """Return the techniques of each note in words, where it is more than picked; `words` are those of all sounds."""
    return [
        (ticks.at(note.start), _lyric(words[note.sound]))
        for note in notes
        if words[note.sound] is not PLAIN and note.part == 0
    ]


@lru_cache(maxsize=4096)
def _lyric(words: str) -> bytes:
    return smf.meta_bytes(smf.LYRIC, words.encode())


def _conductor(
    timeline: Timeline, performance: Performance, ticks: Ticks, losses: dict[tuple[str, int], Diagnostic]
) -> bytes:
    """Return track 0: author, tempos, meters, key, bars and words. Readers look for them here and nowhere else."""
    settings = timeline.settings
    events: list[Meta] = []
    if settings.rights:
        events.append((0, smf.meta_bytes(smf.COPYRIGHT, smf.text_payload(settings.rights))))
    events.append((0, smf.meta_bytes(smf.TRACK_NAME, smf.text_payload(timeline.title))))
    if settings.by:
        events.append((0, smf.meta_bytes(smf.TEXT, smf.text_payload(f"by {settings.by}"))))
    if settings.capo or settings.tuning.name not in ("standard", "bass"):  # so that a reader knows the frets
        capo = f", capo {settings.capo}" if settings.capo else ""
        events.append((0, smf.meta_bytes(smf.TEXT, smf.text_payload(f"tuning {settings.tuning}{capo}"))))
    for tempo in performance.tempos:
        microseconds = _microseconds(tempo.qpm.numerator, tempo.qpm.denominator)
        if microseconds > _SLOWEST:
            slow = f"{float(tempo.qpm):.2f} quarter notes a minute are too slow for MIDI: written as 3.58"
            at, notes = settings.finding_place("tempo", timeline.span)
            losses[TOO_SLOW.code, 0] = TOO_SLOW.at(at, slow, notes=notes)
        payload = min(_SLOWEST, microseconds).to_bytes(3, "big")
        events.append((ticks.of_quarters(tempo.quarters), smf.meta_bytes(smf.TEMPO, payload)))
    if settings.key is not None:
        key = settings.key.transposed(settings.capo + settings.tuning.shift)
        events.append((0, smf.meta_bytes(smf.KEY, bytes((key.signature & 0xFF, key.is_minor)))))
    events += _bars(timeline, performance)
    events += _words(timeline, performance, ticks)
    events.sort(key=itemgetter(0))
    return smf.encode_track((), events)


def _bars(timeline: Timeline, performance: Performance) -> list[Meta]:
    """Return a marker for each bar as played, and a meter wherever the length of a bar changes, pick-ups and silence before them included."""
    events: list[Meta] = []
    lead_in, grain, meter = performance.lead_in, timeline.grain, timeline.settings.meter
    if lead_in:
        events.append(
            (0, smf.meta_bytes(smf.METER, _meter_payload(meter, lead_in.numerator, lead_in.denominator) or b""))
        )
    shift = 4 * TICKS_A_QUARTER * lead_in.numerator // lead_in.denominator
    length = -1  # grains of the meter in force
    for turn in timeline.passes:
        bar = timeline.bars[turn.bar]
        tick = shift + (8 * TICKS_A_QUARTER * turn.start + grain) // (2 * grain)  # rounded half up
        if bar.length != length:
            payload = _meter_payload(meter, bar.length, grain)
            if payload is not None:
                events.append((tick, smf.meta_bytes(smf.METER, payload)))
                length = bar.length
        events.append((tick, _bar_marker(bar.number, turn.number)))
    return events


@lru_cache(maxsize=1024)
def _microseconds(quarters: int, minutes: int) -> int:
    """Return the length of a quarter note where `quarters` go into so many minutes."""
    return round(Fraction(60_000_000 * minutes, quarters))


@lru_cache(maxsize=1024)
def _bar_marker(bar: int, number: int) -> bytes:
    return smf.meta_bytes(smf.MARKER, bar_name(bar, number).encode())


@lru_cache(maxsize=1024)
def _meter_payload(meter: Meter, grains: int, grain: int) -> bytes | None:
    """Return a meter as long as `grains`, of which `grain` make a whole note: the lick's own, else a plain fraction.

    None for a length that no meter has.
    """
    length = Fraction(grains, grain)
    over, under = (meter.beats, meter.unit) if length == meter.length else (length.numerator, length.denominator)
    if under & (under - 1) or not 0 < over < 256:
        return None
    clocks = min(_FULL_CLICK, max(1, int(96 * meter.beat)))  # MIDI clocks a click: 24 a quarter
    return bytes((over, under.bit_length() - 1, clocks, 8))


def _words(timeline: Timeline, performance: Performance, ticks: Ticks) -> list[Meta]:
    """Return the directions of the lick, each time that they are played."""
    said = [direction for direction in timeline.directions if direction.kind == "words"]
    if not said:
        return []
    events: list[Meta] = []
    for turn in timeline.passes:
        bar = timeline.bars[turn.bar]
        for direction in said:
            if bar.first <= direction.slot < bar.last:
                at = performance.seconds(turn.start + timeline.slots[direction.slot].at)
                events.append((ticks.at(at), smf.meta_bytes(smf.CUE, smf.text_payload(direction.text))))
    return events
