"""Encoding of samples as an audio file with tags.

In: two channels, a piece at a time, a format, tags. Out: the file, the same bytes each time. soundfile (libsndfile) encodes the bare sound,
but for a WAV file, which needs no coding and no library that takes long to load; the tags of `tags.py` are put round it here. So a file of
which only the words change gets other tags round the same sound, byte for byte what a new recording would be.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from io import SEEK_CUR, SEEK_END, SEEK_SET
from typing import BinaryIO, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from lickwright.core.interrupts import defer_interrupts
from lickwright.export.audio.ogg import replace_comment
from lickwright.export.audio.tags import Tags, flac_picture, id3_tag, riff_info, riff_trailer, vorbis_comment

# Format of `--format`, but WAV: how libsndfile calls container and coding, and its settings.
_KINDS: dict[str, tuple[str, str, dict[str, object]]] = {
    "flac": ("FLAC", "PCM_16", {}),
    "mp3": ("MP3", "MPEG_LAYER_III", {"bitrate_mode": "VARIABLE", "compression_level": 0.3}),
    "ogg": ("OGG", "VORBIS", {"compression_level": 0.4}),
}
_WAV_HEAD = struct.Struct("<4sI4s4sIHHIIHH4sI")
_PIECE = 1 << 20  # bytes copied at once
_STREAMINFO, _SEEKTABLE, _COMMENT, _PICTURE = 0, 3, 4, 6  # blocks of a FLAC file


class SoundFormat(NamedTuple):
    """What a file is beside its tags: its format, and how much sound it holds."""

    kind: str  # one of `_WRITERS`
    samples: int  # of each channel
    rate: int  # samples a second


def write_audio(
    file: BinaryIO, scratch: BinaryIO, pieces: Iterable[NDArray[np.float32]], form: SoundFormat, tags: Tags
) -> None:
    """Write a recording into `file`, which is empty; its bare sound is put behind what is in `scratch`.

    `pieces` are its samples, shape (2, n) each. Raises what `pieces` and both files raise.
    """
    write_tagged(file, encode_sound(scratch, pieces, form), form, tags)


def encode_sound(file: BinaryIO, pieces: Iterable[NDArray[np.float32]], form: SoundFormat) -> BinaryIO:
    """Write the bare sound of a recording behind what is in `file`, and return that part as a file of its own.

    `pieces` are its samples, shape (2, n) each. Raises what `pieces` and `file` raise.
    """
    called = _Called(file)
    if form.kind == "wav":
        _encode_wav(called, pieces, form)
        return cast(BinaryIO, called)
    import soundfile

    container, coding, settings = _KINDS[form.kind]
    with called.back():
        out = soundfile.SoundFile(called, "w", form.rate, 2, coding, format=container, **settings)
    try:
        for piece in pieces:
            frames = piece.T
            with called.back():
                out.write(_whole_samples(frames) if coding == "PCM_16" else frames)
    finally:
        with called.back():
            out.close()
    return cast(BinaryIO, called)


def _encode_wav(called: _Called, pieces: Iterable[NDArray[np.float32]], form: SoundFormat) -> None:
    """Write a WAV file without tags (IBM and Microsoft 1991): whole samples of 16 bits, of both channels in turn."""
    size = 0
    with called.back():
        called.write(bytes(_WAV_HEAD.size))
    for piece in pieces:
        data = _whole_samples(piece.T).tobytes()
        size += len(data)
        with called.back():
            called.write(data)
    frame = 4  # bytes
    head = (b"RIFF", _WAV_HEAD.size - 8 + size, b"WAVE", b"fmt ", 16, 1, 2, form.rate, frame * form.rate, frame, 16)
    with called.back():
        called.seek(0)
        called.write(_WAV_HEAD.pack(*head, b"data", size))


def _whole_samples(frames: NDArray[np.float32]) -> NDArray[np.int16]:
    return np.rint(frames * 32767).astype("<i2")


def write_tagged(file: BinaryIO, sound: BinaryIO, form: SoundFormat, tags: Tags) -> None:
    """Write the sound of `sound`, a file of this form with other tags or none, with `tags` into `file`, which is empty.

    Raises ValueError where `sound` is no such file, and what both files raise.
    """
    for part in _WRITERS[form.kind](sound, form, tags):
        file.write(part)
    if form.kind == "wav":
        whole = file.tell()
        file.seek(4)
        file.write(struct.pack("<I", whole - 8))


def _wav(sound: BinaryIO, form: SoundFormat, tags: Tags) -> Iterator[bytes]:
    chunks = dict(_chunks(sound))
    if not {b"fmt ", b"data"} <= chunks.keys():
        raise ValueError("no samples in the file")
    yield b"RIFF\0\0\0\0WAVE"
    yield from _chunk(sound, b"fmt ", *chunks[b"fmt "])
    yield riff_info(tags)
    yield from _chunk(sound, b"data", *chunks[b"data"])
    yield from riff_trailer(tags, form.rate, form.samples / form.rate)


def _chunks(sound: BinaryIO) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """Yield name, place and size of each chunk of a WAV file. Raises ValueError for another file."""
    sound.seek(0)
    head = sound.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"WAVE":
        raise ValueError("no WAV file")
    at, end = 12, sound.seek(0, SEEK_END)
    while at + 8 <= end:
        sound.seek(at)
        name, size = struct.unpack("<4sI", sound.read(8))
        if at + 8 + size > end:
            raise ValueError("the file ends within a chunk")
        yield name, (at + 8, size)
        at += 8 + size + size % 2


def _chunk(sound: BinaryIO, name: bytes, at: int, size: int) -> Iterator[bytes]:
    yield name + struct.pack("<I", size)
    yield from _rest(sound, at, at + size)
    if size % 2:
        yield b"\0"


def _flac(sound: BinaryIO, form: SoundFormat, tags: Tags) -> Iterator[bytes]:
    sound.seek(0)
    if sound.read(4) != b"fLaC":
        raise ValueError("no FLAC file")
    kept: list[tuple[int, bytes]] = []
    last = False
    while not last:
        head = sound.read(4)
        if len(head) < 4:
            raise ValueError("the file ends within its header")
        last, kind = head[0] >= 0x80, head[0] & 0x7F
        size = int.from_bytes(head[1:], "big")
        if kind in (_STREAMINFO, _SEEKTABLE):
            kept.append((kind, sound.read(size)))
        else:
            sound.seek(size, SEEK_CUR)
    at = sound.tell()
    if not kept or kept[0][0] != _STREAMINFO:
        raise ValueError("no FLAC file")
    kept.append((_COMMENT, vorbis_comment(tags, embed=False)))
    if tags.album.cover is not None:
        kept.append((_PICTURE, flac_picture(tags.album.cover)))
    yield b"fLaC"
    for n, (kind, body) in enumerate(kept, 1):
        yield bytes((kind | 0x80 * (n == len(kept)),)) + len(body).to_bytes(3, "big") + body
    yield from _rest(sound, at)


def _mp3(sound: BinaryIO, form: SoundFormat, tags: Tags) -> Iterator[bytes]:
    sound.seek(0)
    head, at = sound.read(10), 0
    if head[:3] == b"ID3":
        at = 10 + sum(byte << shift for byte, shift in zip(head[6:], (21, 14, 7, 0), strict=True))
    sound.seek(at)
    if sound.read(1) != b"\xff":
        raise ValueError("no MP3 file")
    yield id3_tag(tags, form.samples / form.rate)
    yield from _rest(sound, at)


def _ogg(sound: BinaryIO, form: SoundFormat, tags: Tags) -> Iterator[bytes]:
    return replace_comment(sound, vorbis_comment(tags, embed=True))


_WRITERS = {"wav": _wav, "flac": _flac, "mp3": _mp3, "ogg": _ogg}


def _rest(sound: BinaryIO, start: int, stop: int | None = None) -> Iterator[bytes]:
    """Yield a part of a file, a piece at a time."""
    sound.seek(start)
    left = _PIECE if stop is None else stop - start
    while part := sound.read(min(_PIECE, left)):
        yield part
        left -= 0 if stop is None else len(part)


class _Called:
    """The end of a file, from where it ends now, as a file of its own that libsndfile calls back to.

    It keeps its own place, since others read in the same file meanwhile. An error is kept until the call from C has returned.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._begin, self._at = file, file.seek(0, SEEK_END), 0
        self._error: Exception | None = None  # what went wrong first

    @contextmanager
    def back(self) -> Iterator[None]:
        """Run calls of libsndfile, and raise afterwards what went wrong in a call back, which C cannot hand on."""
        with defer_interrupts():
            try:
                yield
            except Exception:
                if self._error is None:
                    raise
        if self._error is not None:
            raise self._error

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = SEEK_SET) -> int:
        if self._error is None:
            try:
                end = self._file.seek(0, SEEK_END) - self._begin if whence == SEEK_END else 0
                self._at = max(0, offset + (end if whence == SEEK_END else self._at if whence == SEEK_CUR else 0))
            except Exception as e:
                self._error = e
        return self._at

    def read(self, size: int = -1) -> bytes:
        """Return up to `size` bytes. Raises what the file raises."""
        self._file.seek(self._begin + self._at)
        data = self._file.read(size)
        self._at += len(data)
        return data

    def readinto(self, buffer: object) -> int:
        if self._error is None:
            try:
                self._file.seek(self._begin + self._at)
                count: int = self._file.readinto(buffer)  # type: ignore[attr-defined]
                self._at += count
                return count
            except Exception as e:
                self._error = e
        return 0

    def write(self, data: bytes) -> int:
        if self._error is None:
            try:
                self._file.seek(self._begin + self._at)
                count = self._file.write(data)
                self._at += count
                return count
            except Exception as e:
                self._error = e
        return 0
