"""Everyday shares of long grids: a test goes over some of its cases every day, and over all of them where slow tests are run."""

from __future__ import annotations

from typing import Any

import pytest


def every_nth(nth: int) -> Any:
    """A mark for a test with a parameter `every`, the step through its cases: `nth` every day, 1 in a test marked `slow`."""
    return pytest.mark.parametrize("every", [nth, pytest.param(1, marks=pytest.mark.slow)])
