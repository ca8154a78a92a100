"""Read a recording from a file, whatever is in it.

In: a path, or a file that is open. Out: a `Recording`, and what there is to say about the reading. A file is read in blocks, and what its header claims is
never believed further than what is in it. Wants soundfile, of the extra `lickwright[audio]`.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from errno import EIO
from io import BytesIO
from typing import BinaryIO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import UNREADABLE
from lickwright.core.interrupts import defer_interrupts
from lickwright.core.source import Span
from lickwright.listen.recording import FASTEST, LONGEST, SLOWEST, Recording, resample_recording
from lickwright.listen.silenced_decoder import silenced_decoder

_BLOCK = 1 << 17  # samples of all channels that are read together
_MOST_CHANNELS = 8
_LEAST = 0.2  # seconds
_FULL, _CUT = 0.9995, 0.005  # level of a sample that is cut off, and the share of such samples from which on it is said
_SYSTEM_ERROR = 2  # of libsndfile: SF_ERR_SYSTEM
_WANTED = "a recording as WAV, FLAC, MP3 or Ogg is needed"


class UnreadableRecording(Exception):
    """A file that is no recording; `finding` says why and what would be right."""

    def __init__(self, message: str, hint: str = _WANTED) -> None:
        super().__init__(message)
        self.finding: Diagnostic = UNREADABLE.at(Span(0, 0), message, hint)


class ReadRecording(NamedTuple):
    """A recording, and what was noticed while it was read."""

    recording: Recording
    notes: tuple[str, ...]  # in words


def read_recording(path: str) -> ReadRecording:
    """Return the recording in a file. Raises UnreadableRecording."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as e:
        raise UnreadableRecording(
            f"the recording cannot be read: {error_reason(e)}", "check the name of the file"
        ) from None
    mode = os.fstat(handle).st_mode
    if not stat.S_ISREG(mode):
        os.close(handle)
        if stat.S_ISDIR(mode):
            raise UnreadableRecording("this is a folder", "name one recording in it; --licks is for a folder of them")
        raise UnreadableRecording("this is no ordinary file", f"name {_WANTED.removesuffix(' is needed')}")
    with os.fdopen(handle, "rb") as file:
        return decode_recording(file)


def decode_recording(file: BinaryIO) -> ReadRecording:
    """Return the recording in an open file that can be sought in. Raises UnreadableRecording."""
    import soundfile

    file.seek(0, os.SEEK_END)
    if not file.tell():
        raise UnreadableRecording("the file is empty")
    file.seek(0)
    watched = _Watched(file)
    try:
        with silenced_decoder(), _opened(watched) as sound:
            return _decode(sound, watched)
    except (soundfile.LibsndfileError, RuntimeError, TypeError, OSError) as e:
        if _is_of_the_disk(e):
            raise UnreadableRecording("the recording cannot be read: the disk gave an error", "try again") from None
        if kind := _other_kind(file):
            raise UnreadableRecording(f"this is {kind}, which cannot be read here", _EXPORT) from None
        raise UnreadableRecording(f"this is not a recording that can be read: {_short(e)}") from None


_EXPORT = "export it as WAV, MP3 or FLAC where it was recorded, and name that file"
# What telephones and browsers record, and libsndfile does not read: where its first bytes have which ones.
_OTHER_KINDS = (
    (4, b"ftyp", "an M4A or MP4 recording"), (0, b"\x1aE\xdf\xa3", "a WebM recording"), (0, b"#!AMR", "an AMR recording"),
    (0, b"\x30\x26\xb2\x75", "a WMA recording"), (0, b"\xff\xf1", "an AAC recording"), (0, b"\xff\xf9", "an AAC recording"),
)  # fmt: skip


def _other_kind(file: BinaryIO) -> str:
    """Return what a file is by its first bytes, where it is a recording that cannot be read here; else ""."""
    try:
        file.seek(0)
        first = file.read(16)
    except OSError:
        return ""
    return next((kind for at, mark, kind in _OTHER_KINDS if first[at:].startswith(mark)), "")


