"""Recordings of any length: made a piece at a time, in bounded memory, announced, and bounded by the house."""

from __future__ import annotations

import io
import os
import resource
import signal
import sys
import tempfile
import tracemalloc
from collections.abc import Iterator
from math import inf
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lickwright.cli import main
from lickwright.compiler import compile_text
from lickwright.export import SOUND_FORMATS, Length, Options, RecordingRequest
from lickwright.export.audio.encoding import SoundFormat, write_audio
from lickwright.export.audio.tags import Tags
from lickwright.music.instruments import INSTRUMENTS
from lickwright.notation.techniques import Stroke
from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.store.spool import IN_MEMORY, LargeData, Spool
from lickwright.synth import automation as plans
from lickwright.synth import guitar, loudness
from lickwright.synth.arrangement import RATE, Cue
from lickwright.synth.automation import Planner
from lickwright.synth.excitation import Scrape
from lickwright.synth.guitar import Instrument
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.wave import PIECE, Wave
from sound_measure import OPEN, note

SILENT = Tags("x", "", "", "1/4 = 60", (Cue(0.0, "bar 1"),))


# --- the same samples, however they are cut ---------------------------------------------------------------------------

BUSY = [
    note(0.02, 1.5, 64, 1, moves=(PitchRamp(0.1, 0.3, 2.0), PitchRamp(0.3, 1.5, 0.4, CurveShape.AROUND))),
    note(1.5, 1.9, 67, 1, stroke=Stroke.HAMMER, joined=True, moves=(PitchRamp(1.7, 1.9, 3.0, CurveShape.FRETS),)),
    note(2.4, 2.6, 70, 1),
    note(0.1, 2.2, 43, 6, stroke=Stroke.SCRAPE),
    note(0.5, 2.5, 50, 4, moves=(PitchRamp(0.5, 0.5, 2.0), PitchRamp(0.6, 0.8, -2.0, CurveShape.FRETS), PitchRamp(0.5, 2.5, -9.0))),
    note(0.4, 1.0, 59, 2, stroke=Stroke.SWELL, fade_in=0.4),
    note(1.0, 2.7, 59, 2),
]  # fmt: skip


@pytest.mark.parametrize("feel", [None, Humanizer(4)])
def test_the_same_samples_whatever_is_planned_at_once(monkeypatch: pytest.MonkeyPatch, feel: Humanizer | None) -> None:
    """Bit by bit: nobody may hear where a stretch of the plan ends."""
    waves = []
    for ahead, window in ((inf, 99.0), (0.5, 0.11)):
        monkeypatch.setattr(guitar, "AHEAD", ahead)
        monkeypatch.setattr(guitar, "IN_TIME", 0.5)
        monkeypatch.setattr(plans, "WINDOW", window)
        instrument, count = Instrument(BUSY, OPEN, INSTRUMENTS["clean"].guitar, RATE, feel), 3 * RATE
        waves.append(np.concatenate([instrument.samples(at, at + 6000) for at in range(0, count, 6000)]))
    assert np.abs(waves[0]).max() > 0.05
    assert np.array_equal(*waves)


def test_a_scrape_is_the_same_in_slices() -> None:
    scrape = Scrape(note(0.0, 0.2, 43, 6, stroke=Stroke.SCRAPE), 0.5, RATE)
    whole = scrape[:]
    assert len(whole) == len(scrape) == 9600
    assert np.array_equal(np.concatenate([scrape[at : at + 777] for at in range(0, 9600, 777)]), whole)


def waves(samples: np.ndarray) -> Iterator[Wave]:
    """The same samples in memory and in a file."""
    for short in (inf, 0):
        wave = Wave(samples.shape[1], io.BytesIO(), short)  # type: ignore[arg-type]
        for at in range(0, wave.count, 48_640):
            wave.write(at, samples[:, at : at + 48_640])
        yield wave


