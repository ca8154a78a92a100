"""Where the hand goes: what a teacher would write, and what no hand does."""

from __future__ import annotations

import random
from functools import cache
from itertools import product
from pathlib import Path

import pytest

from lickwright import compile_text
from lickwright.compiler import compile_file
from lickwright.hand.fingering import HandMoment, hand_moments, plan_fingering, suggest_fingers
from lickwright.hand.fingering_costs import find_grips
from lickwright.hand.measures import make_hand
from lickwright.notation.techniques import Curve, Stroke
from lickwright.timeline.model import Timeline

HAND = make_hand("medium")
SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))


def suggested(music: str, head: str = "") -> str:
    """A finger a note: `-` for none."""
    lick = compile_text(f'lick "Case"\nkey A minor\n{head}| {music} |\n').licks[0]
    assert lick.timeline is not None
    return " ".join(finger or "-" for finger in suggest_fingers(lick.timeline))


# What is taught: one finger a fret in box 1, the ring finger bends, slides keep their finger. Where teachers differ, both.
TAUGHT = {
    "box 1 down": ("e8 e5 B8 B5 G7 G5 D7 D5", {"4 1 4 1 3 1 3 1"}),
    "box 1 up, low strings": ("E5 E8 A5 A7 D5 D7 G5 G7", {"1 4 1 3 1 3 1 3"}),
    "one finger a fret": ("e8 e7 e6 e5 B8 B7 B6 B5", {"4 3 2 1 4 3 2 1"}),
    "three notes a string, whole steps": ("E5 E7 E9 A5 A7 A9 - -", {"1 2 4 1 2 4"}),
    "three notes a string, half and whole": ("E7 E8 E10 A7 A9 A10 - -", {"1 2 4 1 3 4"}),
    "the bend is the ring finger's": ("B5 G5 G7^9 - - - - -", {"1 1 3"}),
    "the bend of the blues": ("e5 B5 B8^10 -r G7 G5 - -", {"1 1 3 3 1"}),
    "open strings need none": ("E0 A2 A0 D2 - - - -", {"- 1 - 1", "- 2 - 2"}),
    "a slide keeps its finger": ("B5/8 e5 e8 - - - -", {"3 3 1 4", "3 3 1 3"}),
    "dead notes need none": ("Gx G7 - - - - - -", {"- 1", "- 3"}),
    "taps are the other hand's": ("B5h8 t12 p5 - - - -", {"1 4 - 1"}),
    "open chord of E": ("E0&A2&D2&G1&B0&e0 - - - - - - -", {"- 2 3 1 - -"}),
    "open chord of C": ("A3&D2&G0&B1&e0 - - - - - - -", {"3 2 - 1 -"}),
    "open chord of D": ("D0&G2&B3&e2 - - - - - - -", {"- 1 3 2", "- 1 2 1"}),
    "barre at the fifth fret": ("E5&A7&D7&G6&B5&e5 - - - - - - -", {"1 3 4 2 1 1"}),
    "two strings on one fret": ("G5&B5 - - - - - - -", {"1 1"}),
    "the writer's stay": ("e8'3 e5'1 B8'3 B5'1 - - - -", {"3 1 3 1"}),
}


@pytest.mark.parametrize("case", TAUGHT)
def test_suggests_what_is_taught(case: str) -> None:
    music, accepted = TAUGHT[case]
    assert suggested(music) in accepted


@cache
def timelines() -> tuple[Timeline, ...]:
    found = [lick.timeline for path in SAMPLES for lick in compile_file(path).licks]
    return tuple(timeline for timeline in found if timeline is not None)


def test_every_fretted_note_of_the_samples_gets_a_finger_and_no_other() -> None:
    assert len(timelines()) > 50
    for timeline in timelines():
        for sound, finger in zip(timeline.sounds, suggest_fingers(timeline), strict=True):
            if sound.finger:
                assert finger == sound.finger, timeline.title
            elif sound.kind in ("rake", "scrape") or sound.dead or not sound.fret or sound.begin.stroke is Stroke.TAP:
                assert finger is None, timeline.title
            else:
                assert finger in ("1", "2", "3", "4", "T"), timeline.title


def test_connections_of_the_samples_are_fingered_as_a_hand_can() -> None:
    """A slide keeps its finger; a hammer-on goes to a higher finger, a pull-off to a lower one."""
    seen = 0
    for timeline in timelines():
        found = suggest_fingers(timeline)
        for sound in timeline.sounds:
            source = timeline.sounds[sound.source] if sound.source is not None else None
            if source is None or not source.fret or not sound.fret or not found[source.index] or not found[sound.index]:
                continue
            before, after = int(found[source.index] or 0), int(found[sound.index] or 0)
            seen += 1
            if sound.begin.curve is Curve.GLIDE:
                assert before == after, (timeline.title, sound)
            else:
                assert (after - before) * (sound.fret - source.fret) > 0, (timeline.title, sound)
    assert seen > 60


