"""The timing sheet, read back by a spreadsheet's rules, and its rows held to what a player would say."""

from __future__ import annotations

import csv
import glob
import io
import json
from pathlib import Path

import pytest

from lickwright.compiler import compile_file, compile_text
from lickwright.export import LoweredLick, Options, timing
from lickwright.export.timing import COLUMNS, TimingRow, csv_cell, timing_json, timing_rows, timing_text

SAMPLES = sorted(glob.glob(str(Path(__file__).parent.parent / "samples" / "**" / "*.lick"), recursive=True))
OPTIONS = Options()


def stages(music: str, *fields: str) -> LoweredLick:
    tempo = () if any(field.startswith("tempo") for field in fields) else ("tempo 120",)
    head = "".join(f"{field}\n" for field in (*tempo, *fields))
    timeline = compile_text(f'{head}lick "Test"\n{music}\n').licks[0].timeline
    assert timeline is not None
    return LoweredLick(timeline)


def sheet(music: str, *fields: str) -> tuple[TimingRow, ...]:
    """The rows of the notes."""
    return tuple(row for row in whole_sheet(music, *fields) if row.event == "note")


def whole_sheet(music: str, *fields: str) -> tuple[TimingRow, ...]:
    """The rows, those of bends and releases too."""
    made = stages(music, *fields)
    return timing_rows(made.timeline, made.performance(OPTIONS))


def licks() -> list[LoweredLick]:
    found = [lick.lowered for path in SAMPLES for lick in compile_file(path).licks if lick.lowered is not None]
    assert len(found) > 20
    return found


def test_the_sheet_of_an_answer() -> None:
    made = stages("| e8 e5 B8^10 -r p5 G7~-- |", "key A minor", "scale blues", "box 1", "feel shuffle")
    assert timing.emit(made, OPTIONS).data.decode() == (
        "bar,beat,count,at_s,for_s,string,fret,note,midi,degree,place,how,bend_to,finger,loudness,event,arrives_beat,arrives_s,chord_tone\n"
        "1,1,1,0.0,0.333,1,8,C5,72,b3,box,picked,,,0.67,note,,,\n"
        "1,1.5,1 &,0.333,0.167,1,5,A4,69,1,box,picked,,,0.6,note,,,\n"
        '1,2,2,0.5,0.5,2,8,G4,67,b7,box,"bend, release",A4,,0.63,note,,,\n'
        "1,2,2,0.5,0.2,2,8,A4,69,,,bend,A4,,,bend,2.3,0.7,\n"
        "1,2.5,2 &,0.833,0.1,2,8,G4,67,,,release,G4,,,release,2.8,0.933,\n"
        "1,3,3,1.0,0.333,2,5,E4,64,5,box,pull-off,,,0.42,note,,,\n"
        "1,3.5,3 &,1.333,0.667,3,7,D4,62,4,box,vibrato,,,0.6,note,,,\n"
    )


def test_a_spreadsheet_reads_back_every_row() -> None:
    cells = 0
    for made in licks():
        data = timing.emit(made, OPTIONS).data.decode("utf-8")
        read = list(csv.reader(io.StringIO(data, newline="")))
        expected = timing_rows(made.timeline, made.performance(OPTIONS))
        assert read[0] == list(COLUMNS)
        assert read[1:] == [["" if value is None else str(value) for value in row] for row in expected]
        assert not [text for row in read for text in row if text[:1] in tuple("=+-@\t\r")]
        cells += sum(map(len, read))
    assert cells > 5000


@pytest.mark.parametrize("text", ["=1+1", "+1", "-r", "@here", "\tx", "\rx"])
def test_no_cell_is_a_formula(text: str) -> None:
    assert next(csv.reader([csv_cell(text)]))[0] == "'" + text if text[0] != "\r" else csv_cell(text) == '"\'\rx"'


def test_commas_and_quotes_are_quoted() -> None:
    assert next(csv.reader([f"{csv_cell('a, b')},{csv_cell(chr(34) + 'c' + chr(34))}"])) == ["a, b", '"c"']


