"""Files that somebody calls a recording: whatever is in one, there is a recording or one clear line, in bounded time and memory, and nothing is left open."""

from __future__ import annotations

import io
import json
import os
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple

import numpy as np
import pytest
import soundfile

from lickwright.listen.recording import RATE as HEARD
from lickwright.listen.silenced_decoder import silenced_decoder
from lickwright.listen.sound_file import UnreadableRecording, decode_recording, read_recording
from shares import every_nth

RATE = 8_000
CALLS = 1_000_000  # of functions, that reading one file may make; a decoder that looks for a frame in 100 kB makes a quarter of it
ROOM = 384 << 20  # bytes of address space that reading may take besides what the process has

WAVE = (0.3 * np.sin(np.arange(2 * RATE) * 0.2) + 0.01 * np.random.default_rng(3).standard_normal(2 * RATE)).astype(
    np.float32
)


def encoded(kind: str, subtype: str | None = None, wave: np.ndarray = WAVE, rate: int = RATE) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, wave, rate, format=kind, subtype=subtype)
    return file.getvalue()


def chunk(name: bytes, data: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(data) if size is None else size) + data + b"\0" * (len(data) % 2)


def form(rate: int = RATE, channels: int = 1, bits: int = 16, tag: int = 1) -> bytes:
    block = channels * bits // 8
    return struct.pack("<HHIIHH", tag, channels, rate, rate * block & 0xFFFFFFFF, block & 0xFFFF, bits)


def riff(*chunks: bytes, size: int | None = None, name: bytes = b"RIFF") -> bytes:
    data = b"WAVE" + b"".join(chunks)
    return name + struct.pack("<I", len(data) if size is None else size) + data


PCM = (20_000 * WAVE).astype("<i2").tobytes()
SOUND = chunk(b"data", PCM)
NESTED = b"x"
for _ in range(2_000):
    NESTED = chunk(b"LIST", b"INFO" + NESTED)[: 1 << 16]

# What may be read, and what may not: None where both are fair.
READ, REFUSED, EITHER = True, False, None


class Case(NamedTuple):
    """A file, and whether there is a recording in it."""

    data: bytes
    good: bool | None


