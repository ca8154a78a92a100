"""Reports on recordings in a real browser: the lesson page shows one, the assignment keeps a table of them."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from browsing import Opened

from commanding import Run, write
from lickwright.cli import main
from plucked import pluck, take_of, timeline_of, write_wave

pytestmark = pytest.mark.slow

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk <b>"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'


@pytest.fixture
def made(run_from: Callable[..., Run]) -> Path:
    run_from()
    write("walk.lick", WALK)
    tones = take_of(timeline_of(WALK))[0]
    write_wave("take.wav", pluck([*tones[:2], *tones[3:]]))
    assert main(["listen", "walk.lick", "take.wav", "--report", "report.json"]) == 1
    assert main(["assign", "Mara", "walk.lick", "--silent-page", "--no-sheet"]) == 0
    write("broken.json", "{")
    return Path("mara").resolve()


def _wait_for_words(page: Any, place: str, words: str) -> None:
    """Wait until an element begins with these words."""
    page.wait_for_function(
        "([place, words]) => document.getElementById(place).textContent.startsWith(words)", arg=[place, words]
    )


def test_a_lesson_page_shows_a_report(browser: Any, made: Path) -> None:
    with Opened(browser, made / "walk-b.html") as one:
        page = one.page
        page.set_input_files("#heard-file", str(made.parent / "report.json"))
        page.wait_for_selector("#heard-report ol li")
        text = page.inner_text("#heard-report")
        assert text.startswith("Very close")
        assert "Score 92 of 100: 12 of 13 notes just right." in text
        assert "just right by bar: all of bar 2; 7 of 8 in bar 1" in text
        assert "Not judged: which string and fret you used; " in text
        assert "hurts" not in text
        assert "bar 1, beat 2: missing: open D string" in text
        assert "To practice" in text
        for name, said in _damaged(made.parent).items():
            page.set_input_files("#heard-file", str(made.parent / name))
            _wait_for_words(page, "heard-report", f"{name}: ")
            assert page.inner_text("#heard-report") == f"{name}: {said}"
        assert one.wrong == []


def test_a_report_of_some_bars_and_one_of_before_are_shown(browser: Any, made: Path) -> None:
    """Bars of this lick are not another lick; a report of version 1.0 has fewer words, and what it has is shown."""
    tones = take_of(timeline_of(WALK))[0]
    write_wave("part.wav", pluck(tones[:8]))
    assert main(["listen", "walk.lick", "part.wav", "--bars", "1", "--report", "part.json"]) == 0
    old = json.loads((made.parent / "report.json").read_text("utf-8"))
    for name in ("version", "lick", "headline", "counts", "by_bar"):
        del old[name]
    for remark in old["passes"][0]["remarks"]:
        del remark["place"]
    (made.parent / "old.json").write_text(json.dumps(old), "utf-8")
    with Opened(browser, made / "walk-b.html") as one:
        one.page.set_input_files("#heard-file", str(made.parent / "part.json"))
        _wait_for_words(one.page, "heard-report", "Walk <b> (bar 1).")
        assert "another lick" not in one.page.inner_text("#heard-report")
        one.page.set_input_files("#heard-file", str(made.parent / "old.json"))
        _wait_for_words(one.page, "heard-report", "Score 92 of 100: 12 of 13 notes just right.")
        assert "bar 1, beat 2: missing: open D string" in one.page.inner_text("#heard-report")
        assert one.wrong == []


_FOUR = 'key A minor\ntempo 100\nstep 1/8\nlick "Four"\npickup 1/4\n| B1 G2 |: A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- :| B1 G2 G0 D2 D0 A3 A0 E3 ||\n'


def _reported(**more: Any) -> str:
    """The report of version 1.2 on a take of `_FOUR` as JSON, with these things to practice."""
    best = {"bpm": 90, "score": {"of_100": 80, "right": 8, "notes": 10}, "remarks": [], "not_told": []}
    report = {
        "format": "lickwright listening report 1", "version": "1.2", "title": "Four", "lick": "Four", "refusal": "", "praise": "", "facts": [],
        "passes": [best], "best": 0, "practice": ["in words"], "notes": ["the recording is too loud"], "written_bpm": 100,
    }  # fmt: skip
    return json.dumps(report | more)


def _a_step(bpm: float | None, *runs: tuple[int, int]) -> dict[str, Any]:
    return {"words": "slowly", "bars": [{"from": a, "to": b} for a, b in runs], "bpm": bpm}


@pytest.fixture
def four(run_from: Callable[..., Run]) -> Path:
    run_from()
    write("four.lick", _FOUR)
    assert main(["make", "four.lick", "--to", "page", "--silent-page", "--out", "out"]) == 0
    return next(Path("out").resolve().rglob("four.html"))


def _played(page: Any) -> list[Any]:
    """What is chosen in the player: first and last bar as played, loop, speed in per cent, and whether it plays."""
    chosen: list[Any] = page.evaluate(
        """() => [...["from", "to"].map((id) => Number(document.getElementById(id).value)), document.getElementById("again").checked,
        Number(document.getElementById("speed").value), document.getElementById("play").textContent === "Pause"]"""
    )
    return chosen


def test_what_to_practice_can_be_looped(browser: Any, four: Path) -> None:
    """Each run of bars of a step, at its tempo, by a finger or by the keyboard; pressed again, it is paused."""
    steps = [_a_step(72, (1, 2), (3, 3)), _a_step(20, (0, 1)), _a_step(None), _a_step(72, (9, 9)), _a_step(500, (2, 3))]
    phone = {"viewport": {"width": 390, "height": 800}, "has_touch": True, "is_mobile": True}
    with Opened(browser, four, **phone) as one:
        page = one.page
        assert page.evaluate(_DROP, ["h1", _reported(practice_steps=steps)])
        _wait_for_words(page, "heard-report", "Score 80")
        assert "the recording is too loud" in page.inner_text("#heard-report")
        buttons = page.locator("#heard-report button")
        words = [
            "Loop bars 1 to 2 at 72",
            "Loop bar 3 at 72",
            "Loop the pick-up to bar 1 at 40",
            "Loop bars 2 to 3 at 110",
        ]
        assert buttons.all_inner_texts() == words
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        # Bars as played: pick-up, 1, 2, 1, 2, 3.
        for n, chosen in enumerate(([1, 2, True, 72, True], [5, 5, True, 72, True], [0, 1, True, 40, True])):
            buttons.nth(n).tap()
            one.status("Counting in.")
            assert _played(page) == chosen
        buttons.nth(2).tap()
        one.status("Paused.")
        assert _played(page) == [0, 1, True, 40, False]
        buttons.nth(3).focus()
        page.keyboard.press("Enter")
        one.status("Counting in.")
        assert _played(page) == [4, 5, True, 110, True]
        assert one.wrong == []


def test_a_loop_has_all_bars_between(browser: Any, run_from: Callable[..., Run]) -> None:
    """The last time through a first ending is left out; it is in what is to be practiced."""
    run_from()
    write(
        "ends.lick",
        'key A minor\ntempo 100\nstep 1/8\nlick "Four"\n|: A0 A3 D0 D2 G0--- |1st G0 D2 D0 A3 A0--- :|2nd B1--- G2--- ||\n',
    )
    assert main(["make", "ends.lick", "--to", "page", "--silent-page", "--out", "out"]) == 0
    with Opened(browser, next(Path("out").resolve().rglob("*four*.html"))) as one:
        assert one.page.evaluate(
            _DROP, ["h1", _reported(practice_steps=[_a_step(72, (1, 3)), _a_step(72, (1, 1), (3, 3))])]
        )
        buttons = one.page.locator("#heard-report button")
        # Bars as played: 1, 2, 1, 3.
        for n, part in enumerate(([0, 3], [0, 0], [3, 3])):
            buttons.nth(n).click()
            one.status("Counting in.")
            assert _played(one.page)[:2] == part
        assert one.wrong == []


def test_what_cannot_be_looped_is_said_in_words_alone(browser: Any, four: Path) -> None:
    """Another lick's bars are none of this page's; a step that is not as ours are is not trusted, nor are those beside it."""
    step = _a_step(72, (1, 1))
    hostile: list[Any] = [
        None, "x", {}, [step, None], [step, step | {"words": 7}], [step, step | {"bars": "1-2"}], [step, step | {"bars": [None]}],
        [step, step | {"bars": [{"from": "<b>", "to": 1}]}], [step, step | {"bpm": "72"}], [step, step | {"bpm": -1}],
    ]  # fmt: skip
    with Opened(browser, four) as one:
        for value in hostile:
            text = _reported(practice_steps=value, praise=str(hostile.index(value)))
            assert one.page.evaluate(_DROP, ["h1", text])
            one.page.wait_for_function(
                f"() => document.getElementById('heard-report').textContent.includes('Good: {hostile.index(value)}.')"
            )
            assert one.page.locator("#heard-report button").count() == 0
            assert one.page.inner_text("#heard-report ol") == "in words"
        assert one.page.evaluate(_DROP, ["h1", _reported(practice_steps=[step], title="Other", lick="Other")])
        _wait_for_words(one.page, "heard-report", "This report is about another lick")
        assert one.page.locator("#heard-report button").count() == 0
        assert "slowly" in one.page.inner_text("#heard-report")
        assert one.wrong == []


def test_buttons_of_a_report_are_not_printed(browser: Any, four: Path) -> None:
    with Opened(browser, four) as one:
        assert one.page.evaluate(_DROP, ["h1", _reported(practice_steps=[_a_step(72, (1, 1))])])
        one.page.wait_for_selector("#heard-report button")
        one.page.emulate_media(media="print")
        assert not one.page.is_visible("#heard-report button")
        assert one.page.is_visible("#heard-report ol")


_DROP = """([selector, text]) => {
  const held = new DataTransfer();
  held.items.add(new File([text], "dropped.json"));
  const event = new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true });
  return !document.querySelector(selector).dispatchEvent(event);
}"""


def test_a_report_may_be_dropped_anywhere(browser: Any, made: Path) -> None:
    """Beside the place for it, a browser would open the file and leave the page."""
    text = (made.parent / "report.json").read_text("utf-8")
    with Opened(browser, made / "walk-b.html") as one:
        assert one.page.evaluate(_DROP, ["h1", text])
        _wait_for_words(one.page, "heard-report", "Very close")
        assert one.wrong == []
    with Opened(browser, made / "assignment.html") as one:
        assert one.page.evaluate(_DROP, ["h1", text])
        one.page.wait_for_selector("#results-rows tr")
        assert one.wrong == []


@pytest.mark.parametrize("width", [360, 900])
def test_a_report_that_is_dropped_is_not_under_the_player(browser: Any, made: Path, width: int) -> None:
    """The page goes to it, and the controls of the player stay at the top of the page."""
    with Opened(browser, made / "walk-b.html", viewport={"width": width, "height": 500}) as one:
        assert one.page.evaluate(_DROP, ["h1", (made.parent / "report.json").read_text("utf-8")])
        _wait_for_words(one.page, "heard-report", "Very close")
        one.page.wait_for_function("() => scrollY > 0")
        player, heading = (one.page.locator(name).bounding_box() for name in ("#player", ".heard h2"))
        assert player["height"] > 0
        assert player["y"] + player["height"] - 1 < heading["y"] < 500
        assert one.wrong == []


def test_a_report_is_printed_with_its_lick_and_no_place_for_one(browser: Any, made: Path) -> None:
    with Opened(browser, made / "walk-b.html") as one:
        one.page.emulate_media(media="print")
        assert not one.page.is_visible("section.heard")
        one.page.set_input_files("#heard-file", str(made.parent / "report.json"))
        _wait_for_words(one.page, "heard-report", "Very close")
        assert one.page.is_visible("#heard-report")
        assert not one.page.is_visible("#heard-file")


def test_results_fit_on_a_phone_and_are_printed(browser: Any, made: Path) -> None:
    """No word is broken: the day and the button stand on one line each."""
    with Opened(browser, made / "assignment.html", viewport={"width": 390, "height": 800}) as one:
        page = one.page
        page.emulate_media(media="print")
        assert not page.is_visible("section.results")
        page.emulate_media(media="screen")
        page.set_input_files("#results-file", str(made.parent / "report.json"))
        page.wait_for_selector("#results-rows tr")
        for place in ("#results-rows td", "#results-rows button"):
            assert page.locator(place).first.bounding_box()["height"] < 60
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        page.emulate_media(media="print")
        assert page.is_visible("#results-rows")
        assert not page.is_visible("#results-save")
        assert not page.is_visible("#results-rows button")


_NO_REPORT = "this is not a report of lickwright listen"


def _damaged(folder: Path) -> dict[str, str]:
    """Write files that are no report on one recording; return what is said of each."""
    good = json.loads((folder / "report.json").read_text("utf-8"))
    best = good["passes"][good["best"]]
    made = {
        "other.json": ({"format": "something else"}, _NO_REPORT),
        "null.json": (None, _NO_REPORT),
        "number.json": (7, _NO_REPORT),
        "many.json": ({"format": "lickwright listening reports 1", "recordings": []}, "this is about many recordings: open the report of one"),
        "untitled.json": (good | {"title": 3}, _NO_REPORT),
        "no-pass.json": (good | {"best": 9}, _NO_REPORT),
        "proto.json": (good | {"best": "constructor"}, _NO_REPORT),
        "scored.json": (good | {"passes": [best | {"score": {"of_100": "100"}}], "best": 0}, _NO_REPORT),
        "place.json": (good | {"passes": [best | {"remarks": [best["remarks"][0] | {"place": ["<b>"]}]}], "best": 0}, _NO_REPORT),
        "remarks.json": (good | {"passes": [best | {"remarks": [None]}], "best": 0}, _NO_REPORT),
        "practice.json": (good | {"practice": "more"}, _NO_REPORT),
    }  # fmt: skip
    for name, (value, _) in made.items():
        (folder / name).write_text(json.dumps(value), "utf-8")
    (folder / "broken.json").write_text("{", "utf-8")
    (folder / "deep.json").write_text("[" * 1_000_000, "utf-8")
    (folder / "huge.json").write_text(" " * (5 << 20), "utf-8")
    more = {"broken.json": _NO_REPORT, "deep.json": _NO_REPORT, "huge.json": "the file is too large"}
    return {name: said for name, (_, said) in made.items()} | more


def test_a_lesson_page_shows_a_refusal_and_a_caution(browser: Any, made: Path) -> None:
    value = json.loads((made.parent / "report.json").read_text("utf-8"))
    value |= {
        "recognized": False,
        "refusal": "nothing was heard",
        "hints": [""],
        "caution": "<b>Stop when it hurts.",
        "title": "Other (bar 2)",
        "lick": "Other",
    }
    (made.parent / "refused.json").write_text(json.dumps(value), "utf-8")
    with Opened(browser, made / "walk-b.html") as one:
        one.page.set_input_files("#heard-file", str(made.parent / "refused.json"))
        one.page.wait_for_selector("#heard-report .caution")
        assert one.page.inner_text("#heard-report").split("\n\n") == [
            "This report is about another lick, Other (bar 2).", "Nothing was heard.", "<b>Stop when it hurts.",
        ]  # fmt: skip
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


def test_a_report_on_a_folder_fills_in_a_row_for_each_recording(browser: Any, made: Path) -> None:
    """As of the takes of a month; what was not judged is counted."""
    for name in ("walk-1", "walk-2", "walk-3"):
        tones = take_of(timeline_of(WALK))[0]
        wave = pluck(tones) if name == "walk-2" else pluck(tones[:0], 2.0) if name == "walk-3" else pluck(tones[1:])
        (made.parent / "takes").mkdir(exist_ok=True)
        write_wave(f"takes/{name}.wav", wave)
        noon = datetime(2026, 11, int(name[-1]), 12).timestamp()
        os.utime(f"takes/{name}.wav", (noon, noon))
    main(["listen", "takes", "--licks", "walk.lick", "--report", "all.json"])
    with Opened(browser, made / "assignment.html") as one:
        one.page.set_input_files("#results-file", str(made.parent / "all.json"))
        one.page.wait_for_selector("#results-rows tr:nth-child(2)")
        assert one.page.locator("#results-rows td:first-child").all_inner_texts() == ["2026-11-01", "2026-11-02"]
        assert one.page.inner_text("#results-progress").startswith("Walk <b>: clean at 100 so far, on 2026-11-02")
        assert one.page.inner_text("#results-message").startswith("all.json: 1 of 3 recordings were not judged; ")
        assert one.wrong == []


def test_results_say_how_far_a_lick_is(browser: Any, made: Path) -> None:
    """The highest clean tempo, and what was most often to look at; a take with a pause is not clean, however right its notes."""
    report = json.loads((made.parent / "report.json").read_text("utf-8"))
    best = report["passes"][report["best"]]

    def take(name: str, day: str, bpm: float, score: int, *bars: int, pause: int = 0) -> str:
        remarks = [best["remarks"][0] | {"bar": bar} for bar in bars]
        pauses = [{"at_s": 1.0, "seconds": 1.0, "bar": pause, "beat": "1", "time": 1}] if pause else []
        one = best | {"bpm": bpm, "score": best["score"] | {"of_100": score}, "remarks": remarks, "pauses": pauses}
        path = made.parent / f"{name}.json"
        path.write_text(json.dumps(report | {"recorded_on": day, "passes": [one], "best": 0}), "utf-8")
        return str(path)

    takes = [
        take("a", "2026-11-01", 70.2, 90, 1, 2), take("b", "2026-11-03", 70.2, 98, 2), take("c", "2026-11-04", 80, 96),
        take("d", "2026-11-05", 100, 100, pause=2), take("e", "2026-11-06", 90, 80, 1),
    ]  # fmt: skip
    told = "Walk <b>: clean at 80 so far, on 2026-11-04; most often to look at: bar 2 (3 of 5 takes)"
    with Opened(browser, made / "assignment.html", viewport={"width": 390, "height": 800}) as one:
        page = one.page
        page.set_input_files("#results-file", takes[0])
        page.wait_for_selector("#results-rows tr")
        said = "Walk <b>: not clean yet; most often to look at: bar 1, bar 2 (1 of 1 takes)"
        assert page.inner_text("#results-progress") == said
        page.set_input_files("#results-file", takes)
        page.wait_for_selector("#results-rows tr:nth-child(5)")
        assert page.inner_text("#results-progress") == told
        assert page.locator("#results-rows td:nth-child(5)").all_inner_texts() == ["1, 2", "2", "", "2", "1"]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        with page.expect_download() as kept:
            page.click("#results-save")
        kept.value.save_as("results.json")
        page.reload()
        page.set_input_files("#results-file", str(Path("results.json").resolve()))
        page.wait_for_selector("#results-rows tr:nth-child(5)")
        assert page.inner_text("#results-progress") == told
        page.set_input_files("#results-file", takes)
        page.wait_for_function("() => document.getElementById('results-message').textContent === ''")
        assert page.locator("#results-rows tr").count() == 5
        page.emulate_media(media="print")
        assert page.is_visible("#results-progress")
        assert one.wrong == []


@pytest.mark.parametrize(("zone", "day"), [("America/New_York", "2026-11-26"), ("Asia/Tokyo", "2026-11-27")])
def test_a_result_has_the_day_of_the_pupil(browser: Any, made: Path, zone: str, day: str) -> None:
    """Half past eleven in the evening in New York is the next day in Greenwich. A report of version 1.0 has no day of its own."""
    report = made.parent / "report.json"
    value = json.loads(report.read_text("utf-8"))
    del value["recorded_on"]
    report.write_text(json.dumps(value), "utf-8")
    when = datetime(2026, 11, 27, 4, 30, tzinfo=UTC).timestamp()
    os.utime(report, (when, when))
    with Opened(browser, made / "assignment.html", timezone_id=zone) as one:
        one.page.set_input_files("#results-file", str(report))
        one.page.wait_for_selector("#results-rows tr")
        assert one.page.inner_text("#results-rows td") == day


def test_a_result_has_the_day_of_its_recording(browser: Any, made: Path) -> None:
    """A report that was mailed is a file of the day on which it came."""
    value = json.loads((made.parent / "report.json").read_text("utf-8"))
    with Opened(browser, made / "assignment.html") as one:
        for n, (told, shown) in enumerate(
            (("2026-11-03", "2026-11-03"), ("yesterday", datetime.now().strftime("%Y-%m-%d")))
        ):
            path = made.parent / f"mailed-{n}.json"
            path.write_text(json.dumps(value | {"recorded_on": told}), "utf-8")
            one.page.set_input_files("#results-file", str(path))
            one.page.wait_for_selector(f"#results-rows tr:nth-child({n + 1})")
            assert shown in one.page.inner_text("#results-rows")


def test_results_that_are_damaged_or_without_end_are_said(browser: Any, made: Path) -> None:
    good = {"day": "2026-12-05", "lick": "Walk <b>", "bpm": 80, "score": 90}
    bad: list[object] = [
        None, 7, good | {"day": "yesterday"}, good | {"bpm": 1e300}, good | {"bpm": "80"}, good | {"score": 101},
        good | {"lick": "x" * 100_000}, good | {"bars": [1, "2"]}, good | {"bars": 3}, good | {"through": 1}, good | {"lick": None}, {},
    ]  # fmt: skip
    files = {
        "some.json": {"format": "lickwright results 1", "results": [*bad, good]},
        "none.json": {"format": "lickwright results 1", "results": "all"},
        "many.json": {
            "format": "lickwright results 1",
            "results": [{"day": "2026-12-06", "lick": "x", "bpm": 80 + n / 1000, "score": None} for n in range(40_000)],
        },
    }
    said = {
        "some.json": "some.json: 12 of 13 rows are damaged and left out",
        "none.json": "none.json: these results are damaged",
        "many.json": "many.json: the table is full at 2000 rows, 38001 are left out",
    }
    with Opened(browser, made / "assignment.html") as one:
        page = one.page
        for name, value in files.items():
            (made.parent / name).write_text(json.dumps(value), "utf-8")
            page.set_input_files("#results-file", str(made.parent / name))
            _wait_for_words(page, "results-message", name)
            assert page.inner_text("#results-message").split("; ")[0] == said[name]
        assert page.locator("#results-rows tr").count() == 2000
        assert one.wrong == []


def test_a_result_can_be_taken_away_and_is_said_to_be_unsaved(browser: Any, made: Path) -> None:
    with Opened(browser, made / "assignment.html") as one:
        page = one.page
        page.fill("input[name=bpm]", "400")
        page.click("#results-add button")
        assert page.inner_text("#results-message") == "not saved yet: press Save results before you close this page"
        page.get_by_role("button", name="Remove Walk").click()
        assert page.locator("#results-rows tr").count() == 0
        with page.expect_download():
            page.click("#results-save")
        assert page.inner_text("#results-message") == ""
        assert one.wrong == []
