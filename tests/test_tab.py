"""The text tab: aligned, complete, within its width, and readable back to every note."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright import compile_text
from lickwright.core.source import Source
from lickwright.export import LoweredLick, Options
from lickwright.export.tab import emit
from lickwright.notation.syntax import parse_source
from lickwright.timeline.bar_count import count_shift
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import SoundingNote, Timeline
from made_licks import made_lick
from read_lengths import PlayedNote, read_lengths
from read_tab import read_tab, segments, systems

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
WIDTHS = (40, 60, 80, 120)


def timelines(text: str) -> list[Timeline]:
    source = Source("-", text)
    book, written = parse_source(source)
    assert not [d for d in written if d.severity == "error"], written
    found = []
    for lick in book.licks:
        timeline, counted = build_timeline(lick, book, source)
        assert timeline is not None
        assert not [d for d in counted if d.severity == "error"], counted
        found.append(timeline)
    return found


def lick(music: str, *fields: str) -> Timeline:
    return timelines("\n".join(("step 1/8", *fields, 'lick "t"', music)))[0]


def tab(timeline: Timeline, width: int = 80, options: Options | None = None) -> str:
    return emit(LoweredLick(timeline), options or Options(width=width)).data.decode("utf-8")


def music(timeline: Timeline, width: int = 80) -> str:
    """The lines of tab alone, without heading and legend."""
    parts = tab(timeline, width).rstrip("\n").split("\n\n")
    return "\n\n".join(part for part in parts if systems(part))


def played(timeline: Timeline) -> list[tuple[int, Fraction, int, int, str]]:
    """What the reader should find, from the sounds as played the first time."""
    turns = {turn.bar: turn for turn in reversed(timeline.passes)}
    found = []
    for sound in timeline.sounds:
        bar = timeline.bars[sound.bar]
        at = sound.start - turns[sound.bar].start
        if not 0 <= at <= bar.length or (sound.pass_no and not bar.same):
            continue
        count_at = Fraction(at + count_shift(timeline, bar), timeline.grain)
        found.append((sound.bar, count_at, sound.lead, sound.string, place(sound)))
    return sorted(set(found))


def lasting(timeline: Timeline) -> list[PlayedNote]:
    """What the reader should play: every sound with its end, repeats played."""
    return sorted(
        PlayedNote(
            Fraction(sound.start, timeline.grain), Fraction(sound.end, timeline.grain), sound.string, place(sound)
        )
        for sound in timeline.sounds
    )


def place(sound: SoundingNote) -> str:
    """A fret as printed: `7`, `x`, `<12>`, `5<17>`."""
    text = "x" if sound.dead else "" if sound.fret is None else str(sound.fret)
    return text if sound.touch is None else f"{text}<{float(sound.touch):g}>"


def assert_sound(text: str, timeline: Timeline, width: int) -> None:
    """All that holds for every tab."""
    lines = text.split("\n")
    assert text.endswith("\n")
    assert "\r" not in text and "\t" not in text
    assert [line for line in lines if line != line.rstrip()] == []
    drawn = systems(text)
    assert drawn
    for system in drawn:
        assert len(system.strings) == timeline.settings.tuning.strings
        assert len({len(line) for line in system.strings}) == 1
        assert all(line.isascii() for line in system.strings)
    assert [line for line in lines if len(line) > width and " " in line.strip()] == []
    assert read_tab(text) == played(timeline)
    assert read_lengths(text) == lasting(timeline)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_read_back_at_every_width(path: Path) -> None:
    for timeline in timelines(path.read_text("utf-8")):
        for width in WIDTHS:
            assert_sound(tab(timeline, width), timeline, width)


# Licks made up by hypothesis: every bar full, every connection with its source beside it.

frets = st.integers(0, 22)
strings = st.sampled_from("EADGBe")
endings = st.sampled_from(
    ["", "", "", "~", "~~", "?", "!", "^full", "^^half", "^fullr", "^quarter", "/", "\\", "=", ","]
)
plain = st.builds("{}{}{}".format, strings, frets, endings)
headed = st.builds("{}{}".format, strings, st.sampled_from(["x", "<12>", "<7>", "5<17>", "12*"]))
entered = st.builds("{}{}{}".format, st.sampled_from(["/", "\\", "h", "t"]), strings, st.integers(1, 22))
chords = st.lists(strings, min_size=2, max_size=4, unique=True).flatmap(
    lambda names: st.tuples(*(st.builds(f"{name}{{}}".format, frets) for name in names)).map("&".join)
)
one = st.one_of(plain, plain, plain, headed, entered, chords)
joined = st.builds(
    "{0}{1} {2}".format,
    strings,
    st.integers(0, 10),
    st.builds("{}{}".format, st.sampled_from(["h", "/", "//", "t"]), st.integers(11, 22)),
)
pairs = st.one_of(
    joined,
    st.tuples(one, st.sampled_from(["-", "."])).map(" ".join),
    st.tuples(one, one).map(" ".join),
    one.map("(grace: G5h7) {} .".format),
    one.map("(rake: E A D G5) {}".format),
    one.map("(pm: {}) -".format),
)
quarters = st.one_of(
    pairs,
    st.tuples(one, one, one).map(lambda notes: f"3[{' '.join(notes)}]"),
    st.tuples(pairs, pairs).map(lambda two: f"1/16 {two[0]} {two[1]} 1/8"),
    st.lists(one, min_size=5, max_size=5).map(lambda notes: f"5:4[1/16 {' '.join(notes)}]"),
    st.lists(one, min_size=6, max_size=6).map(lambda notes: f"6:4[1/16 {' '.join(notes)}]"),
    one.map("1/32 {} 1/16. - 1/8 .".format),
)


def whole_bars(beats: st.SearchStrategy[str], count: int) -> st.SearchStrategy[str]:
    """One to five bars; later ones may start with a hold, and all or none repeat."""
    full = st.lists(beats, min_size=count, max_size=count).map(" ".join)
    held = st.lists(beats, min_size=count - 1, max_size=count - 1).map(lambda rest: " ".join(["-", "-", *rest]))
    rows = st.tuples(full, st.lists(st.one_of(full, full, held, st.just("%")), max_size=4)).map(
        lambda two: [two[0], *two[1]]
    )
    return st.one_of(
        rows.map(lambda row: f"| {' | '.join(row)} ||"),
        rows.map(lambda row: f"|: {' | '.join(row)} :|x3"),
    )


made = st.integers(1, 5).flatmap(lambda beats: st.tuples(whole_bars(quarters, beats), st.just(f"meter {beats}/4")))


@given(made, st.sampled_from([40, 53, 60, 80, 120, 400]))
def test_any_lick_reads_back(written: tuple[str, str], width: int) -> None:
    timeline = lick(*written)
    assert_sound(tab(timeline, width), timeline, width)


@given(
    st.lists(one, min_size=24, max_size=24),
    st.sampled_from([("12/8", 12), ("6/8", 6), ("4/4", 8), ("2/2", 8), ("3/8", 3)]),
)
def test_any_meter_reads_back(notes: list[str], meter: tuple[str, int]) -> None:
    name, size = meter
    bars = [" ".join(notes[k : k + size]) for k in range(0, 24, size)]
    timeline = lick(f"| {' | '.join(bars)} ||", f"meter {name}")
    for width in (40, 80):
        assert_sound(tab(timeline, width), timeline, width)


@given(made)
def test_events_of_a_string_never_touch(written: tuple[str, str]) -> None:
    """Between two marks of a string there is a `-`: as many runs without one as there are marks."""
    timeline = lick(written[0].replace("%", "- " * 2 * int(written[1][6])), written[1])
    found = 0
    for system in systems(tab(timeline, 400)):
        for left, right in segments(system.strings):
            bars = [
                re.sub(r"^\([^)]*\)", "", line[left:right]).replace(":", "-") for line in system.strings
            ]  # ties aside
            found += sum(len(re.findall(r"[^-]+", text)) for text in bars)
    starts = {(sound.slot, sound.lead, sound.string) for sound in timeline.sounds}
    shaped = {
        (shape.slot, sound.lead if shape.slot == sound.slot else 0, sound.string)
        for sound in timeline.sounds
        for shape in sound.shapes
    }
    assert found == len(starts | shaped)


def test_a_bar_of_eighths_is_even_whatever_the_frets() -> None:
    assert music(lick("| e5 e12 B5 B8 G7h9p7 D7 ||")) == (
        "1\n"
        "e|-5--12-------------------||\n"
        "B|-------5--8--------------||\n"
        "G|-------------7-h9-p7-----||\n"
        "D|----------------------7--||\n"
        "A|-------------------------||\n"
        "E|-------------------------||\n"
        "   1  &  2  &  3  &  4  &"
    )


def test_spans_close_and_open_again_at_a_new_line() -> None:
    text = music(lick("| (pm: E0 E0 E0 E0 E0 E0 E0 E0 | E3 E3 E3 E3 E3 E3 E3 E3 |\nE5 E5) E5----- ||"), 60)
    assert [line for line in text.split("\n") if "PM" in line] == [
        "   PM-----------------------------------------------|",
        "   PM--|",
    ]


def test_a_tie_over_a_new_line_shows_its_fret_and_bend_again() -> None:
    text = music(lick("| e5 e5 e5 e5 e5 e5 B8^10 - | -r---- e5 - ||"), 40)
    assert "B|(8b10)r8-" in text
    assert systems(text)[1].said.split() == ["1", "2", "3", "&", "4"]


def test_a_tie_over_a_bar_line_shows_its_fret_again() -> None:
    assert "|(5)---" in music(lick("| e5------- | ------- - ||"))


def test_a_hold_within_a_bar_is_only_dashes() -> None:
    assert "(" not in music(lick("| e5--- G5- D7- ||"))


def test_a_bend_held_under_notes_looks_unlike_one_let_go() -> None:
    """A pupil sees which of two licks with the same strokes is meant."""
    assert music(lick("| B8^10 - e8&B- - e5&B- - G7 - ||")) == (
        "1\n"
        "    full hold-|\n"
        "e|------8---5-------||\n"
        "B|-8b10-------------||\n"
        "G|--------------7---||\n"
        "D|------------------||\n"
        "A|------------------||\n"
        "E|------------------||\n"
        "   1    2   3   4"
    )
    assert "hold" not in tab(lick("| B8^10 - e8 - e5 - G7 - ||"))


def test_held_notes_and_stops_have_their_legend() -> None:
    text = tab(lick("| A7 - e8&A- - e5&A- - A- - | B8^10 - e8&B- - G7- G5? - ||"))
    legend = text.split("\n\n")[-1].splitlines()
    assert [line for line in legend if line.startswith("(")] == [
        "(5) g    ghost note: barely sounded",
        "(7)      still sounding from before: hold it, don't pick again",
    ]
    assert "hold--|  keep the bend up as far as the line goes (a short line has no word)" in legend
    assert "stop e   this string stops sounding here, the others go on" in legend
    assert " g\n" in text  # tells the ghost note from the held ones


def test_a_span_that_goes_on_in_the_next_line_is_left_open() -> None:
    text = music(
        lick(
            "| (ring: E0 A2 D2 E0 A2 D2 E0 A2 | E0 A2 D2 E0 A2 D2 E0 A2 | E0 A2 D2 E0) B8^10--- | -- e5&B- - G7--- ||"
        ),
        60,
    )
    rings = [line for line in text.split("\n") if "let ring" in line or "LR" in line]
    assert rings[0].endswith("-") and rings[1].endswith("-|")


def test_two_neighbouring_rings_are_two_spans() -> None:
    row = next(line for line in tab(lick("| (ring: A0 D2 G2 B1) (ring: A0 D2 G2 B1) ||")).split("\n") if "ring" in line)
    assert row.split("|")[:2] == ["   let ring--", " let ring---"]


def test_rows_of_fingers_say_whose_they_are() -> None:
    text = tab(lick("| G5'1 B8'4 E0'p G5'i - - - - ||"))
    assert [line.split() for line in text.split("\n") if "hand" in line] == [
        ["1", "4", "fretting", "hand"],
        ["p", "i", "plucking", "hand"],
        ["1", "4", "fretting", "hand:", "index,", "little", "finger"],
        ["p", "i", "plucking", "hand:", "thumb,", "index"],
    ]


def test_slaps_and_pops_stand_in_one_row() -> None:
    text = music(lick("| 1/16 (slap: E0) (pop: G7) (slap: E0) (pop: G7) 1/4 - - - ||"))
    assert "   S  P  S  P\n" in text


def test_a_bars_number_keeps_away_from_an_ending() -> None:
    text = music(lick("|: e5 e5 e5 e5 e5 e5 e5 e5 | e5------- |1st e7------- :|2nd e8------- ||"), 50)
    assert "\n3\n   1.---" in text


def test_each_mark_is_explained_once() -> None:
    text = tab(lick("| Gx? Gx G5? B8^8.5 B8^ B8^9.5 - - ||"))
    marks = [line.split("  ")[0] for line in text.split("\n\n")[-1].splitlines()]
    assert marks == ["x", "b", "(x)"]
    assert "b    bend up by the amount above, to a pitch between two frets" in text


MADE = [50, pytest.param(500, marks=pytest.mark.slow)]  # licks made up by chance


def test_a_slide_in_that_looks_connected_in_a_repeat_says_what_it_ends() -> None:
    timeline = lick("|: /E1 - E0&A0 - :|x3", "meter 2/4")
    assert "stop A" in tab(timeline)
    assert_sound(tab(timeline), timeline, 80)


@pytest.mark.parametrize("many", MADE)
def test_made_up_licks_read_back_with_their_lengths(many: int) -> None:
    for number in range(many):
        written, fields = made_lick(Random(number))
        timeline, width = lick(written, *fields), WIDTHS[number % len(WIDTHS)]
        text = tab(timeline, width)
        assert read_tab(text) == played(timeline), (number, written, text)
        assert read_lengths(text) == lasting(timeline), (number, written, text)


def test_the_made_up_licks_hold_notes_in_every_way() -> None:
    texts = [tab(lick(*_flat(made_lick(Random(number))))) for number in range(100)]
    for sign in ("still sounding", "hold--|", "stop ", "let ring", "ring  ", "ghost", "1.-", "%", " x3", "3*"):
        assert any(sign in text for text in texts), sign


def _flat(made: tuple[str, tuple[str, ...]]) -> tuple[str, ...]:
    return made[0], *made[1]


def test_repeats_endings_and_same_bars() -> None:
    text = music(lick("|: e5--- e5--- | % | 1st e7------- :|x3 2nd e8------- ||"))
    assert text == (
        "1                              1.--------------|   2.--------------|\n"
        "                                                x3\n"
        "e||--5-------5-------|-------|-7----------------||-8---------------||\n"
        "B||------------------|-------|------------------||-----------------||\n"
        "G||:-----------------|---%---|-----------------:||-----------------||\n"
        "D||:-----------------|---%---|-----------------:||-----------------||\n"
        "A||------------------|-------|------------------||-----------------||\n"
        "E||------------------|-------|------------------||-----------------||\n"
        "     1   2   3   4             1   2   3   4       1   2   3   4"
    )


def test_a_bar_too_long_for_the_line_goes_on_at_a_beat() -> None:
    notes = " ".join(f"e{fret}" for fret in (12, 15) * 16)
    text = music(lick(f"| 1/32 {notes} ||"), 40)
    first, *rest = systems(text)
    assert all(line.endswith(">") for line in first.strings)
    assert all(line[1] == ">" for line in rest[0].strings)
    assert first.said.split()[0] == "1" and rest[0].said.split()[0].isdigit()
    assert "(1)" in text


def test_labels_are_padded_to_one_width() -> None:
    text = music(lick("| 1:5 6:5 3:5 2:5 1:5--- ||", "tuning open E"))
    labels = [line[: line.index("|")] for line in text.split("\n") if "|" in line and "-" in line]
    assert labels == ["e ", "B ", "G#", "E ", "B ", "E "]


def test_words_near_the_end_move_left_and_long_ones_break() -> None:
    words = "wait for it and then let the whole of it ring until nothing is left to hear"
    text = music(lick(f'| e5------ @"{words}" e8 ||'), 40)
    assert " ".join(words.split()[:2]) in text
    assert max(map(len, text.split("\n"))) <= 40


def test_bend_amounts_stand_over_their_bend() -> None:
    lines = music(lick("| B8^10r8^9 e5 B10^^12 - - - - - ||")).split("\n")
    bends = next(line for line in lines if "full" in line)
    string = next(line for line in lines if line.startswith("B|"))
    assert bends[string.index("b10") :].startswith("full")
    assert bends[string.index("b9") :].startswith("1/2")
    assert bends[string.index("pb12") :].startswith("full")


def test_the_heading_says_what_a_player_must_know() -> None:
    text = tab(
        timelines(
            "by Mara Quill\nkey A minor\nscale blues\nbox 1\ntempo 1/8 = 132\nfeel swing 5:3\nmeter 3/4\npickup 1/4\n"
            'capo 2\ntuning half step down\ntags answer\nrights free to copy\nlick "Porch light"\n| e5 e8 | e5----- ||'
        )[0]
    )
    assert text.startswith(
        "Porch light\n"
        "by Mara Quill\n"
        "\n"
        "key     A minor\n"
        "box     1 (E shape), frets 5-8\n"
        "scale   minor blues\n"
        "tuning  Eb Ab Db Gb Bb Eb, low to high (half step down)\n"
        "capo    fret 2; frets are counted from the capo, 0 is the capo itself\n"
        "tempo   1/8 = 132, swing: pairs of 1/8 are played long and short, 5:3\n"
        "meter   3/4, with a pick-up of 1/4\n"
    )
    assert text.endswith("\nrights  free to copy\ntags    answer\n")


def test_an_asked_tempo_stands_beside_the_written_one() -> None:
    timeline = lick("| e5------- ||", "tempo 120")
    assert "tempo   1/4 = 90 (written: 120)\n" in tab(timeline, options=Options(tempo_percent=Fraction(75)))
    assert "tempo   1/4 = 66 (written: 120)\n" in tab(timeline, options=Options(tempo_bpm=Fraction(66)))


def test_the_legend_explains_just_what_is_there() -> None:
    plain_lick = tab(lick("| e5------- ||"))
    assert "hammer-on" not in plain_lick and "rest" not in plain_lick
    text = tab(lick("| G5h7 B8^10 -r (pm: E0) (trill: G5h7) . - ||"))
    legend = text.split("\n\n")[-1]
    assert [line.split()[0] for line in legend.splitlines()] == ["h7", "b10", "r8", "PM", "tr", "(4)"]
    assert "(4)  in the count: a rest, count it and play nothing" in legend


@pytest.mark.parametrize(
    ("written", "fields", "hard"),
    [
        ("| e5 e8 B8^10 -r p5 G7~-- ||", (), False),
        ("| B8^12------- ||", (), True),
        ("| E1&e6------- ||", (), True),
        ("| E13&e18------- ||", (), False),
        ("| 1/16 e5 e8 e5 e8 e5 e8 e5 e8 1/2 e5 ||", ("tempo 160",), True),
        ("| 1/16 e5 e8 e5 e8 e5 e8 e5 e8 1/2 e5 ||", ("tempo 140",), False),
    ],
)
def test_the_caution_is_for_hard_licks(written: str, fields: tuple[str, ...], hard: bool) -> None:
    assert ("warm up" in tab(lick(written, *fields))) is hard


def test_widths_are_kept_between_forty_and_four_hundred() -> None:
    timeline = lick("| e5 e5 e5 e5 e5 e5 e5 e5 | e5 e5 e5 e5 e5 e5 e5 e5 ||")
    assert tab(timeline, 1) == tab(timeline, 40)
    assert tab(timeline, 10_000) == tab(timeline, 400)


def test_a_triplet_is_counted_in_two_words_however_tight() -> None:
    for music in (
        "| 1/16 3[A5 A7 D5] D7 G5 1/4 G7 G5 D7 ||",
        "| 3[A5 A7 D5] 3[D7 G5 G7] 6[1/16 A5 A7 D5 D7 G5 G7] G5 G7 ||",
    ):
        (lick,) = compile_text(f'key A minor\nlick "Count"\n{music}\n').licks
        count = next(line for line in lick.tab().splitlines() if line.startswith("   1"))
        assert "triplet" not in count and "1 trip let" in " ".join(count.split())
    assert " ".join(count.split()).startswith("1 trip let 2 trip let 3 trip let & trip let 4")


def test_taps_from_a_note_and_from_nowhere_are_explained_once() -> None:
    (lick,) = compile_text('key A minor\nlick "Taps"\n| G5t12 p5 - - tG12 p5 - ||\n').licks
    assert lick.tab().count("tap with a finger of the picking hand") == 1


@pytest.mark.parametrize(
    ("notes", "shown"),
    [
        ("B8 e5 G7 - - - - -", True),
        ("B8 e17 G0 - - - - -", True),
        ("B0 e0 G0 - - - - -", True),
        ("B15 e14 G12 - - - - -", False),
    ],
)
def test_a_lick_with_no_note_in_its_box_names_none(notes: str, shown: bool) -> None:
    """Open strings leave it open which box is meant."""
    heading = tab(lick(f"| {notes} ||", "key A minor", "box 1")).split("\n\n")[1]
    assert ("box " in heading) == shown
