"""Strings and frets for pitches: as authors chose them, whatever is asked, and quickly enough for long tracks."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

import pytest

from lickwright.importers.fret_choice import PitchedNote, PitchMoment, choose_places
from lickwright.music.tuning import parse_tuning

sys.path.append(str(Path(__file__).parent / "bench"))

STANDARD = parse_tuning("standard")


@pytest.mark.parametrize(
    ("boxed", "share", "every"),
    [
        (True, 0.85, 3),
        (False, 0.7, 3),
        *(pytest.param(b, s, 1, marks=pytest.mark.slow) for b, s in ((True, 0.85), (False, 0.7))),
    ],
)
def test_places_are_those_of_the_authors(boxed: bool, share: float, every: int) -> None:
    """The share of string and fret, on the samples' pitches and times alone; `tests/bench/frets.py` prints it."""
    from frets import SAMPLES, Score, score, timelines

    total = Score()
    for timeline in [*timelines([SAMPLES])][::every]:
        if timeline.settings.area is not None or not boxed:
            total += score(timeline, boxed)
    assert total.notes > 1000 // every * 0.8
    assert total.share > share, total.share


def line(*pitches: int) -> list[PitchMoment]:
    return [PitchMoment(n / 4, n / 4 + 0.25, (PitchedNote(pitch),)) for n, pitch in enumerate(pitches)]


def test_every_note_has_its_pitch_and_chords_a_string_each() -> None:
    chance = Random(3)
    for _ in range(60):
        capo = chance.randint(0, 4)
        moments = [
            PitchMoment(
                n / 3, n / 3 + 0.3, tuple(PitchedNote(chance.randint(30, 90)) for _ in range(chance.randint(1, 5)))
            )
            for n in range(12)
        ]
        for moment, places in zip(moments, choose_places(moments, STANDARD, capo), strict=True):
            strings = [place[0] for place in places if place is not None]
            assert len(set(strings)) == len(strings)
            for note, place in zip(moment.notes, places, strict=True):
                if place is not None:
                    assert STANDARD.sounding[place[0] - 1] + capo + place[1] == note.pitch
                    assert 0 <= place[1] <= 22


def test_what_no_string_has_is_left_without_a_place() -> None:
    assert choose_places(line(20, 64, 127), STANDARD)[0] == (None,)
    assert choose_places(line(20, 64, 127), STANDARD)[2] == (None,)
    assert choose_places([], STANDARD) == []
    crowd = [PitchMoment(0.0, 1.0, tuple(PitchedNote(60 + n) for n in range(9)))]
    assert sum(place is not None for place in choose_places(crowd, STANDARD)[0]) <= 6


def test_a_known_string_is_kept() -> None:
    moment = PitchMoment(0.0, 1.0, (PitchedNote(64, string=3),))
    assert choose_places([moment], STANDARD) == [((3, 9),)]


def test_a_phrase_stays_in_one_place() -> None:
    places = [one[0] for one in choose_places(line(57, 60, 62, 64, 67, 69, 72, 69, 67, 64, 62, 60, 57), STANDARD)]
    frets = [place[1] for place in places if place is not None and place[1]]
    assert max(frets) - min(frets) <= 4
