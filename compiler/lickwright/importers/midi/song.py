"""A MIDI file as notes: when each begins and ends, how its pitch moves, and what is said beside it.

In: the bytes of a checked file. Out: `MidiSong`. Needs mido, of the extra `read`. Notes without an end last to the next of their pitch or to the end of the
track; nothing is moved to a grid yet.
"""

from __future__ import annotations

from collections import defaultdict
from io import BytesIO
from typing import Any

from lickwright.core.extras import install_command
from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.core.unreadable import Unreadable
from lickwright.importers.midi.bounded_file import bounded_midi

_DRUMS = 9  # the channel of percussion, from 0
_USUAL_RANGE = 2.0  # semitones of a full pitch bend where a file does not say
_LEGATO = 68
_MOST_RANGE = 96.0


@mutable_record
class MidiNote:
    """One note-on, until its note-off."""

    on: int  # ticks
    off: int
    pitch: int
    velocity: int
    track: int
    channel: int
    legato: bool = False
    curve: list[tuple[int, float]] = field(default_factory=list)  # tick, semitones off its pitch; the first at `on`


@mutable_record
class MidiSong:
    """What a file holds; instants are ticks."""

    ticks_a_quarter: int
    notes: list[MidiNote] = field(default_factory=list)  # by start
    tempos: list[tuple[int, int]] = field(default_factory=list)  # microseconds a quarter
    meters: list[tuple[int, int, int]] = field(default_factory=list)  # upper and lower number
    keys: list[tuple[int, str]] = field(default_factory=list)  # "A", "F#m"
    names: dict[int, str] = field(default_factory=dict)  # of tracks
    programs: dict[tuple[int, int], int] = field(default_factory=dict)  # by track and channel, from 0
    texts: list[tuple[int, str]] = field(default_factory=list)  # of the first track
    words: dict[int, list[tuple[int, str]]] = field(default_factory=dict)  # lyrics of a track
    cues: list[tuple[int, str]] = field(default_factory=list)
    end: int = 0
    drums: int = 0  # notes of percussion, left out
    hanging: int = 0  # notes without an end


def read_song(data: bytes) -> MidiSong:
    """Return the contents of a MIDI file. Raises `Unreadable` for one that is damaged or too large, and where mido is not installed."""
    whole = bounded_midi(data)
    try:
        from mido import MidiFile
    except ImportError:
        raise Unreadable("reading MIDI needs one more package", f"install it: {install_command('read')}") from None
    try:
        file = MidiFile(file=BytesIO(whole), charset="utf-8", clip=True)
    except UnicodeDecodeError:
        file = _in_latin(MidiFile, whole)
    except Exception as e:  # its readers raise a dozen kinds of errors on damaged files
        raise Unreadable(f"the MIDI file cannot be read: {type(e).__name__}", "export it again") from None
    song = MidiSong(file.ticks_per_beat)
    for index, track in enumerate(file.tracks):
        _TrackReader(song, index).read(track)
    song.notes.sort(key=lambda note: (note.on, note.pitch))
    for events in (song.tempos, song.meters, song.keys, song.cues):
        events.sort(key=lambda event: event[0])
    return song


def _in_latin(midi_file: Any, data: bytes) -> Any:
    try:
        return midi_file(file=BytesIO(data), charset="latin-1", clip=True)
    except Exception as e:
        raise Unreadable(f"the MIDI file cannot be read: {type(e).__name__}", "export it again") from None


