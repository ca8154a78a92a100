"""One more stroke of the string that sounds: its wave breaks off, however little the level changes; a bend, a swell or a click beside it does not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from effort import calls
from lickwright.core.fast_dataclass import replace
from lickwright.listen.judge_extras import find_extras
from lickwright.listen.stretches import Hearing
from lickwright.listen.wave_breaks import period_break, phase_break
from plucked import RATE, Samples, Tone, judged, matched_wave, pluck, recorded, steady, take_of, timeline_of

LONG = 'key A minor\ntempo 80\nstep 1/8\nlick "Long"\n| A0 A3 D0 D2 G0 G2 B1- | G0 D2 D0 A3 G2--- ||\n'
WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'
Values = NDArray[np.float64]
AT = 1.0  # seconds


def _struck_twice(tones: list[Tone], at: float, softer: float) -> Samples:
    """The last of some tones is struck once more at an instant, as loudly as it sounds by then, or softer; no noise of a pick is heard."""
    *before, last = tones
    seconds = last.end + 0.5
    second = last._replace(start=at, picked=False)
    return pluck([*before, last._replace(end=at - 0.004)], seconds) + pluck([second], seconds, 0.3 * softer)


def _tone(start: float = 0.2, end: float = 2.0) -> Tone:
    return steady(start, end, 57.0)._replace(picked=False)


def _swung(seconds: Values) -> Values:
    return 57 + 0.3 * np.sin(2 * np.pi * 5.5 * seconds)


def _clicked(wave: Samples) -> Samples:
    first = int(AT * RATE)
    wave[first : first + 120] += 0.3 * np.random.default_rng(3).standard_normal(120).astype(np.float32)
    return wave


_RINGING: dict[str, Samples] = {
    "rings on": pluck([_tone()]),
    "vibrato": pluck([_tone()._replace(pitch=_swung)]),
    "bend": pluck([_tone()._replace(pitch=lambda t: 57 + 2 * np.clip((t - 0.9) / 0.2, 0, 1))]),
    "swells": pluck([_tone()])
    * (1 + np.clip((np.arange(int(2.5 * RATE)) / RATE - 0.97) / 0.06, 0, 1)).astype(np.float32),
}


@pytest.mark.parametrize("name", _RINGING)
def test_the_wave_of_a_string_that_rings_on_does_not_break(name: str) -> None:
    recording = recorded(_RINGING[name])
    assert period_break(recording, AT, 57.0) < 5
    assert phase_break(recording, AT, 57.0) < 0.3


@pytest.mark.parametrize("softer", [0.3, 0.6, 1.0])
def test_the_wave_of_a_string_that_is_struck_again_breaks_and_its_partials_turn(softer: float) -> None:
    at = AT + 0.0017  # not a whole period after the first stroke
    recording = recorded(_struck_twice([_tone(end=2.0)], at, softer))
    assert period_break(recording, at, 57.0) > 8


def test_the_partials_of_a_string_beside_which_something_clicks_go_on_in_phase() -> None:
    recording = recorded(_clicked(pluck([_tone()])))
    assert period_break(recording, AT, 57.0) > 8
    assert phase_break(recording, AT, 57.0) < 0.1


def test_the_ends_of_a_recording_break_nothing() -> None:
    recording = recorded(np.zeros(RATE, np.float32))
    for at in (0.0, 0.5, 1.0, 1.5):
        assert period_break(recording, at, 57.0) <= 0
        assert phase_break(recording, at, 57.0) == 0


@pytest.mark.parametrize("after", [0.15, 0.3])
@pytest.mark.parametrize("softer", [0.5, 0.8])
def test_a_stroke_that_is_no_louder_than_its_string_is_an_extra_note(after: float, softer: float) -> None:
    timeline = timeline_of(LONG)
    tones = take_of(timeline)[0]
    at = tones[-1].start + after
    judgement = judged(timeline, _struck_twice(tones, at, softer))
    (extra,) = judgement.passes[judgement.best].extras
    assert extra.at == pytest.approx(at, abs=0.03)
    assert round(extra.pitch) == 57


@pytest.mark.parametrize(("music", "extras"), [("A0 A3 D0 D2- D2- D0", 0), ("A0 A3 D0 D2--- D0", 1)])
def test_a_stroke_is_no_extra_note_where_a_note_of_the_lick_may_be_it(music: str, extras: int) -> None:
    """A note of the lick is played, but was not matched; where the lick has none there, the stroke is one too many."""
    timeline = timeline_of(f'key A minor\ntempo 80\nstep 1/8\nlick "Twice"\n| {music} ||\n')
    tones, performance = take_of(timeline)
    played = take_of(timeline_of('key A minor\ntempo 80\nstep 1/8\nlick "Twice"\n| A0 A3 D0 D2- D2- D0 ||\n'))[0]
    found = matched_wave(timeline, pluck(played), tones, performance)
    if not extras:
        starts = list(found.times.starts)
        begins = list(found.times.begins)
        starts[4] = begins[4] = None
        found = replace(found, times=replace(found.times, starts=tuple(starts), begins=tuple(begins)))
    assert len(find_extras(found, 1.0)) == extras


def test_what_changes_long_after_a_lick_costs_nothing() -> None:
    """A recording may go on for half an hour, and have hundreds of passes."""
    timeline = timeline_of(LONG)
    tones, performance = take_of(timeline)
    found = matched_wave(timeline, pluck(tones), tones, performance)
    later = np.concatenate((found.hearing.changes, 60 + np.arange(1_000) * 0.1))
    longer = replace(found, hearing=replace(found.hearing, changes=later))
    longer.hearing.unstruck.append(found.unstruck_sharpness())
    assert calls(lambda: find_extras(longer, 1.0)) < calls(lambda: find_extras(found, 1.0)) + 100


def _cut_at(hearing: Hearing, at: float, pitch: float) -> Hearing:
    """What is heard, with one more stretch that begins at an instant; a string may have been struck there."""
    k = int(np.searchsorted(hearing.starts, at))
    parts = {
        "starts": at,
        "picks": 1.0,
        "pitches": pitch,
        "levels": hearing.levels[k - 1],
        "steps": True,
        "plucked": 1.0,
    }
    return replace(hearing, **{name: np.insert(getattr(hearing, name), k, value) for name, value in parts.items()})


@pytest.mark.parametrize("sign", ["~~", ""])
def test_a_vibrato_that_is_wider_than_written_is_no_extra_note(sign: str) -> None:
    """The ear may cut a note where its pitch goes up by most of a half step; where no vibrato is written that is another note."""
    timeline = timeline_of(LONG.replace("G2---", f"G2{sign}---"))
    (*tones, last), performance = take_of(timeline)

    def swung(seconds: Values) -> Values:
        return 57 + 0.45 * (1 - np.cos(2 * np.pi * 5 * (seconds - last.start)))

    played = [*tones, last._replace(pitch=swung)]
    found = matched_wave(timeline, pluck(played), played, performance)
    found = replace(found, hearing=_cut_at(found.hearing, last.start + 0.25, 57.8))
    assert len(find_extras(found, 1.0)) == (not sign)


@pytest.mark.parametrize(("level", "extras"), [(0.06, 0), (0.3, 1)])
def test_a_low_note_of_a_guitar_farther_away_is_no_extra_note(level: float, extras: int) -> None:
    """It is 14 dB softer than those of the player."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    wave, last = pluck(tones), tones[-1]
    other = steady(last.start + 0.7, last.end, 47, string=9)
    judgement = judged(timeline, wave + pluck([other], len(wave) / RATE, level)[: len(wave)])
    assert len(judgement.passes[judgement.best].extras) == extras
