"""The bytes of a Standard MIDI File (type 1).

In: events with absolute ticks, in order. Out: chunks, with running status as most writers have it. Knows no music:
what an event means and in which order those of one tick stand is for whoever makes them.
"""

from __future__ import annotations

from collections.abc import Iterable

# (tick, status, first data byte, second): a channel message with two data bytes.
Event = tuple[int, int, int, int]
# (tick, kind, payload): a meta event, which belongs to the file and not to a channel.
Meta = tuple[int, int, bytes]

TEXT, COPYRIGHT, TRACK_NAME, LYRIC, MARKER, CUE = 0x01, 0x02, 0x03, 0x05, 0x06, 0x07
TEMPO, METER, KEY, _END = 0x51, 0x58, 0x59, 0x2F
NOTE_OFF, NOTE_ON, CONTROL, PROGRAM, BEND = 0x80, 0x90, 0xB0, 0xC0, 0xE0
MAX_TICK = (1 << 28) - 1  # the largest number that four bytes of seven bits hold
MAX_TEXT = 2000  # bytes of a text event


def text(words: str) -> bytes:
    """Words as the payload of a text event.

    UTF-8, one line without control characters, cut at a character when far too long.
    """
    line = "".join(char for char in " ".join(words.split()) if char.isprintable())
    return line.encode("utf-8")[:MAX_TEXT].decode("utf-8", "ignore").encode("utf-8")


def number(value: int) -> bytes:
    """A number in groups of seven bits, highest first, all but the last marked."""
    if value < 0x80:
        return bytes((value,))
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(value & 0x7F | 0x80)
    return bytes(reversed(groups))


def track(events: Iterable[Event | Meta], start: bytes = b"", running: int = 0) -> bytes:
    """One track chunk. `start` are ready-made bytes at tick 0, after which `running` is the status in force (0.

    None).
    """
    out = bytearray(start)
    last = 0
    for event in events:
        delta = event[0] - last
        last = event[0]
        status = event[1]
        if len(event) == 4:
            if status == running and delta < 0x80:
                out += bytes((delta, event[2], event[3]))
                continue
            out += number(delta)
            if status != running:
                out.append(status)
                running = status
            out += bytes((event[2], event[3]))
        else:
            payload = event[2]
            out += number(delta) + bytes((0xFF, status)) + number(len(payload)) + payload
            running = 0
    out += bytes((0, 0xFF, _END, 0))
    return b"MTrk" + len(out).to_bytes(4, "big") + bytes(out)


def file(tracks: list[bytes], ticks_a_quarter: int) -> bytes:
    """The whole file, of type 1: tracks that sound together."""
    header = b"MThd" + (6).to_bytes(4, "big") + (1).to_bytes(2, "big")
    return header + len(tracks).to_bytes(2, "big") + ticks_a_quarter.to_bytes(2, "big") + b"".join(tracks)
