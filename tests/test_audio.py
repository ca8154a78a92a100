"""Recordings as files: what is in them, read back by soundfile and by a reader of chunks of our own."""

from __future__ import annotations

import importlib.util
import io
import random
import struct
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from lickwright.cli import main
from lickwright.compiler import compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.export import EXPORTS, SOUND_FORMATS, Options, RecordingRequest
from lickwright.export.audio import plan_recording
from lickwright.export.audio.encoding import SoundFormat, encode_sound
from lickwright.music.practice import Ladder
from lickwright.synth.accompaniment import click_samples
from lickwright.synth.loudness import integrated_loudness, step_energies, true_peak
from sound_measure import cents, first_partial, hertz

HEAD = 'key A minor\ntempo 120\nby Mara Quill\nrights own ©\nchords A7 | D7\nlick "Näher ♯4"\n'
MUSIC = "| G5 G7 B8^10 - e5 - D5h7 | G7~ - - - - - - - ||"
SHORT = "| G5 - - - G7 - - - ||"
BEAT = "meter 1/4\n| G5 - ||"
BEATS = "meter 1/4\n| G5 - | G7 - ||"  # two bars of a beat each, where only names and lengths are looked at
VARIED = "| G5 G7 B8^10 - - - - - ||"
SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))
AUDIO = next(row for row in EXPORTS if row.is_audio)


def lick(music: str = MUSIC, head: str = HEAD) -> CompiledLick:
    found = compile_text(head + music + "\n").licks[0]
    assert found.ok, found.diagnostics
    return found


def made(one: CompiledLick, recording: RecordingRequest = RecordingRequest()) -> bytes:  # noqa: B008 (a frozen value)
    return one.emit("audio", Options(recording=recording)).data


@cache
def plain_recording() -> bytes:
    """The recording of `MUSIC` as it is, which several tests look at: made once."""
    return made(lick())


@cache
def ogg_recording() -> bytes:
    """The same as an Ogg file."""
    return made(lick(), RecordingRequest(format="ogg"))


def heard(data: bytes) -> tuple[np.ndarray, int]:
    wave, rate = soundfile.read(io.BytesIO(data), dtype="float32")
    return wave.T, rate


def test_a_wav_file_is_what_the_encoder_of_the_others_would_write() -> None:
    """Byte for byte, pieces of any length and the loudest samples among them, behind what a file has already."""
    rng = np.random.default_rng(3)
    pieces = [rng.uniform(-1, 1, (2, count)).astype(np.float32) for count in (4001, 1, 0, 777)]
    pieces[1][:] = ((1.0,), (-1.0,))
    file, expected = io.BytesIO(b"before"), io.BytesIO()
    sound = encode_sound(file, pieces, SoundFormat("wav", 4779, 48_000))
    whole = np.rint(np.concatenate(pieces, axis=1).T * 32767).astype(np.int16)
    soundfile.write(expected, whole, 48_000, "PCM_16", format="WAV")
    sound.seek(0)
    assert sound.read() == expected.getvalue() and file.getvalue()[:6] == b"before"


@pytest.mark.parametrize(
    "kind", ["wav", "ogg", *(pytest.param(kind, marks=pytest.mark.slow) for kind in ("flac", "mp3"))]
)
def test_every_format_sounds_the_same_and_says_whose_it_is(kind: str) -> None:
    plain, rate = heard(plain_recording())
    data = ogg_recording() if kind == "ogg" else made(lick(), RecordingRequest(format=kind))
    wave, same_rate = heard(data)
    assert rate == same_rate == 48_000
    assert wave.shape == pytest.approx(plain.shape, abs=2000)
    n = min(wave.shape[1], plain.shape[1])
    apart = np.sqrt(np.mean((wave[:, :n] - plain[:, :n]) ** 2)) / np.sqrt(np.mean(plain**2))
    assert apart < (1e-9 if kind in ("wav", "flac") else 0.2)  # coders that forget a little, at the same instant
    if kind == "mp3":
        assert_id3(data)
        return
    with soundfile.SoundFile(io.BytesIO(data)) as file:
        assert (file.title, file.artist, file.copyright) == ("Näher ♯4", "Mara Quill", "own ©")
        assert file.comment.startswith("1/4 = 120; bar 1 at 0.000 s; bar 2 at 2.000 s")


