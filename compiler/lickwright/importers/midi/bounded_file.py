"""Standard MIDI Files that anybody may have made: checked before a library reads them.

In: bytes. Out: the bytes of a file whose chunks, numbers and events are as the standard has them, so that reading it takes time and memory in proportion.
Lengths are checked against the bytes that there are, numbers have at most four bytes, and events are counted. Makes nothing of the events.
"""

from __future__ import annotations

from lickwright.core.unreadable import Unreadable

MAX_MIDI_BYTES = 10 << 20
MAX_MIDI_EVENTS = 200_000
_MAX_TICKS = 1 << 31
_HINT = "export it again, or a part of it"
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_META_LENGTHS = {0x51: 3, 0x58: 4, 0x59: 2, 0x54: 5, 0x20: 1, 0x21: 1}  # of those whose contents a reader takes apart


class _Reader:
    """A place in bytes that moves on."""

    def __init__(self, data: bytes, at: int, end: int) -> None:
        self.data, self.at, self.end = data, at, end

    def byte(self) -> int:
        """Return the next byte. Raises `Unreadable` at the end."""
        if self.at >= self.end:
            raise wrong_midi(self.at, "it ends in the middle of an event")
        self.at += 1
        return self.data[self.at - 1]

    def number(self) -> int:
        """Return a number of variable length. Raises `Unreadable` for one of more than four bytes."""
        value = 0
        for _ in range(4):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise wrong_midi(self.at, "a number of more than four bytes")

    def skip(self, count: int) -> None:
        """Move on. Raises `Unreadable` past the end."""
        if count > self.end - self.at:
            raise wrong_midi(self.at, f"an event of {count:,} bytes, of which {self.end - self.at:,} are there")
        self.at += count


def wrong_midi(at: int, what: str) -> Unreadable:
    """Return the error for bytes that no MIDI file has."""
    return Unreadable(f"the MIDI file cannot be read: byte {at:,}: {what}", _HINT)


def bounded_midi(data: bytes) -> bytes:
    """Return a MIDI file, unwrapped where it lies in a RIFF file. Raises `Unreadable` where it is damaged or too large."""
    if len(data) > MAX_MIDI_BYTES:
        raise Unreadable(f"the MIDI file is larger than {MAX_MIDI_BYTES >> 20} MiB", _HINT)
    if data[:4] == b"RIFF" and data[8:12] == b"RMID":
        start = data.find(b"MThd")
        data = data[start:] if start >= 0 else b""
    if data[:4] != b"MThd":
        raise Unreadable("the file is no MIDI file: it does not begin with `MThd`", "export it as a Standard MIDI File")
    length = int.from_bytes(data[4:8], "big")
    if length < 6 or length > len(data) - 8:
        raise wrong_midi(4, "its header has a wrong length")
    tracks, division = int.from_bytes(data[10:12], "big"), int.from_bytes(data[12:14], "big")
    if not 0 < division < 0x8000:
        raise wrong_midi(12, "its time is not counted in parts of a quarter note")
    found, events, at = [], 0, 8 + length
    while at + 8 <= len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "big")
        if size > len(data) - at - 8:
            raise wrong_midi(at, f"a track of {size:,} bytes, of which {len(data) - at - 8:,} are there")
        if data[at : at + 4] == b"MTrk":
            events = _check_track(_Reader(data, at + 8, at + 8 + size), events)
            found.append(data[at : at + 8 + size])
        at += 8 + size
    if not found:
        raise wrong_midi(at, "it has no tracks")
    if tracks == 0 or len(found) >= 0x8000:
        raise wrong_midi(10, f"its header says that it has {tracks} tracks")
    kind = min(2, int.from_bytes(data[8:10], "big"))
    header = b"MThd" + (6).to_bytes(4, "big") + kind.to_bytes(2, "big") + len(found).to_bytes(2, "big") + data[12:14]
    return header + b"".join(found)


def _check_track(reader: _Reader, events: int) -> int:
    """Return the events of all tracks so far, those of one more included."""
    status = ticks = 0
    while reader.at < reader.end:
        ticks += reader.number()
        events += 1
        if events > MAX_MIDI_EVENTS:
            raise wrong_midi(reader.at, f"more than {MAX_MIDI_EVENTS:,} events")
        if ticks > _MAX_TICKS:
            raise wrong_midi(reader.at, "it lasts for ever")
        byte = reader.byte()
        if byte == 0xFF:
            status = 0
            kind, length = reader.byte(), reader.number()
            if length < _META_LENGTHS.get(kind, 0):
                raise wrong_midi(reader.at, f"a meta event of {length} bytes, which needs {_META_LENGTHS[kind]}")
            reader.skip(length)
            if kind == 0x2F:
                return events
        elif byte in (0xF0, 0xF7):
            status = 0
            reader.skip(reader.number())
        else:
            status = _check_message(reader, byte, status)
    return events


def _check_message(reader: _Reader, byte: int, status: int) -> int:
    """Return the status that goes on after a message of a channel."""
    if byte >= 0xF0:
        raise wrong_midi(reader.at, f"a message {byte:#04x}, which no file has")
    if byte < 0x80 and not status:
        raise wrong_midi(reader.at, "a message that goes on from none")
    status = byte if byte >= 0x80 else status
    for _ in range(_DATA_BYTES[status & 0xF0] - (byte < 0x80)):
        if reader.byte() >= 0x80:
            raise wrong_midi(reader.at, "a value above 127")
    return status
