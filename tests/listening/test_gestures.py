"""Bends, releases, vibrato and double stops, heard in takes that have many of them: what must be found, and that nothing false is said."""

from __future__ import annotations

import pytest
from guitar_strings import Unavailable
from scoring import tally_cases
from sets import cases

_TAKES = 54  # each lick six times


@pytest.mark.slow
def test_gestures_are_told_and_nothing_false_is_said() -> None:
    try:
        tally = tally_cases(cases("gestures-held-out", _TAKES))
    except Unavailable as e:
        pytest.skip(str(e))
    found = tally.found
    assert sum(found["recognized"]) >= _TAKES - 2, tally.said
    for row in (
        "bend missing", "bend off", "bend late", "release missing", "release late", "pre-bend picked too soon", "vibrato missing",
        "wrong in a pair", "missing in a pair",
    ):  # fmt: skip
        told = found[f"{row} found"]
        assert len(told) >= 5, row
        assert sum(told) >= 0.9 * len(told), (row, tally.said)
    for row, most in (("false", 0.01), ("false late", 0.01), ("false bend", 0.03), ("false vibrato", 0.05)):
        assert sum(found[row]) <= most * len(found[row]), (row, tally.said)
    assert len(found["extras"]) <= 0.01 * len(found["notes"]), tally.said
