"""Note names, pitches, keys and how a key spells the notes."""

from __future__ import annotations

import pytest

from lickwright.music.pitch import (
    MODES,
    PLAIN_NAMES,
    Degree,
    Key,
    NoteName,
    note_name,
    parse_key,
    parse_note_name,
    parse_pitch,
    pitch_name,
)


@pytest.mark.parametrize(
    ("text", "pc"), [("C", 0), ("F#", 6), ("Bb", 10), ("C##", 2), ("Ebb", 2), ("Cb", 11), ("B#", 0), ("E", 4)]
)
def test_note_names_keep_their_spelling(text: str, pc: int) -> None:
    name = parse_note_name(text)
    assert (str(name), name.pc) == (text, pc)


@pytest.mark.parametrize(
    ("text", "midi"),
    [("C4", 60), ("E2", 40), ("D2", 38), ("F#3", 54), ("Bb3", 58), ("Cb4", 59), ("B#3", 60), ("B0", 23), ("C-1", 0)],
)
def test_pitches(text: str, midi: int) -> None:
    assert parse_pitch(text) == midi


@pytest.mark.parametrize(
    ("text", "advice"), [("f#", "write F#"), ("bb", "write Bb"), ("F♯", "write F#"), ("H", "write B")]
)
def test_a_wrong_note_name_gets_the_right_one(text: str, advice: str) -> None:
    with pytest.raises(ValueError, match=f'^"{text}" is not a note name: {advice}$'):
        parse_note_name(text)


@pytest.mark.parametrize("text", ["", "D", "d2", "D2x", "G#9", "Cb-1"])
def test_no_pitch(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not a pitch|outside what can be played"):
        parse_pitch(text)


SIGNATURES = {
    "C major": 0, "G major": 1, "F major": -1, "F# major": 6, "Gb major": -6, "C# major": 7, "Cb major": -7,
    "A minor": 0, "E minor": 1, "C minor": -3, "Eb minor": -6, "D# minor": 6, "G# minor": 5, "A aeolian": 0,
    "D dorian": 0, "E phrygian": 0, "F lydian": 0, "G mixolydian": 0, "B locrian": 0, "C ionian": 0,
    "A harmonic minor": 0, "A melodic minor": 0, "A dorian": 1, "A mixolydian": 2,
}  # fmt: skip


@pytest.mark.parametrize(("text", "signature"), SIGNATURES.items())
def test_signatures(text: str, signature: int) -> None:
    assert parse_key(text).signature == signature


def test_parent_majors_of_the_modes() -> None:
    """The parent major lies 0 10 8 7 5 3 1 semitones above the mode's tonic: its notes are the mode's."""
    modes = ("major", "dorian", "phrygian", "lydian", "mixolydian", "minor", "locrian")
    for mode, up in zip(modes, (0, 10, 8, 7, 5, 3, 1), strict=True):
        parent = {(up + degree.semitones) % 12 for degree in MODES["major"]}
        assert {degree.semitones for degree in MODES[mode]} == parent, mode


def test_minor_keys_are_those_with_a_minor_third() -> None:
    minor = {mode for mode in MODES if Key(NoteName("A", 0), mode).is_minor}
    assert minor == {"minor", "dorian", "phrygian", "locrian", "harmonic minor", "melodic minor"}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Am", '"Am" is a chord symbol: write A minor'),
        ("bbmaj", '"bbmaj" is a chord symbol: write Bb major'),
        ("A", '"A" does not say which mode: write A minor or A major'),
        ("a minor", '"a" is not a note name: write A'),
        ("D dorain", '"dorain" is not a mode: D dorian?'),
        ("A minor pentatonic", "minor pentatonic is a scale: write key A minor and scale minor pentatonic"),
        ("Cb dorian", "Cb dorian would have 9 flats: write B dorian"),
        ("Ab locrian", "Ab locrian would have 9 flats: write G# locrian"),
        ("G# major", "G# major would have 8 sharps: write Ab major"),
        ("E# minor", "E# minor would have 8 sharps: write F minor"),
    ],
)
def test_a_wrong_key_gets_the_right_one(text: str, message: str) -> None:
    with pytest.raises(ValueError) as error:
        parse_key(text)
    assert str(error.value) == message


def test_case_and_spaces_of_modes_do_not_matter() -> None:
    assert parse_key("A  Minor") == parse_key("A natural minor") == parse_key("A aeolian") == parse_key("A minor")
    assert str(parse_key("A aeolian")) == "A minor"


def test_transposed_keys_are_the_ones_players_name() -> None:
    minor = [str(parse_key("A minor").transposed(up).tonic) for up in range(12)]
    assert minor == ["A", "Bb", "B", "C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#"]
    major = [str(parse_key("C major").transposed(up).tonic) for up in range(12)]
    assert major == ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    assert str(parse_key("Gb major").transposed(-12)) == "Gb major"


def test_every_transposed_key_can_be_typed_and_sounds_right() -> None:
    for mode in MODES:
        for tonic in PLAIN_NAMES:
            for up in range(-12, 13):
                key = Key(tonic, mode).transposed(up)
                assert key.tonic.pc == (tonic.pc + up) % 12
                if up % 12:
                    assert parse_key(str(key)) == key
                assert -7 <= key.signature <= 7


@pytest.mark.parametrize(
    ("key", "names"),
    [
        ("A minor", "A Bb B C C# D Eb E F F# G G#"),
        ("A major", "A Bb B C C# D D# E F F# G G#"),
        ("F# major", "F# G G# A A# B B# C# D D# E E#"),
        ("Eb minor", "Eb Fb F Gb G Ab A Bb Cb C Db D"),  # no Bbb and no Dbb: the plain name
        ("C lydian", "C Db D Eb E F F# G Ab A Bb B"),
        ("B locrian", "B C C# D D# E F F# G G# A A#"),
        ("G# harmonic minor", "G# A A# B B# C# D D# E E# F# F##"),  # the key's own seventh is F##
    ],
)
def test_notes_are_spelled_by_the_key(key: str, names: str) -> None:
    parsed = parse_key(key)
    spelled = [pitch_name(60 + parsed.tonic.pc + up, parsed).rstrip("0123456789") for up in range(12)]
    assert spelled == names.split()


def test_the_octave_belongs_to_the_letter() -> None:
    assert pitch_name(59, parse_key("Eb minor")) == "Cb4"
    assert pitch_name(60, parse_key("C# major")) == "B#3"
    assert [pitch_name(midi) for midi in (40, 58, 60, 61)] == ["E2", "Bb3", "C4", "C#4"]


def test_names_and_pitches_agree_everywhere() -> None:
    for mode in MODES:
        for up in range(12):
            key = parse_key(f"A {mode}").transposed(up)
            for midi in range(20, 100):
                assert parse_pitch(pitch_name(midi, key)) == midi


def test_degrees() -> None:
    assert str(Degree(3, -1)) == "b3"
    assert Degree(4, 1).semitones == Degree(5, -1).semitones == 6
    assert Degree(9, -1).semitones == 1


def test_eb_locrian_keeps_its_name() -> None:
    key = parse_key("Eb locrian")
    assert str(key) == "Eb locrian"
    assert [str(note_name(key.tonic.pc + degree.semitones, key)) for degree in key.degrees] == [
        "Eb",
        "Fb",
        "Gb",
        "Ab",
        "Bbb",
        "Cb",
        "Db",
    ]
