"""`lickwright listen --record` on a stand-in for the sound device that behaves like a real one."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from commanding import Run, write
from plucked import RATE, Samples, pluck, take_of, timeline_of
from portaudio import FakeDevice, sounddevice

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'
COUNT_IN = 2.4  # seconds: a bar at 100
BEAT = 0.6


@pytest.fixture(scope="module")
def take() -> Samples:
    """The lick, its first note on the first sample."""
    return pluck(take_of(timeline_of(WALK), later=0.0)[0])


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    call = run_from("listen")
    write("walk.lick", WALK)
    return call


def _room(take: Samples, rate: int, heard_late: float = 0.0, early: float = 0.0) -> Samples:
    """What sounds in the room of a player who comes in exactly on the first beat that they hear, or earlier."""
    times = np.arange(round(len(take) / RATE * rate)) * RATE / rate
    start = round((COUNT_IN + heard_late - early) * rate)
    return np.concatenate((np.zeros(start), np.interp(times, np.arange(len(take)), take))).astype(np.float32)


def _device(monkeypatch: pytest.MonkeyPatch, device: FakeDevice | None) -> FakeDevice | None:
    monkeypatch.setitem(sys.modules, "sounddevice", sounddevice(device))
    return device


def _first_onset() -> float:
    report = json.loads(Path("r.json").read_text("utf-8"))
    return float(report["passes"][report["best"]]["notes"][0]["onset_s"])


@pytest.mark.parametrize(
    ("rate", "inputs", "outputs", "channel", "latency"),
    [
        (48_000, 1, 2, None, (0.0, 0.0)),
        (44_100, 2, 2, None, (0.012, 0.035)),
        (48_000, 2, 1, 1, (0.150, 0.250)),  # the guitar is in the second input
        pytest.param(48_000, 8, 4, None, (0.010, 0.010), marks=pytest.mark.slow),
        pytest.param(96_000, 1, 2, None, (0.0, 0.0), marks=pytest.mark.slow),
    ],
)
def test_what_is_played_on_the_beat_that_is_heard_is_recorded_on_the_beat(
    run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch, rate: int, inputs: int, outputs: int, channel: int | None,
    latency: tuple[float, float],
) -> None:  # fmt: skip
    device = FakeDevice(
        _room(take, rate, heard_late=latency[1]), rate, (rate,), min(2, inputs), outputs, latency, channel=channel
    )
    _device(monkeypatch, device)
    code, out, err = run("walk.lick", "--record", "6", "--keep", "kept.wav", "--report", "r.json")
    assert code == 0, out + err
    assert err == "headphones on: a bar of clicks, 2 seconds, then play; after 6 seconds it ends, or with Ctrl-C\n"
    assert (device.opened, device.closed) == (1, 1)
    assert _first_onset() == pytest.approx(BEAT / 2, abs=0.02)  # half a beat is kept before the first one
    info = soundfile.info("kept.wav")
    assert info.samplerate == rate
    assert info.duration == pytest.approx(6 + BEAT / 2, abs=0.02)
    assert json.loads(Path("r.json").read_text("utf-8"))["recording"] == "kept.wav"
    assert not list(Path().glob(".lw-*"))


def test_who_comes_in_early_keeps_the_first_note(run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    _device(monkeypatch, FakeDevice(_room(take, 48_000, early=0.1)))
    code, out, _ = run("walk.lick", "--record", "6", "--report", "r.json")
    assert code == 0, out
    assert _first_onset() == pytest.approx(BEAT / 2 - 0.1, abs=0.02)


def test_the_click_is_in_the_headphones_and_not_in_the_recording(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    device = FakeDevice(np.zeros(1, np.float32), latency=(0.02, 0.03))
    _device(monkeypatch, device)
    code, out, _ = run("walk.lick", "--record", "6", "--keep", "kept.wav")
    assert code == 1
    assert "nothing was heard" in out
    assert "check that the microphone is on" in out
    assert not np.any(soundfile.read("kept.wav")[0])
    left, right = device.sound.T
    assert np.array_equal(left, right)
    assert 0.2 < np.abs(left).max() <= 0.31
    loud = np.flatnonzero(np.abs(left) > 0.05) / 48_000
    starts = loud[np.flatnonzero(np.diff(loud, prepend=-1.0) > 0.3)]
    assert starts == pytest.approx(BEAT * np.arange(14), abs=0.002)


def test_the_click_follows_the_tempo_that_is_asked_for(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    device = FakeDevice(np.zeros(1, np.float32))
    _device(monkeypatch, device)
    for words, seconds in ((("60%",), 4.0), (("50",), 4.8)):
        device.played.clear()
        assert run("walk.lick", "--record", "3", "--tempo", *words)[0] == 1
        assert len(device.sound) / 48_000 == pytest.approx(seconds + 3, abs=0.02)


def test_blocks_that_were_lost_are_said(run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    flags = {40: "input_overflow", 41: "input_overflow", 60: "output_underflow"}
    _device(monkeypatch, FakeDevice(_room(take, 48_000), flags=flags))
    code, _, err = run("walk.lick", "--record", "6")
    assert code == 0
    assert err.splitlines()[1:] == [
        "the computer was too slow 2 times, and some sound is lost: close other programs",
        "the click stumbled 1 time: close other programs",
    ]


def test_a_level_that_is_wrong_is_said(run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    """As of a file; and a microphone that is shut off gives nothing, not even noise."""
    loud = np.clip(8 * _room(take, 48_000), -1, 1)
    for room, said in (
        (loud, "the recording is too loud and its peaks are cut off: turn it down next time, or move away from the microphone"),
        (np.zeros(1, np.float32), "the microphone gave no sound at all: check that it is on, and that programs are allowed to use it"),
    ):  # fmt: skip
        _device(monkeypatch, FakeDevice(room))
        _, _, err = run("walk.lick", "--record", "6", "--report", "r.json")
        assert err.splitlines()[1:] == [said]
        assert json.loads(Path("r.json").read_text("utf-8"))["notes"] == [said]
        assert sorted(os.listdir()) == ["r.json", "walk.lick"]  # nothing is kept unless it is asked for


@pytest.mark.parametrize("aborts", [True, False])
def test_a_device_that_is_gone_leaves_what_was_played_until_then(
    run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch, aborts: bool
) -> None:
    monkeypatch.setattr("lickwright.cli.listen_record._SILENT_FOR", 0.2)
    _device(monkeypatch, FakeDevice(_room(take, 48_000), vanishes=round(5.4 * 48_000), aborts=aborts))
    code, out, err = run("walk.lick", "--record", "6")
    assert code in (0, 1), err
    assert err.splitlines()[1] == "the sound device stopped after 3 seconds: what was played until then is judged"
    assert "score" in out
    _device(monkeypatch, FakeDevice(_room(take, 48_000), vanishes=round(2 * 48_000), aborts=aborts))
    code, out, err = run("walk.lick", "--record", "6")
    assert (code, out) == (2, "")
    assert "the sound device stopped before anything was recorded; record with a telephone" in err


@pytest.mark.skipif(os.name != "posix", reason="sends the signal of Ctrl-C")
@pytest.mark.parametrize(("frame", "judged"), [(5.4, True), (1.0, False)])
def test_ctrl_c_ends_the_recording_and_what_was_played_is_judged(
    run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch, frame: float, judged: bool
) -> None:
    reached = round(frame * 48_000 / 512)

    def press(number: int) -> None:
        if number == reached:
            signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
        if number > reached:
            over.wait(0.3)  # a real device goes on in its own time

    over = threading.Event()
    device = FakeDevice(_room(take, 48_000), at_callback=press)
    _device(monkeypatch, device)
    code, out, err = run("walk.lick", "--record", "6", "--keep", "kept.wav")
    over.set()
    assert device.closed == 1
    if judged:
        assert code in (0, 1)
        assert err.splitlines()[1] == "stopped after 3 seconds: what was played until then is judged"
        assert "score" in out
        assert soundfile.info("kept.wav").duration == pytest.approx(3.3, abs=0.1)
    else:
        assert (code, out) == (130, "")
        assert err.splitlines()[1:] == ["stopped"]
        assert not Path("kept.wav").exists()


def test_what_cannot_be_recorded_with_is_said_in_one_line(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    room = np.zeros(1, np.float32)
    cases = [
        (None, "there is no microphone or sound device to record with; record with a telephone"),
        (FakeDevice(room, inputs=0), "there is no microphone or sound device"),
        (FakeDevice(room, rates=()), "they have no sample rate in common"),
        (FakeDevice(room, refuses="Device unavailable [PaErrorCode -9985]"), "the sound device gave up: Device unavailable"),
    ]  # fmt: skip
    for device, said in cases:
        _device(monkeypatch, device)
        code, out, err = run("walk.lick", "--record", "6")
        assert (code, out) == (2, "")
        assert said in err
        assert "name its file instead" in err
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    code, _, err = run("walk.lick", "--record", "6")
    assert code == 2
    assert "pip install numpy soundfile sounddevice" in err


def test_a_recording_is_not_kept_on_standard_output(run: Run) -> None:
    code, out, err = run("walk.lick", "--record", "6", "--keep", "-")
    assert (code, out) == (2, "")
    assert "--keep needs the name of a file" in err
