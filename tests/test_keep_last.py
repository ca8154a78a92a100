"""The memory of one call: what is asked again in turn is made once, and nothing is taken for something else that is equal."""

from __future__ import annotations

import pytest

from lickwright.core.keep_last import keep_last


def counting() -> tuple[list[list[int]], object]:
    made: list[list[int]] = []

    @keep_last
    def total(numbers: list[int]) -> int:
        made.append(numbers)
        return sum(numbers)

    return made, total


def test_the_last_argument_is_worked_on_once() -> None:
    made, total = counting()
    one, other = [1, 2], [3]
    assert [total(one), total(one), total(other), total(other), total(one)] == [3, 3, 3, 3, 3]  # type: ignore[operator]
    assert made == [one, other, one]


def test_equal_arguments_are_not_the_same() -> None:
    made, total = counting()
    total([1]), total([1])  # type: ignore[operator]
    assert len(made) == 2


def test_what_is_raised_is_not_kept() -> None:
    @keep_last
    def fail(value: object) -> None:
        raise ValueError(value)

    for _ in range(2):
        with pytest.raises(ValueError, match="x"):
            fail("x")