CASES: dict[str, Case] = {
    "good": Case(riff(chunk(b"fmt ", form()), SOUND), READ),
    "24 bits": Case(encoded("WAV", "PCM_24"), READ),
    "32 bits": Case(encoded("WAV", "PCM_32"), READ),
    "8 bits": Case(encoded("WAV", "PCM_U8"), READ),
    "doubles": Case(encoded("WAV", "DOUBLE"), READ),
    "mu-law": Case(encoded("WAV", "ULAW"), READ),
    "adpcm": Case(encoded("WAV", "MS_ADPCM"), READ),
    "RF64": Case(encoded("RF64"), READ),
    "W64": Case(encoded("W64"), READ),
    "AIFF": Case(encoded("AIFF"), READ),
    "CAF": Case(encoded("CAF"), READ),
    "AU": Case(encoded("AU"), READ),
    "Opus": Case(encoded("OGG", "OPUS"), READ),
    "all zero": Case(encoded("WAV", None, np.zeros(RATE, np.float32)), READ),
    "no numbers": Case(encoded("WAV", "FLOAT", np.full(RATE, np.nan, np.float32)), READ),
    "infinite": Case(encoded("WAV", "FLOAT", np.full(RATE, np.inf, np.float32)), READ),
    "some no numbers": Case(encoded("WAV", "FLOAT", np.where(np.arange(RATE) % 7, np.nan, 0.1).astype(np.float32)), READ),
    "out of all bounds": Case(encoded("WAV", "DOUBLE", np.full(RATE, 1e300)), READ),
    "denormal": Case(encoded("WAV", "DOUBLE", np.full(RATE, 5e-324)), READ),
    "two that cancel": Case(encoded("WAV", None, np.stack([WAVE, -WAVE], 1)), READ),
    "8 channels": Case(encoded("WAV", None, np.repeat(WAVE[:, None], 8, 1)), READ),
    "9 channels": Case(encoded("WAV", None, np.repeat(WAVE[:, None], 9, 1)), REFUSED),
    "1,000 channels": Case(encoded("WAV", None, np.zeros((RATE, 1_000), np.float32)), REFUSED),
    "65,535 channels": Case(riff(chunk(b"fmt ", form(channels=65_535)), SOUND), REFUSED),
    "no channel": Case(riff(chunk(b"fmt ", form(channels=0)), SOUND), REFUSED),
    "rate 0": Case(riff(chunk(b"fmt ", form(rate=0)), SOUND), REFUSED),
    "rate 1": Case(riff(chunk(b"fmt ", form(rate=1)), SOUND), REFUSED),
    "rate 4,294,967,295": Case(riff(chunk(b"fmt ", form(rate=0xFFFFFFFF)), SOUND), REFUSED),
    "rate 2,147,483,647": Case(riff(chunk(b"fmt ", form(rate=0x7FFFFFFF)), SOUND), REFUSED),
    "no bits": Case(riff(chunk(b"fmt ", form(bits=0)), SOUND), EITHER),
    "13 bits": Case(riff(chunk(b"fmt ", form(bits=13)), SOUND), EITHER),
    "65,535 bits": Case(riff(chunk(b"fmt ", form(bits=65_535)), SOUND), REFUSED),
    "an unknown coding": Case(riff(chunk(b"fmt ", form(tag=0x7A7A)), SOUND), REFUSED),
    "MP3 in WAV": Case(riff(chunk(b"fmt ", form(tag=0x55) + bytes(14)), SOUND), EITHER),
    "no fmt": Case(riff(SOUND), REFUSED),
    "half a fmt": Case(riff(chunk(b"fmt ", form()[:7]), SOUND), REFUSED),
    "a fmt of 4 GB": Case(riff(chunk(b"fmt ", form(), 0xFFFFFFFF), SOUND), REFUSED),
    "no data": Case(riff(chunk(b"fmt ", form())), REFUSED),
    "empty data": Case(riff(chunk(b"fmt ", form()), chunk(b"data", b"")), REFUSED),
    "empty data, and more after it": Case(riff(chunk(b"fmt ", form()), chunk(b"data", b""), SOUND), EITHER),
    "data of 4 GB": Case(riff(chunk(b"fmt ", form()), chunk(b"data", PCM, 0xFFFFFFFF)), READ),
    "data of 2 GB": Case(riff(chunk(b"fmt ", form()), chunk(b"data", PCM, 0x7FFFFFFF)), READ),
    "data of 0 said": Case(riff(chunk(b"fmt ", form()), chunk(b"data", PCM, 0)), EITHER),
    "an odd size": Case(riff(chunk(b"fmt ", form()), chunk(b"data", PCM, len(PCM) - 3)), READ),
    "a RIFF of 0": Case(riff(chunk(b"fmt ", form()), SOUND, size=0), EITHER),
    "a RIFF of 4 GB": Case(riff(chunk(b"fmt ", form()), SOUND, size=0xFFFFFFFF), READ),
    "RIFX": Case(riff(chunk(b"fmt ", form()), SOUND, name=b"RIFX"), REFUSED),
    "RF64 without ds64": Case(riff(chunk(b"fmt ", form()), SOUND, size=0xFFFFFFFF, name=b"RF64"), EITHER),
    "RF64 of many exabytes": Case(
        riff(chunk(b"ds64", b"\xff" * 24 + bytes(4)), chunk(b"fmt ", form()), chunk(b"data", PCM, 0xFFFFFFFF), size=0xFFFFFFFF, name=b"RF64"),
        EITHER,
    ),
    "nested lists": Case(riff(chunk(b"fmt ", form()), chunk(b"LIST", NESTED), SOUND), READ),
    "a list without end": Case(riff(chunk(b"fmt ", form()), chunk(b"LIST", b"INFO" * 10, 0xFFFFFFF0), SOUND), EITHER),
    "100,000 chunks": Case(riff(chunk(b"fmt ", form()), chunk(b"junk", b"") * 100_000, SOUND), EITHER),
    "100,000 cues": Case(riff(chunk(b"fmt ", form()), chunk(b"cue ", struct.pack("<I", 0xFFFFFFFF) + bytes(2_400)), SOUND), EITHER),
    "a sampler chunk": Case(riff(chunk(b"fmt ", form()), chunk(b"smpl", b"\xff" * 36), SOUND), EITHER),
    "a broadcast chunk": Case(riff(chunk(b"fmt ", form()), chunk(b"bext", b"\xff" * 40, 0x7FFFFFFF), SOUND), EITHER),
    "two fmts": Case(riff(chunk(b"fmt ", form()), chunk(b"fmt ", form(channels=600)), SOUND), EITHER),
    "FLAC alone": Case(b"fLaC", REFUSED),
    "FLAC with a picture of 16 MB said": Case(b"fLaC" + b"\x06\xff\xff\xff" + encoded("FLAC")[4:], REFUSED),
    "FLAC of other channels": Case(encoded("FLAC")[:20] + b"\xff" * 8 + encoded("FLAC")[28:], REFUSED),
    "Ogg alone": Case(b"OggS" + bytes(100), REFUSED),
    "Ogg twice": Case(encoded("OGG") * 2, EITHER),
    "Ogg backwards": Case(encoded("OGG")[::-1], REFUSED),
    "an ID3 tag without end": Case(b"ID3\x03\x00\x00\x7f\x7f\x7f\x7f" + encoded("MP3"), EITHER),
    "1,000 MP3 headers": Case(b"\xff\xfb\x90\x64" * 1_000, EITHER),
    "an AIFF of 4 GB": Case(b"FORM\xff\xff\xff\xffAIFF" + encoded("AIFF")[12:], EITHER),
    "an AIFF with an infinite rate": Case(
        b"FORM" + struct.pack(">I", 46 + len(PCM)) + b"AIFFCOMM" + struct.pack(">IhIh", 18, 1, len(PCM) // 2, 16) + b"\x7f\xff" + b"\xff" * 8
        + b"SSND" + struct.pack(">III", 8 + len(PCM), 0, 0) + PCM, REFUSED,
    ),
    "raw noise": Case(np.random.default_rng(1).bytes(50_000), EITHER),
    "nothing": Case(b"", REFUSED),
    "a letter": Case(b"Dear teacher, I could not record it today.\n" * 50, REFUSED),
}  # fmt: skip


def truncated(every: int) -> Iterator[tuple[str, bytes]]:
    """Each format cut off at `every` so many kilobytes."""
    for kind, subtype in (
        ("WAV", None),
        ("FLAC", None),
        ("OGG", None),
        ("MP3", None),
        ("AIFF", None),
        ("WAV", "PCM_24"),
        ("CAF", None),
    ):
        data = encoded(kind, subtype)
        for end in range(0, len(data), 1_024 * every):
            yield f"{kind} {subtype} {end}", data[:end]


# Reads every file of a folder with little room, and prints what became of each.
CHILD = """
import cProfile, json, os, resource, sys
from lickwright.listen.sound_file import UnreadableRecording, read_recording
import soundfile, lickwright.core.digest
def descriptors():
    return len(os.listdir("/proc/self/fd"))
def had():
    return next(int(line.split()[1]) * 1024 for line in open("/proc/self/status") if line.startswith("VmSize"))
room = had() + int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_AS, (room, room))
found = {}
before = descriptors()
for name in sorted(os.listdir(sys.argv[1])):
    profile = cProfile.Profile()
    try:
        read = profile.runcall(read_recording, os.path.join(sys.argv[1], name))
        said = [read.recording.seconds, *read.notes]
    except UnreadableRecording as e:
        said = [0, str(e)]
    found[name] = {"said": said, "calls": sum(entry.callcount for entry in profile.getstats())}
print(json.dumps({"found": found, "left": descriptors() - before}))
"""


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="counts open files by /proc")
@every_nth(15)
def test_whatever_is_in_a_file_is_read_or_refused_in_one_line(tmp_path: Path, every: int) -> None:
    files = {f"case {name}".replace("/", "-"): case.data for name, case in CASES.items()}
    files |= {f"cut {name}": data for name, data in truncated(every)}
    assert len(files) > 200 // every
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(tmp_path), str(ROOM)], capture_output=True, text=True, timeout=300, check=False
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2_000:]
    assert done.stderr == ""
    answer = json.loads(done.stdout)
    assert answer["left"] == 0
    wrong = []
    for name, one in answer["found"].items():
        seconds, *said = one["said"]
        good = CASES[name.removeprefix("case ")].good if name.startswith("case ") else None
        if good is not None and bool(seconds) is not good:
            wrong.append((name, one))
        if any("\n" in words or len(words) > 160 or "Error" in words or "BytesIO" in words for words in said):
            wrong.append((name, one))
        if len(said) > 1 or seconds > 3 or one["calls"] > CALLS:
            wrong.append((name, one))
    assert not wrong


