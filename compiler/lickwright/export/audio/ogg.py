"""Replacement of the comment of an Ogg Vorbis stream (RFC 3533; Vorbis I specification, 4 and 5).

In: a stream as libsndfile or this module wrote it. Out: the same sound, page for page, with another comment; the serial number is 1 and not
random, so that equal sound gives equal bytes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

_SERIAL = 1
_MIRRORED = bytes(int(f"{n:08b}"[::-1], 2) for n in range(256))
_HEAD = struct.Struct("<4sBBQIIIB")  # magic, version, flags, granule position, serial, number, checksum, segments
_CONTINUED, _FIRST = 1, 2  # flags
_NO_POSITION = (1 << 64) - 1  # of a page on which no packet ends
_FULL = 255  # bytes of a segment that goes on, and segments of a page
_PACKETS = (b"\1vorbis", b"\3vorbis", b"\5vorbis")  # how those of the header begin
_MOST = 1 << 24  # bytes of the header


class _Page(NamedTuple):
    flags: int
    position: int
    lengths: bytes
    body: bytes

    def written(self, number: int) -> bytes:
        """Return its bytes as page `number` of the stream, from 0."""
        head = [b"OggS", 0, self.flags, self.position, _SERIAL, number, 0, len(self.lengths)]
        rest = self.lengths + self.body
        head[6] = _checksum(_HEAD.pack(*head) + rest)
        return _HEAD.pack(*head) + rest


def replace_comment(stream: BinaryIO, comment: bytes) -> Iterator[bytes]:
    """Yield the pages of `stream` with the body `comment` in its header. Raises ValueError for another kind of stream, OSError where it cannot be read."""
    stream.seek(0)
    pages = _pages(stream)
    first, _, setup = _header(pages)
    header = [_paged(first, _FIRST), _paged(_PACKETS[1] + comment + b"\1", 0, setup)]
    number = -1
    for number, page in enumerate(page for part in header for page in part):
        yield page.written(number)
    for page in pages:
        number += 1
        yield page.written(number)


def _pages(stream: BinaryIO) -> Iterator[_Page]:
    while head := stream.read(_HEAD.size):
        if len(head) < _HEAD.size:
            raise ValueError("the stream ends within a page")
        magic, version, flags, position, _, _, _, count = _HEAD.unpack(head)
        lengths = stream.read(count)
        body = stream.read(sum(lengths))
        if magic != b"OggS" or version != 0 or len(lengths) < count or len(body) < sum(lengths):
            raise ValueError("no Ogg stream")
        yield _Page(flags, position, lengths, body)


def _header(pages: Iterator[_Page]) -> tuple[bytes, ...]:
    """Return the three packets of the header; the page that the last one ends on holds nothing else. Raises ValueError for another stream."""
    packets, packet, size = [], b"", 0
    for page in pages:
        at = 0
        size += len(page.body)
        if size > _MOST:
            break
        for length in page.lengths:
            packet += page.body[at : at + length]
            at += length
            if length < _FULL:
                packets.append(packet)
                packet = b""
        if len(packets) >= len(_PACKETS):
            break
    if len(packets) != len(_PACKETS) or packet or not all(map(bytes.startswith, packets, _PACKETS)):
        raise ValueError("no Vorbis stream")
    return tuple(packets)


def _paged(packet: bytes, flags: int, *more: bytes) -> Iterator[_Page]:
    """Yield packets on pages of their own."""
    packets = (packet, *more)
    lengths = b"".join(bytes((_FULL,)) * (len(one) // _FULL) + bytes((len(one) % _FULL,)) for one in packets)
    body, at = b"".join(packets), 0
    for start in range(0, len(lengths), _FULL):
        part = lengths[start : start + _FULL]
        going_on = _CONTINUED if start and lengths[start - 1] == _FULL else 0
        ends = any(length < _FULL for length in part)
        yield _Page(flags | going_on, 0 if ends else _NO_POSITION, part, body[at : at + sum(part)])
        at += sum(part)


def _checksum(page: bytes) -> int:
    """Return Ogg's CRC, highest bit first from 0: the mirrored CRC of zlib, which goes the other way, of the mirrored bytes."""
    mirrored = zlib.crc32(page.translate(_MIRRORED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int(f"{mirrored:032b}"[::-1], 2)
