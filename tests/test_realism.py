"""What real strings do: the measures of `sound_realism` on ours, held to the goals that real recordings set (`bench/sound_real.py` measures these)."""

from __future__ import annotations

import numpy as np
import pytest

import sound_realism as real
from lickwright.music.instruments import INSTRUMENTS, interpolate
from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import PitchRamp
from lickwright.synth.amp import Amp
from lickwright.synth.guitar import Instrument
from lickwright.synth.pulses import pick_noise
from lickwright.synth.sympathy import Sympathy, free_spans
from sound_goals import RATE
from sound_measure import OPEN, Wave, hertz, level, note, string_of
from sound_recordings import rendered


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
    """It is not shorter but tighter, and all its partials go up together: B stays that of its fret."""
    wave = string_of([note(0.01, 1.5, 62, moves=(PitchRamp(0.02, 0.2, 2.0),))], RATE, open_pitch=55)
    stiff, base = real.inharmonicity(wave[int(0.2 * RATE) :], RATE, hertz(64))
    given = interpolate(INSTRUMENTS["clean"].guitar.stiffness, 55)
    assert stiff == pytest.approx(given * 2 ** (7 / 6), rel=0.05)
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


def plucked(name: str, string: int, seconds: float) -> Wave:
    """One open string as it comes out of a guitar's amplifier, both channels together."""
    wave = rendered([note(0.05, seconds, OPEN[string - 1], string)], INSTRUMENTS[name].guitar, seconds)
    return real.from_stroke(wave.mean(axis=0).astype(np.float64), RATE)


@pytest.mark.parametrize("name", ["acoustic", "clean"])
@pytest.mark.parametrize("string", [3, 5])
def test_a_string_beats_and_dies_in_two_stages(name: str, string: int) -> None:
    wave, near = plucked(name, string, 4.2), hertz(OPEN[string - 1])
    stiff, base = real.inharmonicity(wave, RATE, near)
    assert 0.8 < real.fluctuation(wave, RATE, base, stiff) < 4
    early, late = real.decay_slopes(wave, RATE, base, stiff)
    assert early > 1.5 * late
    assert 6 < real.fall(wave, RATE) < 10.5


def test_nylon_dies_sooner_and_crunch_later() -> None:
    assert 12 < real.fall(plucked("nylon", 4, 2.2), RATE) < 16
    assert real.fall(plucked("crunch", 4, 2.2), RATE) < 5


def test_crunch_has_bite_and_body() -> None:
    """Third octaves against the whole, in decibels; it was 24 to 42 dB down at 2 to 4 kHz, and 21 dB at 80 Hz."""
    notes = [note(0.05, 2.0, pitch, string) for string, pitch in ((6, 40), (5, 47), (4, 52))]
    wave = rendered(notes, INSTRUMENTS["crunch"].guitar, 2.0).mean(axis=0).astype(np.float64)
    bands = real.third_octaves(wave, RATE, (80.0, 2000.0, 2500.0, 3150.0))
    assert min(bands.values()) > -20
    assert bands[80.0] > -15


def answered(notes: list[NoteEvent], seconds: float) -> Wave:
    """What the strings that are not played add."""
    guitar, count = INSTRUMENTS["acoustic"].guitar, int(seconds * RATE)
    played = Instrument(notes, OPEN, guitar, RATE).samples(0, count)
    return Sympathy(lambda start, stop: played[start:stop], notes, OPEN, guitar, RATE).samples(0, count) - played


def test_a_nail_on_nylon_is_not_dull() -> None:
    """A third of an octave at 3.15 kHz in the first half second, against all: a SoundFont's recorded guitar has −29 dB."""
    shares = [
        real.third_octaves(plucked("nylon", string, 0.7)[: RATE // 2], RATE, (3150.0,))[3150.0]
        for string in (1, 2, 3, 4, 5, 6)
    ]
    assert -45 < 10 * np.log10(np.mean([10 ** (share / 10) for share in shares])) < -25


def test_a_finger_s_noise_is_duller_than_a_pick_s() -> None:
    spectra = [np.abs(np.fft.rfft(pick_noise(RATE, 3, soft))) for soft in (0.0, INSTRUMENTS["nylon"].guitar.soft)]
    centres = [float((one * np.arange(len(one))).sum() / one.sum()) for one in spectra]
    assert centres[1] < 0.4 * centres[0]
    assert abs(pick_noise(RATE, 3, 0.0003).sum()) < 1e-9


def test_open_strings_answer_a_short_note() -> None:
    """An octave above the third string: that rings on, 30 to 60 dB below the note."""
    short = note(0.05, 0.2, 67, 1)
    played = level(Instrument([short], OPEN, INSTRUMENTS["acoustic"].guitar, RATE).samples(0, RATE), RATE, 0.05, 0.15)
    answer = level(answered([short], 1.0), RATE, 0.65, 0.85)
    assert -60 < 20 * np.log10(answer / played) < -30


def test_only_what_no_hand_damps_answers() -> None:
    muted = note(0.05, 0.2, 67, 1, damping=Damping.PALM)
    assert np.abs(answered([muted], 1.0)).max() < 1e-9
    held = [note(0.05, 2.0, pitch, string) for string, pitch in enumerate(OPEN, 1)]
    assert np.abs(answered(held, 1.9)).max() < 1e-9
    assert free_spans([note(1.0, 2.0, 67), note(2.05, 3.0, 67)], [(5.0, 6.0)])[:2] == [(0.0, 0.97), (3.12, 5.0)]


def test_answers_are_the_same_in_pieces() -> None:
    notes, guitar = [note(0.05, 0.2, 67, 1), note(0.4, 0.5, 45, 5)], INSTRUMENTS["clean"].guitar
    played = Instrument(notes, OPEN, guitar, RATE).samples(0, RATE)
    whole, pieces = (Sympathy(lambda start, stop: played[start:stop], notes, OPEN, guitar, RATE) for _ in range(2))
    edges = [*range(0, RATE, 977), RATE]
    parts = [pieces.samples(start, stop) for start, stop in zip(edges, edges[1:], strict=False)]
    assert np.abs(np.concatenate(parts) - whole.samples(0, RATE)).max() < 1e-9


@pytest.mark.parametrize("name", ["acoustic", "clean", "lead"])
def test_a_room_is_wide_and_safe_in_one_loudspeaker(name: str) -> None:
    """Between 12 and 16 dB at the sides; both channels together have no hole, by third octaves against the guitar without a room."""
    wave = np.concatenate(
        [rendered([note(0.05, 1.0, OPEN[s - 1], s)], INSTRUMENTS[name].guitar, 1.2) for s in (2, 4, 6)], axis=1
    )
    assert -17 < real.side_to_mid(wave.astype(np.float64)) < -11
    guitar = INSTRUMENTS[name].guitar._replace(drive=0.0, compression=0.0, pickup=None)
    click = np.zeros(2 * RATE)
    click[1000] = 1.0
    wet, dry = (
        np.concatenate(list(Amp(guitar, RATE, dry).play(lambda start, stop: click[start:stop], len(click))), axis=1)
        for dry in (False, True)
    )
    bands = 1000.0 * 2.0 ** (np.arange(-8, 9) / 3)
    powers = [np.abs(np.fft.rfft(one.mean(axis=0).astype(np.float64))) ** 2 for one in (wet, dry)]
    lines = np.fft.rfftfreq(len(click), 1 / RATE)
    for f in bands:
        inside = (lines > f * 2 ** (-1 / 6)) & (lines < f * 2 ** (1 / 6))
        assert abs(10 * np.log10(powers[0][inside].sum() / powers[1][inside].sum())) < 1.5