def assert_id3(data: bytes) -> None:
    """A tag of version 2.4, read frame by frame."""

    def size(at: int) -> int:
        return sum(data[at + n] << (21 - 7 * n) for n in range(4))

    assert data[:6] == b"ID3\4\0\0"
    end, at, frames = 10 + size(6), 10, []
    while at < end:
        frames.append((data[at : at + 4], data[at + 10 : at + 10 + size(at + 4)]))
        at += 10 + size(at + 4)
    assert at == end
    assert data[end] == 0xFF  # the first frame of sound
    texts = {name: body[1:].decode() for name, body in frames if name.startswith(b"T")}
    assert (texts[b"TIT2"], texts[b"TPE1"], texts[b"TCOP"]) == ("Näher ♯4", "Mara Quill", "own ©")
    chapters = [body for name, body in frames if name == b"CHAP"]
    assert [struct.unpack(">II", body[3:11]) for body in chapters] == [(0, 2000), (2000, pytest.approx(5000, abs=100))]
    assert chapters[1].endswith(b"bar 2")


@pytest.mark.parametrize(
    "kind", ["mp3", *(pytest.param(kind, marks=pytest.mark.slow) for kind in SOUND_FORMATS if kind != "mp3")]
)
def test_the_same_lick_gives_the_same_bytes(kind: str) -> None:
    short = RecordingRequest(format=kind)
    assert made(lick(SHORT), short) == made(lick(SHORT), short)


def chunks(data: bytes) -> dict[bytes, list[bytes]]:
    """The chunks of a RIFF file, whose sizes must add up."""
    assert data[:4] == b"RIFF"
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    found: dict[bytes, list[bytes]] = {}
    at = 12
    while at < len(data):
        size = struct.unpack("<I", data[at + 4 : at + 8])[0]
        found.setdefault(data[at : at + 4], []).append(data[at + 8 : at + 8 + size])
        at += 8 + size + size % 2
    assert at == len(data)
    return found


def test_a_wav_file_has_a_cue_point_for_every_bar() -> None:
    found = chunks(made(lick(BEATS), RecordingRequest(count_in=1, repeat=2)))
    (cue,) = found[b"cue "]
    count = struct.unpack("<I", cue[:4])[0]
    points = [struct.unpack("<II4sIII", cue[4 + 24 * n : 28 + 24 * n]) for n in range(count)]
    assert [point[5] / 48_000 for point in points] == pytest.approx([0, 0.5, 1, 1.5, 2])
    assert all(point[2] == b"data" and point[1] == point[5] for point in points)
    labels = next(part for part in found[b"LIST"] if part.startswith(b"adtl"))
    assert labels.count(b"labl") == count
    for word in (b"count-in\0", b"round 1, bar 1\0", b"round 2, bar 2\0"):
        assert word in labels


def test_an_ogg_file_carries_no_number_by_chance() -> None:
    data = ogg_recording()
    serials, at = set(), 0
    while at < len(data):
        assert data[at : at + 4] == b"OggS"
        serials.add(data[at + 14 : at + 18])
        segments = data[at + 26]
        at += 27 + segments + sum(data[at + 27 : at + 27 + segments])
    assert serials == {b"\x01\0\0\0"}


@pytest.mark.parametrize(
    "recording",
    [
        RecordingRequest(),
        RecordingRequest(count_in=1, click=True, backing=True, repeat=2),
        RecordingRequest(vary=7),
    ],
)
def test_a_recording_is_as_loud_as_any_other_and_safe_in_headphones(recording: RecordingRequest) -> None:
    wave, rate = heard(plain_recording() if recording == RecordingRequest() else made(lick(), recording))
    assert integrated_loudness(step_energies(wave, rate)) == pytest.approx(-16, abs=0.5)
    assert 20 * np.log10(true_peak(wave)) <= -1
    assert abs(wave.mean()) < 1e-4
    assert np.abs(wave[:, :2]).max() < 0.01  # begins from silence


