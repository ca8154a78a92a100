"""Where the hand goes along a string, and what of it is heard: a squeak on wound strings, small, before the next note."""

from __future__ import annotations

import numpy as np
import pytest

from lickwright import compile_text
from lickwright.export import Options
from lickwright.export.audio import plan_recording
from lickwright.hand import hand_shifts as module
from lickwright.hand.hand_shifts import hand_shifts
from lickwright.music.custom_sound import read_sound
from lickwright.music.instruments import INSTRUMENTS, Guitar
from lickwright.synth.automation import LIFTED
from sound_measure import OPEN, note
from sound_recordings import RATE, rendered

BASS = (43, 38, 33, 28)
NEXT = 0.85  # seconds at which the second note begins


def shifts(music: str) -> dict[int, int]:
    (lick,) = compile_text(f'key A minor\nlick "a"\n| {music} ||\n').licks
    assert lick.ok and lick.timeline is not None
    return hand_shifts(lick.timeline)


@pytest.mark.parametrize(
    ("music", "found"),
    [
        ("E3'1 - - - E8'1 - - -", {1: 5}),
        ("E8'1 - - - E3'1 - - -", {1: -5}),
        ("E3'1 - - - E10'4 - - -", {1: 2}),  # as far as the hand goes
        ("A3'1&D5'3&G5'4 - - - A5'1&D7'3&G7'4 - - -", {3: 2, 4: 2, 5: 2}),
        ("A5'1&D5'1 - - - A7'1&D7'1 - - -", {2: 2, 3: 2}),  # a barre
        ("E3'1 - - - E5'3 - - -", {}),  # the hand stays
        ("E3'1 - - - A8'1 - - -", {}),  # on another string
        ("E3'1 - A5'1 - E8'1 - - -", {}),  # it was on another string in between
        ("E3'1 - E0 - E8'1 - - -", {}),  # it was lifted
        ("E3'1/8 - - - - - -", {}),  # it presses
        ("E3'1 E5'3 E3'1 - E5h7 - -", {}),
        ("Ex E8'1 Ex E3'1 - - - -", {}),
    ],
)
def test_the_hand_goes_along_the_string_that_it_has_played(music: str, found: dict[int, int]) -> None:
    assert shifts(music) == found


def test_a_recording_knows_the_shifts_of_every_round() -> None:
    (lick,) = compile_text("tempo 240\nlick \"a\"\n|: E3'1 - - - E8'1 - - - :|\n").licks
    assert lick.lowered is not None
    plan = plan_recording(lick.lowered, Options())
    assert [one.shift for one in plan.notes] == [0, 5, -5, 5]


def difference(
    guitar: Guitar, string: int = 6, fret: int = 3, shift: int = 5, gap: float = 0.0, tuning: tuple[int, ...] = OPEN
) -> tuple[np.ndarray, np.ndarray]:
    """What a shift adds to two notes, and the two without it."""
    first = note(0.05, NEXT - gap, tuning[string - 1] + fret, string)
    second = note(NEXT, 1.5, tuning[string - 1] + fret + shift, string)
    without, with_it = (
        rendered([first, second._replace(shift=frets)], guitar, 1.7, tuning).mean(axis=0).astype(np.float64)
        for frets in (0, shift)
    )
    return with_it - without, without


def level(wave: np.ndarray, start: float, stop: float) -> float:
    return 10 * float(np.log10(np.mean(wave[int(start * RATE) : int(stop * RATE)] ** 2) + 1e-20))


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_it_squeaks_softly_and_leaves_the_note_alone(name: str) -> None:
    """27 to 42 dB below the note while it lasts, and another 20 dB softer once the note sounds."""
    tuning = BASS if name == "bass" else OPEN
    added, notes = difference(INSTRUMENTS[name].guitar, len(tuning), tuning=tuning)
    loud = level(notes, NEXT + 0.05, NEXT + 0.5)
    assert -42 <= level(added, NEXT - 0.13, NEXT - 0.02) - loud <= -27
    assert level(added, NEXT + 0.05, NEXT + 0.5) - loud <= -47
    assert np.abs(added[: int((NEXT - 0.3) * RATE)]).max() < 1e-6


def test_it_is_louder_the_farther_and_the_faster() -> None:
    guitar = INSTRUMENTS["acoustic"].guitar
    found = [level(difference(guitar, 6, 3, shift)[0], NEXT - 0.25, NEXT) for shift in (1, 2, 4, 9)]
    assert found == sorted(found) and found[-1] - found[0] > 6


@pytest.mark.parametrize(
    ("name", "string", "squeaks"),
    [
        ("acoustic", 3, True),
        ("acoustic", 2, False),
        ("clean", 4, True),
        ("clean", 3, False),
        ("nylon", 4, True),
        ("nylon", 3, False),
    ],
)
def test_only_wound_strings_squeak(name: str, string: int, squeaks: bool) -> None:
    assert difference(INSTRUMENTS[name].guitar, string)[0].any() == squeaks


def test_a_hand_that_lifts_is_not_heard() -> None:
    guitar = INSTRUMENTS["acoustic"].guitar
    assert difference(guitar, gap=LIFTED * 0.9)[0].any()
    assert not difference(guitar, gap=LIFTED * 1.1)[0].any()


def test_a_sound_of_ones_own_turns_it_off_or_up() -> None:
    base = difference(INSTRUMENTS["acoustic"].guitar)[0]
    for share in (0, 2):
        row, mistakes = read_sound("mine", {"like": "acoustic", "squeak": share})
        assert not mistakes
        assert np.abs(difference(row.guitar)[0] - share * base).max() < 1e-5
    assert read_sound("mine", {"squeak": 9})[1]


def test_the_same_shift_is_the_same_each_time() -> None:
    guitar = INSTRUMENTS["nylon"].guitar
    assert (difference(guitar)[0] == difference(guitar)[0]).all()


def test_recordings_are_made_again_where_a_written_finger_changes_what_is_heard() -> None:
    text = "key A minor\nlick \"a\"\n| E3'1 - - - E8'{} - - - ||\n"
    licks = [compile_text(text.format(finger)).licks[0] for finger in "141"]
    for name in ("audio", "page"):
        same, other, again = (lick.emit(name, Options(page_sound=True)).sound for lick in licks)
        assert same == again != other


def test_a_page_with_its_recordings_plans_the_fingers_once(monkeypatch: pytest.MonkeyPatch) -> None:
    planned = []
    plan_fingering = module.plan_fingering
    monkeypatch.setattr(module, "plan_fingering", lambda *given: planned.append(1) or plan_fingering(*given))
    (lick,) = compile_text("key A minor\nlick \"a\"\n| E3'1 - E5 - E8'1 - E5 - ||\n").licks
    page = lick.emit("page", Options(page_sound=True))
    assert page.sound and b"audio" in page.data
    assert sum(planned) == 1
