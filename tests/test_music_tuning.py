"""Tunings: pitches, which letters hold, and what counts as standard."""

from __future__ import annotations

import pytest

from lickwright.music.fretboard import lay_out_per_string
from lickwright.music.pitch import parse_pitch
from lickwright.music.tuning import TUNING_NAMES, Tuning, parse_tuning

# Low to high, as a player says them.
PITCHES = {
    "standard": "E2 A2 D3 G3 B3 E4",
    "half step down": "Eb2 Ab2 Db3 Gb3 Bb3 Eb4",
    "whole step down": "D2 G2 C3 F3 A3 D4",
    "drop D": "D2 A2 D3 G3 B3 E4",
    "drop C": "C2 G2 C3 F3 A3 D4",
    "double drop D": "D2 A2 D3 G3 B3 D4",
    "open G": "D2 G2 D3 G3 B3 D4",
    "open D": "D2 A2 D3 F#3 A3 D4",
    "open E": "E2 B2 E3 G#3 B3 E4",
    "open A": "E2 A2 E3 A3 C#4 E4",
    "DADGAD": "D2 A2 D3 G3 A3 D4",
    "all fourths": "E2 A2 D3 G3 C4 F4",
    "baritone": "B1 E2 A2 D3 F#3 B3",
    "7 string": "B1 E2 A2 D3 G3 B3 E4",
    "8 string": "F#1 B1 E2 A2 D3 G3 B3 E4",
    "12 string": "E2 A2 D3 G3 B3 E4",
    "bass": "E1 A1 D2 G2",
    "5 string bass": "B0 E1 A1 D2 G2",
    "6 string bass": "B0 E1 A1 D2 G2 C3",
}
# How each string is written, low to high.
WRITTEN = {
    "standard": "E A D G B e",
    "half step down": "E A D G B e",
    "baritone": "E A D G B e",
    "12 string": "E A D G B e",
    "drop D": "6: A D G B e",
    "drop C": "6: 5: 4: 3: 2: 1:",
    "double drop D": "6: A D G B 1:",
    "open G": "6: 5: D G B 1:",
    "open D": "6: A D 3: 2: 1:",
    "DADGAD": "6: A D G 2: 1:",
    "all fourths": "E A D G 2: 1:",
    "7 string": "7: E A D G B e",
    "8 string": "8: 7: E A D G B e",
    "bass": "E A D G",
    "5 string bass": "B E A D G",
    "6 string bass": "B E A D G 1:",
}


def low_to_high(tuning: Tuning) -> range:
    return range(tuning.strings, 0, -1)


def test_the_table_names_every_tuning() -> None:
    assert set(PITCHES) == set(TUNING_NAMES)


@pytest.mark.parametrize(("name", "pitches"), PITCHES.items())
def test_named_tunings_sound_their_pitches(name: str, pitches: str) -> None:
    tuning = parse_tuning(name)
    assert [tuning.sounding[string - 1] for string in low_to_high(tuning)] == [parse_pitch(p) for p in pitches.split()]
    assert parse_tuning(name.upper().replace(" ", "  ")) == tuning
    given = parse_tuning(pitches)
    assert given.name == pitches
    assert (given.sounding, given.nominal, given.is_bass) == (tuning.sounding, tuning.nominal, tuning.is_bass)


@pytest.mark.parametrize(("name", "written"), WRITTEN.items())
def test_letters_name_only_strings_that_keep_their_pitch(name: str, written: str) -> None:
    tuning = parse_tuning(name)
    assert [tuning.written(string) for string in low_to_high(tuning)] == written.split()
    held = {letter: tuning.strings - i for i, letter in enumerate(written.split()) if not letter.endswith(":")}
    assert dict(tuning.letters) == held


def test_tunings_that_shift_all_strings_alike_are_named_as_standard() -> None:
    shifts = {name: parse_tuning(name).shift for name in TUNING_NAMES if parse_tuning(name).shift}
    assert shifts == {"half step down": -1, "whole step down": -2, "baritone": -5}
    for name in shifts:
        assert parse_tuning(name).nominal == parse_tuning("standard").nominal
        assert parse_tuning(name).standard_intervals
    low_bass = parse_tuning("Eb1 Ab1 Db2 Gb2")
    assert (low_bass.shift, low_bass.is_bass, low_bass.nominal) == (-1, True, parse_tuning("bass").nominal)


