"""Encoding of a Standard MIDI File (type 1).

In: events with absolute ticks, in order. Out: chunks, with running status. Knows no music: the caller decides what an
event means and in which order those of one tick stand.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from itertools import compress, pairwise
from operator import add, ne, sub
from struct import pack

# (tick, status, first data byte, second): a channel message with two data bytes.
Event = tuple[int, int, int, int]
# (status, tick, value, rest, end): messages of one status in a row, the first at `tick`, the last at `end`; a value has 14 bits in two data bytes,
# the lower seven first. `rest` are the messages after the first as they stand in a file, three bytes each: the distance, and the value.
Run = tuple[int, int, int, bytes, int]
# (tick, bytes): a meta event, which belongs to the file and not to a channel; see `meta_bytes`.
Meta = tuple[int, bytes]

TEXT, COPYRIGHT, TRACK_NAME, LYRIC, MARKER, CUE = 0x01, 0x02, 0x03, 0x05, 0x06, 0x07
TEMPO, METER, KEY, _END = 0x51, 0x58, 0x59, 0x2F
NOTE_OFF, NOTE_ON, CONTROL, PROGRAM, BEND = 0x80, 0x90, 0xB0, 0xC0, 0xE0
MAX_TEXT = 2000  # bytes of a text event
_NEVER: Meta = (1 << 62, b"")  # after the last meta event
_HALVES = bytes(byte // 2 for byte in range(256))


def text_payload(words: str) -> bytes:
    """Return words as the payload of a text event: UTF-8, one line without control characters, cut at `MAX_TEXT` bytes.

    No character is cut in two.
    """
    line = " ".join(words.split())
    if not line.isprintable():
        line = "".join(filter(str.isprintable, line))
    if len(line) <= MAX_TEXT and line.isascii():
        return line.encode()
    return line.encode("utf-8")[:MAX_TEXT].decode("utf-8", "ignore").encode("utf-8")


@lru_cache(maxsize=4096)
def variable_length(value: int) -> bytes:
    """Return a number in groups of seven bits, highest first, all but the last with the eighth bit set. Raises ValueError for one below 0."""
    if value < 0:
        raise ValueError(f"{value} has no variable length")
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(value & 0x7F | 0x80)
    return bytes(reversed(groups))


def meta_bytes(kind: int, payload: bytes) -> bytes:
    """Return a meta event as it stands in a file, but for its distance from the event before."""
    return bytes((0xFF, kind)) + variable_length(len(payload)) + payload


_TRACK_END = b"\0" + meta_bytes(_END, b"")


def pack_runs(at: list[int], values: list[int]) -> tuple[Run, ...]:
    """Return the messages whose values differ from the one before, but for the first, as few runs; ticks ascend from `at[0]`.

    Their status is 0, since a channel is only chosen later.
    """
    differs = list(map(ne, values[1:], values))
    at, values = list(compress(at[1:], differs)), list(compress(values[1:], differs))
    if not at:
        return ()
    steps = list(map(sub, at[1:], at))
    # A value times two, in two bytes: the upper byte is the upper seven bits, the lower byte is twice the lower seven.
    doubled = pack(f"<{len(at)}H", *map(add, values, values))
    lower, upper = doubled[::2].translate(_HALVES), doubled[1::2]
    cuts = [0, len(at)]
    if max(steps, default=0) >= 0x80:  # a distance in `rest` has one byte
        cuts[1:1] = [i for i, step in enumerate(steps, 1) if step >= 0x80]
    runs = []
    for first, last in pairwise(cuts):
        rest = bytearray(3 * (last - first - 1))
        rest[::3], rest[1::3], rest[2::3] = (
            bytes(steps[first : last - 1]),
            lower[first + 1 : last],
            upper[first + 1 : last],
        )
        runs.append((0, at[first], values[first], bytes(rest), at[last - 1]))
    return tuple(runs)


def run_events(run: Run) -> list[Event]:
    """Return the messages of a run one by one."""
    status, tick, value, rest, _ = run
    events = [(tick, status, value & 0x7F, value >> 7)]
    for distance, lower, upper in zip(rest[::3], rest[1::3], rest[2::3], strict=True):
        tick += distance
        events.append((tick, status, lower, upper))
    return events


def block_events(blocks: Iterable[list[Event] | Run]) -> list[Event]:
    """Return all messages one by one."""
    return [event for block in blocks for event in (block if isinstance(block, list) else run_events(block))]


def encode_track(
    blocks: Iterable[list[Event] | Run], metas: Iterable[Meta], start: bytes = b"", running: int = 0
) -> bytes:
    """Return one track chunk; meta events come before the messages of their tick.

    `start` are ready-made bytes at tick 0, after which `running` is the status in force (0: none).
    """
    track = _Track(start, running, metas)
    for block in blocks:
        if isinstance(block, list):
            track.add_messages(block)
        else:
            track.add_run(block)
    return track.chunk()


class _Track:
    """The bytes of a track as they grow, with the meta events that are still to come."""

    __slots__ = ("_due", "_few", "_last", "_made", "_metas", "_running")

    def __init__(self, start: bytes, running: int, metas: Iterable[Meta]) -> None:
        self._made = bytearray(start)
        self._few: list[int] = []  # bytes after those: a list takes single ones in half the time
        self._last, self._running = 0, running
        self._metas = iter((*metas, _NEVER))
        self._due = next(self._metas)

    def add_messages(self, events: Iterable[Event]) -> None:
        """Append messages, each with its distance from the one before. It is the innermost loop of a MIDI file."""
        extend, last, running, due = self._few.extend, self._last, self._running, self._due[0]
        for tick, status, first, second in events:
            if tick >= due:
                self._last = last
                due = self._add_metas(tick)
                last, running = self._last, 0
            delta = tick - last
            last = tick
            if delta < 0x80:
                extend((delta, first, second) if status == running else (delta, status, first, second))
            elif delta < 0x4000 and status != running:  # as the ends of most notes
                extend((delta >> 7 | 0x80, delta & 0x7F, status, first, second))
            else:
                extend(variable_length(delta))
                extend((first, second) if status == running else (status, first, second))
            running = status
        self._last, self._running = last, running

    def add_run(self, run: Run) -> None:
        """Append a run of messages, all but the first as they are."""
        status, tick, value, rest, end = run
        if end >= self._due[0]:
            self.add_messages(run_events(run))
            return
        self.add_messages(((tick, status, value & 0x7F, value >> 7),))
        if rest:
            self._made += bytes(self._few)
            self._made += rest
            self._few.clear()
            self._last = end

    def _add_metas(self, tick: int) -> int:
        """Append the meta events that are due at a tick, after which no status is in force; return the tick of the next one."""
        due, event = self._due
        while due <= tick:
            self._few += variable_length(due - self._last)
            self._few += event
            self._last = due
            due, event = self._due = next(self._metas)
        return due

    def chunk(self) -> bytes:
        """Return the track, with the meta events that are left and its end."""
        self._add_metas(_NEVER[0] - 1)
        made = b"".join((self._made, bytes(self._few), _TRACK_END))
        return b"MTrk" + len(made).to_bytes(4, "big") + made


def encode_file(tracks: list[bytes], ticks_a_quarter: int) -> bytes:
    """Return the whole file, of type 1: tracks that sound together."""
    header = b"MThd" + (6).to_bytes(4, "big") + (1).to_bytes(2, "big")
    return header + len(tracks).to_bytes(2, "big") + ticks_a_quarter.to_bytes(2, "big") + b"".join(tracks)