@pytest.mark.parametrize("seconds", [0.0001, 0.3, 3.1, PIECE * 2 / RATE])
def test_a_recording_in_a_file_is_levelled_as_one_in_memory(seconds: float) -> None:
    random, count = np.random.default_rng(9), round(seconds * RATE)
    shape = np.sin(np.arange(count) * (9 / max(1, count))) ** 2 + 0.01
    samples = (random.normal(0, 0.1, (2, count)) * shape).astype(np.float32)
    samples[:, count // 3 :: 20_000] *= 25  # peaks, for the ceiling
    found = []
    for wave in waves(samples):
        loudness.normalize_loudness(wave, RATE)
        wave.change(lambda at, part: part + np.float32(0.001))
        loudness.normalize_loudness(wave, RATE)
        found.append(np.concatenate([*wave.pieces()], axis=1))
        assert wave.peak == np.abs(found[-1]).max()
    assert np.array_equal(*found)
    assert 20 * np.log10(loudness.true_peak(found[0])) <= -1
    if seconds > 3:
        assert loudness.integrated_loudness(loudness.step_energies(found[0], RATE)) == pytest.approx(-16, abs=0.5)


# --- memory -----------------------------------------------------------------------------------------------------------


def test_half_an_hour_of_vibrato_and_scraping_is_planned_in_little_memory() -> None:
    half_an_hour = 1800.0
    shaken = note(0.0, half_an_hour, 64, moves=(PitchRamp(0.0, half_an_hour, 0.4, CurveShape.ABOVE),))
    scraped = note(0.0, half_an_hour, 43, 6, stroke=Stroke.SCRAPE)
    tracemalloc.start()
    planner = Planner([shaken], 64, INSTRUMENTS["clean"].guitar, RATE)
    known = 0.0
    while known < 100 * RATE:
        motion = planner.until(known + 20 * RATE).motion
        assert motion.spans == ((round(known), round(planner.known)),)
        known = planner.known
    ((_, shape),) = Planner([scraped], 40, INSTRUMENTS["clean"].guitar, RATE).until(inf).motion.pulses
    assert len(shape[80_000_000:80_060_000]) == 60_000
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8e6


@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_three_minutes_are_written_in_little_memory(kind: str) -> None:
    count = 180 * RATE if kind == "wav" else 20 * RATE
    pieces = (np.zeros((2, min(PIECE, count - at)), np.float32) for at in range(0, count, PIECE))
    with Spool() as spool:
        tracemalloc.start()
        large = spool.take(
            lambda file, scratch: write_audio(file, scratch, pieces, SoundFormat(kind, count, RATE), SILENT)
        )
        assert sum(len(piece) for piece in large) == len(large)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert kind != "wav" or len(large) > 4 * count
    assert peak < IN_MEMORY + 12e6


def test_what_is_spooled_second_is_as_if_it_were_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lickwright.export.audio.render_samples", lambda *_: _noise(1))
    one = compile_text('tempo 120\nlick "x"\n| G5 - - - - - - - ||\n').licks[0]
    with Spool() as spool:
        for kind in SOUND_FORMATS:
            emission = one.emit("audio", Options(recording=RecordingRequest(format=kind)))
            assert callable(emission.content)
            large = spool.take(emission.content)
            assert b"".join(large) == b"".join(large) == emission.data
            assert large.hash == LargeData(lambda data=emission.data: iter((data,))).hash  # type: ignore[misc]


LONG = 'tempo 10\nlick "x"\n|: G5 - - - - - - - :|x75\n'
PLAYED = 'tempo 100\nlick "x"\n|: A5h7 D7p5 D5~ (scrape: E) - (dive: G5) :|x75\n'


def made_in_a_child(folder: Path, source: str, arguments: list[str]) -> tuple[int, float, set[str]]:
    """Exit code, largest resident memory in MiB, and outputs."""
    (folder / "x.lick").write_text(source, "utf-8")
    pid = os.fork()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-m", "lickwright", "make", str(folder / "x.lick"), "--out", str(folder / "out"), *arguments])  # fmt: skip
    _, status, usage = os.wait4(pid, 0)
    assert isinstance(usage, resource.struct_rusage)
    return (
        os.waitstatus_to_exitcode(status),
        usage.ru_maxrss / 1024,
        {path.name for path in (folder / "out" / "x").iterdir()},
    )


@pytest.mark.slow
@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_half_an_hour_in_every_format_takes_little_memory(kind: str, tmp_path: Path) -> None:
    code, most, names = made_in_a_child(tmp_path, LONG, ["--to", "audio", "--format", kind, "--click"])
    assert (code, names) == (0, {f"x.{kind}"})
    assert most < 256


@pytest.mark.slow
def test_a_practice_set_takes_little_memory(tmp_path: Path) -> None:
    code, most, names = made_in_a_child(tmp_path, PLAYED, ["--to", "audio", "--practice", "--repeat", "9"])
    assert (code, len(names)) == (0, 4)
    assert most < 256


# --- when something goes wrong ----------------------------------------------------------------------------------------


def left(folder: Path) -> set[str]:
    """Every file below a folder but the record."""
    return {
        str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file() and ".lickwright" not in path.name
    }


class _Full(io.BytesIO):
    """A disk that is full after 100,000 bytes."""

    def write(self, data: Any) -> int:
        if self.tell() + len(data) > 100_000:
            raise OSError(28, "No space left on device")
        return super().write(data)


@pytest.fixture
def lick(tmp_path: Path) -> Path:
    (tmp_path / "x.lick").write_text('tempo 120\nlick "x"\n| G5 - - - - - - - ||\n', "utf-8")
    return tmp_path


@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_a_full_disk_costs_the_recording_only_and_is_said(
    kind: str, lick: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(tempfile, "SpooledTemporaryFile", lambda max_size: _Full())
    if kind != "wav":  # smaller than what fits
        monkeypatch.setattr("lickwright.export.audio.render_samples", lambda *_: _noise(8))
    assert main(["make", str(lick / "x.lick"), "--out", str(lick / "out"), "--to", "tab,audio", "--format", kind]) == 3
    said = capfd.readouterr().err
    assert "nothing was written: no space left on device in the folder for temporary files" in said
    assert "Traceback" not in said
    assert left(lick / "out") == {os.path.join("x", "x.tab.txt")}


def _noise(seconds: int) -> Wave:
    wave = Wave(seconds * RATE, io.BytesIO())
    wave.write(0, np.random.default_rng(2).normal(0, 0.1, (2, wave.count)).astype(np.float32))
    return wave


@pytest.mark.parametrize("error", [KeyboardInterrupt, MemoryError, OSError(5, "Input/output error")])
def test_what_goes_wrong_while_samples_come_is_what_is_raised(error: BaseException) -> None:
    def pieces() -> Iterator[np.ndarray]:
        yield np.zeros((2, PIECE), np.float32)
        raise error

    for kind in SOUND_FORMATS:
        with pytest.raises(error if isinstance(error, type) else type(error)):
            write_audio(io.BytesIO(), io.BytesIO(), pieces(), SoundFormat(kind, 2 * PIECE, RATE), SILENT)


def test_an_interrupt_in_the_middle_leaves_nothing_behind(lick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> Wave:
        raise KeyboardInterrupt

    monkeypatch.setattr(tempfile, "tempdir", str(lick / "temporary"))
    (lick / "temporary").mkdir()
    with monkeypatch.context() as patch:
        patch.setattr("lickwright.export.audio.render_samples", interrupted)
        assert main(["make", str(lick / "x.lick"), "--out", str(lick / "out"), "--to", "audio"]) == 130
    assert left(lick) == {"x.lick"}
    assert main(["make", str(lick / "x.lick"), "--out", str(lick / "out"), "--to", "audio"]) == 0
    assert left(lick) == {"x.lick", os.path.join("out", "x", "x.wav")}


# --- said before, and bounded -----------------------------------------------------------------------------------------


def test_length_and_size_in_words() -> None:
    assert str(Length(1860.0, 357_120_000)) == "31 minutes, about 360 MB"
    assert str(Length(301.0, 4_816_000)) == "5 minutes, about 5 MB"
    assert str(Length(4.0, 64_000)) == "4 seconds, about 1 MB"
    assert [Length(seconds, 1).is_long for seconds in (300.0, 301.0)] == [False, True]


def stand_in(stages: object, options: object, taken: object, file: object) -> Wave:
    """A second of silence."""
    return Wave(RATE, io.BytesIO())


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_long_recording_is_announced(
    jobs: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("lickwright.export.audio.render_samples", stand_in)
    for name in ("porch", "barn"):
        (tmp_path / f"{name}.lick").write_text(LONG.replace('"x"', f'"{name} light"'), "utf-8")
    asked = ["--to", "audio", "--format", "mp3", "--out", str(tmp_path / "out"), "--jobs", jobs]
    assert main(["make", str(tmp_path), *asked]) == 0
    said = capsys.readouterr().err
    for name in ("porch", "barn"):
        assert said.count(f"{name}-light.mp3: 30 minutes, about 29 MB") == 1


def test_a_short_one_is_not(lick: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", str(lick / "x.lick"), "--to", "audio", "--out", str(lick / "out")]) == 0
    assert "about" not in capsys.readouterr().err


def test_a_worker_may_take_as_long_as_a_recording_lasts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lickwright.build.worker import Setup

    def render(*_: object) -> Wave:
        Path(f"allowed-{os.getpid()}").write_text(str(signal.getitimer(signal.ITIMER_REAL)[0]))
        return Wave(RATE, io.BytesIO())

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("lickwright.export.audio.render_samples", render)
    usual = Setup("", False, ()).limits.seconds
    assert usual == 60
    for name in ("a", "b"):
        (tmp_path / f"{name}.lick").write_text(LONG, "utf-8")
    assert main(["make", str(tmp_path), "--to", "audio", "--out", str(tmp_path / "out"), "--jobs", "2"]) == 0
    allowed = [float(path.read_text()) for path in tmp_path.glob("allowed-*")]
    assert allowed and all(30 * 60 < seconds <= 30 * 60 + usual for seconds in allowed)


def test_a_house_bounds_recordings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("lickwright.export.audio.render_samples", stand_in)
    (tmp_path / "lickwright.toml").write_text('[make]\nlongest = 600\nto = ["tab", "audio"]\n', "utf-8")
    (tmp_path / "x.lick").write_text(LONG, "utf-8")
    command = ["make", str(tmp_path / "x.lick"), "--out", str(tmp_path / "out")]
    assert main(command) == 1
    said = capsys.readouterr().err
    assert "the recording would last 30 minutes, and 10 minutes are allowed here: it is not made (L509)" in said
    assert left(tmp_path / "out") == {os.path.join("x", "x.tab.txt")}
    assert main([*command, "--longest", "1800"]) == 0
    assert os.path.join("x", "x.wav") in left(tmp_path / "out")


def test_repeats_beyond_the_bound_are_left_out_and_that_is_said() -> None:
    one = compile_text('tempo 120\nlick "x"\n| G5 - - - - - - - ||\n').licks[0]
    emission = one.emit("audio", Options(recording=RecordingRequest(repeat=10, longest=9)))
    assert emission.length is not None
    assert 8 < emission.length.seconds <= 10
    assert [(d.code, d.message) for d in emission.losses] == [
        ("L507", "the recording would last longer than 9 seconds: it ends earlier")
    ]
