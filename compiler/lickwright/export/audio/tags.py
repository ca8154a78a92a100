"""Tags of a recording: title, album, picture and the places of its bars, as each format has them.

In: `Tags`. Out: bytes for the containers of `encoding.py`: a tag of ID3v2.4 with its addendum for chapters, a Vorbis comment, a
picture block of FLAC (RFC 9639), and chunks of a RIFF file (Multimedia Programming Interface and Data Specifications 1.0, 1991). Knows no files.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.version import __version__
from lickwright.export import Album, Cover
from lickwright.synth.arrangement import Cue

_LONGEST = 4000  # characters of the comment with the bars
_FRONT = 3  # the kind of a picture: a front cover
_SOFTWARE = f"lickwright {__version__}"


class Tags(NamedTuple):
    """What a player may show of a recording."""

    title: str
    by: str  # who wrote it: the artist and the composer
    rights: str
    tempo: str
    marks: Sequence[Cue]
    album: Album = Album()
    track: int = 0  # its number in the album, from 1; 0: none


class _Row(NamedTuple):
    """One value and its name in each format; "" where that has none."""

    id3: str
    vorbis: str
    riff: str
    text: str


def _rows(tags: Tags) -> list[_Row]:
    album = tags.album
    rows = [
        _Row("TIT2", "TITLE", "INAM", tags.title),
        _Row("TPE1", "ARTIST", "IART", tags.by),
        _Row("TCOM", "COMPOSER", "", tags.by),
        _Row("TALB", "ALBUM", "IPRD", album.title),
        _Row("TRCK", "TRACKNUMBER", "ITRK", str(tags.track or "")),
        _Row("TCON", "GENRE", "IGNR", album.genre),
        _Row("TDRC", "DATE", "ICRD", album.year),
        _Row("TCOP", "COPYRIGHT", "ICOP", tags.rights),
        _Row("TSSE", "SOFTWARE", "ISFT", _SOFTWARE),
        _Row("", "COMMENT", "ICMT", _comment(tags)),
    ]
    return [row._replace(text=_line(row.text)) for row in rows if row.text]


def _comment(tags: Tags) -> str:
    """Return the tempo and the times of the bars; of a ladder its rungs."""
    counted = [mark for mark in tags.marks if mark.name.endswith("count-in")]
    marks = counted if len(counted) > 1 else tags.marks
    places = "; ".join(f"{mark.name} at {mark.at:.3f} s" for mark in marks)
    if len(places) > _LONGEST:
        places = places[: places.rindex(";", 0, _LONGEST)]
    return f"{tags.tempo}; {places}"


def _line(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text)


# --- ID3v2.4.0, 2000, and its addendum for chapters, 2005 -------------------------------------------------------------


def id3_tag(tags: Tags, seconds: float) -> bytes:
    """Return a tag in UTF-8, with a chapter for each mark; the recording lasts `seconds`."""
    frames = b"".join(_frame(row.id3, b"\3" + row.text.encode()) for row in _rows(tags) if row.id3)
    frames += _frame("COMM", b"\3eng\0" + _line(_comment(tags)).encode())
    ends = [mark.at for mark in tags.marks[1:]] + [seconds]
    for n, (mark, end) in enumerate(zip(tags.marks, ends, strict=True)):
        times = struct.pack(">IIII", round(mark.at * 1000), round(end * 1000), 0xFFFFFFFF, 0xFFFFFFFF)
        frames += _frame("CHAP", b"c%d\0" % n + times + _frame("TIT2", b"\3" + _line(mark.name).encode()))
    if (cover := tags.album.cover) is not None:
        frames += _frame("APIC", b"\0" + cover.mime.encode() + bytes((0, _FRONT, 0)) + cover.data)
    return b"ID3\4\0\0" + _seven_bits(len(frames)) + frames


def _frame(name: str, payload: bytes) -> bytes:
    return name.encode() + _seven_bits(len(payload)) + b"\0\0" + payload


def _seven_bits(size: int) -> bytes:
    """Return a size in four bytes of seven bits."""
    return bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0))


# --- Vorbis comments, and the picture block of FLAC -------------------------------------------------------------------


def vorbis_comment(tags: Tags, embed: bool) -> bytes:
    """Return a Vorbis comment without the frame around it; with `embed` it holds the picture too, as Ogg has it."""
    texts = [f"{row.vorbis}={row.text}".encode() for row in _rows(tags) if row.vorbis]
    if embed and tags.album.cover is not None:
        from base64 import b64encode

        texts.append(b"METADATA_BLOCK_PICTURE=" + b64encode(flac_picture(tags.album.cover)))
    return _sized(_SOFTWARE.encode()) + struct.pack("<I", len(texts)) + b"".join(map(_sized, texts))


def _sized(text: bytes) -> bytes:
    return struct.pack("<I", len(text)) + text


def flac_picture(cover: Cover) -> bytes:
    """Return the body of a FLAC picture block; the number of colors is 0, which stands for no palette."""
    mime = cover.mime.encode()
    sizes = struct.pack(">IIIII", cover.width, cover.height, 24, 0, len(cover.data))
    return struct.pack(">II", _FRONT, len(mime)) + mime + struct.pack(">I", 0) + sizes + cover.data


# --- chunks of a RIFF file --------------------------------------------------------------------------------------------


def riff_info(tags: Tags) -> bytes:
    """Return the INFO list of a file, which stands before its samples."""
    said = b"".join(riff_chunk(row.riff.encode(), row.text.encode() + b"\0") for row in _rows(tags) if row.riff)
    return riff_chunk(b"LIST", b"INFO" + said)


def riff_trailer(tags: Tags, rate: int, seconds: float) -> Iterator[bytes]:
    """Yield the chunks behind the samples: a cue point and a label for each mark, and all tags once more as ID3, for players that read only that."""
    points = b"".join(
        struct.pack("<II4sIII", n, at, b"data", 0, 0, at)
        for n, at in enumerate((round(mark.at * rate) for mark in tags.marks), 1)
    )
    labels = b"".join(
        riff_chunk(b"labl", struct.pack("<I", n) + _line(mark.name).encode() + b"\0")
        for n, mark in enumerate(tags.marks, 1)
    )
    yield riff_chunk(b"cue ", struct.pack("<I", len(tags.marks)) + points)
    yield riff_chunk(b"LIST", b"adtl" + labels)
    yield riff_chunk(b"id3 ", id3_tag(tags, seconds))


def riff_chunk(name: bytes, payload: bytes) -> bytes:
    """Return a chunk, whose name has four letters, padded to an even length."""
    return name + struct.pack("<I", len(payload)) + payload + (b"\0" if len(payload) % 2 else b"")
