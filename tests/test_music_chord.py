"""Chord symbols and the line of chords."""

from __future__ import annotations

import re
from fractions import Fraction as F

import pytest

from lickwright.music.chord import chart_signs, parse_chord, parse_chord_bars
from lickwright.music.pitch import parse_key

# Degrees in semitones above the root; ninths and above stay above the octave.
CHORDS = {
    "A": "0 4 7", "Amaj": "0 4 7", "Am": "0 3 7", "Amin": "0 3 7", "A5": "0 7", "Adim": "0 3 6", "A°": "0 3 6",
    "Aaug": "0 4 8", "A+": "0 4 8", "Asus2": "0 2 7", "Asus4": "0 5 7", "Asus": "0 5 7",
    "A6": "0 4 7 9", "Am6": "0 3 7 9", "A6/9": "0 4 7 9 14", "A69": "0 4 7 9 14",
    "A7": "0 4 7 10", "Am7": "0 3 7 10", "Amaj7": "0 4 7 11", "AM7": "0 4 7 11", "AmM7": "0 3 7 11",
    "Ammaj7": "0 3 7 11", "Am(maj7)": "0 3 7 11", "Adim7": "0 3 6 9", "Am7b5": "0 3 6 10", "Aø": "0 3 6 10",
    "Aø7": "0 3 6 10", "Aaug7": "0 4 8 10", "A7#5": "0 4 8 10", "A7sus4": "0 5 7 10", "A9": "0 4 7 10 14",
    "Am9": "0 3 7 10 14", "Amaj9": "0 4 7 11 14", "A11": "0 4 7 10 14 17", "A13": "0 4 7 10 14 21",
    "A7#9": "0 4 7 10 15", "A7b9": "0 4 7 10 13", "A7(b9,#5)": "0 4 8 10 13", "A13(#11)": "0 4 7 10 14 18 21",
    "A7b13": "0 4 7 10 20", "Aadd9": "0 4 7 14", "Amadd9": "0 3 7 14", "A7alt": "0 4 6 8 10 13 15", "Ano3": "0 7",
}  # fmt: skip


@pytest.mark.parametrize(("symbol", "intervals"), CHORDS.items())
def test_chord_symbols(symbol: str, intervals: str) -> None:
    chord = parse_chord(symbol)
    assert chord is not None
    assert chord.intervals == tuple(map(int, intervals.split()))
    assert (chord.symbol, str(chord.root), chord.bass) == (symbol, "A", None)


def test_roots_and_basses() -> None:
    chord = parse_chord("F#m7/C#")
    assert chord is not None
    assert (str(chord.root), str(chord.bass)) == ("F#", "C#")
    assert chord.pitch_classes == {6, 9, 1, 4}
    over = parse_chord("C/Bb")
    assert over is not None
    assert over.pitch_classes == {0, 4, 7, 10}


@pytest.mark.parametrize("text", ["-", "N.C.", "NC"])
def test_no_chord(text: str) -> None:
    assert parse_chord(text) is None


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("am7", "write Am7$"),
        ("A-7", "write Am7 for minor$"),
        ("H7", "write B7"),
        ("A7#15", "is not a chord known here"),
        ("A(maj7", "is not a chord known here"),
        ("A/3", "is not a chord known here"),
        ("%", "keeps the chord"),
    ],
)
def test_a_wrong_symbol_says_what_is_right(text: str, advice: str) -> None:
    with pytest.raises(ValueError, match=advice):
        parse_chord(text)


@pytest.mark.parametrize(
    ("symbol", "up", "key", "moved"),
    [
        ("A7#9", 3, "C minor", "C7#9"),
        ("F#m7/C#", -2, "E minor", "Em7/B"),
        ("D", 1, "Bb minor", "Eb"),
        ("E7", 2, "F# major", "F#7"),
        ("A", 12, "A minor", "A"),
    ],
)
def test_transposed_chords_are_spelled_by_the_new_key(symbol: str, up: int, key: str, moved: str) -> None:
    chord = parse_chord(symbol)
    assert chord is not None
    found = chord.transposed(up, parse_key(key))
    assert found == parse_chord(moved)


def test_chord_bars() -> None:
    bars = parse_chord_bars("A7 | D7 A7 | E7 . . A7 | | -")
    starts = [[(entry.at, entry.symbol) for entry in bar] for bar in bars]
    assert starts == [
        [(F(0), "A7")],
        [(F(0), "D7"), (F(1, 2), "A7")],
        [(F(0), "E7"), (F(3, 4), "A7")],
        [],
        [(F(0), "N.C.")],
    ]
    assert bars[4][0].chord is None


def test_bar_lines_at_the_ends_change_nothing() -> None:
    assert parse_chord_bars("| A7 | D7 |") == parse_chord_bars("A7|D7")
    assert parse_chord_bars("") == ()
    assert parse_chord_bars("| | A7") == ((), parse_chord_bars("A7")[0])
    assert parse_chord_bars(". D7")[0][0].at == F(1, 2)


def test_a_wrong_symbol_in_a_bar_is_named() -> None:
    with pytest.raises(ValueError, match='"Q7" is not a chord'):
        parse_chord_bars("A7 | Q7")


def test_a_printed_chart_is_read_as_the_short_signs_are() -> None:
    printed, typed = "A7 / D7 / | N.C. | E7 / / A7 | | C/E /", "A7 . D7 . | - | E7 . . A7 | | C/E ."
    assert parse_chord_bars(printed) == parse_chord_bars(typed)
    assert chart_signs(typed) == chart_signs(printed) == printed
    assert chart_signs("|A7|-|  NC  |.|") == "|A7|N.C.| N.C. |/|"


@pytest.mark.parametrize(("typed", "right"), [("A7 ///", "write / / /"), ("n.c.", "write N.C."), ("Hm7", "write Bm7")])
def test_other_signs_are_told_the_printed_ones(typed: str, right: str) -> None:
    with pytest.raises(ValueError, match=re.escape(right)):
        parse_chord_bars(typed)
