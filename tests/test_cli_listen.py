"""`lickwright listen`, as a user calls it: formats, reports, pictures, folders, and files that are no recordings."""

from __future__ import annotations

import io
import json
import os
import struct
import sys
from collections.abc import Callable
from datetime import datetime
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from commanding import Run, write
from lickwright.cli.listen_workers import Task
from plucked import RATE, Samples, pluck, take_of, timeline_of, write_wave

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'
HILL = 'key C major\ntempo 96\nstep 1/8\nlick "Hill road"\n| B1 B5 e1 e3 e5 e8 e5 e3 | e1 B5 B3 B1 G2--- ||\n'


@pytest.fixture(scope="module")
def take() -> Samples:
    return pluck(take_of(timeline_of(WALK))[0])


@pytest.fixture(scope="module")
def wrong() -> Samples:
    tones = take_of(timeline_of(WALK))[0]
    tones[5] = tones[5]._replace(pitch=lambda t: np.full(len(t), 58.0))
    return pluck(tones)


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    call = run_from("listen")
    write("walk.lick", WALK)
    return call


def test_a_right_take(run: Run, take: Samples) -> None:
    code, out, err = run("walk.lick", write_wave("take.wav", take))
    assert (code, err) == (0, "")
    assert out.splitlines()[:3] == [
        '"Walk": just like the teacher\'s',
        "score 100 of 100: 13 of 13 notes just right",
        "good: every note that can be judged is right, in time and in tune",
    ]
    assert "not judged: which string and fret" in out


def test_a_wrong_note_is_said_and_stands_under_the_tab(run: Run, wrong: Samples) -> None:
    code, out, err = run("walk.lick", write_wave("take.wav", wrong), "--width", "100")
    assert (code, err) == (1, "")
    assert " 1  bar 1, beat 3 &  fret 2 on the G string: Bb was heard, a half step too high" in out
    assert "^1" in out
    assert " 1. find the notes of bar 1 slowly, at " in out


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg", "mp3"])
def test_formats(run: Run, take: Samples, suffix: str) -> None:
    soundfile.write(f"take.{suffix}", np.repeat(take, 2)[:, None].repeat(2, axis=1), 48_000)
    code, out, _ = run("walk.lick", f"take.{suffix}")
    assert code == 0, out


def test_standard_input(run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    file = io.BytesIO()
    soundfile.write(file, take, RATE, format="WAV")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(file.getvalue())))
    assert run("walk.lick", "-")[0] == 0


def _schema() -> Any:
    return json.loads((files("lickwright.listen") / "report.schema.json").read_text("utf-8"))


def test_the_report_is_by_its_schema(run: Run, wrong: Samples) -> None:
    from jsonschema import Draft202012Validator

    write_wave("take.wav", wrong)
    code, out, err = run("walk.lick", "take.wav", "--format", "json", "--report", "r.json")
    assert (code, err) == (1, "")
    found = json.loads(out)
    Draft202012Validator.check_schema(_schema())
    Draft202012Validator(_schema()).validate(found)
    assert found["recognized"]
    assert [n["verdict"] for n in found["passes"][found["best"]]["notes"]].count("wrong") == 1
    kept = json.loads(Path("r.json").read_text("utf-8"))
    Draft202012Validator(_schema()).validate(kept)
    assert {k: v for k, v in kept.items() if k != "seal"} == found
    assert run("walk.lick", "take.wav", "--report", "r.json")[0] == 1  # its own file is replaced
    write("r.json", "mine")
    code, _, err = run("walk.lick", "take.wav", "--report", "r.json")
    assert code == 3
    assert "not overwritten" in err
    assert Path("r.json").read_text() == "mine"


def test_a_report_has_standard_output_to_itself(run: Run, take: Samples) -> None:
    Path("takes").mkdir()
    write_wave("takes/walk.wav", take)
    for words, said in ((("walk.lick", "takes/walk.wav"), "score 100"), (("takes", "--licks", "walk.lick"), "Walk")):
        code, out, err = run(*words, "--report", "-")
        assert code == 0
        assert json.loads(out)["format"].startswith("lickwright listening report")
        assert said in err


