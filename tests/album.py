"""Tags of recordings read back by readers of our own, which the package does not share, and a picture to put into them."""

from __future__ import annotations

import base64
import struct
import zlib


def png(width: int = 3, height: int = 2, filler: int = 0) -> bytes:
    """A picture in the form of PNG, made longer by a chunk of `filler` bytes that readers pass over."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    rows = b"".join(b"\0" + bytes(3 * width) for _ in range(height))
    parts = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)) + chunk(b"IDAT", zlib.compress(rows))
    parts += chunk(b"teSt", bytes(n * 7 % 256 for n in range(filler))) if filler else b""
    return b"\x89PNG\r\n\x1a\n" + parts + chunk(b"IEND", b"")


def jpeg(width: int = 5, height: int = 4) -> bytes:
    """The beginning and the end of a JPEG file: as much as a reader of its size wants."""
    app = b"\xff\xe0" + struct.pack(">H", 16) + b"JFIF\0\1\1" + bytes(7)
    frame = b"\xff\xff\xc2" + struct.pack(">HBHHB", 17, 8, height, width, 3) + bytes(9)
    return b"\xff\xd8" + app + frame + b"\xff\xd9"


def id3(data: bytes) -> dict[str, list[str | bytes]]:
    """The frames of an ID3v2.4 tag at the start of `data`: texts decoded, others as they are."""
    assert data[:5] == b"ID3\4\0"
    found: dict[str, list[str | bytes]] = {}
    at, end = 10, 10 + _seven(data[6:10])
    while at < end:
        size = _seven(data[at + 4 : at + 8])
        name, body = data[at : at + 4].decode(), data[at + 10 : at + 10 + size]
        if name[0] == "T":
            assert body[0] == 3
            found.setdefault(name, []).append(body[1:].decode())
        else:
            found.setdefault(name, []).append(body)
        at += 10 + size
    assert at == end
    return found


def _seven(size: bytes) -> int:
    return sum(byte << shift for byte, shift in zip(size, (21, 14, 7, 0), strict=True))


def comment(body: bytes) -> dict[str, str]:
    """A Vorbis comment."""
    (size,) = struct.unpack("<I", body[:4])
    at = 4 + size
    (count,) = struct.unpack("<I", body[at : at + 4])
    at, found = at + 4, {}
    for _ in range(count):
        (size,) = struct.unpack("<I", body[at : at + 4])
        name, _, text = body[at + 4 : at + 4 + size].decode().partition("=")
        found[name] = text
        at += 4 + size
    assert body[at:] in (b"", b"\1")
    return found


def picture(body: bytes) -> tuple[int, str, int, int, bytes]:
    """A picture block: kind, type, width, height, bytes."""
    kind, size = struct.unpack(">II", body[:8])
    mime, at = body[8 : 8 + size].decode(), 8 + size
    (size,) = struct.unpack(">I", body[at : at + 4])
    width, height, _, _, length = struct.unpack(">IIIII", body[at + 4 + size : at + 24 + size])
    assert len(body) == at + 24 + size + length
    return kind, mime, width, height, body[at + 24 + size :]


def flac(data: bytes) -> dict[int, bytes]:
    """The blocks of a FLAC file's header."""
    assert data[:4] == b"fLaC"
    found, at, last = {}, 4, False
    while not last:
        last, kind, size = data[at] >= 0x80, data[at] & 0x7F, int.from_bytes(data[at + 1 : at + 4], "big")
        found[kind] = data[at + 4 : at + 4 + size]
        at += 4 + size
    assert data[at : at + 2] in (b"\xff\xf8", b"\xff\xf9")  # the first frame
    return found


def ogg(data: bytes) -> dict[str, str]:
    """The comment of an Ogg Vorbis stream whose pages follow each other without a gap."""
    packets, packet, at, number = [], b"", 0, 0
    while at < len(data):
        assert data[at : at + 4] == b"OggS"
        assert struct.unpack("<II", data[at + 14 : at + 22]) == (1, number)
        assert bool(data[at + 5] & 1) == bool(packet)  # a packet goes on
        lengths = data[at + 27 : at + 27 + data[at + 26]]
        inside = at + 27 + len(lengths)
        for length in lengths:
            packet += data[inside : inside + length]
            inside += length
            if length < 255:
                packets.append(packet)
                packet = b""
        at, number = inside, number + 1
    assert packets[1][:7] == b"\3vorbis"
    return comment(packets[1][7:])


def embedded(text: str) -> tuple[int, str, int, int, bytes]:
    """The picture of an Ogg stream."""
    return picture(base64.b64decode(text))
