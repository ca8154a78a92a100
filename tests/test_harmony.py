"""The chord under each note, what the note is in it, and the names of chords."""

from __future__ import annotations

import pytest

from lickwright import compile_text
from lickwright.harmony import chord_tones, chords_of, chords_under
from lickwright.music.chord import parse_chord, parse_chord_name
from lickwright.timeline import Timeline


def counted(music: str, head: str) -> Timeline:
    timeline = compile_text(f'{head}\nlick "Over"\n{music}\n').licks[0].timeline
    assert timeline is not None
    return timeline


def under(music: str, head: str) -> list[str]:
    return [chord.symbol if chord else "" for chord in chords_under(counted(music, head))]


BAR = "A5- D5- G5- D7-"


def test_a_chord_holds_until_the_next() -> None:
    assert under(f"| {BAR} | {BAR} ||", "chords Am | D7 G") == ["Am"] * 4 + ["D7", "D7", "G", "G"]
    assert under(f"| {BAR} | {BAR} ||", "chords Am") == ["Am"] * 8
    assert under(f"| {BAR} | {BAR} ||", "chords Am | - C") == ["Am"] * 4 + ["", "", "C", "C"]
    assert under(f"| {BAR} ||", "key A minor") == [""] * 4


def test_a_pick_up_has_none_and_repeats_keep_theirs() -> None:
    assert under(f"| A7 A5 | {BAR} | A5- D5- G5- ||", "pickup 1/4\nchords Am | C") == ["", "", *["Am"] * 4, *["C"] * 3]
    assert under(f"|: {BAR} | % :|", "chords Am | C") == (["Am"] * 4 + ["C"] * 4) * 2


@pytest.mark.parametrize(
    ("chord", "tones"),
    [
        ("Am", ["1", "b3", "5", "-", "-"]), ("Am7", ["1", "b3", "5", "b7", "-"]), ("C", ["-", "1", "3", "5", "-"]),
        ("D9", ["5", "b7", "9", "-", "1"]), ("A7#9", ["1", "#9", "5", "b7", "-"]), ("Fmaj7", ["3", "5", "7", "-", "-"]),
        ("G/A", ["A", "-", "-", "1", "5"]), ("Bdim7", ["-", "-", "-", "-", "b3"]),
    ],
)  # fmt: skip
def test_what_a_note_is_in_its_chord(chord: str, tones: list[str]) -> None:
    assert list(chord_tones(counted("| D7 G5 B5 B8 G7 - . . ||", f"chords {chord}"))) == tones


def test_bends_dead_notes_and_capo() -> None:
    assert chord_tones(counted("| B8^10 Gx B8^^10 G<12> . . . . ||", "chords Am7")) == ("b7", "", "1", "b7")
    assert chord_tones(counted("| D7 G5 B5 . . . . . ||", "chords Am\ncapo 3")) == ("1", "b3", "5")


def test_each_chord_once() -> None:
    assert [str(c) for c in chords_of(counted(f"| {BAR} ||", "chords Am | D7 Am | - | Am"))] == ["Am", "D7"]


@pytest.mark.parametrize(
    ("written", "plain"),
    [("Amin7", "Am7"), ("A#", "Bb"), ("CM7", "Cmaj7"), ("B°", "Bdim"), ("Bø", "Bm7b5"), ("Db7", "C#7"), ("C/G", "C/G"), ("Ammaj7", "Am(maj7)")],
)  # fmt: skip
def test_a_chord_has_one_plain_name(written: str, plain: str) -> None:
    chord = parse_chord(written)
    assert chord is not None and chord.plain == plain


@pytest.mark.parametrize(
    ("words", "symbol"),
    [("A minor", "Am"), ("a major", "A"), ("C major 7", "Cmaj7"), ("bb dominant 7", "Bb7"), ("A m7", "Am7"), ("F# half diminished", "F#m7b5")],
)  # fmt: skip
def test_chords_in_words(words: str, symbol: str) -> None:
    assert str(parse_chord_name(words)) == symbol
