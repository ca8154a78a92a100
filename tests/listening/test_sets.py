"""The sets of takes themselves: their licks are whole, what is written down of a slip is what is played, and each set can be heard."""

from __future__ import annotations

import numpy as np
import pytest
from corpus import SAMPLES
from guitar_strings import Unavailable
from lessons import LICKS, lesson_licks
from players import Whole, draw_player, play_take
from plucked_strings import BRIGHT, sound_strings
from scoring import tally_cases
from sets import NAMES, cases
from slips import PASSAGES, SLIPS

from lickwright import compile_file
from lickwright.core.diagnostics import Severity

_AS_WRITTEN = Whole(1.0, 0.0, 0.0, 0)
_GONE = ("missing", "left out", "skipped", "not played", "pair missing")


def test_the_licks_of_the_sets_are_whole_and_their_own() -> None:
    titles: list[str] = []
    for path in LICKS.glob("*.lick"):
        found = compile_file(path)
        assert not [d for d in found.diagnostics if d.severity is Severity.ERROR]
        titles += [lick.title for lick in found.licks]
    assert len(titles) >= 40
    assert len(set(titles)) == len(titles)
    text = "".join(path.read_text() for path in SAMPLES.rglob("*.lick"))
    assert not [title for title in titles if f'"{title}"' in text]


@pytest.mark.parametrize("name", [*SLIPS, *PASSAGES])
def test_a_slip_is_played_as_it_is_written_down(name: str) -> None:
    """Somewhere in the licks there is a place for each slip; what is gone has no stroke, what is not has one."""
    made = 0
    for timeline in (*lesson_licks("lessons"), *lesson_licks("lessons-held-out")):
        random = np.random.default_rng(5)
        player = draw_player(random)._replace(swing=0.6, brush=0.0)
        take = play_take(timeline, random, player, _AS_WRITTEN, (name,), 1)
        made += bool(take.labels or "restart" in take.facts)
        sounded = {n.event.sound for n in take.notes}
        for index, label in take.labels.items():
            assert (index in sounded) == (label not in (*_GONE, "not judged")), (timeline.title, label)
            assert (index in take.onsets) == (index in sounded)
        written = {s.index: s.pitch + timeline.settings.capo for s in timeline.sounds}
        off = {n.event.sound for n in take.notes if n.event.sound >= 0 and abs(n.pitch - written[n.event.sound]) > 0.01}
        assert off == {i for i, label in take.labels.items() if label in ("wrong", "pair wrong")}
        assert all(any(abs(n.start - at) < 1e-6 for n in take.notes) for at in take.extras)
        assert all(n.end > n.start for n in take.notes)
    assert made


def test_a_computed_string_sounds_at_its_pitch_and_when_it_is_picked() -> None:
    timeline = next(t for t in lesson_licks("lessons") if t.title == "Biscuit tin")
    random = np.random.default_rng(1)
    take = play_take(timeline, random, draw_player(random)._replace(brush=0.0, sloppy=0.0), _AS_WRITTEN, (), 0)
    wave = sound_strings(take, BRIGHT, random, 0.4)
    first = take.notes[0]
    begin = int((first.start + 0.4) * 48_000)
    assert np.abs(wave[: begin - 48]).max() < 1e-6
    assert np.abs(wave[begin : begin + 480]).max() > 0.01
    heard = wave[begin + 480 : begin + 480 + 9600]
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard)), 1 << 18))
    hertz = 440 * 2 ** ((first.pitch - 69) / 12)
    near = int(hertz * 0.97 * (1 << 18) / 48_000), int(hertz * 1.03 * (1 << 18) / 48_000)
    peak = (near[0] + int(np.argmax(spectrum[near[0] : near[1]]))) * 48_000 / (1 << 18)
    assert abs(1200 * np.log2(peak / hertz)) < 5


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_each_set_is_heard(name: str) -> None:
    """A few takes of each: far from its goals something is broken, in the ear or in the set."""
    try:
        tally = tally_cases(cases(name, 6, first=6))
    except Unavailable as e:
        pytest.skip(str(e))
    found = tally.found
    assert sum(found["recognized"]) >= 4, tally.said
    assert sum(found["false"]) <= 0.04 * len(found["false"]), tally.said
    assert sum(found["wrong or missing found"]) >= 0.6 * len(found["wrong or missing found"]), tally.said
    assert np.median(tally.values["onset plain"]) <= 15  # the attacks of some fonts are slow