def test_the_click_is_heard_where_the_beats_are() -> None:
    silent = lick("| . . . . . . . . ||", HEAD)
    wave, rate = heard(made(silent, RecordingRequest(count_in=1, click=True)))
    level = np.abs(wave[0])
    tick = np.abs(click_samples(False, rate))
    first = int(np.flatnonzero(tick > 0.02)[0])
    onsets = [i for i in np.flatnonzero(level > 0.02) if not np.any(level[max(0, i - 2400) : i] > 0.02)]
    assert [round((i - first) / rate, 3) for i in onsets] == pytest.approx([0.5 * n for n in range(8)], abs=0.001)
    assert level.max() < 0.2  # gentle: it is not made louder for want of a lick


def test_the_backing_holds_the_chord_quietly() -> None:
    alone = lick("| . . . . . . . . ||", HEAD)
    wave, rate = heard(made(alone, RecordingRequest(backing=True)))
    part = wave[0, int(0.5 * rate) : int(1.8 * rate)]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    for pitch in (45, 57, 61, 64, 67):  # A, and A7 in the middle
        hertz = 440 * 2 ** ((pitch - 69) / 12)
        k = round(hertz * len(part) / rate)
        assert spectrum[k - 3 : k + 4].max() > 20 * np.median(spectrum[k - 40 : k + 40])
    full, _ = heard(made(lick(SHORT), RecordingRequest(backing=True)))
    assert integrated_loudness(step_energies(wave, rate)) < integrated_loudness(step_energies(full, rate)) - 8


def test_the_practice_set_is_four_recordings() -> None:
    one, asked = (
        lick(BEATS),
        Options(recording=RecordingRequest(practice=True, ladder=Ladder(80, 10, 100), format="flac")),
    )
    lengths = {}
    for suffix, options in AUDIO.files(asked):
        wave, rate = heard(one.emit("audio", options).data)
        lengths[suffix] = wave.shape[1] / rate
        assert options.recording.count_in == 1
    assert list(lengths) == [".slow.flac", ".medium.flac", ".full.flac", ".ladder.flac"]
    music = 1.5  # seconds of three bars at 120: the count-in and the lick
    assert lengths[".full.flac"] == pytest.approx(music + 1, abs=0.1)
    assert lengths[".slow.flac"] == pytest.approx(music / 0.6 + 1, abs=0.1)
    assert lengths[".medium.flac"] == pytest.approx(music / 0.8 + 1, abs=0.1)
    rungs = sum((music + 1) * 120 / bpm for bpm in (96, 106, 116, 120))  # each counted in once and played twice
    assert lengths[".ladder.flac"] == pytest.approx(rungs + 1, abs=0.1)


def test_a_practice_recording_says_its_tempo() -> None:
    one, asked = (
        lick(BEAT),
        RecordingRequest(practice=True, ladder=Ladder(80, 10, 100), format="ogg"),
    )
    found = {}
    for _, options in AUDIO.files(Options(recording=asked, tempo_percent=Fraction(50))):
        emission = one.emit("audio", options)
        with soundfile.SoundFile(io.BytesIO(emission.data)) as file:
            found[emission.suffix] = file.title
    assert found == {
        ".slow-36-bpm.ogg": "Näher ♯4 (slow, 36 bpm)",
        ".medium-48-bpm.ogg": "Näher ♯4 (medium, 48 bpm)",
        ".full-60-bpm.ogg": "Näher ♯4 (full, 60 bpm)",
        ".ladder-48-to-60-bpm.ogg": "Näher ♯4 (ladder, 48 to 60 bpm)",
    }


def test_each_rung_of_a_ladder_is_played_twice_if_nothing_is_said() -> None:
    one, ladder = lick(), RecordingRequest(part="ladder", ladder=Ladder(80, 10, 100))
    for asked, times in ((ladder, 2), (replace(ladder, repeat=1), 1), (replace(ladder, repeat=3), 3)):
        rounds = plan_recording(one.lowered, Options(recording=asked)).rounds  # type: ignore[arg-type]
        assert [float(one.bpm or 0) for one in rounds] == [bpm for bpm in (96, 106, 116, 120) for _ in range(times)]
    assert len(plan_recording(one.lowered, Options()).rounds) == 1  # type: ignore[arg-type]