def test_a_report_has_the_day_of_its_recording(run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    """That of the file: a report may be made, mailed and opened on other days."""
    Path("takes").mkdir()
    write_wave("takes/walk.wav", take)
    noon = datetime(2026, 5, 28, 12).timestamp()
    for seconds, day in ((noon, "2026-05-28"), (0, "")):  # a clock that was never set
        os.utime("takes/walk.wav", (seconds, seconds))
        run("walk.lick", "takes/walk.wav", "--report", "r.json")
        assert json.loads(Path("r.json").read_text("utf-8"))["recorded_on"] == day
        _, out, _ = run("takes", "--licks", "walk.lick", "--format", "json")
        assert json.loads(out)["recordings"][0]["report"]["recorded_on"] == day


def test_a_refusal_is_by_the_schema_too(run: Run, take: Samples) -> None:
    from jsonschema import Draft202012Validator

    write("hill.lick", HILL)
    code, out, _ = run("hill.lick", write_wave("take.wav", take), "--format", "json")
    assert code == 1
    Draft202012Validator(_schema()).validate(json.loads(out))
    assert not json.loads(out)["recognized"]
    code, out, _ = run("hill.lick", "take.wav", "--picture", "p.svg")
    assert out.splitlines()[0] == '"Hill road": this does not sound like this lick'
    assert "does not sound like" in Path("p.svg").read_text("utf-8")


REACH = 'tempo 60\nstep 1/4\nlick "Reach"\n| A0 A3 D0 D2 | D0 D2 E1&A5 - ||\n'


@pytest.mark.parametrize(("bars", "hard"), [("1-2", True), ("1", False)])
def test_a_lick_that_is_a_stretch_has_its_caution(run: Run, bars: str, hard: bool) -> None:
    """The same sentence as in its tab, judged or refused, and none for the bars that are easy."""
    from lickwright.hand.measures import CAUTION

    write("reach.lick", REACH)
    write_wave("take.wav", np.zeros(RATE, np.float32))
    code, out, _ = run("reach.lick", "take.wav", "--bars", bars, "--width", "160", "--report", "r.json")
    assert code == 1
    assert (CAUTION in " ".join(out.split())) is hard
    assert json.loads(Path("r.json").read_text("utf-8"))["caution"] == (CAUTION if hard else "")


def test_the_picture_shows_the_curve_over_the_notes(run: Run, wrong: Samples) -> None:
    from xml.etree import ElementTree

    code, _, err = run("walk.lick", write_wave("take.wav", wrong), "--picture", "take.svg")
    assert (code, err) == (1, "")
    root = ElementTree.parse("take.svg").getroot()
    name = "{http://www.w3.org/2000/svg}"
    assert len([r for r in root.iter(f"{name}rect") if r.get("height") == "8"]) == 13  # the notes
    curves = [p for p in root.findall(f"{name}polyline") if p.get("stroke") == "#1b5e8c"]
    assert len(curves) >= 5
    words = [t.text for t in root.iter(f"{name}text")]
    assert words[0] == "Walk: 93 of 100"
    assert words.count("bar 1") == words.count("bar 2") == 1
    assert words.count("1") == 1  # the only remark
    frets = [t.text for t in root.iter(f"{name}text") if t.get("font-size") == "10"]
    assert " ".join(map(str, frets)) == "A0 A3 D0 D2 G0 G2 B1 G2 G0 D2 D0 A3 A0"
    x = {t.text: float(t.get("x", 0)) for t in root.iter(f"{name}text")}
    sixth = [float(t.get("x", 0)) for t in root.iter(f"{name}text") if t.text == "G2"][0]
    assert abs(x["1"] - sixth) < 12


def test_a_picture_is_xml_whatever_the_title(run: Run, take: Samples) -> None:
    from xml.etree import ElementTree

    write("odd.lick", WALK.replace("Walk", "Walk \uffff <b> & \U0001f3b8"))
    write_wave("take.wav", take)
    assert run("odd.lick", "take.wav", "--picture", "p.svg")[0] == 0
    title = ElementTree.parse("p.svg").getroot().find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.text == "Walk ? <b> & \U0001f3b8: 100 of 100"


def test_no_line_is_drawn_from_a_note_to_one_an_octave_off(run: Run) -> None:
    from xml.etree import ElementTree

    leaps = 'key A minor\ntempo 100\nstep 1/4\nlick "Leaps"\n| A7 G9 A7 G9 | A7 G9 A7 G9 ||\n'
    write("leaps.lick", leaps)
    write_wave("take.wav", pluck(take_of(timeline_of(leaps))[0]))
    assert run("leaps.lick", "take.wav", "--picture", "take.svg")[0] == 0
    curves = ElementTree.parse("take.svg").getroot().findall("{http://www.w3.org/2000/svg}polyline")
    heights = [
        [float(point.split(",")[1]) for point in one.get("points", "").split()]
        for one in curves
        if one.get("stroke") == "#1b5e8c"
    ]
    assert len(heights) >= 8
    assert max(abs(b - a) for one in heights for a, b in pairwise(one)) < 11  # units of a semitone


def test_a_long_take_is_drawn_in_rows_that_begin_with_bars(run: Run) -> None:
    """A bar that is too long for a row is cut, and a note that lasts into the next row is in both."""
    from xml.etree import ElementTree

    name = "{http://www.w3.org/2000/svg}"
    slow = 'key A minor\ntempo 20\nstep 1/4\nlick "Slow"\n' + "| A0 A3 D0 D2 " * 2 + "||\n"
    write("slow.lick", slow)
    write_wave("take.wav", pluck(take_of(timeline_of(slow))[0]))
    code, _, err = run("slow.lick", "take.wav", "--picture", "take.svg")
    assert (code, err) == (0, "")
    root = ElementTree.parse("take.svg").getroot()
    assert len(root.findall(f"{name}g")) == 4
    assert len([r for r in root.iter(f"{name}rect") if r.get("height") == "8"]) == 8 + 1
    bars = [float(t.get("x", 0)) for t in root.findall(f"{name}text") if (t.text or "").startswith("bar ")]
    assert len([x for x in bars if x < 100]) == 2


def test_a_part_of_the_lick(run: Run) -> None:
    from lickwright.timeline.excerpt import cut_bars

    part, _ = cut_bars(timeline_of(WALK), 2, 2)
    write_wave("take.wav", pluck(take_of(part)[0]))
    code, out, _ = run("walk.lick", "take.wav", "--bars", "2")
    assert code == 0
    assert "5 of 5 notes just right" in out
    code, _, err = run("walk.lick", "take.wav", "--bars", "7")
    assert code == 1
    assert "there is no bar 7" in err


def test_a_part_that_is_ready_is_not_the_whole_lick(run: Run) -> None:
    from lickwright.timeline.excerpt import cut_bars

    write_wave("take.wav", pluck(take_of(cut_bars(timeline_of(WALK), 2, 2)[0])[0]))
    _, out, _ = run("walk.lick", "take.wav", "--bars", "2", "--report", "r.json")
    (step,) = json.loads(Path("r.json").read_text("utf-8"))["practice"]
    assert step == "this part is ready: play it from memory, then with the bars before and after it"
    assert step in " ".join(out.split())


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are text elsewhere")
def test_a_file_name_that_is_no_text(run: Run, wrong: Samples) -> None:
    write_wave("take.wav", wrong)
    name = os.fsdecode(b"ta\xffke.wav")
    os.rename("take.wav", name)
    code, out, err = run("walk.lick", name, "--report", "r.json", "--format", "json")
    assert (code, err) == (1, "")
    assert json.loads(out)["recording"] == json.loads(Path("r.json").read_text("utf-8"))["recording"] == name


def test_a_part_that_is_all_of_the_lick_is_no_part(run: Run, take: Samples) -> None:
    code, out, _ = run("walk.lick", write_wave("take.wav", take), "--bars", "1-2")
    assert code == 0
    assert "it is ready: play it from memory, then in another key" in out


def test_tempos_to_practice_at_are_of_the_ladder_that_is_asked_for(run: Run, wrong: Samples) -> None:
    """The command line's, else that of the project, as the lesson page has it; what was heard before is judged by it too."""
    Path("takes").mkdir()
    write_wave("takes/walk.wav", wrong)

    def tempo(*words: str) -> float:
        run("walk.lick", "takes/walk.wav", "--report", "r.json", *words)
        run("takes", "--licks", "walk.lick", "--report", "all.json", *words)
        report = json.loads(Path("r.json").read_text("utf-8"))
        (entry,) = json.loads(Path("all.json").read_text("utf-8"))["recordings"]
        assert entry["report"]["practice_steps"] == report["practice_steps"]
        return float(report["practice_steps"][0]["bpm"])

    assert tempo() == 80
    write("lickwright.toml", '[make]\nladder = "50%,21,100%"\n')
    assert tempo() == 71
    assert tempo("--ladder", "70%,4,100%") == 78
    assert run("walk.lick", "takes/walk.wav", "--ladder", "up")[0] == 2


def test_a_take_that_breaks_off_is_not_right_yet(run: Run) -> None:
    Path("takes").mkdir()
    timeline = timeline_of(WALK)
    tones = [tone for tone in take_of(timeline)[0] if timeline.sounds[tone.sound].bar == 0]
    write_wave("takes/walk.wav", pluck(tones, tones[-1].end + 1))
    code, out, _ = run("takes", "--licks", "walk.lick", "--report", "all.json")
    assert code == 1
    assert "breaks off in bar 1" in out
    assert out.endswith("1 recording: 1 to practice\n")


def _with_a_pause() -> Samples:
    """`WALK` with a second of silence before its bar 2."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    bar = min(tone.start for tone in tones if timeline.sounds[tone.sound].bar == 1)
    late = [t._replace(start=t.start + 1, end=t.end + 1, pitch=lambda x, t=t: t.pitch(x - 1)) for t in tones]
    return pluck([then if now.start >= bar else now for now, then in zip(tones, late, strict=True)])


def test_a_take_with_a_pause_is_not_right_yet(run: Run) -> None:
    """Each note of it is, and it costs no points; whoever stops in the midst has that to practice, and a class's list must not call it right."""
    Path("takes").mkdir()
    code, out, _ = run("walk.lick", write_wave("takes/walk.wav", _with_a_pause()), "--report", "r.json")
    assert code == 1
    assert "13 of 13 notes just right" in out
    (step,) = json.loads(Path("r.json").read_text("utf-8"))["practice_steps"]
    assert step["words"].startswith("join the parts at bar 2 without a pause")
    assert step["bars"] == [{"from": 1, "to": 2}]
    for _ in range(2):  # the second time from the report
        code, out, _ = run("takes", "--licks", "walk.lick", "--report", "all.json")
        assert code == 1
        assert "a pause before bar 2" in out
        assert out.endswith("1 recording: 1 to practice\n")


def test_a_recording_that_is_cut_off_at_full_level_is_said(run: Run, take: Samples) -> None:
    loud = np.clip(8 * take, -1, 1).astype(np.float32)
    code, _, err = run("walk.lick", write_wave("take.wav", loud), "--report", "r.json")
    assert code == 0
    (note,) = json.loads(Path("r.json").read_text("utf-8"))["notes"]
    assert note in err
    assert err.startswith("take.wav: the recording is too loud and its peaks are cut off: turn it down")
    assert run("walk.lick", write_wave("take.wav", take / np.abs(take).max()))[2] == ""  # one peak is no fault


def test_one_of_several_licks(run: Run, take: Samples) -> None:
    write("two.lick", WALK + HILL.split("\n", 3)[3])
    write_wave("take.wav", take)
    code, _, err = run("two.lick", "take.wav")
    assert code == 2
    assert 'name one with --lick, of "Walk", "Hill road"' in err
    assert run("two.lick", "take.wav", "--lick", "walk")[0] == 0
    assert run("two.lick", "take.wav", "--lick", "none")[0] == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("walk.lick",), "name a RECORDING"),
        ((".",), "name the licks with --licks"),
        (("take.wav", "walk.lick"), "the lick comes first"),
        (("walk.lick", "take.wav", "--report", "-", "--picture", "-"), "can go to standard output"),
        (("walk.lick", "take.wav", "--report", "-", "--format", "json"), "can go to standard output"),
        (("-", "-"), "standard input"),
        (("walk.lick", "take.wav", "--record", "5"), "leave out --record"),
        (("walk.lick", "take.wav", "--keep", "x.wav"), "--keep is about --record"),
        (("walk.lick", "take.wav", "--tempo", "60%"), "--tempo is about --record"),
        (("walk.lick", "take.wav", "--format", "json", "--all"), "--all is about the text"),
        (("walk.lick", "--licks", "walk.lick"), "the first word is a recording or a folder of them"),
        ((".", "take.wav", "--licks", "walk.lick"), "nothing comes after it"),
        ((".", "--licks", "walk.lick", "--picture", "a.svg"), "--picture is about one recording"),
    ],
)
def test_wrong_usage(run: Run, words: tuple[str, ...], said: str) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert said in err


