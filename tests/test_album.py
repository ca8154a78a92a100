"""Albums: what a house says of its recordings, in every format, and a sound that is kept when only words change."""

from __future__ import annotations

import ast
import io
import multiprocessing
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile

import album as readers
from lickwright.cli import main
from lickwright.config.cover import LARGEST, parse_cover
from lickwright.config.discovery import find_house
from lickwright.export import SOUND_FORMATS, Album, LoweredLick, audio
from lickwright.export.audio.encoding import SoundFormat, encode_sound, write_audio, write_tagged
from lickwright.export.audio.tags import Tags
from lickwright.store import recorded_sounds
from lickwright.synth.arrangement import RATE, Cue
from lickwright.synth.wave import Wave

COUNT = 9_000
NOISE = np.random.default_rng(5).normal(0, 0.1, (2, COUNT)).astype(np.float32)
PICTURE = parse_cover(readers.png(filler=70_000), "cover.png")
MARKS = (Cue(0.0, "bar 1"), Cue(0.1, "bar 2"))
PLAIN = Tags("Gate", "", "", "1/4 = 60", MARKS)
FULL = Tags(
    "Näher ♯4", "Mara Quill", "own ©", "1/4 = 60", MARKS, Album("Porch songs", "Blues", "2026", PICTURE), track=12
)
CHANGED = FULL._replace(title="Gate, again", track=13, album=Album("Porch songs, volume 2"))


def made(kind: str, tags: Tags) -> bytes:
    file = io.BytesIO()
    write_audio(
        file, io.BytesIO(b"something that is there before"), iter((NOISE,)), SoundFormat(kind, COUNT, RATE), tags
    )
    return file.getvalue()


def again(kind: str, data: bytes, tags: Tags) -> bytes:
    file = io.BytesIO()
    write_tagged(file, io.BytesIO(data), SoundFormat(kind, COUNT, RATE), tags)
    return file.getvalue()


def chunks(data: bytes) -> dict[bytes, bytes]:
    found, at = {}, 12
    while at < len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        found[data[at : at + 4] + (data[at + 8 : at + 12] if data[at : at + 4] == b"LIST" else b"")] = data[
            at + 8 : at + 8 + size
        ]
        at += 8 + size + size % 2
    return found


@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_an_album_stands_in_every_format(kind: str) -> None:
    data = made(kind, FULL)
    if kind != "mp3":  # of which libsndfile reads no tags
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            said = (file.title, file.artist, file.album, file.genre, file.date, file.tracknumber, file.copyright)
        assert said == ("Näher ♯4", "Mara Quill", "Porch songs", "Blues", "2026", "12", "own ©")
    if kind in ("wav", "mp3"):
        frames = readers.id3(chunks(data)[b"id3 "] if kind == "wav" else data)
        names = ("TIT2", "TPE1", "TCOM", "TALB", "TRCK", "TCON", "TDRC", "TCOP")
        assert [frames[name] for name in names] == [
            [text] for text in ("Näher ♯4", "Mara Quill", "Mara Quill", "Porch songs", "12", "Blues", "2026", "own ©")
        ]
        assert frames["APIC"] == [b"\0image/png\0\3\0" + PICTURE.data]
        assert len(frames["CHAP"]) == 2
        return
    blocks = readers.flac(data) if kind == "flac" else {}
    said = readers.comment(blocks[4]) if kind == "flac" else readers.ogg(data)
    assert (said["COMPOSER"], said["ALBUM"], said["TRACKNUMBER"]) == ("Mara Quill", "Porch songs", "12")
    shown = readers.picture(blocks[6]) if kind == "flac" else readers.embedded(said["METADATA_BLOCK_PICTURE"])
    assert shown == (3, "image/png", 3, 2, PICTURE.data)


