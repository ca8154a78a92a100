"""Encoding of a Standard MIDI File (type 1).

In: events with absolute ticks, in order. Out: chunks, with running status. Knows no music: the caller decides what an
event means and in which order those of one tick stand.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from functools import lru_cache

# (tick, status, first data byte, second): a channel message with two data bytes.
Event = tuple[int, int, int, int]
# (tick, kind, payload): a meta event, which belongs to the file and not to a channel.
Meta = tuple[int, int, bytes]

TEXT, COPYRIGHT, TRACK_NAME, LYRIC, MARKER, CUE = 0x01, 0x02, 0x03, 0x05, 0x06, 0x07
TEMPO, METER, KEY, _END = 0x51, 0x58, 0x59, 0x2F
NOTE_OFF, NOTE_ON, CONTROL, PROGRAM, BEND = 0x80, 0x90, 0xB0, 0xC0, 0xE0
MAX_TEXT = 2000  # bytes of a text event


def text_payload(words: str) -> bytes:
    """Return words as the payload of a text event: UTF-8, one line without control characters, cut at `MAX_TEXT` bytes.

    No character is cut in two.
    """
    line = " ".join(words.split())
    if not line.isprintable():
        line = "".join(filter(str.isprintable, line))
    return line.encode("utf-8")[:MAX_TEXT].decode("utf-8", "ignore").encode("utf-8")


@lru_cache(maxsize=4096)
def variable_length(value: int) -> bytes:
    """Return a number in groups of seven bits, highest first, all but the last with the eighth bit set."""
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(value & 0x7F | 0x80)
    return bytes(reversed(groups))


def encode_track(events: Sequence[Event], metas: Sequence[Meta], start: bytes = b"", running: int = 0) -> bytes:
    """Return one track chunk; meta events come before the messages of their tick.

    `start` are ready-made bytes at tick 0, after which `running` is the status in force (0: none).
    """
    out = list(start)  # of bytes: half the time of joining pieces
    at = last = 0
    for tick, kind, payload in metas:
        stop = bisect_left(events, (tick,), at)
        if stop > at:
            last, running = _messages(out, events[at:stop], last, running)
        out += variable_length(tick - last)
        out += _meta(kind, payload)
        at, last, running = stop, tick, 0
    _messages(out, events[at:], last, running)
    out += b"\0" + _meta(_END, b"")
    return b"MTrk" + len(out).to_bytes(4, "big") + bytes(out)


@lru_cache(maxsize=4096)
def _meta(kind: int, payload: bytes) -> bytes:
    return bytes((0xFF, kind)) + variable_length(len(payload)) + payload


def _messages(out: list[int], events: Sequence[Event], last: int, running: int) -> tuple[int, int]:
    """Append messages, each with its distance from the one before; return tick and status of the last."""
    extend = out.extend
    for tick, status, first, second in events:
        delta = tick - last
        last = tick
        if status == running and delta < 0x80:
            extend((delta, first, second))
            continue
        if delta < 0x80:
            extend((delta, status, first, second))
        else:
            extend(variable_length(delta))
            extend((first, second) if status == running else (status, first, second))
        running = status
    return last, running


def encode_file(tracks: list[bytes], ticks_a_quarter: int) -> bytes:
    """Return the whole file, of type 1: tracks that sound together."""
    header = b"MThd" + (6).to_bytes(4, "big") + (1).to_bytes(2, "big")
    return header + len(tracks).to_bytes(2, "big") + ticks_a_quarter.to_bytes(2, "big") + b"".join(tracks)