def test_what_is_left_of_a_recording_that_was_cut_off_is_heard() -> None:
    """Up to where it was cut, and it is said where the file itself tells that there was more."""
    for kind in ("WAV", "FLAC", "MP3", "AIFF"):
        data = encoded(kind)
        read = decode_recording(io.BytesIO(data[: len(data) * 2 // 3]))
        assert 0.9 < read.recording.seconds < 1.6, kind
        assert bool(read.notes) is (kind in ("FLAC", "MP3")), kind
        assert not decode_recording(io.BytesIO(data)).notes


def test_what_is_no_number_is_silence() -> None:
    wave = np.where(np.arange(RATE) < RATE // 2, np.nan, 0.5).astype(np.float32)
    read = decode_recording(io.BytesIO(encoded("WAV", "FLOAT", wave)))
    samples = read.recording.read(0, HEARD)
    assert read.recording.seconds == pytest.approx(1.0)
    assert np.isfinite(samples).all()


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="counts open files by /proc")
def test_fifty_broken_files_leave_no_descriptor_open(tmp_path: Path) -> None:
    path = tmp_path / "broken.mp3"
    path.write_bytes(encoded("MP3")[:3_000] + b"\xff" * 500)
    mp3, flac = encoded("MP3"), encoded("FLAC")
    before = set(os.listdir("/proc/self/fd"))
    for n in range(50):
        path.write_bytes([b"", b"x" * n, mp3[: 40 * n], flac[: 200 * n]][n % 4])
        try:
            read_recording(str(path))
        except UnreadableRecording:
            pass
    assert set(os.listdir("/proc/self/fd")) <= before  # what other tests left open may be closed meanwhile


def test_no_descriptor_is_left_where_there_are_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of the two that the silence takes cannot be had."""
    taken: list[int] = []
    once = os.dup

    def dup(handle: int) -> int:
        taken.append(once(handle))
        return taken[-1]

    def full(*_: object) -> int:
        raise OSError(24, "Too many open files")

    monkeypatch.setattr(os, "dup", dup)
    monkeypatch.setattr(os, "open", full)
    with silenced_decoder():
        os.write(2, b"")
    monkeypatch.undo()
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(taken[0])


def test_threads_that_read_together_give_standard_error_back() -> None:
    """The one that comes second must not take the other's nowhere for where standard error led."""
    led = os.fstat(2)
    both, one_left = threading.Barrier(2), threading.Event()

    def first() -> None:
        with silenced_decoder():
            both.wait()
        one_left.set()

    def second() -> None:
        with silenced_decoder():
            both.wait()
            one_left.wait()
            assert os.fstat(2).st_rdev == os.stat(os.devnull).st_rdev

    threads = [threading.Thread(target=work) for work in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert os.path.samestat(os.fstat(2), led)


@pytest.mark.skipif(
    not hasattr(signal, "pthread_sigmask"), reason="interrupts are deferred where the system can do that"
)
def test_an_interrupt_anywhere_gives_standard_error_back() -> None:
    """Ctrl-C comes at every step of the interpreter in turn, until one comes too late."""
    led, came = os.fstat(2), True
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        for step in range(10_000):
            if not (came := _interrupted_at(step)):
                break
            assert os.path.samestat(os.fstat(2), led), step
    finally:
        sys.settrace(None)
        signal.signal(signal.SIGINT, before)
    assert step > 100
    assert not came


def _interrupted_at(step: int) -> bool:
    """Go through the context with an interrupt at one step in its module; return whether it came."""
    left = step

    def trace(frame: FrameType, event: str, _: object) -> Any:
        nonlocal left
        if not frame.f_code.co_filename.endswith("silenced_decoder.py"):
            return None
        if not frame.f_trace_opcodes:
            frame.f_trace_opcodes = True
            sys.settrace(trace)  # Python 3.12 reports opcodes only to what is set once they were asked for
        if event == "opcode":
            left -= 1
            if left == -1:
                signal.raise_signal(signal.SIGINT)
        return trace

    try:
        sys.settrace(trace)
        with silenced_decoder():
            os.write(2, b"")
    except KeyboardInterrupt:
        return True
    finally:
        sys.settrace(None)
    return False


class FailingFile(io.BytesIO):
    """A file of which so many reads succeed, and none after them."""

    def __init__(self, data: bytes, good: int, error: BaseException) -> None:
        super().__init__(data)
        self.good, self.error = good, error

    def readinto(self, into: Any) -> int:
        self.good -= 1
        if self.good < 0:
            raise self.error
        return super().readinto(into)


def test_an_interrupt_while_a_file_is_read_is_not_lost() -> None:
    for good in range(6):
        with pytest.raises(KeyboardInterrupt):
            decode_recording(FailingFile(encoded("WAV"), good, KeyboardInterrupt()))


@pytest.mark.parametrize("kind", ["WAV", "FLAC", "MP3", "OGG", "AIFF"])
def test_a_disk_that_reads_no_more_is_told_wherever_that_begins(kind: str) -> None:
    """Also in the tags after the sound, which libsndfile looks for without end where they cannot be read."""
    file = io.BytesIO()
    with soundfile.SoundFile(file, "w", RATE, 1, format=kind) as sound:
        sound.write(WAVE)
        if kind in ("WAV", "AIFF"):  # behind the sound
            sound.title = "Window seat"
    data, good = file.getvalue(), 0
    while True:
        try:
            read = decode_recording(FailingFile(data, good, OSError(5, "Input/output error")))
        except UnreadableRecording as e:
            assert "the disk gave an error" in str(e), good
            good += 1
        else:
            break
    assert good > 3 and not read.notes


def test_an_error_of_the_disk_is_no_end_of_the_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was read before it is not judged as if it were all."""
    once = soundfile.SoundFile.read
    calls = iter(range(2))

    def read(self: soundfile.SoundFile, *arguments: object, **more: object) -> object:
        if next(calls):
            raise soundfile.LibsndfileError(2)
        return once(self, *arguments, **more)

    monkeypatch.setattr(soundfile.SoundFile, "read", read)
    with pytest.raises(UnreadableRecording, match="the recording cannot be read: the disk gave an error"):
        decode_recording(io.BytesIO(encoded("WAV", None, np.tile(WAVE, 20))))


@pytest.mark.parametrize(
    ("first", "said"),
    [
        (b"\0\0\0\x1cftypM4A ", "an M4A or MP4 recording"),
        (b"\0\0\0\x18ftyp3gp4", "an M4A or MP4 recording"),
        (b"\x1aE\xdf\xa3\x01", "a WebM recording"),
        (b"#!AMR\n", "an AMR recording"),
        (b"\x30\x26\xb2\x75\x8e", "a WMA recording"),
    ],
)
def test_what_a_telephone_records_and_cannot_be_read_is_named(first: bytes, said: str) -> None:
    with pytest.raises(UnreadableRecording, match=f"this is {said}, which cannot be read here") as raised:
        decode_recording(io.BytesIO(first + bytes(2_000)))
    assert raised.value.finding.hint == "export it as WAV, MP3 or FLAC where it was recorded, and name that file"