def test_a_lick_with_errors_is_not_listened_for(run: Run, take: Samples) -> None:
    write("bad.lick", 'lick "Bad"\n| e99 ||\n')
    code, out, err = run("bad.lick", write_wave("take.wav", take))
    assert (code, out) == (1, "")
    assert "error" in err


# --- files that are no recordings ------------------------------------------------------------------------------------


def _wave_bytes(wave: Samples, **more: Any) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, wave, RATE, format=more.get("format", "WAV"), subtype=more.get("subtype"))
    return file.getvalue()


def _header(rate: int = RATE, channels: int = 1, length: int = 2**31 - 1) -> bytes:
    """A WAV header that claims `length` bytes of samples."""
    block = 2 * channels
    form = struct.pack("<HHIIHH", 1, channels, rate, (rate * block) & 0xFFFFFFFF, block, 16)
    return (
        b"RIFF"
        + struct.pack("<I", (length + 36) & 0xFFFFFFFF)
        + b"WAVEfmt "
        + struct.pack("<I", 16)
        + form
        + b"data"
        + struct.pack("<I", length)
    )


NOT_RECORDINGS: dict[str, bytes] = {
    "empty": b"",
    "text": b"hello, this is a letter\n" * 50,
    "a film": b"\x00\x00\x00\x20ftypisom\x00\x00\x02\x00isomiso2avc1mp41" + bytes(range(256)) * 40,
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20,
    "half a header": _header()[:20],
    "a header of 2 GB and nothing": _header(),
    "1 sample a second": _header(rate=1, length=200) + bytes(200),
    "400,000 samples a second": _header(rate=400_000, length=200_000) + bytes(200_000),
    "600 channels": _header(channels=600, length=240_000) + bytes(240_000),
    "zeros": bytes(100_000),
}


