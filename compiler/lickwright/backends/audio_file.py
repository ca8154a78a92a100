"""Samples as an audio file, with what belongs to them written inside.

In: two channels, a piece at a time, a format, tags. Out: the file, the same bytes each time. soundfile (libsndfile)
does the encoding; what it cannot do is added here: the cue points of a WAV file, the tags of an MP3 file in any alphabet, an Ogg stream that
carries no number by chance.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from io import SEEK_END, SEEK_SET
from typing import BinaryIO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.interrupts import unheard
from lickwright.synth.take import Mark
from lickwright.version import __version__

# Format of `--format`: how libsndfile calls container and coding, and its settings.
_KINDS: dict[str, tuple[str, str, dict[str, object]]] = {
    "wav": ("WAV", "PCM_16", {}),
    "flac": ("FLAC", "PCM_16", {}),
    "mp3": ("MP3", "MPEG_LAYER_III", {"bitrate_mode": "VARIABLE", "compression_level": 0.3}),
    "ogg": ("OGG", "VORBIS", {"compression_level": 0.4}),
}
_LONGEST = 4000  # characters of the comment with the bars


class Tags(NamedTuple):
    """What a player may show."""

    title: str
    by: str
    rights: str
    tempo: str
    marks: Sequence[Mark]


def encode(file: BinaryIO, pieces: Iterable[NDArray[np.float32]], count: int, rate: int, kind: str, tags: Tags) -> None:
    """Writes a recording of `count` samples into `file`, which is empty and can be sought in.

    `pieces` are its samples, shape (2, n) each, at `rate` samples a second. Raises what `pieces` and `file` raise.
    """
    import soundfile

    container, coding, settings = _KINDS[kind]
    called = _Called(file, file.write(_id3(tags, count / rate)) if kind == "mp3" else 0)
    with called.back():
        out = soundfile.SoundFile(called, "w", rate, 2, coding, format=container, **settings)
    try:
        if kind != "mp3":
            for name, text in _texts(tags).items():
                if text:
                    setattr(out, name, text)
        for piece in pieces:
            frames = piece.T
            with called.back():
                out.write(np.rint(frames * 32767).astype(np.int16) if coding == "PCM_16" else frames)
    finally:
        with called.back():
            out.close()
    if kind == "wav":
        _add_cues(file, rate, tags.marks)
    elif kind == "ogg":
        _number(file)


class _Called:
    """A file from byte `begin` on, as libsndfile calls back to it: it is told that nothing was done where something goes wrong."""

    def __init__(self, file: BinaryIO, begin: int) -> None:
        self._file, self._begin = file, begin
        self._error: BaseException | None = None  # what went wrong first

    @contextmanager
    def back(self) -> Iterator[None]:
        """For what calls back: raises afterwards what went wrong in a call, which C could not hand on."""
        with unheard():
            try:
                yield
            except Exception:
                if self._error is None:
                    raise
        if self._error is not None:
            raise self._error

    def tell(self) -> int:
        return self._tried(self._file.tell) - self._begin

    def seek(self, offset: int, whence: int = SEEK_SET) -> int:
        return self._tried(lambda: self._file.seek(offset + (0 if whence else self._begin), whence)) - self._begin

    def readinto(self, buffer: object) -> int:
        return self._tried(lambda: self._file.readinto(buffer))  # type: ignore[attr-defined]

    def write(self, data: bytes) -> int:
        return self._tried(lambda: self._file.write(data))

    def _tried(self, work: Callable[[], int]) -> int:
        try:
            return work() if self._error is None else 0
        except Exception as e:
            self._error = e
            return 0


def _texts(tags: Tags) -> dict[str, str]:
    counted = [mark for mark in tags.marks if mark.name.endswith("count-in")]
    marks = counted if len(counted) > 1 else tags.marks  # of a ladder its rungs
    places = "; ".join(f"{mark.name} at {mark.at:.3f} s" for mark in marks)
    if len(places) > _LONGEST:
        places = places[: places.rindex(";", 0, _LONGEST)]
    return {
        "title": _line(tags.title),
        "artist": _line(tags.by),
        "copyright": _line(tags.rights),
        "comment": _line(f"{tags.tempo}; {places}"),
        "software": f"lickwright {__version__}",
    }


def _line(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text)


# --- cue points of a WAV file (Multimedia Programming Interface and Data Specifications 1.0, 1991) --------------------


def _add_cues(file: BinaryIO, rate: int, marks: Sequence[Mark]) -> None:
    """Puts a cue point and a label for each mark behind the samples of the file."""
    points = b"".join(
        struct.pack("<II4sIII", n, at, b"data", 0, 0, at) for n, at in enumerate((round(m.at * rate) for m in marks), 1)
    )
    labels = b"".join(
        _chunk(b"labl", struct.pack("<I", n) + _line(m.name).encode() + b"\0") for n, m in enumerate(marks, 1)
    )
    added = _chunk(b"cue ", struct.pack("<I", len(marks)) + points) + _chunk(b"LIST", b"adtl" + labels)
    size = file.seek(0, SEEK_END)
    file.write((b"\0" if size % 2 else b"") + added)
    whole = file.tell()
    file.seek(4)
    file.write(struct.pack("<I", whole - 8))


def _chunk(name: bytes, payload: bytes) -> bytes:
    return name + struct.pack("<I", len(payload)) + payload + (b"\0" if len(payload) % 2 else b"")


# --- tags of an MP3 file (ID3v2.4.0, and its addendum for chapters) --------------------------------------------------


def _id3(tags: Tags, seconds: float) -> bytes:
    """A tag in UTF-8, a chapter for each mark. libsndfile would write UTF-8 and call it Latin-1."""
    texts = _texts(tags)
    frames = b"".join(
        _frame(name, b"\3" + texts[text].encode())
        for name, text in ((b"TIT2", "title"), (b"TPE1", "artist"), (b"TCOP", "copyright"), (b"TSSE", "software"))
        if texts[text]
    )
    frames += _frame(b"COMM", b"\3eng\0" + texts["comment"].encode())
    ends = [mark.at for mark in tags.marks[1:]] + [seconds]
    for n, (mark, end) in enumerate(zip(tags.marks, ends, strict=True)):
        times = struct.pack(">IIII", round(mark.at * 1000), round(end * 1000), 0xFFFFFFFF, 0xFFFFFFFF)
        frames += _frame(b"CHAP", b"c%d\0" % n + times + _frame(b"TIT2", b"\3" + _line(mark.name).encode()))
    return b"ID3\4\0\0" + _seven_bits(len(frames)) + frames


def _frame(name: bytes, payload: bytes) -> bytes:
    return name + _seven_bits(len(payload)) + b"\0\0" + payload


def _seven_bits(size: int) -> bytes:
    """A size in four bytes of seven bits."""
    return bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0))


# --- Ogg pages (RFC 3533) ---------------------------------------------------------------------------------------------

_SERIAL = struct.pack("<I", 1)
_MIRRORED = bytes(int(f"{n:08b}"[::-1], 2) for n in range(256))


def _number(file: BinaryIO) -> None:
    """Puts the serial number 1 on every page instead of one by chance, and the checksum that goes with it."""
    at = 0
    file.seek(0)
    while head := file.read(27):
        lengths = file.read(head[26])
        page = head[:14] + _SERIAL + head[18:22] + b"\0\0\0\0" + head[26:] + lengths + file.read(sum(lengths))
        file.seek(at)
        file.write(page[:22] + struct.pack("<I", _checksum(page)) + page[26:])
        at += len(page)
        file.seek(at)


def _checksum(page: bytes) -> int:
    """Ogg's CRC, highest bit first from 0: zlib's, which goes the other way, of the mirrored bytes, mirrored."""
    mirrored = zlib.crc32(page.translate(_MIRRORED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int(f"{mirrored:032b}"[::-1], 2)
