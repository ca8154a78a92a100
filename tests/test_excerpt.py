"""A part of a lick: which bars as played it takes, and that what it plays is what the whole plays there."""

from __future__ import annotations

import pytest

from lickwright.compiler import compile_text
from lickwright.export import EXPORTS, LoweredLick, Options
from lickwright.music.practice import parse_bars
from lickwright.performance.note_events import perform
from lickwright.timeline.excerpt import NoBars, cut_bars
from lickwright.timeline.model import Timeline
from playing import counted
from read_pdf import printed

FOUR = "| G5 - - - G7 - - - | D5 - - - D7 - - - | A5 - - - A7 - - - | E5 - - - E8 - - - ||"
TWICE = "|: G5 - - - G7 - - - | D5 - - - D7 - - - :| A5 - - - A7 - - - | E5 - - - E8 - - - ||"
ENDINGS = "|: G5 - - - G7 - - - |1st D5 - - - D7 - - - :|2nd A5 - - - A7 - - - | E5 - - - E8 - - - ||"
FINE = "| G5 - - - G7 - - - | D5 - - - D7 - - - @fine | A5 - - - A7 - - - | E5 - - - E8 - - - @dc-al-fine ||"
UPBEAT = "| G5 | G7 - - - - - - - | D5 - - - D7 - - - ||"


def taken(timeline: Timeline, first: int, last: int) -> list[tuple[int, int]]:
    """Bars of a part as heard, and the time through that each is in the lick."""
    part, _ = cut_bars(timeline, first, last)
    heard = [part.bars[turn.bar].number for turn in part.passes]
    begin = next(
        turn.start
        for n, turn in enumerate(timeline.passes)
        if [timeline.bars[t.bar].number for t in timeline.passes[n : n + len(heard)]] == heard
    )
    at = {turn.start: turn.number for turn in timeline.passes}
    return [(number, at[turn.start + begin]) for number, turn in zip(heard, part.passes, strict=True)]


@pytest.mark.parametrize(
    ("music", "bars", "expected"),
    [
        (FOUR, (2, 3), [(2, 0), (3, 0)]),
        (FOUR, (4, 4), [(4, 0)]),
        (TWICE, (1, 2), [(1, 0), (2, 0)]),  # the repeat is not needed
        (TWICE, (2, 3), [(2, 1), (3, 0)]),  # as it is really played
        (ENDINGS, (1, 2), [(1, 0), (2, 0)]),
        (ENDINGS, (1, 3), [(1, 0), (2, 0), (1, 1), (3, 0)]),  # both endings are wanted
        (ENDINGS, (3, 4), [(3, 0), (4, 0)]),
        (FINE, (2, 4), [(2, 0), (3, 0), (4, 0)]),
    ],
)
def test_a_part_is_the_shortest_stretch_as_played_with_all_its_bars(
    music: str, bars: tuple[int, int], expected: list[tuple[int, int]]
) -> None:
    timeline = counted(music)
    assert taken(timeline, *bars) == expected
    _, said = cut_bars(timeline, *bars)
    plain = [(n, 0) for n in range(bars[0], bars[1] + 1)]
    assert [d.code for d in said] == ([] if expected == plain else ["L511"])


def test_the_times_that_are_taken_are_named() -> None:
    _, (said,) = cut_bars(counted(ENDINGS), 1, 3)
    assert said.message == "bars 1-3 as the lick plays them: 1; 2; 1, time 2; 3"


def test_bars_that_are_not_there_are_told_in_players_words() -> None:
    for music, bars, words in (
        (FOUR, (2, 9), "there is no bar 9: the lick has bars 1 to 4"),
        (FOUR, (0, 1), "there is no pick-up: the lick has bars 1 to 4"),
        ("| G5 - - - - - - - ||", (2, 2), "there is no bar 2: the lick has bar 1 only"),
    ):
        with pytest.raises(NoBars) as refused:
            cut_bars(counted(music), *bars)
        assert str(refused.value) == words


@pytest.mark.parametrize(
    "music", [FOUR, TWICE, "| G5h7 - - - B8^10 - - - | D5 - (grace: G5) G7 - - A7 - - | A5 - - - A7 - - - ||"]
)
def test_a_part_sounds_as_the_whole_does_there(music: str) -> None:
    timeline = counted(music, "tempo 90", "feel shuffle")
    whole = perform(timeline)
    part, _ = cut_bars(timeline, 2, 3)
    alone = perform(part)
    start = next(n for n in range(len(timeline.passes)) if [t.bar for t in timeline.passes[n : n + 2]] == [1, 2])
    shift = whole.bars[start] - alone.bars[0]
    end = whole.bars[start] + alone.end - alone.bars[0]
    first = alone.notes[0].start + shift
    expected = [note for note in whole.notes if first - 1e-6 <= note.start < end - 1e-6]
    assert [(n.string, n.pitch, n.stroke) for n in alone.notes] == [(n.string, n.pitch, n.stroke) for n in expected]
    for mine, theirs in zip(alone.notes, expected, strict=True):
        assert mine.start + shift == pytest.approx(theirs.start)
        assert mine.end + shift == pytest.approx(min(theirs.end, end))


def test_a_pick_up_is_bar_0() -> None:
    timeline = counted(UPBEAT, "pickup 1/8")
    assert taken(timeline, 0, 1) == [(0, 0), (1, 0)]
    assert taken(timeline, 1, 2) == [(1, 0), (2, 0)]