def test_fingers_stand_in_the_order_of_the_frets() -> None:
    rng = random.Random(4)
    for _ in range(300):
        strings = sorted(rng.sample(range(1, 7), rng.randint(1, 4)), reverse=True)
        low = rng.randint(1, 12)
        places = tuple((string, low + rng.randint(0, 3)) for string in strings)
        for grip in find_grips(places, HAND):
            pairs = sorted(zip((fret for _, fret in places), grip.fingers, strict=True))
            held = [(fret, finger) for fret, finger in pairs if finger != 5]
            assert all(a[1] <= b[1] for a, b in zip(held, held[1:], strict=False) if a[0] < b[0])  # type: ignore[operator]


def at(*notes: tuple[int, ...]) -> list[HandMoment]:
    """Moments a quarter of a second apart; each pitch with every place it has in standard tuning."""
    opens = (64, 59, 55, 50, 45, 40)
    return [
        HandMoment(n / 4, n / 4 + 0.25, tuple(((string, pitch - open_),) for string, open_ in enumerate(opens, 1) if 0 <= pitch - open_ <= 22))
        for n, (pitch,) in enumerate(notes)
    ]  # fmt: skip


def placed(moments: list[HandMoment], box: frozenset[tuple[int, int]] | None = None) -> list[tuple[int, int | None]]:
    return [m.choices[n][0] for m, n in zip(moments, plan_fingering(moments, HAND, box).choice, strict=True)]


def test_pitches_are_placed_where_one_hand_has_them() -> None:
    scale = at((57,), (60,), (62,), (64,), (67,), (69,), (72,))
    frets = [fret for _, fret in placed(scale) if fret]
    assert max(frets) - min(frets) <= 4


def test_a_box_draws_the_notes_to_it() -> None:
    box = frozenset((string, fret) for string in range(1, 7) for fret in range(5, 9))
    assert all(place in box for place in placed(at((57,), (60,), (62,), (64,), (67,), (69,), (72,)), box))
    twelve = frozenset((string, fret) for string in range(1, 7) for fret in range(11, 16))
    assert all(place in twelve for place in placed(at((64,), (67,), (69,), (71,), (74,)), twelve))


def test_connected_notes_stay_on_one_string() -> None:
    moments = at((60,), (62,), (64,), (65,))
    moments = [moments[0], *(m._replace(joined=True) for m in moments[1:])]
    assert len({string for string, _ in placed(moments)}) == 1


def test_the_plan_tells_its_costs() -> None:
    moments, _ = hand_moments(timelines()[0])
    found = plan_fingering(moments, HAND)
    assert found.cost == pytest.approx(sum(found.costs))
    assert len(found.why) == len(found.position) == len(found.choice) == len(moments)
    assert plan_fingering([], HAND).cost == 0


def test_no_better_way_among_all_of_a_short_phrase() -> None:
    """Dynamic programming against trying everything: every finger on every one of four notes."""
    rng = random.Random(9)
    for _ in range(8):
        notes = [((rng.randint(1, 3), rng.randint(3, 12)),) for _ in range(4)]
        moments = [HandMoment(n / 4, n / 4 + 0.25, (note,)) for n, note in enumerate(notes)]
        best = plan_fingering(moments, HAND).cost
        tried = []
        for taken in product("1234", repeat=len(moments)):
            fixed = [m._replace(fixed=(finger,)) for m, finger in zip(moments, taken, strict=True)]
            tried.append(plan_fingering(fixed, HAND).cost)
        assert best == pytest.approx(min(tried))


def test_a_small_hand_shifts_where_a_large_one_reaches() -> None:
    moments = [HandMoment(n / 4, n / 4 + 0.25, (((6, fret),),)) for n, fret in enumerate((1, 5, 1, 5, 1, 5))]
    costs = [plan_fingering(moments, make_hand(reach)).cost for reach in ("small", "medium", "large")]
    assert costs[0] >= costs[1] >= costs[2]


def test_show_suggests_on_request_and_never_writes_over(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    from lickwright.cli import main

    path = tmp_path / "a.lick"
    path.write_text('lick "Case"\nkey A minor\n| e8\'3 e5 B8 B5 G7 G5 D7 D5 ||\n')
    assert main(["show", str(path)]) == 0
    plain = capfd.readouterr().out.splitlines()
    assert main(["show", str(path), "--fingers"]) == 0
    out = capfd.readouterr().out.splitlines()
    row = next(n for n, line in enumerate(out) if line.startswith("e|")) - 1
    assert out[row].split() == ["3", "1", "4", "1", "3", "1", "3", "1", "fretting", "hand"]
    assert out[-1] == "fingers: the writer's where they are written, else a suggestion"
    assert [line for line in plain if "|" in line] == [line for line in out if "|" in line]
    assert plain[next(n for n, line in enumerate(plain) if line.startswith("e|")) - 1].split() == [
        "3",
        "fretting",
        "hand",
    ]
    assert path.read_text().count("'") == 1
