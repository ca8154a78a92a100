"""Albums: what a house says of its recordings, in every format, and a sound that is kept when only words change."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile

import album as readers
from lickwright.backends import SOUND_FORMATS, Album
from lickwright.backends.audio_file import Form, encode, save, tagged
from lickwright.backends.audio_tags import Tags
from lickwright.cli import main
from lickwright.library.cover import LARGEST, cover
from lickwright.library.house import find_house
from lickwright.synth.take import RATE, Mark
from lickwright.synth.wave import Wave

COUNT = 9_000
NOISE = np.random.default_rng(5).normal(0, 0.1, (2, COUNT)).astype(np.float32)
PICTURE = cover(readers.png(filler=70_000), "cover.png")
MARKS = (Mark(0.0, "bar 1"), Mark(0.1, "bar 2"))
PLAIN = Tags("Gate", "", "", "1/4 = 60", MARKS)
FULL = Tags(
    "Näher ♯4", "Mara Quill", "own ©", "1/4 = 60", MARKS, Album("Porch songs", "Blues", "2026", PICTURE), track=12
)
CHANGED = FULL._replace(title="Gate, again", track=13, album=Album("Porch songs, volume 2"))


def made(kind: str, tags: Tags) -> bytes:
    file = io.BytesIO()
    save(file, io.BytesIO(b"something that is there before"), iter((NOISE,)), Form(kind, COUNT, RATE), tags)
    return file.getvalue()


def again(kind: str, data: bytes, tags: Tags) -> bytes:
    file = io.BytesIO()
    tagged(file, io.BytesIO(data), Form(kind, COUNT, RATE), tags)
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
    bare = encode(io.BytesIO(), iter((NOISE,)), Form(kind, COUNT, RATE))
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
    found = cover(readers.jpeg(), "x.png")
    assert (found.mime, found.width, found.height) == ("image/jpeg", 5, 4)
    whole = readers.jpeg()
    for wrong in (b"", b"GIF89a" + bytes(40), readers.png()[:20], readers.png(0), whole[:20], whole[:2] + b"\xff" * 99):
        with pytest.raises(ValueError, match="no PNG or JPEG picture"):
            cover(wrong, "x.png")


def test_a_house_has_an_album(tmp_path: Path) -> None:
    (tmp_path / "art").mkdir()
    (tmp_path / "art" / "front").write_bytes(readers.png())
    text = '[album]\ntitle = "Porch songs"\ngenre = "Blues"\nyear = 2026\ncover = "art/front"\n'
    (tmp_path / "lickwright.toml").write_text(text, "utf-8")
    house = find_house(str(tmp_path))
    assert house is not None
    assert house.album == Album("Porch songs", "Blues", "2026", cover(readers.png(), ""))
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
        ("deep", "is a folder, a picture is wanted"),
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

    monkeypatch.setattr("lickwright.backends.audio.recorded", noise)
    monkeypatch.chdir(tmp_path)
    licks = tmp_path / "licks"
    for name, titles in (("a/one", "A B"), ("b/two", "C"), ("b/other/x", "X"), ("c", "D")):
        path = licks / f"{name}.lick"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("by Mara Quill\n" + "".join(f'lick "{title}"\n{BAR}' for title in titles.split()), "utf-8")
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
