"""What tests of pages in a real browser share: one browser for the tests of a module, the pages that they open, axe-core."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import axe_core, chromium, driver

from pages import lick_of, page_of

SUNG = """lick "Long tones"
key A minor
box 1
tempo 120
tags <script>alert(1)</script>
note <img src=x onerror=alert(1)>
| A7---- - - - | G7---- - - - | B8^10--- -r--- |
"""


@pytest.fixture(scope="module")
def playwright() -> Iterator[Any]:
    """Start what drives browsers."""
    with driver() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Any) -> Iterator[Any]:
    """Start Chromium."""
    with chromium(playwright) as running:
        yield running


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Write some lesson pages; return where each is, by a name."""
    folder = tmp_path_factory.mktemp("pages")
    pages = {
        "sounded": page_of(lick_of(), sound=True),
        "plain": page_of(lick_of()),
        "sung": page_of(lick_of(SUNG), sound=True),
        "four": page_of(lick_of('lick "Four bars"\n' + 4 * "| e8 e5 B8 e5 G7 G5 D7 D5 " + "||\n")),
    }
    for name, text in pages.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: folder / f"{name}.html" for name in pages}


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the text of axe-core."""
    return axe_core(tmp_path_factory.mktemp("axe"))