@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_other_words_round_the_same_sound_are_what_a_new_recording_would_be(kind: str) -> None:
    """Whatever stands in a file before, byte for byte; and its samples are those that were encoded."""
    bare = encode_sound(io.BytesIO(), iter((NOISE,)), SoundFormat(kind, COUNT, RATE))
    bare.seek(0)
    samples, rate = soundfile.read(io.BytesIO(bare.read()), dtype="float32")
    for before in (PLAIN, FULL):
        for after in (PLAIN, FULL, CHANGED):
            data = again(kind, made(kind, before), after)
            assert data == made(kind, after)
            wave, same = soundfile.read(io.BytesIO(data), dtype="float32")
            assert same == rate
            assert np.array_equal(wave, samples)


@pytest.mark.parametrize("kind", SOUND_FORMATS)
def test_what_is_no_such_file_is_refused(kind: str) -> None:
    data = made(kind, FULL)
    start = {"wav": 40, "flac": 60, "mp3": 5, "ogg": 300}[kind]
    for wrong in (b"", b"x" * 4000, data[:start], made("wav" if kind != "wav" else "flac", PLAIN)):
        with pytest.raises(ValueError, match="."):
            again(kind, wrong, PLAIN)


def test_without_an_album_nothing_is_said_of_one() -> None:
    assert not {"TALB", "TRCK", "TCON", "TDRC", "APIC", "TCOM", "TPE1"} & readers.id3(made("mp3", PLAIN)).keys()
    assert set(readers.comment(readers.flac(made("flac", PLAIN))[4])) == {"TITLE", "SOFTWARE", "COMMENT"}


# --- what a house says ------------------------------------------------------------------------------------------------


def test_pictures_are_known_by_their_bytes() -> None:
    assert (PICTURE.mime, PICTURE.width, PICTURE.height) == ("image/png", 3, 2)
    found = parse_cover(readers.jpeg(), "x.png")
    assert (found.mime, found.width, found.height) == ("image/jpeg", 5, 4)
    whole = readers.jpeg()
    for wrong in (b"", b"GIF89a" + bytes(40), readers.png()[:20], readers.png(0), whole[:20], whole[:2] + b"\xff" * 99):
        with pytest.raises(ValueError, match="no PNG or JPEG picture"):
            parse_cover(wrong, "x.png")


def test_a_house_has_an_album(tmp_path: Path) -> None:
    (tmp_path / "art").mkdir()
    (tmp_path / "art" / "front").write_bytes(readers.png())
    text = '[album]\ntitle = "Porch songs"\ngenre = "Blues"\nyear = 2026\ncover = "art/front"\n'
    (tmp_path / "lickwright.toml").write_text(text, "utf-8")
    house = find_house(str(tmp_path))
    assert house is not None
    assert house.album == Album("Porch songs", "Blues", "2026", parse_cover(readers.png(), ""))
    (tmp_path / "lickwright.toml").write_text("[make]\nwidth = 80\n", "utf-8")
    assert (find_house(str(tmp_path)) or house).album is None


def test_a_cover_is_found_only_in_the_house(tmp_path: Path) -> None:
    home = tmp_path / "licks"
    (home / "deep").mkdir(parents=True)
    (tmp_path / "secret.png").write_bytes(readers.png())
    (home / "link.png").symlink_to("../secret.png")
    (home / "away").symlink_to("..")
    (home / "inside.png").symlink_to("deep/real.png")
    (home / "deep" / "real.png").write_bytes(readers.png())
    (home / "large.png").write_bytes(readers.png(filler=LARGEST))
    (home / "text.png").write_text("no picture", "utf-8")
    for name, words in (
        ("../secret.png", "lies outside this folder"),
        (str(tmp_path / "secret.png"), "lies outside this folder"),
        ("link.png", "is a link that leads out of this folder"),
        ("away/secret.png", "is a link that leads out of this folder"),
        ("deep", "is a folder, a picture is needed"),
        ("gone.png", "cannot be read"),
        ("large.png", "is larger than 2 MiB"),
        ("text.png", "is no PNG or JPEG picture"),
    ):
        (home / "lickwright.toml").write_text(f'[album]\ncover = "{name}"\n', "utf-8")
        house = find_house(str(home))
        assert house is not None
        assert [(d.code, words in d.message) for d in house.findings] == [("L703", True)], house.findings
    (home / "lickwright.toml").write_text('[album]\ncover = "inside.png"\n', "utf-8")
    house = find_house(str(home))
    assert house is not None
    assert house.ok, house.findings


