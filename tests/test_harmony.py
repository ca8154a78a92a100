"""The chord under each note, what the note is in it, and the names of chords."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from commanding import Run
from lickwright import compile_text
from lickwright.export import Options
from lickwright.music.chord import parse_chord, parse_chord_name
from lickwright.timeline.harmony import chord_tones, chords_under, distinct_chords
from lickwright.timeline.model import Timeline


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
        ("Am", ["1", "b3", "5", "no", "no"]), ("Am7", ["1", "b3", "5", "b7", "no"]), ("C", ["no", "1", "3", "5", "no"]),
        ("D9", ["5", "b7", "9", "no", "1"]), ("A7#9", ["1", "#9", "5", "b7", "no"]), ("Fmaj7", ["3", "5", "7", "no", "no"]),
        ("G/A", ["A", "no", "no", "1", "5"]), ("Bdim7", ["no", "no", "no", "no", "b3"]),
    ],
)  # fmt: skip
def test_what_a_note_is_in_its_chord(chord: str, tones: list[str]) -> None:
    assert list(chord_tones(counted("| D7 G5 B5 B8 G7 - . . ||", f"chords {chord}"))) == tones


def test_bends_dead_notes_and_capo() -> None:
    assert chord_tones(counted("| B8^10 Gx B8^^10 G<12> . . . . ||", "chords Am7")) == ("b7", "", "1", "b7")
    assert chord_tones(counted("| D7 G5 B5 . . . . . ||", "chords Am\ncapo 3")) == ("1", "b3", "5")


def test_each_chord_once() -> None:
    assert [str(c) for c in distinct_chords(counted(f"| {BAR} ||", "chords Am | D7 Am | - | Am"))] == ["Am", "D7"]


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


# --- in the tab and the timing sheet ---------------------------------------------------------------------------------

CHANGES = 'key A minor\nlick "Over"\nchords Am7 | D7\n| A5 A7 D5 D7 G5 Gx B8^10 -r | D7 G4 G5&B7 e5 G7 D7 A7- ||\n'


def tab(text: str, **how: bool) -> list[str]:
    lick = compile_text(text).licks[0]
    assert lick.ok
    return lick.emit("tab", Options(**how)).data.decode().split("\n")  # type: ignore[arg-type]


def tones_over(lines: list[str]) -> dict[int, str]:
    """By column, what the row says."""
    row = next(line for line in lines if line.endswith("chord tones"))
    return {m.start(): m[0] for m in re.finditer(r"\S+", row.removesuffix("chord tones"))}


def test_the_tab_says_chord_tones_on_request_only() -> None:
    assert not any("chord tones" in line for line in tab(CHANGES))
    lines = tab(CHANGES, chord_tones=True)
    assert list(tones_over(lines).values()) == ["5", "b7", "1", "b3", "1", "b7", "5", "3", "5", "1", "5"]
    assert any(line.startswith("5 b7 1") and "what the note is in the chord over it" in line for line in lines)
    strings = [line for line in lines if re.match(r"[eBGDAE]\|", line)]
    for at in tones_over(lines):  # each stands over a fret
        assert any(line[at : at + 1].isdigit() or line[at - 1 : at].isdigit() for line in strings), at


def test_a_lick_without_chords_has_no_such_row() -> None:
    bare = CHANGES.replace("chords Am7 | D7\n", "")
    assert tab(bare, chord_tones=True) == tab(bare)


def test_the_timing_sheets_have_a_column_of_chord_tones() -> None:
    lick = compile_text(CHANGES).licks[0]
    rows = list(csv.DictReader(lick.emit("timing").data.decode().splitlines()))
    assert [row["chord_tone"] for row in rows if row["event"] == "note"] == [
        "no", "5", "b7", "1", "b3", "", "b7", "5", "no", "b7", "3", "5", "1", "5", "no",
    ]  # fmt: skip
    assert [row["chord_tone"] for row in rows if row["event"] != "note"] == ["1", "b7"]
    value = json.loads(lick.emit("timing-json").data)
    assert [note["chord_tone"] for note in value["notes"]] == [
        row["chord_tone"] for row in rows if row["event"] == "note"
    ]
    assert "chord_tone" in lick.emit("timing-text").data.decode().split("\n")[2]


def test_show_and_make_take_the_option(run_from: Callable[..., Run]) -> None:
    Path("a.lick").write_text(CHANGES)
    code, out, _ = run_from("show")("--chord-tones", "a.lick")
    assert code == 0 and "chord tones" in out
    code, out, _ = run_from("show")("--chord-tones", "--fingers", "a.lick")
    assert code == 0 and "chord tones" in out and "fretting hand" in out
    assert run_from("make")("--to", "tab", "--chord-tones", "a.lick")[0] == 0
    assert "chord tones" in Path("out/a/over.tab.txt").read_text()
    assert run_from("make")("--to", "tab", "a.lick")[0] == 0  # another option: made again
    assert "chord tones" not in Path("out/a/over.tab.txt").read_text()