class _TrackReader:
    """Reads the messages of one track."""

    def __init__(self, song: MidiSong, index: int) -> None:
        self._song, self._index = song, index
        self._tick = 0
        self._open: defaultdict[tuple[int, int], list[MidiNote]] = defaultdict(list)
        self._sounding: defaultdict[int, list[MidiNote]] = defaultdict(list)  # by channel
        self._bends: defaultdict[int, int] = defaultdict(int)
        self._ranges: defaultdict[int, float] = defaultdict(lambda: _USUAL_RANGE)
        self._parameter: dict[int, tuple[int, int]] = {}  # the registered parameter chosen, by channel
        self._legato: defaultdict[int, bool] = defaultdict(bool)

    def read(self, track: Any) -> None:
        """Add the notes and words of the track."""
        for message in track:
            self._tick += message.time
            handler = _HANDLERS.get(message.type)
            if handler is not None:
                handler(self, message)
        self._song.end = max(self._song.end, self._tick)
        for notes in self._open.values():
            for note in notes:
                self._song.hanging += 1
                note.off = max(note.on + 1, self._tick)

    # --- notes ---------------------------------------------------------------------------------------------------

    def note_on(self, message: Any) -> None:
        """Begin a note; one of no velocity ends it."""
        if not message.velocity:
            self.note_off(message)
            return
        if message.channel == _DRUMS:
            self._song.drums += 1
            return
        self.note_off(message)  # a note that is struck again begins anew
        note = MidiNote(
            self._tick,
            self._tick + 1,
            message.note,
            message.velocity,
            self._index,
            message.channel,
            self._legato[message.channel],
        )
        note.curve.append((self._tick, self._semitones(message.channel)))
        self._open[message.channel, message.note].append(note)
        self._sounding[message.channel].append(note)
        self._song.notes.append(note)

    def note_off(self, message: Any) -> None:
        """End the note of a pitch."""
        for note in self._open.pop((message.channel, message.note), ()):
            note.off = max(note.on + 1, self._tick)
            self._sounding[message.channel].remove(note)

    def pitchwheel(self, message: Any) -> None:
        """Bend what sounds on a channel."""
        self._bends[message.channel] = message.pitch
        value = self._semitones(message.channel)
        for note in self._sounding[message.channel]:
            if note.curve[-1][0] == self._tick:
                note.curve.pop()
            note.curve.append((self._tick, value))

    def _semitones(self, channel: int) -> float:
        return self._bends[channel] / 8192 * self._ranges[channel]

    def control(self, message: Any) -> None:
        """Take over the legato pedal, and the range of bends from registered parameter 0."""
        channel, control, value = message.channel, message.control, message.value
        high, low = self._parameter.get(channel, (127, 127))
        if control == _LEGATO:
            self._legato[channel] = value >= 64
        elif control == 101:
            self._parameter[channel] = (value, low)
        elif control == 100:
            self._parameter[channel] = (high, value)
        elif control in (98, 99):
            self._parameter.pop(channel, None)
        elif control == 6 and (high, low) == (0, 0):
            self._ranges[channel] = min(_MOST_RANGE, float(value))
        elif control == 38 and (high, low) == (0, 0):
            self._ranges[channel] = min(_MOST_RANGE, int(self._ranges[channel]) + value / 100)

    def program(self, message: Any) -> None:
        """Take over the sound of a channel: the first one counts."""
        self._song.programs.setdefault((self._index, message.channel), message.program)

    # --- words and time ------------------------------------------------------------------------------------------

    def tempo(self, message: Any) -> None:
        """Take over a tempo; one of no length cannot be."""
        if message.tempo:
            self._song.tempos.append((self._tick, message.tempo))

    def meter(self, message: Any) -> None:
        """Take over a meter."""
        if message.numerator:
            self._song.meters.append((self._tick, message.numerator, message.denominator))

    def key(self, message: Any) -> None:
        """Take over a key."""
        self._song.keys.append((self._tick, message.key))

    def name(self, message: Any) -> None:
        """Take over the name of the track."""
        self._song.names.setdefault(self._index, " ".join(message.name.split())[:120])

    def text(self, message: Any) -> None:
        """Keep a text of the first track."""
        if self._index == 0:
            self._song.texts.append((self._tick, message.text))

    def lyric(self, message: Any) -> None:
        """Keep words of the track."""
        self._song.words.setdefault(self._index, []).append((self._tick, message.text))

    def cue(self, message: Any) -> None:
        """Keep words over the music."""
        self._song.cues.append((self._tick, message.text))


_HANDLERS = {
    "note_on": _TrackReader.note_on, "note_off": _TrackReader.note_off, "pitchwheel": _TrackReader.pitchwheel, "control_change": _TrackReader.control,
    "program_change": _TrackReader.program, "set_tempo": _TrackReader.tempo, "time_signature": _TrackReader.meter, "key_signature": _TrackReader.key,
    "track_name": _TrackReader.name, "text": _TrackReader.text, "lyrics": _TrackReader.lyric, "cue_marker": _TrackReader.cue,
}  # fmt: skip


class SongClock:
    """Seconds of ticks, by the tempos of a song."""

    def __init__(self, song: MidiSong) -> None:
        self._changes: list[tuple[int, float, float]] = [
            (0, 0.0, 0.5 / song.ticks_a_quarter)
        ]  # tick, seconds, seconds a tick
        for tick, tempo in song.tempos:
            last, seconds, pace = self._changes[-1]
            self._changes.append((tick, seconds + (tick - last) * pace, tempo / 1e6 / song.ticks_a_quarter))

    def seconds(self, tick: float) -> float:
        """Return when a tick is heard."""
        from bisect import bisect_right

        at, seconds, pace = self._changes[max(0, bisect_right(self._changes, (tick, float("inf"), 0.0)) - 1)]
        return seconds + (tick - at) * pace

    def pace(self, tick: float) -> float:
        """Return the seconds that a tick lasts."""
        from bisect import bisect_right

        return self._changes[max(0, bisect_right(self._changes, (tick, float("inf"), 0.0)) - 1)][2]
