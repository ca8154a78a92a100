"""The contract of the notation, its files: how they are put together, every field, strings, limits.

The music is in `test_contract.py`.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from counted import HEAD, count, errors, timeline
from lickwright.compiler import compile_bytes, compile_text
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.source import Source
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Comment, Field
from lickwright.performance.note_events import perform
from lickwright.settings.fields import FIELDS, Settings
from lickwright.timeline.model import Timeline

F = Fraction
MUSIC = "| G7------- |\n"
LICK = f'lick "Gate"\n{MUSIC}'


def settings(fields: str, music: str = MUSIC) -> Settings:
    return timeline(music, fields).settings if "key" not in fields else _keyed(fields, music).settings


def _keyed(fields: str, music: str) -> Timeline:
    _, (one,), found = count(f'{fields}lick "Gate"\n{music}')
    assert not found, [d.message for d in found]
    return one


def found(text: str) -> list[tuple[str, str]]:
    """Code and severity of all that the whole compiler finds."""
    return [(d.code, d.severity.value) for d in compile_text(text).diagnostics]


def first(text: str) -> Diagnostic:
    return next(d for d in compile_text(text).diagnostics if d.severity is Severity.ERROR)


# --- fields: each with the example values of its row -----------------------------------------------------------------

FIELD_ROWS = (
    *("key", "scale", "box", "tempo", "meter", "pickup", "step", "feel", "chords", "tuning", "capo", "frets"),
    *("reach", "sound", "numbering", "level", "tags", "style", "by", "rights", "source", "from", "note", "meant"),
)

# a field's line, the attribute of the settings that it sets, how that reads
VALUES: tuple[tuple[str, str, Any], ...] = (
    ("key A minor", "key", "A minor"),
    ("key F# major", "key", "F# major"),
    ("key D dorian", "key", "D dorian"),
    ("key C major\nscale pentatonic", "scale", "major pentatonic"),
    ("scale blues", "scale", "minor blues"),
    ("scale 1 b3 4 b5 5 b7", "scale.semitones", (0, 3, 5, 6, 7, 10)),
    ("scale 1 #4 5", "scale.semitones", (0, 6, 7)),
    ("box 1", "box.numbers", (1,)),
    ("box 5", "box.numbers", (5,)),
    ("box 1 2", "box.numbers", (1, 2)),
    ("box E shape", "box.shape", "E"),
    ("box open", "box.window", (0, 3)),
    ("box frets 5-8", "box.window", (5, 8)),
    ("box any", "box.any", True),
    ("box 1 at 12", "box.at", 12),
    ("tempo 96", "tempo.bpm", 96),
    ("tempo 1/4. = 66", "tempo.unit", F(3, 8)),
    ("meter 4/4", "meter.groups", (1, 1, 1, 1)),
    ("meter 12/8", "meter.compound", True),
    ("meter 7/8 2+2+3", "meter.groups", (2, 2, 3)),
    ("pickup 1/4", "pickup", F(1, 4)),
    ("step 1/8", "step", F(1, 8)),
    ("step 1/8.", "step", F(3, 16)),
    ("feel straight", "feel.ratio", (1, 1)),
    ("feel shuffle", "feel.ratio", (2, 1)),
    ("feel swing", "feel.ratio", (3, 2)),
    ("feel swing 5:3", "feel.ratio", (5, 3)),
    ("feel swing 1/16", "feel.unit", F(1, 16)),
    ("tuning standard", "tuning.sounding", (64, 59, 55, 50, 45, 40)),
    ("tuning drop D", "tuning.sounding", (64, 59, 55, 50, 45, 38)),
    ("tuning half step down", "tuning.shift", -1),
    ("tuning open G", "tuning.sounding", (62, 59, 55, 50, 43, 38)),
    ("tuning DADGAD", "tuning.sounding", (62, 57, 55, 50, 45, 38)),
    ("tuning 7 string", "tuning.strings", 7),
    ("tuning bass", "tuning.strings", 4),
    ("tuning D2 A2 D3 G3 B3 E4", "tuning.sounding", (64, 59, 55, 50, 45, 38)),
    ("capo 2", "capo", 2),
    ("frets 24", "frets", 24),
    *((f"reach {v}", "reach", v) for v in ("small", "medium", "large")),
    *((f"sound {v}", "sound", v) for v in ("clean", "crunch", "lead", "acoustic", "nylon", "bass")),
    *((f"numbering {v}", "numbering", v) for v in ("relative", "tonic")),
    *((f"level {v}", "level", v) for v in range(1, 6)),
    *((f"{name} some words", name, "some words") for name in ("tags", "style", "by", "rights", "source")),
    ("from some words", "origin", "some words"),
    ('from "Song # 1"', "origin", "Song # 1"),
    ("note some words\nnote more", "notes", ("some words", "more")),
)


@pytest.mark.parametrize(("line", "name", "value"), VALUES, ids=[row[0] for row in VALUES])
def test_a_field_takes_each_value_of_its_row(line: str, name: str, value: Any) -> None:
    text = line if "scale" in line or "key" in line else f"key A minor\n{line}"
    thing: Any = _keyed(text + "\n", "|" + "3:7 ------- |\n").settings
    for part in name.split("."):
        thing = getattr(thing, part)
    assert (thing if type(thing) is type(value) or not isinstance(value, str) else str(thing)) == value


def test_the_fields_are_those_of_the_contract() -> None:
    assert [row.name for row in FIELDS if row.name != "notation"] == list(FIELD_ROWS)
    assert [row.name for row in FIELDS if row.repeats] == ["note", "meant"]


def test_what_holds_when_nothing_is_written() -> None:
    plain = _keyed("x-none 0\n", MUSIC).settings
    assert (plain.key, plain.scale, plain.box, plain.pickup, plain.level, plain.chords) == (None,) * 5 + ((),)
    assert (plain.tempo.bpm, str(plain.meter), plain.step, str(plain.feel)) == (100, "4/4", F(1, 8), "straight")
    assert (plain.tuning.name, plain.capo, plain.frets, plain.reach) == ("standard", 0, 22, "medium")
    assert (plain.sound, plain.numbering, plain.notes, plain.meant) == ("clean", "relative", (), ())


@pytest.mark.parametrize(
    ("fields", "scale"),
    [
        ("key A minor\nbox 1\n", "minor pentatonic"),
        ("key A dorian\nbox 1\n", "minor pentatonic"),
        ("key A mixolydian\nbox 1\n", "major pentatonic"),
        ("key A minor\n", "natural minor"),
        ("key D dorian\nbox E shape\n", "dorian"),
    ],
)
def test_the_scale_that_a_key_implies(fields: str, scale: str) -> None:
    assert str(settings(fields).scale) == scale


def test_without_a_key_box_and_scale_are_not_checked_and_it_says_so() -> None:
    assert found(f"box 1\n{LICK}") == [("L201", "info")]
    assert ("L202", "warning") in found(f"box frets 1-3\n{LICK}")  # a window of frets needs none


@pytest.mark.parametrize(
    ("fields", "frets"),
    [
        ("key A minor\nbox 1\n", [(5, 8), (17, 20)]),  # every octave on the neck
        ("key A minor\nbox 1 at 12\n", [(17, 20)]),
        ("key A minor\nbox 1 at 3\n", [(5, 8)]),
        ("key A major\nscale pentatonic\nbox 1\n", [(2, 5), (14, 17)]),
        ("key A major\nscale pentatonic\nbox 1\nnumbering tonic\n", [(4, 7), (16, 19)]),
        ("key A minor\nbox open\n", [(0, 3)]),
        ("key A minor\nbox frets 5-8\n", [(5, 8)]),
    ],
)
def test_where_a_box_lies(fields: str, frets: list[tuple[int, int]]) -> None:
    area = settings(fields).area
    assert area is not None
    assert [(box.low, box.high) for box in area.boxes] == frets


@pytest.mark.parametrize(
    "fields",
    ["key A dorian\nscale dorian\nbox 1\n", "key A minor\nbox 1\ntuning drop D\n", "key A minor\nbox 6\n"],
    ids=["seven notes", "tuning", "6"],
)
def test_a_number_wants_a_pentatonic_and_standard_intervals(fields: str) -> None:
    assert errors(f"{fields}{LICK}")[0][0] == "L121"


def test_chords_share_their_bar_and_follow_the_bars_as_written() -> None:
    chords = settings("pickup 1/4\nchords A7 | D7 A7 | E7 . . A7 | | -\n", "| G7 G7 | G7------- |\n").chords
    assert [[(c.at, c.symbol) for c in bar] for bar in chords] == [
        [(F(0), "A7")],
        [(F(0), "D7"), (F(1, 2), "A7")],
        [(F(0), "E7"), (F(3, 4), "A7")],
        [],
        [(F(0), "N.C.")],
    ]
    assert found(f"key A minor\nchords Am | Dm\n{LICK}") == [("L304", "warning")]
    assert found(f"key A minor\nchords Am\n{LICK}{MUSIC}") == []


@pytest.mark.parametrize(
    ("music", "codes"),
    [
        ("| G7 G7 | G7------- ||", ["L303"]),  # undeclared: a warning that offers the line
        ("| G7 G7 ||", ["L301"]),  # in a lick of one bar: an error
    ],
)
def test_a_pick_up_that_is_not_declared(music: str, codes: list[str]) -> None:
    result = compile_text(f"{HEAD}{music}\n").diagnostics
    assert [d.code for d in result] == codes
    assert "pickup 1/4" in (result[0].hint or "")


@pytest.mark.parametrize(
    ("music", "codes"),
    [
        ("| G7 G7 | G7------- ||", []),
        ("| G7 G7 | G7----- ||", []),  # the last bar may lack exactly the pick-up
        ("| G7 G7 |: G7----- :| G7------- ||", []),  # and so may the one before a returning `:|`
        ("| G7 G7 | G7---- ||", ["L301"]),
        ("| G7 G7 | G7----- | G7------- ||", ["L301"]),
        ("| G7 G7 G7 | G7------- ||", ["L302"]),
    ],
)
def test_a_declared_pick_up(music: str, codes: list[str]) -> None:
    assert [d.code for d in compile_text(f'key A minor\npickup 1/4\nlick "Gate"\n{music}\n').diagnostics] == codes


def test_a_capo_and_a_shifted_tuning_change_what_is_heard_and_not_what_is_fingered() -> None:
    for fields, shift in (("capo 2\n", 2), ("tuning half step down\n", -1), ("capo 3\ntuning whole step down\n", 1)):
        one = timeline("| G7", fields)
        assert one.sounds[0].pitch == 62
        assert perform(one).notes[0].pitch == 62 + shift


def test_meant_hides_a_warning_and_never_an_error() -> None:
    blue = 'lick "Gate"\n| A6------- | A7------- ||\n'
    assert found(f"key A minor\n{blue}") == [("L203", "warning")]
    for where in ("", " bar 1"):
        assert found(f'key A minor\nmeant L203{where} "by design"\n{blue}') == []
    assert found(f'key A minor\nmeant L203 bar 2 "no"\n{blue}') == [("L191", "warning"), ("L203", "warning")]
    assert found(f'key A minor\nmeant L301 "no"\n{blue}')[0] == ("L191", "warning")
    short = 'key A minor\nmeant L301 "no"\nlick "Gate"\n| A7 ||\n'
    assert ("L301", "error") in found(short)


def test_an_unknown_field_offers_the_nearest_and_one_of_your_own_is_ignored() -> None:
    error = first(f"tmepo 90\n{LICK}")
    assert (error.code, error.hint) == ("L120", "did you mean `tempo`?")
    assert errors(f"x-shelf 12\nX 3\n{LICK}") == [("L120", "X")]


def test_a_lick_overrides_its_file_and_a_field_stands_once() -> None:
    _, (one, two), bad = count(f'tempo 90\nnote a\nlick "One"\ntempo 60\nnote b\n{MUSIC}lick "Two"\n{MUSIC}')
    assert not bad
    assert (one.settings.tempo.bpm, two.settings.tempo.bpm) == (60, 90)
    assert (one.settings.notes, two.settings.notes) == (("a", "b"), ("a",))
    assert errors(f"tempo 90\ntempo 60\n{LICK}") == [("L122", "tempo")]


# --- the file --------------------------------------------------------------------------------------------------------


def test_marks_of_the_system_are_read_over() -> None:
    plain = f"key A minor\n{LICK}"
    typed = ("\ufeff" + plain.replace("key ", "key\t").replace("\n", "\r\n")).encode()
    result = compile_bytes(typed)
    assert not result.diagnostics
    assert result.licks[0].tab() == compile_text(plain).licks[0].tab()


def test_an_indented_line_goes_on_with_the_field_above() -> None:
    music = "| G7------- | G7------- |\n| G7------- |\n   G7------- ||\n"
    _, (one,), bad = count(f'key A minor\nlick "Gate"\nchords Am |\n   | Dm\n# the music\n{music}')
    assert not bad
    assert [len(bar) for bar in one.settings.chords] == [1, 0, 1]
    assert [bar.number for bar in one.bars] == [1, 2, 3, 4]


def test_music_starts_at_an_unindented_bar_line() -> None:
    assert errors(f'key A minor\nlick "Gate"\n  {MUSIC}')


@pytest.mark.parametrize(
    ("text", "comments"),
    [
        (f"# all\nkey A minor\n{LICK}", ["all"]),
        (f"#all\nkey A minor\n{LICK}", ["all"]),
        (f"key F# minor\n{LICK}", []),
        (f"scale 1 b3 #4 5\n{LICK}", []),
        (f"key A minor # the blues\n{LICK}", ["the blues"]),
        (f'lick "Lick #1" # one\n{MUSIC}', ["one"]),
        ('lick "Gate"\n| G7 - # here\n# and here\n------ |\n', ["here", "and here"]),
        ('lick "Gate"\n| @"bar # 1" G7------- |\n', []),
    ],
)
def test_what_is_a_comment(text: str, comments: list[str]) -> None:
    book, _, bad = count(text)
    assert not bad
    lick = book.licks[0]
    entries = [*book.head, *lick.fields, *lick.music]
    kept = [e.text if isinstance(e, Comment) else e.comment for e in entries if isinstance(e, (Comment, Field))]
    assert [comment for comment in kept if comment] == comments


def test_a_comment_sign_in_quotes_is_safe_in_fields_too() -> None:
    assert not errors(f'key A minor\nmeant L203 "run # 2"\n{LICK}')


def test_in_quotes_a_backslash_makes_a_quote() -> None:
    book, (one,), bad = count('lick "The \\"gate\\""\n| @"say \\"now\\"" G7------- |\n')
    assert not bad
    assert one.title == 'The "gate"'
    assert one.directions[0].text == 'say "now"'


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        (f"lick “Gate”\n{MUSIC}", "“"),
        ('lick "Gate"\n| G7 – ------ |', "–"),
        ('lick "Gate"\n| G7 … ---- |', "…"),
        ('lick "Gate"\n| G7’1------- |', "’"),
        ('lick "Gate"\n| @“now” G7------- |', "@“now”"),
        (f"box frets 5–8\n{LICK}", "frets 5–8"),
        pytest.param(
            f"meant L203 “by design”\n{LICK}",
            "“",
        ),
    ],
)
def test_a_word_processors_mark_is_an_error_that_shows_the_right_one(text: str, sign: str) -> None:
    ((_, at),) = errors(text)
    assert at == sign
    error = first(text)
    assert any(right in f"{error.message} {error.hint}" for right in ('"', "`-`", "`...`", "`'`", "frets 5-8?"))


def test_a_version_line() -> None:
    assert not errors(f"notation 1\n{LICK}")
    assert errors(f"notation 2\n{LICK}") == [("L123", "2")]
    assert errors(f"tempo 90\nnotation 1\n{LICK}") == [("L123", "notation")]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "L118"),
        ("tempo 90\n", "L118"),
        ('lick "Gate"\n', "L118"),
        (MUSIC, "L118"),
        (f"lick Gate\n{MUSIC}", "L115"),
        (f'lick "Gate\n{MUSIC}', "L106"),
        (f"some words\n{LICK}", "L120"),
        (f"G7 A5\n{LICK}", "L117"),
        (f"{LICK}tempo 90\n", "L116"),
        (f"tempo = 90\n{LICK}", "L117"),
    ],
)
def test_a_file_that_is_not_put_together_right(text: str, code: str) -> None:
    assert [found_code for found_code, _ in errors(text)] == [code]


# --- strings ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tuning", "music", "strings"),
    [
        ("standard", "E0 A0 D0 G0 B0 e0", [6, 5, 4, 3, 2, 1]),
        ("standard", "6:0 5:0 4:0 3:0 2:0 1:0", [6, 5, 4, 3, 2, 1]),
        ("half step down", "E0 A0 D0 G0 B0 e0", [6, 5, 4, 3, 2, 1]),
        ("drop D", "6:0 A0 D0 G0 B0 e0", [6, 5, 4, 3, 2, 1]),
        ("7 string", "7:0 E0 A0 D0 G0 B0 e0", [7, 6, 5, 4, 3, 2, 1]),
        ("bass", "E0 A0 D0 G0", [4, 3, 2, 1]),
        ("5 string bass", "B0 E0 A0 D0 G0", [5, 4, 3, 2, 1]),
        ("open G", "6:0 5:0 D0 G0 B0 1:0", [6, 5, 4, 3, 2, 1]),
    ],
)
def test_letters_hold_while_a_string_keeps_its_pitch(tuning: str, music: str, strings: list[int]) -> None:
    assert [sound.string for sound in timeline(f"| {music}", f"tuning {tuning}\n").sounds] == strings


@pytest.mark.parametrize(
    ("tuning", "music", "number"),
    [
        ("drop D", "E0", "6:"),
        ("open G", "A0", "5:"),
        ("open G", "e0", "1:"),
        ("DADGAD", "B0", "2:"),
    ],
)
def test_where_a_letter_does_not_hold_the_error_says_which_number(tuning: str, music: str, number: str) -> None:
    error = first(f'tuning {tuning}\nlick "Gate"\n| {music}------- |\n')
    assert error.code == "L140"
    assert f"`{number}`" in (error.hint or "")


def test_case_is_asked_about_where_the_other_one_would_fit() -> None:
    # both E strings have the same notes at the same frets: what tells them apart is a leap of two octaves and back
    head = 'key A minor\nbox 1\nlick "Gate"\n'
    assert found(f"{head}| E8 e5 B8 B5 G7 - - - ||\n") == [("L209", "warning")]
    assert found(f"{head}| e8 e5 B8 B5 G7 - - - ||\n") == []
    error = first(f"{head}| b8 ------- |\n")
    assert (error.code, error.hint) == ("L103", "write `B8`")


# --- limits: at the limit, and one past it ---------------------------------------------------------------------------


def _nested(depth: int) -> str:
    words = "(pm: " * depth
    return f'lick "Gate"\n| {words}G7{")" * depth} ------- |\n'


def _neck(strings: int) -> str:
    pitches = " ".join(["E2"] * (strings - 1) + ["E4"])
    return f'tuning {pitches}\nlick "Gate"\n| {strings}:0------- |\n'


def _repeated(times: int) -> str:
    return f'lick "Gate"\n| G7------- :|x{times}\n'


LIMITS = (
    ("10,000 events", _repeated(1250), _repeated(1251), "10,000"),
    ("nesting", _nested(16), _nested(17), "16"),
    ("frets", 'lick "Gate"\n| G36------- |', 'lick "Gate"\n| G37------- |', "36"),
    ("neck", f"frets 36\n{LICK}", f"frets 37\n{LICK}", "36"),
    ("bend", 'lick "Gate"\n| G34^36------- |', 'lick "Gate"\n| G34^37------- |', "36"),
    ("strings", _neck(12), _neck(13), "12"),
    ("fewest beats", f"tempo 10\n{LICK}", f"tempo 9\n{LICK}", "10"),
    ("most beats", f"tempo 400\n{LICK}", f"tempo 401\n{LICK}", "400"),
    ("tempo said", 'lick "Gate"\n| @tempo=400 G7------- |', 'lick "Gate"\n| @tempo=401 G7------- |', "400"),
)


@pytest.mark.parametrize(("at", "past", "names"), [row[1:] for row in LIMITS], ids=[row[0] for row in LIMITS])
def test_a_limit_is_named_by_whoever_passes_it(at: str, past: str, names: str) -> None:
    assert not errors(at)
    source, _, bad = count(past)
    wrong = [d for d in bad if d.severity is Severity.ERROR]
    assert wrong
    assert names in f"{wrong[0].message} {wrong[0].hint}"


def test_repeats_are_counted_before_they_are_played() -> None:
    assert [code for code, _ in errors('lick "Gate"\n' + "| G7------- :|x9999\n" * 40)] == ["L113"]


def test_licks_of_a_file() -> None:
    one = 'lick "Gate"\n| G7\n'
    assert not [d for d in parse_source(Source("-", one * 10_000))[1] if d.severity is Severity.ERROR]
    (bad,) = [d for d in parse_source(Source("-", one * 10_001))[1] if d.severity is Severity.ERROR]
    assert bad.code == "L113"
    assert "10,000" in bad.message


def test_size_of_a_file() -> None:
    rest = (1 << 20) - len(LICK.encode()) - 1
    padded = f"#{'x' * (rest - 1)}\n{LICK}".encode()
    assert len(padded) == 1 << 20
    assert compile_bytes(padded).ok
    (bad,) = compile_bytes(b"#" + padded).diagnostics
    assert "1 MiB" in bad.message