def test_standard_intervals() -> None:
    altered = {name for name in TUNING_NAMES if not parse_tuning(name).standard_intervals}
    assert altered == {
        "drop D", "drop C", "double drop D", "open G", "open D", "open E", "open A", "DADGAD", "all fourths",
    }  # fmt: skip


def test_basses() -> None:
    assert {name for name in TUNING_NAMES if parse_tuning(name).is_bass} == {"bass", "5 string bass", "6 string bass"}
    dropped = parse_tuning("D1 A1 D2 G2")
    assert (dropped.is_bass, [dropped.written(s) for s in (4, 3, 2, 1)]) == (True, ["4:", "A", "D", "G"])
    octave_down = parse_tuning("E1 A1 D2 G2 B2 E3")  # a guitar an octave lower: fingered as a guitar
    assert (octave_down.is_bass, octave_down.shift, octave_down.written(1)) == (False, -12, "e")


def test_labels() -> None:
    assert parse_tuning("standard").labels == ("e", "B", "G", "D", "A", "E")
    assert parse_tuning("open D").labels == ("D", "A", "F#", "D", "A", "D")
    assert parse_tuning("D2 G2 Db3 G3 Bb3 D4").label(2) == "Bb"
    assert parse_tuning("6 string bass").label(1) == "C"


def test_the_same_pitch_on_the_next_string() -> None:
    """Up one string is five frets fewer, but four from G to B."""
    tuning = parse_tuning("standard")
    assert [tuning.open(s - 1) - tuning.open(s) for s in range(6, 1, -1)] == [5, 5, 5, 4, 5]


OCTAVES = [(6, 4, 2), (5, 3, 2), (4, 2, 3), (3, 1, 3), (6, 3, -3), (5, 2, -2), (4, 1, -2)]


@pytest.mark.parametrize(("low", "high", "frets"), OCTAVES)
def test_octave_twins(low: int, high: int, frets: int) -> None:
    tuning = parse_tuning("standard")
    assert tuning.open(high) + 5 + frets - (tuning.open(low) + 5) == 12


# Intervals low to high; drift in frets of pentatonic runs two a string and diatonic ones three a string, mean of all.
DRIFTS = {
    "standard": ("5 5 5 4 5", 0.0, 1.7),
    "half step down": ("5 5 5 4 5", 0.0, 1.7),
    "baritone": ("5 5 5 4 5", 0.0, 1.7),
    "drop D": ("7 5 5 4 5", -2.0, -0.3),
    "all fourths": ("5 5 5 5 5", -1.0, 0.7),
    "open G": ("5 7 5 4 3", 0.0, 1.7),
    "DADGAD": ("7 5 5 2 5", 0.0, 1.7),
    "7 string": ("5 5 5 5 4 5", -0.2, 1.9),
    "bass": ("5 5 5", -0.6, 0.4),
}


@pytest.mark.parametrize(("name", "intervals", "penta", "diatonic"), [(n, *row) for n, row in DRIFTS.items()])
def test_drift(name: str, intervals: str, penta: float, diatonic: float) -> None:
    tuning = parse_tuning(name)
    opens = tuning.nominal
    assert [opens[s - 2] - opens[s - 1] for s in range(len(opens), 1, -1)] == [int(i) for i in intervals.split()]
    two = [lay_out_per_string(2, i, 9, (0, 3, 5, 7, 10), opens, tuning.strings).drift for i in range(5)]
    three = [lay_out_per_string(3, i, 7, (0, 2, 4, 5, 7, 9, 11), opens, tuning.strings).drift for i in range(7)]
    assert round(sum(two) / 5, 1) == penta
    assert round(sum(three) / 7, 1) == diatonic


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("drop E", '"drop E" is not a tuning known here: drop D?'),
        ("", '"" is not a tuning known here: name its pitches low to high, such as D2 A2 D3 G3 B3 E4'),
        ("E2 A2 D3", "3 strings: a tuning names 4 to 12, low to high"),
        ("E2 A2 D3 G3 B3 e4", '"e4" is not a pitch: write E4'),
        ("E2 A2 D3 G3 B3 E9", "no string is tuned to E9: pitches go from C0 to C7, C4 is middle C"),
    ],
)
def test_a_wrong_tuning_gets_the_right_one(text: str, message: str) -> None:
    with pytest.raises(ValueError) as error:
        parse_tuning(text)
    assert str(error.value) == message


def test_twelve_pitches_are_twelve_strings() -> None:
    tuning = parse_tuning(" ".join(["E2", "A2", "D3", "G3", "B3", "E4"] * 2))
    assert tuning.strings == 12
    assert tuning.written(12) == "12:"