def test_a_practice_set_follows_the_tempo_that_is_asked_for() -> None:
    one, slow = lick(), RecordingRequest(part="slow")
    for options in (Options(tempo_bpm=Fraction(60)), Options(tempo_percent=Fraction(50))):
        (only,) = plan_recording(one.lowered, replace(options, recording=slow)).rounds  # type: ignore[arg-type]
        assert float(only.performance.tempos[0].qpm) == pytest.approx(36)
    ladder = replace(slow, part="ladder", ladder=Ladder(50, 15, 100))
    rungs = plan_recording(one.lowered, Options(tempo_bpm=Fraction(60), recording=ladder)).rounds  # type: ignore[arg-type]
    assert [float(one.bpm or 0) for one in rungs[::2]] == [30, 45, 60]


def test_the_ladder_stands_in_the_timing_sheets() -> None:
    one, options = lick(), Options(recording=RecordingRequest(practice=True, ladder=Ladder(80, 10, 100)))
    sheet = [line.split(",") for line in one.emit("timing", options).data.decode().splitlines()]
    assert sheet[0][-4:] == ["rung_1_at_96_s", "rung_2_at_106_s", "rung_3_at_116_s", "rung_4_at_120_s"]
    first, second = sheet[1], sheet[2]
    assert first[-4] == "2.5"  # after a bar of count-in at 96
    assert float(second[-4]) - float(first[-4]) == pytest.approx(0.5 * 60 / 96, abs=0.002)
    ladder = plan_recording(one.lowered, AUDIO.files(options)[-1][1]).rounds  # type: ignore[arg-type]
    assert float(first[-1]) == pytest.approx(ladder[-2].at, abs=0.001)  # the first time on that rung
    assert "practice ladder: 1/4 = 96, 106, 116, 120, twice each" in one.emit("timing-text", options).data.decode()
    assert "Stop when it hurts" in one.emit("timing-text", options).data.decode()
    assert '{"at_s": 2.5, "beats_a_minute": 96.0}' in one.emit("timing-json", options).data.decode()
    back = Options(
        recording=RecordingRequest(practice=True, ladder=Ladder(90, 20, 110))
    )  # above the tempo, and back to it
    assert (
        one.emit("timing", back)
        .data.split(b"\n")[0]
        .endswith(b",rung_1_at_108_s,rung_2_at_128_s,rung_3_at_132_s,rung_4_at_120_s")
    )
    assert b"rung" not in one.emit("timing").data


def test_variation_is_small_and_the_same_for_a_seed() -> None:
    one = lick(VARIED)
    plain, a, again, b = (made(one, RecordingRequest(vary=seed)) for seed in (None, 1, 1, 2))
    assert a == again
    assert len({plain, a, b}) == 3
    x, rate = heard(plain)
    y, _ = heard(a)
    loud = [
        [float(np.sqrt(np.mean(w[0, int(t * rate) : int((t + 0.2) * rate)] ** 2))) for t in (0, 0.25, 0.5)]
        for w in (x, y)
    ]
    assert np.abs(20 * np.log10(np.divide(*loud))).max() < 2.5


def test_what_is_too_long_or_has_no_harmony_is_said() -> None:
    slow = lick("| G5 - - - - - - - ||", 'tempo 10\nlick "Slow"\n')
    emission = slow.emit("audio", Options(recording=RecordingRequest(backing=True)))
    assert [d.code for d in emission.losses] == ["L508"]
    taken = plan_recording(slow.lowered, Options(recording=RecordingRequest(repeat=100)))  # type: ignore[arg-type]
    assert taken.left_out == 100 - 75


