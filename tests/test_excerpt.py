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

FOUR = "| G5 - - - G7 - - - | D5 - - - D7 - - - | A5 - - - A7 - - - | E5 - - - E8 - - - ||"
TWICE = "|: G5 - - - G7 - - - | D5 - - - D7 - - - :| A5 - - - A7 - - - | E5 - - - E8 - - - ||"
ENDINGS = "|: G5 - - - G7 - - - |1st D5 - - - D7 - - - :|2nd A5 - - - A7 - - - | E5 - - - E8 - - - ||"
FINE = "| G5 - - - G7 - - - | D5 - - - D7 - - - @fine | A5 - - - A7 - - - | E5 - - - E8 - - - @dc-al-fine ||"
UPBEAT = "| G5 | G7 - - - - - - - | D5 - - - D7 - - - ||"


def taken(timeline: Timeline, first: int, last: int) -> list[tuple[int, int]]:
    """Bars of a part as heard, and the time through that each is in the lick."""
    part, _ = cut_bars(timeline, first, last)
    begin = next(
        turn.start
        for n, turn in enumerate(timeline.passes)
        if [t.bar for t in timeline.passes[n : n + len(part.passes)]] == [t.bar for t in part.passes]
    )
    at = {(turn.bar, turn.start): turn.number for turn in timeline.passes}
    return [(timeline.bars[turn.bar].number, at[turn.bar, turn.start + begin]) for turn in part.passes]


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


def test_a_part_is_made_once() -> None:
    stages = LoweredLick(counted(FOUR))
    assert stages.excerpt((1, 2)) is stages.excerpt((1, 2))


def test_bars_in_words() -> None:
    assert [parse_bars(text) for text in ("1-2", " 3 ", "0 - 4")] == [(1, 2), (3, 3), (0, 4)]
    for wrong in ("", "x", "1-", "-1", "2-1", "1-2-3", "99999"):
        with pytest.raises(ValueError, match="names no bars|goes forward"):
            parse_bars(wrong)
