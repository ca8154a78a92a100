"""Reports on recordings in a real browser: the lesson page shows one, the assignment keeps a table of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from browsing import Opened, chromium
from commanding import Run, write
from lickwright.cli import main
from plucked import pluck, take_of, timeline_of, write_wave

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("browser")]

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk <b>"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


@pytest.fixture
def made(run_from: Callable[..., Run]) -> Path:
    run_from()
    write("walk.lick", WALK)
    tones = take_of(timeline_of(WALK))[0]
    write_wave("take.wav", pluck([*tones[:3], *tones[4:]]))
    assert main(["listen", "walk.lick", "take.wav", "--report", "report.json"]) == 1
    assert main(["assign", "Mara", "walk.lick", "--silent-page", "--no-sheet"]) == 0
    write("other.json", '{"format": "something else"}')
    write("broken.json", "{")
    return Path("mara").resolve()


def test_a_lesson_page_shows_a_report(browser: Any, made: Path) -> None:
    with Opened(browser, made / "walk-b.html") as one:
        page = one.page
        page.set_input_files("#heard-file", str(made.parent / "report.json"))
        page.wait_for_selector("#heard-report ol li")
        text = page.inner_text("#heard-report")
        assert "12 of 13 notes just right" in text
        assert "bar 1, beat 2 &: missing: fret 2 on the D string" in text
        assert "To practice" in text
        for name in ("other.json", "broken.json"):
            page.set_input_files("#heard-file", str(made.parent / name))
            page.wait_for_function(f"document.getElementById('heard-report').textContent.includes('{name}')")
            assert "this is not a report of lickwright listen" in page.inner_text("#heard-report")
        assert one.wrong == []


def test_results_are_kept_in_a_file_of_the_pupil_s(browser: Any, made: Path) -> None:
    with Opened(browser, made / "assignment.html") as one:
        page = one.page
        page.set_input_files("#results-file", [str(made.parent / "report.json"), str(made.parent / "broken.json")])
        page.wait_for_selector("#results-rows tr")
        assert "broken.json: neither results nor a report" in page.inner_text("#results-message")
        page.fill("input[name=day]", "2026-12-05")
        page.fill("input[name=bpm]", "90")
        page.click("#results-add button")
        with page.expect_download() as kept:
            page.click("#results-save")
        kept.value.save_as("results.json")
        value = json.loads(Path("results.json").read_text("utf-8"))
        assert value["format"] == "lickwright results 1"
        assert [(row["lick"], row["bpm"]) for row in value["results"]] == [("Walk <b>", 100), ("Walk <b>", 90)]
        page.reload()
        page.set_input_files("#results-file", str(Path("results.json").resolve()))
        page.wait_for_selector("#results-rows tr:nth-child(2)")
        page.set_input_files("#results-file", [])
        assert page.locator("#results-rows tr").count() == 2
        assert one.wrong == []