@pytest.mark.parametrize(
    "seed", [5, 10, *(pytest.param(n, marks=pytest.mark.slow) for n in range(12) if n not in (5, 10))]
)
def test_a_lick_with_slips_of_the_hand_still_sounds(seed: int) -> None:
    """Whatever compiles can be heard: samples with a few signs taken out or doubled."""
    chance = random.Random(seed)
    text = chance.choice(SAMPLES).read_text("utf-8")
    for _ in range(seed % 4):
        at = chance.randrange(len(text))
        text = text[:at] + chance.choice(["", text[at] * 2, "~", "x"]) + text[at + 1 :]
    for one in [one for one in compile_text(text).licks if one.ok][:2]:
        wave, rate = heard(made(one, RecordingRequest(click=seed % 2 == 0)))
        assert np.isfinite(wave).all()
        assert integrated_loudness(step_energies(wave, rate)) == pytest.approx(-16, abs=0.5)


# --- from the command line --------------------------------------------------------------------------------------------


def files_of(arguments: list[str], tmp_path: Path, music: str = MUSIC) -> set[str]:
    """What `make` leaves in its folder for one lick."""
    (tmp_path / "one.lick").write_text(f"{HEAD.replace('Näher ♯4', 'One')}{music}\n", "utf-8")
    assert main(["make", str(tmp_path / "one.lick"), "--out", str(tmp_path / "out"), *arguments]) == 0
    return {path.name for path in (tmp_path / "out" / "one").iterdir()}


def test_make_records_what_is_asked_for(tmp_path: Path) -> None:
    assert files_of(["--to", "audio"], tmp_path, BEATS) == {"one.wav"}
    wave, rate = soundfile.read(tmp_path / "out" / "one" / "one.wav")
    assert len(wave) / rate == pytest.approx(2, abs=0.01)
    asked = [
        "--to",
        "audio",
        "--format",
        "flac",
        "--tempo",
        "60",
        "--count-in",
        "1",
        "--repeat",
        "2",
        "--click",
        "--backing",
    ]
    assert files_of(asked, tmp_path, BEATS) == {"one.wav", "one.60-bpm.flac"}  # the full one keeps its place
    wave, rate = soundfile.read(tmp_path / "out" / "one" / "one.60-bpm.flac")
    assert len(wave) / rate == pytest.approx(1 + 2 * 2 + 1, abs=0.01)


def test_make_writes_the_practice_set(tmp_path: Path) -> None:
    found = files_of(["--format", "ogg", "--ladder", "90%,5,100%"], tmp_path, BEAT)
    paces = ("slow-72", "medium-96", "full-120", "ladder-108-to-120")
    sounds = {f"one.{pace}-bpm.ogg" for pace in paces}
    assert found == sounds | {"one.tab.txt", "one.mid", "one.timing.csv"}
    assert "rung_1_at_108_s" in (tmp_path / "out" / "one" / "one.timing.csv").read_text("utf-8")


def test_a_practice_recording_at_another_tempo_takes_the_place_of_the_one_before(tmp_path: Path) -> None:
    """A lick whose tempo changes has recordings of other names; the old ones go with --prune, and nothing is made twice."""
    folder, out = tmp_path / "licks", tmp_path / "out"
    folder.mkdir()
    asked = ["make", str(folder), "--out", str(out), "--to", "audio", "--practice", "--ladder", "80%,40,100%"]

    def names(text: str, *more: str) -> set[str]:
        (folder / "one.lick").write_text(text, "utf-8")
        assert main([*asked, *more]) == 0
        return {path.name for path in (out / "one").iterdir()}

    text = f'tempo 120\nlick "One"\n{BEAT}\n'
    before = names(text)
    assert before == {f"one.{pace}-bpm.wav" for pace in ("slow-72", "medium-96", "full-120", "ladder-96-to-120")}
    after = {f"one.{pace}-bpm.wav" for pace in ("slow-66", "medium-88", "full-110", "ladder-88-to-110")}
    text = text.replace("120", "110")
    assert names(text) == before | after
    assert names(text, "--prune") == after
    made = {path: path.stat().st_mtime_ns for path in (out / "one").iterdir()}
    assert names(text) == after
    assert {path: path.stat().st_mtime_ns for path in (out / "one").iterdir()} == made


