"""Note values, meters, tempos and swing."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from lickwright.music.rhythm import (
    Meter,
    Tempo,
    parse_feel,
    parse_length,
    parse_meter,
    parse_tempo,
    parse_value,
    value_name,
)

FOUR = parse_meter("4/4")


@pytest.mark.parametrize(
    ("text", "value", "name"),
    [
        ("1/1", F(1), "whole"),
        ("1/2.", F(3, 4), "dotted half"),
        ("1/4", F(1, 4), "quarter"),
        ("1/4..", F(7, 16), "double-dotted quarter"),
        ("1/8.", F(3, 16), "dotted eighth"),
        ("1/16", F(1, 16), "sixteenth"),
        ("1/64", F(1, 64), "sixty-fourth"),
    ],
)
def test_note_values(text: str, value: F, name: str) -> None:
    assert (parse_value(text), value_name(value)) == (value, name)


def test_values_that_are_no_plain_note() -> None:
    assert value_name(F(1, 12)) == "triplet eighth"
    assert value_name(F(5, 32)) == "5/32 of a whole note"
    assert value_name(F(1, 20)) == "1/20 of a whole note"
    assert parse_length("3/8") == F(3, 8)
    assert parse_length("1/4.") == F(3, 8)


@pytest.mark.parametrize("text", ["1/12", "1/3", "2/8", "1/8...", "1/128", "8", "", "1/0"])
def test_no_note_value(text: str) -> None:
    with pytest.raises(ValueError, match="is not a note value: 1/1, 1/2, 1/4"):
        parse_value(text)


@pytest.mark.parametrize(
    ("text", "length", "beat", "beats"),
    [
        ("4/4", F(1), F(1, 4), 4),
        ("3/4", F(3, 4), F(1, 4), 3),
        ("2/2", F(1), F(1, 2), 2),
        ("5/4", F(5, 4), F(1, 4), 5),
        ("3/8", F(3, 8), F(1, 8), 3),
        ("6/8", F(3, 4), F(3, 8), 2),
        ("9/8", F(9, 8), F(3, 8), 3),
        ("12/8", F(3, 2), F(3, 8), 4),
        ("7/8 2+2+3", F(7, 8), F(1, 8), 7),
        ("5/4 3+2", F(5, 4), F(1, 4), 5),
        ("8/8 3+3+2", F(1), F(1, 8), 8),
        ("12/8 3+3+2+2+2", F(3, 2), F(1, 8), 12),
    ],
)
def test_meters(text: str, length: F, beat: F, beats: int) -> None:
    meter = parse_meter(text)
    assert (str(meter), meter.length, meter.beat, len(meter.pulses)) == (text, length, beat, beats)
    assert sum(meter.groups) == meter.beats


@pytest.mark.parametrize(
    ("meter", "length", "words"),
    [
        ("4/4", F(1, 4), "1 beat"),
        ("4/4", F(3, 4), "3 beats"),
        ("4/4", F(1, 8), "half a beat"),
        ("4/4", F(3, 8), "1 1/2 beats"),
        ("4/4", F(1, 16), "1 sixteenth note"),
        ("4/4", F(5, 16), "5 sixteenth notes"),
        ("2/2", F(1, 4), "half a beat"),
        ("6/8", F(3, 8), "1 beat"),
        ("6/8", F(1, 8), "1 eighth note"),
        ("12/8", F(9, 16), "9 sixteenth notes"),
        ("7/8 2+2+3", F(2, 8), "2 beats"),
    ],
)
def test_a_length_in_a_teacher_s_words(meter: str, length: F, words: str) -> None:
    assert parse_meter(meter).length_name(length) == words


def test_the_usual_grouping_need_not_be_said() -> None:
    assert parse_meter("6/8 3+3") == parse_meter("6/8") == Meter(6, 8)
    assert str(parse_meter("12/8 3+3+3+3")) == "12/8"
    assert parse_meter("4/4 2+2") != FOUR


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("7/8 2+2", "the groups 2+2 make 4, 7/8 asks for 7"),
        ("4/3", '"4/3" is not a meter: the lower number is 1, 2, 4, 8, 16, 32 or 64, not 3'),
        ("0/4", '"0/4" is not a meter: the upper number goes from 1 to 64'),
        ("four", '"four" is not a meter: write 4/4, 12/8, or grouped as 7/8 2+2+3'),
    ],
)
def test_no_meter(text: str, message: str) -> None:
    with pytest.raises(ValueError) as error:
        parse_meter(text)
    assert str(error.value) == message


def test_tempos() -> None:
    assert parse_tempo("96") == Tempo(F(96), None)
    assert parse_tempo("1/4. = 66") == parse_tempo("1/4.=66") == Tempo(F(66), F(3, 8))
    assert parse_tempo("96").quarters_per_minute(FOUR) == 96
    assert parse_tempo("66").quarters_per_minute(parse_meter("6/8")) == 99  # a dotted quarter is the beat
    assert parse_tempo("1/8 = 100").quarters_per_minute(FOUR) == 50
    assert parse_tempo("72.5").bpm == F(145, 2)
    assert (parse_tempo("10").bpm, parse_tempo("400").bpm) == (F(10), F(400))


@pytest.mark.parametrize("text", ["9", "401", "fast", "", "1/4 =", "= 90", "1/5 = 90", "-60"])
def test_no_tempo(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not a tempo|a tempo goes from 10 to 400|is not a note value"):
        parse_tempo(text)


@pytest.mark.parametrize(
    ("text", "unit", "ratio"),
    [
        ("straight", F(1, 8), (1, 1)),
        ("shuffle", F(1, 8), (2, 1)),
        ("swing", F(1, 8), (3, 2)),
        ("swing 5:3", F(1, 8), (5, 3)),
        ("swing 1/16", F(1, 16), (3, 2)),
        ("shuffle 1/16", F(1, 16), (2, 1)),
        ("swing 5:3 1/16", F(1, 16), (5, 3)),
    ],
)
def test_feels(text: str, unit: F, ratio: tuple[int, int]) -> None:
    feel = parse_feel(text)
    assert (feel.unit, feel.ratio, str(feel)) == (unit, ratio, text)


def test_ratios_are_reduced() -> None:
    assert parse_feel("swing 10:6") == parse_feel("swing 5:3")


@pytest.mark.parametrize("text", ["swong", "swing 3:5", "shuffle 3:1", "straight 1/8", "swing 1/2", "swing 99:1", ""])
def test_no_feel(text: str) -> None:
    with pytest.raises(
        ValueError, match=r"is not a feel|ratio|shuffle is 2:1|straight takes nothing|value that swings"
    ):
        parse_feel(text)