@pytest.mark.parametrize("name", list(NOT_RECORDINGS))
def test_what_is_no_recording_is_one_clear_error(run: Run, name: str) -> None:
    Path("take.wav").write_bytes(NOT_RECORDINGS[name])
    code, out, err = run("walk.lick", "take.wav")
    assert (code, out) == (3, "")
    assert err.startswith("take.wav: error[L601]: ") or "error" in err.splitlines()[0]
    assert len(err.splitlines()) <= 3, err


def test_a_file_that_is_not_there_and_a_folder(run: Run) -> None:
    for name, said in (("none.wav", "no such file"), (".", "this is a folder")):
        code, out, err = run("walk.lick", name)
        assert (code, out) == (3, "")
        assert said in err, err


def test_a_header_of_two_gigabytes_over_a_short_take(run: Run, take: Samples) -> None:
    Path("take.wav").write_bytes(_header() + (take * 20_000).astype("<i2").tobytes())
    assert run("walk.lick", "take.wav")[0] == 0


def test_a_wrong_sample_rate_is_no_other_lick_s_praise(run: Run, take: Samples) -> None:
    """It sounds an octave lower, at half the tempo: that is said, not judged."""
    code, out, _ = run("walk.lick", write_wave("take.wav", take, RATE // 2), "--width", "120")
    assert code == 1
    assert "it sounds 12 half steps too low and as much too slow: its sample rate is wrong" in out
    assert "score" not in out


@pytest.mark.parametrize(("seconds", "said"), [(0.0, "no sound in it"), (0.05, "only 0.05 seconds of sound in it")])
def test_next_to_nothing(run: Run, take: Samples, seconds: float, said: str) -> None:
    code, out, err = run("walk.lick", write_wave("take.wav", take[: int(seconds * RATE)]))
    assert (code, out) == (3, "")
    assert said in err


def test_silence_and_noise_are_not_judged(run: Run) -> None:
    noise = (0.2 * np.random.default_rng(2).standard_normal(3 * RATE)).astype(np.float32)
    for wave in (np.zeros(3 * RATE, np.float32), np.full(3 * RATE, 0.5, np.float32), noise):
        code, out, _ = run("walk.lick", write_wave("take.wav", wave))
        assert code == 1
        assert "nothing was heard" in out or "does not sound like" in out


def test_a_truncated_mp3_is_heard_as_far_as_it_goes(run: Run, take: Samples) -> None:
    data = _wave_bytes(take, format="MP3")
    Path("take.mp3").write_bytes(data[: len(data) * 2 // 3 + 100])
    kept = os.dup(2)
    with open("decoder.txt", "wb") as file:  # what the decoder itself writes does not go through Python
        os.dup2(file.fileno(), 2)
        try:
            code, out, err = run("walk.lick", "take.mp3")
        finally:
            os.dup2(kept, 2)
            os.close(kept)
    assert code in (0, 1)
    assert "score" in out
    assert len(err.splitlines()) <= 1
    assert Path("decoder.txt").read_bytes() == b""


def test_damaged_bytes_never_end_in_a_traceback(run: Run, take: Samples) -> None:
    random = np.random.default_rng(7)
    for kind in ("WAV", "FLAC", "OGG", "MP3"):
        data = bytearray(_wave_bytes(take[: 2 * RATE], format=kind))
        for at in random.integers(0, len(data), 60):
            data[at] = int(random.integers(256))
        Path("take.bin").write_bytes(bytes(data))
        code, _, err = run("walk.lick", "take.bin")
        assert code in (0, 1, 3)
        assert len(err.splitlines()) <= 3


# --- many -----------------------------------------------------------------------------------------------------------


def test_a_folder_is_matched_by_name_and_by_fit_and_heard_once(
    run: Run, take: Samples, wrong: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    write("licks/walk.lick", WALK)
    write("licks/hill.lick", HILL)
    Path("takes").mkdir()
    write_wave("takes/walk-mara.wav", take)
    hill = pluck(take_of(timeline_of(HILL))[0])
    write_wave("takes/track07.wav", hill)
    write("takes/notes.txt", "no recording")
    code, out, err = run("takes", "--licks", "licks", "--report", "all.json")
    assert (code, err) == (0, "")
    assert [line.split()[0] for line in out.splitlines()] == ["lick", "Hill", "Walk", "2"]
    assert "100%   ready    walk-mara.wav" in out
    assert out.endswith("\n2 recordings: 2 right\n")
    entries = json.loads(Path("all.json").read_text("utf-8"))["recordings"]
    assert {e["file"]: (e["lick"], e["matched_by"]) for e in entries} == {
        "track07.wav": ("Hill road", "fit"), "walk-mara.wav": ("Walk", "name"),
    }  # fmt: skip
    import lickwright.cli.listen_workers as module

    heard: list[str] = []
    once = module._heard
    monkeypatch.setattr(module, "_heard", lambda choice, task: heard.append(task.name) or once(choice, task))
    write_wave("takes/walk-tobin.wav", wrong)
    code, out, _ = run("takes", "--licks", "licks", "--report", "all.json")
    assert code == 1
    assert heard == ["walk-tobin.wav"]
    assert "notes in bar 1 walk-tobin.wav" in " ".join(out.split())
    assert out.endswith("\n3 recordings: 2 right, 1 to practice\n")
    Path("takes/broken.mp3").write_bytes(b"x")
    code, out, _ = run("takes", "--licks", "licks", "--report", "all.json", "--format", "json")
    assert code == 3
    assert heard == ["walk-tobin.wav", "broken.mp3"]
    assert [bool(e["error"]) for e in json.loads(out)["recordings"]] == [True, False, False, False]


def test_one_recording_of_whichever_lick_it_is(run: Run, take: Samples) -> None:
    """With all that there is to say of it, since it is one."""
    write("licks/walk.lick", WALK)
    write("licks/hill.lick", HILL)
    code, out, err = run(write_wave("take.wav", take), "--licks", "licks")
    assert (code, err) == (0, "")
    assert 'take.wav: "Walk", just like the teacher\'s, 100 of 100' in out
    code, out, _ = run("take.wav", "--licks", "licks", "--format", "json")
    assert (code, json.loads(out)["recordings"][0]["lick"]) == (0, "Walk")
    code, _, err = run("gone.wav", "--licks", "licks")
    assert code == 2
    assert "there is no recording and no folder gone.wav" in err
    write("walk.txt", "no recording")
    code, _, err = run("walk.txt", "--licks", "licks")
    assert code == 3
    assert "walk.txt: error: this is not a recording that can be read" in err


def test_a_recording_with_another_lick_s_name_is_said(run: Run, take: Samples) -> None:
    """The lick that it sounds like is named; it is not judged by that one, since the name may be a wish."""
    write("licks/walk.lick", WALK)
    write("licks/hill.lick", HILL)
    Path("takes").mkdir()
    write_wave("takes/hill-road-mara.wav", take)
    for _ in range(2):  # the second time from the report
        code, out, err = run("takes", "--licks", "licks", "--report", "all.json")
        assert (code, err) == (1, "")
        assert 'it sounds like "Walk"' in out
        (entry,) = json.loads(Path("all.json").read_text("utf-8"))["recordings"]
        assert (entry["lick"], entry["report"]["recognized"]) == ("Hill road", False)


def test_what_a_recording_sounds_like_instead_is_of_the_licks_that_there_are(run: Run, take: Samples) -> None:
    write("licks/hill.lick", HILL)
    Path("takes").mkdir()
    write_wave("takes/hill-road-mara.wav", take)
    assert "it sounds like" not in run("takes", "--licks", "licks", "--report", "all.json")[1]
    write("licks/walk.lick", WALK)
    assert 'it sounds like "Walk"' in run("takes", "--licks", "licks", "--report", "all.json")[1]
    Path("licks/walk.lick").unlink()
    assert "it sounds like" not in run("takes", "--licks", "licks", "--report", "all.json")[1]


def test_the_report_on_a_folder_is_by_its_schema(run: Run, take: Samples, wrong: Samples) -> None:
    from jsonschema import Draft202012Validator
    from referencing import Registry, Resource

    Path("takes").mkdir()
    write_wave("takes/walk-mara.wav", take)
    write_wave("takes/track.wav", wrong)
    write_wave("takes/silence.wav", np.zeros(RATE, np.float32))
    write("takes/walk.m4a", "....ftypM4A ")
    _, out, _ = run("takes", "--licks", "walk.lick", "--format", "json", "--report", "all.json")
    schema = json.loads((files("lickwright.listen") / "reports.schema.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    registry = Registry().with_resource("report.schema.json", Resource.from_contents(_schema()))
    for value in (json.loads(out), json.loads(Path("all.json").read_text("utf-8"))):
        Draft202012Validator(schema, registry=registry).validate(value)
        assert [one["matched_by"] for one in value["recordings"]] == ["", "fit", "name", ""]


def test_all_says_what_there_is_to_practice_in_each_recording(run: Run, take: Samples, wrong: Samples) -> None:
    Path("takes").mkdir()
    write_wave("takes/walk-mara.wav", take)
    write_wave("takes/walk-tobin.wav", wrong)
    write("takes/walk-x.m4a", "....ftypM4A ")
    _, short, _ = run("takes", "--licks", "walk.lick", "--report", "all.json")
    assert "not heard: this is " in short
    for _ in range(2):
        _, out, _ = run("takes", "--licks", "walk.lick", "--report", "all.json", "--all", "--width", "60")
        assert max(map(len, out.splitlines())) <= 60
        said = " ".join(out.split())
        assert "never judged: which string and fret you used; " in said
        assert 'walk-mara.wav: "Walk", just like the teacher\'s, 100 of 100 played at 100 beats a minute' in said
        assert (
            "1. bar 1, beat 3 &: fret 2 on the G string: Bb was heard, a half step too high to practice: 1. find"
            in said
        )
    assert run("takes", "--licks", "walk.lick", "--all", "--format", "json")[0] == 2


def test_a_folder_is_looked_into_below(run: Run, take: Samples, wrong: Samples) -> None:
    for name, wave in (("mara/walk.wav", take), ("tobin/walk.wav", wrong), (".old/walk.wav", wrong)):
        Path("takes", name).parent.mkdir(parents=True, exist_ok=True)
        write_wave(f"takes/{name}", wave)
    for _ in range(2):  # the second time from the report, in which both have an entry
        code, _, err = run("takes", "--licks", "walk.lick", "--report", "all.json")
        assert (code, err) == (1, "")
        entries = json.loads(Path("all.json").read_text("utf-8"))["recordings"]
        assert [(e["file"], e["lick"], e["matched_by"], e["differs"]) for e in entries] == [
            ("mara/walk.wav", "Walk", "name", False), ("tobin/walk.wav", "Walk", "name", True),
        ]  # fmt: skip


def test_a_folder_that_cannot_be_read_costs_only_itself(
    run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("open", "shut"):
        Path("takes", name).mkdir(parents=True)
        write_wave(f"takes/{name}/walk.wav", take)
    scan = os.scandir

    def refusing(path: Any = ".") -> Any:
        if str(path).endswith("shut"):
            raise PermissionError(13, "Permission denied", path)
        return scan(path)

    monkeypatch.setattr(os, "scandir", refusing)
    code, out, err = run("takes", "--licks", "walk.lick")
    assert code == 3
    assert "shut: error: the folder cannot be read" in err
    assert "open/walk.wav" in out


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the stand-in reaches a process only by fork")
def test_a_recording_that_ends_its_process_costs_only_itself(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def heard(choice: object, task: Task) -> dict[str, Any]:
        if task.name == "c.wav":
            os._exit(9)
        if task.name == "d.wav":
            raise ZeroDivisionError
        return {"error": "heard"}

    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    monkeypatch.setattr("lickwright.cli.listen_workers._heard", heard)
    for name in "abcde":
        write(f"takes/{name}.wav", "")
    code, out, err = run("takes", "--licks", "walk.lick", "--format", "json")
    assert code == 70
    errors = [one["error"] for one in json.loads(out)["recordings"]]
    assert errors[:2] + errors[4:] == ["heard"] * 3
    assert errors[2] == "listening to it was ended from outside, as happens where memory is short"
    assert errors[3].startswith("ZeroDivisionError")
    assert err.startswith(
        f"c.wav: error: {errors[2]}\nsorry: something went wrong inside lickwright while working on d.wav"
    )


def test_the_licks_of_an_output_folder(run: Run, take: Samples) -> None:
    """Those that its build has on record, wherever they lie; a source that is gone is said, and the others serve."""
    from lickwright.cli import main

    write("songs/walk.lick", WALK)
    write("songs/hill.lick", HILL)
    assert main(["make", "songs", "--to", "tab", "--out", "made", "--jobs", "1"]) == 0
    Path("takes").mkdir()
    write_wave("takes/walk-mara.wav", take)
    Path("songs/hill.lick").unlink()
    code, _, err = run("takes", "--licks", "made", "--report", "all.json")
    assert (code, err) == (0, "1 lick file that made was made of cannot be found, such as songs/hill.lick\n")
    (entry,) = json.loads(Path("all.json").read_text("utf-8"))["recordings"]
    assert (entry["lick"], entry["report"]["passes"][0]["score"]["of_100"]) == ("Walk", 100)
    Path("made/.lickwright.db").write_bytes(b"no record of ours" * 100)
    code, out, err = run("takes", "--licks", "made")
    assert (code, out) == (3, "")
    assert "the index cannot be used" in err


def test_a_named_recording_is_heard_again_only_for_its_own_lick(
    run: Run, take: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    import lickwright.cli.listen_workers as module

    heard: list[str] = []
    monkeypatch.setattr(module, "_heard", lambda choice, task: heard.append(task.name) or {"differs": False})
    write("licks/walk.lick", WALK)
    write("licks/hill.lick", HILL)
    for name in ("walk-mara", "hill-road-mara", "track"):
        Path("takes").mkdir(exist_ok=True)
        write_wave(f"takes/{name}.wav", take[:RATE])
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    command = ("takes", "--licks", "licks", "--report", "all.json")
    assert run(*command)[0] == 0
    assert sorted(heard) == ["hill-road-mara.wav", "track.wav", "walk-mara.wav"]
    heard.clear()
    write("licks/hill.lick", HILL.replace("tempo 96", "tempo 97"))
    assert run(*command)[0] == 0
    assert sorted(heard) == ["hill-road-mara.wav", "track.wav"]
    heard.clear()
    write("licks/lickwright.toml", '[fields]\nby = "Mara Quill"\n')  # which every lick takes over
    assert run(*command)[0] == 0
    assert len(heard) == 3


def test_a_folder_that_is_stopped_goes_on_from_there(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    import lickwright.cli.listen_workers as module

    heard: list[str] = []

    def stopped(choice: object, task: Task) -> dict[str, Any]:
        if task.name == "c.wav":
            raise KeyboardInterrupt
        heard.append(task.name)
        return {"differs": False}

    monkeypatch.setattr(module, "_heard", stopped)
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    for name in "abcd":
        write(f"takes/{name}.wav", "")
    command = ("takes", "--licks", "walk.lick", "--report", "all.json")
    code, _, err = run(*command)
    assert code == 130
    assert err == "2 of 4 recordings heard: the same command goes on from there\nstopped\n"
    monkeypatch.setattr(module, "_heard", lambda choice, task: heard.append(task.name) or {"differs": False})
    assert run(*command)[0] == 0
    assert heard == ["a.wav", "b.wav", "c.wav", "d.wav"]


def test_what_is_noticed_of_a_recording_in_a_folder_is_said(run: Run, take: Samples) -> None:
    Path("takes").mkdir()
    data = _wave_bytes(take, format="FLAC")
    Path("takes/walk.flac").write_bytes(data[: len(data) * 2 // 3])
    for _ in range(2):  # the second time from the report
        _, _, err = run("takes", "--licks", "walk.lick", "--report", "all.json")
        assert err.startswith("walk.flac: the file is damaged after ")


def test_folders_without_recordings_or_licks(run: Run) -> None:
    Path("empty").mkdir()
    code, _, err = run("empty", "--licks", "walk.lick")
    assert code == 3
    assert "there is no recording in empty or below it" in err
    write("empty/a.wav", "")
    code, _, err = run("empty", "--licks", "none.lick")
    assert code == 3
    assert err.startswith("none.lick: error: the file cannot be read: no such file or directory")
    assert "without errors" not in err
    write("bad.lick", 'lick "Bad"\n| e99 ||\n')
    assert run("empty", "--licks", "bad.lick")[0] == 1