def test_one_row_a_sounding_note() -> None:
    assert len(sheet("| e5&B8 - - - G7 -r G7^9 - ||".replace(" -r", " -"))) == 4  # two, none for holds, two
    assert len(sheet("| B8^10 -r B8^^10 -r - ~ - - ||".replace(" ~", " -~"))) == 2
    assert len(sheet("| (trill: G5h7) - (tremolo: B5 -) - - - - ||")) == 2
    assert [row.how for row in sheet("| . . (rake: D G e8) - (grace: G5) G7 - . . ||")] == [
        "rake stroke", "rake stroke", "picked", "grace note", "picked",
    ]  # fmt: skip


def test_stolen_strokes_stand_at_the_beat_they_lead_to() -> None:
    found = sheet("| G5 - - - (grace: G5) G7 - - - ||")
    assert [(row.beat, row.count, row.at_s) for row in found] == [(1, "1", 0), (3, "3", 0.93), (3, "3", 1)]


def test_counts_are_as_spoken() -> None:
    assert [row.count for row in sheet("| 1/16 G5 G5 G5 G5 3[1/8 G5 G5 G5] 6[1/16 G5 G5 G5 G5 G5 G5] 1/4 G5 ||")] == [
        "1", "1 e", "1 &", "1 a", "2", "2 trip", "2 let", "3", "3 trip", "3 let", "3 &", "3 & trip", "3 & let", "4",
    ]  # fmt: skip
    assert [(row.bar, row.beat, row.count) for row in sheet("| G5 | G7 - - - - - - - ||", "pickup 1/8")] == [
        (0, 4.5, "4 &"), (1, 1, "1"),
    ]  # fmt: skip
    assert [row.count for row in sheet("| G5 G5 G5 G5 - - ||", "meter 6/8")] == ["1", "1 &", "1 a", "2"]
    again = sheet("| G5 - - - - - G7 - | % ||")
    assert [(row.bar, row.count) for row in again] == [(1, "1"), (1, "4"), (2, "1"), (2, "4")]


def test_a_bend_says_when_it_sets_off_arrives_and_is_released() -> None:
    """Bent on the "and" of one, at the top while the e string is played, let down partly, then wholly, then bent again."""
    found = whole_sheet("| B8 -^10 e8&B- e5&B-r9 - B-r B-^10 - | B5 - - - - - - - ||")
    assert [(row.event, row.bar, row.beat, row.count, row.at_s, row.arrives_beat, row.arrives_s) for row in found] == [
        ("note", 1, 1, "1", 0.0, None, None),
        ("bend", 1, 1.5, "1 &", 0.25, 1.8, 0.4),
        ("note", 1, 2, "2", 0.5, None, None),
        ("note", 1, 2.5, "2 &", 0.75, None, None),
        ("release", 1, 2.5, "2 &", 0.75, 2.8, 0.9),
        ("release", 1, 3.5, "3 &", 1.25, 3.8, 1.4),
        ("bend", 1, 4, "4", 1.5, 4.3, 1.65),
        ("note", 2, 1, "1", 2.0, None, None),
    ]
    assert [(row.note, row.midi, row.how, row.bend_to) for row in found if row.event != "note"] == [
        ("A4", 69, "bend", "A4"),
        ("G#4", 68, "release, partly", "G#4"),
        ("G4", 67, "release", "G4"),
        ("A4", 69, "bend", "A4"),
    ]


def test_a_release_in_a_later_bar_stands_there() -> None:
    moves = [row for row in whole_sheet("| G5 - - - B8^10 - - - | - - -r - B5 - - - ||") if row.event != "note"]
    assert [(row.event, row.bar, row.count) for row in moves] == [("bend", 1, "3"), ("release", 2, "2")]
    moves = [row for row in whole_sheet("| B8^^10 - - -r B5 - - - | % ||") if row.event != "note"]
    assert [(row.event, row.bar, row.count, row.at_s, row.arrives_s) for row in moves] == [
        ("pre-bend", 1, "1", 0, 0),
        ("release", 1, "2 &", 0.75, 0.9),
        ("pre-bend", 2, "1", 2, 2),
        ("release", 2, "2 &", 2.75, 2.9),
    ]


def test_a_tempo_is_told_in_the_value_it_was_written_in() -> None:
    made = stages("| G5 G5 G5 G5 - - ||", "meter 6/8", "tempo 1/4. = 54")
    assert timing_text.emit(made, OPTIONS).data.decode().splitlines()[0] == "Test: 2.222 seconds, 1/4. = 54"
    tempos = json.loads(timing_json.emit(made, OPTIONS).data)["tempos"]
    assert tempos == [{"at_s": 0, "beat": "1/4.", "beats_a_minute": 54}]
    assert "81" not in timing_text.emit(made, OPTIONS).data.decode()


