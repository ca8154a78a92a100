"""What real strings do: the measures of `sound_realism` on ours, held to the goals that real recordings set (`bench/sound_real.py` measures these)."""

from __future__ import annotations

import pytest

import sound_realism as real
from lickwright.music.instruments import INSTRUMENTS, interpolate
from lickwright.performance.pitch_curves import PitchRamp
from sound_goals import RATE
from sound_measure import OPEN, hertz, note, string_of


@pytest.mark.parametrize("name", ["clean", "acoustic", "nylon"])
@pytest.mark.parametrize("fret", [0, 7])
def test_partials_lie_where_those_of_a_stiff_string_do(name: str, fret: int) -> None:
    """B is given for the open string, and is four times as large where the string is half as long."""
    guitar = INSTRUMENTS[name].guitar
    for string, open_pitch in enumerate(OPEN, 1):
        wave = string_of([note(0.01, 1.3, open_pitch + fret, string)], RATE, guitar, open_pitch)
        stiff, _ = real.inharmonicity(wave, RATE, hertz(open_pitch + fret))
        given = interpolate(guitar.stiffness, open_pitch)
        assert 3e-5 <= given <= 6e-5
        assert stiff == pytest.approx(given * 2 ** (fret / 6), rel=0.05)


def test_a_bent_string_is_as_stiff() -> None:
    wave = string_of([note(0.01, 1.5, 62, moves=(PitchRamp(0.02, 0.2, 2.0),))], RATE, open_pitch=55)
    stiff, base = real.inharmonicity(wave[int(0.1 * RATE) :], RATE, hertz(64))
    given = interpolate(INSTRUMENTS["clean"].guitar.stiffness, 55)
    assert stiff == pytest.approx(given * 2 ** (9 / 6), rel=0.05)
    assert base == pytest.approx(hertz(64), rel=3e-4)


def test_a_stiff_string_is_no_pulse_train() -> None:
    """The envelope of its high partials swings much less within a period than that of a limp string's, which would be some 20 dB and more."""
    guitar = INSTRUMENTS["clean"].guitar
    limp = guitar._replace(stiffness=((64.0, 1e-9),))
    for open_pitch in (40, 50):
        swings = [
            real.envelope_swing(
                string_of([note(0.01, 1.0, open_pitch)], RATE, one, open_pitch), RATE, hertz(open_pitch)
            )
            for one in (guitar, limp)
        ]
        assert swings[0] < 16 < swings[1] - 4
