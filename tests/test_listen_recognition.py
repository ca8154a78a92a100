"""Whether a recording is the lick at all, and which of many licks it is: beginners are recognized, and a lick is named in the key in which it was played."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from lickwright.listen.best_fit import LickLibrary
from lickwright.listen.expected import ExpectedGroup, expected_groups
from lickwright.listen.mirrors import fit_against_mirrors, mirrored_groups
from lickwright.listen.model import NoteVerdict
from lickwright.listen.stretches import Hearing, hear_recording
from lickwright.listen.tuning import overall_tuning
from lickwright.performance.note_events import perform
from plucked import Samples, Tone, judged, moved, pluck, recorded, take_of, timeline_of

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'
SONG = (
    'key C major\ntempo 96\nstep 1/8\nlick "Song"\n| A3 D0 D2- G0 D2 D0- | D2 G0 G2- B1 G2 G0- | D2 D0 A3 D0 A3--- ||\n'
)
OTHER = 'key C major\ntempo 96\nstep 1/8\nlick "Other"\n| G2 B1 G0 D2 A3 D0 B1 G2 | D2- A3 D2 G0 B1 D0- ||\n'
LEVEL = 'key A minor\ntempo 100\nstep 1/8\nlick "Level"\n| A0 A0 A0 A0 Ax- A0 A0 ||\n'


def groups_of(text: str) -> list[ExpectedGroup]:
    timeline = timeline_of(text)
    return expected_groups(timeline, perform(timeline))


def hearing_of(tones: Sequence[Tone]) -> Hearing:
    return hear_recording(recorded(pluck(tones)))


def beginner(
    text: str, wrong: dict[int, float], pauses: dict[int, float], given_up: Sequence[int], count: int
) -> Samples:
    """Play a lick at half the tempo as far as `count` notes: `wrong` by so many semitones, with `pauses` (seconds) before notes, begun again after so many."""
    tones = [
        moved(tone, wrong.get(tone.sound, 0.0)) for tone in take_of(timeline_of(text), 0.5)[0] if tone.sound < count
    ]
    whole = [moved(tone, 0.0, sum(s for n, s in pauses.items() if tone.sound >= n)) for tone in tones]
    played: list[Tone] = []
    later = 0.0
    for stop in given_up:
        played += [moved(tone, 0.0, later) for tone in whole[:stop]]
        later += whole[stop - 1].end - whole[0].start + 0.9
    return pluck([*played, *(moved(tone, 0.0, later) for tone in whole)])


@pytest.mark.parametrize(
    ("text", "wrong", "pauses", "given_up", "count"),
    [
        (WALK, {2: 2.0, 5: -1.0, 9: 2.0, 11: 1.0}, {4: 0.9, 8: 1.2}, (3, 5), 99),
        pytest.param(SONG, {1: 2.0, 6: -2.0, 9: 1.0, 13: -1.0, 15: 2.0}, {4: 0.9, 8: 1.2, 12: 0.7}, (4, 6), 99, marks=pytest.mark.slow),
        pytest.param(SONG, {5: 2.0, 10: -1.0}, {3: 0.8, 6: 0.9, 9: 1.1, 12: 0.7, 14: 1.0}, (), 99, marks=pytest.mark.slow),
        (WALK, {3: 2.0}, {4: 0.9}, (), 7),
        (SONG, {3: 2.0}, {6: 0.9}, (5,), 10),
    ],
    ids=["a third wrong and begun again twice", "the same of a tune", "five pauses", "half of it", "half of it begun again"],
)  # fmt: skip
def test_a_beginner_is_recognized(
    text: str, wrong: dict[int, float], pauses: dict[int, float], given_up: Sequence[int], count: int
) -> None:
    found = judged(timeline_of(text), beginner(text, wrong, pauses, given_up, count))
    assert not found.refusal
    one = found.passes[found.best]
    assert {note.sound.index for note in one.notes if note.verdict is NoteVerdict.WRONG} == set(wrong)
    assert (len(one.again), len(one.pauses)) == (len(given_up), len(pauses))
    assert (one.ends_at is not None) == (count < 99)


def test_a_lick_fits_better_than_its_mirrors_and_another_one_does_not() -> None:
    hearing = hearing_of(take_of(timeline_of(SONG), 0.7)[0])
    own, other = (fit_against_mirrors(hearing, groups_of(text), overall_tuning(hearing)) for text in (SONG, OTHER))
    assert own.mirrored - own.cost > 0.5
    assert other.mirrored - other.cost < 0.15


@pytest.mark.parametrize("text", [WALK, SONG, OTHER])
def test_mirrors_have_the_rhythm_and_only_notes_of_the_lick_and_are_unlike_it(text: str) -> None:
    groups = groups_of(text)
    for mirror in mirrored_groups(groups):
        assert [group.at for group in mirror] == [group.at for group in groups]
        assert {group.pitches for group in mirror} <= {group.pitches for group in groups}
        assert all(group.low <= group.pitches[0] <= group.high for group in mirror)
        same = sum(a.pitches == b.pitches for a, b in zip(mirror, groups, strict=True))
        assert same < 0.5 * len(groups)


def test_a_lick_of_one_pitch_has_itself_for_mirrors_and_is_still_recognized() -> None:
    groups = groups_of(LEVEL)
    assert all(mirror == groups for mirror in mirrored_groups(groups))
    assert not judged(timeline_of(LEVEL), pluck(take_of(timeline_of(LEVEL))[0])).refusal


def in_key(text: str, semitones: int) -> list[ExpectedGroup]:
    """Return the groups of a lick some semitones higher, as of a library that has it in every key."""
    return [
        group._replace(
            pitches=tuple(p + semitones for p in group.pitches), first=(group.first[0] + semitones, group.first[1] + semitones),
            low=group.low + semitones, high=group.high + semitones,
        )
        for group in groups_of(text)
    ]  # fmt: skip


def test_of_a_lick_in_every_key_the_one_that_was_played_is_named() -> None:
    keys = [in_key(SONG, by) for by in range(-5, 7)]
    licks = [*keys, *(in_key(WALK, by) for by in range(-5, 7))]
    hearing = hearing_of([moved(tone, 2.0 if tone.sound in (3, 9) else 0.0) for tone in take_of(timeline_of(SONG))[0]])
    assert LickLibrary(licks).best_fits(hearing, 3)[0] == 5


def test_a_lick_with_a_capo_on_is_named_where_no_other_fits_as_written() -> None:
    hearing = hearing_of([moved(tone, 3.0) for tone in take_of(timeline_of(SONG))[0]])
    assert LickLibrary([groups_of(WALK), groups_of(OTHER), groups_of(SONG)]).best_fits(hearing, 3)[0] == 2


def test_the_same_notes_at_other_tempos_are_one_lick_of_a_library_named_by_the_first() -> None:
    faster = [group._replace(at=group.at * 0.8, length=group.length * 0.8) for group in groups_of(SONG)]
    hearing = hearing_of(take_of(timeline_of(SONG))[0])
    assert LickLibrary([groups_of(WALK), faster, groups_of(SONG), groups_of(OTHER)]).best_fits(hearing, 9)[0] == 1
    assert sorted(LickLibrary([faster, groups_of(SONG), groups_of(OTHER)]).best_fits(hearing, 9)) == [0, 2]


def test_nothing_fits_where_nothing_is_heard_or_there_is_no_lick() -> None:
    silence = hear_recording(recorded(np.zeros(24_000, np.float32)))
    assert LickLibrary([groups_of(SONG)]).best_fits(silence, 3) == []
    assert LickLibrary([]).best_fits(hearing_of(take_of(timeline_of(SONG))[0]), 3) == []


def test_a_lick_of_double_stops_is_named_among_many_by_its_partials() -> None:
    """Of two strings at once no one pitch is heard, so that the pitches of many other licks are heard more."""
    pairs = 'key G major\ntempo 80\nstep 1/4\nlick "Pairs"\n| G4&B5 G5&B7 G7&B8 G4&B5 | G2&B3 G4&B5 G7&B8 G5&B7 ||\n'
    single = [in_key(text, by) for text in (WALK, SONG, OTHER) for by in range(-5, 7)]
    licks = [*single, *(in_key(pairs, by) for by in range(-5, 7))]
    hearing = hearing_of(take_of(timeline_of(pairs))[0])
    assert LickLibrary(licks).best_fits(hearing, 3)[0] == len(single) + 5
