"""Listening, measured on takes of recorded strings with known mistakes: the goals that must hold on the held-out set, and that no other lick is judged.

The whole table is printed by `tests/bench/listening.py`.
"""

from __future__ import annotations

import numpy as np
import pytest
from corpus import cases, licks
from guitar_strings import Unavailable
from scoring import Tally, tally_cases

from lickwright.listen.judge import judge_hearing
from lickwright.listen.recording import resample_recording
from lickwright.listen.stretches import hear_recording
from lickwright.performance.note_events import perform

pytestmark = pytest.mark.slow
_TAKES = 60
_PAIRS = 60


@pytest.fixture(scope="module")
def held_out() -> Tally:
    try:
        return tally_cases(cases("held-out", _TAKES))
    except Unavailable as e:
        pytest.skip(str(e))


def _share(values: list[bool]) -> float:
    return sum(values) / max(1, len(values))


def test_right_notes_are_not_accused(held_out: Tally) -> None:
    found = held_out.found
    assert _share(found["false"]) <= 0.008, held_out.said
    assert _share(found["false dry"]) <= 0.01
    assert len(found["extras"]) <= 0.008 * len(found["notes"])
    assert _share(found["false late"]) <= 0.01
    assert _share(found["false bend"]) <= 0.04
    assert _share(found["false vibrato"]) <= 0.03


def test_mistakes_are_found(held_out: Tally) -> None:
    found = held_out.found
    for row, least in (
        ("recognized", 0.94), ("wrong or missing found", 0.88), ("extra found", 0.7), ("late or early found", 0.88),
        ("bend missing found", 0.9), ("bend off found", 0.9), ("vibrato missing found", 0.85), ("shift", 1.0), ("pause", 0.8),
    ):  # fmt: skip
        assert _share(found[row]) >= least, (row, held_out.said)


def test_times_and_pitches_are_exact(held_out: Tally) -> None:
    values = held_out.values
    assert np.median(values["onset plain"]) <= 2
    assert np.percentile(values["onset plain"], 95) <= 14
    assert np.median(values["bend"]) <= 3
    assert np.median(values["tuning"]) <= 5


def test_no_other_lick_is_judged() -> None:
    """Each take is held against a lick that it is not of: none may come out as right."""
    known = licks()
    try:
        takes = list(cases("held-out", _PAIRS // 4, first=300))
    except Unavailable as e:
        pytest.skip(str(e))
    judged = []
    for n, case in enumerate(takes):
        blocks = [case.samples[:, None]]
        hearing = hear_recording(resample_recording(blocks, 48_000))
        for k in range(4):
            other = known[(7 * n + 11 * k + 3) % len(known)]
            if other.title == case.take.timeline.title:
                other = known[(7 * n + 11 * k + 4) % len(known)]
            if not judge_hearing(other, perform(other), hearing).refusal:
                judged.append((case.name, other.title))
    assert not judged