# --- a library --------------------------------------------------------------------------------------------------------

BAR = "| G5 - G7 - B5 - B8 - ||\n"
ALBUM = '[make]\nto = "audio"\nformat = "mp3"\n[album]\ntitle = "Porch songs"\n'


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Four licks in three files, and a shelf of another house among them; a recording is noise, quickly made."""

    def noise(*_: object) -> Wave:
        wave = Wave(COUNT, io.BytesIO())
        wave.write(0, NOISE)
        return wave

    monkeypatch.setattr("lickwright.export.audio.render_samples", noise)
    monkeypatch.chdir(tmp_path)
    licks = tmp_path / "licks"
    for name, titles in (("a/one", "A B"), ("b/two", "C"), ("b/other/x", "X"), ("c", "D")):
        path = licks / f"{name}.lick"
        path.parent.mkdir(parents=True, exist_ok=True)
        licks_of = (f'lick "{title}"\n{BAR.replace("B8", f"B{ord(title) % 16}")}' for title in titles.split())
        path.write_text("by Mara Quill\n" + "".join(licks_of), "utf-8")
    (licks / "lickwright.toml").write_text(ALBUM, "utf-8")
    (licks / "b" / "other" / "lickwright.toml").write_text(ALBUM, "utf-8")
    return licks


def built(*paths: str) -> dict[str, str]:
    """Track numbers after a build, by title."""
    assert main(["make", *paths, "--jobs", "1"]) == 0
    found = {}
    for path in Path("out").rglob("*.mp3"):
        frames = readers.id3(path.read_bytes())
        found[str(frames["TIT2"][0])] = str(frames["TRCK"][0])
    return found


def test_tracks_are_numbered_in_the_order_of_the_book(library: Path) -> None:
    numbers = {"D": "1", "A": "2", "B": "3", "C": "4", "X": "1"}
    assert built("licks") == numbers
    (library / "a" / "one.lick").write_text(f'lick "A"\n{BAR}lick "B"\n{BAR}# changed\n', "utf-8")
    assert built("licks/a/one.lick") == numbers  # whatever is made, the book is the same
    assert built("licks/b") == numbers
    (library / "a" / "new.lick").write_text(f'lick "New"\n{BAR}', "utf-8")
    assert built("licks") == {"D": "1", "New": "2", "A": "3", "B": "4", "C": "5", "X": "1"}


def test_without_a_title_there_are_no_numbers(library: Path) -> None:
    (library / "lickwright.toml").write_text(ALBUM.replace("title", "genre"), "utf-8")
    assert main(["make", "licks/c.lick", "--jobs", "1"]) == 0
    frames = readers.id3(Path("out/c/d.mp3").read_bytes())
    assert "TRCK" not in frames
    assert frames["TCON"] == ["Porch songs"]


def test_the_recordings_of_a_practice_set_have_a_number_each(library: Path) -> None:
    (library / "lickwright.toml").write_text(ALBUM.replace("[album]", "practice = true\n[album]"), "utf-8")
    numbers = built("licks/c.lick", "licks/a/one.lick")
    assert sorted(numbers.values(), key=int) == [str(n) for n in range(1, 13)]
    assert numbers["D (slow, 60 bpm)"] == "1"
    assert numbers["B (ladder, 60 to 100 bpm)"] == "12"


# --- sounds that are there already ------------------------------------------------------------------------------------


@pytest.fixture
def played(library: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The titles of licks that are played after a first build, which plays all."""
    titles: list[str] = []
    noise = audio.render_samples

    def noted(stages: LoweredLick, *more: object) -> Wave:
        titles.append(stages.timeline.title)
        return noise(stages, *more)  # type: ignore[arg-type]

    monkeypatch.setattr("lickwright.export.audio.render_samples", noted)
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert sorted(titles) == ["A", "B", "C", "D", "X"]
    titles.clear()
    return titles