def test_a_repeat_is_written_out_under_its_bar() -> None:
    assert [(row.bar, row.at_s) for row in sheet("|: G5 - - - - - - - :|")] == [(1, 0), (1, 2)]


def test_notes_are_named_as_they_sound_degrees_as_fingered() -> None:
    found = sheet("| G5 - - - - - - - ||", "key A minor", "capo 3")[0]
    assert (found.fret, found.note, found.midi, found.degree) == (5, "Eb4", 63, "b3")
    plain = sheet("| G6 - - - - - - - ||", "key E major")[0]
    assert (plain.note, plain.degree) == ("C#4", "6")
    without = sheet("| G6 - - - - - - - ||")[0]
    assert (without.degree, without.place) == ("", "")


def test_dead_notes_and_harmonics() -> None:
    found = sheet("| Gx G<12> G<4> G5<17> - - - - ||", "key G major")
    assert [(row.fret, row.note, row.midi, row.degree, row.how) for row in found] == [
        ("x", "", None, "", "dead note"),
        ("<12>", "G4", 67, "1", "natural harmonic"),
        ("<4>", "B5", 82.86, "3", "natural harmonic"),
        ("5<17>", "C5", 72, "4", "artificial harmonic"),
    ]


def test_bends_name_their_targets_in_order() -> None:
    found = sheet("| B8^full -r B8^10 -^11 B8^ - B8^8.5 B5 ||")
    assert [row.bend_to for row in found] == ["A4", "A4 then Bb4", "G4 +50 cents", "G4 +50 cents", ""]


def test_how_says_each_technique_once() -> None:
    found = sheet(r"| (pm: D5!) (trill: G5h7) (roll: A0&D2) /G7~ \5 B5'1'm tB12? Bx ||")
    assert [row.how for row in found] == [
        "accent, palm mute", "trill with fret 7", "rolled", "rolled", "slide in from below, vibrato", "slide down",
        "plucked with m", "tapped, ghost note", "dead note",
    ]  # fmt: skip
    assert found[6].finger == "1"


def test_json_has_the_same_rows_and_a_heading() -> None:
    for made in licks():
        read = json.loads(timing_json.emit(made, OPTIONS).data)
        expected = timing_rows(made.timeline, made.performance(OPTIONS))
        assert [tuple(note.values()) for note in read["notes"]] == [tuple(r) for r in expected if r.event == "note"]
        assert [tuple(bend.values()) for bend in read["bends"]] == [tuple(r) for r in expected if r.event != "note"]
        assert {tuple(note) for note in (*read["notes"], *read["bends"])} == {COLUMNS}
        assert read["lick"] == made.timeline.title
        assert read["seconds"] == pytest.approx(made.performance(OPTIONS).end, abs=0.001)
        assert len(read["bars"]) == len(made.timeline.passes)


def test_the_table_is_aligned() -> None:
    for made in licks():
        lines = timing_text.emit(made, OPTIONS).data.decode().splitlines()
        expected = timing_rows(made.timeline, made.performance(OPTIONS))
        assert lines[0].startswith(made.timeline.title)
        assert len(lines) == len(expected) + 3
        header = lines[2]
        for line, row in zip(lines[3:], expected, strict=True):
            at = header.index("how")
            assert line[at:].startswith(row.how)
            assert line[: header.index("bar") + 3].strip() == str(row.bar)
            end = header.index("at_s") + 4
            assert line[:end].split()[-1] == f"{row.at_s:.3f}"


def test_the_tempo_asked_for_is_that_of_the_sheet() -> None:
    from fractions import Fraction

    made = stages("| G5 G7 - - - - - - ||")
    slow = timing_rows(made.timeline, made.performance(Options(tempo_percent=Fraction(50))))
    assert [row.at_s for row in slow] == [0, 0.5]


def test_a_pause_on_the_first_note_is_not_the_tempo() -> None:
    text = timing_text.emit(stages("| @fermata G5--- A5--- ||"), OPTIONS).data
    assert isinstance(text, bytes)
    assert "1/4 = 120 to begin with" in text.decode().splitlines()[0]