def test_a_part_is_recorded_beside_the_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    every = ["--to", "tab,midi,timing,timing-json,timing-text,audio"]
    whole = files_of(every, tmp_path, BEATS)
    found = files_of([*every, "--bars", "2"], tmp_path, BEATS)
    assert found == whole | {
        f"one.bar-2{suffix}" for suffix in (".tab.txt", ".mid", ".timing.csv", ".timing.json", ".timing.txt", ".wav")
    }
    wave, rate = soundfile.read(tmp_path / "out" / "one" / "one.bar-2.wav")
    assert len(wave) / rate == pytest.approx(1.5, abs=0.01)
    assert files_of(["--practice", "--bars", "1-2", "--ladder", "80%,40,100%"], tmp_path, BEATS) >= {
        "one.bars-1-2.slow-72-bpm.wav"
    }
    assert (
        main(["make", str(tmp_path / "one.lick"), "--out", str(tmp_path / "out"), "--to", "midi", "--bars", "2-9"]) == 1
    )
    assert "there is no bar 9: the lick has bars 1 to 2" in capsys.readouterr().err
    for wrong, words in (
        (["--bars", "3-2"], "write 2-3"),
        (["--bars", "x"], "names no bars"),
    ):
        assert main(["make", str(tmp_path / "one.lick"), "--out", str(tmp_path / "out"), *wrong]) == 2
        assert words in capsys.readouterr().err


def test_a_house_can_ask_for_recordings(tmp_path: Path) -> None:
    (tmp_path / "lickwright.toml").write_text('[make]\nto = ["audio"]\nformat = "flac"\ncount-in = 1\n', "utf-8")
    assert files_of([], tmp_path, BEATS) == {"one.flac"}
    wave, rate = soundfile.read(tmp_path / "out" / "one" / "one.flac")
    assert len(wave) / rate == pytest.approx(2.5, abs=0.01)


def test_a_recording_is_made_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ["--to", "audio", "--practice", "--ladder", "90%,5,100%"]
    files_of(asked, tmp_path, BEAT)
    monkeypatch.setattr("lickwright.export.audio.render_samples", None)  # would be called again if anything were made
    assert len(files_of(asked, tmp_path, BEAT)) == 4


@pytest.mark.parametrize("missing", ["numpy", "soundfile"])
def test_without_the_extra_it_is_said(
    missing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == missing else real(name))
    (tmp_path / "one.lick").write_text(f"{HEAD}{MUSIC}\n", "utf-8")
    assert main(["make", str(tmp_path / "one.lick"), "--to", "audio", "--out", str(tmp_path / "out")]) == 2
    assert f"sound needs {missing}: pip install numpy soundfile" in capsys.readouterr().err


def test_wrong_wishes_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for wrong, words in (
        (["--ladder", "5"], "is not a ladder"),
        (["--repeat", "0"], "--repeat"),
        (["--format", "aiff"], "wav"),
    ):
        assert main(["make", str(tmp_path), "--to", "audio", *wrong]) == 2
        assert words in capsys.readouterr().err


# --- every instrument -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "music", "pitches"),
    [
        ("capo 2\n", "| e0 - - - E3 - - - ||", (66, 45)),
        ("tuning drop D\n", "| 6:0 - - - A2 - - - ||", (38, 47)),
        ("tuning half step down\n", "| E0 - - - B5 - - - ||", (39, 63)),
        ("tuning 7 string\n", "| 7:0 - - - 7:5 - - - ||", (35, 40)),
        ("tuning bass\nsound bass\n", "| E0 - - - G12 - - - ||", (28, 55)),
        ("sound nylon\n", "| E0 - - - e12 - - - ||", (40, 76)),
        ("sound lead\n", "| B8^10 - - - G<12> - - - ||", (69, 67)),
    ],
)
def test_every_instrument_is_heard_at_its_pitch(head: str, music: str, pitches: tuple[int, int]) -> None:
    wave, rate = heard(made(lick(music, f'tempo 60\n{head}lick "X"\n')))
    mono = wave.mean(axis=0).astype(np.float64)
    for n, pitch in enumerate(pitches):
        assert cents(first_partial(mono, rate, 2 * n + 1.3, hertz(pitch)), hertz(pitch)) == pytest.approx(0, abs=1.0)
