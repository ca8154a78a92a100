"""How the pitch of a note moves: bends, slides, vibrato, the bar, harmonics."""

from __future__ import annotations

from itertools import pairwise
from math import log2

import pytest

from lickwright.notation.techniques import Stroke
from lickwright.performance.pitch_curves import CurveShape, PitchRamp, pitch_offsets
from playing import pitch, played


def test_a_bend_arrives_early_in_its_step_and_stays() -> None:
    (note,) = played("| B8^10 - - - - - - - ||", "tempo 60")
    assert note.moves == (PitchRamp(0, 0.25, 2),)
    assert pitch(note, 0, 0.125, 0.25, 2) == pytest.approx([67, 68, 69, 69])
    (quick,) = played("| B8^10 - - - - - - - ||", "tempo 240")
    assert quick.moves == (PitchRamp(0, pytest.approx(0.075), 2),)


def test_bend_amounts_curl_and_targets() -> None:
    notes = played("| B8^quarter B8^half B8^full B8^ B8^8.5 B8^11 - - ||")
    assert [pitch(note, note.end)[0] - 67 for note in notes] == [0.5, 1, 2, 0.5, 0.5, 3]


def test_shapes_are_chained_each_from_where_the_last_left_the_pitch() -> None:
    (note,) = played("| B8^10 -r8 - -^9 - -r - - ||")
    assert pitch(note, 0.2, 0.25 + 0.2, 0.75 + 0.2, 1.25 + 0.2) == [69, 67, 68, 67]
    (both,) = played("| B8^10r - - - - - - - ||")
    assert pitch(both, 0.08, 0.125, 0.25) == [69, 69, 67]
    (late,) = played("| B8- -^10 - - - - - ||")
    assert pitch(late, 0.5, 0.75) == [67, 69]


def test_a_pre_bend_is_there_at_the_stroke() -> None:
    (note,) = played("| B8^^10 -r - - - - - - ||")
    assert pitch(note, 0, 0.25, 0.45) == [69, 69, 67]


def test_vibrato_goes_up_from_a_fretted_note_and_around_a_bent_one() -> None:
    times = [i / 1000 for i in range(4000)]
    plain, wide = (played(f"| B8{sign} - - - - - - - ||", "tempo 60")[0] for sign in ("~", "~~"))
    for note, width in ((plain, 0.35), (wide, 0.7)):
        values = pitch_offsets(note.moves, times)
        assert min(values) >= 0
        assert max(values) == pytest.approx(width, abs=0.001)
        steady = values[120:3900]
        troughs = [i for i in range(1, len(steady) - 1) if steady[i - 1] > steady[i] <= steady[i + 1]]
        assert len(troughs) == pytest.approx(5.5 * 3.78, abs=1)
        assert max(abs(b - a) for a, b in pairwise(values)) < 0.02  # no jumps
    (bent,) = played("| B8^10 -~ - - - - - - ||", "tempo 60")
    values = pitch_offsets(bent.moves, times[1000:])
    assert (min(values), max(values)) == pytest.approx((2 - 0.175, 2 + 0.175), abs=0.001)


def test_a_slide_leaves_at_the_end_of_the_note_and_its_target_is_not_struck() -> None:
    source, target = played("| G7 - /9 - - - - - ||")
    assert source.moves == (PitchRamp(pytest.approx(0.4), 0.5, 2, CurveShape.FRETS),)
    assert pitch(source, 0.4, 0.5) == [62, 64]
    assert (target.stroke, target.joined, target.pitch, target.moves) == (Stroke.NONE, True, 64, ())
    far, _ = played("| G5 /17 - - - - - - ||")
    assert far.moves == (
        PitchRamp(pytest.approx(0.125), 0.25, 12, CurveShape.FRETS),
    )  # 600 ms, but at most half of the note
    shift, picked = played("| G7 - \\\\5 - - - - - ||")
    assert pitch(shift, 0.5) == [60]
    assert (picked.stroke, picked.joined) == (Stroke.PICK, True)


def test_a_slide_goes_fret_by_fret() -> None:
    source, _ = played("| G5 - - - /9 - - - ||", "tempo 60")
    values = pitch_offsets(source.moves, [1.8 + i / 1000 for i in range(201)])  # four frets, 50 ms each
    assert values == sorted(values)
    for fret in range(4):
        stay = values[50 * fret + 1 : 50 * fret + 29]
        assert stay == pytest.approx([fret] * 28, abs=0.001)
    assert values[-1] == pytest.approx(4)


def test_a_slide_from_a_bent_note_starts_where_the_bend_is() -> None:
    source, target = played("| B8^10 - /12 - - - - - ||")
    assert pitch(source, 0.24, 0.5) == [69, 71]
    assert target.pitch == 71


def test_slides_from_and_to_nowhere() -> None:
    up, down = played("| /G7 - - - \\G7 - - - ||")
    assert pitch(up, 0, 0.1, 0.5) == [60, 62, 62]
    assert pitch(down, 1, 1.1) == [64, 62]
    off, over = played("| G7- -/ G7 - - -\\ - - ||")
    assert pitch(off, 0.5, 0.75)[0] == 62
    assert pitch(off, 0.75)[0] > 64
    assert pitch(over, 1.75) == [58]
    assert over.end == pytest.approx(1.75)  # it is gone then, held or not


def test_the_bar_dives_dips_and_scoops() -> None:
    dive, dip, scoop = played("| (dive: G7 -) (dip: G7 -) (scoop: G7 -) . . ||")
    assert pitch(dive, 0, 0.25, 0.5) == pytest.approx([62, 56, 50])
    assert pitch(dip, 0.5, 0.6, 0.7, 0.9) == [62, 61, 62, 62]
    assert pitch(scoop, 1, 1.15) == [61, 62]


@pytest.mark.parametrize(("note", "expected"), [
    ("G<12>", 55 + 12), ("G<7>", 55 + 12 * log2(3)), ("G<5>", 79), ("G<4>", 55 + 12 * log2(5)), ("G5<17>", 72),
])  # fmt: skip
def test_harmonics_sound_where_the_string_divides(note: str, expected: float) -> None:
    assert played(f"| {note} - - - - - - - ||")[0].pitch == pytest.approx(expected)


def test_capo_and_tuning_are_heard() -> None:
    assert played("| G7 - - - - - - - ||", "capo 3")[0].pitch == 65
    assert played("| G7 - - - - - - - ||", "tuning half step down")[0].pitch == 61
    assert played("| 6:0 - - - - - - - ||", "tuning drop D")[0].pitch == 38
    assert played("| E0 - - - - - - - ||", "tuning bass")[0].pitch == 28


def test_moves_add_up() -> None:
    moves = (PitchRamp(0, 0, -2), PitchRamp(0, 1, 2), PitchRamp(2, 3, 1), PitchRamp(2, 3, 0.5, CurveShape.ABOVE))
    assert pitch_offsets(moves, (0, 0.5, 1, 2, 3)) == pytest.approx([-2, -1, 0, 0, 1])
    assert pitch_offsets(moves, ()) == []
