"""An interrupt at one call of a function of `os`, as Ctrl-C brings it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

import pytest


class Calls:
    """How often the function was called."""

    def __init__(self) -> None:
        self.count = 0


@contextmanager
def interrupted_call(monkeypatch: pytest.MonkeyPatch, name: str, number: int, after: bool) -> Iterator[Calls]:
    """Raise KeyboardInterrupt at the `number`-th call of `os.name`, before it or after it was done."""
    real, calls = getattr(os, name), Calls()

    def stopped(*args: object, **more: object) -> object:
        calls.count += 1
        if calls.count != number:
            return real(*args, **more)
        if after:
            real(*args, **more)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(os, name, stopped)
        yield calls