def recordings(out: str = "out") -> dict[str, bytes]:
    return {str(path.relative_to(out)): path.read_bytes() for path in Path(out).rglob("*.mp3")}


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def test_what_changes_in_words_only_is_not_played_again(library: Path, played: list[str]) -> None:
    before = recordings()
    rewrite(library / "a" / "one.lick", "Mara Quill", "Ned Farrow")
    rewrite(library / "lickwright.toml", "Porch songs", "Gate songs")
    (library / "cover.png").write_bytes(readers.png())
    with (library / "lickwright.toml").open("a", encoding="utf-8") as file:
        file.write('cover = "cover.png"\nyear = 2026\n')
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert played == []
    after = recordings()
    assert after.keys() == before.keys()
    frames = readers.id3(after["a/one/a.mp3"])
    assert (frames["TPE1"], frames["TALB"], frames["TDRC"]) == (["Ned Farrow"], ["Gate songs"], ["2026"])
    assert "APIC" in frames
    assert main(["make", "licks", "--jobs", "1", "--out", "new"]) == 0
    assert sorted(played) == ["A", "B", "C", "D", "X"]
    assert recordings("new") == after  # byte for byte what a new recording is


def test_what_is_moved_or_renamed_is_not_played_again(library: Path, played: list[str]) -> None:
    (library / "a" / "one.lick").rename(library / "b" / "moved.lick")
    rewrite(library / "c.lick", '"D"', '"Gate"')
    assert main(["make", "licks", "--jobs", "1", "--prune"]) == 0
    assert played == []
    assert recordings().keys() == {"b/moved/a.mp3", "b/moved/b.mp3", "b/two/c.mp3", "b/other/x/x.mp3", "c/gate.mp3"}
    assert main(["make", "licks", "--jobs", "1", "--out", "new"]) == 0
    assert recordings("new") == recordings()
    played.clear()
    rewrite(library / "c.lick", '"Gate"', '"D"')  # the sound is on record under its new name
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert played == []


def test_a_tempo_another_practice_set_or_format_is_played_once(library: Path, played: list[str]) -> None:
    for more, times in ((["--tempo", "60%"], 1), (["--format", "ogg"], 1), ([], 0), (["--tempo", "60"], 0)):
        played.clear()
        assert main(["make", "licks/c.lick", "--jobs", "1", *more]) == 0
        assert len(played) == times, more


@pytest.mark.parametrize(
    ("old", "new"), [("B4", "B7"), ("- ||", "B5 ||"), ("by ", "sound nylon\nby "), ("by ", "tempo 90\nby ")]
)
def test_what_sounds_otherwise_is_played(library: Path, played: list[str], old: str, new: str) -> None:
    rewrite(library / "c.lick", old, new)
    assert main(["make", "licks/c.lick", "--jobs", "1"]) == 0
    assert played == ["D"]


def test_a_file_that_is_not_as_it_was_left_is_not_believed(library: Path, played: list[str]) -> None:
    (library / "c.lick").rename(library / "e.lick")
    (library / "b" / "two.lick").rename(library / "b" / "three.lick")
    made = Path("out/c/d.mp3")
    data = bytearray(made.read_bytes())
    data[-1] ^= 1
    made.write_bytes(data)
    Path("out/b/two/c.mp3").unlink()
    Path("out/b/two/c.mp3").symlink_to("../../a/one/a.mp3")
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert sorted(played) == ["C", "D"]