class _Watched:
    """An open file as libsndfile reads it, by callbacks.

    In a callback an exception is lost and looks like the end of the file, so it is kept until libsndfile returns. From then on the file is at its end:
    where a header goes on in a part that the disk does not read, libsndfile would look for what comes next without end.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._size = file.seek(0, os.SEEK_END)
        self._error: BaseException | None = None
        file.seek(0)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Let libsndfile read. Raises what was raised in a callback; an interrupt comes at the end."""
        with defer_interrupts():
            try:
                yield
            finally:
                if self._error is not None:
                    raise self._error

    def readinto(self, into: object) -> int:
        """Fill a buffer; return the number of bytes, 0 at the end and after an error."""
        room, count = memoryview(into), 0  # type: ignore[arg-type]
        try:
            while self._error is None and count < len(room):
                part = self._file.readinto(room[count:])  # type: ignore[attr-defined]
                if not part:
                    break
                count += part
        except BaseException as e:
            self._error = e
        return count

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place; return it. After an error it is the end."""
        return self._size if self._error is not None else self._file.seek(offset, whence)

    def tell(self) -> int:
        """Return the place; after an error, the end."""
        return self._size if self._error is not None else self._file.tell()


@contextmanager
def _opened(watched: _Watched) -> Iterator[object]:
    import soundfile

    with watched.reading():
        sound = soundfile.SoundFile(watched, closefd=False)
    with sound:
        yield sound


def _is_of_the_disk(error: Exception) -> bool:
    return getattr(error, "code", None) == _SYSTEM_ERROR or getattr(error, "errno", None) == EIO


def encode_recording(samples: NDArray[np.float32], rate: int) -> bytes:
    """Return samples, shape (n, channels), as the bytes of a WAV file of 24 bits."""
    import soundfile

    file = BytesIO()
    soundfile.write(file, samples, rate, format="WAV", subtype="PCM_24")
    return file.getvalue()


def _short(error: Exception) -> str:
    words = str(getattr(error, "error_string", "") or error)
    return (words.splitlines() or ["no reason is known"])[0].rstrip(".")[:100].lower()


def count_full(block: NDArray[np.float32]) -> int:
    """Return how many samples are at the highest level that there is."""
    return int(np.count_nonzero(np.abs(block) >= _FULL))


def level_notes(full: int, samples: int) -> tuple[str, ...]:
    """Return in words what is wrong with the level of a recording, of which so many samples of all are at the highest level."""
    words = (
        "the recording is too loud and its peaks are cut off: turn it down next time, or move away from the microphone"
    )
    return (words,) if full > _CUT * samples else ()


class _Blocks:
    """The blocks of a sound file, up to the longest recording; remembers where a damaged file ended."""

    def __init__(self, sound: object, watched: _Watched) -> None:
        self._sound, self._watched = sound, watched
        self.frames = 0
        self.full = 0  # samples of all channels at the highest level that there is
        self.damage = ""

    def __iter__(self) -> Iterator[NDArray[np.float32]]:
        import soundfile

        sound = self._sound
        assert isinstance(sound, soundfile.SoundFile)
        count = max(256, _BLOCK // sound.channels)
        while self.frames < (LONGEST + 10) * sound.samplerate and not self.damage:
            block = np.full((count, sound.channels), np.nan, np.float32)
            try:
                with self._watched.reading():
                    block = sound.read(count, always_2d=True, out=block)
            except (soundfile.LibsndfileError, RuntimeError) as e:
                if _is_of_the_disk(e):
                    raise
                self.damage = _short(e)
                block = _filled_rows(block)  # what was decoded before the damage is there
            if not len(block):
                return
            self.frames += len(block)
            self.full += count_full(block)
            yield block


def _filled_rows(block: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the rows of a block up to the last one that is a number."""
    filled = np.flatnonzero(~np.isnan(block).all(axis=1))
    return block[: filled[-1] + 1] if len(filled) else block[:0]


def _decode(sound: object, watched: _Watched) -> ReadRecording:
    import soundfile

    assert isinstance(sound, soundfile.SoundFile)
    if not SLOWEST <= sound.samplerate <= FASTEST:
        raise UnreadableRecording(
            f"it has {sound.samplerate:,} samples a second", f"from {SLOWEST:,} to {FASTEST:,} can be listened to"
        )
    if sound.channels > _MOST_CHANNELS:
        raise UnreadableRecording(f"it has {sound.channels} channels", "mono or stereo is needed")
    blocks = _Blocks(sound, watched)
    recording = resample_recording(blocks, sound.samplerate)
    seconds = blocks.frames / sound.samplerate
    if seconds < _LEAST:
        why = f": {blocks.damage}" if blocks.damage else ""
        length = f"only {seconds:.2f} seconds of" if seconds else "no"
        raise UnreadableRecording(f"there is {length} sound in it{why}", "record the whole lick")
    notes = []
    claimed = min(sound.frames / sound.samplerate, float(LONGEST))
    if blocks.damage:
        notes.append(f"the file is damaged after {seconds:.0f} seconds: only what is before that was heard")
    elif claimed > 1.02 * seconds + _LEAST:
        notes.append(f"the file should last {claimed:.0f} seconds, and only {seconds:.0f} can be read: it was cut off")
    notes += level_notes(blocks.full, blocks.frames * sound.channels)
    if seconds > LONGEST + 1:
        notes.append(f"only the first {LONGEST // 60} minutes were heard")
    return ReadRecording(recording, tuple(notes))