def test_a_note_joined_to_one_before_the_part_is_picked() -> None:
    part, _ = cut_bars(counted("| G5 - - - - - - - | h7 - - - D5 - - - ||"), 2, 2)
    assert (part.sounds[0].begin.name, part.sounds[0].source) == ("picked", None)
    assert [sound.index for sound in part.sounds] == [0, 1]


def test_a_later_part_keeps_the_tempo_that_is_in_force_there() -> None:
    timeline = counted("| G5 - - - - - - - | @tempo=60 D5 - - - - - - - | A5 - - - - - - - ||", "tempo 120")
    part, _ = cut_bars(timeline, 3, 3)
    assert [(tempo.start, int(tempo.qpm)) for tempo in part.tempos] == [(0, 60)]


@pytest.mark.parametrize("row", [row for row in EXPORTS if not row.is_audio], ids=lambda row: row.name)
@pytest.mark.parametrize("music", [FOUR, TWICE, ENDINGS, FINE])
def test_every_format_can_be_made_of_a_part(row: object, music: str) -> None:
    (lick,) = compile_text(f'tempo 120\nkey A minor\nlick "One"\n{music}\n').licks
    for bars in ((1, 1), (2, 3), (1, 4)):
        emission = lick.emit(row.name, Options(bars=bars))  # type: ignore[attr-defined]
        assert emission.data
        assert not [d for d in emission.losses if d.severity == "error"]
    gone = lick.emit("midi", Options(bars=(2, 9)))
    assert (gone.content, [d.code for d in gone.losses], gone.losses[0].lick) == (None, ["L510"], "One")


def written(timeline: Timeline) -> list[tuple[int, bool, bool, int]]:
    return [(bar.number, bar.same, bar.repeat_start, bar.repeat_end) for bar in timeline.bars]


@pytest.mark.parametrize(
    ("music", "bars", "expected"),
    [
        (FOUR, (2, 3), [(2, False, False, 0), (3, False, False, 0)]),
        (TWICE, (2, 3), [(2, False, False, 0), (3, False, False, 0)]),  # half a repeat is none
        (ENDINGS, (1, 3), [(1, False, True, 0), (2, False, False, 2), (3, False, False, 0)]),  # it is played
        ("| G5 - - - G7 - - - | % | % | D5 - - - - - - - ||", (2, 3), [(2, False, False, 0), (3, True, False, 0)]),
    ],
)
def test_a_part_has_no_other_bars(music: str, bars: tuple[int, int], expected: list[tuple[int, bool, bool, int]]) -> None:  # fmt: skip
    part, _ = cut_bars(counted(music), *bars)
    assert written(part) == expected
    for bar in part.bars:
        assert [slot.at for slot in part.slots[bar.first : bar.last]][0] == 0
    for sound in part.sounds:
        bar = part.bars[sound.bar]
        assert bar.first <= sound.slot < bar.last


def test_a_part_keeps_what_holds_where_it_begins() -> None:
    text = "| @f (pm: G5 - - - G7 - - - | G5 - - - G7 - - - | 3[D5 D7 D5] D5 - - - - -) ||"
    timeline = counted(text, "chords Am | | D7")
    part, _ = cut_bars(timeline, 2, 3)
    assert [[(str(chord.at), chord.symbol) for chord in bar] for bar in part.settings.chords] == [
        [("0", "Am")], [("0", "D7")],
    ]  # fmt: skip
    assert [(one.kind, one.text, one.slot) for one in part.directions] == [("dynamic", "f", 0)]
    assert [(word.word, word.first, word.last) for word in part.words] == [("pm", 0, len(part.slots) - 1)]
    assert [(part.slots[one.first].at, one.last - one.first) for one in part.tuplets] == [(0, 2)]


def test_what_was_held_into_a_part_is_a_rest_there() -> None:
    (lick,) = compile_text('lick "One"\n| G5 - - - - - - - | - - - - D5 - - - ||\n').licks
    rows = lick.emit("tab", Options(bars=(2, 2))).data.decode().splitlines()
    assert any(row.lstrip().startswith("(1)") for row in rows), rows
    assert not any("5" in row for row in rows if row.startswith("G|"))


def test_a_sheet_and_a_tab_of_a_part_show_its_bars_alone() -> None:
    (lick,) = compile_text(f'key A minor\nchords Am | D7 | Em | G\nlick "One"\n{FOUR}\n').licks
    text = printed(lick.emit("sheet", Options(bars=(2, 3))).data)
    assert "One (bars 2-3)" in text and "D7" in text and "Em" in text
    assert "Am" not in text.replace("A minor", "")
    tab = lick.emit("tab", Options(bars=(2, 3))).data.decode()
    assert "D7" in tab and "Am" not in tab


def test_a_part_is_made_once() -> None:
    stages = LoweredLick(counted(FOUR))
    assert stages.excerpt((1, 2)) is stages.excerpt((1, 2))


def test_bars_in_words() -> None:
    assert [parse_bars(text) for text in ("1-2", " 3 ", "0 - 4")] == [(1, 2), (3, 3), (0, 4)]
    for wrong in ("", "x", "1-", "-1", "2-1", "1-2-3", "99999"):
        with pytest.raises(ValueError, match="names no bars|goes forward"):
            parse_bars(wrong)