def test_sounds_go_from_the_record_with_their_files(library: Path, played: list[str]) -> None:
    with closing(sqlite3.connect("out/.lickwright.db")) as db:
        assert db.execute("SELECT count(*) FROM sounds").fetchone() == (5,)
    (library / "a" / "one.lick").unlink()
    assert main(["make", "licks", "--jobs", "1", "--prune"]) == 0
    with closing(sqlite3.connect("out/.lickwright.db")) as db:
        assert db.execute("SELECT count(*) FROM sounds JOIN outputs USING (hash)").fetchone() == (3,)
        assert db.execute("SELECT count(*) FROM sounds").fetchone() == (3,)
        db.execute("UPDATE sounds SET sound = 1 << 40")  # no key of ours: passed over
        db.commit()
    rewrite(library / "c.lick", "Mara Quill", "Ned Farrow")
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert played == ["D"]


def test_shares_that_are_brought_together_keep_their_sounds(library: Path, played: list[str]) -> None:
    for number in (1, 2):
        assert main(["make", "licks", "--jobs", "1", "--shard", f"{number}/2", "--out", f"part{number}"]) == 0
    assert main(["make", "part1", "part2", "--merge", "--out", "whole"]) == 0
    played.clear()
    rewrite(library / "lickwright.toml", "Porch songs", "Gate songs")
    assert main(["make", "licks", "--jobs", "1", "--out", "whole"]) == 0
    assert played == []


def test_all_that_makes_sound_counts_in_its_key() -> None:
    """A module that `synth` or the encoder imports stands in the list; those that only carry values do not change samples."""
    package = Path(recorded_sounds.__file__).parents[1]
    carrying = ("timeline.model", "core.fast_dataclass", "core.interrupts", "export.audio.tags", "export.audio.ogg")
    for path in (*package.glob("synth/*.py"), package / "export" / "audio" / "encoding.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("lickwright."):
                name = str(node.module).removeprefix("lickwright.")
                found = (
                    name.partition(".")[0] in recorded_sounds.SOUNDING,
                    f"{name.replace('.', '/')}.py" in recorded_sounds.SOUNDING,
                    name in carrying,
                )
                assert any(found), f"{path}: {name}"
    assert all((package / part).exists() for part in recorded_sounds.SOUNDING)


def test_workers_know_the_sounds_too(library: Path, played: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    if "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("what is patched here is not patched in a process that is started anew")
    rewrite(library / "lickwright.toml", "Porch songs", "Gate songs")
    before = {path: path.read_bytes() for path in Path("out").rglob("*.mp3") if path.name != "x.mp3"}

    def refuse(*_: object) -> Wave:
        raise AssertionError("played")

    monkeypatch.setattr(audio, "render_samples", refuse)
    assert main(["make", "licks", "--jobs", "2"]) == 0
    assert all(path.read_bytes() != data for path, data in before.items())


def test_a_dry_run_foretells_what_is_played(
    library: Path, played: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    rewrite(library / "lickwright.toml", "Porch songs", "Gate songs")
    capsys.readouterr()
    assert main(["make", "licks", "--jobs", "1", "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert "would make licks/c.lick: 1 file" in said
    assert "of sound" not in said, said
    rewrite(library / "c.lick", "- ||", "B5 ||")
    assert main(["make", "licks", "--jobs", "1", "--dry-run"]) == 0
    assert "of sound" in capsys.readouterr().out


def test_a_release_whose_tags_would_change_is_not_ready(
    library: Path, played: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    def why() -> str:
        capsys.readouterr()
        main(["library", "out", "--ready"])
        return capsys.readouterr().out

    assert "album" not in why()
    rewrite(library / "lickwright.toml", "Porch songs", "Gate songs")
    assert "its album changed since" in why()
    assert main(["make", "licks", "--jobs", "1"]) == 0
    assert "album" not in why()
    (library / "aa.lick").write_text(f'lick "New"\n{BAR}', "utf-8")
    assert "its number in the album changed since" in why()
