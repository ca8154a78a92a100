"""Scales by name and by degrees, what a key implies, and the names of degrees."""

from __future__ import annotations

import pytest

from lickwright.music.pitch import parse_key
from lickwright.music.scale import SCALE_NAMES, Scale, default_scale, degree_name, parse_scale

A_MINOR, A_MAJOR = parse_key("A minor"), parse_key("A major")

# The trade's degree sets: Lydian's 4 is #4 and Locrian's 5 is b5, though both are six semitones.
DEGREES = {
    "ionian": "1 2 3 4 5 6 7",
    "dorian": "1 2 b3 4 5 6 b7",
    "phrygian": "1 b2 b3 4 5 b6 b7",
    "lydian": "1 2 3 #4 5 6 7",
    "mixolydian": "1 2 3 4 5 6 b7",
    "aeolian": "1 2 b3 4 5 b6 b7",
    "locrian": "1 b2 b3 4 b5 b6 b7",
    "harmonic minor": "1 2 b3 4 5 b6 7",
    "melodic minor": "1 2 b3 4 5 6 7",
    "minor pentatonic": "1 b3 4 5 b7",
    "major pentatonic": "1 2 3 5 6",
    "minor blues": "1 b3 4 b5 5 b7",
    "major blues": "1 2 b3 3 5 6",
    "major+minor pentatonic": "1 2 b3 3 4 5 6 b7",
    "minor + major pentatonic": "1 2 b3 3 4 5 6 b7",
}


@pytest.mark.parametrize(("name", "degrees"), DEGREES.items())
def test_named_scales(name: str, degrees: str) -> None:
    scale = parse_scale(name, A_MINOR)
    assert " ".join(map(str, scale.degrees)) == degrees
    assert parse_scale(degrees, A_MINOR) == scale  # the degrees alone are the same scale
    assert list(scale.semitones) == sorted(set(scale.semitones))


def test_every_listed_name_is_read() -> None:
    assert len(SCALE_NAMES) >= 18
    for name in SCALE_NAMES:
        assert parse_scale(name.upper(), A_MAJOR).notes >= 5


@pytest.mark.parametrize("mode", ["minor", "dorian", "phrygian", "locrian", "harmonic minor", "melodic minor"])
def test_bare_names_follow_the_third_of_the_key(mode: str) -> None:
    key = parse_key(f"A {mode}")
    assert parse_scale("blues", key).name == "minor blues"
    assert parse_scale("pentatonic", key) == default_scale(key, numbered_box=True)


def test_bare_names_in_major_and_without_a_key() -> None:
    assert parse_scale("blues", A_MAJOR).name == "major blues"
    assert parse_scale("blues", None).name == "minor blues"
    assert default_scale(parse_key("A mixolydian"), numbered_box=True).name == "major pentatonic"
    assert default_scale(A_MINOR, numbered_box=False).name == "natural minor"
    assert default_scale(parse_key("D dorian"), numbered_box=False).degrees == parse_key("D dorian").degrees


def test_the_pentatonic_family() -> None:
    family = {name for name in SCALE_NAMES if parse_scale(name, A_MINOR).is_pentatonic_family}
    assert family == {
        "pentatonic", "blues", "minor pentatonic", "major pentatonic", "minor blues", "major blues",
    }  # fmt: skip
    assert {name for name in family if parse_scale(name, A_MINOR).is_blues} == {"blues", "minor blues", "major blues"}
    raised = parse_scale("1 b3 4 #4 5 b7", A_MINOR)  # the same notes, the blue one spelled as it rises
    assert raised.is_blues
    assert raised.name == "1 b3 4 #4 5 b7"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("minor pentatonik", '"minor pentatonik" is not a scale known here: minor pentatonic?'),
        ("A minor pentatonic", "the key gives the tonic: write key A …, scale minor pentatonic"),
        ("b3 4 5", "a scale holds its tonic: write 1 b3 4 5"),
        ("1 #4 b5", "#4 and b5 are the same note: name it once"),
        ("1 b3 9", "a scale's degrees go from 1 to 7: write 2 for 9"),
        ("1 5", "a scale of 2 notes is none: name three or more, such as 1 b3 4 5 b7"),
        ("1 b3 x4", '"x4" is not a degree: write 1, b3, #4 and so on'),
    ],
)
def test_a_wrong_scale_gets_the_right_one(text: str, message: str) -> None:
    with pytest.raises(ValueError) as error:
        parse_scale(text, A_MINOR)
    assert str(error.value) == message


def test_degrees_may_stand_in_any_order() -> None:
    assert parse_scale("5 1 b7 4 b3", None).name == "minor pentatonic"


def test_degree_names_come_from_scale_then_key_then_habit() -> None:
    blues = parse_scale("blues", A_MINOR)
    minor = [degree_name(up, blues, A_MINOR) for up in range(12)]
    assert minor == ["1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7"]
    assert degree_name(6, parse_scale("1 b3 4 #4 5 b7", None), A_MINOR) == "#4"
    assert degree_name(6, parse_scale("major pentatonic", A_MAJOR), A_MAJOR) == "#4"
    assert degree_name(6, None, parse_key("B locrian")) == "b5"
    assert degree_name(18, None, None) == "b5"


def test_scales_are_values() -> None:
    pentatonic = parse_scale("minor pentatonic", None)
    assert Scale("minor pentatonic", pentatonic.degrees) == pentatonic
    assert hash(Scale("minor pentatonic", pentatonic.degrees)) == hash(pentatonic)


def test_over_a_dominant_chord_blues_is_the_minor_one() -> None:
    mixolydian = parse_key("A mixolydian")
    assert parse_scale("blues", mixolydian).name == parse_scale("Blues scale", mixolydian).name == "minor blues"
    assert parse_scale("pentatonic", mixolydian).name == "major pentatonic"
    assert parse_scale("blues", A_MAJOR).name == "major blues"
